"""One event of a calendar as a plain record."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum

from icalendar.parser import split_on_unescaped_comma
from icalendar.prop import vDDDTypes

from followup.interchange.feeds.lines import Block, Property
from followup.interchange.feeds.moments import Length, Moment, instant, is_day, read_length, read_moment
from followup.interchange.feeds.problems import Problem, Unreadable
from followup.interchange.feeds.repeats import Repetition, read_repetition
from followup.interchange.feeds.zones_in import Zone, Zones

LONGEST_UID = 255
_ONCE = ("UID", "DTSTAMP", "DTSTART", "DTEND", "DURATION", "SEQUENCE", "STATUS", "RECURRENCE-ID", "RRULE")


class Status(StrEnum):
    TENTATIVE = "tentative"
    CONFIRMED = "confirmed"
    CANCELLED = "cancelled"


@dataclass(frozen=True, slots=True)
class Entry:
    """One event. starts, ends: aware datetimes, or dates for whole days; the end is exclusive.

    line: of its BEGIN; wall, zone: the start as a time on the wall of its zone, which is what a repetition
    keeps; recurrence: for a changed repetition, which one it was, and None for an entry of its own; notes:
    what a person should know; shares_uid: other visits in the file have the same UID.
    """

    line: int
    uid: str
    sequence: int
    stamp: datetime | None
    starts: date | datetime
    ends: date | datetime
    status: Status
    summary: str
    location: str
    description: str
    categories: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    wall: date | datetime = date.min
    zone: Zone | None = None
    length: Length = field(default=Length())
    recurrence: Moment | None = None
    and_later: bool = False
    repeats: Repetition = field(default=Repetition())
    shares_uid: bool = False

    @property
    def all_day(self) -> bool:
        return is_day(self.starts)

    @property
    def cancelled(self) -> bool:
        return self.status is Status.CANCELLED


def read_entry(block: Block, zones: Zones, method: str) -> tuple[Entry | None, list[Problem]]:
    """The entry of one VEVENT, None if it cannot be taken, and what is wrong with it.

    A METHOD belongs to the calendar; some writers put it inside the event, where CANCEL
    still means cancelled.
    """
    uid = block.text("UID")[:LONGEST_UID]
    unread = [Problem(found.line, uid, found.value, found.message) for found in block.unread]
    try:
        _check_once(block)
        entry, problems = _entry(block, zones, (block.text("METHOD") or method).upper())
        return entry, unread + [replace(problem, uid=uid) for problem in problems]
    except Unreadable as fault:
        return None, [*unread, Problem(fault.line, uid, fault.value, fault.message, refused=True)]


def _entry(block: Block, zones: Zones, method: str) -> tuple[Entry, list[Problem]]:
    start = _start(block, zones)
    sequence, stamp, status = _sequence(block), _stamp(block), _status(block, method)
    length, end_notes = _length(block, zones, start)
    which = block.first("RECURRENCE-ID")
    repeats, problems = read_repetition(block, zones, start)
    entry = Entry(
        line=block.line,
        uid=_uid(block),
        sequence=sequence[0],
        stamp=stamp[0],
        starts=start.value,
        ends=length.after(start.wall, start.zone),
        status=status[0],
        summary=block.text("SUMMARY"),
        location=block.text("LOCATION"),
        description=block.text("DESCRIPTION"),
        categories=_categories(block),
        notes=(*start.notes, *end_notes, *sequence[1], *stamp[1], *status[1]),
        wall=start.wall,
        zone=start.zone,
        length=length,
        recurrence=read_moment(which, zones, floating=start.zone or zones.site) if which else None,
        and_later=bool(which and which.params.get("RANGE", "").upper() == "THISANDFUTURE"),
        repeats=repeats,
    )
    return entry, problems


def _check_once(block: Block) -> None:
    for name in _ONCE:
        found = block.all(name)
        if len(found) > 1:
            raise Unreadable(found[1].line, found[1].raw, f"{name} stands more than once in this entry.")


def _uid(block: Block) -> str:
    uid = block.text("UID")
    if not uid:
        raise Unreadable(
            block.line,
            "UID",
            "is missing, so this entry could not be known again when the file is read anew.",
        )
    if len(uid) > LONGEST_UID:
        raise Unreadable(block.line, f"{uid[:40]}...", f"is a UID of more than {LONGEST_UID} characters.")
    return uid


def _start(block: Block, zones: Zones) -> Moment:
    found = block.first("DTSTART")
    if found is None:
        raise Unreadable(block.line, "DTSTART", "is missing, so it is not known when this entry is.")
    return read_moment(found, zones)


def _length(block: Block, zones: Zones, start: Moment) -> tuple[Length, tuple[str, ...]]:
    end, duration = block.first("DTEND"), block.first("DURATION")
    if end is not None:
        both = ("DTEND and DURATION are both given: DTEND is taken",) if duration else ()
        length, notes = _until(end, zones, start)
        return length, (*both, *notes)
    if duration is not None:
        length = read_length(duration)
        if is_day(start.wall) and (length.rest or not length.days):
            raise Unreadable(duration.line, duration.raw, "an entry of whole days lasts whole days.")
        return length, ()
    return (Length(days=1), ()) if is_day(start.wall) else (Length(), ("no end given",))


def _until(found: Property, zones: Zones, start: Moment) -> tuple[Length, tuple[str, ...]]:
    end = read_moment(found, zones)
    if is_day(end.wall) != is_day(start.wall):
        raise Unreadable(found.line, found.raw, "one of start and end is a day and the other a time.")
    if is_day(end.wall):
        return _whole_days(found, instant(end.wall) - instant(start.wall))
    first, lasts = start.value, instant(end.value) - instant(start.value)
    if lasts < timedelta():
        raise Unreadable(found.line, found.raw, f"the end is before the start, {first:%Y-%m-%d %H:%M}.")
    notes = end.notes if end.notes and not start.notes else ()
    return Length(rest=lasts), notes if lasts else (*notes, "ends when it starts")


def _whole_days(found: Property, lasts: timedelta) -> tuple[Length, tuple[str, ...]]:
    if lasts < timedelta():
        raise Unreadable(found.line, found.raw, "the end is before the start.")
    if not lasts:
        return Length(days=1), ("ends on the day it starts, although the end is exclusive: taken as one day",)
    return Length(days=lasts.days), ()


def _sequence(block: Block) -> tuple[int, tuple[str, ...]]:
    found = block.first("SEQUENCE")
    if found is None:
        return 0, ()
    if not (found.raw.isascii() and found.raw.isdigit() and len(found.raw) < 10):
        return 0, (f'SEQUENCE "{found.raw[:20]}" is no whole number: taken as 0',)
    return int(found.raw), ()


def _stamp(block: Block) -> tuple[datetime | None, tuple[str, ...]]:
    found = block.first("DTSTAMP")
    if found is None:
        return None, ("no DTSTAMP, so any other version of this entry counts as newer",)
    try:
        value = vDDDTypes.from_ical(found.raw.upper())
    except (ValueError, OverflowError):
        value = None
    if not isinstance(value, datetime):
        return None, (f'DTSTAMP "{found.raw[:20]}" is no time: any other version counts as newer',)
    notes = () if value.tzinfo else ("DTSTAMP is not in UTC: taken as UTC",)
    return value.replace(tzinfo=UTC), notes


def _status(block: Block, method: str) -> tuple[Status, tuple[str, ...]]:
    word = block.text("STATUS").upper()
    if method == "CANCEL" or word == "CANCELLED":
        return Status.CANCELLED, ()
    if word in ("", "CONFIRMED"):
        return Status.CONFIRMED, ()
    if word == "TENTATIVE":
        return Status.TENTATIVE, ()
    return Status.CONFIRMED, (f'STATUS "{word[:20]}" is not known: taken as confirmed',)


def _categories(block: Block) -> tuple[str, ...]:
    found = [name.strip() for line in block.all("CATEGORIES") for name in split_on_unescaped_comma(line.raw)]
    return tuple(dict.fromkeys(name for name in found if name))
