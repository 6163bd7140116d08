"""Days on which a site works, ages in whole years, and week headings."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Literal

from followup.domain.errors import BadValue

LONGEST_CLOSURE = 366


def shift_to_open_day(
    day: date,
    closed_weekdays: frozenset[int],
    holidays: frozenset[date],
    direction: Literal["forward", "back"],
) -> date:
    """The nearest day at or after (or at or before) `day` on which the site works.

    This moves the booking that is proposed, never the due date. Weekdays count from Monday = 0, as in
    `date.weekday()`. Raises BadValue when the site is shut for a year on end, or for an unknown weekday.
    """
    if not closed_weekdays <= frozenset(range(7)):
        raise BadValue(f"Closed weekdays must be 0 (Monday) to 6 (Sunday), not {sorted(closed_weekdays)}.")
    step = 1 if direction == "forward" else -1
    for distance in range(LONGEST_CLOSURE + 1):
        candidate = day + timedelta(days=step * distance)
        if candidate.weekday() not in closed_weekdays and candidate not in holidays:
            return candidate
    raise BadValue(f"No open day within a year of {day}. Check the site's closed weekdays and holidays.")


def age_on(birth: date, day: date) -> int:
    """Age in whole years. Somebody born on 29 February is a year older from 1 March in common years.

    That is a choice, since laws differ; pages that show an age of such a person say so.
    """
    if day < birth:
        raise BadValue(f"{day} is before the birth date {birth}. Check both dates.")
    before_birthday = (day.month, day.day) < (birth.month, birth.day)
    return day.year - birth.year - before_birthday


def iso_week_label(day: date) -> str:
    """The ISO 8601 week of a day, such as 2025-W01. Its year can differ from the calendar year of the day."""
    year, week, _ = day.isocalendar()
    return f"{year:04d}-W{week:02d}"
