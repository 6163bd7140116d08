"""What is refused before anything is computed."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from followup.domain.errors import BadValue
from followup.domain.survival.aalen_johansen import aalen_johansen
from followup.domain.survival.kaplan_meier import kaplan_meier
from followup.domain.survival.log_rank import log_rank
from followup.domain.survival.rows import codes_of, read_rows

NAN, INF = float("nan"), float("inf")


@pytest.mark.parametrize(
    ("given", "message"),
    [
        # Operated 2024-09-06, recurrence entered as 2024-06-09: 89 days before it.
        ({"time": [30, -89], "event": [0, 1]}, r"time\[1\] is -89: .*day and month swapped"),
        ({"time": [30.5, -0.5], "event": [0, 1]}, r"time\[1\] is -0.5: .*negative"),
        ({"time": [1, NAN], "event": [0, 1]}, r"time\[1\] is nan: not a time"),
        ({"time": [1, None], "event": [0, 1]}, r"time\[1\] is nan: not a time"),
        ({"time": [INF], "event": [0]}, r"time\[0\] is inf: not a time"),
        ({"time": ["soon"], "event": [0]}, "time holds something that is not a number"),
        ({"time": [[1, 2]], "event": [0]}, "time must be one plain list"),
        ({"time": [1, 2], "event": [0]}, "2 times but 1 values of event"),
        ({"time": [1, 2], "event": [0, 2]}, r"event\[1\] is 2: expected 0 .* or 1"),
        ({"time": [1, 2], "event": [0, NAN]}, r"event\[1\] is nan"),
        ({"time": [1, 2], "event": [0, 1], "entry": [0]}, "2 times but 1 values of entry"),
        ({"time": [1, 2], "event": [0, 1], "entry": [0, 3]}, r"time\[1\] is 2, before its entry at 3"),
        ({"time": [1, 2], "event": [0, 1], "entry": [0, -1]}, r"entry\[1\] is -1"),
        ({"time": [1, 2], "event": [0, 1], "cluster": ["a"]}, "2 times but 1 values of cluster"),
        ({"time": [], "event": [1]}, "0 times but 1 values of event"),
    ],
)
def test_bad_input_is_named_by_place_and_value(given: dict[str, Any], message: str) -> None:
    with pytest.raises(BadValue, match=message):
        kaplan_meier(**given)


def test_the_fault_names_its_column() -> None:
    with pytest.raises(BadValue) as fault:
        kaplan_meier([1, 2], [0, 1], entry=[0, 3])
    assert (fault.value.field, fault.value.code) == ("time", "bad_value")


@pytest.mark.parametrize("cause", [[0, 3], [0, -1], [0, 1.5], [0, NAN]])
def test_an_unknown_cause_is_refused(cause: list[float]) -> None:
    with pytest.raises(BadValue, match=r"cause\[1\].*from 1 to 2"):
        aalen_johansen([1, 2], cause)


def test_every_row_needs_its_group_and_stratum() -> None:
    with pytest.raises(BadValue, match="3 times but 2 values of group"):
        log_rank([1, 2, 3], [1, 1, 0], ["a", "b"])
    with pytest.raises(BadValue, match="3 times but 1 values of stratum"):
        log_rank([1, 2, 3], [1, 1, 0], ["a", "b", "b"], stratum=[1])


def test_rows_without_time_at_risk_take_their_patient_with_them() -> None:
    rows = read_rows([3, 4, 5], [1, 1, 0], entry=[3, 0, 0], cluster=["p", "q", "r"])
    assert (len(rows), rows.left_out, rows.clusters) == (2, 1, 2)


def test_whole_days_stay_whole_numbers() -> None:
    assert read_rows([1.0, 2.0], [1, 0]).time.dtype == np.int64
    assert read_rows([1.5, 2.0], [1, 0]).time.dtype == np.float64
    assert read_rows(np.array([1, 2], dtype=np.uint8), [True, False]).time.dtype == np.int64


@pytest.mark.parametrize("values", [[5, 0, 5, 2], ["b", "a", "b"], [10**9, 3], [-1, 4], []])
def test_labels_come_out_sorted_with_the_place_of_each_value(values: list[Any]) -> None:
    labels, codes = codes_of(values)
    assert labels.tolist() == sorted(set(values))
    assert [labels[code] for code in codes] == values
