"""Durations in calendar units, written as in ISO 8601 (P1W, P1M, P2Y)."""

from __future__ import annotations

import calendar
import re
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Self

from followup.domain.errors import BadValue

FORMS = "a calendar duration such as P1W, P2M, P1Y6M or P90D, or -P14D for one that counts back"
_WEEKS = re.compile(r"(?P<sign>-?)P(?P<weeks>[0-9]{1,6})W", re.ASCII)
_UNITS = re.compile(
    r"(?P<sign>-?)P(?=[0-9])(?:(?P<years>[0-9]{1,6})Y)?(?:(?P<months>[0-9]{1,6})M)?(?:(?P<days>[0-9]{1,6})D)?",
    re.ASCII,
)


@dataclass(frozen=True, slots=True)
class Duration:
    """Whole years, months and days, or weeks alone; all of one sign.

    Raises BadValue for units of mixed sign, and for weeks beside other units: neither can be written down.
    """

    years: int = 0
    months: int = 0
    weeks: int = 0
    days: int = 0

    def __post_init__(self) -> None:
        parts = (self.years, self.months, self.weeks, self.days)
        if min(parts) < 0 < max(parts):
            raise BadValue(f"A duration cannot mix forward and backward units: {parts}. Use {FORMS}.")
        if self.weeks and any((self.years, self.months, self.days)):
            raise BadValue("Weeks stand alone in a duration. Write days in their place, for example P1M7D.")

    @classmethod
    def parse(cls, text: str) -> Self:
        """Reads PnW or any of PnYnMnD in that order, with a leading '-' for backward; else BadValue."""
        found = _WEEKS.fullmatch(text) or _UNITS.fullmatch(text)
        if found is None:
            raise BadValue(
                f'"{text}" is not a duration this tool uses. Write {FORMS}; no hours, no fractions.'
            )
        groups = found.groupdict()
        factor = -1 if groups.pop("sign") else 1
        return cls(**{unit: factor * int(amount) for unit, amount in groups.items() if amount})

    def __str__(self) -> str:
        units = (("Y", self.years), ("M", self.months), ("W", self.weeks), ("D", self.days))
        body = "".join(f"{abs(amount)}{letter}" for letter, amount in units if amount)
        sign = "-" if any(amount < 0 for _, amount in units) else ""
        return f"{sign}P{body or '0D'}"

    def __neg__(self) -> Duration:
        return Duration(-self.years, -self.months, -self.weeks, -self.days)

    def add_to(self, anchor: date) -> date:
        """The day this long after `anchor`: calendar months first, clamped at the month end, then days.

        Always count from the anchor: a chain of single months loses the month end (31 January, 29 February,
        29 March). Raises BadValue when the result lies outside the years 1 to 9999.
        """
        try:
            return _move(anchor, 12 * self.years + self.months, 7 * self.weeks + self.days)
        except (OverflowError, ValueError):
            raise _outside(anchor, str(self)) from None

    def subtract_from(self, anchor: date) -> date:
        """The day this long before `anchor`, by the same rule."""
        return (-self).add_to(anchor)


def _move(anchor: date, months: int, days: int) -> date:
    """Months first, clamped, then days. Raises OverflowError or ValueError outside the calendar's years."""
    if months:
        year, month0 = divmod(12 * anchor.year + anchor.month - 1 + months, 12)
        if anchor.day > 28:
            anchor = date(year, month0 + 1, min(anchor.day, calendar.monthrange(year, month0 + 1)[1]))
        else:
            anchor = date(year, month0 + 1, anchor.day)
    return anchor + timedelta(days=days) if days else anchor


def _outside(anchor: date, written: str) -> BadValue:
    return BadValue(
        f"{written} counted from {anchor.isoformat()} leaves the years 1 to 9999. Use a shorter one."
    )
