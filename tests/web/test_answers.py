"""Answers to invitations, fed in from a file or a mail, and the list of those who cannot come."""

from __future__ import annotations

from collections.abc import Callable
from email.message import EmailMessage

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client

from followup.models import Appointment, Site, Staff
from tests.builders import days, make_appointment, make_patient, make_site, make_staff
from tests.web.stories import send, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("at_nine")]
ADDRESS = "amal@home.example"


@pytest.fixture
def client(harbour: Site, enter: Callable[[Staff], Client]) -> Client:
    return enter(make_staff(role="coordinator", site=harbour))


@pytest.fixture
def place(harbour: Site) -> Appointment:
    patient = make_patient(site=harbour, email=ADDRESS, family_name="Ashgrove", given_name="Amal")
    return make_appointment(patient=patient, day=days(7))


def reply(place: Appointment, answer: str = "DECLINED", sequence: int = 0, by: str = ADDRESS) -> bytes:
    lines = (
        *("BEGIN:VCALENDAR", "VERSION:2.0", "METHOD:REPLY", "BEGIN:VEVENT"),
        *(f"UID:{place.uid}", f"SEQUENCE:{sequence}", "DTSTAMP:20260302T080000Z"),
        *(f"ATTENDEE;PARTSTAT={answer}:mailto:{by}", "END:VEVENT", "END:VCALENDAR", ""),
    )
    return "\r\n".join(lines).encode()


def mailed(content: bytes) -> bytes:
    """The same as a mail program sends it: text, and the calendar beside it."""
    mail = EmailMessage()
    mail["From"], mail["Subject"] = ADDRESS, "Declined: Eye clinic visit"
    mail.set_content("Amal has declined.")
    mail.add_alternative(content.decode(), subtype="calendar", params={"method": "REPLY"}, cte="base64")
    return mail.as_bytes()


def feed(client: Client, content: bytes) -> str:
    return text_of(send(client, "/answers/", file=SimpleUploadedFile("reply.eml", content)))


@pytest.mark.parametrize("as_sent", [bytes, mailed], ids=["the file in the mail", "the whole mail"])
def test_who_cannot_come_is_listed_with_what_can_be_done(
    client: Client, place: Appointment, as_sent: Callable[[bytes], bytes]
) -> None:
    page = feed(client, as_sent(reply(place)))
    assert f"{place.patient}, 9 Mar 2026, 09:00: Cannot come." in page
    assert "1 booked person who answered that they cannot come" in page
    assert f"/appointments/{place.pk}/move/" in page
    place.refresh_from_db()
    assert (place.state, place.reply) == ("booked", "declined")
    home = text_of(client.get("/"))
    assert "1 booked person who answered that they cannot come" in home
    assert "This was known already." in feed(client, as_sent(reply(place)))


def test_who_accepts_is_not_listed(client: Client, place: Appointment) -> None:
    assert "Nobody who is booked answered" in feed(client, reply(place, "ACCEPTED"))
    place.refresh_from_db()
    assert place.reply == "accepted"
    assert "Answered: Will come" in text_of(client.get(f"/sessions/{place.session_id}/"))
    Appointment.objects.update(sequence=1)
    assert "Answered" not in text_of(client.get(f"/sessions/{place.session_id}/"))


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"<html>", "where an iCalendar file has BEGIN:VCALENDAR"),
        (b"From: a@home.example\r\n\r\nHello", "This mail carries no calendar"),
        (b"", "The submitted file is empty."),
    ],
)
def test_what_is_no_answer_is_told_beside_the_box(client: Client, content: bytes, told: str) -> None:
    assert told in feed(client, content)


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"sequence": 1}, "which was never sent"),
        ({"by": "other@home.example"}, "who was not invited"),
        ({"answer": "MAYBE"}, 'PARTSTAT is "MAYBE"'),
    ],
)
def test_a_wrong_answer_changes_nothing(client: Client, place: Appointment, changes: dict, told: str) -> None:
    assert told in feed(client, reply(place, **changes))
    assert Appointment.objects.get().reply == ""


def test_an_answer_to_another_clinic_is_as_unknown_as_any(client: Client) -> None:
    place = make_appointment(patient=make_patient(site=make_site(), email=ADDRESS), day=days(7))
    assert "is the UID of no appointment here" in feed(client, reply(place))
    place.refresh_from_db()
    assert place.reply == ""
