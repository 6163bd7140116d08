"""Codes in place of names come from chance, are kept, and hang on nothing else."""

from __future__ import annotations

import base64
from importlib import import_module
from uuid import UUID

import pytest
from django.conf import LazySettings
from django.utils.crypto import salted_hmac
from hypothesis import given
from hypothesis import strategies as st

from followup.models import PathwayVersion, Patient
from followup.queries.cohort_choice import CohortChoice
from followup.queries.cohort_codes import MOST_DAYS, SurgeonCodes, days_moved, eye_code, patient_code
from followup.queries.cohorts import cohort_rows
from followup.services.operations import correct_operation, record_operation
from tests.builders import (
    NOW,
    TODAY,
    YESTERDAY,
    make_eye,
    make_operation,
    make_patient,
    make_site,
    make_staff,
)

DRAWN = st.uuids(version=4)


@pytest.mark.django_db
def test_a_code_stays_whatever_becomes_of_number_name_and_secret_key(settings: LazySettings) -> None:
    site = make_site()
    patient = make_patient(site=site, record_number="0042")
    for side in ("right", "left"):
        make_operation(eye=make_eye(patient=patient, side=side), surgeon=make_staff(site=site))
    asked = CohortChoice(site_id=site.pk, lock=TODAY)
    first, second = before = cohort_rows(asked)
    assert first.code < second.code
    assert first.patient_code == second.patient_code
    assert [len(code) for code in (first.code, first.patient_code, first.surgeon_code)] == [13, 13, 13]
    Patient.objects.update(record_number="0043", family_name="Other")
    settings.SECRET_KEY = "another key of the same length or so"
    assert cohort_rows(asked) == before


@pytest.mark.django_db
def test_the_same_person_registered_anew_has_another_code() -> None:
    site, codes = make_site(), set()
    for _ in range(2):
        patient = make_patient(site=site, record_number="0042")
        codes.add(patient_code(patient.pseudonym))
        patient.delete()
    assert len(codes) == 2


@pytest.mark.django_db
def test_a_surgeon_without_a_sign_in_keeps_the_code_of_the_name(
    settings: LazySettings, pathways: list[PathwayVersion]
) -> None:
    site = make_site()
    by = make_staff(role="surgeon", site=site)
    asked = {"by": by, "now": NOW, "today": TODAY}
    operation = record_operation(
        **asked, eye=make_eye(site=site), date=YESTERDAY, indication="rrd", procedures=["vitrectomy"],
        tamponade_in="sf6", surgeon_name="Visiting surgeon",
    )  # fmt: skip
    settings.SECRET_KEY = "another key of the same length or so"
    code = SurgeonCodes().of("name:Visiting surgeon")
    correct_operation(**asked, operation=operation, surgeon_name="Other surgeon")
    correct_operation(**asked, operation=operation, surgeon_name="Visiting surgeon")
    codes = SurgeonCodes()
    assert codes.of("name:Visiting surgeon") == code
    assert len({code, codes.of("name:Other surgeon"), codes.of(f"staff:{by.pk}")}) == 3
    assert codes.of("") == ""


@given(DRAWN)
def test_everybody_is_moved_by_one_to_182_days_back_or_forth(drawn: UUID) -> None:
    assert 1 <= abs(days_moved(drawn)) <= MOST_DAYS


def test_every_number_of_days_is_drawn_alike() -> None:
    moved = [days_moved(UUID(int=number)) for number in range(2 * MOST_DAYS)]
    assert sorted(moved) == [days for days in range(-MOST_DAYS, MOST_DAYS + 1) if days]


@given(DRAWN, st.binary(min_size=3, max_size=3))
def test_a_code_tells_nothing_of_the_days(drawn: UUID, other: bytes) -> None:
    assert eye_code(drawn) == eye_code(UUID(bytes=drawn.bytes[:13] + other))


@pytest.mark.parametrize("pk", ["1", "77", "123456"])
def test_codes_and_days_of_before_they_were_drawn_are_kept(pk: str) -> None:
    kept = import_module("followup.migrations.0016_pseudonyms")._kept
    digest = salted_hmac("followup.audit.patient", pk, algorithm="sha256").digest()
    assert patient_code(kept("patient", pk)) == "P" + base64.b32encode(digest[:10]).decode()[:12]
    weeks = int.from_bytes(salted_hmac("followup.takeout.weeks", pk, algorithm="sha256").digest()[:8]) % 52
    assert days_moved(kept("patient", pk)) == 7 * (weeks - 26 if weeks < 26 else weeks - 25)
