"""Which letters wait: appointments not told of, people called in vain, oil left in an eye."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from followup.models import Appointment, PathwayVersion, Patient, Site
from followup.queries.letters import letters_to_print, oil_letter, why_not
from followup.services.letters import record_letters
from followup.services.pathway import replan_eyes
from tests.builders import (
    NOW,
    TODAY,
    days,
    make_appointment,
    make_attempt,
    make_consent,
    make_decision,
    make_eye,
    make_oil_operation,
    make_operation,
    make_patient,
    make_site,
    make_staff,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site()


def silent(site: Site, *, oil: bool = False, attempts: int = 3, result: str = "no_answer") -> Patient:
    """Somebody overdue after an operation long ago, and so many attempts of one result."""
    make = make_oil_operation if oil else make_operation
    operation = make(eye=make_eye(patient=make_patient(site=site, postal_address="1 Quay")), date=days(-200))
    replan_eyes(eye_ids=[operation.eye_id])
    for number in range(attempts):
        make_attempt(patient=operation.eye.patient, day=days(number - attempts), result=result)
    return operation.eye.patient


def waiting(site: Site) -> list[tuple[str, int]]:
    return [(row.kind.value, row.patient.pk) for row in letters_to_print(site=site, day=TODAY)]


def print_all(site: Site) -> None:
    by = make_staff(site=site)
    record_letters(by=by, now=NOW, today=TODAY, letters=letters_to_print(site=site, day=TODAY))


def with_address(site: Site, **fields: object) -> Patient:
    return make_patient(site=site, postal_address="1 Quay", **fields)


def test_an_appointment_is_told_of_once_and_again_when_moved(site: Site) -> None:
    place = make_appointment(patient=with_address(site))
    assert waiting(site) == [("appointment", place.patient_id)]
    print_all(site)
    assert waiting(site) == []
    Appointment.objects.update(sequence=1)
    assert waiting(site) == [("appointment", place.patient_id)]


@pytest.mark.parametrize("ahead", [-1, 0])
def test_appointments_of_today_and_before_need_no_letter(site: Site, ahead: int) -> None:
    make_appointment(patient=with_address(site), day=days(ahead))
    assert waiting(site) == []


def test_nothing_is_written_to_the_dead_or_of_cancelled_places_or_of_other_sites(site: Site) -> None:
    make_appointment(patient=with_address(site, died_on=TODAY))
    make_appointment(patient=with_address(site), state="cancelled", cancelled_by="clinic")
    make_appointment(patient=with_address(make_site()))
    assert waiting(site) == []


@pytest.mark.parametrize(
    ("attempts", "result", "offered"),
    [(2, "no_answer", False), (3, "no_answer", True), (3, "returned", True), (3, "call_back", False)],
)
def test_three_attempts_in_vain_bring_a_letter(site: Site, attempts: int, result: str, offered: bool) -> None:
    patient = silent(site, attempts=attempts, result=result)
    assert waiting(site) == ([("not_reached", patient.pk)] if offered else [])


def test_who_has_a_place_ahead_is_not_asked_why_they_are_silent(site: Site) -> None:
    make_appointment(patient=silent(site))
    assert [kind for kind, _ in waiting(site)] == ["appointment"]


def test_oil_left_in_the_eye_brings_the_warning_instead(site: Site) -> None:
    patient = silent(site, oil=True)
    assert waiting(site) == [("oil", patient.pk)]
    (row,) = letters_to_print(site=site, day=TODAY)
    assert (row.side, row.since) == ("right", days(-200))


@pytest.mark.parametrize("kind", ["lost", "refused"])
def test_an_eye_given_up_with_oil_in_it_brings_the_warning(site: Site, kind: str) -> None:
    patient = silent(site, oil=True, attempts=0)
    assert waiting(site) == []
    make_decision(eye=patient.eyes.get(), kind=kind)
    assert waiting(site) == [("oil", patient.pk)]


def test_an_eye_given_up_without_oil_is_left_alone(site: Site) -> None:
    make_decision(eye=silent(site).eyes.get(), kind="lost")
    assert waiting(site) == []


def test_the_same_letter_is_offered_again_after_four_weeks(site: Site) -> None:
    patient = silent(site)
    print_all(site)
    assert waiting(site) == []
    later = [row.patient.pk for row in letters_to_print(site=site, day=days(29))]
    assert later == [patient.pk]


def test_why_somebody_gets_no_letter() -> None:
    patient = make_patient(site=make_site(), family_name="Farouk", given_name="Amal")
    assert why_not(patient) == "No postal address of Farouk, Amal is on record. Add it to their details."
    patient.postal_address = "1 Quay"
    assert why_not(patient) == ""
    consent = make_consent(patient=patient, channel="letter")
    assert why_not(patient) == ""
    consent.withdrawn_on, consent.withdrawn_by = TODAY, consent.given_by
    consent.save()
    assert why_not(patient) == "Farouk, Amal withdrew consent to letters."
    patient.died_on = TODAY
    assert why_not(patient) == "Farouk, Amal died on 2 Mar 2026."


def test_an_eye_without_oil_has_no_warning(site: Site) -> None:
    assert oil_letter(silent(site).eyes.get(), TODAY) is None
    assert oil_letter(make_eye(site=site), TODAY) is None


def test_however_many_letters_the_same_number_of_queries(site: Site) -> None:
    counts = []
    for _ in range(2):
        silent(site), silent(site, oil=True), make_appointment(patient=with_address(site))
        with CaptureQueriesContext(connection) as queries:
            for row in letters_to_print(site=site, day=TODAY):
                why_not(row.patient)
        counts.append(len(queries))
    assert counts[0] == counts[1]
