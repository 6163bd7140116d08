"""A site's appointments as an RFC 5545 calendar, without names, eyes or diagnoses.

Times are UTC, so that no reader needs our zone rules; the wall time at the site stands in the text. The UID
of an appointment never changes, SEQUENCE rises with every change, and a cancelled one stays for a time as
CANCELLED, since dropping it is no message to anybody (RFC 5546, 3.2.5).

A year of a busy service has some 20,000 appointments, so the lines are put together here, by the folding and
escaping of the library; the tests hold every byte against what its own components write.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime, timedelta
from functools import cache

from icalendar.parser import Contentline
from icalendar.prop import vText

from followup.domain.words import AppointmentState, SessionKind
from followup.models import Site
from followup.queries.calendar import CalendarRow

SUMMARY = "Eye clinic visit"
PRODUCT = "-//Follow-up of operated eyes//Calendar//EN"


def written_calendar(site: Site, rows: Iterable[CalendarRow], kind: str = "") -> bytes:
    """The calendar's bytes. The same rows give the same bytes, so an ETag can be made of them.

    kind: of session, where the calendar holds no other.
    """
    return b"".join(_parts(site, rows, kind))


def calendar_name(site: Site, kind: str) -> str:
    of_kind = f", {SessionKind(kind).label.lower()}" if kind else ""
    return f"Eye clinic visits, {one_line(site.name)}{of_kind}"


def summary_of(row: CalendarRow) -> str:
    """What a subscriber sees first; those who ignore STATUS must still see that a visit is off."""
    initials = "".join(f"{name[0]}." for name in map(one_line, (row.given_name, row.family_name)) if name)
    summary = f"{SUMMARY}, {initials}" if initials else SUMMARY
    return f"Cancelled: {summary}" if row.state == AppointmentState.CANCELLED.value else summary


def description_of(site: Site, row: CalendarRow) -> str:
    where = f"{one_line(site.name)} ({site.time_zone})"
    lines = [f"{row.day:%-d %b %Y}, {row.local_time:%H:%M} local time at {where}."]
    if site.phone:
        lines.append(f"Clinic telephone: {one_line(site.phone)}.")
    return "\n".join(lines)


def one_line(text: str) -> str:
    """Without control characters, which no calendar may hold and a pasted name can bring along."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _parts(site: Site, rows: Iterable[CalendarRow], kind: str) -> Iterator[bytes]:
    yield b"BEGIN:VCALENDAR\r\nVERSION:2.0\r\n"
    yield _text("PRODID", PRODUCT)
    yield b"METHOD:PUBLISH\r\n"
    yield _text("X-WR-CALNAME", calendar_name(site, kind))
    written = cache(_text)  # Most lines stand in many entries: sessions side by side share their times.
    for row in rows:
        yield _event(site, row, written)
    yield b"END:VCALENDAR\r\n"


def _event(site: Site, row: CalendarRow, written: Callable[[str, str], bytes]) -> bytes:
    """In the order of properties that the library writes."""
    ends = row.starts_at + timedelta(minutes=row.minutes)
    changed = _utc(row.changed_at)
    status = b"CANCELLED" if row.state == AppointmentState.CANCELLED.value else b"CONFIRMED"
    return b"".join(
        (
            b"BEGIN:VEVENT\r\n",
            written("SUMMARY", summary_of(row)),
            f"DTSTART:{_utc(row.starts_at)}\r\nDTEND:{_utc(ends)}\r\nDTSTAMP:{changed}\r\n".encode(),
            f"UID:{row.uid}\r\nSEQUENCE:{row.sequence}\r\nCLASS:PRIVATE\r\n".encode(),
            written("DESCRIPTION", description_of(site, row)),
            f"LAST-MODIFIED:{changed}\r\n".encode(),
            written("LOCATION", one_line(site.name)),
            b"STATUS:",
            status,
            b"\r\nEND:VEVENT\r\n",
        )
    )


def _text(name: str, value: str) -> bytes:
    """One property, escaped and folded at 75 octets between letters (RFC 5545, 3.1 and 3.3.11)."""
    line: bytes = Contentline(f"{name}:{vText(value).to_ical().decode()}").to_ical()
    return line + b"\r\n"


def _utc(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%Y%m%dT%H%M%SZ}"
