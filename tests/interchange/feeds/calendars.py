"""Calendar files for tests: written out in short, with what every file needs around them."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from followup.interchange.feeds.read import ReadCalendar, read_calendar
from followup.interchange.feeds.recur import Occurrence, occurrences
from followup.interchange.feeds.versions import key_of

FILES = Path(__file__).parents[3] / "fixtures" / "feeds"
CAIRO = "Africa/Cairo"
HEAD = ("BEGIN:VCALENDAR", "VERSION:2.0", "PRODID:-//Test//EN")


def calendar(*lines: str) -> bytes:
    return "\r\n".join((*HEAD, *lines, "END:VCALENDAR", "")).encode()


def event(*lines: str, uid: str = "a@clinic.example", start: str = "DTSTART:20250610T060000Z") -> list[str]:
    named = [f"UID:{uid}"] if uid else []
    starts = [start] if start else []
    return ["BEGIN:VEVENT", *named, "DTSTAMP:20250601T080000Z", *starts, *lines, "END:VEVENT"]


def read(*lines: str, site_zone: str = CAIRO) -> ReadCalendar:
    return read_calendar(calendar(*lines), site_zone=site_zone)


def read_file(name: str) -> ReadCalendar:
    return read_calendar((FILES / name).read_bytes(), site_zone=CAIRO)


def happening(
    found: ReadCalendar, first: date = date(2025, 1, 1), last: date = date(2026, 12, 31)
) -> list[Occurrence]:
    return occurrences(found, first=first, last=last)[0]


def starts(found: ReadCalendar) -> list[str]:
    """Every start in two years, in UTC, or the day."""
    return [key_of(one.starts) for one in happening(found)]


def problems(
    found: ReadCalendar, first: date = date(2025, 1, 1), last: date = date(2026, 12, 31)
) -> list[str]:
    """Everything said about the file, refusals marked."""
    later = occurrences(found, first=first, last=last)[1]
    return [f"{'Refused. ' if one.refused else ''}{one}" for one in (*found.problems, *later)]
