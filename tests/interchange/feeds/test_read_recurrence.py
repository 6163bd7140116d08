"""Entries that repeat: at the same time on the wall, within a stated period, and never without end."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.interchange.feeds.calendars import event, happening, problems, read, starts

CAIRO = "DTSTART;TZID=Africa/Cairo:20250602T090000"
"""A Monday; 06:00 in UTC."""
FIRST_THREE = ["20250602T060000Z", "20250609T060000Z", "20250616T060000Z"]


def weekly(*lines: str, start: str = CAIRO) -> list[str]:
    return event("DURATION:PT3H", "RRULE:FREQ=WEEKLY;COUNT=3", *lines, start=start)


def test_nine_stays_nine_over_a_month_of_other_hours() -> None:
    """Morocco moves its clocks for Ramadan: 18 February to 20 March 2026, so 9:00 is 8:00, 9:00, 8:00 UTC."""
    rule = "RRULE:FREQ=WEEKLY;UNTIL=20260323T080000Z"
    found = starts(read(*event(rule, start="DTSTART;TZID=Africa/Casablanca:20260209T090000")))
    assert [key[9:11] for key in found] == ["08", "09", "09", "09", "09", "09", "08"]


@pytest.mark.parametrize(
    ("rule", "expected"),
    [
        ("FREQ=WEEKLY;UNTIL=20250616T060000Z", FIRST_THREE),
        ("FREQ=WEEKLY;UNTIL=20250616T055959Z", FIRST_THREE[:2]),
        ("FREQ=WEEKLY;UNTIL=20250616T090000", FIRST_THREE),
        ("FREQ=WEEKLY;UNTIL=20250616", FIRST_THREE),
        ("FREQ=WEEKLY;UNTIL=20250630T060000Z;COUNT=3", FIRST_THREE),
        ("FREQ=WEEKLY;INTERVAL=2;COUNT=2", [FIRST_THREE[0], FIRST_THREE[2]]),
        ("FREQ=WEEKLY;BYDAY=MO,WE;COUNT=3", [FIRST_THREE[0], "20250604T060000Z", FIRST_THREE[1]]),
        ("FREQ=MONTHLY;BYDAY=1MO;COUNT=2", [FIRST_THREE[0], "20250707T060000Z"]),
        ("FREQ=MONTHLY;BYMONTHDAY=31;COUNT=3", [FIRST_THREE[0], "20250731T060000Z", "20250831T060000Z"]),
        ("FREQ=YEARLY;COUNT=2", [FIRST_THREE[0], "20260602T060000Z"]),
    ],
)
def test_rules(rule: str, expected: list[str]) -> None:
    assert starts(read(*event(f"RRULE:{rule}", start=CAIRO))) == expected


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ("FREQ=WEEKLY;UNTIL=20250616",
         "UNTIL is a day and the entry has times: the whole of that day is taken."),
        ("FREQ=WEEKLY;UNTIL=20250616T090000",
         "UNTIL is not in UTC: it is taken as a time on the wall where the entry is."),
        ("FREQ=WEEKLY;COUNT=3;UNTIL=20250630T060000Z",
         "COUNT and UNTIL are both given: whichever ends it first is taken."),
        ("FREQ=WEEKLY;COUNT=3;BYDAY=TU", "the rule does not hold for the start itself, which is kept."),
    ],
)  # fmt: skip
def test_a_rule_in_doubt_is_named(rule: str, said: str) -> None:
    (problem,) = problems(read(*event(f"RRULE:{rule}", start=CAIRO)))
    assert problem.startswith("Line 8, a@clinic.example: ")
    assert problem.endswith(said)


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("EXDATE;TZID=Africa/Cairo:20250609T090000", [FIRST_THREE[0], FIRST_THREE[2]]),
        ("EXDATE:20250609T060000Z,20250616T060000Z", FIRST_THREE[:1]),
        ("EXDATE:20250609T090000", [FIRST_THREE[0], FIRST_THREE[2]]),
        ("EXDATE;TZID=Africa/Cairo:20250602T090000", FIRST_THREE[1:]),
        ("RDATE;TZID=Africa/Cairo:20250604T090000", [FIRST_THREE[0], "20250604T060000Z", *FIRST_THREE[1:]]),
        ("RDATE:20250604T060000Z", [FIRST_THREE[0], "20250604T060000Z", *FIRST_THREE[1:]]),
        ("RDATE:20250609T060000Z", FIRST_THREE),
        ("RDATE;VALUE=PERIOD:20250604T060000Z/PT1H", [FIRST_THREE[0], "20250604T060000Z", *FIRST_THREE[1:]]),
        ("EXRULE:FREQ=WEEKLY", FIRST_THREE),
    ],
)
def test_dates_left_out_and_added(line: str, expected: list[str]) -> None:
    assert starts(read(*weekly(line))) == expected


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("RDATE;VALUE=DATE:20250604", "RDATE is not of the kind of DTSTART: it is not added."),
        ("EXDATE;TZID=Nowhere:20250609T090000", "This date is passed over."),
        ("EXDATE:20250610T060000Z", "EXDATE is the time of no repetition and takes nothing out."),
        ("EXRULE:FREQ=WEEKLY", "EXRULE is no longer in use and is ignored."),
    ],
)
def test_a_date_that_does_nothing_is_named(line: str, said: str) -> None:
    found = read(*weekly(line))
    (problem,) = problems(found)
    assert problem.startswith("Line 10, a@clinic.example: ")
    assert problem.endswith(said)
    assert starts(found) == FIRST_THREE


def test_whole_days_repeat_as_days() -> None:
    rule = ["RRULE:FREQ=DAILY;UNTIL=20250613T120000Z", "EXDATE:20250611T000000"]
    found = read(*event(*rule, start="DTSTART;VALUE=DATE:20250610"))
    assert starts(found) == ["20250610", "20250612", "20250613"]
    assert [problem.partition(": ")[2].partition(": ")[2] for problem in problems(found)] == [
        "UNTIL is a time and the entry is of whole days: its day is taken.",
        "EXDATE is a time and the entry is of whole days: its day is taken out.",
    ]


# Changed repetitions


def changed(which: str, *lines: str, start: str) -> list[str]:
    return event(f"RECURRENCE-ID{which}", *lines, start=start)


def test_a_moved_repetition_keeps_its_place_in_the_series() -> None:
    moved = changed(";TZID=Africa/Cairo:20250609T090000", start="DTSTART;TZID=Africa/Cairo:20250610T140000")
    found = happening(read(*weekly(), *moved))
    assert [(one.recurrence, one.starts.isoformat()) for one in found] == [
        ("20250602T060000Z", "2025-06-02T09:00:00+03:00"),
        ("20250609T060000Z", "2025-06-10T14:00:00+03:00"),
        ("20250616T060000Z", "2025-06-16T09:00:00+03:00"),
    ]


def test_a_cancelled_repetition_is_told_and_not_dropped() -> None:
    off = changed(":20250609T060000Z", "STATUS:CANCELLED", start="DTSTART:20250609T060000Z")
    assert [one.cancelled for one in happening(read(*weekly(), *off))] == [False, True, False]


def test_a_repetition_is_cancelled_without_saying_when_it_is() -> None:
    off = changed(":20250609T060000Z", "SEQUENCE:1", "STATUS:CANCELLED", start="")
    found = read(*weekly(), *off)
    assert [one.cancelled for one in happening(found)] == [False, True, False]
    assert problems(found) == []


def test_a_change_that_names_the_day_changes_the_repetition_of_that_day() -> None:
    found = read(*weekly(), *changed(";VALUE=DATE:20250609", start="DTSTART:20250610T060000Z"))
    assert starts(found) == [FIRST_THREE[0], "20250610T060000Z", FIRST_THREE[2]]
    assert problems(found) == [
        'Line 11, a@clinic.example: "2025-06-09": RECURRENCE-ID is not of the kind of DTSTART: the '
        "repetition on that day is taken."
    ]


def test_a_cancelled_series_cancels_all_of_it() -> None:
    moved = changed(":20250609T060000Z", start="DTSTART:20250610T060000Z")
    found = happening(read(*weekly("STATUS:CANCELLED"), *moved))
    assert [one.cancelled for one in found] == [True, True, True]


def test_a_change_of_this_and_all_later_repetitions_moves_them_all() -> None:
    moved = changed(
        ";RANGE=THISANDFUTURE;TZID=Africa/Cairo:20250609T090000",
        "DURATION:PT1H",
        start="DTSTART;TZID=Africa/Cairo:20250610T100000",
    )
    found = happening(read(*weekly(), *moved))
    assert [one.starts.isoformat()[:16] for one in found] == [
        "2025-06-02T09:00",
        "2025-06-10T10:00",
        "2025-06-17T10:00",
    ]
    assert [(one.ends - one.starts) for one in found] == [timedelta(hours=3), *2 * [timedelta(hours=1)]]


def test_a_change_of_no_known_repetition_is_kept_and_named() -> None:
    found = read(*weekly(), *changed(":20250610T060000Z", start="DTSTART:20250611T060000Z"))
    assert starts(found) == [*FIRST_THREE[:2], "20250611T060000Z", FIRST_THREE[2]]
    assert problems(found) == [
        'Line 11, a@clinic.example: "2025-06-10 06:00:00+00:00": changes a repetition that the rule does not '
        "have: it is taken as a visit of its own."
    ]


def test_a_repetition_sent_alone_is_taken() -> None:
    found = happening(read(*changed(":20250609T060000Z", start="DTSTART:20250610T060000Z")))
    assert [(one.recurrence, one.starts.day) for one in found] == [("20250609T060000Z", 10)]


# Bounds

SIXTY = ",".join(str(number) for number in range(60))


def test_only_the_period_asked_for_is_followed() -> None:
    found = read(*event("RRULE:FREQ=DAILY", start="DTSTART;TZID=Africa/Cairo:19900101T230000"))
    within = happening(found, date(2025, 6, 1), date(2025, 6, 3))
    assert [one.starts.isoformat()[:10] for one in within] == ["2025-06-01", "2025-06-02", "2025-06-03"]


def test_a_series_that_begins_after_the_period_is_nothing_to_speak_of() -> None:
    found = read(*event("RRULE:FREQ=WEEKLY", "EXDATE:20290101T060000Z", start="DTSTART:20281225T060000Z"))
    assert (starts(found), problems(found)) == ([], [])


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ("FREQ=SECONDLY;COUNT=1000000", "this rule takes more than 200,000 steps."),
        ("FREQ=MINUTELY;INTERVAL=5;BYMONTH=2;BYMONTHDAY=29", "this rule takes more than 200,000 steps."),
        (f"FREQ=DAILY;BYMINUTE={SIXTY};BYSECOND={SIXTY}", "this rule takes more than 200,000 steps."),
        (f"FREQ=YEARLY;BYMINUTE={SIXTY};BYSECOND={SIXTY}", "this rule takes more than 200,000 steps."),
        ("FREQ=HOURLY", "happens 13,862 times in this period, and at most 2,000 are taken."),
    ],
)  # fmt: skip
def test_a_rule_without_measure_is_refused_and_the_rest_of_the_file_read(rule: str, said: str) -> None:
    found = read(*event(f"RRULE:{rule}", start=CAIRO), *event(uid="good@clinic.example"))
    assert starts(found) == ["20250610T060000Z"]
    (problem,) = problems(found)
    assert problem.startswith("Refused. ")
    assert problem.endswith(f"{said} Ask for a shorter period.")


@pytest.mark.parametrize(("rule", "count"), [("FREQ=SECONDLY;COUNT=5", 5), ("FREQ=DAILY;COUNT=1000000", 578)])
def test_a_large_rule_is_followed_where_it_is_small_within_the_period(rule: str, count: int) -> None:
    assert len(starts(read(*event(f"RRULE:{rule}", start=CAIRO)))) == count


def test_a_rule_that_never_comes_true_gives_the_start_alone() -> None:
    found = read(*event("RRULE:FREQ=DAILY;INTERVAL=7;BYDAY=TU", start=CAIRO))
    assert starts(found) == FIRST_THREE[:1]


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        ("FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30", "no month has such a day."),
        ("FREQ=DAILY;BYMONTH=4,6,9,11;BYMONTHDAY=-31", "no month has such a day."),
        ("FREQ=HOURLY;BYHOUR=25", "BYHOUR=25 is outside 0 to 23."),
        ("FREQ=MONTHLY;BYMONTHDAY=0", "BYMONTHDAY=0 is outside 1 to 31."),
        ("FREQ=MONTHLY;BYMONTHDAY=-32", "BYMONTHDAY=-32 is outside 1 to 31."),
        ("FREQ=YEARLY;BYMONTH=13", "BYMONTH=13 is outside 1 to 12."),
        ("FREQ=WEEKLY;BYMONTHDAY=3", "BYMONTHDAY does not go with WEEKLY."),
        ("FREQ=MONTHLY;BYWEEKNO=3", "BYWEEKNO does not go with MONTHLY."),
        ("FREQ=WEEKLY;BYDAY=2MO", "a numbered BYDAY does not go with WEEKLY."),
        ("FREQ=DAILY;BYSETPOS=1", "BYSETPOS does not go with DAILY."),
    ],
)
def test_a_rule_outside_the_standard_is_refused(rule: str, said: str) -> None:
    """RFC 5545, 3.3.10, with its table of what goes with what."""
    (problem,) = read(*event(f"RRULE:{rule}", start=CAIRO)).problems
    assert (problem.value, problem.message, problem.refused) == (rule, said, True)


def test_hours_that_never_come_are_refused() -> None:
    found = read(*event("RRULE:FREQ=MINUTELY;INTERVAL=120;BYHOUR=10", start=CAIRO))
    assert starts(found) == []
    assert [said.startswith("Refused. ") for said in problems(found)] == [True]


ZONES = ("Africa/Cairo", "Africa/Casablanca", "America/Sao_Paulo", "Asia/Tehran", "Europe/Berlin")


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(ZONES),
    st.dates(date(2024, 1, 1), date(2026, 12, 1)),
    st.times(time(9), time(17)),
    st.integers(1, 40),
)
def test_every_week_at_the_same_time_on_the_wall(zone: str, day: date, at: time, weeks: int) -> None:
    begin = datetime.combine(day, at.replace(second=0, microsecond=0))
    start = f"DTSTART;TZID={zone}:{begin:%Y%m%dT%H%M%S}"
    found = happening(
        read(*event(f"RRULE:FREQ=WEEKLY;COUNT={weeks}", start=start), site_zone=zone),
        day,
        day + timedelta(400),
    )
    walls = [one.starts.astimezone(ZoneInfo(zone)).replace(tzinfo=None) for one in found]
    assert walls == [begin + timedelta(weeks=number) for number in range(weeks)]
    assert [one.recurrence for one in found] == [
        f"{one.starts.astimezone(UTC):%Y%m%dT%H%M%SZ}" for one in found
    ]
