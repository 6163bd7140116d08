"""All pathways of a service, and which of them an operation starts."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Self

from followup.domain.dates.workdays import age_on
from followup.domain.errors import BadValue
from followup.domain.facts import EyeTraits, OperationFact, PathwayId, Pin
from followup.domain.pathway.definition import Condition, PathwayDefinition
from followup.domain.words import Indication, Procedure, TamponadeKind, YesNo


@dataclass(frozen=True, slots=True)
class Start:
    """What is known on the day a course starts: all that was done that day and what is then in the eye."""

    day: date
    traits: EyeTraits
    indications: frozenset[Indication]
    procedures: frozenset[Procedure]
    repeats: frozenset[str]
    tamponade: TamponadeKind
    removed: frozenset[TamponadeKind]

    @property
    def fingerprint(self) -> str:
        """Changes when, and only when, a fact changes that pathways are chosen by."""
        traits = self.traits
        facts = (
            self.day,
            traits.axial_length_mm,
            traits.staphyloma,
            traits.only_eye,
            self.age,
            sorted(self.indications),
            sorted(self.procedures),
            sorted(self.repeats),
            self.tamponade,
            sorted(self.removed),
        )
        return hashlib.sha256(repr([str(fact) for fact in facts]).encode()).hexdigest()[:32]

    @property
    def age(self) -> int | None:
        """In whole years; a birth date after the operation cannot be right and is passed over."""
        born = self.traits.birth_date
        if born is not None and born <= self.day:
            return age_on(born, self.day)
        return self.traits.age_stated


@dataclass(frozen=True, slots=True)
class PathwayBook:
    """Every version by its id, and the active ones in the order they are tried."""

    versions: Mapping[PathwayId, PathwayDefinition]
    active: tuple[PathwayDefinition, ...]

    @classmethod
    def of(cls, active: Iterable[PathwayDefinition], retired: Iterable[PathwayDefinition] = ()) -> Self:
        """Raises BadValue unless exactly one active pathway is the fallback."""
        in_use = sorted(active, key=lambda pathway: (pathway.fallback, -pathway.priority, pathway.key))
        fallbacks = [pathway.key for pathway in in_use if pathway.fallback]
        if len(fallbacks) != 1:
            raise BadValue(
                "Exactly one active pathway must have fallback = true, so that no operation is left without "
                f"one; found {', '.join(fallbacks) or 'none'}."
            )
        return cls({pathway.id: pathway for pathway in [*in_use, *retired]}, tuple(in_use))

    def choose(self, start: Start, pin: Pin | None = None) -> PathwayDefinition:
        """The pathway for this start. A course keeps its own until a fact that chose it changes.

        Then the choice is made anew, and the version is kept if it falls on the same pathway. So an edited
        pathway never moves an eye by itself, and a corrected operation does. What a clinician signed stays.
        """
        if pin is not None and (pin.is_signed or pin.chosen_for == start.fingerprint):
            return self.versions[pin.pathway]
        chosen = next(pathway for pathway in self.active if pathway.fallback or applies(pathway, start))
        if pin is not None and pin.pathway.key == chosen.key:
            return self.versions[pin.pathway]
        return chosen


def applies(pathway: PathwayDefinition, start: Start) -> bool:
    """True if any of the pathway's conditions holds."""
    return any(_holds(condition, start) for condition in pathway.applies)


def _holds(condition: Condition, start: Start) -> bool:
    length = start.traits.axial_length_mm
    age = start.age
    return all(
        (
            not condition.tamponade or start.tamponade in condition.tamponade,
            not condition.removed or bool(start.removed & set(condition.removed)),
            not condition.indication or bool(start.indications & set(condition.indication)),
            not condition.procedure or bool(start.procedures & set(condition.procedure)),
            condition.repeat is None or condition.repeat in start.repeats,
            _within(length, condition.axial_length_at_least, condition.axial_length_below),
            _within(age, condition.age_at_least, condition.age_below),
            condition.staphyloma is None or (start.traits.staphyloma is YesNo.YES) == condition.staphyloma,
            condition.only_eye is None or start.traits.only_eye == condition.only_eye,
        )
    )


def _within(value: float | None, at_least: float | None, below: float | None) -> bool:
    """What was never measured meets no limit."""
    if at_least is None and below is None:
        return True
    if value is None:
        return False
    return (at_least is None or value >= at_least) and (below is None or value < below)


def start_of(
    operations: Sequence[OperationFact],
    traits: EyeTraits,
    tamponade: TamponadeKind,
    removed: Iterable[TamponadeKind],
) -> Start:
    """The start that the operations of one day make together."""
    return Start(
        day=operations[0].date,
        traits=traits,
        indications=frozenset(operation.indication for operation in operations),
        procedures=frozenset(procedure for operation in operations for procedure in operation.procedures),
        repeats=frozenset(operation.repeat for operation in operations),
        tamponade=tamponade,
        removed=frozenset(removed),
    )
