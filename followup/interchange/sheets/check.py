"""Each row against the records of the site: what it would do, and all that speaks against it."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import TypeAlias

from followup.domain.acuity.notation import Notation
from followup.domain.fills import fill_before
from followup.domain.words import Procedure, Tamponade
from followup.interchange.sheets.carried import drop_carried_forward
from followup.interchange.sheets.column_map import ColumnMap
from followup.interchange.sheets.entries import EntryMaker
from followup.interchange.sheets.ledger import Contradiction, Ledger, Said
from followup.interchange.sheets.read import Sheet, SheetRow
from followup.interchange.sheets.rows import RowReader, RowSaid
from followup.models import Site
from followup.queries.duplicates import numbers_merged
from followup.queries.imports import Recorded, record_numbers, records_of
from followup.services.import_plan import ImportedRow, ImportPlan, Key, Kind

LookAlikes: TypeAlias = Mapping[str, set[str]]
OUTCOMES = ("new", "changed", "same", "human", "refused", "ignored")
MADE = {
    Kind.PATIENT: "patients",
    Kind.EYE: "eyes",
    Kind.OPERATION: "operations",
    Kind.VISIT: "visits",
    Kind.EXAM: "exams",
    Kind.ACUITY: "acuity readings",
}


@dataclass(frozen=True, slots=True)
class CheckedSheet:
    """What a sheet would do.

    name: of the sheet in its workbook; counts: rows read, accepted and by outcome, and new records by kind.
    read = accepted + human + refused + ignored, and accepted = new + changed + same.
    """

    name: str
    rows: tuple[ImportedRow, ...]
    counts: dict[str, int]
    notes: tuple[str, ...]
    ledger: Ledger

    def plan(self) -> ImportPlan:
        """What is to be written."""
        return self.ledger.plan()


def reader_for(sheet: Sheet, column_map: ColumnMap, *, site: Site, today: date) -> RowReader:
    """The reader of a sheet's rows. Raises BadValue for a map that does not fit the file."""
    bare = Notation(site.bare_acuity) if site.bare_acuity else None
    return RowReader(column_map, sheet, today=today, bare=bare)


def check_sheet(
    sheet: Sheet,
    column_map: ColumnMap,
    *,
    site: Site,
    today: date,
    reader: RowReader | None = None,
    alike: LookAlikes | None = None,
) -> CheckedSheet:
    """Reads and judges every row; writes nothing. A constant number of queries for 5,000 people.

    reader, alike: those of the whole sheet, where this is a part of it. Raises BadValue for a map that does
    not fit.
    """
    reader = reader or reader_for(sheet, column_map, site=site, today=today)
    said = {row.number: reader.read(row) for row in sheet.rows if not row.ignored}
    if any(use.target == "examiner" for use in column_map.columns):
        drop_carried_forward(said.values())
    _follow_merges(said.values(), numbers_merged(site))
    numbers = {row.record_number for row in said.values() if row.record_number}
    records = list(records_of(site, numbers))
    _note_look_alikes(said.values(), look_alikes(site, numbers) if alike is None else alike)
    ledger, effects = _judge(said.values(), records, EntryMaker(column_map, today))
    rows = tuple(_imported(row, said.get(row.number), effects, reader) for row in sheet.rows)
    unused = column_map.unused_columns(sheet.headers)
    notes = [f"Columns left alone: {', '.join(unused)}."] if unused else []
    return CheckedSheet(sheet.name, rows, _counts(rows, ledger), (*sheet.notes, *notes), ledger)


def _follow_merges(said: Iterable[RowSaid], merged: dict[str, str]) -> None:
    """The number of a record that was merged stands for the one that was kept."""
    for row in said:
        if row.record_number in merged:
            kept = merged[row.record_number]
            row.problem(f"{row.record_number} was merged into {kept}: entered there.", "note")
            row.record_number = kept


def _judge(
    said: Iterable[RowSaid], records: list[Recorded], entries: EntryMaker
) -> tuple[Ledger, dict[int, str]]:
    """Takes the rows in file order; again without those that take out what is not in, until none is left."""
    on_record = Ledger(records)
    for row in said:
        if not row.is_usable:
            entries.check_days(row, on_record)
    while True:
        ledger, effects = Ledger(records), {}
        for row in said:
            row.forget("change")
            if row.is_usable:
                effect = _take(row, ledger, entries)
                if effect:
                    effects[row.number] = effect
        empty = _removals_of_nothing(ledger)
        if not empty:
            return ledger, effects
        for row in said:
            for reason in empty.get(row.number, ()):
                row.problem(reason, column=entries.heading("takes_out", "procedures"))


def _take(row: RowSaid, ledger: Ledger, entries: EntryMaker) -> str:
    made = entries.entries(row, ledger)
    _note_changes(row, ledger, made)
    if row.is_usable and (found := ledger.contradiction(made)):
        row.problem(_contradicted(found), "human", value=str(found.said.fields[found.name]))
    return ledger.take(made, row.number) if row.is_usable else ""


def _note_changes(row: RowSaid, ledger: Ledger, made: Iterable[Said]) -> None:
    """Which value on record becomes which, for whoever looks at the row before it is written."""
    for said, name, before in ledger.differences(made):
        what = f"{said.kind.capitalize()}, {_called(name)}"
        reason = f"{what}: from {_shown(before) or 'nothing'} to {_shown(said.fields[name])}."
        row.problem(reason, "change")


_CALLED = {"as_written": "acuity", "pressure_mmhg": "pressure", "age_stated": "age"}


def _contradicted(found: Contradiction) -> str:
    name = _called(found.name)
    return (
        f"Row {found.row} says {name} {_shown(found.earlier)} for the same {found.said.kind}, this row says "
        f"{_shown(found.said.fields[found.name])}. The first was taken: keep the right one."
    )


def _called(name: str) -> str:
    return _CALLED.get(name, name.replace("_", " "))


def _shown(value: object) -> str:
    if isinstance(value, frozenset):
        return ", ".join(sorted(value))
    return "" if value is None else str(value)


def _removals_of_nothing(ledger: Ledger) -> dict[int, list[str]]:
    found: defaultdict[int, list[str]] = defaultdict(list)
    for key, row in ledger.takes_out_anew():
        if reason := _why_nothing_to_take_out(ledger, key):
            found[row].append(reason)
    return found


def _why_nothing_to_take_out(ledger: Ledger, key: Key) -> str:
    number, side, day, *_ = key
    operations, exams = ledger.operation_facts(key[:2]), ledger.exam_facts(key[:2])
    fill = fill_before(operations, exams, day)
    oil_named = {Procedure.OIL_REMOVAL, Procedure.OIL_EXCHANGE} & set(
        ledger.value(Kind.OPERATION, key, "procedures") or ()
    )
    if fill is None:
        what = "oil" if oil_named else "tamponade"
    elif oil_named and not fill.must_come_out and fill.tamponade is not Tamponade.UNKNOWN:
        what = "oil"
    else:
        return ""
    return (
        f"{what.capitalize()} is taken out on {day}, but none is on record in the {side.upper()} eye of "
        f"{number} before that. Record the operation that put it in first, or correct the date or side."
    )


def look_alikes(site: Site, numbers: Iterable[str]) -> LookAlikes:
    """These record numbers and those of the site by what tells them apart but for noughts and capitals."""
    alike: defaultdict[str, set[str]] = defaultdict(set)
    for number in {*numbers, *record_numbers(site)}:
        alike[number.lstrip("0").casefold()].add(number)
    return alike


def _note_look_alikes(said: Iterable[RowSaid], alike: LookAlikes) -> None:
    for row in said:
        others = alike.get(row.record_number.lstrip("0").casefold(), set()) - {row.record_number}
        if others and row.record_number:
            row.problem(f"Looks like {', '.join(sorted(others))}, and is kept apart from it.", "note",
                        value=row.record_number)  # fmt: skip


def _imported(row: SheetRow, said: RowSaid | None, effects: dict[int, str], reader: RowReader) -> ImportedRow:
    if said is None:
        why = {"column": "", "value": "", "reason": f"This row is {row.ignored}.", "kind": "note"}
        return ImportedRow(row.number, "ignored", (why,), reader.cells(row))
    kinds = {problem.kind for problem in said.problems}
    outcome = next((kind for kind in ("refused", "human") if kind in kinds), effects.get(row.number, "same"))
    problems = tuple(problem.as_json() for problem in said.problems)
    return ImportedRow(row.number, outcome, problems, reader.cells(row))


def _counts(rows: tuple[ImportedRow, ...], ledger: Ledger) -> dict[str, int]:
    found = Counter(row.outcome for row in rows)
    counts = {"read": len(rows), **{outcome: found[outcome] for outcome in OUTCOMES}}
    counts["accepted"] = counts["new"] + counts["changed"] + counts["same"]
    made = ledger.made()
    return counts | {name: made[kind] for kind, name in MADE.items()}
