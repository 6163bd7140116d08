"""Invitations written to the outbox."""

from __future__ import annotations

from datetime import datetime

from followup.domain.words import Channel
from followup.models import OutboxMessage
from followup.queries.contact import free_from
from followup.queries.invitations import KIND, Invite
from followup.services.outbox import queue_message


def queue_invitation(
    *, invite: Invite, now: datetime, subject: str, body: str, calendar: str
) -> OutboxMessage:
    """The invitation in the outbox, once for ever, to go out after the quiet hours.

    calendar: the iCalendar part that goes beside the text.
    """
    patient = invite.appointment.patient
    return queue_message(
        key=invite.key,
        site=patient.site,
        kind=KIND,
        channel=Channel.EMAIL.value,
        to=invite.to,
        subject=subject,
        body=body,
        calendar=calendar,
        due_at=free_from(patient, now),
    )
