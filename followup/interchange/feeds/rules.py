"""Recurrence rules as wall times. UNTIL and COUNT are for the caller, who knows the zone.

What RFC 5545, 3.3.10 forbids is refused here, since the engine below would run through eight thousand years
in search of the 30th of February, or misread it in silence.
"""

from __future__ import annotations

from calendar import monthrange
from datetime import datetime

from dateutil.rrule import rrule, rrulestr
from icalendar.prop import vRecur

from followup.domain.errors import BadValue

LARGEST_INTERVAL = 100_000
_LEAP_YEAR = 2024
_BY_THE_CLOCK = frozenset({"SECONDLY", "MINUTELY", "HOURLY"})
_WITHIN_A_MONTH = frozenset({"MONTHLY", "YEARLY"})
_LARGEST = {
    "BYSECOND": 59,
    "BYMINUTE": 59,
    "BYHOUR": 23,
    "BYMONTHDAY": 31,
    "BYYEARDAY": 366,
    "BYWEEKNO": 53,
    "BYMONTH": 12,
    "BYSETPOS": 366,
}
_FROM_ZERO = {"BYSECOND", "BYMINUTE", "BYHOUR"}
_FROM_THE_END = {"BYMONTHDAY", "BYYEARDAY", "BYWEEKNO", "BYSETPOS"}
_GOES_WITH = {
    "BYWEEKNO": frozenset({"YEARLY"}),
    "BYYEARDAY": frozenset({"YEARLY"}) | _BY_THE_CLOCK,
    "BYMONTHDAY": _WITHIN_A_MONTH | _BY_THE_CLOCK | {"DAILY"},
    "BYSETPOS": _WITHIN_A_MONTH | {"WEEKLY"},
}


def walls_of(recur: vRecur, first: datetime, last: datetime | None, *, cache: bool = False) -> rrule:
    """The wall times of a rule from `first` to `last`, both included. Days that a month lacks are skipped.

    Raises BadValue for a rule that cannot be followed.
    """
    parts = vRecur({name: value for name, value in recur.items() if name not in ("UNTIL", "COUNT")})
    _check(parts)
    try:
        rule = rrulestr(parts.to_ical().decode(), dtstart=first, cache=cache)
    except (ValueError, TypeError) as fault:
        raise BadValue(f"this rule cannot be followed ({fault}).") from None
    if not isinstance(rule, rrule):
        raise BadValue("this is more than one rule.")
    return rule.replace(until=last) if last is not None else rule


def _check(parts: vRecur) -> None:
    if len(parts.get("FREQ", [])) != 1:
        raise BadValue("FREQ is needed once.")
    freq = str(parts["FREQ"][0])
    if any(not 1 <= step <= LARGEST_INTERVAL for step in parts.get("INTERVAL", [])):
        raise BadValue(f"an INTERVAL is a number from 1 to {LARGEST_INTERVAL:,}.")
    for name, largest in _LARGEST.items():
        for value in parts.get(name, []):
            _check_number(name, int(value), largest)
    for name, freqs in _GOES_WITH.items():
        if name in parts and freq not in freqs:
            raise BadValue(f"{name} does not go with {freq}.")
    if freq not in _WITHIN_A_MONTH and any(str(day)[:-2] for day in parts.get("BYDAY", [])):
        raise BadValue(f"a numbered BYDAY does not go with {freq}.")
    if not _some_day(parts):
        raise BadValue("no month has such a day.")


def _check_number(name: str, value: int, largest: int) -> None:
    smallest = 0 if name in _FROM_ZERO else 1
    size = abs(value) if name in _FROM_THE_END else value
    if not smallest <= size <= largest:
        raise BadValue(f"{name}={value} is outside {smallest} to {largest}.")


def _some_day(parts: vRecur) -> bool:
    """False for a rule such as the 30th of every February."""
    shortest = min((abs(int(day)) for day in parts.get("BYMONTHDAY", [])), default=1)
    months = [int(month) for month in parts.get("BYMONTH", [1])]
    return any(shortest <= monthrange(_LEAP_YEAR, month)[1] for month in months)
