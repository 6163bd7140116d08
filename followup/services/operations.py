"""Operations: recorded, corrected, entered in error. Each plans the eye anew, and a new one reopens it."""

from __future__ import annotations

from collections.abc import Collection
from datetime import date, datetime
from typing import Any

from django.db import transaction

from followup.domain.errors import BadValue
from followup.domain.words import DatePrecision, Extent, Indication, Procedure, Repeat, Tamponade, YesNo
from followup.models import Appointment, Eye, Operation, OperationProcedure, Patient, Staff
from followup.services.clinical import check_day, check_not_in_error, mark_in_error
from followup.services.history import record_change, snapshot
from followup.services.pathway import replan_eye
from followup.services.places import fulfil
from followup.services.rows import known, locked, required, save_valid
from followup.services.surgeons import know_surgeons
from followup.services.tamponades import check_tamponades

_CODED = {
    "indication": Indication,
    "tamponade_in": Tamponade,
    "repeat": Repeat,
    "extent": Extent,
    "attached_at_end": YesNo,
    "date_precision": DatePrecision,
}
CHANGEABLE = (
    "date",
    *_CODED,
    "takes_out",
    "surgeon",
    "surgeon_name",
    "tamponade_percent",
    "restarts",
    "note",
)


@transaction.atomic
def record_operation(
    *,
    by: Staff | None,
    now: datetime,
    today: date,
    eye: Eye,
    date: date,
    indication: str,
    procedures: Collection[str],
    tamponade_in: str,
    takes_out: bool = False,
    repeat: str = "first",
    extent: str = "unknown",
    attached_at_end: str = "unknown",
    surgeon: Staff | None = None,
    surgeon_name: str = "",
    tamponade_percent: int | None = None,
    restarts: bool | None = None,
    date_precision: str = "day",
    note: str = "",
    appointment: Appointment | None = None,
) -> Operation:
    """An operation on one eye: opens and closes fills, starts a course, reopens a closed eye.

    `tamponade_in` is what was left in the eye, `takes_out` whether the one before was taken out, and
    `restarts` whether follow-up counts anew from here (None: by rule). The theatre place, if given, becomes
    attended. Raises Refused for a day in the future, before birth or after death, and for a removal without
    anything on record to remove; BadValue for unknown codes and numbers out of range.
    """
    patient = locked(eye.patient)
    operation = Operation(
        eye=eye,
        date=date,
        indication=indication,
        tamponade_in=tamponade_in,
        takes_out=takes_out,
        repeat=repeat,
        extent=extent,
        attached_at_end=attached_at_end,
        surgeon=surgeon,
        surgeon_name=surgeon_name.strip(),
        tamponade_percent=tamponade_percent,
        restarts=restarts,
        date_precision=date_precision,
        note=note.strip(),
    )
    _save(operation, patient, _procedures(procedures), today)
    if appointment is not None:
        fulfil(by=by, now=now, appointment=appointment, patient=patient, day=date)
    _record(by, now, operation, "record_operation", {}, _values(operation))
    replan_eye(eye_id=eye.pk)
    return operation


@transaction.atomic
def correct_operation(
    *, by: Staff | None, now: datetime, today: date, operation: Operation, **changes: Any
) -> Operation:
    """Sets the named values, any of CHANGEABLE or `procedures`; writes nothing if none differs.

    The earlier values stay in the history. An operation on the wrong eye is marked in error and entered
    again. Raises as record_operation does, and Refused for an operation marked in error.
    """
    if unknown := set(changes) - {*CHANGEABLE, "procedures"}:
        raise TypeError(f"An operation's {', '.join(sorted(unknown))} cannot be corrected.")
    patient = locked(operation.eye.patient)
    operation = locked(operation)
    check_not_in_error(operation)
    before = _values(operation)
    procedures = _procedures(changes.pop("procedures", before["procedures"]))
    for name, value in changes.items():
        setattr(operation, name, value)
    _save(operation, patient, procedures, today)
    after = _values(operation)
    if after != before:
        differing = [name for name in after if before[name] != after[name]]
        _record(
            by,
            now,
            operation,
            "correct_operation",
            {name: before[name] for name in differing},
            {name: after[name] for name in differing},
        )
        replan_eye(eye_id=operation.eye_id)
    return operation


@transaction.atomic
def mark_operation_in_error(
    *, by: Staff | None, now: datetime, operation: Operation, reason: str
) -> Operation:
    """It drops out of the rules and stays on record. Refused without a reason, or if marked already."""
    why = required(reason, field="reason", message="Say why the entry is wrong.")
    locked(operation.eye.patient)
    operation = locked(operation)
    check_not_in_error(operation)
    before = _values(operation)
    mark_in_error(operation, by, now, why)
    after = {"in_error": True, "reason": why}
    _record(by, now, operation, "mark_operation_in_error", before, after)
    replan_eye(eye_id=operation.eye_id)
    return operation


def _save(operation: Operation, patient: Patient, procedures: list[Procedure], today: date) -> None:
    """Judges the operation as it now is, then writes it and its procedures."""
    for field, words in _CODED.items():
        setattr(operation, field, known(words, getattr(operation, field), field=field).value)
    check_day(patient, operation.date, today, what="operation", field="date")
    _check_percent(operation.tamponade_percent)
    check_tamponades(operation, procedures)
    save_valid(operation)
    know_surgeons([operation.surgeon_name])
    operation.procedure_rows.exclude(procedure__in=procedures).delete()
    there = set(operation.procedure_rows.values_list("procedure", flat=True))
    OperationProcedure.objects.bulk_create(
        OperationProcedure(operation=operation, procedure=procedure.value)
        for procedure in procedures
        if procedure.value not in there
    )


def _procedures(codes: Collection[str]) -> list[Procedure]:
    return [known(Procedure, code, field="procedures") for code in dict.fromkeys(codes)]


def _check_percent(percent: int | None) -> None:
    if percent is not None and not 0 < percent <= 100:
        raise BadValue(
            f"A gas of {percent} per cent cannot be. Write 1 to 100, or leave it empty.",
            field="tamponade_percent",
            code="percent",
        )


def _values(operation: Operation) -> dict[str, Any]:
    procedures = sorted(operation.procedure_rows.values_list("procedure", flat=True))
    return snapshot(operation, ("eye", *CHANGEABLE)) | {"procedures": procedures}


def _record(
    by: Staff | None,
    now: datetime,
    operation: Operation,
    verb: str,
    before: dict[str, Any],
    after: dict[str, Any],
) -> None:
    patient = operation.eye.patient
    record_change(
        by=by,
        at=now,
        site=patient.site,
        verb=verb,
        subject=operation,
        patient=patient,
        before=before,
        after=after,
    )
