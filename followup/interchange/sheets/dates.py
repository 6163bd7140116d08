"""Dates and intervals as logs write them."""

from __future__ import annotations

import re
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
_NUMBER = re.compile(r"-?[0-9]+(?:[.,][0-9]+)?")
# Day 1 of the 1900 system is 1 January 1900, and 29 February 1900, which never was, is counted as day 60.
_SERIAL_ZERO = date(1899, 12, 30)


def read_date(cell: Cell, order: DateOrder | None, *, born: bool, today: date) -> PartialDate:
    """A date at the precision it is written with. Raises CellProblem.

    order: how the column writes 06/09/2024; born: whether the column holds birth dates, for two-digit years.
    """
    if not isinstance(cell, str):
        day = without_time(cell)
        return PartialDate(day.year, day.month, day.day)
    text = tidy(cell)
    if timed := _TIME.fullmatch(text):
        text = timed["day"]
    if _SERIAL.fullmatch(text):
        recovered = from_serial(int(text))
        raise CellProblem(
            f'"{text}" may be {recovered}, turned into a number by a spreadsheet. Write it as a date.'
        )
    if short := _SHORT_YEAR.fullmatch(text):
        text = _with_century(text, short, order, born=born, today=today)
    day_first = {"day_first": True, "month_first": False}.get(order or "")
    try:
        return PartialDate.parse(text, day_first=day_first)
    except BadValue as fault:
        raise CellProblem(fault.message, _how_bad(text, order)) from None


def _how_bad(text: str, order: DateOrder | None) -> Literal["human", "refused"]:
    """A date that does not exist is refused; words, and an order nobody has named, are for a person."""
    has_no_digit = not any(letter.isdigit() for letter in text)
    if has_no_digit:
        return "human"
    if order is None and re.fullmatch(r"[0-9]{1,2}[-/.][0-9]{1,2}[-/.][0-9]{4}", text):
        first, second, _ = map(int, re.split("[-/.]", text))
        return "human" if first <= 12 and second <= 12 else "refused"
    return "refused"


def from_serial(number: int) -> date:
    """The day of a spreadsheet's serial number in the 1900 system: 45541 is 2024-09-06."""
    return _SERIAL_ZERO + timedelta(days=number)


def _with_century(
    text: str, found: re.Match[str], order: DateOrder | None, *, born: bool, today: date
) -> str:
    """Operations and visits lie in the last hundred years; a birth date in doubt is asked."""
    first, mark, second, short = found.groups()
    year = 2000 + int(short)
    if year > today.year:
        year -= 100
    elif born:
        raise CellProblem(f'"{text}" can be {year - 100} or {year}. Write the year with four digits.')
    return f"{first}{mark}{second}{mark}{year}"


def days_after(cell: Cell, unit: Unit) -> int:
    """Whole days after the operation: months are 30.4375 days, halves go up. Raises CellProblem."""
    text = tidy(cell)
    if not _NUMBER.fullmatch(text):
        raise CellProblem(f'"{text}" is not a number of {unit}.')
    amount = Decimal(text.replace(",", "."))
    days = amount * {"days": Decimal(1), "weeks": Decimal(7), "months": DAYS_A_MONTH}[unit]
    if unit == "days" and days != days.to_integral_value():
        raise CellProblem(f'"{text}" is not a whole number of days.')
    if abs(days) > 36_600:
        raise CellProblem(f"{text} {unit} is more than a hundred years. Check the number and its unit.")
    return int(days.quantize(Decimal(1), ROUND_HALF_UP))
