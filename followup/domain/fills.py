"""Fills: one stay of a tamponade in an eye, from the operation that placed it until it is out or gone.

Rules (DEVELOPERS.md, Fills): an eye has at most one open fill. Oil and heavy liquid leave only by an
operation. Air and gas leave by themselves, but a fill ends only when an examiner records that the bubble
is gone. Unknown stays unknown until an examiner says what is there.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date

from followup.domain.facts import ExamFact, OperationFact
from followup.domain.words import Tamponade, TamponadeKind, TamponadeSeen


@dataclass(frozen=True, slots=True)
class Fill:
    tamponade: Tamponade
    placed_on: date
    placed_by: int
    first_placed_on: date
    """First insertion of the unbroken stay: kept through an exchange of like for like."""
    ended_on: date | None = None
    ended_by: int | None = None
    """The operation that took it out; None while open, and when it was seen to be gone."""

    @property
    def is_open(self) -> bool:
        return self.ended_on is None

    @property
    def must_come_out(self) -> bool:
        return self.tamponade.kind.must_come_out

    def days_in_eye(self, day: date) -> int:
        """Whole days of this fill by `day`, or until it ended."""
        return ((self.ended_on or day) - self.placed_on).days

    def days_since_first(self, day: date) -> int:
        return ((self.ended_on or day) - self.first_placed_on).days


def derive_fills(operations: Iterable[OperationFact], exams: Iterable[ExamFact]) -> tuple[Fill, ...]:
    """All fills of one eye in order. An exam on the day of an operation is taken to come before it."""
    looked = [exam for exam in exams if exam.tamponade_seen is not TamponadeSeen.NOT_EXAMINED]
    facts: list[OperationFact | ExamFact] = [*looked, *operations]
    fills: list[Fill] = []
    for fact in sorted(facts, key=_order):
        if isinstance(fact, ExamFact):
            _after_exam(fills, fact)
        else:
            _after_operation(fills, fact)
    return tuple(fills)


def _order(fact: OperationFact | ExamFact) -> tuple[date, bool, int]:
    """By day: the exams as entered, then the operations in the order given."""
    if isinstance(fact, ExamFact):
        return fact.day, False, fact.id
    return fact.date, True, 0


def open_fill(fills: Iterable[Fill]) -> Fill | None:
    """The fill that is in the eye now, if any."""
    return next((fill for fill in fills if fill.is_open), None)


def fill_before(operations: Iterable[OperationFact], exams: Iterable[ExamFact], day: date) -> Fill | None:
    """What was in the eye when an operation on `day` began, by what is on record."""
    earlier = [operation for operation in operations if operation.date < day]
    return open_fill(derive_fills(earlier, (exam for exam in exams if exam.day <= day)))


def _after_operation(fills: list[Fill], operation: OperationFact) -> None:
    before = fills[-1] if fills and fills[-1].is_open else None
    if operation.takes_out and before:
        fills[-1] = _ended(before, operation)
    if not _places_fill(operation, before):
        return
    if before and not operation.takes_out:
        fills[-1] = _ended(before, operation)
    like_for_like = before is not None and before.tamponade.kind is operation.tamponade_in.kind
    first = before.first_placed_on if before and like_for_like else operation.date
    fills.append(Fill(operation.tamponade_in, operation.date, operation.id, first))


def _places_fill(operation: OperationFact, before: Fill | None) -> bool:
    kind = operation.tamponade_in.kind
    if kind is TamponadeKind.NONE:
        return False
    stays = before is not None and before.must_come_out and not operation.takes_out
    if stays:
        # Oil that nobody took out is still there, whatever was added to it.
        return kind.must_come_out
    # A clinic laser or an injection leaves the question of tamponade unasked, so unknown means nothing there.
    return kind is not TamponadeKind.UNKNOWN or operation.is_retinal


def _ended(fill: Fill, operation: OperationFact) -> Fill:
    return replace(fill, ended_on=operation.date, ended_by=operation.id)


_WHAT_WAS_SEEN = {
    TamponadeSeen.BUBBLE: Tamponade.GAS,
    TamponadeSeen.OIL: Tamponade.OIL,
    TamponadeSeen.HEAVY_LIQUID: Tamponade.HEAVY_LIQUID,
}


def _after_exam(fills: list[Fill], exam: ExamFact) -> None:
    if not fills or not fills[-1].is_open:
        return
    fill = fills[-1]
    if exam.tamponade_seen is TamponadeSeen.NONE and not fill.must_come_out:
        fills[-1] = replace(fill, ended_on=exam.day)
    elif fill.tamponade is Tamponade.UNKNOWN and exam.tamponade_seen in _WHAT_WAS_SEEN:
        fills[-1] = replace(fill, tamponade=_WHAT_WAS_SEEN[exam.tamponade_seen])
