"""The outbox: a message is a row, written with the facts it tells of, claimed by one sender, then sent.

A claim is a conditional update with a lease, so that of several senders one goes on, and the row of a sender
that was killed is taken up again when its lease has run out.
"""

from __future__ import annotations

from collections.abc import Collection
from datetime import datetime, timedelta

from django.db import connection, transaction
from django.db.models import F, Q, QuerySet

from followup.models import Appointment, OutboxMessage, Patient, Site
from followup.queries.invitations import KIND as INVITATION
from followup.queries.invitations import place_of_invitation
from followup.services.recall import record_returned

LEASE = timedelta(minutes=10)
"""Longer than one message may take: the mail server's time-out is a fraction of it."""

PAUSES = tuple(timedelta(minutes=minutes) for minutes in (1, 5, 15, 60, 180, 360))
"""Pause after each attempt that was put off; after one more the message has failed."""

OPEN = ("due", "sending")


def queue_message(
    *,
    key: str,
    site: Site,
    kind: str,
    to: str,
    subject: str,
    body: str,
    due_at: datetime,
    channel: str = "email",
    calendar: str = "",
) -> OutboxMessage:
    """The message of this key, written now or before: one row for ever, whatever is asked again.

    It belongs to the caller's transaction: what is rolled back is never sent.
    """
    content = {"site": site, "kind": kind, "channel": channel, "to": to, "subject": subject, "body": body}
    defaults = {**content, "calendar": calendar, "due_at": due_at}
    message, _ = OutboxMessage.objects.get_or_create(key=key, defaults=defaults)
    return message


def patient_key(patient: Patient, *about: object) -> str:
    """The key of a message to a patient; the patient's part lets a death stop all of them."""
    return "/".join(["patient", str(patient.pk), *map(str, about)])


def patient_of_key(key: str) -> int | None:
    """The patient a key is about, or None for a message to staff."""
    room, _, rest = key.partition("/")
    return int(rest.split("/")[0]) if room == "patient" else None


def claim_next(*, now: datetime, without: Collection[str] = ()) -> OutboxMessage | None:
    """The longest due message, leased to the caller until `lease_until`; None if nothing is due.

    `without`: channels that are left waiting.
    """
    with transaction.atomic():
        for seen in _claimable(now).exclude(channel__in=without)[:20]:
            lease = now + LEASE
            mine = OutboxMessage.objects.filter(pk=seen.pk, state=seen.state, lease_until=seen.lease_until)
            if mine.update(state="sending", lease_until=lease, attempts=F("attempts") + 1):
                seen.refresh_from_db()
                return seen
    return None


def mark_sent(*, message: OutboxMessage, now: datetime) -> bool:
    """Note that the mail server took it. False if the lease was lost to another sender meanwhile.

    An invitation is noted on its visit too, so that a change of it is told to whoever knows of it.
    """
    with transaction.atomic():
        sent = _close(message, state="sent", sent_at=now, problem="")
        if sent and message.kind == INVITATION:
            _note_invited(*place_of_invitation(message.key))
    return sent


def withhold_message(*, message: OutboxMessage, reason: str) -> bool:
    """A claimed message is no longer right to send. False if the lease was lost meanwhile."""
    return _close(message, state="withheld", problem=reason[:400])


def hold_message(*, message: OutboxMessage, until: datetime) -> bool:
    """Nothing is wrong with a claimed message but the hour; it counts as no attempt."""
    return _close(message, state="due", due_at=until, attempts=F("attempts") - 1)


def fail_message(*, message: OutboxMessage, now: datetime, problem: str) -> bool:
    """It will never be taken, so it is not tried again. False if the lease was lost meanwhile.

    A person it was meant for comes back to the recall list, as after a returned letter.
    """
    with transaction.atomic():
        closed = _close(message, state="failed", problem=problem[:400])
        patient_id = patient_of_key(message.key)
        if closed and patient_id is not None:
            record_returned(patient_id=patient_id, now=now, message=message, problem=problem)
    return closed


def return_message(*, message: OutboxMessage, now: datetime, problem: str) -> bool:
    """A message that was sent came back; its person returns to the recall list. False if that was known."""
    with transaction.atomic():
        sent = OutboxMessage.objects.filter(pk=message.pk, state="sent")
        returned = bool(sent.update(state="failed", problem=f"Returned. {problem}"[:400]))
        patient_id = patient_of_key(message.key)
        if returned and patient_id is not None:
            record_returned(patient_id=patient_id, now=now, message=message, problem=problem)
    return returned


def put_off_message(*, message: OutboxMessage, now: datetime, problem: str) -> bool:
    """Try a claimed message again after a pause that grows with each attempt; at last it has failed."""
    if message.attempts > len(PAUSES):
        return fail_message(message=message, now=now, problem=problem)
    pause = PAUSES[message.attempts - 1]
    return _close(message, state="due", due_at=now + pause, problem=problem[:400])


def withhold_messages_to(*, patient: Patient, reason: str, channel: str = "") -> int:
    """Stop every message to this person, or on one channel, that is not sent yet; how many there were."""
    waiting = OutboxMessage.objects.filter(key__startswith=f"patient/{patient.pk}/", state__in=OPEN)
    if channel:
        waiting = waiting.filter(channel=channel)
    return waiting.update(state="withheld", lease_until=None, problem=reason[:400])


def _note_invited(uid: str, sequence: int) -> None:
    earlier = Q(invited_sequence=None) | Q(invited_sequence__lt=sequence)
    Appointment.objects.filter(earlier, uid=uid).update(invited_sequence=sequence)


def _claimable(now: datetime) -> QuerySet[OutboxMessage]:
    free = Q(state="due", due_at__lte=now) | Q(state="sending", lease_until__lte=now)
    messages = OutboxMessage.objects.filter(free).order_by("due_at", "id")
    if connection.features.has_select_for_update_skip_locked:
        return messages.select_for_update(skip_locked=True)
    return messages


def _close(message: OutboxMessage, **values: object) -> bool:
    mine = OutboxMessage.objects.filter(pk=message.pk, state="sending", lease_until=message.lease_until)
    return bool(mine.update(lease_until=None, **values))
