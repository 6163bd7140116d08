"""Attempts to reach people, and the day of the next step."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from followup.domain.errors import FollowUpError
from followup.models import ContactAttempt, Patient
from followup.services.recall import record_attempt
from tests.builders import NOW, TODAY, days, make_appointment, make_attempt, make_visit
from tests.services.conftest import Clinic, last_change


def attempt(clinic: Clinic, patient: Patient | None = None, **fields: Any) -> ContactAttempt:
    dull = {"channel": "phone", "result": "no_answer"}
    return record_attempt(
        by=clinic.coordinator,
        now=NOW,
        today=TODAY,
        patient=patient or clinic.patient(),
        **dull | fields,
    )


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


@pytest.mark.parametrize(("failed_before", "wait"), [(0, 2), (1, 1), (2, 4), (3, 7), (4, 7), (5, 7)])
def test_the_ladder_waits_longer_with_each_attempt_that_failed(
    clinic: Clinic, failed_before: int, wait: int
) -> None:
    patient = clinic.patient()
    for number in range(failed_before):
        make_attempt(patient=patient, day=days(-20 + number))
    assert attempt(clinic, patient).next_step_on == days(wait)


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
    for number in range(3):
        make_attempt(patient=patient, day=days(-20 + number))
    if turn == "reached":
        make_attempt(patient=patient, day=days(-10), result="call_back")
    else:
        make_visit(patient=patient, day=days(-10))
    assert attempt(clinic, patient).next_step_on == days(2)


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"channel": "pigeon"}, "unknown_code", "channel"),
        ({"result": "maybe"}, "unknown_code", "result"),
        ({"reason": "rain"}, "unknown_code", "reason"),
        ({"next_step_on": days(-1)}, "next_step_past", "next_step_on"),
        ({"note": "x" * 401}, "invalid", "note"),
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
