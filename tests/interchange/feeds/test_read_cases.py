"""Calendar files that other programs wrote or read wrongly, and what comes of them here."""

from __future__ import annotations

import pytest

from tests.interchange.feeds.calendars import FILES, happening, problems, read_file, starts

CASES = {
    "cancel_method_inside_event.ics": ["20250610T060000Z cancelled"],
    "sequence_out_of_order.ics": ["20250612T060000Z", "20250617T070000Z"],
    "same_uid_different_visits.ics": ["20250610T060000Z", "20250617T060000Z", "20250624T060000Z"],
    "folded_arabic.ics": ["20250610T060000Z"],
    "fold_inside_escape.ics": ["20250610T060000Z"],
    "all_day_exclusive_end.ics": ["20250609", "20250609", "20250609"],
    "tzid_without_vtimezone.ics": ["20250610T060000Z"],
    "own_named_zone.ics": ["20250610T053000Z"],
    "windows_zone_names.ics": [
        "20250610T053000Z",
        "20250610T060000Z",
        "20250610T080000Z",
        "20250610T120000Z",
    ],
    "floating_times.ics": ["20250610T060000Z"],
    "exdate_other_type.ics": ["20250602T060000Z", "20250616T060000Z", "20250623T060000Z"],
    "until_across_clock_change.ics": sorted(
        2 * ["20250408T070000Z", "20250415T070000Z", "20250422T070000Z", "20250429T060000Z"]
    ),
    "monthly_on_the_31st.ics": [
        "20250131T070000Z",
        "20250331T070000Z",
        "20250531T060000Z",
        "20250731T060000Z",
        "20250831T060000Z",
    ],
    "escaped_text.ics": ["20250610T060000Z"],
    "cancelled_kept_in_feed.ics": ["20250610T060000Z cancelled", "20250617T060000Z"],
}
"""File to every start in 2025 and 2026, in UTC."""

UNKNOWN_ZONE = (
    "is neither known nor defined in the file. Define it with a VTIMEZONE or use an IANA name such as "
    "Africa/Cairo."
)
SAID = {
    "cancel_method_inside_event.ics": [
        "Line 22, case-0012@example.invalid: is an older version than line 31 (SEQUENCE 0, 1): left out."
    ],
    "sequence_out_of_order.ics": [
        "Line 30, case-0013@example.invalid: is an older version than line 22 (SEQUENCE 1, 2): left out.",
        "Line 38, case-0014@example.invalid: is an older version than line 46 (SEQUENCE 0, 0): left out.",
    ],
    "same_uid_different_visits.ics": [
        f"Line {line}, visit@example.invalid: is one of 3 different visits with the same UID. "
        "All are kept; each needs a UID of its own."
        for line in (21, 29, 37)
    ],
    "tzid_without_vtimezone.ics": [
        'Refused. Line 14, case-0021@example.invalid: "DTSTART;TZID=Clinic/Nowhere": the zone '
        f'"Clinic/Nowhere" {UNKNOWN_ZONE}'
    ],
    "windows_zone_names.ics": [
        'Refused. Line 35, case-0027@example.invalid: "DTSTART;TZID=Unknown Standard Time": the zone '
        f'"Unknown Standard Time" {UNKNOWN_ZONE}'
    ],
    "exdate_other_type.ics": [
        'Line 27, case-0029@example.invalid: "2025-06-09": EXDATE is a day and the entry has times. '
        "To the letter it takes nothing out; most writers mean the day, so whatever starts on that day is "
        "taken out.",
        'Line 28, case-0029@example.invalid: "2025-06-16 09:00:00+00:00": EXDATE is the time of no '
        "repetition and takes nothing out.",
    ],
    "until_across_clock_change.ics": [
        'Line 34, case-0031@example.invalid: "FREQ=WEEKLY;UNTIL=20250429": UNTIL is a day and the entry has '
        "times: the whole of that day is taken."
    ],
}
"""File to everything that is said about it; files not named here are said nothing about."""


def test_every_file_has_its_row() -> None:
    assert {path.name for path in FILES.glob("*.ics")} == set(CASES)


@pytest.mark.parametrize("name", CASES)
def test_a_file_gives_the_visits_it_means(name: str) -> None:
    found = read_file(name)
    marks = [" cancelled" if one.cancelled else "" for one in happening(found)]
    assert [start + mark for start, mark in zip(starts(found), marks, strict=True)] == CASES[name]


@pytest.mark.parametrize("name", CASES)
def test_whatever_is_doubtful_in_a_file_is_said(name: str) -> None:
    assert problems(read_file(name)) == SAID.get(name, [])


def test_a_fold_inside_an_escape_is_undone_before_the_escape() -> None:
    (entry,) = read_file("fold_inside_escape.ics").entries
    assert entry.description.splitlines() == [62 * "x", "Second line, with a comma; done"]


def test_folded_arabic_is_read_whole() -> None:
    (entry,) = read_file("folded_arabic.ics").entries
    assert entry.summary == (
        "زيارة متابعة بعد العملية، يرجى الحضور قبل الموعد بنصف ساعة وإحضار بطاقة المتابعة معك إلى غرفة ٣"
    )


def test_the_end_of_whole_days_is_exclusive() -> None:
    lengths = [(one.ends - one.starts).days for one in happening(read_file("all_day_exclusive_end.ics"))]
    assert lengths == [1, 3, 1]


def test_times_without_a_zone_are_marked() -> None:
    (entry,) = read_file("floating_times.ics").entries
    assert entry.notes == ("no zone given: DTSTART is taken as Africa/Cairo time",)


def test_escaped_text_is_read_back_as_it_was_meant() -> None:
    (entry,) = read_file("escaped_text.ics").entries
    assert entry.location == 'Room 3, second floor; lift "B"'
    assert entry.description == "Path C:\\new\nBring drops: morning, evening"
