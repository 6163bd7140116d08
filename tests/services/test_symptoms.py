"""New symptoms: anybody may report them, they go before everything, and only a surgeon answers."""

from __future__ import annotations

from typing import Any

import pytest

from followup.domain.errors import FollowUpError, NotAllowed
from followup.models import Appointment, Eye, SymptomReport
from followup.queries.standing import site_standings
from followup.queries.urgent import open_reports
from followup.services.booking import book_appointment, move_appointment
from followup.services.decisions import sign_decision
from followup.services.symptoms import answer_report, report_symptoms
from tests.builders import NOW, TODAY, days, make_appointment, make_session, make_staff
from tests.services.conftest import Clinic, last_change


def report(clinic: Clinic, eye: Eye, **fields: Any) -> SymptomReport:
    dull = {"by": clinic.coordinator, "now": NOW, "today": TODAY, "note": "Curtain since this morning"}
    return report_symptoms(patient=eye.patient, **dull | fields)


def answer(clinic: Clinic, told: SymptomReport, **fields: Any) -> SymptomReport:
    dull = {"by": clinic.surgeon, "now": NOW, "today": TODAY, "answer": "Seen today at noon"}
    return answer_report(report=told, **dull | fields)


def book(clinic: Clinic, eye: Eye) -> Appointment:
    return book_appointment(
        by=clinic.coordinator,
        now=NOW,
        today=TODAY,
        patient=eye.patient,
        session=make_session(site=clinic.site, day=days(9)),
        lane="review",
    )


@pytest.mark.parametrize("role", ["coordinator", "surgeon", "auditor", "administrator"])
def test_anybody_signed_in_reports_and_it_goes_before_every_other_eye(clinic: Clinic, role: str) -> None:
    overdue_oil = clinic.oil_eye(date=days(-200))
    eye = clinic.eye(date=days(-20))
    report(clinic, eye, by=make_staff(role=role, site=clinic.site))
    rows = site_standings(site=clinic.site, day=TODAY)
    assert [row.eye for row in rows] == [eye, overdue_oil]
    assert rows[0].standing.standing == "needs_decision"
    assert rows[0].priority.reasons[0] == "Reports new symptoms"
    assert [told.note for told in open_reports(clinic.site)] == ["Curtain since this morning"]
    assert (last_change().verb, last_change().patient) == ("report_symptoms", eye.patient)


def test_no_routine_place_until_a_surgeon_has_signed_what_to_do(clinic: Clinic) -> None:
    eye = clinic.eye(date=days(-20))
    held = make_appointment(patient=eye.patient)
    told = report(clinic, eye)
    with pytest.raises(FollowUpError) as refused:
        book(clinic, eye)
    assert refused.value.code == "symptoms_unanswered"
    with pytest.raises(FollowUpError) as refused:
        move_appointment(
            by=clinic.coordinator,
            now=NOW,
            today=TODAY,
            appointment=held,
            session=make_session(site=clinic.site, day=days(11)),
        )
    assert refused.value.code == "symptoms_unanswered"
    answer(clinic, told)
    assert book(clinic, eye).state == "booked"


@pytest.mark.parametrize("kind", ["plan", "see_again"])
def test_a_plan_or_a_day_to_be_seen_answers_it_too(clinic: Clinic, kind: str) -> None:
    eye = clinic.eye(date=days(-20))
    told = report(clinic, eye)
    review_on = days(1) if kind == "see_again" else None
    signing = {"by": clinic.surgeon, "now": NOW, "today": TODAY, "reason": "Laser tomorrow"}
    sign_decision(**signing, eye=eye, kind=kind, review_on=review_on)
    told.refresh_from_db()
    assert (told.answer, told.answered_by, told.answered_on) == ("Laser tomorrow", clinic.surgeon, TODAY)


def test_a_closed_eye_asks_again_and_is_closed_once_answered(clinic: Clinic) -> None:
    eye = clinic.eye(date=days(-60))
    signing = {"by": clinic.surgeon, "now": NOW, "today": TODAY, "reason": "Stable"}
    sign_decision(**signing, eye=eye, kind="discharge")
    told = report(clinic, eye)
    assert site_standings(site=clinic.site, day=TODAY)[0].standing.standing == "needs_decision"
    answer(clinic, told)
    assert site_standings(site=clinic.site, day=TODAY)[0].standing.standing == "closed"


@pytest.mark.parametrize("role", ["coordinator", "administrator"])
def test_only_a_surgeon_answers(clinic: Clinic, role: str) -> None:
    with pytest.raises(NotAllowed):
        answer(clinic, report(clinic, clinic.eye()), by=getattr(clinic, role))


def test_what_is_missing_or_answered_already_is_refused(clinic: Clinic) -> None:
    eye = clinic.eye()
    with pytest.raises(FollowUpError) as refused:
        report(clinic, eye, note=" ")
    assert (refused.value.code, refused.value.field) == ("missing", "note")
    told = report(clinic, eye)
    with pytest.raises(FollowUpError) as refused:
        answer(clinic, told, answer=" ")
    assert (refused.value.code, refused.value.field) == ("missing", "answer")
    answer(clinic, told)
    with pytest.raises(FollowUpError) as refused:
        answer(clinic, told)
    assert refused.value.code == "already_answered"
