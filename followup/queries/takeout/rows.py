"""The rows of an export, table by table: a few queries for each few hundred people."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from typing import Any

from django.db.models import Model

from followup.models import (
    AcuityReading,
    Appointment,
    Consent,
    ContactAttempt,
    Decision,
    Exam,
    ExamComplication,
    Eye,
    Fill,
    Milestone,
    Operation,
    OperationProcedure,
    Patient,
    Site,
    SymptomReport,
    Visit,
)
from followup.queries.takeout.fields import Field, Kind, Table
from followup.queries.takeout.people import Writer

AT_ONCE = 500
"""People whose rows are read together."""
BETWEEN = "; "
"""Between several codes in one cell."""

_STANDING: dict[str, tuple[type[Model], dict[str, Any], tuple[str, ...]]] = {
    "patients": (Patient, {}, ()),
    "eyes": (Eye, {}, ("-side",)),
    "operations": (Operation, {"in_error": False}, ("date", "pk")),
    "visits": (Visit, {"in_error": False}, ("day",)),
    "exams": (Exam, {"visit__in_error": False}, ("visit__day", "pk")),
    "acuity": (AcuityReading, {"exam__visit__in_error": False}, ("exam__visit__day", "pk")),
    "fills": (Fill, {}, ("placed_on", "pk")),
    "milestones": (Milestone, {}, ("-course__eye__side", "course__anchor", "course_id", "opens", "pk")),
    "appointments": (Appointment, {}, ("day", "pk")),
    "contact_attempts": (ContactAttempt, {}, ("day", "pk")),
    "decisions": (Decision, {}, ("signed_on", "pk")),
    "symptom_reports": (SymptomReport, {}, ("day", "pk")),
    "consents": (Consent, {}, ("given_on", "pk")),
}
"""Of each table: its rows, which of them stand, and the order of those of one person."""
_SETS: dict[str, tuple[type[Model], str, str]] = {
    "procedures": (OperationProcedure, "operation", "procedure"),
    "complications": (ExamComplication, "exam", "complication"),
}


def columns_of(table: Table, writer: Writer) -> list[Field]:
    return [column for column in table.fields if writer.takes(column)]


def headings_of(table: Table, writer: Writer) -> tuple[str, ...]:
    names = (writer.heading(column) for column in columns_of(table, writer))
    return (*writer.key_names(of_eye=bool(table.eye)), *names)


def rows_of(table: Table, site: Site, writer: Writer) -> Iterator[tuple[Any, ...]]:
    """Cells in the order of the headings: text, numbers, days, truth values, or None."""
    people = writer.in_order(Patient.objects.filter(site=site).values_list("pk", "record_number"))
    for start in range(0, len(people), AT_ONCE):
        yield from _rows_of(table, people[start : start + AT_ONCE], writer)


def _rows_of(table: Table, people: Sequence[int], writer: Writer) -> Iterator[tuple[Any, ...]]:
    columns = columns_of(table, writer)
    ids = [table.person, *([table.eye] if table.eye else [])]
    parts = [column.path.split("+") for column in columns]
    model, standing, order = _STANDING[table.name]
    rows = model._default_manager.filter(**{f"{table.person}__in": people}, **standing).order_by(*order)
    found = list(rows.values_list(*ids, *(path for one in parts for path in one)))
    read = [_reader(column, table, people) for column in columns]
    place = {person: number for number, person in enumerate(people)}
    for row in sorted(found, key=lambda row: place[row[0]]):
        person, eye, rest = row[0], row[1] if table.eye else None, iter(row[len(ids) :])
        values = [one([next(rest) for _ in paths]) for one, paths in zip(read, parts, strict=True)]
        told = (writer.value(column, value, person) for column, value in zip(columns, values, strict=True))
        yield (*writer.keys(person, eye), *told)


def _reader(column: Field, table: Table, people: Sequence[int]) -> Callable[[list[Any]], Any]:
    """From the values of its paths to the one value of the column."""
    if column.kind is Kind.CODES:
        codes = _codes(column, table, people)
        return lambda values: BETWEEN.join(sorted(codes.get(values[0], ())))
    if column.kind is Kind.STAFF:
        return lambda values: (values[0], values[1] if len(values) > 1 else "")
    if column.kind is Kind.YES_NO:
        return lambda values: None if values[0] is None and column.name == "restarts" else bool(values[0])
    if column.name == "pressure":
        return lambda values: values[1] if values[0] is None else values[0]
    if column.name == "reading":
        return lambda values: " ".join((values[0], values[1], *(["approximate"] if values[2] else [])))
    return lambda values: values[0]


def _codes(column: Field, table: Table, people: Sequence[int]) -> dict[int, list[str]]:
    model, owner, name = _SETS[column.name]
    found: defaultdict[int, list[str]] = defaultdict(list)
    rows = model._default_manager.filter(**{f"{owner}__{table.person}__in": people})
    for pk, code in rows.values_list(f"{owner}_id", name):
        found[pk].append(code)
    return found
