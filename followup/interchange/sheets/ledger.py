"""Sheet and site side by side: what each row adds, repeats, changes or contradicts."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any, TypeAlias

from followup.domain.facts import ExamFact, OperationFact
from followup.domain.words import Procedure, Tamponade, TamponadeSeen
from followup.interchange.sheets.values import Fields
from followup.queries.imports import Recorded
from followup.services.import_plan import ImportPlan, Key, Kind, PlannedRecord

Place: TypeAlias = tuple[Kind, Key]


@dataclass(frozen=True, slots=True)
class Said:
    """Values that a row gives a record."""

    kind: Kind
    key: Key
    fields: Fields


@dataclass(frozen=True, slots=True)
class Contradiction:
    said: Said
    name: str
    earlier: Any
    row: int


class Ledger:
    """Starts from what is on record; rows are taken one by one, each whole or not at all."""

    def __init__(self, records: Iterable[Recorded]) -> None:
        self._recorded: dict[Place, Recorded] = {}
        self._given: defaultdict[Place, dict[str, tuple[Any, int]]] = defaultdict(dict)
        self._made: dict[Place, int] = {}
        self._operations: defaultdict[Key, list[Key]] = defaultdict(list)
        self._exams: defaultdict[Key, list[Key]] = defaultdict(list)
        self._first_day: dict[str, date] = {}
        self.withdrawn: set[Place] = set()
        """Visits by person and day, operations by eye and date, that were marked entered in error."""
        for record in records:
            self._start(Kind(record.kind), record)

    def _start(self, kind: Kind, record: Recorded) -> None:
        key = record.key
        if record.values.get("in_error"):
            self.withdrawn.add((kind, key[:3]))
            return
        self._recorded[kind, key] = record
        self._index(kind, key)

    def _index(self, kind: Kind, key: Key) -> None:
        if kind is Kind.OPERATION:
            self._operations[key[:2]].append(key)
            self._note_day(key[0], key[2])
        elif kind is Kind.EXAM:
            self._exams[key[0], key[2]].append(key)
        elif kind is Kind.VISIT:
            self._note_day(key[0], key[1])

    def _note_day(self, number: str, day: date) -> None:
        self._first_day[number] = min(day, self._first_day.get(number, day))

    # Asking

    def has(self, kind: Kind, key: Key) -> bool:
        return (kind, key) in self._recorded or (kind, key) in self._made

    def is_new(self, kind: Kind, key: Key) -> bool:
        """Whether the sheet brings it, and nothing of it is on record."""
        return (kind, key) in self._made

    def value(self, kind: Kind, key: Key, name: str) -> Any:
        """What a record says now, by the sheet or else by what is on record; None where neither says."""
        given = self._given.get((kind, key), {}).get(name)
        if given is not None:
            return given[0]
        recorded = self._recorded.get((kind, key))
        return recorded.values.get(name) if recorded else None

    def first_day(self, number: str) -> date | None:
        """The first operation or visit of a person."""
        return self._first_day.get(number)

    def operations(self, eye: Key) -> list[Key]:
        return self._operations.get(eye, [])

    def contradiction(self, said: Iterable[Said]) -> Contradiction | None:
        """The first value that an earlier row of the sheet gives otherwise."""
        for one in said:
            earlier = self._given.get((one.kind, one.key), {})
            for name, value in one.fields.items():
                if name in earlier and earlier[name][0] != value and not _adds(earlier[name][0], value):
                    return Contradiction(one, name, *earlier[name])
        return None

    def differences(self, said: Iterable[Said]) -> Iterator[tuple[Said, str, Any]]:
        """What a row would change of what is on record: the entry, the field and its value before."""
        for one in said:
            recorded = self._recorded.get((one.kind, one.key))
            given = self._given.get((one.kind, one.key), {})
            if recorded is None:
                continue
            for name, value in one.fields.items():
                if name not in given and recorded.values.get(name) != value:
                    yield one, name, recorded.values.get(name)

    # Taking

    def take(self, said: Iterable[Said], row: int) -> str:
        """Enters a row that contradicts nothing; "new", "changed" or "same"."""
        effects = {self._enter(one, row) for one in said}
        return next((effect for effect in ("new", "changed") if effect in effects), "same")

    def _enter(self, said: Said, row: int) -> str:
        place = (said.kind, said.key)
        recorded = self._recorded.get(place)
        effect = "same"
        if recorded is None and place not in self._made:
            self._made[place] = row
            self._index(*place)
            effect = "new"
        given = self._given[place]
        for name, value in said.fields.items():
            if name in given and given[name][0] == value:
                continue
            given[name] = (value, row)
            if recorded is None:
                effect = "new"
            elif recorded.values.get(name) != value:
                effect = "changed" if effect == "same" else effect
        return effect

    # Facts of the rules

    def takes_out_anew(self) -> Iterator[tuple[Key, int]]:
        """Operations that take a tamponade out by word of the sheet alone, with the row that says so."""
        for (kind, key), given in self._given.items():
            if kind is Kind.OPERATION and given.get("takes_out", (False, 0))[0]:
                recorded = self._recorded.get((kind, key))
                if recorded is None or not recorded.values["takes_out"]:
                    yield key, given["takes_out"][1]

    def operation_facts(self, eye: Key) -> list[OperationFact]:
        ordered = sorted(self._operations.get(eye, []), key=lambda key: key[2:])
        return [self._operation_fact(number, key) for number, key in enumerate(ordered)]

    def _operation_fact(self, number: int, key: Key) -> OperationFact:
        tamponade = self.value(Kind.OPERATION, key, "tamponade_in")
        procedures = self.value(Kind.OPERATION, key, "procedures") or frozenset()
        return OperationFact(
            id=number,
            date=key[2],
            procedures=frozenset(Procedure(code) for code in procedures),
            tamponade_in=Tamponade(tamponade or Tamponade.UNKNOWN),
            takes_out=bool(self.value(Kind.OPERATION, key, "takes_out")),
        )

    def exam_facts(self, eye: Key) -> list[ExamFact]:
        return [
            ExamFact(number, number, key[1], tamponade_seen=TamponadeSeen(seen))
            for number, key in enumerate(self._exams.get(eye, []))
            if (seen := self.value(Kind.EXAM, key, "tamponade_seen"))
        ]

    # The plan

    def made(self) -> Counter[Kind]:
        """How many records of each kind the sheet brings."""
        return Counter(kind for kind, _ in self._made)

    def plan(self) -> ImportPlan:
        made = [
            PlannedRecord(
                kind, key, row, {name: value for name, (value, _) in self._given[kind, key].items()}
            )
            for (kind, key), row in self._made.items()
        ]
        changed = [
            record
            for place, recorded in self._recorded.items()
            if (record := self._change(place, recorded)) is not None
        ]
        existing = {place: recorded.pk for place, recorded in self._recorded.items()}
        return ImportPlan(tuple(made), tuple(changed), existing)

    def _change(self, place: Place, recorded: Recorded) -> PlannedRecord | None:
        given = self._given.get(place, {})
        differing = {name: said for name, said in given.items() if recorded.values.get(name) != said[0]}
        if not differing:
            return None
        return PlannedRecord(
            *place,
            row=min(row for _, row in differing.values()),
            values={name: value for name, (value, _) in differing.items()},
            pk=recorded.pk,
            before={name: recorded.values.get(name) for name in differing},
        )


def _adds(earlier: Any, value: Any) -> bool:
    """Whether a set of codes only grows."""
    return isinstance(earlier, frozenset) and isinstance(value, frozenset) and earlier < value
