"""Dates and times of an entry, each as a calendar date or as a wall time in a zone."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from icalendar.prop import vDDDTypes

from followup.interchange.feeds.lines import Property
from followup.interchange.feeds.problems import Unreadable
from followup.interchange.feeds.zones_in import DatabaseZone, Zone, Zones

_UTC = DatabaseZone(ZoneInfo("UTC"))
FIRST_YEAR, LAST_YEAR = 1900, 2999
"""Beyond these a date is a slip of the writer, and arithmetic with it may leave the calendar."""
NO_ZONE = "no zone given"


@dataclass(frozen=True, slots=True)
class Moment:
    """wall: a date, or a time without zone to be read in `zone`; notes: what a person should know of it."""

    wall: date | datetime
    zone: Zone | None
    notes: tuple[str, ...] = ()

    @property
    def value(self) -> date | datetime:
        """The date, or the aware datetime."""
        return at(self.wall, self.zone)


def at(wall: date | datetime, zone: Zone | None) -> date | datetime:
    return zone.at(wall) if zone is not None and isinstance(wall, datetime) else wall


def instant(value: date | datetime) -> datetime:
    """In UTC, for comparing. A day begins at midnight UTC."""
    return (
        value.astimezone(UTC) if isinstance(value, datetime) else datetime.combine(value, time(), tzinfo=UTC)
    )


def is_day(value: date | datetime) -> bool:
    return not isinstance(value, datetime)


def read_moment(found: Property, zones: Zones, *, floating: Zone | None = None) -> Moment:
    """One date or time. Without a zone it is at the site's, or at `floating`, the zone of the entry it is in.

    Raises Unreadable for any other value and for a zone that is not known.
    """
    return read_moments(found, zones, floating=floating)[0]


def read_moments(found: Property, zones: Zones, *, floating: Zone | None = None) -> list[Moment]:
    """Every one of a list of dates or times, as EXDATE holds; of a period, its start."""
    return [_moment(found, raw.strip(), zones, floating) for raw in found.raw.split(",")]


def _moment(found: Property, raw: str, zones: Zones, floating: Zone | None) -> Moment:
    value = _plain(found, raw.upper().partition("/")[0])
    tzid = found.params.get("TZID", "")
    if not isinstance(value, datetime):
        return Moment(value, None)
    if value.tzinfo is not None:
        notes = (f"{found.name} is in UTC and names {tzid} as well: UTC is taken",) if tzid else ()
        return Moment(value.replace(tzinfo=None), _UTC, notes)
    if not tzid:
        notes = () if floating else (f"{NO_ZONE}: {found.name} is taken as {zones.site.name} time",)
        return _checked(Moment(value, floating or zones.site, notes), found)
    zone = zones.named(tzid)
    if zone is None:
        raise Unreadable(
            found.line,
            f"{found.name};TZID={tzid}",
            f'the zone "{tzid}" is neither known nor defined in the file. '
            "Define it with a VTIMEZONE or use an IANA name such as Africa/Cairo.",
        )
    other = zones.differs(tzid, value)
    notes = (f"the file's own rules for {tzid} make it {other}: the zone database is taken",) if other else ()
    return _checked(Moment(value, zone, notes), found)


def _plain(found: Property, raw: str) -> date | datetime:
    try:
        value = vDDDTypes.from_ical(raw)
    except (ValueError, OverflowError):
        value = None
    if not isinstance(value, date) or not FIRST_YEAR <= value.year <= LAST_YEAR:
        raise Unreadable(
            found.line, f"{found.name}:{raw}", "is no date or time. It should look like 20250610T060000Z."
        )
    return value


def _checked(moment: Moment, found: Property) -> Moment:
    """With a note where the clocks skip or repeat this wall time."""
    wall, place = moment.wall, moment.zone
    if not isinstance(wall, datetime) or not isinstance(place, DatabaseZone):
        return moment
    note = clock_note(wall, place)
    return Moment(wall, place, (*moment.notes, f"{found.name}: {note}")) if note else moment


def clock_note(wall: datetime, place: DatabaseZone) -> str:
    """What became of a wall time that does not exist or exists twice; "" for all others."""
    taken = place.at(wall)
    if taken.replace(tzinfo=None) != wall:
        return f"{wall:%Y-%m-%d %H:%M} does not exist in {place.name}: {taken:%H:%M} is taken"
    if taken.replace(fold=1).utcoffset() != taken.utcoffset():
        return f"{wall:%Y-%m-%d %H:%M} happens twice in {place.name}: the first is taken"
    return ""


@dataclass(frozen=True, slots=True)
class Length:
    """How long an entry lasts: whole days by the calendar, the rest by the clock (RFC 5545, 3.3.6)."""

    days: int = 0
    rest: timedelta = field(default=timedelta())

    def after(self, wall: date | datetime, zone: Zone | None) -> date | datetime:
        end = at(wall + timedelta(days=self.days), zone)
        if not isinstance(end, datetime):
            return end
        return (end.astimezone(UTC) + self.rest).astimezone(end.tzinfo)


_DURATION = re.compile(
    r"\+?P(?:(?P<weeks>\d{1,4})W)?(?:(?P<days>\d{1,5})D)?"
    r"(?:T(?:(?P<hours>\d{1,5})H)?(?:(?P<minutes>\d{1,6})M)?(?:(?P<seconds>\d{1,7})S)?)?"
)


def read_length(found: Property) -> Length:
    """A DURATION. Raises Unreadable for one that is negative or no duration."""
    match = _DURATION.fullmatch(found.raw.upper())
    if match is None or not any(match.groups()):
        raise Unreadable(
            found.line, f"{found.name}:{found.raw}", "is no length of time. It should look like PT30M or P1D."
        )
    number = {name: int(text or 0) for name, text in match.groupdict().items()}
    rest = timedelta(hours=number["hours"], minutes=number["minutes"], seconds=number["seconds"])
    return Length(number["weeks"] * 7 + number["days"], rest)
