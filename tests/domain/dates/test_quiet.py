"""Quiet hours by the clock on the wall, also on the days on which the clocks are changed."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.dates.quiet import after_quiet, is_quiet

ZONES = ["UTC", "Africa/Cairo", "Europe/Berlin", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu"]
HOURS = st.integers(0, 23)
INSTANTS = st.datetimes(
    datetime(2024, 1, 1),  # noqa: DTZ001 - bounds are naive, the zone is drawn apart
    datetime(2028, 1, 1),  # noqa: DTZ001
    timezones=st.just(UTC),
    allow_imaginary=False,
)


@pytest.mark.parametrize(
    ("zone", "quiet", "instant", "free"),
    [
        ("UTC", (20, 8), "2026-03-02T19:59Z", "2026-03-02T19:59Z"),
        ("UTC", (20, 8), "2026-03-02T20:00Z", "2026-03-03T08:00Z"),
        ("UTC", (20, 8), "2026-03-03T07:59Z", "2026-03-03T08:00Z"),
        ("UTC", (20, 8), "2026-03-03T08:00Z", "2026-03-03T08:00Z"),
        ("UTC", (13, 15), "2026-03-03T14:10Z", "2026-03-03T15:00Z"),
        ("UTC", (13, 15), "2026-03-03T13:00Z", "2026-03-03T15:00Z"),
        ("UTC", (8, 8), "2026-03-03T03:00Z", "2026-03-03T03:00Z"),
        ("Africa/Cairo", (20, 8), "2025-01-15T18:00Z", "2025-01-16T06:00Z"),
        ("Africa/Cairo", (20, 8), "2025-07-15T17:00Z", "2025-07-16T05:00Z"),
        ("America/St_Johns", (20, 2), "2026-03-03T02:30Z", "2026-03-03T05:30Z"),
        ("Europe/Berlin", (20, 8), "2026-03-28T22:00Z", "2026-03-29T06:00Z"),
        ("Europe/Berlin", (20, 8), "2026-10-24T22:00Z", "2026-10-25T07:00Z"),
        ("Europe/Berlin", (20, 2), "2026-03-28T23:00Z", "2026-03-29T01:00Z"),
        ("Europe/Berlin", (20, 3), "2026-10-25T00:30Z", "2026-10-25T02:00Z"),
    ],
    ids=[
        "the minute before",
        "the evening waits for the morning",
        "the last minute",
        "the hour at which quiet ends is free",
        "a quiet noon",
        "the first minute of it",
        "the same hour twice: never quiet",
        "winter in Cairo",
        "summer in Cairo",
        "an evening that is the next day in UTC",
        "over the night that is an hour short",
        "over the night that is an hour long",
        "quiet ends in the hour that is skipped",
        "quiet in both passes of the hour that comes twice",
    ],
)
def test_a_message_waits_for_the_end_of_the_quiet_hours(
    zone: str, quiet: tuple[int, int], instant: str, free: str
) -> None:
    assert after_quiet(datetime.fromisoformat(instant), zone, *quiet) == datetime.fromisoformat(free)


@given(instant=INSTANTS, zone=st.sampled_from(ZONES), quiet_from=HOURS, quiet_until=HOURS)
def test_the_wait_ends_at_the_first_free_moment_within_two_days(
    instant: datetime, zone: str, quiet_from: int, quiet_until: int
) -> None:
    free = after_quiet(instant, zone, quiet_from, quiet_until)
    assert instant <= free <= instant + timedelta(days=2)
    assert not is_quiet(free, zone, quiet_from, quiet_until)
    if free > instant:
        assert is_quiet(instant, zone, quiet_from, quiet_until)
        assert is_quiet(free - timedelta(microseconds=1), zone, quiet_from, quiet_until)
