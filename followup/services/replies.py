"""Answers to invitations. An answer is noted and frees nothing: a person speaks to whoever cannot come."""

from __future__ import annotations

from datetime import datetime
from uuid import UUID

from django.db import transaction

from followup.domain.errors import Refused
from followup.domain.roles import Action
from followup.domain.words import AppointmentState, Reply
from followup.models import Appointment, Staff
from followup.queries.access import appointments_of
from followup.services.history import record_change, snapshot
from followup.services.places import check_person, check_state
from followup.services.rows import locked, need_role, save_valid

_SHOWN = ("reply", "replied_at", "reply_sequence")


@transaction.atomic
def record_reply(
    *,
    by: Staff | None,
    now: datetime,
    uid: str,
    sequence: int,
    stamp: datetime,
    attendee: str,
    answer: Reply,
) -> tuple[Appointment, bool]:
    """Notes an answer on its appointment, and says whether it was new.

    The same answer read again changes nothing. Raises Refused for a UID that is none of ours, an answer by
    somebody else than the person invited, an answer to an earlier or unknown state of the appointment, one
    older than the answer on record, and where the person died or the place is over or no longer booked;
    NotAllowed for a role that does not book. `by` is None where a mailbox feeds them in.
    """
    if by is not None:
        need_role(by, Action.BOOK)
    appointment = _answered(by, uid)
    patient = locked(appointment.patient)
    appointment = locked(appointment)
    if not patient.email or attendee.strip().casefold() != patient.email.casefold():
        raise Refused(
            f'The answer is by "{attendee}", who was not invited to this appointment.', code="other_person"
        )
    check_person(patient)
    check_state(appointment, [AppointmentState.BOOKED], "answered")
    _check_time(appointment, now)
    _check_sequence(appointment, sequence)
    if _is_known(appointment, stamp, answer):
        return appointment, False
    before = snapshot(appointment, _SHOWN)
    appointment.reply = answer.value
    appointment.replied_at = min(stamp, now)
    appointment.reply_sequence = sequence
    save_valid(appointment)
    record_change(
        by=by,
        at=now,
        site=patient.site,
        verb="record_reply",
        subject=appointment,
        patient=patient,
        before=before,
        after=snapshot(appointment, _SHOWN),
    )
    return appointment, True


def _answered(by: Staff | None, uid: str) -> Appointment:
    """Nobody learns of the appointments of clinics that are not theirs."""
    known = appointments_of(by) if by is not None else Appointment.objects.all()
    try:
        return known.select_related("patient").get(uid=UUID(uid))
    except (ValueError, Appointment.DoesNotExist):
        raise Refused(f'"{uid[:80]}" is the UID of no appointment here.', code="unknown_uid") from None


def _check_time(appointment: Appointment, now: datetime) -> None:
    if appointment.starts_at <= now:
        raise Refused(
            f"The appointment was on {appointment.day:%-d %b %Y}. Say what happened to it instead.",
            code="appointment_past",
        )


def _check_sequence(appointment: Appointment, sequence: int) -> None:
    if sequence < appointment.sequence:
        raise Refused(
            "The answer is to an earlier invitation, and the appointment has changed since. Ask again.",
            code="outdated",
        )
    if sequence > appointment.sequence:
        raise Refused(
            f"The answer is to SEQUENCE {sequence}, which was never sent: the appointment is at "
            f"{appointment.sequence}.",
            code="unknown_sequence",
        )


def _is_known(appointment: Appointment, stamp: datetime, answer: Reply) -> bool:
    """True for the answer on record; Refused for one written before it."""
    if appointment.reply_sequence != appointment.sequence or appointment.replied_at is None:
        return False
    if stamp < appointment.replied_at:
        raise Refused("A later answer of this person is on record already.", code="older_answer")
    return answer.value == appointment.reply
