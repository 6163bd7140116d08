"""A message is written once, claimed by one sender, and comes back when its sender was killed."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest
from django.db import transaction

from followup.models import OutboxMessage, Site
from followup.services import outbox
from tests.at_once import at_once
from tests.builders import NOW, make_message, make_patient, make_site

pytestmark = pytest.mark.django_db


def queue(key: str, site: Site, due_at: datetime = NOW) -> OutboxMessage:
    return outbox.queue_message(
        key=key, site=site, kind="note", to="a@clinic.example", subject="S", body="B", due_at=due_at
    )


def minutes(count: float) -> datetime:
    return NOW + timedelta(minutes=count)


def claimed(now: datetime = NOW) -> OutboxMessage:
    message = outbox.claim_next(now=now)
    assert message is not None
    return message


def test_a_message_asked_for_twice_is_one_message() -> None:
    site = make_site()
    assert queue("digest/1", site).pk == queue("digest/1", site).pk
    assert OutboxMessage.objects.count() == 1


def test_a_message_of_an_action_that_was_rolled_back_is_never_sent() -> None:
    site = make_site()
    with transaction.atomic():
        queue("digest/1", site)
        transaction.set_rollback(True)
    assert outbox.claim_next(now=NOW) is None


def test_nothing_is_claimed_before_it_is_due_and_the_longest_due_comes_first() -> None:
    site = make_site()
    for key, due in [("third", 20), ("first", 5), ("second", 10)]:
        queue(key, site, minutes(due))
    assert outbox.claim_next(now=minutes(4)) is None
    assert [claimed(minutes(15)).key, claimed(minutes(15)).key] == ["first", "second"]
    assert outbox.claim_next(now=minutes(15)) is None


def test_a_claimed_message_comes_back_when_its_lease_has_run_out() -> None:
    make_message()
    lost = claimed()
    assert outbox.claim_next(now=minutes(9)) is None
    taken_over = claimed(minutes(10))
    assert (taken_over.pk, taken_over.attempts) == (lost.pk, 2)


def test_a_sender_that_lost_its_lease_changes_nothing_any_more() -> None:
    make_message()
    lost, taken_over = claimed(), claimed(minutes(10))
    assert not outbox.mark_sent(message=lost, now=minutes(11))
    assert not outbox.put_off_message(message=lost, now=minutes(11), problem="late")
    assert outbox.mark_sent(message=taken_over, now=minutes(11))
    taken_over.refresh_from_db()
    assert (taken_over.state, taken_over.sent_at, taken_over.problem) == ("sent", minutes(11), "")


def test_pauses_grow_until_the_message_has_failed() -> None:
    make_message()
    now, pauses = NOW, []
    while (message := outbox.claim_next(now=now)) is not None:
        outbox.put_off_message(message=message, now=now, problem="The server is away.")
        message.refresh_from_db()
        if message.state == "due":
            pauses.append((message.due_at - now) / timedelta(minutes=1))
            now = message.due_at
    assert pauses == [1, 5, 15, 60, 180, 360]
    failed = OutboxMessage.objects.get()
    assert (failed.state, failed.attempts, failed.problem) == ("failed", 7, "The server is away.")


def test_a_sent_message_is_never_claimed_again() -> None:
    make_message()
    outbox.mark_sent(message=claimed(), now=NOW)
    assert outbox.claim_next(now=minutes(60 * 24 * 365)) is None


def test_messages_to_one_person_are_stopped_and_no_others() -> None:
    site = make_site()
    patients = [make_patient(site=site) for _ in range(12)]
    for patient in patients:
        queue(outbox.patient_key(patient, "visit", 1), site)
    stopped = outbox.withhold_messages_to(patient=patients[0], reason="Died.")
    assert stopped == 1
    withheld = OutboxMessage.objects.get(state="withheld")
    assert outbox.patient_of_key(withheld.key) == patients[0].pk
    assert outbox.patient_of_key(queue("digest/4/2026-03-02/a", site).key) is None


@pytest.mark.django_db(transaction=True)
def test_eight_senders_at_once_claim_each_message_once() -> None:
    site = make_site()
    wanted = {queue(f"message {number}", site).pk for number in range(40)}

    def claim_all() -> list[int]:
        mine = []
        while (message := outbox.claim_next(now=NOW)) is not None:
            mine.append(message.pk)
        return mine

    taken = [pk for mine in at_once(claim_all) for pk in mine]
    assert sorted(taken) == sorted(wanted)


@pytest.mark.django_db(transaction=True)
def test_eight_workers_at_once_write_one_message() -> None:
    site = make_site()
    assert len({message.pk for message in at_once(lambda: queue("digest/1", site))}) == 1
