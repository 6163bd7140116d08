"""One entry at a time: what is taken, what is taken with a note, and what is refused by line and value."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from followup.domain.errors import BadValue
from followup.interchange.feeds import lines
from followup.interchange.feeds import read as reader
from followup.interchange.feeds.entries import Status
from followup.interchange.feeds.read import read_calendar
from followup.interchange.feeds.versions import key_of
from tests.interchange.feeds.calendars import CAIRO, calendar, event, problems, read, starts

CAIRO_START = "DTSTART;TZID=Africa/Cairo:20250610T090000"


# When it is


@pytest.mark.parametrize(
    ("start", "instant"),
    [
        ("DTSTART:20250610T060000Z", "20250610T060000Z"),
        ("dtstart;tzid=Africa/Cairo:20250610T090000", "20250610T060000Z"),
        ("DTSTART;TZID=/vendor.example/zones/Africa/Cairo:20250610T090000", "20250610T060000Z"),
        ("DTSTART;VALUE=DATE-TIME;TZID=Asia/Tehran:20220701T090000", "20220701T043000Z"),
        ("DTSTART;TZID=Asia/Tehran:20260701T090000", "20260701T053000Z"),
        ("DTSTART;VALUE=DATE:20250610", "20250610"),
        ("DTSTART:20250610", "20250610"),
    ],
)
def test_every_way_to_write_a_start(start: str, instant: str) -> None:
    (entry,) = read(*event(start=start)).entries
    assert key_of(entry.starts) == instant


@pytest.mark.parametrize(
    ("lines_", "length", "notes"),
    [
        (["DTEND:20250610T063000Z"], timedelta(minutes=30), ()),
        (["DURATION:PT30M"], timedelta(minutes=30), ()),
        (["DURATION:P1DT2H"], timedelta(hours=26), ()),
        (["DTEND:20250610T063000Z", "DURATION:PT1H"], timedelta(minutes=30),
         ("DTEND and DURATION are both given: DTEND is taken",)),
        ([], timedelta(), ("no end given",)),
        (["DTEND:20250610T060000Z"], timedelta(), ("ends when it starts",)),
    ],
)  # fmt: skip
def test_how_long_it_lasts(lines_: list[str], length: timedelta, notes: tuple[str, ...]) -> None:
    (entry,) = read(*event(*lines_)).entries
    assert entry.ends - entry.starts == length
    assert entry.notes == notes


@pytest.mark.parametrize(
    ("lines_", "last_day"),
    [
        (["DTEND;VALUE=DATE:20250610"], date(2025, 6, 10)),
        (["DURATION:P1W"], date(2025, 6, 16)),
        (["DURATION:P2D"], date(2025, 6, 11)),
    ],
)
def test_the_last_day_of_whole_days(lines_: list[str], last_day: date) -> None:
    (entry,) = read(*event(*lines_, start="DTSTART;VALUE=DATE:20250610")).entries
    assert entry.ends - timedelta(days=1) == last_day


def test_a_day_by_the_calendar_and_a_day_by_the_clock_differ_over_a_clock_change() -> None:
    start = "DTSTART;TZID=Africa/Cairo:20250424T090000"
    day = read(*event("DURATION:P1D", start=start)).entries[0]
    hours = read(*event("DURATION:PT24H", start=start)).entries[0]
    assert (key_of(day.ends), key_of(hours.ends)) == ("20250425T060000Z", "20250425T070000Z")


@pytest.mark.parametrize(
    ("start", "instant", "note"),
    [
        ("20250425T003000", "20250424T223000Z",
         "DTSTART: 2025-04-25 00:30 does not exist in Africa/Cairo: 01:30 is taken"),
        ("20251030T233000", "20251030T203000Z",
         "DTSTART: 2025-10-30 23:30 happens twice in Africa/Cairo: the first is taken"),
    ],
)  # fmt: skip
def test_a_wall_time_that_the_clocks_skip_or_repeat_is_said(start: str, instant: str, note: str) -> None:
    """RFC 5545, 3.3.5: the offset before the gap, and the first of two."""
    (entry,) = read(*event("DURATION:PT1H", start=f"DTSTART;TZID=Africa/Cairo:{start}")).entries
    assert key_of(entry.starts) == instant
    assert entry.notes == (note,)


def test_a_zone_beside_a_time_in_utc_is_said() -> None:
    (entry,) = read(*event("DURATION:PT1H", start="DTSTART;TZID=Africa/Cairo:20250610T060000Z")).entries
    assert key_of(entry.starts) == "20250610T060000Z"
    assert entry.notes == ("DTSTART is in UTC and names Africa/Cairo as well: UTC is taken",)


# Zones that a file brings along


def own_zone(name: str, *rules: str) -> list[str]:
    return ["BEGIN:VTIMEZONE", f"TZID:{name}", *rules, "END:VTIMEZONE"]


def part(kind: str, start: str, before: str, after: str, *more: str) -> list[str]:
    offsets = (f"TZOFFSETFROM:{before}", f"TZOFFSETTO:{after}")
    return [f"BEGIN:{kind}", f"DTSTART:{start}", *offsets, *more, f"END:{kind}"]


SUMMERS = own_zone(
    "Clinic zone 2",
    *part("STANDARD", "16010101T030000", "+0200", "+0100", "RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=10"),
    *part("DAYLIGHT", "16010101T020000", "+0100", "+0200", "RRULE:FREQ=YEARLY;BYDAY=-1SU;BYMONTH=3"),
)


@pytest.mark.parametrize(
    ("wall", "instant"),
    [
        ("20250210T090000", "20250210T080000Z"),
        ("20250610T090000", "20250610T070000Z"),
        ("20250330T013000", "20250330T003000Z"),
        ("20250330T023000", "20250330T013000Z"),
        ("20250330T030000", "20250330T010000Z"),
        ("20251026T023000", "20251026T003000Z"),
        ("20251026T030000", "20251026T020000Z"),
    ],
)
def test_summer_time_by_the_rules_of_the_file(wall: str, instant: str) -> None:
    found = read(*SUMMERS, *event(start=f"DTSTART;TZID=Clinic zone 2:{wall}"))
    assert starts(found) == [instant]


def test_summer_time_by_listed_dates() -> None:
    zone = own_zone(
        "Listed",
        *part("STANDARD", "20241027T030000", "+0200", "+0100", "RDATE:20251026T030000,20261025T030000"),
        *part("DAYLIGHT", "20250330T020000", "+0100", "+0200", "RDATE:20260329T020000"),
    )
    walls = ("20250210T090000", "20250610T090000", "20251110T090000", "20260610T090000", "20261110T090000")
    events = [line for wall in walls for line in event(uid=wall, start=f"DTSTART;TZID=Listed:{wall}")]
    assert [key[9:11] for key in starts(read(*zone, *events))] == ["08", "07", "08", "07", "08"]


def test_one_file_never_decides_the_zones_of_the_next() -> None:
    """Calendar libraries remember zones for the whole process, so a second file got the first one's zone."""
    at_nine = event(start="DTSTART;TZID=Clinic zone 1:20250610T090000")
    for offset, instant in (("+0330", "20250610T053000Z"), ("-0500", "20250610T140000Z")):
        zone = own_zone("Clinic zone 1", *part("STANDARD", "19700101T000000", offset, offset))
        assert starts(read(*zone, *at_nine)) == [instant]
    assert starts(read(*at_nine)) == []


def test_where_the_files_rules_and_the_zone_database_differ_it_is_said() -> None:
    """Summer time came back in Egypt in 2023; files of 2022 know nothing of it."""
    old = own_zone("Africa/Cairo", *part("STANDARD", "20141001T000000", "+0200", "+0200"))
    (entry,) = read(*old, *event("DURATION:PT1H", start=CAIRO_START)).entries
    assert key_of(entry.starts) == "20250610T060000Z"
    assert entry.notes == (
        "the file's own rules for Africa/Cairo make it 07:00 UTC: the zone database is taken",
    )


# What is refused, by line, UID and value


NO_TIME = "is no date or time. It should look like 20250610T060000Z."
ALL_DAY = "DTSTART;VALUE=DATE:20250610"


@pytest.mark.parametrize(
    ("lines_", "line", "value", "message"),
    [
        (event(uid=""), 4, "UID",
         "is missing, so this entry could not be known again when the file is read anew."),
        (event(uid=300 * "u"), 4, 40 * "u" + "...", "is a UID of more than 255 characters."),
        (event(start=""), 4, "DTSTART", "is missing, so it is not known when this entry is."),
        (event(start="DTSTART:20250230T090000Z"), 7, "DTSTART:20250230T090000Z", NO_TIME),
        (event(start="DTSTART:tomorrow"), 7, "DTSTART:TOMORROW", NO_TIME),
        (event(start="DTSTART:"), 7, "DTSTART:", NO_TIME),
        (event(start="DTSTART:00010101T000000Z"), 7, "DTSTART:00010101T000000Z", NO_TIME),
        (event(start="DTSTART;VALUE=DATE:99991231"), 7, "DTSTART:99991231", NO_TIME),
        (event("DTEND:20250610T050000Z"), 8, "20250610T050000Z",
         "the end is before the start, 2025-06-10 06:00."),
        (event("DTEND;VALUE=DATE:20250609", start=ALL_DAY), 8, "20250609", "the end is before the start."),
        (event("DTEND;VALUE=DATE:20250611"), 8, "20250611",
         "one of start and end is a day and the other a time."),
        (event("DURATION:-PT1H"), 8, "DURATION:-PT1H",
         "is no length of time. It should look like PT30M or P1D."),
        (event("DURATION:PT1H", start=ALL_DAY), 8, "PT1H", "an entry of whole days lasts whole days."),
        (event("DTSTART:20250611T060000Z"), 8, "20250611T060000Z",
         "DTSTART stands more than once in this entry."),
        (event("RRULE:FREQ=WEEKLY;COUNT=0"), 8, "FREQ=WEEKLY;COUNT=0",
         "a COUNT below 1 means no visit at all."),
        (event("RRULE:FREQ=DAILY;INTERVAL=999999999"), 8, "FREQ=DAILY;INTERVAL=999999999",
         "an INTERVAL is a number from 1 to 100,000."),
        (event("RRULE:FREQ=DAILY;INTERVAL=0"), 8, "FREQ=DAILY;INTERVAL=0",
         "an INTERVAL is a number from 1 to 100,000."),
    ],
)  # fmt: skip
def test_an_entry_that_cannot_be_taken_is_refused_by_name(
    lines_: list[str], line: int, value: str, message: str
) -> None:
    found = read(*lines_, *event(uid="good@clinic.example"))
    assert [entry.uid for entry in found.entries] == ["good@clinic.example"]
    (problem,) = found.problems
    assert (problem.line, problem.value, problem.message, problem.refused) == (line, value, message, True)


@pytest.mark.parametrize(
    "rule",
    ["FREQ=OFTEN", "COUNT=3", "FREQ=DAILY;BYDAY=XX", "FREQ=YEARLY;RSCALE=HEBREW", "FREQ=DAILY;X-A=1", ""],
)
def test_a_rule_that_cannot_be_followed_refuses_its_entry(rule: str) -> None:
    found = read(*event(f"RRULE:{rule}"))
    assert found.entries == ()
    assert [(problem.line, problem.value, problem.refused) for problem in found.problems] == [(8, rule, True)]


# What is taken with a note


@pytest.mark.parametrize(
    ("line", "note"),
    [
        ("SEQUENCE:-1", 'SEQUENCE "-1" is no whole number: taken as 0'),
        ("SEQUENCE:two", 'SEQUENCE "two" is no whole number: taken as 0'),
        ("STATUS:MAYBE", 'STATUS "MAYBE" is not known: taken as confirmed'),
    ],
)
def test_a_small_fault_is_noted_and_the_entry_taken(line: str, note: str) -> None:
    (entry,) = read(*event("DURATION:PT1H", line)).entries
    assert entry.notes == (note,)


def test_an_entry_without_a_stamp_is_the_older_one() -> None:
    unstamped = [line for line in event("SUMMARY:Old") if not line.startswith("DTSTAMP")]
    (entry,) = read(*event("SUMMARY:New"), *unstamped).entries
    assert entry.summary == "New"


def test_a_line_that_is_no_property_is_named_and_passed_over() -> None:
    found = read(*event("this is no line of a calendar", "SUMMARY:Visit"))
    assert found.entries[0].summary == "Visit"
    assert problems(found) == [
        'Line 8, a@clinic.example: "this is no line of a calendar": is no iCalendar property and is left out.'
    ]


def test_alarms_and_private_properties_are_passed_over_and_other_components_named() -> None:
    found = read(
        *event("X-PRIVATE;X-A=b:c", "BEGIN:VALARM", "TRIGGER:-PT15M", "DESCRIPTION:Ring", "END:VALARM"),
        "BEGIN:VTODO", "UID:todo@clinic.example", "END:VTODO",
    )  # fmt: skip
    assert found.entries[0].description == ""
    assert problems(found) == ['Line 14, todo@clinic.example: "VTODO": is no visit and is passed over.']


# Versions


def test_the_same_entry_twice_is_one() -> None:
    found = read(*event("RRULE:FREQ=WEEKLY;COUNT=2"), *event("RRULE:FREQ=WEEKLY;COUNT=2"))
    assert starts(found) == ["20250610T060000Z", "20250617T060000Z"]
    assert problems(found) == ["Line 10, a@clinic.example: is the same as line 4."]


def test_of_equally_new_versions_the_cancelled_one_stands() -> None:
    (entry,) = read(*event("STATUS:CANCELLED"), *event("STATUS:CONFIRMED")).entries
    assert entry.status is Status.CANCELLED


def test_a_calendar_that_cancels_cancels_its_entries() -> None:
    (entry,) = read("METHOD:CANCEL", *event()).entries
    assert entry.status is Status.CANCELLED


@pytest.mark.parametrize("cancels", [["METHOD:CANCEL"], ["STATUS:CANCELLED"]])
def test_a_cancellation_need_not_say_when_it_was(cancels: list[str]) -> None:
    """RFC 5546, 3.2.5. To read it as a fault would leave the visit standing."""
    cancel = event("SEQUENCE:1", *cancels, start="")
    (entry,) = read(*event("DURATION:PT1H"), *cancel).entries
    assert (entry.cancelled, key_of(entry.starts)) == (True, "20250610T060000Z")


def test_a_cancellation_of_what_the_file_does_not_hold_is_refused() -> None:
    (problem,) = read(*event("STATUS:CANCELLED", start="")).problems
    assert (problem.value, problem.refused) == ("DTSTART", True)


# The file as a whole


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
@pytest.mark.parametrize("ending", ["\r\n", "\n", "\r", "\r\r\n"])
def test_line_endings_and_byte_order_marks_do_not_matter(encoding: str, ending: str) -> None:
    text = calendar(*event("SUMMARY:زيارة")).decode().replace("\r\n", ending)
    found = read_calendar(text.encode(encoding), site_zone=CAIRO)
    assert [entry.summary for entry in found.entries] == ["زيارة"]


def test_a_fold_inside_a_letter_is_undone() -> None:
    data = calendar(*event("SUMMARY:زيارة")).replace("ز".encode(), b"\xd8\r\n \xb2")
    assert read_calendar(data, site_zone=CAIRO).entries[0].summary == "زيارة"


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "The file is empty."),
        (b"\r\n\r\n", "The file is empty."),
        (b"<!DOCTYPE html>\n<p>Sign in</p>", 'Line 1 is "<!DOCTYPE html>", where an iCalendar file has'),
        (b"BEGIN:VEVENT\r\nEND:VEVENT\r\n", 'Line 1 is "BEGIN:VEVENT", where an iCalendar file has'),
        (b"BEGIN:VCARD\r\nEND:VCARD\r\n", 'Line 1 is "BEGIN:VCARD", where'),
        (calendar("SUMMARY:زيارة").decode().encode("cp1256"), "Line 4 is not UTF-8. Save the"),
        (calendar("BEGIN:VEVENT", "END:VTODO"), "Line 5: END:VTODO closes nothing. END:VEVENT was expected"),
        (calendar(*(12 * ["BEGIN:VEVENT"])), "more than 10 blocks inside each other"),
        (b"\xff\xfe\x00", "The file begins as UTF-16 and is not."),
    ],
)  # fmt: skip
def test_what_is_no_calendar_is_refused(data: bytes, said: str) -> None:
    with pytest.raises(BadValue) as fault:
        read_calendar(data, site_zone=CAIRO)
    assert said in fault.value.message


def test_a_file_cut_off_keeps_its_whole_entries_and_names_the_other() -> None:
    cut = calendar(*event(uid="whole"), *event(uid="cut")).partition(b"UID:cut")[0] + b"UID:cut\r\nDTST"
    found = read_calendar(cut, site_zone=CAIRO)
    assert [entry.uid for entry in found.entries] == ["whole"]
    assert problems(found)[1:] == ['Refused. Line 9, cut: "VEVENT": has no END: the file is cut off.']


def test_files_beyond_all_measure_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lines, "MOST_BYTES", 1000)
    monkeypatch.setattr(reader, "MOST_ENTRIES", 2)
    with pytest.raises(BadValue, match="At most 1,000 are read: export a shorter period"):
        read_calendar(calendar(*(20 * event())), site_zone=CAIRO)
    with pytest.raises(BadValue, match="At most 2 are read"):
        read_calendar(calendar(*(3 * event())), site_zone=CAIRO)
