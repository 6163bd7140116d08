"""The bundle is one that the published R4 models accept, and each eye carries the code of its own side."""

from __future__ import annotations

import io
import json
from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from fhir.resources.R4B.bundle import Bundle as PublishedBundle

from followup.domain.words import Correction, Side
from followup.interchange.exports import fhir_codes
from followup.interchange.exports.fhir import Bundle
from followup.models import Eye, Patient, Site
from tests.builders import make_acuity, make_appointment, make_exam, make_session

pytestmark = pytest.mark.django_db

BASE = "https://follow-up.clinic.example"
VERIFIED = {
    fhir_codes.LOINC: {"79892-6", "79893-4", "65893-0", "65897-1", "98499-7", "98498-9", "28631-0"},
    fhir_codes.SNOMED: {"362502000", "362503005", "419475002"},
    fhir_codes.ICD_10: {"H33.0"},
}
"""Each seen in several published guides and value sets."""


def told(site: Site) -> dict[str, Any]:
    written = io.StringIO()
    bundle = Bundle(site, BASE)
    bundle.write(written)
    found: dict[str, Any] = json.loads(written.getvalue())
    assert bundle.resources == len(found["entry"])
    return found


def of_kind(site: Site, kind: str) -> list[dict[str, Any]]:
    return [one["resource"] for one in told(site)["entry"] if one["resource"]["resourceType"] == kind]


def codings(part: Any) -> list[tuple[str, str]]:
    if isinstance(part, list):
        return [found for each in part for found in codings(each)]
    if not isinstance(part, dict):
        return []
    own = [(one["system"], one["code"]) for one in part.get("coding", [])]
    return [*own, *(found for each in part.values() for found in codings(each))]


@pytest.fixture
def booked(harbour: Site) -> Site:
    patient = Patient.objects.get(record_number="0012")
    session = make_session(site=harbour)
    make_appointment(
        patient=patient, session=session, state="cancelled", cancelled_by="patient", reason="Ill"
    )
    make_appointment(patient=patient, session=session)
    return harbour


def test_the_published_models_accept_it(booked: Site) -> None:
    published = PublishedBundle.model_validate_json(json.dumps(told(booked)))
    assert published.type == "transaction"


def test_each_kind_of_resource_is_there_and_points_at_a_person_of_the_bundle(booked: Site) -> None:
    found = told(booked)["entry"]
    assert {one["resource"]["resourceType"] for one in found} == {
        "Patient",
        "Procedure",
        "Observation",
        "Appointment",
        "CarePlan",
    }
    addresses = [one["fullUrl"] for one in found]
    assert len(set(addresses)) == len(addresses)
    for one in found:
        for part in (
            one["resource"].get("subject"),
            *(p["actor"] for p in one["resource"].get("participant", [])),
        ):
            assert part is None or part["reference"] in addresses


def test_only_codes_that_are_verified_stand_in_it(booked: Site) -> None:
    for system, code in codings(told(booked)):
        assert code in VERIFIED[system], (system, code)


@pytest.mark.parametrize(
    ("code", "right", "left"),
    [
        (fhir_codes.eye, "362502000", "362503005"),
        (fhir_codes.pressure, "79892-6", "79893-4"),
        (lambda side: fhir_codes.acuity(Correction.BEST, side), "65893-0", "65897-1"),
        (lambda side: fhir_codes.acuity(Correction.UNAIDED, side), "98499-7", "98498-9"),
    ],
    ids=["eye", "pressure", "best corrected", "uncorrected"],
)
def test_right_and_left_have_each_their_own_code(code: Any, right: str, left: str) -> None:
    assert codings(code(Side.RIGHT))[0][1] == right
    assert codings(code(Side.LEFT))[0][1] == left


@pytest.mark.parametrize(
    ("precision", "written"),
    [("day", "2023-03-01"), ("month", "2023-03"), ("year", "2023"), ("nominal", None)],
)
def test_a_date_is_no_more_exact_than_it_is_known(harbour: Site, precision: str, written: str | None) -> None:
    eye = Eye.objects.get(side="right")
    eye.operations.filter(date=date(2023, 3, 1)).update(date_precision=precision)
    assert of_kind(harbour, "Procedure")[0].get("performedDateTime") == written


def test_sight_is_a_number_with_its_unit_or_a_category_in_words(harbour: Site) -> None:
    seen = {
        one["code"]["text"]: one for one in of_kind(harbour, "Observation") if "acuity" in one["code"]["text"]
    }
    best = seen["Best corrected visual acuity, right eye"]
    assert (best["valueQuantity"]["value"], best["valueQuantity"]["code"]) == (0.1561, "{logMAR}")
    assert best["note"][0]["text"] == "As written: 6/9+1; the number is approximate"
    assert seen["Visual acuity, right eye: not recorded"]["valueCodeableConcept"] == {
        "text": "Counting fingers"
    }


def test_the_same_reading_twice_the_bundle_makes_nothing_twice(booked: Site) -> None:
    first, second = told(booked)["entry"], told(booked)["entry"]
    assert [one["request"]["ifNoneExist"] for one in first] == [
        one["request"]["ifNoneExist"] for one in second
    ]
    exam = make_exam(eye=Eye.objects.get(side="left"), day=date(2024, 1, 1))
    make_acuity(exam=exam, logmar=Decimal("0.3010"))
    more = {one["request"]["ifNoneExist"] for one in told(booked)["entry"]}
    assert more > {one["request"]["ifNoneExist"] for one in first}
