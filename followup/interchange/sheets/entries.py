"""From what a row says to entries in the ledger, with every reason why it may not be entered."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import Any

from followup.domain.errors import BadValue
from followup.domain.words import Side
from followup.interchange.sheets.column_map import ColumnMap
from followup.interchange.sheets.ledger import Ledger, Said
from followup.interchange.sheets.rows import ExamSaid, RowSaid, VisitSaid
from followup.services.import_plan import Key, Kind


class EntryMaker:
    """Makes the entries of one row after another; `heading` names the column of a target for messages."""

    def __init__(self, column_map: ColumnMap, today: date) -> None:
        self._today = today
        self._headings: dict[tuple[str, str], str] = {}
        for use in column_map.columns:
            self._headings.setdefault((use.target, use.at), use.column)

    def heading(self, *targets: str, at: str = "") -> str:
        """The heading of the first of these targets that the file has, or ""."""
        found = (self._headings.get((target, at)) for target in targets)
        return next((heading for heading in found if heading), "")

    def entries(self, row: RowSaid, ledger: Ledger) -> list[Said]:
        """The row's entries, owners first. Adds to the row's problems whatever the facts do not allow."""
        number = (row.record_number,)
        if ledger.value(Kind.PATIENT, number, "contact_note"):
            # What somebody wrote about reaching this person outweighs a cell that held two numbers.
            row.patient.pop("contact_note", None)
        entries = [Said(Kind.PATIENT, number, row.patient)]
        self._check_birth(row, ledger)
        entries += self._eyes(row)
        anchors: dict[Side, date] = {}
        for side, operation in row.operations.items():
            if side is not None:
                entries += self._operation(row, ledger, side, operation)
                anchors[side] = operation["date"]
        for side in row.sides:
            if side not in anchors and (anchor := self._anchor_on_record(row, ledger, side)):
                anchors[side] = anchor
        for visit in row.visits:
            entries += self._visit(row, visit, anchors, ledger)
        return entries

    def check_days(self, row: RowSaid, ledger: Ledger) -> None:
        """Dates of a row that is left out for another reason, so that all is said at once."""
        for operation in row.operations.values():
            self._check_day(row, ledger, operation["date"], "The operation", "operation_date")
        for visit in row.visits:
            if visit.day is not None:
                self._check_day(row, ledger, visit.day, "The visit", "visit_date")

    def _check_birth(self, row: RowSaid, ledger: Ledger) -> None:
        born, first = row.patient.get("birth_date"), ledger.first_day(row.record_number)
        if born and first and born > first:
            self._refuse(
                row,
                f"Born on {born}, after the first record of {first}. Check both.",
                "birth_date",
                value=born,
            )

    def _eyes(self, row: RowSaid) -> Iterator[Said]:
        needs_side = bool(None in row.operations or row.eyes.get(None)) or any(
            None in visit.exams for visit in row.visits
        )
        if needs_side and not row.sides:
            self._refuse(row, "The row does not say which eye.", "side")
        named = {visit_side for visit in row.visits for visit_side in visit.exams}
        sides = {*row.sides, *(side for side in (*row.eyes, *row.operations, *named) if side)}
        for side in sorted(sides):
            fields = row.eyes.get(side, {}) | (row.eyes.get(None, {}) if side in row.sides else {})
            if fields or side in row.sides or side in row.operations or side in named:
                yield Said(Kind.EYE, (row.record_number, side), fields)

    def _operation(
        self, row: RowSaid, ledger: Ledger, side: Side, operation: dict[str, Any]
    ) -> Iterator[Said]:
        day = operation["date"]
        self._check_day(row, ledger, day, "The operation", "operation_date")
        fields = {name: value for name, value in operation.items() if name != "date"}
        eye = (row.record_number, side)
        key = self._same_operation(row, ledger, eye, day, fields)
        if key is not None:
            yield Said(Kind.OPERATION, key, _added(ledger, key, fields))

    def _same_operation(
        self, row: RowSaid, ledger: Ledger, eye: Key, day: date, fields: dict[str, Any]
    ) -> Key | None:
        """The key of the operation this row speaks of: one on record that day that agrees, or a new one."""
        that_day = [key for key in ledger.operations(eye) if key[2] == day]
        if not that_day:
            if (Kind.OPERATION, (*eye, day)) in ledger.withdrawn:
                self._ask(
                    row, f"An operation on {day} was marked as entered in error.", "operation_date", value=day
                )
            return (*eye, day, 0)
        agreeing = [key for key in that_day if _agrees(ledger, key, fields)]
        if len(agreeing) == 1:
            return agreeing[0]
        if len(that_day) == 1 and _is_of_the_sheet(ledger, that_day[0], fields):
            row.problem(
                f"A second operation on this eye on {day}: one session, with the procedures of both.",
                "note",
                column=self.heading("procedures"),
            )
            return that_day[0]
        self._ask(
            row,
            f"An operation on this eye on {day} is on record with other procedures or tamponade. Is it "
            "the same one corrected, or a second one that day?",
            "operation_date",
            value=day,
        )
        return None

    def _anchor_on_record(self, row: RowSaid, ledger: Ledger, side: Side) -> date | None:
        days: set[date] = {key[2] for key in ledger.operations((row.record_number, side))}
        if all(visit.day for visit in row.visits):
            return None
        if len(days) == 1:
            return days.pop()
        if days:
            self._ask(row, "This eye has several operations; the time may count from any.", "visit_offset")
        else:
            self._refuse(row, "No operation on this eye is on record to count the time from.", "visit_offset")
        return None

    def _visit(
        self, row: RowSaid, visit: VisitSaid, anchors: dict[Side, date], ledger: Ledger
    ) -> Iterator[Said]:
        for day, eyes in self._days(row, visit, anchors).items():
            self._check_day(row, ledger, day, "The visit", "visit_date", "visit_offset")
            key = (row.record_number, day)
            if not ledger.has(Kind.VISIT, key) and (Kind.VISIT, key) in ledger.withdrawn:
                self._ask(row, f"A visit on {day} was marked as entered in error.", "visit_date", value=day)
            yield Said(Kind.VISIT, key, visit.fields)
            for eye, exam in eyes:
                yield from _exam(key, eye, exam)

    def _days(
        self, row: RowSaid, visit: VisitSaid, anchors: dict[Side, date]
    ) -> dict[date, list[tuple[Side, ExamSaid]]]:
        """The eyes seen on each day: one day, or one an eye where each counts from its own operation."""
        eyes = [
            (eye, exam)
            for side, exam in (visit.exams or {None: ExamSaid()}).items()
            for eye in ((side,) if side else row.sides)
            if exam or side is None
        ]
        if visit.day is not None:
            return {visit.day: eyes}
        days: dict[date, list[tuple[Side, ExamSaid]]] = {}
        try:
            for eye, exam in eyes:
                if eye in anchors:
                    days.setdefault(visit.counted_from(anchors[eye]), []).append((eye, exam))
            if not eyes and anchors:
                days[visit.counted_from(min(anchors.values()))] = []
        except (BadValue, OverflowError):
            self._refuse(row, "The time after the operation leaves the calendar.", "visit_offset")
            return {}
        return days

    def _check_day(self, row: RowSaid, ledger: Ledger, day: date, what: str, *targets: str) -> None:
        number = (row.record_number,)
        born = row.patient.get("birth_date") or ledger.value(Kind.PATIENT, number, "birth_date")
        died = ledger.value(Kind.PATIENT, number, "died_on")
        if day > self._today:
            self._refuse(row, f"{what} on {day} lies in the future. Check the date.", *targets, value=day)
        if born and day < born:
            reason = f"{what} on {day} is before the birth on {born}. Check both dates."
            self._refuse(row, reason, *targets, value=day)
        if died and day > died:
            reason = f"{what} on {day} is after the death on {died}. Check both dates."
            self._refuse(row, reason, *targets, value=day)

    def _refuse(self, row: RowSaid, reason: str, *targets: str, value: object = "") -> None:
        row.problem(reason, column=self.heading(*targets), value=str(value))

    def _ask(self, row: RowSaid, reason: str, *targets: str, value: object = "") -> None:
        row.problem(reason, "human", column=self.heading(*targets), value=str(value))


def _exam(visit: Key, eye: Side, exam: ExamSaid) -> Iterator[Said]:
    key = (*visit, eye)
    yield Said(Kind.EXAM, key, exam.fields)
    for correction, reading in exam.acuities.items():
        yield Said(
            Kind.ACUITY,
            (*key, correction),
            {
                "as_written": reading.as_written,
                "notation": reading.notation.value,
                "logmar": reading.logmar_4dp,
                "category": reading.category.value if reading.category else "",
                "approximate": reading.approximate,
            },
        )


def _agrees(ledger: Ledger, key: Key, fields: dict[str, Any]) -> bool:
    """Whether procedures and tamponade are on record already, or not said by one of the two."""
    return _agrees_on_procedures(ledger, key, fields) and _agrees_on_tamponade(ledger, key, fields)


def _is_of_the_sheet(ledger: Ledger, key: Key, fields: dict[str, Any]) -> bool:
    """Whether the sheet itself brought that operation, with a tamponade that agrees: then both rows hold."""
    return ledger.is_new(Kind.OPERATION, key) and _agrees_on_tamponade(ledger, key, fields)


def _agrees_on_procedures(ledger: Ledger, key: Key, fields: dict[str, Any]) -> bool:
    known, said = ledger.value(Kind.OPERATION, key, "procedures"), fields.get("procedures")
    return not known or not said or said <= known


def _agrees_on_tamponade(ledger: Ledger, key: Key, fields: dict[str, Any]) -> bool:
    known, said = ledger.value(Kind.OPERATION, key, "tamponade_in"), fields.get("tamponade_in")
    return not known or not said or known in ("unknown", said)


def _added(ledger: Ledger, key: Key, fields: dict[str, Any]) -> dict[str, Any]:
    """Procedures that are said of one session add up, whichever row says them."""
    known, said = ledger.value(Kind.OPERATION, key, "procedures"), fields.get("procedures")
    return {**fields, "procedures": known | said} if known and said else fields
