"""What clinicians sign for an eye: kept oil, a day to see it again, a plan, another pathway, its closing.

A signature is never edited: it is undone, with a reason, and another is signed.
"""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from followup.domain.dates.zones import local_day
from followup.domain.errors import Refused
from followup.domain.roles import Action
from followup.domain.words import CancelledBy, DecisionKind
from followup.models import Course, Decision, Eye, PathwayVersion, Staff, Visit
from followup.services.closing import cancel_places_of_closed_eyes
from followup.services.deaths import confirm_death, record_death, undo_death
from followup.services.history import snapshot
from followup.services.pathway import replan_eye
from followup.services.rows import known, locked, need_role, required, save_valid
from followup.services.signing import SHOWN, check_decision, record_decision
from followup.services.symptoms import answer_open_reports

__all__ = [
    "accept_transfer",
    "confirm_death",
    "record_death",
    "sign_decision",
    "undo_death",
    "undo_decision",
]


@transaction.atomic
def sign_decision(
    *,
    by: Staff,
    now: datetime,
    today: date,
    eye: Eye,
    kind: str,
    reason: str,
    review_on: date | None = None,
    to_whom: str = "",
    accepted_on: date | None = None,
    visit: Visit | None = None,
    milestone_key: str = "",
    pathway: PathwayVersion | None = None,
    signed_on: date | None = None,
) -> Decision:
    """Signs a decision of any kind but a death, which `record_death` records.

    `signed_on` is the day it takes effect, by default today. A decision that closes the eye cancels the
    places ahead that served it alone. Raises NotAllowed for a role that may not sign; Refused where the facts
    do not allow it: see `signing`.
    """
    need_role(by, Action.SIGN_DECISION)
    wanted = known(DecisionKind, kind, field="kind")
    patient = locked(eye.patient)
    decision = Decision(
        eye=eye,
        kind=wanted.value,
        signed_by=by,
        signed_on=signed_on or today,
        recorded_at=now,
        reason=required(reason, field="reason", message="Say why: the reason is part of the record."),
        review_on=review_on,
        to_whom=to_whom.strip(),
        accepted_on=accepted_on,
        visit=visit,
        milestone_key=milestone_key.strip(),
        pathway=pathway if wanted is DecisionKind.CHANGE_PATHWAY else None,
    )
    check_decision(decision, patient, today)
    save_valid(decision)
    record_decision(by, now, decision, "sign_decision")
    _close(by, now, today, decision)
    if wanted in (DecisionKind.PLAN, DecisionKind.SEE_AGAIN):
        answer_open_reports(by=by, now=now, today=today, patient=patient, answer=decision.reason)
    if decision.pathway is not None:
        _move_course(decision, decision.pathway)
    replan_eye(eye_id=eye.pk)
    return decision


@transaction.atomic
def accept_transfer(*, by: Staff, now: datetime, decision: Decision, accepted_on: date) -> Decision:
    """The receiver took the eye over, which closes it here.

    Raises Refused for anything but a transfer that stands and waits, and for a day before it was signed or
    in the future.
    """
    need_role(by, Action.ACCEPT_TRANSFER)
    patient = locked(decision.eye.patient)
    decision = locked(decision)
    today = local_day(now, patient.site.time_zone)
    if decision.kind != DecisionKind.TRANSFER.value or decision.undone_at or decision.accepted_on:
        raise Refused("Only a transfer that waits for its acceptance can be accepted.", code="not_waiting")
    if not decision.signed_on <= accepted_on <= today:
        raise Refused(
            f"The acceptance must lie between {decision.signed_on:%-d %b %Y} and today.",
            field="accepted_on",
            code="accepted_on_range",
        )
    before = snapshot(decision, SHOWN)
    decision.accepted_on = accepted_on
    save_valid(decision)
    record_decision(by, now, decision, "accept_transfer", before)
    _close(by, now, today, decision)
    replan_eye(eye_id=decision.eye_id)
    return decision


@transaction.atomic
def undo_decision(*, by: Staff, now: datetime, today: date, decision: Decision, reason: str) -> Decision:
    """The decision no longer stands; an eye that it closed is open again. Cancelled places stay cancelled.

    A course that it moved goes back to the pathway it had. Undoing a death undoes it for both eyes. Raises
    NotAllowed for a role that may not sign, Refused without a reason, for a decision undone already, and for
    a change of pathway that another followed.
    """
    if decision.kind == DecisionKind.DIED.value:
        undo_death(by=by, now=now, today=today, patient=decision.eye.patient, reason=reason)
        decision.refresh_from_db()
        return decision
    need_role(by, Action.SIGN_DECISION)
    why = required(reason, field="reason", message="Say why the decision is undone.")
    locked(decision.eye.patient)
    decision = locked(decision)
    if decision.undone_at is not None:
        raise Refused(f"This decision was undone on {decision.undone_at:%-d %b %Y}.", code="already_undone")
    _check_undone_in_order(decision)
    before = snapshot(decision, SHOWN)
    decision.undone_by, decision.undone_at, decision.undone_reason = by, now, why
    save_valid(decision)
    record_decision(by, now, decision, "undo_decision", before)
    if decision.pathway_before is not None:
        _move_course(decision, decision.pathway_before)
    replan_eye(eye_id=decision.eye_id)
    return decision


def _move_course(decision: Decision, pathway: PathwayVersion) -> None:
    """The course of that operation follows another pathway; planning keeps what is stored with it."""
    Course.objects.filter(eye=decision.eye_id, operation=decision.operation_id).update(pathway=pathway)


def _check_undone_in_order(decision: Decision) -> None:
    if decision.kind != DecisionKind.CHANGE_PATHWAY.value:
        return
    later = Decision.objects.filter(
        eye=decision.eye_id,
        operation=decision.operation_id,
        kind=decision.kind,
        undone_at=None,
        pk__gt=decision.pk,
    ).first()
    if later is not None:
        raise Refused(
            f"The pathway was changed again on {later.signed_on:%-d %b %Y}. Undo that change first.",
            code="changed_again",
        )


def _close(by: Staff, now: datetime, today: date, decision: Decision) -> None:
    kind = DecisionKind(decision.kind)
    waits = kind is DecisionKind.TRANSFER and decision.accepted_on is None
    if kind.closes and not waits:
        who = CancelledBy.PATIENT if kind is DecisionKind.REFUSED else CancelledBy.CLINIC
        cancel_places_of_closed_eyes(by=by, now=now, today=today, eye=decision.eye, cancelled_by=who)
