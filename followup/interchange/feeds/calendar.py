"""A site's appointments as an RFC 5545 calendar, without names, eyes or diagnoses.

Times are UTC, so that no reader needs our zone rules; the wall time at the site stands in the text. The UID
of an appointment never changes, SEQUENCE rises with every change, and a cancelled one stays for a time as
CANCELLED, since dropping it is no message to anybody (RFC 5546, 3.2.5).
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, timedelta

from icalendar import Calendar, Event

from followup.domain.words import AppointmentState
from followup.models import Appointment, Site

SUMMARY = "Eye clinic visit"
_PRODUCT = "-//Follow-up of operated eyes//Calendar//EN"


def site_calendar(site: Site, appointments: Iterable[Appointment]) -> bytes:
    """The calendar's bytes. The same appointments give the same bytes, so an ETag can be made of them."""
    calendar = Calendar()
    calendar.add("prodid", _PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", f"Eye clinic visits, {_one_line(site.name)}")
    for appointment in appointments:
        calendar.add_component(_event(site, appointment))
    written: bytes = calendar.to_ical()
    return written


def _event(site: Site, appointment: Appointment) -> Event:
    cancelled = appointment.state == AppointmentState.CANCELLED.value
    starts = appointment.starts_at.astimezone(UTC)
    changed = appointment.changed_at.astimezone(UTC)
    event = Event()
    event.add("uid", str(appointment.uid))
    event.add("sequence", appointment.sequence)
    event.add("dtstamp", changed)
    event.add("last-modified", changed)
    event.add("dtstart", starts)
    event.add("dtend", starts + timedelta(minutes=appointment.minutes))
    event.add("summary", f"Cancelled: {SUMMARY}" if cancelled else SUMMARY)
    event.add("status", "CANCELLED" if cancelled else "CONFIRMED")
    event.add("location", _one_line(site.name))
    event.add("description", _description(site, appointment))
    event.add("class", "PRIVATE")
    return event


def _description(site: Site, appointment: Appointment) -> str:
    lines = [
        f"{appointment.day:%-d %b %Y}, {appointment.local_time:%H:%M} local time at {_one_line(site.name)} "
        f"({site.time_zone})."
    ]
    if site.phone:
        lines.append(f"Clinic telephone: {_one_line(site.phone)}.")
    return "\n".join(lines)


def _one_line(text: str) -> str:
    """Without control characters, which no calendar may hold and a pasted name can bring along."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
