"""The days of a repeating session, against a walk over every day."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.dates.rota import Repeats, is_held
from followup.domain.errors import BadValue

DAYS = st.dates(min_value=date(2024, 1, 1), max_value=date(2027, 12, 31))
MONDAY = date(2026, 3, 2)


@pytest.mark.parametrize(
    ("repeats", "days"),
    [
        (Repeats(0, MONDAY), ["2026-03-02", "2026-03-09", "2026-03-16", "2026-03-23", "2026-03-30"]),
        (Repeats(6, MONDAY, every_weeks=2), ["2026-03-08", "2026-03-22"]),
        (Repeats(0, date(2026, 3, 3), every_weeks=2), ["2026-03-09", "2026-03-23"]),
        (Repeats(2, MONDAY, last_day=date(2026, 3, 11)), ["2026-03-04", "2026-03-11"]),
        (Repeats(2, MONDAY, last_day=date(2026, 3, 10)), ["2026-03-04"]),
        (Repeats(0, date(2026, 4, 1)), []),
        (Repeats(0, date(2025, 12, 8), every_weeks=4), ["2026-03-02", "2026-03-30"]),
    ],
)
def test_the_days_of_march(repeats: Repeats, days: list[str]) -> None:
    assert [str(day) for day in repeats.days(date(2026, 3, 1), date(2026, 3, 31))] == days


@given(
    weekday=st.integers(0, 6),
    first_day=DAYS,
    every=st.integers(1, 6),
    first=DAYS,
    length=st.integers(0, 200),
)
def test_the_days_are_those_a_walk_finds(
    weekday: int, first_day: date, every: int, first: date, length: int
) -> None:
    last = first + timedelta(days=length)
    start = first_day
    while start.weekday() != weekday:
        start += timedelta(days=1)
    walked = []
    day = start
    while day <= last:
        if day >= first:
            walked.append(day)
        day += timedelta(days=7 * every)
    assert Repeats(weekday, first_day, None, every).days(first, last) == walked


@pytest.mark.parametrize(
    ("weekday", "every", "field"), [(7, 1, "weekday"), (-1, 1, "weekday"), (0, 0, "every_weeks")]
)
def test_no_such_rhythm(weekday: int, every: int, field: str) -> None:
    with pytest.raises(BadValue) as refused:
        Repeats(weekday, MONDAY, None, every)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("shut", "left_out", "changed", "held"),
    [
        (False, False, False, True),
        (True, False, False, False),
        (False, True, False, False),
        (True, False, True, True),
        (False, False, True, True),
        (True, True, False, False),
    ],
)
def test_the_most_particular_word_about_a_day_counts(
    shut: bool, left_out: bool, changed: bool, held: bool
) -> None:
    day = {MONDAY}
    assert is_held(MONDAY, day if shut else (), day if left_out else (), day if changed else ()) is held
