"""Dates and intervals as logs write them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from typing import Literal, TypeAlias

from followup.domain.dates.partial import PartialDate
from followup.domain.errors import BadValue
from followup.interchange.sheets.cells import Cell, CellProblem, tidy
from followup.interchange.sheets.workbook import without_time

DateOrder: TypeAlias = Literal["day_first", "month_first", "iso"]
Unit: TypeAlias = Literal["days", "weeks", "months"]

DAYS_A_MONTH = Decimal("30.4375")
"""Days in a month given as a number: a twelfth of 365.25 (common practice in survival analysis)."""

_TIME = re.compile(r"(?P<day>.*[0-9])[T ][0-9]{1,2}:[0-9]{2}.*")
_SERIAL = re.compile(r"[1-6][0-9]{4}")
_SHORT_YEAR = re.compile(r"([0-9]{1,2})([-/.])([0-9]{1,2})\2([0-9]{2})")
_TWO_FIRST = re.compile(r"([0-9]{1,2})[-/.]([0-9]{1,2})[-/.][0-9]{2,4}(?![0-9])")
_DAY_FIRST = {"day_first": True, "month_first": False}
_NUMBER = re.compile(r"-?[0-9]+(?:[.,][0-9]+)?")
# Day 1 of the 1900 system is 1 January 1900, and 29 February 1900, which never was, is counted as day 60.
_SERIAL_ZERO = date(1899, 12, 30)
_ZERO_1904 = date(1904, 1, 1)


@dataclass(frozen=True, slots=True)
class DateStyle:
    """How a column writes its dates.

    order: how it writes 06/09/2024; both_orders: some of its dates are day first and some month first, so
    that one which fits both is anybody's guess; dates_1904: the workbook counts its days from 1904.
    """

    order: DateOrder | None = None
    both_orders: bool = False
    dates_1904: bool = False


def read_date(cell: Cell, style: DateStyle, *, born: bool, today: date) -> PartialDate:
    """A date at the precision it is written with. Raises CellProblem.

    born: whether the column holds birth dates, for two-digit years.
    """
    order = style.order
    if not isinstance(cell, str):
        day = without_time(cell)
        return PartialDate(day.year, day.month, day.day)
    text = tidy(cell)
    if timed := _TIME.fullmatch(text):
        text = timed["day"]
    if _SERIAL.fullmatch(text):
        recovered = from_serial(int(text), dates_1904=style.dates_1904)
        raise CellProblem(
            f'"{text}" may be {recovered}, turned into a number by a spreadsheet. Write it as a date.'
        )
    _ask_of_calendar(text)
    if style.both_orders and _fits_both(text):
        raise CellProblem(
            f'"{text}" can be read day first or month first, and its column has dates of both kinds. '
            "Write it as 2024-09-06."
        )
    if short := _SHORT_YEAR.fullmatch(text):
        text = _with_century(text, short, order, born=born, today=today)
    try:
        return PartialDate.parse(text, day_first=_DAY_FIRST.get(order or ""))
    except BadValue as fault:
        raise CellProblem(fault.message, _how_bad(text, order)) from None


_CALENDARS = (
    (range(1300, 1420), "the solar Hijri or the Hijri calendar"),
    (range(1420, 1500), "the Hijri calendar"),
    (range(2400, 2700), "the Buddhist calendar"),
)
_YEAR = re.compile(r"(?<![0-9])([12][0-9]{3})(?![0-9])")


def _ask_of_calendar(text: str) -> None:
    """Nobody is guessed to have lived in 1403: the year is of another calendar, and which one is asked."""
    for year in _YEAR.findall(text):
        for years, name in _CALENDARS:
            if int(year) in years:
                raise CellProblem(f'"{text}" seems to be of {name}. Convert it, and write 2024-09-06.')


def _fits_both(text: str) -> bool:
    found = _TWO_FIRST.match(text)
    return found is not None and int(found[1]) <= 12 and int(found[2]) <= 12 and found[1] != found[2]


def _how_bad(text: str, order: DateOrder | None) -> Literal["human", "refused"]:
    """A date that does not exist is refused; words, and an order nobody has named, are for a person."""
    has_no_digit = not any(letter.isdigit() for letter in text)
    if has_no_digit:
        return "human"
    if order is None and re.fullmatch(r"[0-9]{1,2}[-/.][0-9]{1,2}[-/.][0-9]{4}", text):
        first, second, _ = map(int, re.split("[-/.]", text))
        return "human" if first <= 12 and second <= 12 else "refused"
    return "refused"


def from_serial(number: int, *, dates_1904: bool = False) -> date:
    """The day of a spreadsheet's serial number: 45541 is 2024-09-06, and 44079 in a workbook of 1904."""
    return (_ZERO_1904 if dates_1904 else _SERIAL_ZERO) + timedelta(days=number)


_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_DAY_AND_MONTH = re.compile(rf"([0-9]{{1,2}})[- ]({'|'.join(_MONTHS)})[a-z]*", re.IGNORECASE)
_MONTH_AND_YEAR = re.compile(rf"({'|'.join(_MONTHS)})[a-z]*[- ]([0-9]{{2}})", re.IGNORECASE)
_ISO_DAY = re.compile(r"([0-9]{4})-([0-9]{2})-([0-9]{2})(?: 00:00:00)?")
# Distances in metres or feet at which a chart hangs.
_TEST_DISTANCES = (1, 2, 3, 4, 5, 6, 20)


def fractions_behind(cell: Cell, order: DateOrder | None, *, dates_1904: bool = False) -> list[str]:
    """The fractions of which a spreadsheet makes this date: 6/9 of 9 June or 6 September, 6/36 of June 1936.

    order: how the spreadsheet wrote its dates, where that is known. Empty for what is no such date.
    """
    if not isinstance(cell, str):
        return _of_day(without_time(cell), order)
    text = tidy(cell)
    if _SERIAL.fullmatch(text):
        return _of_day(from_serial(int(text), dates_1904=dates_1904), order)
    if found := _ISO_DAY.fullmatch(text):
        return _of_parts(int(found[2]), int(found[3]), order)
    if found := _DAY_AND_MONTH.fullmatch(text):
        return _of_parts(_month(found[2]), int(found[1]), order)
    if found := _MONTH_AND_YEAR.fullmatch(text):
        return [f"{_month(found[1])}/{int(found[2])}"]
    return []


def _month(name: str) -> int:
    return _MONTHS.index(name[:3].casefold()) + 1


def _of_day(day: date, order: DateOrder | None) -> list[str]:
    """No month has 36 days, so 6/36 can only have become a month of 1936."""
    if day.day == 1 and day.year < 2000:
        return [f"{day.month}/{day.year - 1900}"]
    return _of_parts(day.month, day.day, order)


def _of_parts(month: int, day: int, order: DateOrder | None) -> list[str]:
    found = {"month_first": [(month, day)], "day_first": [(day, month)]}
    parts = found.get(order or "", [(month, day), (day, month)])
    return [
        f"{tested}/{letter}"
        for tested, letter in dict.fromkeys(parts)
        if tested in _TEST_DISTANCES and tested < 3 * letter
    ]


def _with_century(
    text: str, found: re.Match[str], order: DateOrder | None, *, born: bool, today: date
) -> str:
    """Operations and visits lie in the last hundred years; a birth date in doubt is asked."""
    first, mark, second, short = found.groups()
    year = 2000 + int(short)
    if year > today.year:
        year -= 100
    elif born:
        earlier, later = (f"{first}{mark}{second}{mark}{one}" for one in (year - 100, year))
        shown = " or ".join(str(_proposed(one, order)) for one in (earlier, later))
        raise CellProblem(f'"{text}" can be {shown}. Write the year with four digits.')
    return f"{first}{mark}{second}{mark}{year}"


def _proposed(text: str, order: DateOrder | None) -> PartialDate | str:
    """The date as far as its column tells, for a person to choose from."""
    try:
        return PartialDate.parse(text, day_first=_DAY_FIRST.get(order or ""))
    except BadValue:
        return text


def days_after(cell: Cell, unit: Unit) -> int:
    """Whole days after the operation, part of a day rounded, halves up; a month is 30.4375 days.

    Raises CellProblem.
    """
    text = tidy(cell)
    if not _NUMBER.fullmatch(text):
        raise CellProblem(f'"{text}" is not a number of {unit}.')
    amount = Decimal(text.replace(",", "."))
    days = amount * {"days": Decimal(1), "weeks": Decimal(7), "months": DAYS_A_MONTH}[unit]
    if abs(days) > 36_600:
        raise CellProblem(f"{text} {unit} is more than a hundred years. Check the number and its unit.")
    return int(days.quantize(Decimal(1), ROUND_HALF_UP))
