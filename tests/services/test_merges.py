"""Two records of one person become one, with both numbers and histories, and can be taken apart again."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from followup.domain.errors import Refused
from followup.models import (
    AcuityReading,
    Appointment,
    Change,
    Decision,
    Exam,
    KeptApart,
    Operation,
    PathwayVersion,
    Patient,
    Site,
    Staff,
    Visit,
)
from followup.queries.people import changes_of
from followup.queries.standing import site_standings
from followup.services.merges import keep_apart, merge_patients, undo_merge
from followup.services.pathway import replan_eyes, verify
from followup.services.people import change_patient
from tests.builders import (
    NOW,
    TODAY,
    make_acuity,
    make_appointment,
    make_decision,
    make_exam,
    make_eye,
    make_oil_operation,
    make_operation,
    make_patient,
    make_session,
    make_site,
    make_staff,
)

pytestmark = pytest.mark.django_db
SEEN = TODAY - timedelta(days=20)


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site()


@pytest.fixture
def robin(site: Site) -> Staff:
    return make_staff(role="surgeon", site=site)


@pytest.fixture
def kept(site: Site) -> Patient:
    """RIGHT, oil, seen three weeks ago; telephone not known."""
    patient = make_patient(site=site, record_number="0012", family_name="Vale", given_name="Orin")
    eye = make_eye(patient=patient)
    make_oil_operation(eye=eye)
    make_acuity(exam=make_exam(eye=eye, day=SEEN))
    return patient


@pytest.fixture
def merged(site: Site) -> Patient:
    """LEFT, gas, seen on the same day and once more; booked; a decision signed."""
    patient = make_patient(
        site=site, record_number="0944", family_name="Vail", given_name="Orin", phone="555 0142"
    )
    eye = make_eye(patient=patient, side="left")
    make_operation(eye=eye)
    make_acuity(exam=make_exam(eye=eye, day=SEEN))
    make_exam(eye=eye, day=SEEN + timedelta(days=7))
    make_appointment(patient=patient, session=make_session(site=site))
    make_decision(eye=eye, kind="plan")
    replan_eyes(eye_ids=[eye.pk])
    return patient


def everything() -> dict[str, list[dict[str, Any]]]:
    models = (Patient, Operation, Visit, Exam, AcuityReading, Appointment, Decision)
    return {model.__name__: list(model._default_manager.order_by("pk").values()) for model in models}


def test_everything_belongs_to_the_record_that_is_kept(
    kept: Patient, merged: Patient, robin: Staff, site: Site
) -> None:
    replan_eyes(eye_ids=[kept.eyes.get().pk])
    before = {row.eye.side: row.standing.standing for row in site_standings(site=site, day=TODAY)}
    merge_patients(by=robin, now=NOW, kept=kept, merged=merged)
    rows = site_standings(site=site, day=TODAY)
    assert {(row.eye.patient.record_number, row.eye.side) for row in rows} == {
        ("0012", "right"),
        ("0012", "left"),
    }
    assert {row.eye.side for row in rows} == set(before)
    assert kept.visits.count() == 2
    assert Exam.objects.filter(visit__patient=kept, visit__day=SEEN).count() == 2
    assert (kept.appointments.count(), merged.appointments.count()) == (1, 0)
    kept.refresh_from_db()
    assert (kept.phone, kept.family_name) == ("555 0142", "Vale")
    assert list(verify()) == []


def test_both_histories_stay_and_are_read_together(kept: Patient, merged: Patient, robin: Staff) -> None:
    change_patient(by=robin, now=NOW, patient=merged, phone="555 0143")
    merge_patients(by=robin, now=NOW, kept=kept, merged=merged)
    assert [change.verb for change in changes_of(kept)].count("merge_patients") == 2
    assert "change_patient" in [change.verb for change in changes_of(kept)]
    assert Change.objects.filter(patient=merged, verb="change_patient").exists()


def test_taken_apart_again_all_is_as_before(kept: Patient, merged: Patient, robin: Staff) -> None:
    before = everything()
    merge = merge_patients(by=robin, now=NOW, kept=kept, merged=merged)
    assert everything() != before
    undo_merge(by=robin, now=NOW, merge=merge)
    assert everything() == before
    assert list(verify()) == []
    with pytest.raises(Refused, match="taken apart already"):
        undo_merge(by=robin, now=NOW, merge=merge)


def test_what_both_say_of_one_eye_and_day_must_be_settled_first(
    kept: Patient, merged: Patient, robin: Staff
) -> None:
    day = kept.eyes.get().operations.get().date
    make_operation(eye=make_eye(patient=merged), date=day)
    with pytest.raises(Refused, match=rf"operation on the RIGHT eye on {day}\. Mark one as entered in error"):
        merge_patients(by=robin, now=NOW, kept=kept, merged=merged)


@pytest.mark.parametrize("what", ["itself", "another clinic", "merged already", "one of them dead"])
def test_records_that_cannot_be_merged_are_refused(
    what: str, kept: Patient, merged: Patient, robin: Staff
) -> None:
    other = merged
    if what == "itself":
        other = kept
    elif what == "another clinic":
        other = make_patient()
    elif what == "merged already":
        merge_patients(by=robin, now=NOW, kept=make_patient(site=kept.site), merged=merged)
    else:
        Patient.objects.filter(pk=merged.pk).update(died_on=date(2026, 1, 1))
    with pytest.raises(Refused):
        merge_patients(by=robin, now=NOW, kept=kept, merged=other)


def test_two_people_are_noted_once(kept: Patient, merged: Patient, robin: Staff) -> None:
    for one, other in ((kept, merged), (merged, kept)):
        keep_apart(by=robin, now=NOW, one=one, other=other)
    assert KeptApart.objects.count() == 1
