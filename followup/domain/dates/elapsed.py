"""How long after an operation a day lies, as it is said in a clinic: the day at first, then the month."""

from __future__ import annotations

from datetime import date

from followup.domain.dates.durations import Duration
from followup.domain.errors import BadValue

_DAYS_ALONE = 30
"""Until so many days after, nobody counts in months (common practice, no source)."""


def full_months(start: date, day: date) -> int:
    """Whole calendar months from `start` to `day`, each counted from `start` and clamped at month end.

    Raises BadValue for a day before `start`.
    """
    if day < start:
        raise BadValue(f"{day} is before {start}, so no time has passed.")
    months = (day.year - start.year) * 12 + day.month - start.month
    return months - (Duration(months=months).add_to(start) > day)


def time_since(start: date, day: date) -> str:
    """Such as "day 12" or "month 3 (day 92)"; "before" for a day that comes first."""
    if day < start:
        return "before"
    days = (day - start).days
    months = full_months(start, day)
    return f"day {days}" if days <= _DAYS_ALONE or not months else f"month {months} (day {days})"
