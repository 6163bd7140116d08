"""When a decision may be signed: what each kind needs, and what the facts must allow."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime
from typing import Any

from followup.domain.dates.durations import Duration
from followup.domain.errors import Refused
from followup.domain.facts import DecisionFact, EyeHistory
from followup.domain.fills import Fill, derive_fills, open_fill
from followup.domain.standing import closing_decision
from followup.domain.words import ContactResult, DecisionKind, Tamponade, TamponadeKind
from followup.models import ContactAttempt, Course, Decision, Milestone, Patient, Staff
from followup.queries.facts import eye_histories
from followup.services.history import record_change, snapshot

LONGEST_KEEP = Duration(months=12)
GIVING_UP = frozenset({DecisionKind.DISCHARGE, DecisionKind.LOST, DecisionKind.REFUSED})
"""An only eye, or one with oil in it, needs a letter of warning first (common practice, no source)."""
SHOWN = (
    "eye",
    "kind",
    "signed_by",
    "signed_on",
    "reason",
    "review_on",
    "to_whom",
    "accepted_on",
    "visit",
    "milestone_key",
    "pathway",
    "pathway_before",
    "undone_at",
    "undone_reason",
)


def check_decision(decision: Decision, patient: Patient, today: date) -> None:
    """Refused, naming the field, where the facts do not allow this decision on its day."""
    _check_day(decision, patient, today)
    known_now = eye_histories([decision.eye_id])[decision.eye_id]
    history = known_now.until(decision.signed_on)
    _check_is_followed(decision, history)
    _check_is_open(decision, known_now)
    kind = DecisionKind(decision.kind)
    _CHECKS.get(kind, _needs_nothing_more)(decision, history, today)
    if kind in GIVING_UP:
        _check_warned(decision, history, today)


def _check_warned(decision: Decision, history: EyeHistory, today: date) -> None:
    """Nobody gives up an only eye, or one with oil in it, unless a letter has said what is at stake."""
    fill, eye = _inside(history), decision.eye
    holds_oil = fill is not None and fill.must_come_out
    if not holds_oil and not history.traits.only_eye:
        return
    since = max(seen.day for seen in history.exams) if history.exams else history.operations[0].date
    warnings = ContactAttempt.objects.filter(
        patient=eye.patient, is_warning=True, day__range=(since, decision.signed_on)
    ).exclude(result=ContactResult.RETURNED.value)
    if not warnings.exists():
        what = "is an only eye" if history.traits.only_eye else "holds oil"
        raise Refused(
            f"The {eye.get_side_display()} eye {what}: it is given up only once a letter of warning has gone "
            f"out, since {since:%-d %b %Y}. Print one, or record one that was written elsewhere as a contact "
            "attempt that warns.",
            field="kind",
            code="no_warning",
        )


def record_decision(
    by: Staff, now: datetime, decision: Decision, verb: str, before: dict[str, Any] | None = None
) -> None:
    patient = decision.eye.patient
    record_change(
        by=by,
        at=now,
        site=patient.site,
        verb=verb,
        subject=decision,
        patient=patient,
        before=before,
        after=snapshot(decision, SHOWN),
    )


def _check_day(decision: Decision, patient: Patient, today: date) -> None:
    if patient.died_on is not None:
        raise Refused(f"{patient} died on {patient.died_on:%-d %b %Y}.", code="patient_died")
    if decision.signed_on > today:
        raise Refused(
            f"A decision cannot take effect in the future, on {decision.signed_on:%-d %b %Y}.",
            field="signed_on",
            code="in_the_future",
        )


def _check_is_followed(decision: Decision, history: EyeHistory) -> None:
    if not history.operations:
        raise Refused(
            f"No operation on the {decision.eye.get_side_display()} eye is on record by "
            f"{decision.signed_on:%-d %b %Y}, so there is nothing to decide.",
            code="not_operated",
        )


def _check_is_open(decision: Decision, history: EyeHistory) -> None:
    closed = closing_decision(history.decisions, history.operations[-1].date)
    if closed is not None:
        raise Refused(
            f"The {decision.eye.get_side_display()} eye was closed on {closed.signed_on:%-d %b %Y}: "
            f"{closed.kind.label}. Undo that first.",
            code="already_closed",
        )


def _needs_nothing_more(decision: Decision, history: EyeHistory, today: date) -> None:
    """A plan, a loss or a refusal needs its reason alone."""


def _check_died(decision: Decision, history: EyeHistory, today: date) -> None:
    raise Refused("Record the death itself: it closes both eyes.", field="kind", code="record_the_death")


def _check_keep_oil(decision: Decision, history: EyeHistory, today: date) -> None:
    fill = _inside(history)
    if fill is None or fill.tamponade.kind is not TamponadeKind.OIL:
        raise Refused(
            f"No oil is on record in the {decision.eye.get_side_display()} eye on "
            f"{decision.signed_on:%-d %b %Y}. Check the side.",
            field="kind",
            code="no_oil",
        )
    latest = LONGEST_KEEP.add_to(decision.signed_on)
    if decision.review_on is None or not decision.signed_on < decision.review_on <= latest:
        raise Refused(
            f"Say by when the decision is to be reviewed: by {latest:%-d %b %Y} at the latest.",
            field="review_on",
            code="review_range",
        )


def _check_see_again(decision: Decision, history: EyeHistory, today: date) -> None:
    if decision.review_on is None or decision.review_on <= decision.signed_on:
        raise Refused(
            f"Say when to see the eye again: a day after {decision.signed_on:%-d %b %Y}.",
            field="review_on",
            code="review_range",
        )


def _check_stands_for(decision: Decision, history: EyeHistory, today: date) -> None:
    visit = decision.visit
    examined = [] if visit is None else [exam for exam in history.exams if exam.visit_id == visit.pk]
    if not examined:
        raise Refused(
            f"Choose a visit at which the {decision.eye.get_side_display()} eye was examined.",
            field="visit",
            code="visit_missing",
        )
    course = Milestone.objects.filter(course__eye=decision.eye, course__superseded_on__isnull=True)
    if not course.filter(key=decision.milestone_key, lane="review", met_on__isnull=True).exists():
        raise Refused(
            "Choose a review of the present course that nobody met yet.",
            field="milestone_key",
            code="milestone_missing",
        )


def _check_discharge(decision: Decision, history: EyeHistory, today: date) -> None:
    fill = _inside(history)
    if fill is None or fill.tamponade.kind.leaves_by_itself or _is_kept(fill, history, decision.signed_on):
        return
    side = decision.eye.get_side_display()
    if fill.tamponade is Tamponade.UNKNOWN:
        raise Refused(
            f"The tamponade in the {side} eye since {fill.placed_on:%-d %b %Y} is not known: it may be oil. "
            "Record what is there at an exam, or correct the operation.",
            field="kind",
            code="tamponade_unknown",
        )
    raise Refused(
        f"{fill.tamponade.label} is in the {side} eye since {fill.placed_on:%-d %b %Y}. It must be taken out "
        "first; oil may be kept by a signed decision that is not past its review.",
        field="kind",
        code="oil_in_place",
    )


def _check_transfer(decision: Decision, history: EyeHistory, today: date) -> None:
    if not decision.to_whom:
        raise Refused("Say where to: a transfer names its receiver.", field="to_whom", code="to_whom_missing")
    accepted = decision.accepted_on
    if accepted is not None and not decision.signed_on <= accepted <= today:
        raise Refused(
            f"The acceptance must lie between {decision.signed_on:%-d %b %Y} and today.",
            field="accepted_on",
            code="accepted_on_range",
        )


def _check_change_pathway(decision: Decision, history: EyeHistory, today: date) -> None:
    present = Course.objects.filter(eye=decision.eye_id, superseded_on=None).select_related("pathway").get()
    if decision.signed_on < present.anchor:
        raise Refused(
            f"The present course began on {present.anchor:%-d %b %Y}; the change cannot come before it.",
            field="signed_on",
            code="before_the_course",
        )
    if decision.pathway is None or not decision.pathway.active:
        raise Refused("Choose a pathway that is in use.", field="pathway", code="pathway_missing")
    if decision.pathway_id == present.pathway_id:
        raise Refused(
            f"The eye follows {present.pathway} already.", field="pathway", code="pathway_unchanged"
        )
    decision.operation_id, decision.pathway_before = present.operation_id, present.pathway


def _inside(history: EyeHistory) -> Fill | None:
    return open_fill(derive_fills(history.operations, history.exams))


def _is_kept(fill: Fill, history: EyeHistory, day: date) -> bool:
    """Whether the last signature that keeps this fill in still holds on `day`; only oil can be kept."""
    kept: list[DecisionFact] = [
        signed
        for signed in history.decisions
        if signed.kind is DecisionKind.KEEP_OIL and signed.signed_on >= fill.placed_on
    ]
    if not kept or fill.tamponade.kind is not TamponadeKind.OIL:
        return False
    review_on = kept[-1].review_on
    return review_on is not None and day <= review_on


_CHECKS: dict[DecisionKind, Callable[[Decision, EyeHistory, date], None]] = {
    DecisionKind.KEEP_OIL: _check_keep_oil,
    DecisionKind.SEE_AGAIN: _check_see_again,
    DecisionKind.STANDS_FOR: _check_stands_for,
    DecisionKind.DISCHARGE: _check_discharge,
    DecisionKind.TRANSFER: _check_transfer,
    DecisionKind.CHANGE_PATHWAY: _check_change_pathway,
    DecisionKind.DIED: _check_died,
}
