"""A reminder on its way: the facts are read again, the night is kept, and what comes back is followed up."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from followup.domain.words import Channel
from followup.interchange.messages.reminder import compose_reminder
from followup.interchange.messages.send import Delivery, send_message, stable_key
from followup.models import Appointment, Change, ContactAttempt, OutboxMessage
from followup.queries.recall import Wanted, recall_list, recent_attempts
from followup.queries.reminders import reminders_to_write
from followup.services import outbox
from followup.services.booking import cancel_appointment, mark_arrived, move_appointment
from followup.services.consent import withdraw_consent
from followup.services.deaths import record_death
from followup.services.pathway import replan_eyes
from followup.services.reminders import queue_reminder
from tests.builders import (
    NOW,
    TODAY,
    days,
    make_appointment,
    make_consent,
    make_message,
    make_operation,
    make_patient,
    make_session,
    make_site,
    make_staff,
)
from tests.gateway import TextGateway
from tests.servers import MailServer

pytestmark = pytest.mark.django_db


def reminder_of(
    *, ahead: int = 2, channel: str = "email", **site: object
) -> tuple[Appointment, OutboxMessage]:
    """A visit so many days ahead at nine, and its reminder in the outbox."""
    patient = make_patient(site=make_site(**site), email="amal@home.example", phone="+20 2555 01")
    make_consent(patient=patient, channel=channel)
    place = make_appointment(patient=patient, day=days(ahead), changed_at=NOW - timedelta(days=90))
    (reminder,) = reminders_to_write(site=patient.site, now=NOW)
    assert reminder.channel is Channel(channel)
    subject, body = compose_reminder(reminder)
    return place, queue_reminder(reminder=reminder, now=NOW, subject=subject, body=body)


def send_next(now: datetime = NOW) -> Delivery:
    message = outbox.claim_next(now=now)
    assert message is not None
    return send_message(message=message, now=now)


def move(place: Appointment) -> None:
    session = make_session(site=place.patient.site, day=days(9))
    move_appointment(by=None, now=NOW, today=TODAY, appointment=place, session=session)


def cancel(place: Appointment) -> None:
    cancel_appointment(by=None, now=NOW, appointment=place, cancelled_by="clinic", reason="Ill")


def die(place: Appointment) -> None:
    by = make_staff(site=place.patient.site)
    record_death(by=by, now=NOW, today=TODAY, patient=place.patient, died_on=TODAY, source="The daughter")


def withdraw(place: Appointment) -> None:
    by = make_staff(site=place.patient.site)
    withdraw_consent(by=by, now=NOW, today=TODAY, patient=place.patient, channel="email")


def change_address(place: Appointment) -> None:
    place.patient.email = "new@home.example"
    place.patient.save()


def arrive(place: Appointment) -> None:
    mark_arrived(by=None, now=NOW, today=days(2), appointment=place)


CHANGES = [
    (move, "The visit was moved or changed since this was written."),
    (cancel, "The visit was cancelled."),
    (die, "The patient died, or is no longer on record."),
    (withdraw, "Consent was withdrawn."),
    (change_address, "The number or address was changed since this was written."),
    (arrive, "The visit was moved or changed since this was written."),
]


def test_a_reminder_reaches_the_person_once(mail_server: MailServer) -> None:
    _, message = reminder_of()
    assert send_next() is Delivery.SENT
    assert outbox.claim_next(now=NOW + timedelta(days=1)) is None
    (received,) = mail_server.received
    assert (received["To"], received["Subject"]) == ("amal@home.example", message.subject)
    assert "same-day care" in received.get_content()


@pytest.mark.usefixtures("pathways")
@pytest.mark.parametrize(("change", "reason"), CHANGES, ids=[change.__name__ for change, _ in CHANGES])
def test_what_changed_between_claim_and_sending_withholds_it_and_says_why(
    mail_server: MailServer, change, reason: str
) -> None:
    place, _ = reminder_of()
    claimed = outbox.claim_next(now=NOW)
    assert claimed is not None
    change(place)
    OutboxMessage.objects.filter(pk=claimed.pk).update(state="sending", lease_until=claimed.lease_until)
    assert send_message(message=claimed, now=NOW) is Delivery.WITHHELD
    claimed.refresh_from_db()
    assert (claimed.state, claimed.problem) == ("withheld", reason)
    assert mail_server.received == []


@pytest.mark.usefixtures("pathways")
@pytest.mark.parametrize("change", [die, withdraw])
def test_a_death_and_a_withdrawal_stop_what_waits_at_once(mail_server: MailServer, change) -> None:
    place, message = reminder_of()
    change(place)
    assert outbox.claim_next(now=NOW) is None
    message.refresh_from_db()
    assert message.state == "withheld"


@pytest.mark.parametrize(
    ("now", "delivery", "reason"),
    [
        ("2026-03-03T20:59Z", Delivery.SENT, ""),
        ("2026-03-03T21:01Z", Delivery.WITHHELD, "Less than 12 hours were left before the visit."),
        ("2026-03-04T09:00Z", Delivery.WITHHELD, "The visit of 4 Mar 2026 is past."),
        ("2026-03-09T09:00Z", Delivery.WITHHELD, "The visit of 4 Mar 2026 is past."),
    ],
)
def test_after_a_stop_only_what_is_still_of_use_goes_out(
    mail_server: MailServer, now: str, delivery: Delivery, reason: str
) -> None:
    _, message = reminder_of(quiet_from_hour=0, quiet_until_hour=0)
    assert send_next(datetime.fromisoformat(now)) is delivery
    message.refresh_from_db()
    assert message.problem == reason


def test_a_message_put_off_into_the_night_waits_for_the_morning(mail_server: MailServer) -> None:
    _, message = reminder_of()
    evening = NOW.replace(hour=20, minute=30)
    assert send_next(evening) is Delivery.HELD
    message.refresh_from_db()
    assert (message.state, message.attempts) == ("due", 0)
    assert message.due_at == datetime.fromisoformat("2026-03-03T08:00Z")
    assert send_next(message.due_at) is Delivery.SENT


def test_the_quiet_hours_are_the_person_s_and_not_the_staff_s(mail_server: MailServer) -> None:
    site = make_site(digest_email="list@clinic.example")
    make_message(site=site, key=f"digest/{site.pk}/2026-03-02/list@clinic.example")
    assert send_next(NOW.replace(hour=23)) is Delivery.SENT


def test_a_text_message_goes_to_the_gateway_with_a_key_that_tells_nothing(gateway: TextGateway) -> None:
    place, message = reminder_of(channel="text")
    assert send_next() is Delivery.SENT
    assert gateway.texts == {stable_key(message): ("+20255501", message.body)}
    assert str(place.uid) not in stable_key(message)


def test_a_text_tried_again_has_the_same_key(gateway: TextGateway) -> None:
    reminder_of(channel="text")
    gateway.answer = 503
    assert send_next() is Delivery.SERVER_AWAY
    gateway.answer = 0
    assert send_next(NOW + timedelta(minutes=2)) is Delivery.SENT
    assert len({headers["Idempotency-Key"] for headers in gateway.requests}) == 1


@pytest.mark.parametrize("channel", ["email", "text"])
def test_what_is_refused_for_good_is_kept_as_a_returned_attempt(
    mail_server: MailServer, gateway: TextGateway, channel: str
) -> None:
    gateway.answer = 422
    mail_server.refuse = {"amal@home.example"}
    place, message = reminder_of(channel=channel)
    assert send_next() is Delivery.FAILED
    attempt = ContactAttempt.objects.get()
    assert (attempt.patient, attempt.made_by, attempt.day) == (place.patient, None, TODAY)
    assert (attempt.channel, attempt.result, attempt.number_used) == (channel, "returned", message.to)
    assert attempt.next_step_on == days(1)
    assert attempt.note.startswith("Not delivered. ")
    change = Change.objects.get()
    assert (change.verb, change.by) == ("record_attempt", None)


def test_a_digest_refused_for_good_makes_no_attempt(mail_server: MailServer) -> None:
    mail_server.refuse = {"list@clinic.example"}
    site = make_site(digest_email="list@clinic.example")
    make_message(site=site, key=f"digest/{site.pk}/2026-03-02/list@clinic.example")
    assert send_next() is Delivery.FAILED
    assert not ContactAttempt.objects.exists()


def test_after_the_last_pause_a_message_counts_as_returned(mail_server: MailServer) -> None:
    _, message = reminder_of(ahead=7, quiet_from_hour=0, quiet_until_hour=0)
    mail_server.busy = True
    now = NOW
    while message.state == "due":
        send_next(now)
        message.refresh_from_db()
        now = message.due_at
    assert (message.state, message.attempts) == ("failed", len(outbox.PAUSES) + 1)
    assert ContactAttempt.objects.get().result == "returned"


@pytest.mark.usefixtures("pathways")
def test_who_was_not_reached_comes_back_to_the_recall_list_the_next_day(mail_server: MailServer) -> None:
    mail_server.refuse = {"amal@home.example"}
    place, _ = reminder_of()
    operation = make_operation(eye=place.patient.eyes.create(side="right"))
    replan_eyes(eye_ids=[operation.eye_id])
    send_next()
    site = place.patient.site
    assert recent_attempts(site)[place.patient_id][0].result == "returned"
    due = recall_list(site=site, day=days(1), wanted=Wanted(call_due=True))
    assert [row.patient for row in due] == [place.patient]
