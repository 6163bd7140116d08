"""Which reminders are wanted: once a day of the clinic's choice, for those who agreed and know it not yet."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from django.conf import LazySettings
from django.db import connection
from django.test.utils import CaptureQueriesContext

from followup.domain.errors import BadValue
from followup.models import Appointment, Site
from followup.queries.reminders import reminder_days, reminders_to_write
from tests.builders import (
    NOW,
    TODAY,
    days,
    make_appointment,
    make_consent,
    make_message,
    make_patient,
    make_site,
)

pytestmark = pytest.mark.django_db

LONG_AGO = NOW - timedelta(days=90)


def visit(*, ahead: int, site: Site | None = None, booked: datetime = LONG_AGO, **fields) -> Appointment:
    """A visit so many days from TODAY, of somebody who agreed to e-mail long ago."""
    patient = fields.pop("patient", None) or make_patient(site=site or make_site(), email="amal@home.example")
    if fields.pop("agreed", True):
        make_consent(patient=patient)
    return make_appointment(patient=patient, day=days(ahead), changed_at=booked, **fields)


def wanted(site: Site, now: datetime = NOW) -> list[int]:
    return [reminder.days_before for reminder in reminders_to_write(site=site, now=now)]


@pytest.mark.parametrize(
    ("ahead", "told"),
    [(8, []), (7, [7]), (6, [7]), (3, [7]), (2, [2]), (1, [2]), (0, [2]), (-1, [2]), (-7, [2]), (-8, [])],
)
def test_a_day_that_has_come_is_told_of_once_and_the_nearest_only(ahead: int, told: list[int]) -> None:
    assert wanted(visit(ahead=ahead).patient.site) == told


@pytest.mark.parametrize(
    ("booked", "told"),
    [(-5, [7]), (-4, []), (-1, [])],
    ids=["the day before the seventh day", "on the seventh day", "after it"],
)
def test_nobody_is_reminded_of_what_was_booked_since(booked: int, told: list[int]) -> None:
    place = visit(ahead=3, booked=NOW + timedelta(days=booked))
    assert wanted(place.patient.site) == told


def test_without_consent_and_without_an_address_nobody_is_written_to(settings: LazySettings) -> None:
    settings.TEXT_GATEWAY_URL = "http://localhost:1/"
    site = make_site()
    visit(ahead=2, site=site, agreed=False)
    withdrawn = make_consent(patient=make_patient(site=site, email="amal@home.example"))
    visit(ahead=2, patient=withdrawn.patient, agreed=False)
    withdrawn.withdrawn_on, withdrawn.withdrawn_by = TODAY, withdrawn.given_by
    withdrawn.save()
    visit(ahead=2, patient=make_patient(site=site, email=""))
    late = make_consent(patient=make_patient(site=site, email="b@home.example"), given_on=days(-1))
    visit(ahead=0, patient=late.patient, agreed=False)
    assert wanted(site) == []
    visit(ahead=2, site=site)
    assert wanted(site) == [2]


@pytest.mark.parametrize(
    ("gateway", "channels", "way", "to"),
    [
        ("http://localhost:1/", ("email", "text"), "text", "5550123"),
        ("", ("email", "text"), "email", "amal@home.example"),
        ("http://localhost:1/", ("email",), "email", "amal@home.example"),
    ],
    ids=["a text where there is a gateway", "e-mail without one", "what was agreed to"],
)
def test_one_channel_is_used(settings: LazySettings, gateway: str, channels, way: str, to: str) -> None:
    settings.TEXT_GATEWAY_URL = gateway
    patient = make_patient(email="amal@home.example", phone="555 0123")
    for channel in channels:
        make_consent(patient=patient, channel=channel)
    visit(ahead=2, patient=patient, agreed=False)
    (reminder,) = reminders_to_write(site=patient.site, now=NOW)
    assert (reminder.channel, reminder.to) == (way, to)


def test_cancelled_visits_and_the_dead_are_left_out() -> None:
    site = make_site()
    visit(ahead=2, site=site, state="cancelled", cancelled_by="clinic")
    dead = visit(ahead=2, site=site).patient
    dead.died_on = TODAY
    dead.save()
    visit(ahead=2)
    assert wanted(site) == []


def test_what_stands_in_the_outbox_is_not_written_again_and_a_moved_visit_is() -> None:
    place = visit(ahead=2)
    site = place.patient.site
    (reminder,) = reminders_to_write(site=site, now=NOW)
    assert reminder.key == f"patient/{place.patient_id}/reminder/{place.uid}/0/2"
    make_message(key=reminder.key, site=site)
    assert wanted(site) == []
    place.sequence = 1
    place.save()
    assert wanted(site) == [2]


@pytest.mark.parametrize(("written", "read"), [("7 2", [2, 7]), ("2,7, 2", [2, 7]), ("", []), ("60", [60])])
def test_the_clinic_s_days(written: str, read: list[int]) -> None:
    assert reminder_days(Site(reminder_days=written)) == read


@pytest.mark.parametrize("written", ["0", "61", "-2", "two", "7;2"])
def test_days_that_cannot_be_are_refused(written: str) -> None:
    with pytest.raises(BadValue, match="is not a list of days"):
        reminder_days(Site(reminder_days=written))


def test_however_many_visits_the_same_number_of_queries() -> None:
    site = make_site()
    counts = []
    for _ in range(2):
        visit(ahead=2, site=site)
        with CaptureQueriesContext(connection) as queries:
            reminders_to_write(site=site, now=NOW)
        counts.append(len(queries))
    assert counts == [3, 3]
