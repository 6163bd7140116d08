"""Every version of every fact of one eye, so that any past day can be asked about in two ways.

'As known then' uses what was held true on that day; 'as known now' tells the same day from what is held true
today. A late entry or a correction changes the second and never the first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Protocol, TypeVar

from followup.domain.facts import (
    AppointmentFact,
    AttemptFact,
    DecisionFact,
    ExamFact,
    EyeHistory,
    EyeTraits,
    Known,
    OperationFact,
    Pin,
    ReportFact,
)


class _Versioned(Protocol):
    @property
    def known(self) -> Known: ...


_Fact = TypeVar("_Fact", bound=_Versioned)


@dataclass(frozen=True, slots=True)
class EyeRecord:
    """All versions, in the order of `EyeHistory`; a corrected fact stands once for each of its values."""

    eye_id: int
    traits: tuple[EyeTraits, ...]
    operations: tuple[OperationFact, ...] = ()
    exams: tuple[ExamFact, ...] = ()
    appointments: tuple[AppointmentFact, ...] = ()
    decisions: tuple[DecisionFact, ...] = ()
    attempts: tuple[AttemptFact, ...] = ()
    reports: tuple[ReportFact, ...] = ()
    pinned: Mapping[int, Pin] = field(default_factory=dict)

    def known_now(self) -> EyeHistory:
        """What is held true today."""
        return self._history(lambda known: known.until is None)

    def known_on(self, day: date) -> EyeHistory:
        """What was held true on `day`, and had happened by then: the answer that could be given that day."""
        return self._history(lambda known: known.on(day)).until(day)

    def _history(self, holds: _Holds) -> EyeHistory:
        traits = [version for version in self.traits if holds(version.known)]
        return EyeHistory(
            eye_id=self.eye_id,
            traits=traits[-1] if traits else EyeTraits(side=self.traits[0].side),
            operations=_held(self.operations, holds),
            exams=_held(self.exams, holds),
            appointments=_held(self.appointments, holds),
            decisions=_held(self.decisions, holds),
            attempts=_held(self.attempts, holds),
            reports=_held(self.reports, holds),
            pinned=self.pinned,
        )


class _Holds(Protocol):
    def __call__(self, known: Known, /) -> bool: ...


def _held(facts: Iterable[_Fact], holds: _Holds) -> tuple[_Fact, ...]:
    return tuple(fact for fact in facts if holds(fact.known))
