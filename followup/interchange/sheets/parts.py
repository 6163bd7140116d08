"""A long sheet written in parts, each a transaction of its own, so that it can stop and go on."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, timedelta

from django.db import transaction

from followup.domain.errors import FollowUpError
from followup.interchange.sheets.apply import changed_since, sheet_of
from followup.interchange.sheets.check import check_sheet, reader_for
from followup.interchange.sheets.column_map import ColumnMap, accepted_map
from followup.interchange.sheets.people import numbers_of, parts_of
from followup.interchange.sheets.read import Sheet
from followup.interchange.sheets.rows import RowReader
from followup.models import ImportBatch
from followup.services.import_jobs import keep_claim, release_import, stop_import
from followup.services.imports import finish_import, write_part
from followup.services.rows import locked

LONG = 2000
"""Rows from which a sheet is written by the worker, since a person would wait too long for the page."""
LONGEST = timedelta(minutes=5)
"""Then the worker turns to what else waits, and goes on at its next tick."""


def write_in_parts(*, batch: ImportBatch, clock: Callable[[], datetime], today: date) -> None:
    """Writes what is left of a claimed sheet. Rows of one person stay together, since they are judged so.

    Ends early, with all parts so far written, once the sheet is stopped or another worker has it; stops it
    itself where records have changed since the check.
    """
    column_map = accepted_map(batch.definition)
    sheet = sheet_of(batch, column_map)
    reader = reader_for(sheet, column_map, site=batch.site, today=today)
    done, until = 0, clock() + LONGEST
    for part in parts_of(sheet, numbers_of(sheet, reader)):
        done += len(part.rows)
        if done <= batch.rows_done:
            continue
        if clock() > until:
            release_import(batch=batch)
            return
        if not keep_claim(now=clock(), batch=batch):
            return
        try:
            _write(batch, part, column_map, reader, clock(), today, done)
        except FollowUpError as fault:
            stop_import(by=batch.confirmed_by, now=clock(), batch=batch, problem=fault.message)
            return
    if keep_claim(now=clock(), batch=batch):
        finish_import(by=batch.confirmed_by, now=clock(), batch=batch)


@transaction.atomic
def _write(
    batch: ImportBatch,
    part: Sheet,
    column_map: ColumnMap,
    reader: RowReader,
    now: datetime,
    today: date,
    done: int,
) -> None:
    """One part, judged against the records as they are now. Raises Refused where it would do otherwise."""
    locked(batch.site)
    # What it would look like was told when it was checked.
    checked = check_sheet(part, column_map, site=batch.site, today=today, reader=reader, alike={})
    numbers = [row.number for row in part.rows]
    shown = dict(
        batch.rows.filter(number__range=(min(numbers), max(numbers))).values_list("number", "outcome")
    )
    for row in checked.rows:
        if row.outcome != shown[row.number]:
            raise changed_since(row.number)
    write_part(now=now, batch=batch, plan=checked.plan(), rows_done=done)
