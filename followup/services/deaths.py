"""A death: closes both operated eyes, cancels what is booked and stops every message, in one transaction."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from followup.domain.errors import Refused
from followup.domain.roles import Action
from followup.domain.words import CancelledBy, DecisionKind
from followup.models import Decision, Patient, Staff
from followup.services.closing import operated_eyes_of
from followup.services.history import record_change
from followup.services.outbox import withhold_messages_to
from followup.services.pathway import replan_eyes
from followup.services.people import last_seen
from followup.services.places import awaiting, cancel_all
from followup.services.rows import locked, need_role, required, save_valid
from followup.services.signing import record_decision


@transaction.atomic
def record_death(
    *, by: Staff, now: datetime, today: date, patient: Patient, died_on: date, source: str
) -> list[Decision]:
    """Records a death and returns one decision for each operated eye. `source`: who told, or which document.

    Raises NotAllowed for a role that may not, Refused without a source, for a day in the future, before birth
    or before the person was last seen, and when the death is on record already.
    """
    need_role(by, Action.RECORD_DEATH)
    told_by = required(
        source, field="source", message="Say how the clinic knows: who told, or which document."
    )
    patient = locked(patient)
    _check_day(patient, died_on, today)
    patient.died_on = died_on
    save_valid(patient)
    withheld = withhold_messages_to(patient=patient, reason="The patient died.")
    places = awaiting(patient.appointments.filter(day__gte=died_on))
    cancel_all(
        by=by, now=now, appointments=places, cancelled_by=CancelledBy.DEATH, reason="The patient died."
    )
    decisions = [
        _sign(by, now, eye_id=eye.pk, died_on=died_on, source=told_by) for eye in operated_eyes_of(patient)
    ]
    record_change(
        by=by,
        at=now,
        site=patient.site,
        verb="record_death",
        subject=patient,
        patient=patient,
        before={"died_on": None},
        after={
            "died_on": died_on,
            "source": told_by,
            "appointments_cancelled": [place.pk for place in places],
            "messages_withheld": withheld,
        },
    )
    replan_eyes(eye_ids=[decision.eye_id for decision in decisions])
    return decisions


@transaction.atomic
def undo_death(*, by: Staff, now: datetime, today: date, patient: Patient, reason: str) -> Patient:
    """The person lives: both eyes are open again. What was cancelled or withheld stays so.

    Raises NotAllowed for a role that may not, Refused without a reason or where no death is on record.
    """
    need_role(by, Action.RECORD_DEATH)
    why = required(reason, field="reason", message="Say why the death is undone.")
    patient = locked(patient)
    if patient.died_on is None:
        raise Refused(f"No death of {patient} is on record.", code="not_died")
    died_on, patient.died_on = patient.died_on, None
    save_valid(patient)
    standing = Decision.objects.filter(
        eye__patient=patient, kind=DecisionKind.DIED.value, undone_at__isnull=True
    )
    decisions = list(standing.select_related("eye__patient__site").order_by("id"))
    for decision in decisions:
        decision.undone_by, decision.undone_at, decision.undone_reason = by, now, why
        save_valid(decision)
        record_decision(by, now, decision, "undo_decision", {"undone_at": None})
    record_change(
        by=by,
        at=now,
        site=patient.site,
        verb="undo_death",
        subject=patient,
        patient=patient,
        before={"died_on": died_on},
        after={"died_on": None, "reason": why},
    )
    replan_eyes(eye_ids=[decision.eye_id for decision in decisions])
    return patient


def _check_day(patient: Patient, died_on: date, today: date) -> None:
    if patient.died_on is not None:
        raise Refused(
            f"The death of {patient} on {patient.died_on:%-d %b %Y} is on record already.",
            code="already_died",
        )
    if died_on > today:
        raise Refused(
            f"A death on {died_on:%-d %b %Y} lies in the future.", field="died_on", code="in_the_future"
        )
    seen = last_seen(patient)
    if seen is not None and died_on < seen:
        raise Refused(
            f"{patient} was seen on {seen:%-d %b %Y}, after {died_on:%-d %b %Y}. Check both dates.",
            field="died_on",
            code="seen_after_death",
        )
    if patient.birth_date is not None and died_on < patient.birth_date:
        raise Refused(
            f"{patient} was born on {patient.birth_date:%-d %b %Y}. Check both dates.",
            field="died_on",
            code="before_birth",
        )


def _sign(by: Staff, now: datetime, *, eye_id: int, died_on: date, source: str) -> Decision:
    decision = Decision(
        eye_id=eye_id,
        kind=DecisionKind.DIED.value,
        signed_by=by,
        signed_on=died_on,
        recorded_at=now,
        reason=source,
    )
    save_valid(decision)
    record_decision(by, now, decision, "record_death")
    return decision
