"""Attempts to reach people, and the day of the next step."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from followup.domain.errors import FollowUpError, NotAllowed, Refused
from followup.models import ContactAttempt, Eye, Patient, SymptomReport
from followup.queries.ladder import usual_text
from followup.queries.standing import site_standings
from followup.services.pathway import replan_eye
from followup.services.recall import record_attempt
from tests.builders import NOW, TODAY, days, make_appointment, make_attempt, make_consent, make_exam
from tests.services.conftest import Clinic, last_change


def attempt(clinic: Clinic, patient: Patient | None = None, **fields: Any) -> ContactAttempt:
    dull = {"channel": "phone", "result": "no_answer"}
    who = {"by": clinic.coordinator, "now": NOW, "today": TODAY}
    return record_attempt(patient=patient or clinic.patient(), **who | dull | fields)


def test_an_attempt_is_kept_with_who_how_and_what_came_of_it(clinic: Clinic) -> None:
    made = attempt(clinic, number_used=" 0100 ", result="refused", reason="fear", note="call in May")
    assert (made.made_by, made.made_at, made.day, made.number_used) == (
        clinic.coordinator,
        NOW,
        TODAY,
        "0100",
    )
    change = last_change()
    assert (change.verb, change.patient, change.after["reason"]) == ("record_attempt", made.patient, "fear")


STEPS = ("phone", "phone", "text", "letter", "referrer")


@pytest.mark.parametrize(("taken", "wait"), [(0, 2), (1, 1), (2, 4), (3, 7), (4, 7)])
def test_each_step_in_vain_leads_to_the_next_by_the_ladder(clinic: Clinic, taken: int, wait: int) -> None:
    patient = clinic.patient()
    for number, channel in enumerate(STEPS[:taken]):
        make_attempt(patient=patient, day=days(-20 + number), channel=channel)
    made = attempt(clinic, patient, channel=STEPS[taken])
    assert made.next_step_on == days(wait)


@pytest.mark.parametrize(
    ("eye", "wait"),
    [({}, 2), ({"tamponade_in": "oil_1000"}, 1), ({"only_eye": True}, 1)],
    ids=["gas", "oil", "only eye"],
)
def test_the_days_are_shorter_where_more_is_at_stake(clinic: Clinic, eye: dict[str, Any], wait: int) -> None:
    only_eye = eye.pop("only_eye", False)
    made = clinic.eye(date=days(-200), **eye)
    make_exam(eye=made, day=days(-190))
    Eye.objects.filter(pk=made.pk).update(only_eye=only_eye)
    replan_eye(eye_id=made.pk)
    assert attempt(clinic, made.patient).next_step_on == days(wait)


def test_a_step_is_for_the_roles_that_the_clinic_s_ladder_names(clinic: Clinic) -> None:
    clinic.site.ladder = usual_text().replace(
        'channels = ["referrer", "kin"]\nday = 14\nday_shorter = 7\nby = ["coordinator", "surgeon"]',
        'channels = ["referrer", "kin"]\nday = 14\nday_shorter = 7\nby = ["surgeon"]',
    )
    clinic.site.save()
    patient = clinic.patient()
    with pytest.raises(NotAllowed) as refused:
        attempt(clinic, patient, channel="kin")
    assert 'The step "Referrer or family doctor" is for a surgeon' in refused.value.message
    assert attempt(clinic, patient, channel="referrer", by=clinic.surgeon).made_by == clinic.surgeon


def test_the_next_of_kin_is_spoken_with_only_where_the_person_agreed(clinic: Clinic) -> None:
    patient = clinic.patient()
    with pytest.raises(Refused) as refused:
        attempt(clinic, patient, channel="kin")
    assert (refused.value.field, refused.value.code) == ("channel", "kin_without_consent")
    agreed = make_consent(patient=patient, channel="kin")
    assert attempt(clinic, patient, channel="kin").channel == "kin"
    agreed.withdrawn_on = TODAY
    agreed.save()
    with pytest.raises(Refused, match="No consent to speak with the next of kin"):
        attempt(clinic, patient, channel="kin")


def test_new_symptoms_told_in_a_call_are_reported(clinic: Clinic) -> None:
    eye = clinic.eye()
    attempt(clinic, eye.patient, result="symptoms", note="Curtain in the RIGHT eye")
    (told,) = SymptomReport.objects.all()
    assert (told.patient, told.note, told.recorded_by) == (
        eye.patient,
        "Curtain in the RIGHT eye",
        clinic.coordinator,
    )


@pytest.mark.parametrize(
    ("result", "next_step_on"),
    [
        ("symptoms", TODAY),
        ("call_back", days(2)),
        ("will_come", days(1)),
        ("refused", None),
        ("wrong_number", days(1)),
        ("returned", days(1)),
        ("message_left", days(2)),
        ("sent", days(2)),
    ],
)
def test_what_was_said_tells_the_next_step(clinic: Clinic, result: str, next_step_on: date | None) -> None:
    assert attempt(clinic, result=result).next_step_on == next_step_on


def test_somebody_who_will_come_and_is_booked_needs_no_next_step(clinic: Clinic) -> None:
    place = make_appointment(patient=clinic.patient())
    assert attempt(clinic, place.patient, result="will_come").next_step_on is None


def test_a_day_that_is_given_is_kept(clinic: Clinic) -> None:
    assert attempt(clinic, next_step_on=days(20)).next_step_on == days(20)


@pytest.mark.parametrize("turn", ["reached", "seen"])
def test_the_ladder_starts_again_once_somebody_was_reached_or_seen(clinic: Clinic, turn: str) -> None:
    patient = clinic.patient()
    eye = clinic.eye(patient=patient, date=days(-60))
    for number, channel in enumerate(STEPS):
        make_attempt(patient=patient, day=days(-20 + number), channel=channel)
    if turn == "reached":
        make_attempt(patient=patient, day=days(-10), result="call_back")
    else:
        make_exam(eye=eye, day=days(-10))
        replan_eye(eye_id=eye.pk)
    (row,) = site_standings(site=clinic.site, day=TODAY)
    assert row.standing.contact is None or (row.standing.contact.number, row.standing.contact.failed) == (
        1,
        0,
    )


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"channel": "pigeon"}, "unknown_code", "channel"),
        ({"result": "maybe"}, "unknown_code", "result"),
        ({"reason": "rain"}, "unknown_code", "reason"),
        ({"next_step_on": days(-1)}, "next_step_past", "next_step_on"),
        ({"note": "x" * 401}, "invalid", "note"),
        ({"is_warning": True}, "warning_is_a_letter", "is_warning"),
    ],
)
def test_an_attempt_is_refused(clinic: Clinic, fields: dict[str, Any], code: str, field: str) -> None:
    with pytest.raises(FollowUpError) as refused:
        attempt(clinic, **fields)
    assert (refused.value.code, refused.value.field) == (code, field)
    assert not ContactAttempt.objects.exists()


def test_nobody_calls_after_a_death(clinic: Clinic) -> None:
    with pytest.raises(FollowUpError) as refused:
        attempt(clinic, clinic.patient(died_on=days(-1)))
    assert refused.value.code == "patient_died"
