"""What one row says, by the map of its columns alone: values, visits, and every problem at once."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any, TypeAlias

from followup.domain.acuity.notation import Acuity, Notation
from followup.domain.dates.durations import Duration
from followup.domain.errors import BadValue
from followup.domain.words import Correction, Side
from followup.interchange.sheets.cells import Cell, CellProblem, raw_text, tidy
from followup.interchange.sheets.column_map import ColumnMap, ColumnUse
from followup.interchange.sheets.columns import CATALOGUE, OF_A_VISIT, Subject
from followup.interchange.sheets.markup import FRACTION
from followup.interchange.sheets.orders import writes_both_orders
from followup.interchange.sheets.read import Sheet, SheetRow
from followup.interchange.sheets.values import BOTH, CellRule, Fields

MOST_KNOWN = 10_000
"""Texts of one column that are kept with what they say."""
Offset: TypeAlias = int | Duration
"""Time after the operation: whole days, or a calendar duration."""


@dataclass(frozen=True, slots=True)
class Problem:
    """kind: "refused", "human" (a person can settle it), or, where the row is taken all the same, "note" and
    "change" (a value on record that it replaces).
    """

    column: str
    value: str
    reason: str
    kind: str

    def as_json(self) -> dict[str, str]:
        return {"column": self.column, "value": self.value, "reason": self.reason, "kind": self.kind}


@dataclass(slots=True)
class ExamSaid:
    """Findings of one eye at one visit."""

    fields: Fields = field(default_factory=dict)
    acuities: dict[Correction, Acuity] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return bool(self.fields or self.acuities)


@dataclass(slots=True)
class VisitSaid:
    """A visit on a day, or some time after the operation; exams by side, None for the side of the row."""

    day: date | None = None
    offset: Offset | None = None
    examiner: str = ""
    fields: Fields = field(default_factory=dict)
    exams: dict[Side | None, ExamSaid] = field(default_factory=dict)

    @property
    def has_finding(self) -> bool:
        return any(self.exams.values()) or bool(self.fields)

    def counted_from(self, anchor: date) -> date:
        """Its day, where the operation was on `anchor`. Raises BadValue past the calendar's end."""
        if self.day is not None or self.offset is None:
            return self.day or anchor
        if isinstance(self.offset, Duration):
            return self.offset.add_to(anchor)
        return anchor + timedelta(days=self.offset)


@dataclass(slots=True)
class RowSaid:
    """sides: the eye that the row speaks of; both where it says so; none where it does not say. operations:
    once read, those with a date, by eye; under None where the row does not say which eye.
    """

    number: int
    record_number: str = ""
    sides: tuple[Side, ...] = ()
    patient: Fields = field(default_factory=dict)
    eyes: dict[Side | None, Fields] = field(default_factory=dict)
    operations: dict[Side | None, Fields] = field(default_factory=dict)
    visits: list[VisitSaid] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)

    @property
    def is_usable(self) -> bool:
        return all(problem.kind in ("note", "change") for problem in self.problems)

    def forget(self, kind: str) -> None:
        """Drops what was said of this kind, before the row is judged again."""
        self.problems = [problem for problem in self.problems if problem.kind != kind]

    def problem(self, reason: str, kind: str = "refused", *, column: str = "", value: str = "") -> None:
        self.problems.append(Problem(column, value, reason, kind))


@dataclass(frozen=True, slots=True)
class _Reading:
    """One column of the file with its place in a row."""

    place: int
    use: ColumnUse
    rule: CellRule
    when: tuple[int, frozenset[str]] | None = None
    known: dict[str, Fields] = field(default_factory=dict)
    """What a text of the column was read as: most stand in many rows."""

    def fields(self, cell: Cell) -> Fields:
        """What the cell says; not to be changed. Raises CellProblem."""
        if type(cell) is not str:
            return self.use.catalogued.read(cell, self.rule)
        found = self.known.get(cell)
        if found is None:
            found = self.use.catalogued.read(cell, self.rule)
            if len(self.known) < MOST_KNOWN:
                self.known[cell] = found
        return found

    def concerns(self, row: SheetRow) -> bool:
        """Whether the column speaks in this row, by what stands in another."""
        if self.when is None:
            return True
        place, values = self.when
        return place < len(row.cells) and tidy(row.cells[place]).casefold() in values


class RowReader:
    """Reads the rows of one file by its map.

    bare: what a number alone is in an acuity column that names no notation. Raises BadValue for a map that
    does not fit the headings, and for a constant that cannot be read.
    """

    def __init__(self, column_map: ColumnMap, sheet: Sheet, *, today: date, bare: Notation | None) -> None:
        headers = sheet.headers
        _refuse_missing(column_map, headers)
        self._map = column_map
        self._headers = headers
        self._readings = [
            _Reading(
                headers.index(use.column),
                use,
                use.rule(
                    today=today,
                    bare=bare,
                    both_orders=writes_both_orders(use, sheet),
                    dates_1904=sheet.dates_1904,
                ),
                _condition(use, headers),
            )
            for use in column_map.columns
        ]
        self._constants = {
            subject: _constants(column_map, subject, today)
            for subject in Subject
            if subject not in OF_A_VISIT
        }
        self._flips = [
            (headers.index(rule.column), frozenset(tidy(value) for value in rule.values))
            for rule in column_map.rules
        ]

    def read(self, row: SheetRow) -> RowSaid:
        """Everything the row says. Never raises: what cannot be used stands among its problems."""
        said = RowSaid(row.number)
        if any(tidy(cell) for cell in row.cells[len(self._headers) :]):
            said.problem("More cells than headings. Is a separator inside a cell?")
            return said
        visits: dict[tuple[str, str], VisitSaid] = {}
        for reading in self._readings:
            if not reading.concerns(row):
                continue
            cell = row.cells[reading.place] if reading.place < len(row.cells) else ""
            try:
                fields = reading.fields(cell)
                if row.marks:
                    _judge_mark(said, reading, row, fields)
            except CellProblem as fault:
                column, value = reading.use.column, raw_text(cell)
                said.problem(fault.message, fault.outcome, column=column, value=value)
            else:
                _place(said, visits, reading.use, fields)
                if (acuity := fields.get("reading")) and acuity.note:
                    said.problem(acuity.note, "note", column=reading.use.column, value=raw_text(cell))
        self._complete(said, row)
        self._keep_visits(said, visits)
        return said

    def number_of(self, row: SheetRow) -> str:
        """The record number of a row, "" where it has none that can be used."""
        found = RowSaid(row.number)
        for reading in self._readings:
            if reading.use.target == "record_number" and reading.place < len(row.cells):
                try:
                    found.patient |= reading.fields(row.cells[reading.place])
                except CellProblem:
                    return ""
        numbered = f"{self._map.numbered}{row.number}" if self._map.numbered else ""
        return str(found.patient.get("record_number", numbered))

    def cells(self, row: SheetRow) -> dict[str, str]:
        """The raw text of the row by heading."""
        return {
            name: text
            for name, cell in zip(self._headers, row.cells, strict=False)
            if (text := raw_text(cell))
        }

    def _complete(self, said: RowSaid, row: SheetRow) -> None:
        said.patient = {**self._constants[Subject.PATIENT], **said.patient}
        own = said.eyes.setdefault(None, {})
        said.eyes[None] = own = {**self._constants[Subject.EYE], **own}
        numbered = f"{self._map.numbered}{row.number}" if self._map.numbered else ""
        said.record_number = said.patient.pop("record_number", numbered)
        side = own.pop("side", None)
        said.sides = tuple(Side) if side == BOTH else (Side(side),) if side else ()
        if self._is_flipped(row):
            said.sides = tuple(side.fellow for side in said.sides)
        self._complete_operations(said)
        if not said.record_number and not said.problems:
            column = self._heading("record_number")
            said.problem("There is no record number, so the row belongs to nobody.", column=column)

    def _complete_operations(self, said: RowSaid) -> None:
        """What is said of one eye stands beside what is said of the row's eye and of the whole file."""
        sided = said.operations
        common = sided.pop(None, {})
        stated = self._constants[Subject.OPERATION]
        said.operations = {}
        for side in dict.fromkeys((*(said.sides or [None] * (not sided)), *sided)):
            own = {**(common if side in said.sides or side is None else {}), **sided.get(side, {})}
            if "date" in {**stated, **own}:
                said.operations[side] = {**stated, **own}
            else:
                self._miss_date(said, own)

    def _miss_date(self, said: RowSaid, own: Fields) -> None:
        needed = self._map.shape != "visits" and bool(self._heading("operation_date")) and not self._is_sided
        if (own or needed) and not any(problem.kind != "note" for problem in said.problems):
            said.problem("There is no date of the operation.", column=self._heading("operation_date"))

    @property
    def _is_sided(self) -> bool:
        """Whether the file has a column of operations for each eye."""
        return any(use.side and use.catalogued.subject is Subject.OPERATION for use in self._map.columns)

    def _heading(self, target: str) -> str:
        return next((use.column for use in self._map.columns if use.target == target), "")

    def _is_flipped(self, row: SheetRow) -> bool:
        return any(
            place < len(row.cells) and tidy(row.cells[place]) in values for place, values in self._flips
        )

    def _keep_visits(self, said: RowSaid, visits: dict[tuple[str, str], VisitSaid]) -> None:
        a_row_is_a_visit = self._map.shape == "visits" and not self._map.visit_needs_finding
        for (at, _), visit in visits.items():
            if at:
                visit.offset = Duration.parse(at)
            timed = visit.day is not None or visit.offset is not None
            if visit.has_finding and not timed:
                said.problem("Findings without the day of the visit.")
            elif timed and (visit.has_finding or a_row_is_a_visit):
                said.visits.append(visit)
        if len(said.sides) > 1 and any(visit.exams.get(None) for visit in said.visits):
            column = self._heading("side")
            reason = "A finding cannot be of both eyes: the side means both eyes. Write a row for each eye."
            said.problem(reason, "human", column=column)


def _condition(use: ColumnUse, headers: tuple[str, ...]) -> tuple[int, frozenset[str]] | None:
    if use.when is None:
        return None
    return headers.index(use.when.column), frozenset(tidy(text).casefold() for text in use.when.values)


def _judge_mark(said: RowSaid, reading: _Reading, row: SheetRow, fields: Fields) -> None:
    """A number shown as a fraction is not the fraction that was typed. Raises CellProblem."""
    mark = row.marks.get(reading.place)
    if not mark or not fields:
        return
    value = raw_text(row.cells[reading.place])
    if mark == FRACTION and reading.use.target == "acuity":
        raise CellProblem(
            f"{value} is a fraction that was calculated; the workbook shows it as one. Which line was read?"
        )
    if mark != FRACTION:
        reason = "The result of a formula, as it was stored in the file."
        said.problem(reason, "note", column=reading.use.column, value=value)


def _refuse_missing(column_map: ColumnMap, headers: tuple[str, ...]) -> None:
    missing = column_map.missing_columns(headers)
    if missing:
        wanted = ", ".join(f'"{name}"' for name in missing)
        raise BadValue(
            f"The map needs the column {wanted}, which this file lacks. It has: {', '.join(headers)}. "
            "Choose the right file or correct the map.",
            field="map",
        )


def _constants(column_map: ColumnMap, subject: Subject, today: date) -> Fields:
    """What is stated for all rows of one subject; the precision of a date outweighs what the date implies."""
    found: Fields = {}
    stated = [(CATALOGUE[name], text) for name, text in column_map.constants.items()]
    for column, text in sorted(stated, key=lambda pair: pair[0].name == "date_precision"):
        if column.subject is subject:
            try:
                found |= column.read(text, CellRule(today=today))
            except CellProblem as fault:
                raise BadValue(
                    f"{column.name}, stated for the whole file: {fault.message}", field="map"
                ) from None
    return found


def _place(said: RowSaid, visits: dict[tuple[str, str], VisitSaid], use: ColumnUse, fields: Fields) -> None:
    subject = use.catalogued.subject
    if subject is Subject.PATIENT:
        _merge(said.patient, fields)
    elif subject is Subject.EYE:
        _merge(said.eyes.setdefault(use.side, {}), fields)
    elif subject is Subject.OPERATION:
        _merge(said.operations.setdefault(use.side, {}), fields)
    else:
        _place_finding(visits.setdefault((use.at, use.group), VisitSaid()), use, subject, fields)


def _place_finding(visit: VisitSaid, use: ColumnUse, subject: Subject, fields: Fields) -> None:
    if subject is Subject.VISIT:
        visit.day = fields.get("day", visit.day)
        visit.offset = fields.get("offset", visit.offset)
        visit.examiner = fields.get("examiner", visit.examiner)
        _merge(visit.fields, {name: value for name, value in fields.items() if name == "note"})
        return
    exam = visit.exams.setdefault(use.side, ExamSaid())
    if subject is Subject.EXAM:
        _merge(exam.fields, fields)
    elif fields:
        reading: Acuity = fields["reading"]
        exam.acuities[reading.correction or use.correction] = reading


def _merge(into: Fields, fields: dict[str, Any]) -> None:
    """Sets of codes from several columns add up; anything else is said by one column alone."""
    for name, value in fields.items():
        earlier = into.get(name)
        into[name] = earlier | value if isinstance(value, frozenset) and earlier else value
