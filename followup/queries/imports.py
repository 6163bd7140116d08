"""What is on record for the people of a sheet, by the keys that tell records apart. Constant query count."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet

from followup.models import (
    AcuityReading,
    ColumnMap,
    Exam,
    ExamComplication,
    Eye,
    ImportBatch,
    ImportRow,
    Operation,
    OperationProcedure,
    Patient,
    Site,
    Staff,
    Visit,
)
from followup.queries.access import imports_of

_CHUNK = 5000
_PATIENT = (
    "family_name", "given_name", "birth_date", "sex", "phone", "email", "died_on", "age_stated",
    "contact_note", "language", "postal_address", "time_zone",
)  # fmt: skip
_EYE = ("axial_length_mm", "staphyloma", "only_eye")
_OPERATION = (
    "date", "date_precision", "surgeon_name", "indication", "repeat", "extent", "tamponade_in",
    "tamponade_percent", "takes_out", "attached_at_end", "restarts", "note", "in_error", "surgeon_id",
)  # fmt: skip
_EXAM = (
    "pressure_mmhg", "pressure_text", "retina", "hole", "outer_retina", "lens", "tamponade_seen",
    "fill_percent", "note",
)  # fmt: skip
_ACUITY = ("as_written", "notation", "logmar", "category", "approximate")


@dataclass(frozen=True, slots=True)
class Recorded:
    """One record as it stands; kind and key as in `services/import_plan.py`."""

    kind: str
    key: tuple[Any, ...]
    pk: int
    values: dict[str, Any]


def record_numbers(site: Site) -> list[str]:
    """Every record number of the site."""
    return list(
        Patient.objects.filter(site=site).order_by("record_number").values_list("record_number", flat=True)
    )


def records_of(site: Site, numbers: Collection[str]) -> Iterator[Recorded]:
    """All that is on record for these record numbers; operations and visits marked in error come too."""
    ordered = sorted(numbers)
    for start in range(0, len(ordered), _CHUNK):
        yield from _chunk(site, ordered[start : start + _CHUNK])


def _chunk(site: Site, numbers: list[str]) -> Iterator[Recorded]:
    owners: dict[int, str] = {}
    for row in Patient.objects.filter(site=site, record_number__in=numbers).values(
        "id", "record_number", *_PATIENT
    ):
        pk, number = row.pop("id"), row.pop("record_number")
        owners[pk] = number
        yield Recorded("patient", (number,), pk, row)
    if not owners:
        return
    eyes: dict[int, tuple[str, str]] = {}
    for row in Eye.objects.filter(patient_id__in=owners).values("id", "patient_id", "side", *_EYE):
        pk, owner = row.pop("id"), row.pop("patient_id")
        eyes[pk] = (owners[owner], row.pop("side"))
        yield Recorded("eye", eyes[pk], pk, row)
    yield from _operations(eyes)
    yield from _visits(owners, eyes)


def _operations(eyes: dict[int, tuple[str, str]]) -> Iterator[Recorded]:
    procedures: defaultdict[int, set[str]] = defaultdict(set)
    for operation, procedure in OperationProcedure.objects.filter(operation__eye_id__in=eyes).values_list(
        "operation_id", "procedure"
    ):
        procedures[operation].add(procedure)
    rows = (
        Operation.objects.filter(eye_id__in=eyes).order_by("date", "id").values("id", "eye_id", *_OPERATION)
    )
    surgeons = {one.pk: str(one) for one in Staff.objects.filter(operations__eye_id__in=eyes)}
    for place, row in enumerate(rows):
        pk, eye, surgeon = row.pop("id"), row.pop("eye_id"), row.pop("surgeon_id")
        values = {**row, "procedures": frozenset(procedures[pk])}
        # A sheet that names the surgeon on record says nothing new.
        values["surgeon_name"] = surgeons.get(surgeon, row["surgeon_name"])
        yield Recorded("operation", (*eyes[eye], row["date"], place), pk, values)


def _visits(owners: dict[int, str], eyes: dict[int, tuple[str, str]]) -> Iterator[Recorded]:
    days: dict[int, tuple[str, Any]] = {}
    rows = Visit.objects.filter(patient_id__in=owners).order_by("in_error", "id")
    for pk, owner, day, note, in_error in rows.values_list("id", "patient_id", "day", "note", "in_error"):
        key = (owners[owner], day)
        if not in_error:
            days[pk] = key
        yield Recorded("visit", key, pk, {"note": note, "in_error": in_error})
    yield from _exams(owners, days, eyes)


def _exams(
    owners: dict[int, str], days: dict[int, tuple[str, Any]], eyes: dict[int, tuple[str, str]]
) -> Iterator[Recorded]:
    complications: defaultdict[int, set[str]] = defaultdict(set)
    of_these = {"exam__visit__patient_id__in": owners, "exam__visit__in_error": False}
    for exam, complication in ExamComplication.objects.filter(**of_these).values_list(
        "exam_id", "complication"
    ):
        complications[exam].add(complication)
    keys: dict[int, tuple[Any, ...]] = {}
    exams = Exam.objects.filter(visit__patient_id__in=owners, visit__in_error=False)
    for row in exams.values("id", "visit_id", "eye_id", *_EXAM):
        pk = row.pop("id")
        keys[pk] = (*days[row.pop("visit_id")], eyes[row.pop("eye_id")][1])
        yield Recorded("exam", keys[pk], pk, {**row, "complications": frozenset(complications[pk])})
    for row in AcuityReading.objects.filter(**of_these).values("id", "exam_id", "correction", *_ACUITY):
        pk = row.pop("id")
        yield Recorded("acuity", (*keys[row.pop("exam_id")], row.pop("correction")), pk, row)


# Batches


def sheets_at(staff: Staff, site: Site) -> QuerySet[ImportBatch]:
    """Sheets taken in at a site, newest first, without their bytes."""
    found = imports_of(staff).filter(site=site).select_related("made_by")
    return found.defer("content").order_by("-made_at", "-id")


def rows_of(batch: ImportBatch, outcomes: Collection[str] = ()) -> QuerySet[ImportRow]:
    """Rows of a sheet in file order, of these outcomes or of all."""
    rows = ImportRow.objects.filter(batch=batch).order_by("sheet", "number")
    return rows.filter(outcome__in=outcomes) if outcomes else rows


def maps_at(site: Site) -> QuerySet[ColumnMap]:
    """Column maps kept at a site, by name."""
    return ColumnMap.objects.filter(site=site).order_by("name", "id")
