"""Every refusal word for word, with the column it belongs to."""

from __future__ import annotations

from collections.abc import Callable
from math import inf, nan

import pytest

from followup.domain.errors import BadValue
from followup.domain.survival.aalen_johansen import aalen_johansen
from followup.domain.survival.binomial import wilson
from followup.domain.survival.completeness import completeness
from followup.domain.survival.kaplan_meier import kaplan_meier
from followup.domain.survival.limits import normal_quantile
from followup.domain.survival.log_rank import log_rank
from followup.domain.survival.restricted_mean import restricted_mean
from followup.domain.survival.turnbull import turnbull

SWAPPED = "Are day and month swapped in one of its two dates?"
NO_TIME = "not a time. Complete its dates or leave the row out."
CURVE = kaplan_meier([1, 2], [1, 0])

REFUSALS: list[tuple[Callable[[], object], str, str]] = [
    (
        lambda: kaplan_meier([30, -89], [0, 1]),
        "time",
        f"time[1] is -89: a time cannot be negative. {SWAPPED}",
    ),
    (
        lambda: kaplan_meier([30.5, -0.5], [0, 1]),
        "time",
        f"time[1] is -0.5: a time cannot be negative. {SWAPPED}",
    ),
    (lambda: kaplan_meier([1, nan], [0, 1]), "time", f"time[1] is nan: {NO_TIME}"),
    (lambda: kaplan_meier([inf], [0]), "time", f"time[0] is inf: {NO_TIME}"),
    (
        lambda: kaplan_meier(["soon"], [0]),
        "time",
        "time holds something that is not a number.",
    ),
    (lambda: kaplan_meier([[1, 2]], [0]), "time", "time must be one plain list of numbers, one a row."),
    (
        lambda: kaplan_meier([1, 2], [0]),
        "event",
        "There are 2 times but 1 values of event: give one for each row.",
    ),
    (
        lambda: kaplan_meier([1, 2], [0, 2]),
        "event",
        "event[1] is 2: expected 0 (not seen) or 1 (event found).",
    ),
    (
        lambda: kaplan_meier([1, 2], [0, 1], entry=[0]),
        "entry",
        "There are 2 times but 1 values of entry: give one for each row.",
    ),
    (
        lambda: kaplan_meier([1, 2], [0, 1], entry=[0, 3]),
        "time",
        f"time[1] is 2, before its entry at 3. {SWAPPED}",
    ),
    (
        lambda: kaplan_meier([1, 2], [0, 1], entry=[0, -1]),
        "entry",
        f"entry[1] is -1: a time cannot be negative. {SWAPPED}",
    ),
    (
        lambda: kaplan_meier([1, 2], [0, 1], cluster=["a"]),
        "cluster",
        "There are 2 times but 1 values of cluster: give one for each row.",
    ),
    (
        lambda: aalen_johansen([1, 2], [0, 3]),
        "cause",
        "cause[1] is 3: expected 0 (no end seen) or a cause from 1 to 2.",
    ),
    (lambda: aalen_johansen([1, 2], [0, 1]).at(1, 3), "cause", "Cause 3 is not one of (1, 2)."),
    (
        lambda: log_rank([1, 2, 3], [1, 1, 0], ["a", "b"]),
        "group",
        "There are 3 times but 2 values of group: give one for each row.",
    ),
    (
        lambda: log_rank([1, 2, 3], [1, 1, 0], ["a", "b", "b"], stratum=[1]),
        "stratum",
        "There are 3 times but 1 values of stratum: give one for each row.",
    ),
    (
        lambda: log_rank([1, 2], [1, 1], ["a", "b"]).trend([1, 2, 3]),
        "scores",
        "Give one score for each of the 2 groups.",
    ),
    (
        lambda: normal_quantile(1.0),
        "level",
        "The confidence level is 1.0: expected a number between 0 and 1.",
    ),
    (
        lambda: kaplan_meier([1, 2], [1, 0], limits="exact"),
        "limits",
        "Limits 'exact' are not known: choose log-log, log or plain.",
    ),
    (lambda: CURVE.at([-1]), "times", "A curve is read at times from 0 on; check the times asked for."),
    (lambda: CURVE.quantile(0.0), "p", "The share is 0.0: expected a number between 0 and 1."),
    (
        lambda: completeness([100, 400], [0, 0], 365),
        "time",
        "time[1] is 400, beyond its closing day 365. End follow-up at the closing day, or move it.",
    ),
    (
        lambda: completeness([100, 400], [0, 0], [365]),
        "closing",
        "There are 2 times but 1 values of closing: give one for each row.",
    ),
    (
        lambda: completeness([100, 400], [0], 400),
        "ended",
        "There are 2 times but 1 values of ended: give one for each row.",
    ),
    (
        lambda: completeness([100], [0], -1),
        "closing",
        f"closing[0] is -1.0: a time cannot be negative. {SWAPPED}",
    ),
    (lambda: wilson(3, 2), "events", "3 of 2: the first must lie between 0 and the second."),
    (
        lambda: restricted_mean(CURVE, 0),
        "tau",
        "The mean is restricted to 0 days: expected a number above 0.",
    ),
    (
        lambda: turnbull([1, 2], [3]),
        "right",
        "There are 2 left and 1 right ends: give both for each row.",
    ),
    (
        lambda: turnbull([1, 4], [3, 2]),
        "right",
        "right[1] is 2, before its left end 4. Are the two dates swapped?",
    ),
]


@pytest.mark.parametrize(("refused", "field", "message"), REFUSALS, ids=[row[2][:40] for row in REFUSALS])
def test_a_refusal_names_place_value_and_what_to_do(
    refused: Callable[[], object], field: str, message: str
) -> None:
    with pytest.raises(BadValue) as fault:
        refused()
    assert (fault.value.message, fault.value.field) == (message, field)
