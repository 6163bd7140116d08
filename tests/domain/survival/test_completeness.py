"""How much of the possible follow-up was seen."""

from __future__ import annotations

import pytest

from followup.domain.errors import BadValue
from followup.domain.survival.completeness import completeness
from followup.domain.survival.kaplan_meier import kaplan_meier
from followup.domain.survival.restricted_mean import restricted_mean
from followup.domain.survival.values import NOT_ESTIMABLE
from tests.domain.survival.tables import number

TIMES, ENDED = [1, 2, 3, 3, 6, 6, 9, 12, 12, 24], [1, 1, 1, 0, 1, 0, 1, 1, 0, 0]


def test_ten_eyes_worked_by_hand() -> None:
    """Closing after 24 months; one recurrence is a death; an end stops an eye's potential time."""
    found = completeness(TIMES, ENDED, 24)
    assert (found.eyes, found.lost, found.observed, found.potential) == (10, 3, 78, 129)
    assert found.lost_time == 51
    assert number(found.clark) == pytest.approx(0.6047, abs=5e-5)


def test_the_corrected_figure_gives_lost_eyes_the_time_they_were_expected_to_have() -> None:
    """By hand: 0.9, 0.8, 0.7 at 1, 2, 3; 7/12 at 6; 7/16 at 9; 7/24 from 12 on.

    Areas to 24 months: from 3 it is 2.1 + 1.75 + 1.3125 + 3.5, from 6 it is 6.5625, from 12 it is 3.5.
    """
    further = 8.6625 / 0.7 + 6.5625 / (7 / 12) + 12
    found = completeness(TIMES, ENDED, 24)
    assert found.expected == pytest.approx(78 + further)
    assert number(found.corrected) == pytest.approx(78 / (78 + further))
    assert number(found.clark) < number(found.corrected) < 1


def test_further_time_is_an_area_under_the_curve() -> None:
    curve = kaplan_meier([2, 4, 5, 8], [1, 0, 1, 0])
    area = number(restricted_mean(curve, 8).mean) - number(restricted_mean(curve, 4).mean)
    found = completeness([2, 4, 5, 8], [1, 0, 1, 0], [8, 8, 8, 8])
    assert found.expected == pytest.approx(19 + area / 0.75)


def test_each_eye_may_have_its_own_closing_day() -> None:
    found = completeness([10, 30], [0, 0], [20, 30])
    assert (found.lost, found.potential, found.clark) == (1, 50, 0.8)


def test_everybody_seen_to_the_end_is_complete() -> None:
    found = completeness([365, 200], [0, 1], 365)
    assert (found.clark, found.corrected, found.lost) == (1, 1, 0)


def test_nobody_and_no_time_are_no_estimate() -> None:
    assert completeness([], [], 24).clark is NOT_ESTIMABLE
    assert completeness([0], [0], 0).corrected is NOT_ESTIMABLE
    half_a_day = completeness([0.25], [0], 0.5)
    assert (half_a_day.clark, half_a_day.corrected) == (0.5, 0.5)


def test_an_eye_followed_beyond_its_closing_day_is_refused() -> None:
    with pytest.raises(BadValue, match=r"time\[1\] is 400, beyond its closing day 365"):
        completeness([100, 400], [0, 0], 365)
    with pytest.raises(BadValue, match=r"^time\[0\] is -1: "):
        completeness([-1], [0], 365)
    with pytest.raises(BadValue, match="2 times but 1 values of closing"):
        completeness([100, 400], [0, 0], [365])
