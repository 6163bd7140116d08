"""Sheets taken in: kept, checked, and written whole or not at all."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from datetime import datetime
from typing import Any, TypeAlias

from django.db import transaction
from django.db.models import Model

from followup.domain.errors import Refused
from followup.models import (
    AcuityReading,
    Change,
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
from followup.services.history import json_safe, record_change
from followup.services.import_plan import ImportedRow, ImportPlan, Key, Kind, PlannedRecord, eye_key
from followup.services.pathway import replan_eyes
from followup.services.surgeons import know_surgeons

BEGUN = frozenset({"writing", "stopped", "applied", "undone"})
"""States of a sheet of which something was written at some time."""

_Keys: TypeAlias = dict[tuple[Kind, Key], int]
_BATCH = 500
_MODELS: dict[Kind, type[Model]] = {
    Kind.PATIENT: Patient,
    Kind.EYE: Eye,
    Kind.OPERATION: Operation,
    Kind.VISIT: Visit,
    Kind.EXAM: Exam,
    Kind.ACUITY: AcuityReading,
}
# Sets of codes that stand in rows of their own.
_SETS: dict[str, tuple[type[Model], str, str]] = {
    "procedures": (OperationProcedure, "operation_id", "procedure"),
    "complications": (ExamComplication, "exam_id", "complication"),
}


def keep_sheet(*, by: Staff | None, now: datetime, site: Site, file_name: str, content: bytes) -> ImportBatch:
    """Keeps the bytes, so that what is confirmed later is what was looked at."""
    return ImportBatch.objects.create(
        site=site,
        file_name=printable(file_name)[-200:],
        digest=hashlib.sha256(content).hexdigest(),
        content=content,
        made_by=by,
        made_at=now,
    )


def printable(text: str) -> str:
    """The text without characters that nobody sees, which a file's name may carry."""
    return "".join(letter if letter.isprintable() else " " for letter in text).strip() or "Without a name"


@transaction.atomic
def keep_check(
    *,
    batch: ImportBatch,
    definition: dict[str, Any],
    sheet: str,
    parts: Iterable[tuple[Sequence[ImportedRow], dict[str, int]]],
) -> ImportBatch:
    """Keeps the column map and what each row would do, in place of an earlier check. Refused once written.

    parts: rows with their counts, which add up; taken one by one.
    """
    if batch.state in BEGUN:
        raise Refused("This sheet has been written already. Choose the file again.")
    batch.rows.all().delete()
    counts: Counter[str] = Counter()
    for rows, counted in parts:
        counts.update(counted)
        ImportRow.objects.bulk_create(
            [
                ImportRow(
                    batch=batch,
                    sheet=sheet[:80],
                    number=row.number,
                    outcome=row.outcome,
                    problems=list(row.problems),
                    cells=row.cells,
                )
                for row in rows
            ],
            batch_size=_BATCH,
        )
    batch.definition, batch.counts, batch.state = definition, dict(counts), "checked"
    batch.save(update_fields=["definition", "counts", "state"])
    return batch


@transaction.atomic
def save_column_map(
    *, by: Staff | None, now: datetime, site: Site, name: str, definition: dict[str, Any]
) -> ColumnMap:
    """Keeps a map under a name for the next file of its kind, in place of an earlier one of that name."""
    if not name.strip():
        raise Refused("Give the column map a name.", field="name")
    kept = ColumnMap.objects.filter(site=site, name=name.strip()[:80]).first()
    before = kept.definition if kept else {}
    kept = kept or ColumnMap(site=site, name=name.strip()[:80])
    kept.definition = definition
    kept.save()
    record_change(
        by=by, at=now, site=site, verb="save_column_map", subject=kept, before=before, after=definition
    )
    return kept


@transaction.atomic
def discard_import(*, by: Staff | None, now: datetime, batch: ImportBatch) -> None:
    """Forgets a sheet that was never written. Refused for one that was: records come from its rows."""
    if batch.state in BEGUN:
        raise Refused("This sheet has been written and stays on record.")
    after = {"file_name": batch.file_name, "digest": batch.digest}
    record_change(by=by, at=now, site=batch.site, verb="discard_import", subject=batch, after=after)
    batch.delete()


@transaction.atomic
def write_import(*, by: Staff | None, now: datetime, batch: ImportBatch, plan: ImportPlan) -> ImportBatch:
    """Writes everything the plan says, with the row it came from, or nothing; then plans the eyes anew.

    One history row for the sheet, and one for each record changed. Refused if the sheet was written before.
    """
    if batch.state in BEGUN:
        raise Refused("This sheet has been written already.")
    _write(by, now, batch, plan)
    return finish_import(by=by, now=now, batch=batch)


@transaction.atomic
def write_part(*, now: datetime, batch: ImportBatch, plan: ImportPlan, rows_done: int) -> None:
    """Writes the next people of a long sheet, and how many rows are gone through by then.

    One transaction: a part is written whole or not at all, and `rows_done` says where to go on.
    """
    _write(batch.confirmed_by, now, batch, plan)
    batch.rows_done = rows_done
    batch.save(update_fields=["rows_done"])


@transaction.atomic
def finish_import(*, by: Staff | None, now: datetime, batch: ImportBatch) -> ImportBatch:
    """Marks a sheet as written, with its row of history."""
    batch.state, batch.applied_at, batch.rows_done = "applied", now, batch.counts.get("read", 0)
    batch.lease_until, batch.problem = None, ""
    batch.save(update_fields=["state", "applied_at", "rows_done", "lease_until", "problem"])
    after = {"file_name": batch.file_name, "digest": batch.digest, **batch.counts}
    record_change(by=by, at=now, site=batch.site, verb="import_sheet", subject=batch, after=after)
    return batch


def _write(by: Staff | None, now: datetime, batch: ImportBatch, plan: ImportPlan) -> None:
    numbers = {record.row for record in plan.new}
    rows = dict(batch.rows.filter(number__range=_span(numbers)).values_list("number", "id"))
    keys = dict(plan.existing)
    for kind in Kind:
        _make(batch, kind, plan.made(kind), keys, rows)
        _alter(kind, plan.altered(kind))
    know_surgeons(record.values.get("surgeon_name", "") for record in (*plan.new, *plan.changed))
    _record_changes(by, now, batch, plan, keys)
    replan_eyes(eye_ids=_touched_eyes(plan, keys))


def _span(numbers: Collection[int]) -> tuple[int, int]:
    return min(numbers, default=0), max(numbers, default=0)


def _make(
    batch: ImportBatch, kind: Kind, records: Sequence[PlannedRecord], keys: _Keys, rows: dict[int, int]
) -> None:
    model = _MODELS[kind]
    site = {"site_id": batch.site_id} if kind is Kind.PATIENT else {}
    made = model._default_manager.bulk_create(
        [
            model(**site, **_owners(kind, record.key, keys), **_plain(record), **_source(record, rows))
            for record in records
        ],
        batch_size=_BATCH,
    )
    for record, instance in zip(records, made, strict=True):
        keys[kind, record.key] = instance.pk
    _write_sets((instance.pk, record) for record, instance in zip(records, made, strict=True))


def _source(record: PlannedRecord, rows: dict[int, int]) -> dict[str, int]:
    return {} if record.kind is Kind.EYE else {"source_row_id": rows[record.row]}


def _owners(kind: Kind, key: Key, keys: _Keys) -> dict[str, Any]:
    """The foreign keys and natural values that a key stands for."""
    match kind:
        case Kind.PATIENT:
            return {"record_number": key[0]}
        case Kind.EYE:
            return {"patient_id": keys[Kind.PATIENT, key[:1]], "side": key[1]}
        case Kind.OPERATION:
            return {"eye_id": keys[Kind.EYE, key[:2]], "date": key[2]}
        case Kind.VISIT:
            return {"patient_id": keys[Kind.PATIENT, key[:1]], "day": key[1]}
        case Kind.EXAM:
            return {"visit_id": keys[Kind.VISIT, key[:2]], "eye_id": keys[Kind.EYE, (key[0], key[2])]}
        case Kind.ACUITY:
            return {"exam_id": keys[Kind.EXAM, key[:3]], "correction": key[3]}


def _plain(record: PlannedRecord) -> dict[str, Any]:
    return {name: value for name, value in record.values.items() if name not in _SETS}


def _write_sets(records: Iterable[tuple[int, PlannedRecord]]) -> None:
    found: dict[str, list[Model]] = {name: [] for name in _SETS}
    for pk, record in records:
        for name, (model, owner, field) in _SETS.items():
            for code in sorted(record.values.get(name, ())):
                found[name].append(model(**{owner: pk, field: code}))
    for name, instances in found.items():
        _SETS[name][0]._default_manager.bulk_create(instances, batch_size=_BATCH)


def _alter(kind: Kind, records: Sequence[PlannedRecord]) -> None:
    fields = sorted({name for record in records for name in _plain(record)})
    if fields:
        model = _MODELS[kind]
        found = model._default_manager.in_bulk([record.pk for record in records])
        for record in records:
            for name, value in _plain(record).items():
                setattr(found[record.pk], name, value)
        model._default_manager.bulk_update(found.values(), fields, batch_size=_BATCH)
    for name, (model, owner, _) in _SETS.items():
        replaced = [record.pk for record in records if name in record.values]
        model._default_manager.filter(**{f"{owner}__in": replaced}).delete()
    _write_sets((record.pk, record) for record in records if record.pk is not None)


def _record_changes(
    by: Staff | None, now: datetime, batch: ImportBatch, plan: ImportPlan, keys: _Keys
) -> None:
    Change.objects.bulk_create(
        [
            Change(
                at=now,
                by=by,
                site=batch.site,
                patient_id=keys[Kind.PATIENT, record.key[:1]],
                verb="import_change",
                subject=_MODELS[record.kind]._meta.model_name or "",
                subject_id=record.pk,
                before=_readable(record.before),
                after={**_readable(record.values), "import": batch.pk, "row": record.row},
            )
            for record in plan.changed
        ],
        batch_size=_BATCH,
    )


def _readable(values: dict[str, Any]) -> dict[str, Any]:
    return json_safe(
        {name: sorted(value) if isinstance(value, frozenset) else value for name, value in values.items()}
    )


def _touched_eyes(plan: ImportPlan, keys: _Keys) -> Collection[int]:
    """Eyes with a new or changed record, and both eyes of a person whose own facts changed."""
    records = (*plan.new, *plan.changed)
    eyes = {keys[Kind.EYE, key] for record in records if (key := eye_key(record))}
    people = [record.pk for record in plan.altered(Kind.PATIENT) if record.pk is not None]
    return eyes | set(Eye.objects.filter(patient_id__in=people).values_list("pk", flat=True))
