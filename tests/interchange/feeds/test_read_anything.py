"""Whatever a file holds, it is read or refused: no other fault, no endless work."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from followup.domain.errors import BadValue
from followup.interchange.feeds.read import read_calendar
from followup.interchange.feeds.recur import occurrences
from tests.interchange.feeds.calendars import CAIRO, FILES, calendar, event, read, starts

SEEDS = [path.read_bytes() for path in sorted(FILES.rglob("*.ics"))]
NAMES = (
    *("DTSTART", "DTEND", "DURATION", "RRULE", "EXDATE", "RDATE", "RECURRENCE-ID", "SEQUENCE", "DTSTAMP"),
    *("UID", "STATUS", "METHOD", "CATEGORIES"),
)
PARAMS = (
    *("", ";VALUE=DATE", ";TZID=Africa/Cairo", ";TZID=", ';TZID="A;B:C"', ";TZID=/a/b/"),
    ";RANGE=THISANDFUTURE",
)
VALUES = (
    "",
    "20250610",
    "20250610T090000",
    "20250610T090000Z",
    "00000000T000000Z",
    "20250610T090000Z/PT1H",
    "20250610,20250611T090000Z",
    "PT1H",
    "P99999D",
    "-P1W",
    "FREQ=DAILY",
    "FREQ=DAILY;UNTIL=00010101T000000Z",
    "FREQ=WEEKLY;UNTIL=20250701;BYDAY=-1MO",
    "FREQ=YEARLY;BYWEEKNO=54;BYSETPOS=-400",
    "FREQ=MONTHLY;BYMONTHDAY=0",
    "FREQ=HOURLY;BYHOUR=25",
    "CANCELLED",
    "99999999999999999999",
    "\\",
    "\u0660",
)


def read_or_refuse(data: bytes) -> None:
    try:
        found = read_calendar(data, site_zone=CAIRO)
    except BadValue:
        return
    occurrences(found, first=date(2025, 6, 1), last=date(2025, 7, 1))


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(SEEDS), st.data())
def test_a_file_with_spoilt_bytes(seed: bytes, data: st.DataObject) -> None:
    start = data.draw(st.integers(0, len(seed)))
    end = data.draw(st.integers(start, min(len(seed), start + 20)))
    read_or_refuse(seed[:start] + data.draw(st.binary(max_size=10)) + seed[end:])


LINES = st.builds("{}{}:{}".format, *map(st.sampled_from, (NAMES, PARAMS, VALUES)))
STARTS = st.sampled_from(["DTSTART:20250610T090000Z", "DTSTART;VALUE=DATE:20250610", ""])


@settings(max_examples=300, deadline=None)
@given(st.lists(st.tuples(STARTS, st.lists(LINES, max_size=4)), max_size=3))
def test_entries_of_odd_lines(entries: list[tuple[str, list[str]]]) -> None:
    read_or_refuse(calendar(*(line for start, lines in entries for line in event(*lines, start=start))))


@pytest.mark.parametrize(
    "rule",
    ["FREQ=SECONDLY", "FREQ=YEARLY;COUNT=3", "FREQ=YEARLY;BYSECOND=0,1", "COUNT=1", "FREQ=YEARLY;INTERVAL=0"],
)
def test_a_zone_of_odd_rules_is_not_known(rule: str) -> None:
    part = ("DTSTART:16010101T000000", "TZOFFSETFROM:+0100", "TZOFFSETTO:+0200", f"RRULE:{rule}")
    zone = ("BEGIN:VTIMEZONE", "TZID:Odd", "BEGIN:STANDARD", *part, "END:STANDARD", "END:VTIMEZONE")
    found = read(*zone, *event(start="DTSTART;TZID=Odd:20250610T090000"))
    assert (starts(found), [problem.refused for problem in found.problems]) == ([], [True])


def test_many_versions_and_many_dates_are_all_read() -> None:
    """Work grows with the file, not with its square."""
    dates = [f"EXDATE:2025{month:02}{day:02}T060000Z" for month in range(1, 13) for day in range(1, 29)]
    daily = event("RRULE:FREQ=DAILY", *dates, uid="daily")
    found = read(*daily, *(line for number in range(2000) for line in event(f"SEQUENCE:{number}")))
    assert [entry.sequence for entry in found.entries] == [0, 1999]
    assert len(found.problems) == 1999
