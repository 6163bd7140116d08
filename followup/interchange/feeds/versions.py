"""Which of several versions of an entry stands (RFC 5546, 2.1.5), and what to do when none is newer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import UTC, date, datetime

from followup.interchange.feeds.entries import Entry
from followup.interchange.feeds.problems import Problem

_NEVER = datetime.min.replace(tzinfo=UTC)


def key_of(value: date | datetime) -> str:
    """The start of a repetition in UTC, or its day, as RECURRENCE-ID writes it."""
    if isinstance(value, datetime):
        return f"{value.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    return f"{value:%Y%m%d}"


def recurrence_key(entry: Entry) -> str:
    return key_of(entry.recurrence.value) if entry.recurrence else ""


def standing_versions(entries: Iterable[Entry]) -> tuple[list[Entry], list[Problem]]:
    """The entries that stand, in the order of the file. Whatever is left out or in doubt is named.

    The higher SEQUENCE stands, among equals the later DTSTAMP. Where both are equal and the times differ, one
    UID was given to several visits: all of them are kept.
    """
    groups: dict[tuple[str, str], list[Entry]] = {}
    for entry in entries:
        groups.setdefault((entry.uid, recurrence_key(entry)), []).append(entry)
    standing: list[Entry] = []
    problems: list[Problem] = []
    for group in groups.values():
        newest = max(_rank(entry) for entry in group)
        newest_ones = _distinct([entry for entry in group if _rank(entry) == newest])
        kept = _settled(newest_ones, problems)
        standing += kept
        judged = {entry.line for entry in newest_ones}
        problems += [_left_out(entry, kept[0]) for entry in group if entry.line not in judged]
    return sorted(standing, key=lambda entry: entry.line), problems


def _rank(entry: Entry) -> tuple[int, datetime]:
    return entry.sequence, entry.stamp or _NEVER


def _distinct(entries: list[Entry]) -> list[Entry]:
    """The first of each that say the same."""
    return list({_said(entry): entry for entry in reversed(entries)}.values())[::-1]


def _said(entry: Entry) -> tuple[object, ...]:
    """What an entry says, whatever line it stands on."""
    rule = entry.repeats.rule
    dates = [key_of(listed.moment.value) for listed in (*entry.repeats.further, *entry.repeats.left_out)]
    return (
        *(key_of(entry.starts), key_of(entry.ends), entry.status, entry.summary, entry.location),
        *(entry.description, entry.categories, rule.recur.to_ical() if rule else b"", *dates),
    )


def _left_out(entry: Entry, kept: Entry) -> Problem:
    if _said(entry) == _said(kept):
        return Problem(entry.line, entry.uid, "", f"is the same as line {kept.line}.")
    return Problem(
        entry.line,
        entry.uid,
        "",
        f"is an older version than line {kept.line} (SEQUENCE {entry.sequence}, {kept.sequence}): left out.",
    )


def _settled(equal: list[Entry], problems: list[Problem]) -> list[Entry]:
    """Those to keep of versions that claim to be equally new."""
    if len({(key_of(entry.starts), key_of(entry.ends)) for entry in equal}) > 1:
        problems += [
            Problem(
                entry.line,
                entry.uid,
                "",
                f"is one of {len(equal)} different visits with the same UID. "
                "All are kept; each needs a UID of its own.",
            )
            for entry in equal
        ]
        return [replace(entry, shares_uid=True) for entry in equal]
    kept = next((entry for entry in equal if entry.cancelled), equal[-1])
    problems += [
        Problem(
            entry.line,
            entry.uid,
            "",
            f"and line {kept.line} have the same SEQUENCE and DTSTAMP and differ: line {kept.line} is taken.",
        )
        for entry in equal
        if entry is not kept
    ]
    return [kept]
