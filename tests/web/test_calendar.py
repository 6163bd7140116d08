"""The secret calendar addresses of a clinic, and what a subscriber sees."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from django.test import Client
from icalendar import Calendar

from followup.models import CalendarAddress, Site, Staff
from followup.services.booking import cancel_appointment, move_appointment
from tests.builders import (
    NOW,
    TODAY,
    days,
    make_appointment,
    make_operation,
    make_patient,
    make_session,
    make_site,
    make_staff,
)
from tests.web.stories import send, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]


@pytest.fixture
def client(harbour: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(role="administrator", site=harbour))


def make_address(client: Client, **part: str) -> str:
    """The path of a new address, as it is shown once."""
    page = text_of(send(client, "/calendars/", label="Ward screen", **part))
    found = re.search(r"http://testserver(/calendar/[\w-]+\.ics)", page)
    assert found is not None
    return found[1]


def events(path: str) -> list[dict[str, str]]:
    calendar = Calendar.from_ical(Client().get(path).content)
    return [{name: event[name].to_ical().decode() for name in event} for event in calendar.walk("VEVENT")]


def test_the_address_is_shown_once_and_only_its_hash_is_kept(client: Client) -> None:
    path = make_address(client)
    token = path.removeprefix("/calendar/").removesuffix(".ics")
    assert len(token) >= 43
    assert token not in text_of(client.get("/calendars/"))
    address = CalendarAddress.objects.get()
    assert token not in str(vars(address))


def test_an_appointment_is_told_in_utc_and_local_time_and_without_a_name(
    harbour: Site, client: Client
) -> None:
    Site.objects.update(time_zone="Africa/Cairo")
    patient = make_patient(site=harbour, family_name="Ashgrove", record_number="R-0042")
    site = Site.objects.get()
    place = make_appointment(patient=patient, session=make_session(site=site, day=days(7)), note="Oil out?")
    path = make_address(client)
    (event,) = events(path)
    assert event["SUMMARY"] == "Eye clinic visit"
    assert event["DTSTART"] == "20260309T070000Z"
    assert event["DESCRIPTION"].startswith(
        r"9 Mar 2026\, 09:00 local time at Harbour Eye Clinic (Africa/Cairo)."
    )
    assert (event["UID"], event["SEQUENCE"], event["STATUS"]) == (str(place.uid), "0", "CONFIRMED")
    content = Client().get(path).content.decode()
    for private in ("Ashgrove", "0042", "Oil", "RIGHT", "oil"):
        assert private not in content


def test_a_move_keeps_the_uid_and_raises_the_sequence(harbour: Site, client: Client) -> None:
    place = make_appointment(patient=make_patient(site=harbour), day=days(7))
    path = make_address(client)
    (before,) = events(path)
    later = make_session(site=harbour, day=days(14))
    move_appointment(by=None, now=NOW, today=TODAY, appointment=place, session=later)
    (after,) = events(path)
    assert after["UID"] == before["UID"]
    assert (before["SEQUENCE"], after["SEQUENCE"]) == ("0", "1")
    assert after["DTSTART"] == "20260316T090000Z"


def test_a_cancelled_place_stays_for_ninety_days_and_says_so(harbour: Site, client: Client) -> None:
    place = make_appointment(patient=make_patient(site=harbour), day=days(7))
    path = make_address(client)
    cancel_appointment(by=None, now=NOW, appointment=place, cancelled_by="clinic", reason="No surgeon")
    (event,) = events(path)
    assert (event["STATUS"], event["SUMMARY"]) == ("CANCELLED", "Cancelled: Eye clinic visit")
    place.refresh_from_db()
    place.changed_at = "2025-12-01T09:00:00Z"
    place.save()
    assert events(path) == []


def test_only_the_appointments_of_this_clinic_are_told(client: Client) -> None:
    make_appointment(patient=make_patient(site=make_site()), day=days(7))
    assert events(make_address(client)) == []


def test_an_address_for_one_kind_of_session_and_one_surgeon(harbour: Site, client: Client) -> None:
    surgeon = make_staff(role="surgeon", site=harbour, first_name="Ada", last_name="Reed")
    eye = make_operation(site=harbour, surgeon=surgeon).eye
    make_appointment(patient=eye.patient, day=days(7))
    theatre = make_appointment(eye=eye, session=make_session(site=harbour, day=days(9), kind="theatre"))
    make_appointment(site=harbour, session=make_session(site=harbour, day=days(10), kind="theatre"))
    path = make_address(client, session_kind="theatre", surgeon=f"staff:{surgeon.pk}")
    assert [event["UID"] for event in events(path)] == [str(theatre.uid)]
    assert "Theatre lists, Ada Reed" in text_of(client.get("/calendars/"))
    surgeon.first_name = "Beatrix"
    surgeon.save()
    assert len(events(path)) == 1
    assert "Theatre lists, Beatrix Reed" in text_of(client.get("/calendars/"))


def test_initials_are_shown_only_where_the_clinic_said_so(harbour: Site, client: Client) -> None:
    patient = make_patient(site=harbour, given_name="Amal", family_name="Ashgrove")
    make_appointment(patient=patient, day=days(7))
    path = make_address(client)
    assert events(path)[0]["SUMMARY"] == "Eye clinic visit"
    tag = Client().get(path).headers["ETag"]
    Site.objects.update(calendar_initials=True)
    answer = Client().get(path, headers={"If-None-Match": tag})
    assert answer.status_code == 200
    assert events(path)[0]["SUMMARY"] == r"Eye clinic visit\, A.A."
    assert b"Ashgrove" not in answer.content
    assert "person's initials" in text_of(client.get("/calendars/"))


def test_an_unchanged_calendar_is_not_sent_again(harbour: Site, client: Client) -> None:
    path = make_address(client)
    first = Client().get(path)
    assert first.headers["Content-Type"] == "text/calendar; charset=utf-8"
    again = Client().get(path, headers={"If-None-Match": first.headers["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    make_appointment(patient=make_patient(site=harbour), day=days(7))
    assert Client().get(path, headers={"If-None-Match": first.headers["ETag"]}).status_code == 200


def test_head_tells_what_get_would_send(client: Client) -> None:
    path = make_address(client)
    told, sent = Client().head(path), Client().get(path)
    assert (told.status_code, told.content) == (200, b"")
    assert told.headers["ETag"] == sent.headers["ETag"]
    assert Client().post(path).status_code == 405


def test_a_wrong_and_a_revoked_address_look_alike(client: Client) -> None:
    path = make_address(client)
    page = text_of(send(client, f"/calendars/{CalendarAddress.objects.get().pk}/revoke/"))
    assert "shows nothing from now on" in page
    revoked, wrong = Client().get(path), Client().get(f"/calendar/{'A' * 43}.ics")
    assert revoked.status_code == wrong.status_code == 404
    assert revoked.content == wrong.content
    guessed = Client().get("/calendar/morgan.ics")
    assert guessed.content == wrong.content
