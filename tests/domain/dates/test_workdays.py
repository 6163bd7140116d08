"""Open days of a site, ages and week headings."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Literal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.dates.workdays import age_on, iso_week_label, shift_to_open_day
from followup.domain.errors import BadValue

FRIDAY_AND_SATURDAY = frozenset({4, 5})
SATURDAY_AND_SUNDAY = frozenset({5, 6})


# A weekend is not always Saturday and Sunday: workalendar/workalendar issue 239.
@pytest.mark.parametrize(("direction", "day"), [("forward", date(2025, 7, 6)), ("back", date(2025, 7, 3))])
def test_booking_moves_off_the_weekend_of_the_site(direction: Literal["forward", "back"], day: date) -> None:
    assert shift_to_open_day(date(2025, 7, 4), FRIDAY_AND_SATURDAY, frozenset(), direction) == day


def test_booking_moves_over_weekend_and_holidays_together() -> None:
    christmas = frozenset({date(2025, 12, 25), date(2025, 12, 26)})
    assert shift_to_open_day(date(2025, 12, 25), SATURDAY_AND_SUNDAY, christmas, "forward") == date(
        2025, 12, 29
    )
    assert shift_to_open_day(date(2025, 12, 28), SATURDAY_AND_SUNDAY, christmas, "back") == date(2025, 12, 24)


def test_an_open_day_stays() -> None:
    assert shift_to_open_day(date(2025, 7, 2), FRIDAY_AND_SATURDAY, frozenset(), "forward") == date(
        2025, 7, 2
    )


def test_a_site_that_never_opens_is_refused() -> None:
    with pytest.raises(BadValue, match="closed weekdays and holidays"):
        shift_to_open_day(date(2025, 7, 2), frozenset(range(7)), frozenset(), "forward")


@pytest.mark.parametrize("direction", ["forward", "back"])
def test_a_site_shut_for_a_year_is_waited_for_and_no_longer(direction: Literal["forward", "back"]) -> None:
    step = 1 if direction == "forward" else -1
    shut = [date(2025, 7, 2) + timedelta(days=step * n) for n in range(367)]
    found = shift_to_open_day(shut[0], frozenset(), frozenset(shut[:366]), direction)
    assert found == shut[366]
    with pytest.raises(BadValue, match="No open day within a year of 2025-07-02"):
        shift_to_open_day(shut[0], frozenset(), frozenset(shut), direction)


def test_an_unknown_weekday_is_refused() -> None:
    with pytest.raises(BadValue, match="0 \\(Monday\\) to 6"):
        shift_to_open_day(date(2025, 7, 2), frozenset({7}), frozenset(), "forward")


@given(
    st.dates(date(1950, 1, 1), date(2090, 1, 1)),
    st.frozensets(st.integers(0, 6), max_size=6),
    st.sampled_from(("forward", "back")),
)
def test_the_nearest_open_day_is_found(
    day: date, closed: frozenset[int], direction: Literal["forward", "back"]
) -> None:
    found = shift_to_open_day(day, closed, frozenset(), direction)
    skipped = abs((found - day).days)
    step = 1 if direction == "forward" else -1
    assert found.weekday() not in closed
    assert all((day + timedelta(days=step * n)).weekday() in closed for n in range(skipped))


# A birthday on 29 February counts from 1 March in common years: a choice, and no library error on the way.
@pytest.mark.parametrize(
    ("birth", "day", "age"),
    [
        ("2008-02-29", "2025-02-28", 16),
        ("2008-02-29", "2025-03-01", 17),
        ("2008-02-29", "2024-02-28", 15),
        ("2008-02-29", "2024-02-29", 16),
        ("1985-11-02", "2024-11-01", 38),
        ("1985-11-02", "2024-11-02", 39),
        ("2024-05-01", "2024-05-01", 0),
    ],
)
def test_age_in_whole_years(birth: str, day: str, age: int) -> None:
    assert age_on(date.fromisoformat(birth), date.fromisoformat(day)) == age


def test_an_age_before_birth_is_refused() -> None:
    with pytest.raises(BadValue, match="before the birth date"):
        age_on(date(2024, 5, 1), date(2024, 4, 30))


# The week's year is not the calendar year: python/cpython issue 137097.
@pytest.mark.parametrize(
    ("day", "label"),
    [
        ("2018-12-31", "2019-W01"),
        ("2024-12-30", "2025-W01"),
        ("2027-01-01", "2026-W53"),
        ("2025-06-10", "2025-W24"),
    ],
)
def test_week_heading_uses_the_iso_year(day: str, label: str) -> None:
    assert iso_week_label(date.fromisoformat(day)) == label
