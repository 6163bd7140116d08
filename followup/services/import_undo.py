"""Taking back a whole import, as long as nothing was built on what it wrote."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Model, ProtectedError

from followup.domain.errors import Refused
from followup.models import (
    AcuityReading,
    Change,
    Exam,
    ExamComplication,
    Eye,
    ImportBatch,
    Operation,
    OperationProcedure,
    PageRead,
    Patient,
    Staff,
    Visit,
)
from followup.services.history import record_change
from followup.services.pathway import clear_plans, replan_eyes
from followup.services.rows import locked

_NAMED = 5
_CHANGED: dict[str, type[Model]] = {
    model._meta.model_name or "": model for model in (Patient, Eye, Operation, Visit, Exam, AcuityReading)
}
_OF_IMPORT = ("import", "row")


@transaction.atomic
def undo_import(*, by: Staff | None, now: datetime, batch: ImportBatch) -> ImportBatch:
    """Takes away every record that the sheet brought and gives changed ones their earlier values.

    The file, its rows and the history stay. Somebody whose page was opened meanwhile stays too, without the
    records. Raises Refused, naming what was done since, once anything was built on the import.
    """
    locked(batch.site)
    batch = locked(batch)
    if batch.state not in ("applied", "stopped"):
        raise Refused("Only a sheet that was written can be undone.")
    people = _people(batch)
    _refuse_built_on(batch, people)
    eyes = list(Eye.objects.filter(patient_id__in=people).values_list("pk", flat=True))
    clear_plans(eyes)
    try:
        _restore(batch)
        taken = _take_away(batch, eyes)
    except ProtectedError as fault:
        built = sorted({str(row._meta.verbose_name_plural) for row in fault.protected_objects})
        raise Refused(f"It cannot be undone: {', '.join(built)} rest on it.") from None
    replan_eyes(eye_ids=Eye.objects.filter(pk__in=eyes).values_list("pk", flat=True))
    batch.state, batch.rows_done = "undone", 0
    batch.save(update_fields=["state", "rows_done"])
    record_change(by=by, at=now, site=batch.site, verb="undo_import", subject=batch, after=taken)
    return batch


def _own_changes(batch: ImportBatch) -> list[Change]:
    """The changes the sheet made to records that were there before it, the last first."""
    found = Change.objects.filter(site=batch.site, verb="import_change", after__import=batch.pk)
    return list(found.order_by("-id"))


def _people(batch: ImportBatch) -> set[int]:
    of_rows = {"source_row__batch": batch}
    found = set(Patient.objects.filter(**of_rows).values_list("pk", flat=True))
    found |= set(Operation.objects.filter(**of_rows).values_list("eye__patient_id", flat=True))
    found |= set(Visit.objects.filter(**of_rows).values_list("patient_id", flat=True))
    found |= set(Exam.objects.filter(**of_rows).values_list("eye__patient_id", flat=True))
    found |= set(AcuityReading.objects.filter(**of_rows).values_list("exam__eye__patient_id", flat=True))
    return found | {change.patient_id for change in _own_changes(batch) if change.patient_id}


def _refuse_built_on(batch: ImportBatch, people: set[int]) -> None:
    """Whatever has a row of history since, and whatever a later sheet brought for the same people."""
    first = Change.objects.filter(subject="importbatch", subject_id=batch.pk).order_by("id").first()
    later = Change.objects.filter(site=batch.site, patient_id__in=people).select_related("patient")
    if first is not None:
        later = later.filter(pk__gt=first.pk)
    else:
        later = later.filter(at__gte=batch.made_at)
    own = {change.pk for change in _own_changes(batch)}
    built = [_told(change) for change in later.order_by("id") if change.pk not in own]
    built += _from_later_sheets(batch, people)
    if built:
        more = f" and {len(built) - _NAMED} more" if len(built) > _NAMED else ""
        raise Refused(
            f"It cannot be undone, since something was built on it: {'; '.join(built[:_NAMED])}{more}. "
            "Mark what is wrong as entered in error instead."
        )


def _told(change: Change) -> str:
    number = change.patient.record_number if change.patient else ""
    return f"{number}: {change.verb.replace('_', ' ')} on {change.at:%-d %b %Y}"


def _from_later_sheets(batch: ImportBatch, people: Iterable[int]) -> list[str]:
    owners = {Operation: "eye__patient", Visit: "patient", Exam: "eye__patient"}
    found: list[str] = []
    for model, owner in owners.items():
        rows = model._default_manager.filter(
            **{f"{owner}_id__in": people}, source_row__batch__id__gt=batch.pk
        ).values_list(f"{owner}__record_number", "source_row__batch__file_name")
        found += [f"{number}: {model._meta.verbose_name} of {name}" for number, name in rows[:_NAMED]]
    return found


def _restore(batch: ImportBatch) -> None:
    for change in _own_changes(batch):
        model = _CHANGED[change.subject]
        record = model._default_manager.filter(pk=change.subject_id).first()
        if record is None or change.subject_id is None:
            continue
        plain = {name: value for name, value in change.before.items() if name not in _OF_IMPORT}
        _restore_sets(change.subject_id, plain)
        for name, value in plain.items():
            setattr(record, name, _python(model, name, value))
        if plain:
            record.save(update_fields=list(plain))


def _restore_sets(pk: int, values: dict[str, Any]) -> None:
    """Procedures and complications, which stand in rows of their own."""
    if (procedures := values.pop("procedures", None)) is not None:
        OperationProcedure.objects.filter(operation_id=pk).delete()
        OperationProcedure.objects.bulk_create(
            OperationProcedure(operation_id=pk, procedure=code) for code in procedures
        )
    if (complications := values.pop("complications", None)) is not None:
        ExamComplication.objects.filter(exam_id=pk).delete()
        ExamComplication.objects.bulk_create(
            ExamComplication(exam_id=pk, complication=code) for code in complications
        )


def _python(model: type[Model], name: str, value: Any) -> Any:
    return model._meta.get_field(name).to_python(value)  # type: ignore[union-attr]  # plain columns alone


def _take_away(batch: ImportBatch, eyes: list[int]) -> dict[str, int]:
    """Each kind before what it belongs to; how many of each."""
    of_rows = {"source_row__batch": batch}
    taken: dict[str, int] = {}
    for model in (AcuityReading, Exam, Visit, Operation):
        rows = model._default_manager.filter(**of_rows)
        taken[str(model._meta.verbose_name_plural)] = rows.count()
        rows.delete()
    looked_at = PageRead.objects.values("patient_id")
    people = Patient.objects.filter(**of_rows).exclude(pk__in=looked_at)
    empty = Eye.objects.filter(pk__in=eyes, operations=None, exams=None, decisions=None, appointments=None)
    taken["eyes"] = empty.count()
    empty.delete()
    taken["patients"] = people.count()
    people.delete()
    return taken
