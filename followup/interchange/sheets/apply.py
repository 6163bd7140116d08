"""The three steps of an import, for the page and the command alike: take a file, check it, confirm it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, datetime

from django.db import transaction

from followup.domain.errors import Refused
from followup.interchange.sheets.check import CheckedSheet, check_sheet, look_alikes, reader_for
from followup.interchange.sheets.column_map import ColumnMap, accepted_map, stored_map
from followup.interchange.sheets.people import numbers_of, parts_of
from followup.interchange.sheets.read import Sheet, read_sheet
from followup.models import ImportBatch, Site, Staff
from followup.services.import_plan import ImportedRow
from followup.services.imports import keep_check, keep_sheet, write_import
from followup.services.rows import locked


def take_sheet(*, by: Staff | None, now: datetime, site: Site, file_name: str, content: bytes) -> ImportBatch:
    """Keeps a file that can be read as a table. Raises BadValue, and keeps nothing, for one that cannot."""
    read_sheet(content)
    return keep_sheet(by=by, now=now, site=site, file_name=file_name, content=content)


def sheet_of(batch: ImportBatch, column_map: ColumnMap | None = None) -> Sheet:
    """The sheet as its map says to read it, or as it reads by itself."""
    content = bytes(batch.content)
    return _read(content, column_map) if column_map else read_sheet(content)


def check_import(*, today: date, batch: ImportBatch, column_map: ColumnMap) -> None:
    """Says what each row would do and keeps that with the map. Writes nothing else. Raises BadValue."""
    sheet = sheet_of(batch, column_map)
    keep_check(
        batch=batch,
        definition=stored_map(column_map),
        sheet=sheet.name,
        parts=_checked_parts(sheet, column_map, batch.site, today),
    )


def _checked_parts(
    sheet: Sheet, column_map: ColumnMap, site: Site, today: date
) -> Iterator[tuple[Sequence[ImportedRow], dict[str, int]]]:
    """A long sheet part by part, so that memory hardly grows with it; each as it will be written."""
    reader = reader_for(sheet, column_map, site=site, today=today)
    numbers = numbers_of(sheet, reader)
    alike = look_alikes(site, filter(None, numbers))
    for part in parts_of(sheet, numbers) if sheet.rows else [sheet]:
        checked = check_sheet(part, column_map, site=site, today=today, reader=reader, alike=alike)
        yield checked.rows, checked.counts


@transaction.atomic
def confirm_import(*, by: Staff | None, now: datetime, today: date, batch: ImportBatch) -> ImportBatch:
    """Writes what the last check showed, whole or not at all.

    Raises Refused if the sheet was not checked or was written before, or if records have changed since the
    check, so that a row would now do something else; the sheet must then be checked again.
    """
    locked(batch.site)
    batch = locked(batch)
    if batch.state != "checked":
        raise Refused("This sheet is not waiting to be confirmed. Check it first.")
    column_map = accepted_map(batch.definition)
    checked = check_sheet(sheet_of(batch, column_map), column_map, site=batch.site, today=today)
    if _effects(checked.rows) != _shown(batch):
        raise changed_since()
    return write_import(by=by, now=now, batch=batch, plan=checked.plan())


def changed_since(row: int = 0) -> Refused:
    """What is said where a row would now do something else than was shown."""
    named = f" Row {row} would now do something else." if row else ""
    return Refused(
        f"Records have changed since this sheet was checked.{named} Check it again before confirming."
    )


def preview(*, site: Site, today: date, content: bytes, column_map: ColumnMap) -> CheckedSheet:
    """What a file would do. Keeps nothing."""
    return check_sheet(_read(content, column_map), column_map, site=site, today=today)


@transaction.atomic
def import_at_once(
    *,
    by: Staff | None,
    now: datetime,
    today: date,
    site: Site,
    file_name: str,
    content: bytes,
    column_map: ColumnMap,
) -> CheckedSheet:
    """All three steps in one transaction: what is accepted is written, or nothing at all is kept."""
    site = locked(site)
    checked = preview(site=site, today=today, content=content, column_map=column_map)
    batch = keep_sheet(by=by, now=now, site=site, file_name=file_name, content=content)
    _keep(batch, column_map, checked)
    write_import(by=by, now=now, batch=batch, plan=checked.plan())
    return checked


def _keep(batch: ImportBatch, column_map: ColumnMap, checked: CheckedSheet) -> None:
    keep_check(
        batch=batch,
        definition=stored_map(column_map),
        sheet=checked.name,
        parts=[(checked.rows, checked.counts)],
    )


def _read(content: bytes, column_map: ColumnMap) -> Sheet:
    return read_sheet(
        content,
        encoding=column_map.encoding,
        separator=column_map.separator,
        sheet=column_map.sheet,
        headings=column_map.headings,
    )


def _effects(rows: Sequence[ImportedRow]) -> list[tuple[int, str]]:
    return [(row.number, row.outcome) for row in rows]


def _shown(batch: ImportBatch) -> list[tuple[int, str]]:
    return list(batch.rows.order_by("number").values_list("number", "outcome"))
