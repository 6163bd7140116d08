"""The zones that a calendar names: from the zone database, by a Windows name, or defined in the file itself.

A name that is known is read by the zone database, since the rules in a file are often those of the year it
was written in; where the file's own rules give another time, that is said. Each file has its own:
a memory of zones for the whole process would let one file's "Clinic zone 1" decide for the next.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta, timezone
from typing import Protocol
from zoneinfo import ZoneInfo

from dateutil.rrule import rrule
from icalendar.prop import vDDDTypes, vRecur, vUTCOffset
from icalendar.timezone.windows_to_olson import WINDOWS_TO_OLSON

from followup.domain.dates.zones import zone
from followup.domain.errors import BadValue
from followup.interchange.feeds.lines import Block
from followup.interchange.feeds.rules import walls_of

_TIMES = {"BYHOUR", "BYMINUTE", "BYSECOND"}


class Zone(Protocol):
    """Wall times in one zone."""

    @property
    def name(self) -> str: ...

    def at(self, wall: datetime) -> datetime:
        """The aware datetime. A repeated hour means its first pass, and a skipped one is read with the offset
        before the clocks moved (RFC 5545, 3.3.5), so its wall time differs from the one given."""
        ...


@dataclass(frozen=True, slots=True)
class DatabaseZone:
    place: ZoneInfo

    @property
    def name(self) -> str:
        return self.place.key

    def at(self, wall: datetime) -> datetime:
        # By way of UTC, so that a skipped wall time becomes one that exists.
        return wall.replace(tzinfo=self.place, fold=0).astimezone(UTC).astimezone(self.place)


@dataclass(frozen=True, slots=True)
class Observance:
    """One STANDARD or DAYLIGHT part.

    last_onset: the last time it began, up to a wall time; both are in the offset before it.
    """

    last_onset: Callable[[datetime], datetime | None]
    before: timedelta
    after: timedelta


@dataclass(frozen=True, slots=True)
class FileZone:
    """A zone by the rules that the file brings along (RFC 5545, 3.6.5)."""

    name: str
    observances: tuple[Observance, ...]

    def at(self, wall: datetime) -> datetime:
        return wall.replace(tzinfo=timezone(self._offset(wall)))

    def _offset(self, wall: datetime) -> timedelta:
        """By the last onset that is over: within a skipped hour the clocks have not moved yet."""
        over = [
            (onset, part.after)
            for part in self.observances
            if (onset := part.last_onset(wall - max(part.after - part.before, timedelta()))) is not None
        ]
        if not over:
            return self.observances[0].before
        return max(over, key=lambda pair: pair[0])[1]


@dataclass(slots=True)
class Zones:
    """Every zone of one calendar."""

    site: DatabaseZone
    own: dict[str, FileZone] = field(default_factory=dict)

    def named(self, tzid: str) -> Zone | None:
        """The zone of a TZID; None for a name that neither the zone database nor the file knows."""
        return _from_database(tzid) or self.own.get(tzid)

    def differs(self, tzid: str, wall: datetime) -> str:
        """What the file's own rules say, where the zone database says otherwise at this time; else ""."""
        known, own = _from_database(tzid), self.own.get(tzid)
        if known is None or own is None or known.at(wall) == own.at(wall):
            return ""
        return f"{own.at(wall).astimezone(UTC):%H:%M} UTC"


def read_zones(blocks: Iterable[Block], site_zone: str) -> Zones:
    """The zones of one calendar. A VTIMEZONE that cannot be read defines nothing: its name stays unknown."""
    zones = Zones(DatabaseZone(zone(site_zone)))
    for block in blocks:
        observances = [part for found in block.blocks if (part := _observance(found))]
        if observances and block.text("TZID"):
            zones.own.setdefault(block.text("TZID"), FileZone(block.text("TZID"), tuple(observances)))
    return zones


def _from_database(tzid: str) -> DatabaseZone | None:
    """By IANA name, Windows name, or the IANA name at the end of a globally unique one (/vendor/.../name).

    Windows names: Unicode CLDR, supplemental/windowsZones.xml, territory 001, as icalendar carries it.
    """
    plain = tzid.strip().strip("/")
    names = [plain, WINDOWS_TO_OLSON.get(plain, "")]
    if tzid.startswith("/"):
        parts = plain.split("/")
        names += ["/".join(parts[start:]) for start in range(1, len(parts))]
    for name in filter(None, names):
        try:
            return DatabaseZone(zone(name))
        except BadValue:
            continue
    return None


def _observance(block: Block) -> Observance | None:
    """None for a part without a start or offsets that can be read."""
    start, before, after = (block.first(name) for name in ("DTSTART", "TZOFFSETFROM", "TZOFFSETTO"))
    if start is None or before is None or after is None:
        return None
    try:
        first = _wall(start.raw)
        offset = vUTCOffset.from_ical(before.raw)
        further = [_wall(raw) for dates in block.all("RDATE") for raw in dates.raw.split(",")]
        rules = [_rule(found.raw, first, offset) for found in block.all("RRULE")]
        return Observance(_onsets([first, *further], rules), offset, vUTCOffset.from_ical(after.raw))
    except (ValueError, OverflowError, BadValue):
        return None


def _wall(raw: str) -> datetime:
    found = vDDDTypes.from_ical(raw.partition("/")[0])
    if not isinstance(found, datetime):
        raise ValueError(raw)
    return found.replace(tzinfo=None)


def _rule(raw: str, first: datetime, offset: timedelta) -> rrule:
    recur = vRecur.from_ical(raw)
    if "COUNT" in recur or recur.get("FREQ") != ["YEARLY"] or _TIMES & set(recur):
        raise ValueError(raw)
    until = next(iter(recur.get("UNTIL", [])), None)
    if isinstance(until, datetime) and until.tzinfo is not None:
        until = (until.astimezone(UTC) + offset).replace(tzinfo=None)
    elif until is not None and not isinstance(until, datetime):
        until = datetime.combine(until, time.max)
    return walls_of(recur, first, until, cache=True)


def _onsets(single: list[datetime], rules: list[rrule]) -> Callable[[datetime], datetime | None]:
    def last_until(wall: datetime) -> datetime | None:
        found = [onset for onset in single if onset <= wall]
        found += [onset for rule in rules if (onset := rule.before(wall, inc=True)) is not None]
        return max(found, default=None)

    return last_until
