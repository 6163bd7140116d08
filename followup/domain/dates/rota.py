"""The days of a session that repeats every so many weeks."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta

from followup.domain.errors import BadValue


@dataclass(frozen=True, slots=True)
class Repeats:
    """One weekday (Monday = 0) every so many weeks, from its first on or after `first_day`.

    last_day: None while it goes on. Raises BadValue for an unknown weekday or fewer than one week.
    """

    weekday: int
    first_day: date
    last_day: date | None = None
    every_weeks: int = 1

    def __post_init__(self) -> None:
        if not 0 <= self.weekday <= 6:
            raise BadValue(f"A weekday is 0 (Monday) to 6 (Sunday), not {self.weekday}.", field="weekday")
        if self.every_weeks < 1:
            raise BadValue(f"Every {self.every_weeks} weeks is no rhythm: 1 or more.", field="every_weeks")

    def days(self, first: date, last: date) -> list[date]:
        """Its days from `first` to `last`, both included."""
        start = self.first_day + timedelta(days=(self.weekday - self.first_day.weekday()) % 7)
        step = timedelta(weeks=self.every_weeks)
        end = min(last, self.last_day) if self.last_day else last
        day = start + max(0, -((start - first) // step)) * step
        found = []
        while day <= end:
            found.append(day)
            day += step
        return found


def is_held(day: date, shut: Collection[date], left_out: Collection[date], changed: Collection[date]) -> bool:
    """The most particular word counts: a day left out, a day held otherwise, then days the site is shut."""
    if day in left_out:
        return False
    return day in changed or day not in shut
