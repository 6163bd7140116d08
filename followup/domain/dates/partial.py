"""Dates known only to the year or the month, kept at the precision they were given with."""

from __future__ import annotations

import calendar
import re
import unicodedata
from dataclasses import dataclass
from datetime import date
from typing import Self

from followup.domain.errors import BadValue

FIRST_YEAR, LAST_YEAR = 1850, 2150
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_SPELLED = {name.lower(): number for number, name in enumerate(calendar.month_name) if name}
_SPELLED |= {short: number for number, short in enumerate(_MONTHS, start=1)} | {"sept": 9}

_YEAR = re.compile(r"(?P<year>\d{4})", re.ASCII)
_YEAR_FIRST = re.compile(r"(?P<year>\d{4})([-/.])(?P<month>\d{1,2})(?:\2(?P<day>\d{1,2}))?", re.ASCII)
_MONTH_YEAR = re.compile(r"(?P<month>\d{1,2})[-/.](?P<year>\d{4})", re.ASCII)
_WORDS = re.compile(r"(?:(?P<day>\d{1,2})[ -])?(?P<name>[a-z]+)\.?[ -](?P<year>\d{4})", re.ASCII)
_TWO_AND_YEAR = re.compile(r"(?P<first>\d{1,2})([-/.])(?P<second>\d{1,2})\2(?P<year>\d{4})", re.ASCII)


@dataclass(frozen=True, slots=True)
class PartialDate:
    """A year, a year with its month, or a whole date. Raises BadValue for a day that does not exist."""

    year: int
    month: int | None = None
    day: int | None = None

    def __post_init__(self) -> None:
        if not FIRST_YEAR <= self.year <= LAST_YEAR:
            raise BadValue(
                f"The year {self.year} is not between {FIRST_YEAR} and {LAST_YEAR}. If it comes from another "
                "calendar, convert it first."
            )
        if self.month is None:
            if self.day is not None:
                raise BadValue("A date with a day needs its month too.")
            return
        if not 1 <= self.month <= 12:
            raise BadValue(f"There is no month {self.month}. Months run from 1 to 12.")
        self._check_day(self.month)

    def _check_day(self, month: int) -> None:
        length = calendar.monthrange(self.year, month)[1]
        if self.day is not None and not 1 <= self.day <= length:
            name = calendar.month_name[month]
            raise BadValue(f"There is no {self.day} {name} {self.year}: that month has {length} days.")

    @classmethod
    def parse(cls, text: str, *, day_first: bool | None = None) -> Self:
        """Reads 2024, 2024-09, 2024-09-06, 09/2024, Sept 2024, 6 Sept 2024, or 06/09/2024 by column order.

        Nothing missing is ever filled up from another day. `day_first` says how a column writes 06/09/2024;
        without it only dates that can be read one way are taken. Raises BadValue with the reason.
        """
        plain = _plain(text)
        for form in (_YEAR, _YEAR_FIRST, _MONTH_YEAR):
            if found := form.fullmatch(plain):
                return cls(**{name: int(value) for name, value in found.groupdict().items() if value})
        if (found := _WORDS.fullmatch(plain)) and found["name"] in _SPELLED:
            return cls(
                int(found["year"]), _SPELLED[found["name"]], int(found["day"]) if found["day"] else None
            )
        if found := _TWO_AND_YEAR.fullmatch(plain):
            first, second = int(found["first"]), int(found["second"])
            return cls(int(found["year"]), *_month_and_day(text, first, second, day_first))
        raise BadValue(f'"{text}" is not a date with a four-digit year. Write 2024-09-06, 2024-09 or 2024.')

    def __str__(self) -> str:
        parts = [f"{self.year:04d}", *(f"{part:02d}" for part in (self.month, self.day) if part is not None)]
        return "-".join(parts)

    @property
    def whole(self) -> date | None:
        """The date when all of it is known, else None."""
        if self.month is None or self.day is None:
            return None
        return date(self.year, self.month, self.day)

    @property
    def earliest(self) -> date:
        """The first day it can have been."""
        return date(self.year, self.month or 1, self.day or 1)

    @property
    def latest(self) -> date:
        """The last day it can have been."""
        month = self.month or 12
        return date(self.year, month, self.day or calendar.monthrange(self.year, month)[1])


def _plain(text: str) -> str:
    """ASCII digits, single spaces, lower case, no invisible direction marks."""
    folded = unicodedata.normalize("NFKC", text)
    visible = (char for char in folded if unicodedata.category(char) != "Cf")
    digits = "".join(str(unicodedata.digit(char)) if char.isdecimal() else char for char in visible)
    return " ".join(digits.split()).lower()


def _month_and_day(text: str, first: int, second: int, day_first: bool | None) -> tuple[int, int]:
    orders = {True: (second, first), False: (first, second)}
    possible = {order: pair for order, pair in orders.items() if pair[0] <= 12}
    if not possible:
        raise BadValue(f'"{text}" has no month: {first} and {second} are both above 12.')
    if day_first is not None and day_first not in possible:
        raise BadValue(
            f'"{text}" does not fit the order of its column: there is no month {max(first, second)}.'
        )
    if day_first is None and len(set(possible.values())) > 1:
        raise BadValue(
            f'"{text}" can be read day first or month first. Say which the column uses, or write 2024-09-06.'
        )
    return possible[day_first] if day_first is not None else next(iter(possible.values()))
