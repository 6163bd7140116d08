"""The same calendar put together by the library alone: what every byte of ours is held against."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, timedelta

from icalendar import Calendar, Event, vText

from followup.interchange.feeds import calendar as ours
from followup.models import Site
from followup.queries.calendar import CalendarRow


def calendar_by_library(site: Site, rows: Iterable[CalendarRow], kind: str = "") -> bytes:
    calendar = Calendar()
    calendar.add("prodid", ours.PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar["x-wr-calname"] = vText(ours.calendar_name(site, kind))
    for row in rows:
        calendar.add_component(_event(site, row))
    return calendar.to_ical()


def _event(site: Site, row: CalendarRow) -> Event:
    starts, changed = row.starts_at.astimezone(UTC), row.changed_at.astimezone(UTC)
    event = Event()
    event.add("uid", str(row.uid))
    event.add("sequence", row.sequence)
    event.add("dtstamp", changed)
    event.add("last-modified", changed)
    event.add("dtstart", starts)
    event.add("dtend", starts + timedelta(minutes=row.minutes))
    event.add("summary", ours.summary_of(row))
    event.add("status", "CANCELLED" if row.state == "cancelled" else "CONFIRMED")
    event.add("location", ours.one_line(site.name))
    event.add("description", ours.description_of(site, row))
    event.add("class", "PRIVATE")
    return event
