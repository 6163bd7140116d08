"""Median follow-up, events before censorings on the same day."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from followup.domain.survival.kaplan_meier import kaplan_meier
from followup.domain.survival.reverse_km import reverse_kaplan_meier
from followup.domain.survival.values import NOT_ESTIMABLE
from tests.domain.survival.tables import assert_same, expected, number, rows_of, times_and_events

TIMES, EVENTS = [1, 2, 3, 3, 6, 6, 9, 12, 12, 24], [1, 1, 1, 0, 1, 0, 0, 1, 0, 0]


@pytest.mark.parametrize(
    ("key", "name", "only"),
    [
        ("gehan_6mp_arm", "gehan_6mp", {"group": "6-MP"}),
        ("lung", "lung", {}),
        ("aml", "aml", {}),
        ("retinopathy", "retinopathy", {}),
        ("mgus2_death", "mgus2", {}),
        ("veteran", "veteran", {}),
    ],
)
def test_quartiles_of_follow_up_agree_with_r(key: str, name: str, only: dict[str, str]) -> None:
    wanted = expected("reverse_km")[key]["events_first"]
    curve = reverse_kaplan_meier(*times_and_events(name, rows_of(name, **only)), limits="log")
    found = [curve.quantile(p) for p in wanted["probs"]]
    assert_same([number(q.time) for q in found], wanted["time"], 1e-9)
    assert_same([number(q.lower) for q in found], wanted["lower"], 1e-9)
    assert_same([number(q.upper) for q in found], wanted["upper"], 1e-9)


@pytest.mark.parametrize(("limits", "lower"), [("log-log", 3), ("log", 6), ("plain", 6)])
def test_ten_eyes_were_followed_for_twelve_months(limits: Any, lower: int) -> None:
    median = reverse_kaplan_meier(TIMES, EVENTS, limits=limits).median
    assert (median.time, median.lower) == (12, lower)
    assert float(np.median(TIMES)) == 6


def test_an_event_leaves_before_the_end_of_follow_up_on_its_day() -> None:
    curve = reverse_kaplan_meier(TIMES, EVENTS)
    steps = [6 / 7, 4 / 5, 3 / 4, 1 / 2, 0]
    np.testing.assert_allclose(curve.survival_at([3, 6, 9, 12, 24]), np.cumprod(steps), rtol=1e-12)


def test_merely_flipping_the_indicator_keeps_those_with_an_event_at_risk() -> None:
    curve = kaplan_meier(TIMES, [1 - event for event in EVENTS])
    wanted = [0.87500, 0.72917, 0.54688, 0.36458, 0]
    np.testing.assert_allclose(curve.survival_at([3, 6, 9, 12, 24]), wanted, atol=5e-6)


def test_late_entries_are_followed_from_their_entry() -> None:
    curve = reverse_kaplan_meier([5, 5, 9], [1, 0, 0], entry=[0, 0, 5])
    assert curve.survival_at([5, 9]).tolist() == [0, 0]
    assert curve.at_risk_at([5, 6]).tolist() == [2, 1]
    assert reverse_kaplan_meier([0, 0, 4], [0, 1, 0], entry=[0, 0, 0]).survival_at([0]).tolist() == [0.5]


def test_both_eyes_of_a_person_are_kept_together() -> None:
    curve = reverse_kaplan_meier([5, 5, 9, 9], [0, 0, 0, 0], cluster=["p", "p", "q", "q"])
    assert (curve.clusters, curve.robust) == (2, True)
    assert reverse_kaplan_meier([5, 5, 9, 9], [0, 0, 0, 0]).clusters == 4


def test_nobody_was_followed() -> None:
    assert reverse_kaplan_meier([], []).at(1).survival is NOT_ESTIMABLE
