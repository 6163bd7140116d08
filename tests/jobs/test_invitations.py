"""Invitations on their way: through the night's work, the outbox and a real mail server to the person."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from email.message import EmailMessage

import pytest
import time_machine
from django.conf import LazySettings
from icalendar import Calendar

from followup.interchange.feeds.invitation import invitation
from followup.interchange.messages.send import Delivery, send_message
from followup.jobs import night
from followup.models import Appointment, OutboxMessage, Site, Staff
from followup.queries.invitations import invitations_to_write
from followup.services import outbox
from followup.services.booking import book_appointment, cancel_appointment, mark_arrived, move_appointment
from followup.services.cancel_session import cancel_session
from followup.services.consent import withdraw_consent
from followup.services.deaths import record_death
from followup.services.people import change_patient
from tests.builders import (
    NOW,
    TODAY,
    days,
    make_appointment,
    make_consent,
    make_patient,
    make_session,
    make_site,
    make_staff,
)
from tests.servers import MailServer

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("pathways")]
ADDRESS = "amal@home.example"


@pytest.fixture(autouse=True)
def nine() -> Iterator[time_machine.Coordinates]:
    with time_machine.travel(NOW, tick=False) as clock:
        yield clock


@pytest.fixture(autouse=True)
def sender(settings: LazySettings) -> None:
    settings.DEFAULT_FROM_EMAIL = "Harbour Eye Clinic <booking@clinic.example>"


@pytest.fixture
def site() -> Site:
    return make_site(name="Harbour Eye Clinic", reminder_days="", sends_invitations=True, phone="555 0100")


@pytest.fixture
def by(site: Site) -> Staff:
    return make_staff(site=site)


@pytest.fixture
def place(site: Site) -> Appointment:
    """A visit in a week of somebody who agreed to e-mail."""
    patient = make_patient(site=site, email=ADDRESS, family_name="Ashgrove", record_number="R-0042")
    make_consent(patient=patient)
    session = make_session(site=site, day=days(7), title="Silicone oil clinic")
    return book_appointment(by=None, now=NOW, today=TODAY, patient=patient, session=session, lane="review")


def move(place: Appointment, day: int = 9) -> Appointment:
    session = make_session(site=place.patient.site, day=days(day))
    return move_appointment(by=None, now=NOW, today=TODAY, appointment=place, session=session)


def cancel(place: Appointment) -> None:
    cancel_appointment(by=None, now=NOW, appointment=place, cancelled_by="clinic", reason="Ill")


def calendar_part(mail: EmailMessage) -> EmailMessage:
    (part,) = [part for part in mail.walk() if part.get_content_type() == "text/calendar"]
    return part


def told(mail: EmailMessage) -> tuple[str, int, str]:
    """What a mail's calendar says: METHOD, SEQUENCE and the start."""
    calendar = Calendar.from_ical(calendar_part(mail).get_payload(decode=True))
    (event,) = calendar.walk("VEVENT")
    return str(calendar["METHOD"]), event["SEQUENCE"], event["DTSTART"].to_ical().decode()


def test_booked_moved_and_cancelled(place: Appointment, mail_server: MailServer) -> None:
    night.run_night()
    night.run_night()
    place = move(place)
    night.run_night()
    cancel(place)
    night.run_night()
    night.run_night()
    assert [told(mail) for mail in mail_server.received] == [
        ("REQUEST", 0, "20260309T090000Z"),
        ("REQUEST", 1, "20260311T090000Z"),
        ("CANCEL", 2, "20260311T090000Z"),
    ]
    assert [mail["Subject"] for mail in mail_server.received] == [
        "Your visit at Harbour Eye Clinic on Monday 9 March 2026",
        "Changed: your visit at Harbour Eye Clinic is on Wednesday 11 March 2026",
        "Cancelled: your visit at Harbour Eye Clinic on Wednesday 11 March 2026",
    ]
    assert {mail["To"] for mail in mail_server.received} == {ADDRESS}
    assert len({mail["Message-ID"] for mail in mail_server.received}) == 3


@pytest.mark.parametrize("language", ["en", "ar"])
def test_the_mail_is_what_calendars_take(place: Appointment, mail_server: MailServer, language: str) -> None:
    """RFC 6047, 2.4: the part's method is the calendar's. RFC 5546, 3.2.2: organizer, attendee, RSVP."""
    place.patient.language = language
    place.patient.save()
    night.run_night()
    (mail,) = mail_server.received
    assert mail.get_content_type() == "multipart/alternative"
    assert [part.get_content_type() for part in mail.iter_parts()] == ["text/plain", "text/calendar"]
    part = calendar_part(mail)
    assert part.get_param("method") == "REQUEST"
    assert part.get_content_charset() == "utf-8"
    place.refresh_from_db()
    content = part.get_payload(decode=True)
    assert content == invitation(place, organizer="booking@clinic.example").content
    assert content.startswith(b"BEGIN:VCALENDAR\r\n")
    (event,) = Calendar.from_ical(content).walk("VEVENT")
    assert mail["From"] == "Harbour Eye Clinic <booking@clinic.example>"
    assert event["ORGANIZER"] == "mailto:booking@clinic.example"
    assert event["ATTENDEE"] == f"mailto:{ADDRESS}"
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"


def test_it_tells_nothing_of_the_eye_or_the_illness(place: Appointment, mail_server: MailServer) -> None:
    night.run_night()
    cancel(place)
    night.run_night()
    for mail in mail_server.received:
        texts = [str(mail["Subject"]), *(part.get_content() for part in mail.iter_parts())]
        for private in ("Ashgrove", "0042", "oil", "Silicone", "RIGHT", "LEFT", "review", "Ill", "retina"):
            assert private not in " ".join(texts).replace(place.session.site.name, "")


@pytest.mark.parametrize(
    ("site_says", "person", "consent"),
    [
        ({"sends_invitations": False}, {}, {}),
        ({}, {"email": ""}, {}),
        ({}, {}, {"withdrawn_on": TODAY}),
        ({}, {}, {"channel": "text"}),
        ({}, {"died_on": TODAY}, {}),
    ],
    ids=["clinic sends none", "no address", "withdrew", "agreed to texts alone", "died"],
)
def test_who_is_not_invited(
    place: Appointment, site_says: dict, person: dict, consent: dict, mail_server: MailServer
) -> None:
    patient = place.patient
    Site.objects.filter(pk=patient.site_id).update(**site_says)
    type(patient).objects.filter(pk=patient.pk).update(**person)
    patient.consents.update(**consent)
    night.run_night()
    assert not OutboxMessage.objects.exists()


def test_nobody_is_invited_to_what_is_past_or_has_an_outcome(site: Site, mail_server: MailServer) -> None:
    for day, state in ((-1, "booked"), (0, "arrived"), (-7, "noshow")):
        place = make_appointment(patient=make_patient(site=site, email=ADDRESS), day=days(day), state=state)
        make_consent(patient=place.patient)
    night.run_night()
    assert not OutboxMessage.objects.exists()


def test_moved_twice_in_the_night_it_is_told_once_in_the_morning(
    place: Appointment, mail_server: MailServer, nine: time_machine.Coordinates
) -> None:
    nine.move_to(NOW.replace(hour=21))
    night.run_night()
    place = move(place)
    night.run_night()
    move(place, 12)
    night.run_night()
    assert mail_server.received == []
    nine.move_to(datetime.fromisoformat("2026-03-03T08:00Z"))
    night.run_night()
    assert [told(mail) for mail in mail_server.received] == [("REQUEST", 2, "20260314T090000Z")]
    assert mail_server.received[0]["Subject"].startswith("Your visit")


def test_what_was_never_told_needs_no_cancellation(
    place: Appointment, mail_server: MailServer, nine: time_machine.Coordinates
) -> None:
    nine.move_to(NOW.replace(hour=21))
    night.run_night()
    cancel(place)
    nine.move_to(NOW + timedelta(days=1))
    night.run_night()
    night.run_night()
    assert mail_server.received == []
    assert OutboxMessage.objects.get().problem == "The visit was moved or changed since this was written."


def test_a_cancelled_session_tells_everybody_in_it(
    place: Appointment, site: Site, mail_server: MailServer
) -> None:
    night.run_night()
    cancel_session(by=None, now=NOW, session=place.session, reason="No surgeon")
    night.run_night()
    assert told(mail_server.received[-1])[:2] == ("CANCEL", 1)


def die(place: Appointment, by: Staff) -> None:
    record_death(by=by, now=NOW, today=TODAY, patient=place.patient, died_on=TODAY, source="The daughter")


def withdraw(place: Appointment, by: Staff) -> None:
    withdraw_consent(by=by, now=NOW, today=TODAY, patient=place.patient, channel="email")


def change_address(place: Appointment, by: Staff) -> None:
    change_patient(by=by, now=NOW, patient=place.patient, email="new@home.example")


def arrive(place: Appointment, by: Staff) -> None:
    mark_arrived(by=by, now=NOW, today=days(7), appointment=place)


def stop_inviting(place: Appointment, by: Staff) -> None:
    Site.objects.update(sends_invitations=False)


def move_it(place: Appointment, by: Staff) -> None:
    move(place)


CHANGES = [
    (move_it, "The visit was moved or changed since this was written."),
    (arrive, "The visit was moved or changed since this was written."),
    (die, "The patient died, or is no longer on record."),
    (withdraw, "Consent was withdrawn."),
    (change_address, "The number or address was changed since this was written."),
    (stop_inviting, "The clinic sends no invitations any more."),
]


@pytest.mark.parametrize(("change", "reason"), CHANGES, ids=[change.__name__ for change, _ in CHANGES])
def test_the_facts_are_read_again_between_claim_and_sending(
    place: Appointment,
    site: Site,
    by: Staff,
    mail_server: MailServer,
    change: Callable[[Appointment, Staff], None],
    reason: str,
) -> None:
    night.write_invitations(site, NOW)
    claimed = outbox.claim_next(now=NOW)
    assert claimed is not None
    change(place, by)
    OutboxMessage.objects.filter(pk=claimed.pk).update(state="sending", lease_until=claimed.lease_until)
    assert send_message(message=claimed, now=NOW) is Delivery.WITHHELD
    claimed.refresh_from_db()
    assert (claimed.problem, mail_server.received) == (reason, [])


def test_a_new_address_is_invited_in_place_of_one_that_was_not_told(
    place: Appointment, site: Site, by: Staff, mail_server: MailServer
) -> None:
    night.write_invitations(site, NOW)
    change_address(place, by)
    night.run_night()
    assert [mail["To"] for mail in mail_server.received] == ["new@home.example"]
    night.run_night()
    assert len(mail_server.received) == 1


def test_a_server_that_is_away_keeps_it_waiting_with_the_same_message_id(
    place: Appointment, mail_server: MailServer, nine: time_machine.Coordinates
) -> None:
    mail_server.drop_after = 1
    night.run_night()
    place.refresh_from_db()
    assert place.invited_sequence is None
    nine.shift(timedelta(hours=1))
    night.run_night()
    place.refresh_from_db()
    assert place.invited_sequence == 0
    assert len({mail["Message-ID"] for mail in mail_server.received}) == 1


def test_an_address_refused_for_good_is_not_told_of_a_cancellation(
    place: Appointment, mail_server: MailServer
) -> None:
    mail_server.refuse = {ADDRESS}
    night.run_night()
    mail_server.refuse = set()
    cancel(place)
    night.run_night()
    assert mail_server.received == []


def test_however_many_there_are_the_queries_are_as_many(
    place: Appointment, site: Site, django_assert_num_queries
) -> None:
    for number in range(5):
        patient = make_patient(site=site, email=f"p{number}@home.example")
        make_consent(patient=patient)
        make_appointment(patient=patient, day=days(7 + number))
    with django_assert_num_queries(2):
        assert len(invitations_to_write(site=site, now=NOW)) == 6
