"""What an import would write, as plain records; `services/imports.py` writes them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, TypeAlias


class Kind(StrEnum):
    """Kinds of record, each after those it belongs to."""

    PATIENT = "patient"
    EYE = "eye"
    OPERATION = "operation"
    VISIT = "visit"
    EXAM = "exam"
    ACUITY = "acuity"


Key: TypeAlias = tuple[Any, ...]
"""What tells a record from its like within a site.

patient: (record number); eye: (record number, side); operation: (record number, side, date, place among that
day's); visit: (record number, day); exam: (record number, day, side); acuity: (record number, day, side,
correction).
"""


@dataclass(frozen=True, slots=True)
class PlannedRecord:
    """A record to make, or an existing one (pk) of which some values change.

    values: by model field, and "procedures" or "complications" as sets of codes; before: the values they
    replace, empty for a new record; row: the row of the sheet that it comes from.
    """

    kind: Kind
    key: Key
    row: int
    values: dict[str, Any] = field(default_factory=dict)
    pk: int | None = None
    before: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ImportPlan:
    """new: records to make; changed: records to change; existing: keys of what is on record."""

    new: tuple[PlannedRecord, ...] = ()
    changed: tuple[PlannedRecord, ...] = ()
    existing: dict[tuple[Kind, Key], int] = field(default_factory=dict)

    def made(self, kind: Kind) -> list[PlannedRecord]:
        return [record for record in self.new if record.kind is kind]

    def altered(self, kind: Kind) -> list[PlannedRecord]:
        return [record for record in self.changed if record.kind is kind]


@dataclass(frozen=True, slots=True)
class ImportedRow:
    """One row as it is kept: outcome as in ImportRow; problems with column, value, reason, kind."""

    number: int
    outcome: str
    problems: tuple[dict[str, str], ...]
    cells: dict[str, str]


def eye_key(record: PlannedRecord) -> Key | None:
    """The eye that a record belongs to; None for patients and visits, which belong to the person."""
    if record.kind in (Kind.EYE, Kind.OPERATION):
        return record.key[:2]
    if record.kind in (Kind.EXAM, Kind.ACUITY):
        return (record.key[0], record.key[2])
    return None


def patients_of(records: Iterable[PlannedRecord]) -> set[str]:
    """Record numbers of the people these records belong to."""
    return {record.key[0] for record in records}
