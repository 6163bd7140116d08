"""Quiet hours: when nobody is to be disturbed, by the clock on their own wall."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta

from followup.domain.dates.zones import zone


def is_quiet(instant: datetime, zone_name: str, quiet_from: int, quiet_until: int) -> bool:
    """Is it a quiet hour there? From an hour (0-23) until another, over midnight where it is the smaller.

    The same hour twice means no quiet time.
    """
    hour = instant.astimezone(zone(zone_name)).hour
    if quiet_from <= quiet_until:
        return quiet_from <= hour < quiet_until
    return hour >= quiet_from or hour < quiet_until


def after_quiet(instant: datetime, zone_name: str, quiet_from: int, quiet_until: int) -> datetime:
    """The instant itself, or the end of the quiet hours it lies in, in UTC.

    Where the clocks skip the hour at which the quiet ends, it ends as they are put forward.
    """
    if not is_quiet(instant, zone_name, quiet_from, quiet_until):
        return instant.astimezone(UTC)
    there = instant.astimezone(zone(zone_name))
    ends_today = there.hour < quiet_until
    day = there.date() if ends_today else there.date() + timedelta(days=1)
    # A skipped wall time takes the offset from before the gap, which is the instant of the change.
    return datetime.combine(day, time(quiet_until), tzinfo=zone(zone_name)).astimezone(UTC)
