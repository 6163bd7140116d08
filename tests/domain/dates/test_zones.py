"""Wall times at a site. Instants computed from the IANA zone database."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.dates.zones import day_bounds, local_day, localise
from followup.domain.errors import BadValue

INSTANTS = [
    # Egypt brought summer time back in 2023.
    ("Africa/Cairo", "2022-07-01T09:00", "2022-07-01T07:00Z"),
    ("Africa/Cairo", "2023-07-01T09:00", "2023-07-01T06:00Z"),
    # A zone attached by hand would use local mean time, 06:55Z.
    ("Africa/Cairo", "2025-01-15T09:00", "2025-01-15T07:00Z"),
    # Iran ended summer time after 2022.
    ("Asia/Tehran", "2022-07-01T09:00", "2022-07-01T04:30Z"),
    ("Asia/Tehran", "2026-07-01T09:00", "2026-07-01T05:30Z"),
    # Morocco's clock moves for Ramadan; the wall time of a weekly review stays.
    ("Africa/Casablanca", "2026-02-09T09:00", "2026-02-09T08:00Z"),
    ("Africa/Casablanca", "2026-02-16T09:00", "2026-02-16T09:00Z"),
    ("Africa/Casablanca", "2026-03-23T09:00", "2026-03-23T08:00Z"),
    # The repeated hour means its first pass.
    ("Europe/Berlin", "2025-10-26T02:30", "2025-10-26T00:30Z"),
]


@pytest.mark.parametrize(("zone", "wall", "instant"), INSTANTS)
def test_wall_time_becomes_its_instant(zone: str, wall: str, instant: str) -> None:
    naive = datetime.fromisoformat(wall)
    localised = localise(naive.date(), naive.time(), zone)
    assert localised.astimezone(UTC) == datetime.fromisoformat(instant)


@pytest.mark.parametrize(
    ("zone", "wall", "next_valid"),
    [
        ("Africa/Cairo", "2025-04-25T00:30", "2025-04-25 01:00"),
        ("Europe/Berlin", "2025-03-30T02:15", "2025-03-30 03:00"),
        ("America/Sao_Paulo", "2018-11-04T00:00", "2018-11-04 01:00"),
        ("Australia/Lord_Howe", "2025-10-05T02:05", "2025-10-05 02:30"),
        ("Pacific/Apia", "2011-12-30T00:00", "2011-12-31 00:00"),
    ],
)
def test_a_skipped_wall_time_is_refused_with_the_next_valid_one(
    zone: str, wall: str, next_valid: str
) -> None:
    naive = datetime.fromisoformat(wall)
    with pytest.raises(BadValue, match=f"next valid time is {next_valid}"):
        localise(naive.date(), naive.time(), zone)


@pytest.mark.parametrize(
    ("instant", "zone", "day"),
    [
        ("2025-06-09T21:30Z", "Africa/Cairo", "2025-06-10"),
        ("2025-06-10T01:30Z", "America/Sao_Paulo", "2025-06-09"),
        ("2025-06-10T03:00Z", "America/Sao_Paulo", "2025-06-10"),
    ],
)
def test_today_is_the_day_at_the_site(instant: str, zone: str, day: str) -> None:
    assert local_day(datetime.fromisoformat(instant), zone) == date.fromisoformat(day)


def test_a_day_whose_midnight_is_skipped_starts_late_and_is_short() -> None:
    start, end = day_bounds(date(2025, 4, 25), "Africa/Cairo")
    assert start == datetime(2025, 4, 24, 22, tzinfo=UTC)
    assert end - start == timedelta(hours=23)
    assert start.astimezone(localise(date(2025, 4, 25), time(9), "Africa/Cairo").tzinfo).hour == 1


def test_a_day_that_begins_in_a_gap_starts_when_the_clocks_have_gone_forward() -> None:
    """Toronto, 30 March 1919: from 23:30 straight to 00:30 of the next day (IANA zone database)."""
    before, start = day_bounds(date(1919, 3, 30), "America/Toronto")
    assert start == datetime(1919, 3, 31, 4, 30, tzinfo=UTC)
    assert start - before == timedelta(hours=23, minutes=30)


def test_the_bounds_of_a_day_are_given_in_utc() -> None:
    assert [bound.tzinfo for bound in day_bounds(date(2025, 7, 1), "Africa/Cairo")] == [UTC, UTC]


@pytest.mark.parametrize(
    ("zone", "day", "hours"),
    [
        ("Europe/Berlin", date(2025, 3, 30), 23),
        ("Europe/Berlin", date(2025, 10, 26), 25),
        ("America/Havana", date(2025, 11, 2), 25),
        ("America/Sao_Paulo", date(2018, 2, 17), 25),
        ("Pacific/Apia", date(2011, 12, 30), 0),
    ],
)
def test_true_length_of_a_day(zone: str, day: date, hours: int) -> None:
    start, end = day_bounds(day, zone)
    assert end - start == timedelta(hours=hours)


@pytest.mark.parametrize("name", ["", "Cairo", "Africa", "../Africa/Cairo", "GMT+25"])
def test_an_unknown_zone_is_refused(name: str) -> None:
    with pytest.raises(BadValue, match="is not a time zone"):
        localise(date(2025, 1, 1), time(9), name)


def test_times_and_instants_of_the_wrong_kind_are_refused() -> None:
    with pytest.raises(BadValue, match="already carries a zone"):
        localise(date(2025, 1, 1), time(9, tzinfo=UTC), "Africa/Cairo")
    with pytest.raises(BadValue, match="has no zone"):
        local_day(datetime(2025, 1, 1, 9), "Africa/Cairo")  # noqa: DTZ001 - a naive instant is the fault under test


@given(
    st.dates(date(1990, 1, 1), date(2060, 1, 1)),
    st.sampled_from(
        ("Africa/Cairo", "America/Sao_Paulo", "Asia/Tehran", "Africa/Casablanca", "Pacific/Apia")
    ),
)
def test_days_follow_each_other_without_gap_and_offsets_are_whole_quarters(day: date, zone: str) -> None:
    start, end = day_bounds(day, zone)
    assert end == day_bounds(day + timedelta(days=1), zone)[0]
    if end > start:
        assert local_day(start, zone) == day
        assert local_day(end - timedelta(seconds=1), zone) == day
    offset = localise(day, time(12), zone).utcoffset() if end > start else timedelta()
    assert offset is not None
    assert offset % timedelta(minutes=15) == timedelta(0)
