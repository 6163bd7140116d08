"""Patients and eyes: what is written, and what is refused."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from followup.domain.errors import FollowUpError
from followup.models import Change, Course, Eye, Patient
from followup.services import people
from followup.services.people import change_eye, change_patient, ensure_eye, register_patient
from tests.builders import NOW, TODAY, days, make_site, make_visit
from tests.services.conftest import Clinic, last_change


def test_a_patient_is_registered_with_what_is_known(clinic: Clinic) -> None:
    patient = register_patient(
        by=clinic.coordinator,
        now=NOW,
        site=clinic.site,
        record_number=" 0012345 ",
        family_name="Marsh",
        birth_date=date(1960, 2, 29),
        phone="+20 2 0000 0000",
    )
    assert Patient.objects.get() == patient
    assert (patient.record_number, patient.name) == ("0012345", "Marsh")
    change = last_change()
    assert (change.verb, change.patient, change.by) == ("register_patient", patient, clinic.coordinator)
    assert change.after["birth_date"] == "1960-02-29"


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"record_number": "  "}, "missing", "record_number"),
        ({"record_number": "TAKEN"}, "record_number_taken", "record_number"),
        ({"birth_date": days(1)}, "born_in_the_future", "birth_date"),
        ({"email": "nobody"}, "invalid", "email"),
        ({"sex": "f"}, "invalid", "sex"),
        ({"record_number": "9" * 41}, "invalid", "record_number"),
    ],
)
def test_a_patient_is_refused(clinic: Clinic, fields: dict[str, Any], code: str, field: str) -> None:
    clinic.patient(record_number="TAKEN")
    wanted = {"record_number": "1"} | fields
    with pytest.raises(FollowUpError) as refused:
        register_patient(by=clinic.coordinator, now=NOW, site=clinic.site, **wanted)
    assert (refused.value.code, refused.value.field) == (code, field)
    assert not Change.objects.exists()


def test_another_site_may_use_the_same_record_number(clinic: Clinic) -> None:
    first = clinic.patient(record_number="7")
    second = register_patient(by=None, now=NOW, site=make_site(), record_number="7")
    assert first.site != second.site


def test_a_change_keeps_the_earlier_value_and_only_what_differs(clinic: Clinic) -> None:
    patient = clinic.patient(phone="1", language="ar")
    changed = change_patient(by=clinic.coordinator, now=NOW, patient=patient, phone="2", language="ar")
    assert changed.phone == "2"
    assert (last_change().before, last_change().after) == ({"phone": "1"}, {"phone": "2"})


def test_a_change_to_the_same_values_writes_nothing(clinic: Clinic) -> None:
    patient = clinic.patient(phone="1")
    change_patient(by=clinic.coordinator, now=NOW, patient=patient, phone="1")
    assert not Change.objects.exists()


def test_a_death_is_not_recorded_as_a_change_of_a_field(clinic: Clinic) -> None:
    with pytest.raises(TypeError, match="died_on"):
        change_patient(by=clinic.coordinator, now=NOW, patient=clinic.patient(), died_on=TODAY)


@pytest.mark.parametrize("seen_by", ["operation", "visit"])
def test_nobody_is_born_after_they_were_first_seen(clinic: Clinic, seen_by: str) -> None:
    patient = clinic.patient()
    if seen_by == "operation":
        clinic.eye(patient=patient, date=date(2020, 1, 2))
    else:
        make_visit(patient=patient, day=date(2020, 1, 2))
    with pytest.raises(FollowUpError) as refused:
        change_patient(by=clinic.coordinator, now=NOW, patient=patient, birth_date=date(2020, 1, 3))
    assert (refused.value.code, refused.value.field) == ("born_after_first_record", "birth_date")
    assert "2 Jan 2020" in refused.value.message


def test_an_eye_is_made_once(clinic: Clinic) -> None:
    patient = clinic.patient()
    assert ensure_eye(patient=patient, side="left") == ensure_eye(patient=patient, side="left")
    assert Eye.objects.count() == 1


@pytest.mark.parametrize("side", ["both", "", "OD", "Right"])
def test_both_is_never_a_side(clinic: Clinic, side: str) -> None:
    with pytest.raises(FollowUpError) as refused:
        ensure_eye(patient=clinic.patient(), side=side)
    assert (refused.value.code, refused.value.field) == ("unknown_code", "side")


def test_a_long_eye_with_a_staphyloma_changes_to_the_yearly_pathway(clinic: Clinic) -> None:
    eye = clinic.eye(indication="mhrd")
    change_eye(
        by=clinic.surgeon,
        now=NOW,
        today=TODAY,
        eye=eye,
        axial_length_mm=Decimal("29.1"),
        staphyloma="yes",
        only_eye=False,
    )
    eye.refresh_from_db()
    assert (eye.axial_length_mm, eye.staphyloma) == (Decimal("29.10"), "yes")
    assert last_change().after == {"axial_length_mm": "29.1", "staphyloma": "yes"}
    assert Course.objects.filter(eye=eye).count() == 1


@pytest.mark.parametrize(
    ("fields", "code", "field"),
    [
        ({"axial_length_mm": Decimal("14.9")}, "axial_length_range", "axial_length_mm"),
        ({"axial_length_mm": Decimal("40.1")}, "axial_length_range", "axial_length_mm"),
        ({"staphyloma": "maybe"}, "unknown_code", "staphyloma"),
    ],
)
def test_what_no_eye_has_is_refused(clinic: Clinic, fields: dict[str, Any], code: str, field: str) -> None:
    wanted = {"axial_length_mm": None, "staphyloma": "unknown", "only_eye": False} | fields
    with pytest.raises(FollowUpError) as refused:
        change_eye(by=None, now=NOW, today=TODAY, eye=clinic.eye(), **wanted)
    assert (refused.value.code, refused.value.field) == (code, field)


def test_last_seen_is_the_later_of_operation_and_visit(clinic: Clinic) -> None:
    patient = clinic.patient()
    assert people.last_seen(patient) is None
    clinic.eye(patient=patient, date=days(-40))
    make_visit(patient=patient, day=days(-10))
    make_visit(patient=patient, day=days(-5), in_error=True)
    assert people.last_seen(patient) == days(-10)
