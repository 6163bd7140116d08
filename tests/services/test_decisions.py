"""What clinicians sign: who may, when they may, and what follows."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from followup.domain.errors import FollowUpError, NotAllowed
from followup.models import Appointment, Change, Course, Decision, Eye, Milestone, PathwayVersion
from followup.queries.standing import site_standings
from followup.services.decisions import accept_transfer, sign_decision, undo_decision
from followup.services.pathway import replan_eye, verify
from tests.builders import (
    NOW,
    TODAY,
    days,
    make_appointment,
    make_attempt,
    make_decision,
    make_exam,
    make_eye,
    make_operation,
    make_session,
)
from tests.services.conftest import Clinic, last_change

LATER = NOW + timedelta(hours=1)


def sign(clinic: Clinic, eye: Eye, kind: str, **fields: Any) -> Decision:
    dull = {"by": clinic.surgeon, "now": NOW, "today": TODAY, "reason": "As discussed"}
    return sign_decision(eye=eye, kind=kind, **dull | fields)


def standing_of(clinic: Clinic, eye: Eye) -> str:
    return site_standings(site=clinic.site, day=TODAY, eye_ids=[eye.pk])[0].standing.standing


def seen(eye: Eye) -> dict[str, Any]:
    """A visit three days after the operation, and the review it may stand for."""
    visit = make_exam(eye=eye, day=days(-57)).visit
    review = Milestone.objects.filter(course__eye=eye, lane="review", met_on=None).order_by("opens").last()
    assert review is not None
    return {"visit": visit, "milestone_key": review.key}


@pytest.mark.parametrize("kind", ["plan", "discharge", "lost", "refused"])
def test_a_signature_is_kept_with_who_when_and_why(clinic: Clinic, kind: str) -> None:
    eye = clinic.eye()
    decision = sign(clinic, eye, kind, signed_on=days(-2))
    assert (decision.kind, decision.signed_by, decision.signed_on, decision.recorded_at) == (
        kind,
        clinic.surgeon,
        days(-2),
        NOW,
    )
    change = last_change()
    assert (change.verb, change.subject_id, change.patient) == ("sign_decision", decision.pk, eye.patient)
    assert change.after["reason"] == "As discussed"


@pytest.mark.parametrize("role", ["coordinator", "administrator"])
def test_only_a_surgeon_signs(clinic: Clinic, role: str) -> None:
    eye, by = clinic.eye(), getattr(clinic, role)
    with pytest.raises(NotAllowed) as refused:
        sign(clinic, eye, "plan", by=by)
    assert refused.value.code == "not_allowed"
    assert "surgeon" in refused.value.message
    with pytest.raises(NotAllowed):
        undo_decision(by=by, now=NOW, today=TODAY, decision=make_decision(eye=eye), reason="x")


@pytest.mark.parametrize("role", ["coordinator", "surgeon"])
def test_a_transfer_s_acceptance_is_recorded_by_whoever_reads_it(clinic: Clinic, role: str) -> None:
    transfer = sign(clinic, clinic.eye(), "transfer", to_whom="Hill")
    accept_transfer(by=getattr(clinic, role), now=NOW, decision=transfer, accepted_on=TODAY)
    with pytest.raises(NotAllowed):
        accept_transfer(by=clinic.administrator, now=NOW, decision=transfer, accepted_on=TODAY)


@pytest.mark.parametrize(
    ("kind", "fields", "code", "field"),
    [
        ("forget", {}, "unknown_code", "kind"),
        ("died", {}, "record_the_death", "kind"),
        ("plan", {"reason": "  "}, "missing", "reason"),
        ("plan", {"signed_on": days(1)}, "in_the_future", "signed_on"),
        ("plan", {"signed_on": days(-61)}, "not_operated", ""),
        ("keep_oil", {"review_on": days(90)}, "no_oil", "kind"),
        ("see_again", {}, "review_range", "review_on"),
        ("see_again", {"review_on": TODAY}, "review_range", "review_on"),
        ("stands_for", {"milestone_key": "m1"}, "visit_missing", "visit"),
        ("transfer", {"to_whom": " "}, "to_whom_missing", "to_whom"),
        ("transfer", {"to_whom": "Hill", "accepted_on": days(1)}, "accepted_on_range", "accepted_on"),
        ("transfer", {"to_whom": "Hill", "accepted_on": days(-1)}, "accepted_on_range", "accepted_on"),
    ],
)
def test_a_signature_is_refused(
    clinic: Clinic, kind: str, fields: dict[str, Any], code: str, field: str
) -> None:
    eye = clinic.eye()
    with pytest.raises(FollowUpError) as refused:
        sign(clinic, eye, kind, **fields)
    assert (refused.value.code, refused.value.field) == (code, field)
    assert not Decision.objects.exists()
    assert not Change.objects.exists()


def test_nothing_is_signed_for_an_eye_never_operated_on(clinic: Clinic) -> None:
    with pytest.raises(FollowUpError) as refused:
        sign(clinic, make_eye(patient=clinic.patient()), "plan")
    assert refused.value.code == "not_operated"


def test_nothing_is_signed_for_a_closed_eye(clinic: Clinic) -> None:
    eye = clinic.eye()
    sign(clinic, eye, "discharge")
    with pytest.raises(FollowUpError) as refused:
        sign(clinic, eye, "lost")
    assert refused.value.code == "already_closed"
    assert "Undo" in refused.value.message


# Giving up an only eye, or one with oil in it


def in_danger(clinic: Clinic, danger: str) -> Eye:
    eye = clinic.oil_eye(date=days(-60)) if danger == "oil" else clinic.eye(date=days(-60))
    if danger == "only eye":
        Eye.objects.filter(pk=eye.pk).update(only_eye=True)
    make_exam(eye=eye, day=days(-30))
    replan_eye(eye_id=eye.pk)
    return Eye.objects.get(pk=eye.pk)


@pytest.mark.parametrize("danger", ["oil", "only eye"])
@pytest.mark.parametrize("kind", ["lost", "refused"])
def test_an_eye_in_danger_is_given_up_only_after_a_letter_of_warning(
    clinic: Clinic, danger: str, kind: str
) -> None:
    eye = in_danger(clinic, danger)
    letter = {"patient": eye.patient, "channel": "letter", "result": "sent"}
    make_attempt(**letter, day=days(-5))
    make_attempt(**letter, day=days(-40), is_warning=True)
    make_attempt(**letter | {"result": "returned"}, day=days(-4), is_warning=True)
    with pytest.raises(FollowUpError) as refused:
        sign(clinic, eye, kind)
    assert (refused.value.code, refused.value.field) == ("no_warning", "kind")
    assert "since 31 Jan 2026" in refused.value.message
    make_attempt(**letter, day=days(-3), is_warning=True)
    sign(clinic, eye, kind)
    assert standing_of(clinic, eye) == "closed"


def test_an_only_eye_is_discharged_only_after_a_letter_of_warning(clinic: Clinic) -> None:
    eye = in_danger(clinic, "only eye")
    with pytest.raises(FollowUpError) as refused:
        sign(clinic, eye, "discharge")
    assert refused.value.code == "no_warning"
    sign(clinic, eye, "transfer", to_whom="Hill")


# Another pathway


def pathway_named(key: str) -> PathwayVersion:
    return PathwayVersion.objects.get(key=key, active=True)


def course_of(eye: Eye) -> Course:
    return Course.objects.get(eye=eye, superseded_on=None)


def test_the_present_course_moves_to_another_pathway_and_keeps_its_operation(clinic: Clinic) -> None:
    eye = clinic.eye(date=days(-20))
    before = course_of(eye)
    assert before.pathway.key == "after-gas"
    sign(clinic, eye, "change_pathway", pathway=pathway_named("high-myopia"))
    after = course_of(eye)
    assert (after.pathway.key, after.operation, after.anchor) == (
        "high-myopia",
        before.operation,
        before.anchor,
    )
    assert list(verify(eye_ids=[eye.pk])) == []


def test_a_signed_pathway_outlives_a_corrected_operation(clinic: Clinic) -> None:
    eye = clinic.eye(date=days(-20))
    sign(clinic, eye, "change_pathway", pathway=pathway_named("high-myopia"))
    eye.operations.update(indication="macular_hole")
    replan_eye(eye_id=eye.pk)
    assert course_of(eye).pathway.key == "high-myopia"


def test_undoing_a_change_gives_the_course_its_own_pathway_back(clinic: Clinic) -> None:
    eye = clinic.eye(date=days(-20))
    first = sign(clinic, eye, "change_pathway", pathway=pathway_named("high-myopia"))
    second = sign(clinic, eye, "change_pathway", pathway=pathway_named("buckle"))
    undo = {"by": clinic.surgeon, "now": LATER, "today": TODAY, "reason": "Wrong eye"}
    with pytest.raises(FollowUpError) as refused:
        undo_decision(**undo, decision=first)
    assert refused.value.code == "changed_again"
    undo_decision(**undo, decision=second)
    assert course_of(eye).pathway.key == "high-myopia"
    undo_decision(**undo, decision=first)
    assert course_of(eye).pathway.key == "after-gas"
    assert list(verify(eye_ids=[eye.pk])) == []


@pytest.mark.parametrize(("key", "code"), [("", "pathway_missing"), ("after-gas", "pathway_unchanged")])
def test_a_change_of_pathway_is_refused(clinic: Clinic, key: str, code: str) -> None:
    with pytest.raises(FollowUpError) as refused:
        sign(clinic, clinic.eye(), "change_pathway", pathway=pathway_named(key) if key else None)
    assert (refused.value.code, refused.value.field) == (code, "pathway")


# Oil


@pytest.mark.parametrize("review_on", [date(2027, 3, 2), days(1)], ids=["12 months", "tomorrow"])
def test_oil_is_kept_until_a_review_at_most_12_months_away(clinic: Clinic, review_on: date) -> None:
    eye = clinic.oil_eye(date=days(-200))
    assert standing_of(clinic, eye) == "overdue"
    decision = sign(clinic, eye, "keep_oil", review_on=review_on)
    assert decision.review_on == review_on
    rows = site_standings(site=clinic.site, day=TODAY)
    removal = [lane for lane in rows[0].standing.lanes if lane.lane == "removal"]
    assert [lane.standing for lane in removal] == ["waiting"]


@pytest.mark.parametrize("review_on", [None, TODAY, date(2027, 3, 3)])
def test_oil_is_not_kept_without_a_near_review(clinic: Clinic, review_on: date | None) -> None:
    with pytest.raises(FollowUpError) as refused:
        sign(clinic, clinic.oil_eye(), "keep_oil", review_on=review_on)
    assert (refused.value.code, refused.value.field) == ("review_range", "review_on")
    assert "2 Mar 2027" in refused.value.message


def test_heavy_liquid_cannot_be_kept(clinic: Clinic) -> None:
    eye = clinic.eye(tamponade_in="heavy_liquid")
    with pytest.raises(FollowUpError) as refused:
        sign(clinic, eye, "keep_oil", review_on=days(30))
    assert refused.value.code == "no_oil"


@pytest.mark.parametrize(
    ("tamponade", "code"),
    [("oil_1000", "oil_in_place"), ("heavy_liquid", "oil_in_place"), ("unknown", "tamponade_unknown")],
)
def test_an_eye_that_holds_or_may_hold_oil_is_not_discharged(
    clinic: Clinic, tamponade: str, code: str
) -> None:
    with pytest.raises(FollowUpError) as refused:
        sign(clinic, clinic.eye(tamponade_in=tamponade), "discharge")
    assert (refused.value.code, refused.value.field) == (code, "kind")


def test_an_eye_with_oil_kept_by_decision_is_discharged(clinic: Clinic) -> None:
    eye = clinic.oil_eye()
    sign(clinic, eye, "keep_oil", review_on=days(90))
    make_attempt(patient=eye.patient, channel="letter", result="sent", is_warning=True)
    sign(clinic, eye, "discharge")
    assert standing_of(clinic, eye) == "closed"


@pytest.mark.parametrize("why", ["past its review", "undone", "of the oil before"])
def test_a_keep_decision_that_no_longer_holds_allows_no_discharge(clinic: Clinic, why: str) -> None:
    eye = clinic.oil_eye(date=days(-200))
    kept = make_decision(eye=eye, kind="keep_oil", signed_on=days(-100), review_on=days(90))
    if why == "past its review":
        Decision.objects.filter(pk=kept.pk).update(review_on=days(-1))
    elif why == "undone":
        undo_decision(by=clinic.surgeon, now=NOW, today=TODAY, decision=kept, reason="new plan")
    else:
        make_operation(eye=eye, date=days(-50), tamponade_in="oil_5000", takes_out=True)
    with pytest.raises(FollowUpError) as refused:
        sign(clinic, eye, "discharge")
    assert refused.value.code == "oil_in_place"


def test_gas_hinders_no_discharge(clinic: Clinic) -> None:
    eye = clinic.eye(tamponade_in="c3f8")
    sign(clinic, eye, "discharge")
    assert standing_of(clinic, eye) == "closed"


# Reviews


def test_seeing_again_adds_a_review_and_takes_nothing_away(clinic: Clinic) -> None:
    eye = clinic.eye()
    before = set(Milestone.objects.filter(course__eye=eye).values_list("key", flat=True))
    sign(clinic, eye, "see_again", review_on=days(14))
    added = Milestone.objects.get(course__eye=eye, one_off=True)
    assert added.target == days(14)
    assert before < set(Milestone.objects.filter(course__eye=eye).values_list("key", flat=True))


def test_a_visit_stands_for_the_review_it_is_signed_for(clinic: Clinic) -> None:
    eye = clinic.eye()
    wanted = seen(eye)
    sign(clinic, eye, "stands_for", **wanted)
    review = Milestone.objects.get(course__eye=eye, key=wanted["milestone_key"])
    assert (review.mark, review.met_on) == ("signed", days(-57))


@pytest.mark.parametrize(
    ("milestone_key", "code", "field"),
    [("", "milestone_missing", "milestone_key"), ("never", "milestone_missing", "milestone_key")],
)
def test_a_visit_stands_for_no_review_that_is_not_planned(
    clinic: Clinic, milestone_key: str, code: str, field: str
) -> None:
    eye = clinic.eye()
    with pytest.raises(FollowUpError) as refused:
        sign(clinic, eye, "stands_for", **seen(eye) | {"milestone_key": milestone_key})
    assert (refused.value.code, refused.value.field) == (code, field)


def test_a_visit_that_saw_the_fellow_eye_stands_for_nothing(clinic: Clinic) -> None:
    eye = clinic.eye()
    fellow = make_eye(patient=eye.patient, side="left")
    wanted = seen(eye) | {"visit": make_exam(eye=fellow, day=days(-50)).visit}
    with pytest.raises(FollowUpError) as refused:
        sign(clinic, eye, "stands_for", **wanted)
    assert (refused.value.code, refused.value.field) == ("visit_missing", "visit")


# Closing and the places booked


def places_of(clinic: Clinic, eye: Eye) -> dict[str, Appointment]:
    theatre = make_session(site=clinic.site, kind="theatre", day=days(5))
    return {
        "review": make_appointment(patient=eye.patient, day=days(7)),
        "theatre": make_appointment(session=theatre, eye=eye),
        "past": make_appointment(patient=eye.patient, day=days(-7)),
    }


def states_of(places: dict[str, Appointment]) -> dict[str, str]:
    return {name: Appointment.objects.get(pk=place.pk).state for name, place in places.items()}


def test_closing_the_only_eye_cancels_what_lies_ahead(clinic: Clinic) -> None:
    eye = clinic.eye()
    places = places_of(clinic, eye)
    sign(clinic, eye, "discharge")
    assert states_of(places) == {"review": "cancelled", "theatre": "cancelled", "past": "booked"}
    review = Appointment.objects.get(pk=places["review"].pk)
    assert (review.cancelled_by, review.reason) == ("clinic", "The RIGHT eye was closed.")


def test_closing_one_eye_keeps_the_reviews_that_the_other_needs(clinic: Clinic) -> None:
    eye = clinic.eye()
    fellow = clinic.eye(patient=eye.patient, side="left")
    places = places_of(clinic, eye)
    sign(clinic, eye, "discharge")
    assert states_of(places) == {"review": "booked", "theatre": "cancelled", "past": "booked"}
    sign(clinic, fellow, "refused")
    review = Appointment.objects.get(pk=places["review"].pk)
    assert (review.state, review.cancelled_by) == ("cancelled", "patient")


def test_a_transfer_stays_open_until_it_is_accepted(clinic: Clinic) -> None:
    eye = clinic.eye()
    places = places_of(clinic, eye)
    transfer = sign(clinic, eye, "transfer", to_whom="Hill Hospital", signed_on=days(-5))
    assert standing_of(clinic, eye) != "closed"
    assert states_of(places)["review"] == "booked"
    accepted = accept_transfer(by=clinic.surgeon, now=LATER, decision=transfer, accepted_on=days(-1))
    assert accepted.accepted_on == days(-1)
    assert standing_of(clinic, eye) == "closed"
    assert states_of(places)["review"] == "cancelled"
    verbs = list(Change.objects.order_by("id").values_list("verb", flat=True))
    assert verbs == ["sign_decision", "accept_transfer", "cancel_appointment", "cancel_appointment"]


@pytest.mark.parametrize(
    ("fields", "accepted_on", "code"),
    [
        ({"kind": "discharge"}, TODAY, "not_waiting"),
        ({"accepted_on": TODAY}, TODAY, "not_waiting"),
        ({"undone_at": NOW}, TODAY, "not_waiting"),
        ({}, days(1), "accepted_on_range"),
        ({}, days(-2), "accepted_on_range"),
    ],
)
def test_an_acceptance_is_refused(
    clinic: Clinic, fields: dict[str, Any], accepted_on: date, code: str
) -> None:
    transfer = make_decision(eye=clinic.eye(), **{"kind": "transfer", "to_whom": "Hill"} | fields)
    with pytest.raises(FollowUpError) as refused:
        accept_transfer(by=clinic.surgeon, now=NOW, decision=transfer, accepted_on=accepted_on)
    assert refused.value.code == code


# Undoing


def test_an_undone_discharge_opens_the_eye_and_leaves_places_cancelled(clinic: Clinic) -> None:
    eye = clinic.eye()
    places = places_of(clinic, eye)
    discharge = sign(clinic, eye, "discharge")
    undone = undo_decision(
        by=clinic.surgeon, now=LATER, today=TODAY, decision=discharge, reason="other patient meant"
    )
    assert (undone.undone_by, undone.undone_at, undone.undone_reason) == (
        clinic.surgeon,
        LATER,
        "other patient meant",
    )
    assert standing_of(clinic, eye) != "closed"
    assert states_of(places)["review"] == "cancelled"
    assert last_change().verb == "undo_decision"
    assert Decision.objects.count() == 1


@pytest.mark.parametrize(
    ("fields", "reason", "code", "field"),
    [({}, "", "missing", "reason"), ({"undone_at": NOW}, "again", "already_undone", "")],
)
def test_an_undoing_is_refused(
    clinic: Clinic, fields: dict[str, Any], reason: str, code: str, field: str
) -> None:
    decision = make_decision(eye=clinic.eye(), **fields)
    with pytest.raises(FollowUpError) as refused:
        undo_decision(by=clinic.surgeon, now=NOW, today=TODAY, decision=decision, reason=reason)
    assert (refused.value.code, refused.value.field) == (code, field)
