"""Invitations byte for byte, and as two other readers of calendars understand them."""

from __future__ import annotations

from datetime import UTC, date, datetime
from uuid import UUID

import pytest
import vobject
from django.utils import translation
from icalendar import Calendar

from followup.domain.errors import Refused
from followup.interchange.feeds.invitation import invitation
from followup.interchange.feeds.read import read_calendar
from followup.models import Appointment, Patient, Site
from followup.services.booking import cancel_appointment, move_appointment
from tests.builders import TODAY, make_appointment, make_patient, make_session, make_site
from tests.interchange.feeds.calendars import CAIRO, FILES

pytestmark = pytest.mark.django_db
ORGANIZER = "booking@clinic.example"


@pytest.fixture
def site() -> Site:
    return make_site(name="Harbour Eye Clinic, second floor", time_zone=CAIRO, phone="+20 2 5550 100")


@pytest.fixture
def patient(site: Site) -> Patient:
    return make_patient(site=site, email="person@home.example", record_number="R1")


@pytest.fixture
def appointment(site: Site, patient: Patient) -> Appointment:
    session = make_session(site=site, day=date(2026, 6, 10))
    return make_appointment(
        patient=patient, session=session, uid=UUID("0d4f8c1e-5a55-4a3e-9c54-2d9f7ef0a001")
    )


def moved(appointment: Appointment) -> Appointment:
    later = make_session(site=appointment.session.site, day=date(2026, 12, 9))
    now = datetime(2026, 3, 3, 9, 0, tzinfo=UTC)
    return move_appointment(by=None, now=now, today=TODAY, appointment=appointment, session=later)


def cancelled(appointment: Appointment) -> Appointment:
    now = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)
    return cancel_appointment(by=None, now=now, appointment=appointment, cancelled_by="clinic", reason="Ill")


def event_of(content: bytes) -> dict[str, str]:
    (found,) = Calendar.from_ical(content).walk("VEVENT")
    return {name: found[name].to_ical().decode() for name in found}


def test_request_update_and_cancellation_byte_for_byte(appointment: Appointment) -> None:
    request = invitation(appointment, organizer=ORGANIZER).content
    appointment = moved(appointment)
    update = invitation(appointment, organizer=ORGANIZER).content
    cancel = invitation(cancelled(appointment), organizer=ORGANIZER).content
    for name, content in (("request", request), ("update", update), ("cancel", cancel)):
        assert content == (FILES / "written" / f"invitation_{name}.ics").read_bytes()


def test_one_uid_and_a_rising_sequence(appointment: Appointment) -> None:
    request = invitation(appointment, organizer=ORGANIZER)
    appointment = moved(appointment)
    update = invitation(appointment, organizer=ORGANIZER)
    cancel = invitation(cancelled(appointment), organizer=ORGANIZER)
    events = [event_of(sent.content) for sent in (request, update, cancel)]
    assert [sent.method for sent in (request, update, cancel)] == ["REQUEST", "REQUEST", "CANCEL"]
    assert len({event["UID"] for event in events}) == 1
    assert [int(event["SEQUENCE"]) for event in events] == [0, 1, 2]
    # 9:00 in Cairo is 6:00 UTC in summer and 7:00 in winter.
    assert [event["DTSTART"] for event in events] == ["20260610T060000Z", *2 * ["20261209T070000Z"]]


def test_it_says_nothing_of_the_eye_or_the_person(appointment: Appointment) -> None:
    text = invitation(appointment, organizer=ORGANIZER).content.decode()
    for told in (appointment.patient.family_name, "R1", "retina", "oil", "RIGHT", "LEFT", "review"):
        assert told not in text


def test_the_method_stands_once_and_at_calendar_level(appointment: Appointment) -> None:
    lines = invitation(appointment, organizer=ORGANIZER).content.decode().split("\r\n")
    assert [line for line in lines if line.startswith("METHOD")] == ["METHOD:REQUEST"]
    assert lines.index("METHOD:REQUEST") < lines.index("BEGIN:VEVENT")


def test_lines_end_as_they_must_and_are_folded_by_octets(site: Site, patient: Patient) -> None:
    site.name = "عيادة الشبكية والجسم الزجاجي، الطابق الثاني، غرفة الانتظار رقم ٣؛ المدخل الشرقي"
    site.save()
    made = make_appointment(patient=patient, session=make_session(site=site))
    content = invitation(made, organizer=ORGANIZER).content
    physical = content.split(b"\r\n")
    assert b"\n" not in content.replace(b"\r\n", b"")
    assert max(len(line) for line in physical) <= 75
    assert all(line.decode() is not None for line in physical)
    assert event_of(content)["LOCATION"] == site.name


def test_a_reader_of_another_make_understands_it(appointment: Appointment) -> None:
    found = vobject.readOne(invitation(appointment, organizer=ORGANIZER).content.decode())
    event = found.vevent
    assert found.method.value == "REQUEST"
    assert event.dtstart.value == datetime(2026, 6, 10, 6, 0, tzinfo=UTC)
    assert event.dtend.value == datetime(2026, 6, 10, 6, 20, tzinfo=UTC)
    assert event.summary.value == "Eye clinic visit"
    assert event.location.value == "Harbour Eye Clinic, second floor"
    assert event.description.value == (
        "10 Jun 2026, 09:00 local time at Harbour Eye Clinic, second floor.\n"
        "Clinic telephone: +20 2 5550 100."
    )
    assert event.organizer.value == "mailto:booking@clinic.example"
    assert event.attendee.value == "mailto:person@home.example"
    assert event.attendee.params == {
        "CUTYPE": ["INDIVIDUAL"],
        "PARTSTAT": ["NEEDS-ACTION"],
        "ROLE": ["REQ-PARTICIPANT"],
        "RSVP": ["TRUE"],
    }


def test_our_own_reader_takes_it_without_a_word(appointment: Appointment) -> None:
    content = invitation(cancelled(appointment), organizer=ORGANIZER).content
    found = read_calendar(content, site_zone="UTC")
    (entry,) = found.entries
    assert (found.method, found.problems, entry.notes, entry.cancelled) == ("CANCEL", (), (), True)


def test_it_speaks_the_language_of_the_person(appointment: Appointment) -> None:
    appointment.patient.language = "ar"
    event = event_of(invitation(appointment, organizer=ORGANIZER).content)
    assert event["SUMMARY"] == "موعد في عيادة العيون"
    assert event["DESCRIPTION"].startswith("10 يونيو 2026")
    assert translation.get_language() != "ar"


@pytest.mark.parametrize(
    ("fields", "email_address", "message"),
    [
        (
            {"state": "fulfilled"},
            "a@home.example",
            'This place on 10 Jun 2026 is "attended": nobody is invited.',
        ),
        ({}, "", "has no mail address on record."),
    ],
)
def test_who_is_not_invited(
    appointment: Appointment, fields: dict[str, str], email_address: str, message: str
) -> None:
    for name, value in fields.items():
        setattr(appointment, name, value)
    appointment.patient.email = email_address
    with pytest.raises(Refused) as fault:
        invitation(appointment, organizer=ORGANIZER)
    assert fault.value.message.endswith(message)
