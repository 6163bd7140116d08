"""Recurrence rules as wall times. UNTIL and COUNT are for the caller, who knows the zone."""

from __future__ import annotations

from datetime import datetime

from dateutil.rrule import rrule, rrulestr
from icalendar.prop import vRecur

from followup.domain.errors import BadValue


def walls_of(recur: vRecur, first: datetime, last: datetime | None, *, cache: bool = False) -> rrule:
    """The wall times of a rule from `first` to `last`, both included. Days that a month lacks are skipped.

    Raises BadValue for a rule that cannot be followed.
    """
    parts = vRecur({name: value for name, value in recur.items() if name not in ("UNTIL", "COUNT")})
    if any(step < 1 for step in parts.get("INTERVAL", [])):
        raise BadValue("an INTERVAL below 1 never moves on.")
    try:
        rule = rrulestr(parts.to_ical().decode(), dtstart=first, cache=cache)
    except (ValueError, TypeError) as fault:
        raise BadValue(f"this rule cannot be followed ({fault}).") from None
    if not isinstance(rule, rrule):
        raise BadValue("this is more than one rule.")
    return rule.replace(until=last) if last is not None else rule
