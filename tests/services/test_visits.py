"""Visits: both eyes at once, everything or nothing."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest

from followup.domain.acuity.notation import Notation
from followup.domain.errors import FollowUpError
from followup.models import (
    AcuityReading,
    Change,
    Decision,
    Exam,
    ExamComplication,
    Eye,
    Milestone,
    Visit,
)
from followup.services.visits import (
    AcuityEntry,
    ExamEntry,
    correct_visit,
    mark_visit_in_error,
    record_visit,
)
from tests.builders import NOW, TODAY, days, make_appointment, make_decision, make_visit
from tests.services.conftest import Clinic, last_change

LATER = NOW + timedelta(hours=1)
RIGHT_FLAT = ExamEntry(side="right", retina="attached")


def see(clinic: Clinic, **fields: Any) -> Visit:
    dull: dict[str, Any] = {"day": TODAY, "exams": [RIGHT_FLAT], "bare_acuity": Notation.DECIMAL}
    if "patient" not in fields:
        dull["patient"] = clinic.patient()
    return record_visit(by=clinic.coordinator, now=NOW, today=TODAY, **dull | fields)


def test_a_visit_holds_both_eyes(clinic: Clinic) -> None:
    eye = clinic.oil_eye()
    visit = see(
        clinic,
        patient=eye.patient,
        note=" tired ",
        examiner=clinic.surgeon,
        exams=[
            ExamEntry(
                side="right",
                pressure="31",
                retina="attached",
                hole="closed",
                outer_retina="intact",
                lens="cataract",
                tamponade_seen="oil",
                fill_percent=90,
                complications=["emulsification", "raised_pressure", "emulsification"],
                note="droplets",
                acuities=[AcuityEntry("6/24", "best"), AcuityEntry("6/60", "unaided")],
            ),
            ExamEntry(side="left", pressure="soft", acuities=[AcuityEntry("HM")]),
        ],
    )
    assert (visit.examiner, visit.note, visit.day) == (clinic.surgeon, "tired", TODAY)
    right, left = Exam.objects.order_by("id")
    assert (right.eye, right.pressure_mmhg, right.hole, right.fill_percent) == (eye, 31, "closed", 90)
    assert (left.eye.side, left.pressure_mmhg, left.pressure_text) == ("left", None, "soft")
    assert sorted(ExamComplication.objects.values_list("complication", flat=True)) == [
        "emulsification",
        "raised_pressure",
    ]
    readings = AcuityReading.objects.order_by("id").values_list(
        "as_written", "notation", "correction", "logmar", "category"
    )
    assert list(readings) == [
        ("6/24", "snellen_metre", "best", Decimal("0.6021"), ""),
        ("6/60", "snellen_metre", "unaided", Decimal("1.0000"), ""),
        ("HM", "category", "unknown", None, "hand_movements"),
    ]
    change = last_change()
    assert (change.verb, change.subject_id, change.patient) == ("record_visit", visit.pk, eye.patient)
    assert change.after["exams"][0]["acuities"] == [["6/24", "best"], ["6/60", "unaided"]]


def test_the_examiner_is_by_default_who_records_it(clinic: Clinic) -> None:
    assert see(clinic).examiner == clinic.coordinator


def test_a_blank_entry_is_no_exam(clinic: Clinic) -> None:
    see(clinic, exams=[RIGHT_FLAT, ExamEntry(side="left", acuities=[AcuityEntry(" ")], note=" ")])
    assert list(Exam.objects.values_list("eye__side", flat=True)) == ["right"]


def test_a_visit_meets_the_review_of_its_period(clinic: Clinic) -> None:
    eye = clinic.eye(date=days(-7))
    see(clinic, patient=eye.patient)
    met = Milestone.objects.get(course__eye=eye, met_on=TODAY)
    assert (met.mark, met.opens <= TODAY <= met.closes) == ("met", True)


@pytest.mark.parametrize(
    ("bare", "typed", "correction", "logmar", "stored"),
    [
        (Notation.DECIMAL, "1.0", "best", "0.0000", "best"),
        (Notation.LOGMAR, "1.0", "best", "1.0000", "best"),
        (Notation.LETTERS, "85", "best", "0.0000", "best"),
        (None, "6/9-2", "unknown", "0.2161", "unknown"),
        (None, "6/9 ph", "unknown", "0.1761", "pinhole"),
        (None, "6/9 ph", "pinhole", "0.1761", "pinhole"),
    ],
)
def test_how_an_acuity_is_read(
    clinic: Clinic, bare: Notation | None, typed: str, correction: str, logmar: str, stored: str
) -> None:
    entry = ExamEntry(side="right", acuities=[AcuityEntry(typed, correction)])
    see(clinic, exams=[entry], bare_acuity=bare)
    reading = AcuityReading.objects.get()
    assert (reading.logmar, reading.correction) == (Decimal(logmar), stored)


REFUSED_EXAMS = [
    ([], "nothing_examined", "", "either eye"),
    ([ExamEntry(side="right")], "nothing_examined", "", "either eye"),
    ([RIGHT_FLAT, RIGHT_FLAT], "side_twice", "side", "twice"),
    ([ExamEntry(side="both", retina="attached")], "unknown_code", "side", '"both"'),
    ([ExamEntry(side="left", retina="flat")], "unknown_code", "left-retina", 'LEFT eye, "flat"'),
    ([ExamEntry(side="left", lens="iol")], "unknown_code", "left-lens", '"iol"'),
    ([ExamEntry(side="right", complications=["x"])], "unknown_code", "right-complications", '"x"'),
    ([ExamEntry(side="right", fill_percent=101)], "percent", "right-fill_percent", "101"),
    ([ExamEntry(side="left", pressure="18/20")], "pressure", "left-pressure", 'LEFT eye, pressure "18/20"'),
    ([ExamEntry(side="left", pressure="0")], "pressure", "left-pressure", 'LEFT eye, pressure "0"'),
    ([ExamEntry(side="right", pressure="81")], "pressure", "right-pressure", "80"),
    (
        [ExamEntry(side="right", acuities=[AcuityEntry("1.0")])],
        "ambiguous",
        "right-acuity",
        'RIGHT eye, acuity "1.0"',
    ),
    (
        [ExamEntry(side="right", acuities=[AcuityEntry("6/9"), AcuityEntry("6/6")])],
        "acuity_twice",
        "right-acuity",
        "RIGHT eye",
    ),
    (
        [ExamEntry(side="right", acuities=[AcuityEntry("6/9 ph", "unaided")])],
        "correction_contradicts",
        "right-acuity",
        "6/9 ph",
    ),
    (
        [ExamEntry(side="right", acuities=[AcuityEntry("6/9", "specs")])],
        "unknown_code",
        "right-correction",
        '"specs"',
    ),
]


@pytest.mark.parametrize(("exams", "code", "field", "words"), REFUSED_EXAMS)
def test_what_cannot_be_read_saves_nothing_at_all(
    clinic: Clinic, exams: list[ExamEntry], code: str, field: str, words: str
) -> None:
    good = [ExamEntry(side="left" if exams and exams[0].side == "right" else "right", retina="attached")]
    with pytest.raises(FollowUpError) as refused:
        see(clinic, exams=[*(good if field.partition("-")[2] else []), *exams], bare_acuity=None)
    assert (str(refused.value.code), refused.value.field) == (code, field)
    assert words in refused.value.message
    assert not Visit.objects.exists()
    assert not Eye.objects.exists()
    assert not Change.objects.exists()


@pytest.mark.parametrize(
    ("day", "code"),
    [
        (days(1), "in_the_future"),
        (date(1959, 12, 31), "before_birth"),
        (days(-4), "after_death"),
        (days(-9), "visit_exists"),
    ],
)
def test_a_day_on_which_nobody_can_have_been_seen(clinic: Clinic, day: date, code: str) -> None:
    patient = clinic.patient(birth_date=date(1960, 1, 1), died_on=days(-5))
    make_visit(patient=patient, day=days(-9))
    with pytest.raises(FollowUpError) as refused:
        see(clinic, patient=patient, day=day)
    assert (refused.value.code, refused.value.field) == (code, "day")


# Appointments


def test_the_place_of_the_visit_was_attended(clinic: Clinic) -> None:
    place = make_appointment(patient=clinic.patient(), day=TODAY, state="arrived")
    visit = see(clinic, patient=place.patient, appointment=place)
    place.refresh_from_db()
    assert (visit.appointment, place.state, place.sequence) == (place, "fulfilled", 1)


def test_a_place_marked_attended_before_is_left_as_it_is(clinic: Clinic) -> None:
    place = make_appointment(patient=clinic.patient(), day=TODAY, state="fulfilled")
    see(clinic, patient=place.patient, appointment=place)
    place.refresh_from_db()
    assert (place.state, place.sequence) == ("fulfilled", 0)


@pytest.mark.parametrize(
    ("place", "code", "field"),
    [
        ({"day": days(-1)}, "other_day", "appointment"),
        ({"day": TODAY, "state": "cancelled", "cancelled_by": "clinic"}, "wrong_state", ""),
    ],
)
def test_a_place_that_does_not_fit(clinic: Clinic, place: dict[str, Any], code: str, field: str) -> None:
    booked = make_appointment(patient=clinic.patient(), **place)
    with pytest.raises(FollowUpError) as refused:
        see(clinic, patient=booked.patient, appointment=booked)
    assert (refused.value.code, refused.value.field) == (code, field)
    assert not Visit.objects.exists()


def test_somebody_elses_place_is_refused(clinic: Clinic) -> None:
    with pytest.raises(FollowUpError) as refused:
        see(clinic, appointment=make_appointment(patient=clinic.patient(), day=TODAY))
    assert refused.value.code == "other_patient"


# Corrections


def correct(clinic: Clinic, visit: Visit, **fields: Any) -> Visit:
    dull: dict[str, Any] = {"day": visit.day, "exams": [RIGHT_FLAT], "bare_acuity": None}
    return correct_visit(by=clinic.surgeon, now=LATER, today=TODAY, visit=visit, **dull | fields)


def test_a_corrected_visit_is_a_new_entry_beside_the_old(clinic: Clinic) -> None:
    eye = clinic.eye()
    place = make_appointment(patient=eye.patient, day=TODAY)
    old = see(clinic, patient=eye.patient, appointment=place, examiner=clinic.surgeon)
    new = correct(
        clinic, old, exams=[ExamEntry(side="right", retina="detached_macula_off")], note="read again"
    )
    old.refresh_from_db()
    place.refresh_from_db()
    assert (old.in_error, old.in_error_by, old.in_error_at) == (True, clinic.surgeon, LATER)
    assert old.in_error_reason.startswith("Corrected")
    assert old.exams.get().retina == "attached"
    assert (new.appointment, new.examiner, new.note) == (place, clinic.surgeon, "read again")
    assert new.exams.get().retina == "detached_macula_off"
    assert place.state == "fulfilled"
    change = last_change()
    assert (change.verb, change.subject_id) == ("correct_visit", new.pk)
    assert change.before["exams"][0]["retina"] == "attached"
    assert change.after["exams"][0]["retina"] == "detached_macula_off"


def test_a_correction_of_the_day_asks_again_what_became_of_the_place(clinic: Clinic) -> None:
    place = make_appointment(patient=clinic.patient(), day=TODAY)
    visit = see(clinic, patient=place.patient, appointment=place)
    new = correct(clinic, visit, day=days(-1))
    place.refresh_from_db()
    assert (new.appointment, place.state) == (None, "booked")


def test_a_decision_that_rests_on_a_visit_goes_over_to_its_correction(clinic: Clinic) -> None:
    eye = clinic.eye()
    visit = see(clinic, patient=eye.patient)
    signed = make_decision(eye=eye, kind="stands_for", visit=visit, milestone_key="m1")
    new = correct(clinic, visit)
    assert Decision.objects.get(pk=signed.pk).visit == new


def test_a_correction_to_a_side_moves_the_exam_and_plans_both_eyes(clinic: Clinic) -> None:
    patient = clinic.patient()
    right = clinic.eye(patient=patient, date=days(-7))
    left = clinic.eye(patient=patient, side="left", date=days(-7))
    visit = see(clinic, patient=patient)
    correct(clinic, visit, exams=[ExamEntry(side="left", retina="attached")])
    assert not Milestone.objects.filter(course__eye=right, met_on=TODAY).exists()
    assert Milestone.objects.filter(course__eye=left, met_on=TODAY).exists()


def test_a_correction_that_cannot_be_read_leaves_the_old_entry(clinic: Clinic) -> None:
    visit = see(clinic)
    with pytest.raises(FollowUpError):
        correct(clinic, visit, exams=[ExamEntry(side="right", pressure="0")])
    visit.refresh_from_db()
    assert not visit.in_error


def test_a_visit_in_error_drops_out_and_stays_on_record(clinic: Clinic) -> None:
    eye = clinic.eye(date=days(-7))
    place = make_appointment(patient=eye.patient, day=TODAY)
    visit = see(clinic, patient=eye.patient, appointment=place)
    mark_visit_in_error(by=clinic.surgeon, now=LATER, visit=visit, reason="wrong person")
    visit.refresh_from_db()
    place.refresh_from_db()
    assert (visit.in_error, visit.in_error_reason, visit.exams.count()) == (True, "wrong person", 1)
    assert (visit.appointment, place.state) == (None, "booked")
    assert not Milestone.objects.filter(course__eye=eye, met_on__isnull=False).exists()
    change = last_change()
    assert (change.verb, change.before["exams"][0]["retina"]) == ("mark_visit_in_error", "attached")
    see(clinic, patient=eye.patient)


@pytest.mark.parametrize(
    ("reason", "already", "code", "field"),
    [(" ", False, "missing", "reason"), ("wrong", True, "already_in_error", "")],
)
def test_an_entry_in_error_is_refused(
    clinic: Clinic, reason: str, already: bool, code: str, field: str
) -> None:
    visit = make_visit(patient=clinic.patient(), in_error=already)
    with pytest.raises(FollowUpError) as refused:
        mark_visit_in_error(by=None, now=NOW, visit=visit, reason=reason)
    assert (refused.value.code, refused.value.field) == (code, field)


def test_a_visit_that_a_decision_rests_on_does_not_drop_out(clinic: Clinic) -> None:
    visit = make_visit(patient=clinic.patient())
    make_decision(eye=clinic.eye(patient=visit.patient), kind="stands_for", visit=visit)
    with pytest.raises(FollowUpError) as refused:
        mark_visit_in_error(by=None, now=NOW, visit=visit, reason="wrong")
    assert refused.value.code == "decision_rests_on_it"


def test_a_corrected_visit_is_not_corrected_twice(clinic: Clinic) -> None:
    with pytest.raises(FollowUpError) as refused:
        correct(clinic, make_visit(patient=clinic.patient(), in_error=True))
    assert refused.value.code == "already_in_error"
