"""Change between two readings: how much, and when there is none to speak of."""

from __future__ import annotations

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.acuity.change import Change, Reading, change
from followup.domain.acuity.notation import Notation
from followup.domain.acuity.parse import read_acuity
from followup.domain.acuity.substitution import substitution


def reading(
    written: str, *, tamponade_seen: str = "", correction: str = "best", eye: str = "0012 right"
) -> Reading:
    return Reading(read_acuity(written, bare=Notation.LOGMAR), eye, correction, tamponade_seen)


def between(before: str, after: str) -> Change:
    return change(reading(before), reading(after))


# Gain in letters to one place; three lines are 0.3 logMAR or 15 letters, with half a hundredth for rounding.
GAINS = [
    ("logMAR 0.7", "logMAR 0.4", "15.0", True, False),  # in binary, 0.7 - 0.4 is less than 0.3
    ("6/12", "6/6", "15.1", True, False),
    ("20/80", "20/40", "15.1", True, False),
    ("6/19", "6/9.5", "15.1", True, False),
    ("70 letters", "85 letters", "15.0", True, False),
    ("70 letters", "84 letters", "14.0", False, False),
    ("logMAR 0.48", "logMAR 0.18", "15.0", True, False),
    ("logMAR 0.295", "logMAR 0", "14.8", True, False),
    ("logMAR 0.29", "logMAR 0", "14.5", False, False),
    ("6/60", "6/36", "11.1", False, False),  # one row of the chart, and two lines
    ("6/6", "6/12", "-15.1", False, True),
    ("55 letters", "40 letters", "-15.0", False, True),
    ("6/9", "6/9", "0.0", False, False),
]


@pytest.mark.parametrize(("before", "after", "letters", "gained", "lost"), GAINS)
def test_three_lines_are_compared_exactly(
    before: str, after: str, letters: str, gained: bool, lost: bool
) -> None:
    found = between(before, after)
    assert found.letters is not None
    assert found.lines is not None
    assert f"{found.letters:.1f}" == letters
    assert f"{found.lines * 5:.1f}" == letters
    assert (found.three_lines_or_more_gained, found.three_lines_or_more_lost) == (gained, lost)


@pytest.mark.parametrize(
    ("before", "after", "direction"),
    [("6/12", "6/6", "better"), ("6/6", "6/12", "worse"), ("6/9", "6/9", "same")],
)
def test_the_direction_stands_beside_the_gain(before: str, after: str, direction: str) -> None:
    assert between(before, after).direction == direction


@pytest.mark.parametrize(
    ("before", "after", "gain"), [("CF", "logMAR 1", "0.98"), ("logMAR 1", "CF", "-0.98")]
)
def test_a_table_gives_a_number_to_either_reading(before: str, after: str, gain: str) -> None:
    found = change(reading(before), reading(after), substitution=substitution("lange_2009"))
    assert (found.gain, found.substituted) == (Decimal(gain), "Lange 2009")


def test_sight_through_gas_is_no_outcome() -> None:
    before, with_gas, later = (
        reading("55 letters"),
        reading("20 letters", tamponade_seen="gas"),
        reading("70 letters"),
    )
    assert change(before, with_gas).gain is None
    assert change(before, with_gas).reason == "gas or oil in the eye"
    outcome = change(before, later)
    assert (outcome.letters, outcome.three_lines_or_more_gained) == (Decimal(15), True)


@pytest.mark.parametrize(
    ("before", "after", "reason"),
    [
        (reading("6/12"), reading("6/6", eye="0012 left"), "other eye"),
        (reading("6/12"), reading("6/6", correction="pinhole"), "other correction"),
        (reading("6/12"), reading("70 letters"), "other kind of chart"),
        (reading("6/12", tamponade_seen="oil"), reading("6/6"), "gas or oil in the eye"),
        (reading("6/12"), reading("prosthesis"), "no eye that sees"),
    ],
)
def test_readings_that_differ_in_kind_are_not_compared(before: Reading, after: Reading, reason: str) -> None:
    found = change(before, after)
    assert (found.gain, found.direction, found.reason) == (None, None, reason)
    assert not found.three_lines_or_more_gained


def test_a_named_chart_joins_notations() -> None:
    before = Reading(read_acuity("6/12", bare=None), "0012 right", "best", chart="letter chart")
    assert change(before, reading("85 letters")).three_lines_or_more_gained


@pytest.mark.parametrize(
    ("before", "after", "direction"),
    [
        ("NLP", "LP", "better"),
        ("LP", "HM", "better"),
        ("HM", "CF", "better"),
        ("CF", "1/60", "better"),
        ("6/60", "HM", "worse"),
        ("CF 1m", "CF 2m", "same"),
    ],
)
def test_categories_are_ordered_but_never_numbers(before: str, after: str, direction: str) -> None:
    found = between(before, after)
    assert (found.gain, found.direction, found.reason) == (None, direction, "below the chart")


def test_a_named_table_gives_a_flagged_number_that_is_never_three_lines() -> None:
    found = change(reading("HM"), reading("6/60"), substitution=substitution("lange_2009"))
    assert (found.gain, found.substituted) == (Decimal("1.28"), "Lange 2009")
    assert not found.three_lines_or_more_gained


def test_a_table_without_a_value_gives_no_number() -> None:
    found = change(reading("LP"), reading("6/60"), substitution=substitution("lange_2009"))
    assert (found.gain, found.reason) == (None, "below the chart")


def test_a_table_leaves_chart_readings_alone() -> None:
    found = change(reading("6/12"), reading("6/6"), substitution=substitution("lange_2009"))
    assert (found.substituted, found.three_lines_or_more_gained) == ("", True)


@given(st.integers(0, 100), st.integers(0, 100))
def test_letters_and_lines_agree_and_the_way_back_is_the_opposite(before: int, after: int) -> None:
    there, back = (
        between(f"{before} letters", f"{after} letters"),
        between(f"{after} letters", f"{before} letters"),
    )
    assert there.letters == after - before
    assert there.three_lines_or_more_gained == back.three_lines_or_more_lost == (after - before >= 15)
