"""What the database itself refuses, whoever writes: `choices` and `save` guard nothing under a bulk write."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, time

import pytest
from django.db import IntegrityError, transaction

from followup.models import (
    Course,
    Decision,
    Eye,
    Fill,
    LockedAudit,
    Milestone,
    Operation,
    PathwayVersion,
    Patient,
    Site,
)
from tests.builders import (
    NOW,
    make_acuity,
    make_appointment,
    make_course,
    make_exam,
    make_eye,
    make_milestone,
    make_oil_operation,
    make_patient,
    make_session,
    make_site,
    make_staff,
    make_visit,
)

pytestmark = pytest.mark.django_db
DAY = date(2024, 1, 31)


def fill(operation: Operation, **fields: object) -> Fill:
    dull = {"tamponade": "oil_1000", "placed_on": DAY, "first_placed_on": DAY}
    return Fill.objects.create(eye=operation.eye, placed_by=operation, **dull | fields)


def two_open_fills() -> None:
    operation = make_oil_operation()
    fill(operation)
    fill(operation)


def two_open_courses() -> None:
    first = make_course()
    Course.objects.create(eye=first.eye, pathway=first.pathway, operation=first.operation, anchor=DAY)


def a_window_out_of_order() -> None:
    row = make_milestone()
    Milestone.objects.filter(pk=row.pk).update(closes=row.opens.replace(year=2000))


def two_right_eyes() -> None:
    eye = make_eye(side="right")
    Eye.objects.create(patient=eye.patient, side="right")


def two_visits_on_a_day() -> None:
    visit = make_visit()
    make_visit(patient=visit.patient, day=visit.day)


def two_exams_of_an_eye_at_a_visit() -> None:
    exam = make_exam()
    make_exam(eye=exam.eye, visit=exam.visit)


def two_places_of_a_person_in_a_session() -> None:
    place = make_appointment()
    make_appointment(patient=place.patient, session=place.session)


def two_active_versions() -> None:
    for version in (1, 2):
        PathwayVersion.objects.create(key="plain", version=version, title="Plain", text="")


def decision(**fields: object) -> Decision:
    dull = {"signed_on": DAY, "recorded_at": NOW, "reason": "As discussed"}
    return Decision.objects.create(eye=make_eye(), signed_by=make_staff(role="surgeon"), **dull | fields)


def locked_audit(**fields: object) -> LockedAudit:
    dull = {
        "site": make_site(),
        "title": "Two years",
        "lock": DAY,
        "minimum_at_risk": 5,
        "figures": {},
        "definitions": [],
        "eyes": 1,
        "locked_by": make_staff(role="auditor"),
        "locked_at": NOW,
    }
    return LockedAudit.objects.create(**dull | fields)


def superseded_and_in_use() -> None:
    locked_audit(superseded_by=locked_audit())


REFUSED: list[tuple[str, Callable[[], object]]] = [
    ("a second open fill in an eye", two_open_fills),
    ("a fill that ends before it began", lambda: fill(make_oil_operation(), ended_on=date(2024, 1, 30))),
    (
        "a fill first placed after it was placed",
        lambda: fill(make_oil_operation(), first_placed_on=date(2024, 2, 1)),
    ),
    ("a second open course of an eye", two_open_courses),
    ("a window that closes before it opens", a_window_out_of_order),
    ("both as a side", lambda: Eye.objects.create(patient=make_patient(), side="both")),
    ("a side left empty", lambda: Eye.objects.create(patient=make_patient(), side="")),
    ("a second right eye", two_right_eyes),
    ("an axial length of 240 mm", lambda: make_eye(axial_length_mm="99.00")),
    (
        "the same record number twice at a site",
        lambda: make_patient(site=make_patient(record_number="0012").site, record_number="0012"),
    ),
    ("a death before birth", lambda: make_patient(birth_date=date(2000, 1, 1), died_on=date(1999, 1, 1))),
    ("a second visit of a person on a day", two_visits_on_a_day),
    ("a second exam of an eye at a visit", two_exams_of_an_eye_at_a_visit),
    ("a pressure of 180", lambda: make_exam(pressure_mmhg=180)),
    ("an acuity with a number and a category", lambda: make_acuity(logmar="0.3", category="hand_movements")),
    ("an acuity with neither", lambda: make_acuity(logmar=None, category="")),
    ("two places of one person in a session", two_places_of_a_person_in_a_session),
    ("a removal that names no eye", lambda: make_appointment(lane="removal")),
    ("a cancellation that says not by whom", lambda: make_appointment(state="cancelled")),
    ("a session that ends before it starts", lambda: make_session(starts=time(12), ends=time(9))),
    ("two versions of a pathway in force", two_active_versions),
    ("oil kept without a review date", lambda: decision(kind="keep_oil")),
    ("see again without a day", lambda: decision(kind="see_again")),
    ("a transfer to nobody", lambda: decision(kind="transfer")),
    ("a decision without a reason", lambda: decision(kind="plan", reason="")),
    ("an audit locked of nobody", lambda: locked_audit(eyes=0)),
    ("an audit withdrawn that says not by whom and why", lambda: locked_audit(withdrawn_at=NOW)),
    ("an audit superseded and in use", superseded_and_in_use),
]


@pytest.mark.parametrize("write", [write for _, write in REFUSED], ids=[name for name, _ in REFUSED])
def test_the_database_refuses(write: Callable[[], object]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        write()


def test_one_record_number_may_stand_at_two_sites() -> None:
    make_patient(record_number="0012")
    make_patient(record_number="0012")
    assert Patient.objects.filter(record_number="0012").count() == Site.objects.count() == 2


def test_a_visit_entered_in_error_leaves_its_day_free() -> None:
    wrong = make_visit(in_error=True)
    make_visit(patient=wrong.patient, day=wrong.day)
    assert wrong.patient.visits.count() == 2
