"""Reminders of visits, written to the outbox; and the answer of somebody who cannot come."""

from __future__ import annotations

from datetime import datetime
from enum import Enum
from uuid import UUID

from django.db import transaction

from followup.domain.words import AppointmentState, CancelledBy, Reply
from followup.models import Appointment, OutboxMessage
from followup.queries.contact import free_from
from followup.queries.reminders import KIND, Reminder
from followup.services.outbox import queue_message
from followup.services.places import cancel_all
from followup.services.rows import locked


class Answer(Enum):
    """How a visit stands for somebody who holds the address in a reminder of it."""

    OPEN = "open"
    """It can be given back."""
    GIVEN_BACK = "given_back"
    """They answered already, and the place is free."""
    CHANGED = "changed"
    """It was moved, cancelled or changed since: this reminder tells of it no more."""
    PAST = "past"


def queue_reminder(*, reminder: Reminder, now: datetime, subject: str, body: str) -> OutboxMessage:
    """The reminder in the outbox, once for ever, to go out after the quiet hours."""
    return queue_message(
        key=reminder.key,
        site=reminder.appointment.patient.site,
        kind=KIND,
        channel=reminder.channel.value,
        to=reminder.to,
        subject=subject,
        body=body,
        due_at=free_from(reminder.appointment.patient, now),
    )


def answer_of(appointment: Appointment, sequence: int, now: datetime) -> Answer:
    """How the visit, of which a reminder told at this sequence number, stands now."""
    answered = appointment.reply == Reply.DECLINED.value and appointment.reply_sequence == sequence
    if answered and appointment.state == AppointmentState.CANCELLED.value:
        return Answer.GIVEN_BACK
    if appointment.sequence != sequence or appointment.state != AppointmentState.BOOKED.value:
        return Answer.CHANGED
    return Answer.PAST if appointment.starts_at <= now else Answer.OPEN


@transaction.atomic
def give_place_back(*, now: datetime, uid: UUID, sequence: int) -> Answer:
    """The person cannot come: cancels the place, once. Returns how it stood before: OPEN if it was freed now.

    Raises Appointment.DoesNotExist for an unknown uid.
    """
    appointment = Appointment.objects.select_related("patient__site").get(uid=uid)
    locked(appointment.patient)
    appointment = locked(appointment)
    stood = answer_of(appointment, sequence, now)
    if stood is Answer.OPEN:
        appointment.reply = Reply.DECLINED.value
        appointment.replied_at = now
        appointment.reply_sequence = sequence
        reason = "Cannot come, by the address in a reminder."
        cancel_all(
            by=None, now=now, appointments=[appointment], cancelled_by=CancelledBy.PATIENT, reason=reason
        )
    return stood
