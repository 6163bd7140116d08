"""Durations: how they are written, and calendar months counted from the anchor."""

from __future__ import annotations

import calendar
from datetime import date, timedelta

import pytest
from dateutil.relativedelta import relativedelta
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.dates.durations import Duration
from followup.domain.errors import BadValue

WRITTEN = [
    ("P1D", Duration(days=1)),
    ("P1W", Duration(weeks=1)),
    ("P1M", Duration(months=1)),
    ("P2Y", Duration(years=2)),
    ("P1Y6M", Duration(years=1, months=6)),
    ("P1M14D", Duration(months=1, days=14)),
    ("P1Y2M3D", Duration(years=1, months=2, days=3)),
    ("P90D", Duration(days=90)),
    ("-P14D", Duration(days=-14)),
    ("-P2W", Duration(weeks=-2)),
    ("-P1Y1D", Duration(years=-1, days=-1)),
    ("P0D", Duration()),
]

REFUSED = [
    "", "P", "-P", "PT1M", "P1DT2H", "P1.5M", "P1,5M", "p1m", "P1m", " P1M", "P1M ", "P 1M", "1M", "P1M1Y",
    "P1W1D", "P1Y1W", "P-1M", "+P1M", "--P1M", "P1", "PM", "P1X", "P١M", "P1M\n", "P1234567D", "0000-01-00",
]  # fmt: skip


@pytest.mark.parametrize(("text", "duration"), WRITTEN)
def test_reads_and_writes_calendar_durations(text: str, duration: Duration) -> None:
    assert Duration.parse(text) == duration
    assert str(duration) == text


@pytest.mark.parametrize("text", REFUSED)
def test_refuses_other_forms_naming_value_and_what_is_allowed(text: str) -> None:
    with pytest.raises(BadValue) as refusal:
        Duration.parse(text)
    assert f'"{text}"' in refusal.value.message
    assert "P1W, P2M, P1Y6M or P90D" in refusal.value.message


@pytest.mark.parametrize(
    "units", [{"months": 1, "days": -1}, {"weeks": 1, "days": 1}, {"years": -1, "weeks": -1}]
)
def test_refuses_units_that_cannot_be_written_together(units: dict[str, int]) -> None:
    with pytest.raises(BadValue):
        Duration(**units)


# Arithmetic of the calendar; the traps of a month end, a leap day and 90 days taken for three months.
MONTH_ENDS = [
    ("2024-01-31", "P1M", "2024-02-29"),
    ("2024-01-31", "P2M", "2024-03-31"),
    ("2024-01-31", "P3M", "2024-04-30"),
    ("2024-01-31", "P90D", "2024-04-30"),
    ("2023-11-30", "P1M", "2023-12-30"),
    ("2023-11-30", "P2M", "2024-01-30"),
    ("2023-11-30", "P3M", "2024-02-29"),
    ("2023-11-30", "P90D", "2024-02-28"),
    ("2024-08-31", "P1M", "2024-09-30"),
    ("2024-08-31", "P2M", "2024-10-31"),
    ("2024-08-31", "P3M", "2024-11-30"),
    ("2024-08-31", "P90D", "2024-11-29"),
    ("2024-02-29", "P1M", "2024-03-29"),
    ("2024-02-29", "P2M", "2024-04-29"),
    ("2024-02-29", "P3M", "2024-05-29"),
    ("2024-02-29", "P90D", "2024-05-29"),
    ("2024-02-29", "P12M", "2025-02-28"),
    ("2024-02-29", "P24M", "2026-02-28"),
    ("2024-02-29", "P1Y", "2025-02-28"),
    ("2024-02-29", "P2Y", "2026-02-28"),
    ("2024-02-29", "P4Y", "2028-02-29"),
    # A month end is not lost by counting on: dateutil/dateutil issue 53.
    ("2023-12-31", "P1M", "2024-01-31"),
    ("2023-12-31", "P2M", "2024-02-29"),
    ("2023-12-31", "P3M", "2024-03-31"),
    ("2023-12-31", "P4M", "2024-04-30"),
    # Several anchors fall together on one day: dateutil/dateutil issue 808.
    ("2025-08-28", "P6M", "2026-02-28"),
    ("2025-08-29", "P6M", "2026-02-28"),
    ("2025-08-30", "P6M", "2026-02-28"),
    ("2025-08-31", "P6M", "2026-02-28"),
    ("2024-03-31", "-P1M", "2024-02-29"),
    ("2024-03-15", "-P14D", "2024-03-01"),
    ("2024-01-31", "P1M1D", "2024-03-01"),
]


@pytest.mark.parametrize(("anchor", "duration", "day"), MONTH_ENDS)
def test_months_are_calendar_months_clamped_at_month_end(anchor: str, duration: str, day: str) -> None:
    assert Duration.parse(duration).add_to(date.fromisoformat(anchor)) == date.fromisoformat(day)


def test_subtracting_counts_back_from_the_anchor() -> None:
    assert Duration.parse("P1M").subtract_from(date(2024, 3, 31)) == date(2024, 2, 29)
    assert Duration.parse("P1Y").subtract_from(date(2024, 2, 29)) == date(2023, 2, 28)
    assert Duration.parse("P1W").subtract_from(date(2024, 3, 1)) == date(2024, 2, 23)


@pytest.mark.parametrize(
    ("anchor", "duration"),
    [(date.max, "P1D"), (date.max, "P1M"), (date.min, "-P1D"), (date.min, "-P1Y"), (date.max, "P999999Y")],
)
def test_results_outside_the_calendar_are_refused(anchor: date, duration: str) -> None:
    with pytest.raises(BadValue, match="years 1 to 9999"):
        Duration.parse(duration).add_to(anchor)


def test_every_day_of_two_centuries_agrees_with_an_independent_calendar() -> None:
    # Oracle: python-dateutil. A chain of single months may only lag behind, by three days at most.
    month, wholes = Duration(months=1), [*range(1, 14), 24]
    steps = {n: (Duration(months=n), relativedelta(months=n)) for n in wholes}
    day, last = date(1900, 1, 1), date(2100, 12, 31)
    while day <= last:
        chained = day
        for n in range(1, 25):
            chained = month.add_to(chained)
            if n in steps:
                ours, theirs = steps[n]
                reached = ours.add_to(day)
                assert reached == day + theirs
                assert reached.month == (day.month - 1 + n) % 12 + 1
                assert timedelta(0) <= reached - chained <= timedelta(days=3)
        day += timedelta(days=1)


def test_every_day_of_two_centuries_lands_in_the_month_asked_for() -> None:
    for ordinal in range(date(1900, 1, 1).toordinal(), date(2101, 1, 1).toordinal()):
        anchor = date.fromordinal(ordinal)
        reached = Duration(months=3).add_to(anchor)
        length = calendar.monthrange(reached.year, reached.month)[1]
        assert reached.month == (anchor.month + 2) % 12 + 1
        assert reached.day == min(anchor.day, length)


same_sign = st.tuples(st.sampled_from((-1, 1)), *[st.integers(0, 400)] * 3)


@given(same_sign)
def test_what_is_written_reads_back(parts: tuple[int, int, int, int]) -> None:
    sign, years, months, days = parts
    duration = Duration(years=sign * years, months=sign * months, days=sign * days)
    assert Duration.parse(str(duration)) == duration


@given(st.dates(date(1900, 1, 1), date(2100, 1, 1)), st.dates(date(1900, 1, 1), date(2100, 1, 1)), same_sign)
def test_a_later_anchor_never_comes_due_earlier(
    one: date, other: date, parts: tuple[int, int, int, int]
) -> None:
    sign, years, months, _ = parts
    duration = Duration(years=sign * (years % 100), months=sign * months)
    early, late = sorted((one, other))
    assert duration.add_to(early) <= duration.add_to(late)


@given(st.text(max_size=8))
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        Duration.parse(text)
    except BadValue:
        return
    assert text.lstrip("-").startswith("P")
