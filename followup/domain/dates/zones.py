"""Wall times at a site and the instants they stand for. Rules come from the zone database."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from followup.domain.errors import BadValue

# A whole day was once skipped (Apia, 30 December 2011), and no longer gap is known.
LONGEST_GAP = timedelta(days=1)


def zone(name: str) -> ZoneInfo:
    """The zone of an IANA name such as Africa/Cairo; BadValue for any other name."""
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError):
        raise BadValue(f'"{name}" is not a time zone. Use an IANA name such as Africa/Cairo.') from None


def localise(day: date, wall: time, zone_name: str) -> datetime:
    """The aware datetime of a wall time at a site.

    A repeated hour means its first pass; compare such times after conversion to UTC, since Python never finds
    them equal to a time of another zone. Raises BadValue for a wall time that the clocks skip, with the next
    valid one, and for a time that already carries a zone.
    """
    if wall.tzinfo is not None:
        raise BadValue(f"{wall} already carries a zone. Give the wall time of the site.")
    naive = datetime.combine(day, wall.replace(fold=0))
    place = zone(zone_name)
    if not _exists(naive, place):
        raise BadValue(
            f"{naive:%Y-%m-%d %H:%M} does not exist in {zone_name}: the clocks go forward over it. "
            f"The next valid time is {_next_valid(naive, place):%Y-%m-%d %H:%M}."
        )
    return naive.replace(tzinfo=place)


def local_day(instant: datetime, zone_name: str) -> date:
    """The calendar date at the site at an instant. Raises BadValue for an instant without a zone."""
    if instant.utcoffset() is None:
        raise BadValue(f"{instant} has no zone, so its day at {zone_name} is not known.")
    return instant.astimezone(zone(zone_name)).date()


def wall_clock(instant: datetime, zone_name: str) -> str:
    """An instant as the wall clock of the zone showed it, such as 2 Mar 2026 09:00."""
    return f"{instant.astimezone(zone(zone_name)):%-d %b %Y %H:%M}"


def day_bounds(day: date, zone_name: str) -> tuple[datetime, datetime]:
    """First instant of a day and of the next, in UTC so that their difference is the day's true length."""
    return _day_start(day, zone_name), _day_start(day + timedelta(days=1), zone_name)


def _day_start(day: date, zone_name: str) -> datetime:
    place = zone(zone_name)
    midnight = datetime.combine(day, time())
    first = midnight if _exists(midnight, place) else _next_valid(midnight, place)
    return first.replace(tzinfo=place).astimezone(UTC)


def _exists(naive: datetime, place: ZoneInfo) -> bool:
    # The standard library accepts skipped wall times without a word; only the way there and back shows them.
    there = naive.replace(tzinfo=place).astimezone(UTC)
    return there.astimezone(place).replace(tzinfo=None) == naive


def _next_valid(naive: datetime, place: ZoneInfo) -> datetime:
    candidate = naive
    while candidate <= naive + LONGEST_GAP:
        candidate += timedelta(minutes=1)
        if _exists(candidate, place):
            return candidate
    raise BadValue(f"No valid time within a day of {naive} in {place.key}. Check the zone data.")
