"""Reads an iCalendar file (RFC 5545): what is in it, as plain records, and everything wrong with it."""

from __future__ import annotations

from dataclasses import dataclass

from followup.domain.errors import BadValue
from followup.interchange.feeds.cancelled import lend_starts
from followup.interchange.feeds.entries import Entry, read_entry
from followup.interchange.feeds.lines import Block, read_blocks
from followup.interchange.feeds.problems import Problem
from followup.interchange.feeds.versions import standing_versions
from followup.interchange.feeds.zones_in import read_zones

MOST_ENTRIES = 20_000
_PASSED_OVER = ("VTIMEZONE", "VALARM")


@dataclass(frozen=True, slots=True)
class ReadCalendar:
    """entries: those that stand, in the order of the file; problems: by line; site_zone: an IANA name."""

    entries: tuple[Entry, ...]
    problems: tuple[Problem, ...]
    site_zone: str
    method: str = ""
    name: str = ""


def read_calendar(data: bytes, *, site_zone: str) -> ReadCalendar:
    """What a file says. Times without a zone are taken as the site's and marked so.

    Raises BadValue for what is no iCalendar file or is too large; everything else is a problem of one entry.
    """
    calendars, problems = read_blocks(data)
    found: list[Entry] = []
    count = sum(block.name == "VEVENT" for calendar in calendars for block in calendar.blocks)
    if count > MOST_ENTRIES:
        raise BadValue(
            f"The calendar has {count:,} entries. At most {MOST_ENTRIES:,} are read: export a shorter period."
        )
    for calendar in calendars:
        lend_starts(calendar)
    for calendar in calendars:
        entries, wrong = _read(calendar, site_zone)
        found += entries
        problems += wrong
    standing, doubts = standing_versions(found)
    first = calendars[0]
    return ReadCalendar(
        entries=tuple(standing),
        problems=tuple(sorted([*problems, *doubts], key=lambda problem: problem.line)),
        site_zone=site_zone,
        method=first.text("METHOD").upper(),
        name=first.text("X-WR-CALNAME"),
    )


def _read(calendar: Block, site_zone: str) -> tuple[list[Entry], list[Problem]]:
    zones = read_zones((block for block in calendar.blocks if block.name == "VTIMEZONE"), site_zone)
    entries: list[Entry] = []
    problems = list(calendar.unread)
    for block in calendar.blocks:
        if block.name == "VEVENT":
            entry, wrong = read_entry(block, zones, calendar.text("METHOD"))
            entries += [entry] if entry else []
            problems += wrong
        elif block.name not in _PASSED_OVER:
            message = "is no visit and is passed over."
            problems.append(Problem(block.line, block.text("UID"), block.name, message))
    return entries, problems
