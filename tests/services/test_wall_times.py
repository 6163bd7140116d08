"""A visit stays at its time on the wall when the law of the zone, or the clinic's zone, changes."""

from __future__ import annotations

import logging
from datetime import UTC, date, datetime, time

import pytest

from followup.jobs.night import follow_the_clocks
from followup.models import Appointment, Change
from followup.services.staff import change_site
from followup.services.wall_times import keep_wall_times
from tests.builders import NOW, make_appointment, make_patient, make_session, make_site
from tests.services.conftest import Clinic, last_change


def booked(zone: str, day: date, starts_at: str, **fields: object) -> Appointment:
    """Nine on the wall, at the instant that the rules of the day of booking gave."""
    site = make_site(time_zone=zone)
    instant = datetime.fromisoformat(starts_at)
    session = make_session(site=site, day=day)
    return make_appointment(
        patient=make_patient(site=site), session=session, local_time=time(9), starts_at=instant, **fields
    )


@pytest.mark.parametrize(
    ("zone", "day", "before", "after"),
    [
        # Cairo brought summer time back in 2023; Tehran did away with it after 2022 (IANA zone database).
        ("Africa/Cairo", date(2026, 7, 1), "2026-07-01T07:00Z", "2026-07-01T06:00Z"),
        ("Asia/Tehran", date(2026, 7, 1), "2026-07-01T04:30Z", "2026-07-01T05:30Z"),
    ],
)
def test_where_the_law_changed_the_instant_follows_the_wall(
    zone: str, day: date, before: str, after: str, clinic: Clinic
) -> None:
    place = booked(zone, day, before)
    site = place.session.site
    assert follow_the_clocks(site, NOW) == 1
    place.refresh_from_db()
    assert place.starts_at == datetime.fromisoformat(after)
    assert (place.day, place.local_time, place.sequence, place.changed_at) == (day, time(9), 1, NOW)
    assert (last_change().verb, last_change().patient) == ("keep_wall_time", place.patient)
    assert follow_the_clocks(site, NOW) == 0
    assert keep_wall_times(by=None, now=NOW, site=site) == 0


@pytest.mark.parametrize(
    ("day", "fields"),
    [
        (date(2026, 2, 1), {}),
        (date(2026, 7, 1), {"state": "cancelled", "cancelled_by": "clinic"}),
    ],
    ids=["past", "cancelled"],
)
def test_what_is_over_stays_as_it_was(day: date, fields: dict[str, str], clinic: Clinic) -> None:
    place = booked("Africa/Cairo", day, f"{day}T11:00Z", **fields)
    assert keep_wall_times(by=None, now=NOW, site=place.session.site) == 0
    assert Change.objects.count() == 0


def test_a_clinic_in_another_zone_keeps_its_wall_times(clinic: Clinic) -> None:
    session = make_session(site=clinic.site, day=date(2026, 7, 1))
    place = make_appointment(patient=clinic.patient(), session=session)
    assert place.starts_at.astimezone(UTC).hour == 6
    change_site(by=clinic.administrator, now=NOW, site=clinic.site, time_zone="Europe/London")
    place.refresh_from_db()
    assert (place.starts_at.astimezone(UTC).hour, place.sequence) == (8, 1)
    assert last_change().by == clinic.administrator


def test_a_time_that_the_clocks_skip_now_is_left_to_a_person(
    clinic: Clinic, caplog: pytest.LogCaptureFixture
) -> None:
    place = booked("Africa/Cairo", date(2026, 4, 24), "2026-04-24T07:00Z")
    Appointment.objects.update(local_time=time(0, 30))
    with caplog.at_level(logging.WARNING):
        assert keep_wall_times(by=None, now=NOW, site=place.session.site) == 0
    assert "00:30 does not exist in Africa/Cairo" in caplog.text
