"""How long after: days at first, then months."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.dates.durations import Duration
from followup.domain.dates.elapsed import full_months, time_since
from followup.domain.errors import BadValue

DAYS = st.dates(min_value=date(1990, 1, 1), max_value=date(2060, 1, 1))


@pytest.mark.parametrize(
    ("start", "day", "months"),
    [
        ("2026-01-31", "2026-02-27", 0),
        ("2026-01-31", "2026-02-28", 1),
        ("2024-01-31", "2024-02-28", 0),
        ("2024-01-31", "2024-02-29", 1),
        ("2026-01-31", "2026-03-30", 1),
        ("2026-01-31", "2026-03-31", 2),
        ("2024-02-29", "2025-02-28", 12),
        ("2025-12-02", "2026-12-01", 11),
        ("2025-12-02", "2025-12-02", 0),
    ],
)
def test_months_are_calendar_months_clamped_at_month_end(start: str, day: str, months: int) -> None:
    assert full_months(date.fromisoformat(start), date.fromisoformat(day)) == months


@given(start=DAYS, days=st.integers(min_value=0, max_value=15_000))
def test_so_many_months_have_passed_and_one_more_has_not(start: date, days: int) -> None:
    day = start + timedelta(days=days)
    months = full_months(start, day)
    assert Duration(months=months).add_to(start) <= day < Duration(months=months + 1).add_to(start)


def test_a_day_before_the_start_is_refused() -> None:
    with pytest.raises(BadValue, match="2026-01-01 is before 2026-01-02"):
        full_months(date(2026, 1, 2), date(2026, 1, 1))


@pytest.mark.parametrize(
    ("days", "words"),
    [
        (-1, "before"),
        (0, "day 0"),
        (1, "day 1"),
        (30, "day 30"),
        (31, "month 1 (day 31)"),
        (92, "month 3 (day 92)"),
    ],
)
def test_the_time_since_an_operation_in_words(days: int, words: str) -> None:
    start = date(2026, 1, 1)
    assert time_since(start, start + timedelta(days=days)) == words


@pytest.mark.parametrize(
    ("start", "day", "said"),
    [
        ("2026-02-01", "2026-01-31", "before"),
        ("2026-02-01", "2026-02-01", "day 0"),
        ("2026-01-31", "2026-02-28", "day 28"),
        ("2026-04-15", "2026-05-15", "day 30"),
        ("2026-01-01", "2026-02-01", "month 1 (day 31)"),
        ("2026-01-15", "2026-02-14", "day 30"),
        ("2026-01-31", "2026-05-03", "month 3 (day 92)"),
    ],
)
def test_the_day_is_told_for_a_month_and_then_the_month(start: str, day: str, said: str) -> None:
    assert time_since(date.fromisoformat(start), date.fromisoformat(day)) == said
