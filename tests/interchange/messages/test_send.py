"""Messages over a real SMTP server: sent once, put off, refused, or withheld because the facts changed."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.conf import LazySettings

from followup.interchange.messages.send import Delivery, message_id, send_message
from followup.models import OutboxMessage
from followup.services import outbox
from tests.builders import NOW, days, make_message, make_patient, make_site
from tests.servers import MailServer, free_port

pytestmark = pytest.mark.django_db

LATER = NOW + timedelta(hours=1)


def note(**fields: object) -> OutboxMessage:
    return make_message(**{"kind": "note"} | fields)


def send_next(now=NOW) -> Delivery:
    message = outbox.claim_next(now=now)
    assert message is not None
    return send_message(message=message, now=now)


def test_a_message_arrives_with_its_own_message_id(mail_server: MailServer, settings: LazySettings) -> None:
    settings.DEFAULT_FROM_EMAIL = "Eye clinic <list@clinic.example>"
    message = note(to="ward@clinic.example", subject="Overdue: 3 – look", body="Größe\n")
    assert send_next() is Delivery.SENT
    (received,) = mail_server.received
    assert received["Message-ID"] == message_id(message)
    assert received["Message-ID"].endswith("@clinic.example>")
    assert (received["To"], received["Subject"]) == ("ward@clinic.example", "Overdue: 3 – look")
    assert received["Auto-Submitted"] == "auto-generated"
    assert "List-Unsubscribe" not in received
    assert received.get_content().splitlines() == ["Größe"]
    message.refresh_from_db()
    assert (message.state, message.sent_at) == ("sent", NOW)


def test_a_busy_server_puts_the_message_off_and_the_next_attempt_has_the_same_message_id(
    mail_server: MailServer,
) -> None:
    message = note()
    mail_server.busy = True
    assert send_next() is Delivery.PUT_OFF
    message.refresh_from_db()
    assert (message.state, message.due_at) == ("due", NOW + timedelta(minutes=1))
    assert "451" in message.problem
    mail_server.busy = False
    assert send_next(LATER) is Delivery.SENT
    assert [received["Message-ID"] for received in mail_server.received] == [message_id(message)]


def test_a_refused_address_fails_at_once_and_the_next_message_goes_out(mail_server: MailServer) -> None:
    mail_server.refuse = {"gone@clinic.example"}
    refused = note(to="gone@clinic.example")
    note(to="here@clinic.example")
    assert [send_next(), send_next()] == [Delivery.FAILED, Delivery.SENT]
    refused.refresh_from_db()
    assert (refused.state, "No such mailbox" in refused.problem) == ("failed", True)


def test_a_server_that_does_not_answer_puts_the_message_off(
    mail_server: MailServer, settings: LazySettings
) -> None:
    settings.EMAIL_PORT = free_port()
    message = note()
    assert send_next() is Delivery.SERVER_AWAY
    message.refresh_from_db()
    assert (message.state, message.attempts) == ("due", 1)


def test_a_server_that_hangs_is_given_up_after_the_time_out(
    mail_server: MailServer, settings: LazySettings
) -> None:
    settings.EMAIL_TIMEOUT = 0.3
    mail_server.hang_seconds = 2
    note()
    assert send_next() is Delivery.SERVER_AWAY


def test_a_line_break_in_a_subject_cannot_add_a_header(mail_server: MailServer) -> None:
    message = note(subject="Hello\nBcc: everybody@clinic.example")
    assert send_next() is Delivery.FAILED
    message.refresh_from_db()
    assert message.state == "failed"
    assert mail_server.received == []


def test_nothing_is_sent_to_a_person_who_died_after_the_message_was_written(mail_server: MailServer) -> None:
    patient = make_patient()
    message = note(key=outbox.patient_key(patient, "visit", 1), site=patient.site)
    patient.died_on = days(-1)
    patient.save()
    assert send_next() is Delivery.WITHHELD
    message.refresh_from_db()
    assert (message.state, message.problem) == ("withheld", "The patient died, or is no longer on record.")
    assert mail_server.received == []


@pytest.mark.parametrize(
    ("day", "address", "delivery"),
    [
        ("2026-03-02", "list@clinic.example", Delivery.SENT),
        ("2026-03-01", "list@clinic.example", Delivery.WITHHELD),
        ("2026-03-02", "left@clinic.example", Delivery.WITHHELD),
    ],
    ids=["of today", "of yesterday", "to somebody taken off the list"],
)
def test_a_digest_goes_out_on_its_day_to_those_still_on_the_list(
    mail_server: MailServer, day: str, address: str, delivery: Delivery
) -> None:
    site = make_site(digest_email="list@clinic.example")
    make_message(site=site, key=f"digest/{site.pk}/{day}/{address}", to=address)
    assert send_next() is delivery
    assert len(mail_server.received) == (delivery is Delivery.SENT)


def test_two_messages_have_different_message_ids() -> None:
    assert message_id(note()) != message_id(note())
