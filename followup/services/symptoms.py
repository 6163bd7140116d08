"""New symptoms that somebody tells of: urgent until a clinician has signed what to do."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from followup.domain.errors import Refused
from followup.domain.roles import Action
from followup.models import Patient, Staff, SymptomReport
from followup.services.history import record_change, snapshot
from followup.services.rows import locked, need_role, required, save_valid

_SHOWN = ("note", "answer", "answered_by", "answered_on")


@transaction.atomic
def report_symptoms(*, by: Staff, now: datetime, today: date, patient: Patient, note: str) -> SymptomReport:
    """Keeps what the person told, first on every list from now on. Anybody signed in may.

    Raises Refused without a note and for a person who died.
    """
    need_role(by, Action.REPORT_SYMPTOMS)
    patient = locked(patient)
    if patient.died_on is not None:
        raise Refused(f"{patient} died on {patient.died_on:%-d %b %Y}.", code="patient_died")
    told = required(note, field="note", message="Say what the person told: which eye, what, and since when.")
    report = SymptomReport(patient=patient, day=today, reported_at=now, recorded_by=by, note=told)
    save_valid(report)
    _record(by, now, report, "report_symptoms", before={})
    return report


@transaction.atomic
def answer_report(
    *, by: Staff, now: datetime, today: date, report: SymptomReport, answer: str
) -> SymptomReport:
    """A clinician signs what is to be done. Raises NotAllowed, Refused without words or once answered."""
    need_role(by, Action.SIGN_DECISION)
    said = required(answer, field="answer", message="Say what is to be done: it is part of the record.")
    locked(report.patient)
    report = locked(report)
    if report.answered_on is not None:
        raise Refused(f"This was answered on {report.answered_on:%-d %b %Y}.", code="already_answered")
    _answer(by, now, today, report, said)
    return report


def answer_open_reports(*, by: Staff, now: datetime, today: date, patient: Patient, answer: str) -> None:
    """A plan, or a day to be seen, answers whatever this person reported. Needs the patient locked."""
    for report in patient.symptom_reports.filter(answered_at=None).order_by("id"):
        _answer(by, now, today, report, answer)


def check_may_be_booked(patient: Patient) -> None:
    """Refused while this person's new symptoms wait for a clinician: no routine place for them."""
    report = patient.symptom_reports.filter(answered_at=None).order_by("id").first()
    if report is not None:
        raise Refused(
            f"{patient} reported new symptoms on {report.day:%-d %b %Y}: same-day care, not a routine place. "
            "A surgeon signs what to do first.",
            code="symptoms_unanswered",
        )


def _answer(by: Staff, now: datetime, today: date, report: SymptomReport, answer: str) -> None:
    before = snapshot(report, _SHOWN)
    report.answer, report.answered_by = answer, by
    report.answered_at, report.answered_on = now, today
    save_valid(report)
    _record(by, now, report, "answer_symptoms", before)


def _record(by: Staff, now: datetime, report: SymptomReport, verb: str, before: dict[str, object]) -> None:
    record_change(
        by=by,
        at=now,
        site=report.patient.site,
        verb=verb,
        subject=report,
        patient=report.patient,
        before=before,
        after=snapshot(report, _SHOWN),
    )
