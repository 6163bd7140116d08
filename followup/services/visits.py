"""Visits: both eyes in one action, everything or nothing."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from typing import Any

from django.db import transaction

from followup.domain.acuity.notation import Notation
from followup.domain.errors import Refused
from followup.models import Appointment, Decision, Patient, Staff, Visit
from followup.services.clinical import check_day, check_not_in_error, mark_in_error
from followup.services.exams import AcuityEntry, ExamEntry, ExamRead, exam_values, read_exams, write_exam
from followup.services.history import record_change
from followup.services.pathway import replan_eyes
from followup.services.places import await_again, fulfil
from followup.services.rows import locked, required, save_valid

__all__ = ["AcuityEntry", "ExamEntry", "correct_visit", "mark_visit_in_error", "record_visit"]

CORRECTED = "Corrected: another entry stands in its place."


@transaction.atomic
def record_visit(
    *,
    by: Staff | None,
    now: datetime,
    today: date,
    patient: Patient,
    day: date,
    exams: Sequence[ExamEntry],
    appointment: Appointment | None = None,
    note: str = "",
    bare_acuity: Notation | None,
    examiner: Staff | None = None,
) -> Visit:
    """A visit with the exam of each eye that was looked at; blank entries are left out.

    `bare_acuity` says what a number alone means as an acuity; `examiner` is by default who records it. The
    appointment, if given, becomes attended. Raises Refused for a day in the future, before birth or after
    death, a day that has a visit already, an empty visit or an appointment that does not fit; BadValue for
    what cannot be read, with field '<side>-<what>'.
    """
    patient = locked(patient)
    visit = Visit(patient=patient, day=day, examiner=examiner or by, note=note.strip())
    _write(visit, read_exams(exams, bare_acuity=bare_acuity), today)
    if appointment is not None:
        _attach(by, now, visit, appointment)
    _record(by, now, visit, "record_visit", before={})
    replan_eyes(eye_ids=_eyes_of(visit))
    return visit


@transaction.atomic
def correct_visit(
    *,
    by: Staff | None,
    now: datetime,
    today: date,
    visit: Visit,
    day: date,
    exams: Sequence[ExamEntry],
    note: str = "",
    bare_acuity: Notation | None,
    reason: str = "",
) -> Visit:
    """A new entry in place of one that was wrong: give all of it again. Returns the new one.

    The old entry is kept, marked in error; its appointment (if the day is the same) and the decisions that
    rest on it go over to the new one. Raises as record_visit does, and Refused for an entry marked already.
    """
    patient = locked(visit.patient)
    old = locked(visit)
    check_not_in_error(old)
    before = _values(old)
    appointment = old.appointment
    old.appointment = None
    mark_in_error(old, by, now, reason.strip() or CORRECTED)
    new = Visit(patient=patient, day=day, examiner=old.examiner, note=note.strip())
    _write(new, read_exams(exams, bare_acuity=bare_acuity), today)
    if appointment is not None and appointment.day == day:
        _attach(by, now, new, appointment)
    elif appointment is not None:
        await_again(by=by, now=now, appointment=appointment)
    Decision.objects.filter(visit=old).update(visit=new)
    _record(by, now, new, "correct_visit", before)
    replan_eyes(eye_ids=_eyes_of(old) | _eyes_of(new))
    return new


@transaction.atomic
def mark_visit_in_error(*, by: Staff | None, now: datetime, visit: Visit, reason: str) -> Visit:
    """The visit drops out of the rules and stays on record; its appointment awaits an outcome again.

    Raises Refused without a reason, if it is marked already, and while a signed decision rests on it.
    """
    why = required(reason, field="reason", message="Say why the entry is wrong.")
    locked(visit.patient)
    visit = locked(visit)
    check_not_in_error(visit)
    _check_nothing_rests_on(visit)
    before = _values(visit)
    appointment, visit.appointment = visit.appointment, None
    mark_in_error(visit, by, now, why)
    if appointment is not None:
        await_again(by=by, now=now, appointment=appointment)
    record_change(
        by=by,
        at=now,
        site=visit.patient.site,
        verb="mark_visit_in_error",
        subject=visit,
        patient=visit.patient,
        before=before,
        after={"in_error": True, "reason": why},
    )
    replan_eyes(eye_ids=_eyes_of(visit))
    return visit


def _check_nothing_rests_on(visit: Visit) -> None:
    resting = Decision.objects.filter(visit=visit, undone_at__isnull=True).first()
    if resting is not None:
        raise Refused(
            f'The decision "{resting}" rests on this visit. Undo the decision first, or correct the visit.',
            code="decision_rests_on_it",
        )


def _write(visit: Visit, exams: Sequence[ExamRead], today: date) -> None:
    check_day(visit.patient, visit.day, today, what="visit", field="day")
    if Visit.objects.filter(patient=visit.patient, day=visit.day, in_error=False).exists():
        raise Refused(
            f"{visit.patient} has a visit on {visit.day:%-d %b %Y} already. Correct that one.",
            field="day",
            code="visit_exists",
        )
    save_valid(visit)
    for exam in exams:
        write_exam(visit, visit.patient, exam)


def _attach(by: Staff | None, now: datetime, visit: Visit, appointment: Appointment) -> None:
    visit.appointment = fulfil(by=by, now=now, appointment=appointment, patient=visit.patient, day=visit.day)
    save_valid(visit)


def _eyes_of(visit: Visit) -> set[int]:
    return set(visit.exams.values_list("eye_id", flat=True))


def _values(visit: Visit) -> dict[str, Any]:
    return {
        "day": visit.day,
        "note": visit.note,
        "appointment": visit.appointment_id,
        "exams": [exam_values(exam) for exam in visit.exams.select_related("eye").order_by("id")],
    }


def _record(by: Staff | None, now: datetime, visit: Visit, verb: str, before: dict[str, Any]) -> None:
    record_change(
        by=by,
        at=now,
        site=visit.patient.site,
        verb=verb,
        subject=visit,
        patient=visit.patient,
        before=before,
        after=_values(visit),
    )
