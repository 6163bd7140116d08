"""A calendar byte for byte: against a file, and against what the library's own components write."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from uuid import UUID

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.dates.zones import localise
from followup.domain.words import AppointmentState
from followup.interchange.feeds.calendar import written_calendar
from followup.models import Site
from followup.queries.calendar import CalendarRow
from tests.interchange.feeds.by_library import calendar_by_library
from tests.interchange.feeds.calendars import CAIRO, FILES

UID = "0d4f8c1e-5a55-4a3e-9c54-2d9f7ef0a00"


def row(number: int, **fields: object) -> CalendarRow:
    dull = {
        "uid": UUID(f"{UID}{number}"),
        "sequence": 0,
        "changed_at": datetime(2026, 3, 2, 9, 0, 30, 999, UTC),
        "starts_at": datetime(2026, 6, 10, 6, 0, tzinfo=UTC),
        "minutes": 20,
        "day": date(2026, 6, 10),
        "local_time": time(9, 0),
        "state": "booked",
    }
    return CalendarRow(**dull | fields)


def test_a_calendar_is_the_file_on_record_byte_for_byte() -> None:
    """RFC 5545: folded by octets inside Arabic, escaped, one cancelled, winter and summer time."""
    site = Site(
        name='عيادة الشبكية والجسم الزجاجي, second floor; lift "B"', time_zone=CAIRO, phone="+20 2 5550 100"
    )
    winter = {"starts_at": datetime(2026, 12, 9, 7, 0, tzinfo=UTC), "day": date(2026, 12, 9)}
    rows = [
        row(1),
        row(2, sequence=3, state="cancelled", minutes=45),
        row(3, **winter, given_name="Amal", family_name="Åsund"),
    ]
    assert written_calendar(site, rows, "clinic") == (FILES / "written" / "calendar.ics").read_bytes()


moments = st.integers(631_152_000, 4_102_444_800).map(lambda second: datetime.fromtimestamp(second, UTC))
texts = st.text(max_size=120)
rows = st.builds(
    CalendarRow,
    uid=st.uuids(),
    sequence=st.integers(0, 10**6),
    changed_at=moments,
    starts_at=moments,
    minutes=st.integers(1, 600),
    day=st.dates(date(1990, 1, 1), date(2100, 1, 1)),
    local_time=st.times(),
    state=st.sampled_from(AppointmentState.codes()),
    given_name=texts,
    family_name=texts,
)


@given(
    name=texts, phone=texts, kind=st.sampled_from(["", "clinic", "theatre"]), rows=st.lists(rows, max_size=3)
)
def test_any_calendar_is_what_the_library_writes(
    name: str, phone: str, kind: str, rows: list[CalendarRow]
) -> None:
    site = Site(name=name, phone=phone, time_zone=CAIRO)
    content = written_calendar(site, rows, kind)
    assert content == calendar_by_library(site, rows, kind)
    for line in content.split(b"\r\n"):
        assert len(line) <= 75
        assert line.decode().isprintable()


@pytest.mark.parametrize(
    ("zone", "day", "wall", "utc"),
    [
        # Each from the zone database of IANA; the local time is what a person reads in the text.
        ("Africa/Cairo", date(2022, 7, 1), "09:00", "20220701T070000Z"),
        ("Africa/Cairo", date(2023, 7, 1), "09:00", "20230701T060000Z"),
        ("Asia/Tehran", date(2022, 7, 1), "09:00", "20220701T043000Z"),
        ("Asia/Tehran", date(2026, 7, 1), "09:00", "20260701T053000Z"),
        ("Africa/Casablanca", date(2026, 2, 9), "09:00", "20260209T080000Z"),
        ("Africa/Casablanca", date(2026, 2, 16), "09:00", "20260216T090000Z"),
        ("Africa/Casablanca", date(2026, 3, 23), "09:00", "20260323T080000Z"),
        ("Europe/Berlin", date(2026, 10, 25), "02:30", "20261025T003000Z"),
        ("America/Sao_Paulo", date(2018, 11, 5), "09:00", "20181105T110000Z"),
    ],
)
def test_clock_changes_and_changed_laws(zone: str, day: date, wall: str, utc: str) -> None:
    at = time.fromisoformat(wall)
    starts = localise(day, at, zone)
    content = written_calendar(
        Site(name="Clinic", time_zone=zone), [row(1, day=day, local_time=at, starts_at=starts)]
    ).decode()
    assert f"DTSTART:{utc}\r\n" in content
    ends = datetime.fromisoformat(utc) + timedelta(minutes=20)
    assert f"DTEND:{ends:%Y%m%dT%H%M%SZ}\r\n" in content
    assert f"{day:%-d %b %Y}\\, {wall} local time" in content
