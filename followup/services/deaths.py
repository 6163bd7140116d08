"""A death, by two people: the first report stops every message, the second person's word closes both eyes.

Until it is confirmed the places stay booked, since the report may be of somebody else.
"""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from followup.domain.errors import Refused
from followup.domain.roles import Action
from followup.domain.words import CancelledBy, DecisionKind
from followup.models import Decision, Patient, Staff
from followup.services.closing import operated_eyes_of
from followup.services.history import record_change, snapshot
from followup.services.outbox import withhold_messages_to
from followup.services.pathway import replan_eyes
from followup.services.people import last_seen
from followup.services.places import awaiting, cancel_all
from followup.services.rows import locked, need_role, required, save_valid
from followup.services.signing import record_decision

_DEATH = ("died_on", "death_to_confirm")


@transaction.atomic
def record_death(
    *, by: Staff, now: datetime, today: date, patient: Patient, died_on: date, source: str
) -> Patient:
    """Reports a death: nothing is sent or booked any more. `source`: who told, or which document.

    Raises NotAllowed for a role that may not, Refused without a source, for a day in the future, before birth
    or before the person was last seen, and when the death is on record already.
    """
    need_role(by, Action.RECORD_DEATH)
    told_by = required(
        source, field="source", message="Say how the clinic knows: who told, or which document."
    )
    patient = locked(patient)
    _check_day(patient, died_on, today)
    patient.died_on, patient.death_source = died_on, told_by
    patient.death_reported_by, patient.death_to_confirm = by, True
    save_valid(patient)
    withheld = withhold_messages_to(patient=patient, reason="The patient died.")
    record_change(
        by=by,
        at=now,
        site=patient.site,
        verb="record_death",
        subject=patient,
        patient=patient,
        before={"died_on": None, "death_to_confirm": False},
        after={
            "died_on": died_on,
            "death_to_confirm": True,
            "source": told_by,
            "messages_withheld": withheld,
        },
    )
    return patient


@transaction.atomic
def confirm_death(*, by: Staff, now: datetime, patient: Patient) -> list[Decision]:
    """A second person vouches for it: one decision for each operated eye, and what is booked is cancelled.

    Raises NotAllowed for a role that may not, Refused for whoever reported it and where none waits.
    """
    need_role(by, Action.RECORD_DEATH)
    patient = locked(patient)
    died_on = patient.died_on
    if died_on is None or not patient.death_to_confirm:
        raise Refused(f"No death of {patient} waits to be confirmed.", code="nothing_to_confirm")
    if patient.death_reported_by_id == by.pk:
        raise Refused(
            "You reported this death. Somebody else at the clinic confirms it: two people must have looked.",
            code="same_person",
        )
    patient.death_to_confirm = False
    save_valid(patient)
    places = awaiting(patient.appointments.filter(day__gte=died_on))
    cancel_all(
        by=by, now=now, appointments=places, cancelled_by=CancelledBy.DEATH, reason="The patient died."
    )
    decisions = [
        _sign(by, now, eye_id=eye.pk, died_on=died_on, source=patient.death_source)
        for eye in operated_eyes_of(patient)
    ]
    record_change(
        by=by,
        at=now,
        site=patient.site,
        verb="confirm_death",
        subject=patient,
        patient=patient,
        before={"death_to_confirm": True},
        after={"death_to_confirm": False, "appointments_cancelled": [place.pk for place in places]},
    )
    replan_eyes(eye_ids=[decision.eye_id for decision in decisions])
    return decisions


@transaction.atomic
def undo_death(*, by: Staff, now: datetime, today: date, patient: Patient, reason: str) -> Patient:
    """The person lives, confirmed or not: both eyes are open. What was cancelled or withheld stays so.

    Raises NotAllowed for a role that may not, Refused without a reason or where no death is on record.
    """
    need_role(by, Action.RECORD_DEATH)
    why = required(reason, field="reason", message="Say why the death is undone.")
    patient = locked(patient)
    if patient.died_on is None:
        raise Refused(f"No death of {patient} is on record.", code="not_died")
    before = snapshot(patient, _DEATH)
    patient.died_on, patient.death_source = None, ""
    patient.death_reported_by, patient.death_to_confirm = None, False
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
        before=before,
        after=snapshot(patient, _DEATH) | {"reason": why},
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
