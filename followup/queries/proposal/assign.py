"""Wants assigned to free places at the least cost: DEVELOPERS.md, Proposed bookings, states the cost.

Solved exactly by the shortest augmenting paths of Jonker and Volgenant (Computing 1987;38:325-340), as SciPy
has them (Crouse DF. IEEE Trans Aerosp Electron Syst 2016;52:1679-1696).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

UNPLACED_DAYS = 1_000
"""Somebody without a place costs as much as a place so many days past the window."""
_DAY_FROM_TARGET = 1e-4
"""A day before or after the target, so small that it only settles between places of equal delay."""


@dataclass(frozen=True, slots=True)
class Due:
    """One milestone of one eye: no place before `opens`, and each day after `closes` is a day of delay."""

    opens: date
    target: date
    closes: date

    def delay(self, day: date) -> int:
        return max(0, (day - self.closes).days)


@dataclass(frozen=True, slots=True)
class Want:
    """One place that a person needs: a review of one eye or both, or theatre for one eye.

    weight: how much a day of delay counts; away: days, both ends included, when the person cannot come;
    not_in: sessions that they hold a place in already.
    """

    patient: int
    kind: str
    dues: tuple[Due, ...]
    weight: int = 1
    away: tuple[tuple[date, date], ...] = ()
    not_in: frozenset[int] = frozenset()

    @property
    def opens(self) -> date:
        return max(due.opens for due in self.dues)

    def delay(self, day: date) -> int:
        """Days past the windows, both eyes added."""
        return sum(due.delay(day) for due in self.dues)

    def may_take(self, slot: Slot) -> bool:
        return (
            slot.kind == self.kind
            and slot.day >= self.opens
            and slot.session not in self.not_in
            and not any(first <= slot.day <= last for first, last in self.away)
        )

    def cost(self, slot: Slot) -> float:
        from_target = sum(abs((slot.day - due.target).days) for due in self.dues)
        return self.weight * self.delay(slot.day) + _DAY_FROM_TARGET * from_target

    @property
    def cost_without(self) -> float:
        return float(self.weight * UNPLACED_DAYS * len(self.dues))


@dataclass(frozen=True, slots=True)
class Slot:
    """A session with so many free places."""

    session: int
    day: date
    kind: str
    places: int


def assign(wants: Sequence[Want], slots: Sequence[Slot]) -> list[Slot | None]:
    """For each want the place proposed, None where there is none, at the least total cost.

    One person is never given two places in one session: of two such wants the later one in `wants` is
    assigned anew without it.
    """
    wants = list(wants)
    while True:
        taken = _least_cost(wants, slots)
        twice = _second_in_a_session(wants, taken)
        if not twice:
            return taken
        for number, session in twice.items():
            want = wants[number]
            wants[number] = Want(
                want.patient, want.kind, want.dues, want.weight, want.away, want.not_in | {session}
            )


def total_cost(wants: Sequence[Want], taken: Sequence[Slot | None]) -> float:
    return sum(
        want.cost(slot) if slot else want.cost_without for want, slot in zip(wants, taken, strict=True)
    )


def _least_cost(wants: Sequence[Want], slots: Sequence[Slot]) -> list[Slot | None]:
    if not wants:
        return []
    usable = [slot for slot in slots if slot.places > 0]
    costs, allowed = _tables(wants, usable)
    columns = np.repeat(np.arange(len(usable)), [min(slot.places, len(wants)) for slot in usable])
    # A want left over takes a column that it may not have, at the cost of no place: there must be enough.
    spare = max(0, len(wants) - len(columns))
    table = np.hstack([costs[:, columns], np.repeat(_without(wants), spare, axis=1)])
    rows, chosen = linear_sum_assignment(table)
    taken: list[Slot | None] = [None] * len(wants)
    for row, column in zip(rows, chosen, strict=True):
        if column < len(columns) and allowed[row, columns[column]]:
            taken[row] = usable[columns[column]]
    return taken


def _tables(wants: Sequence[Want], slots: Sequence[Slot]) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Cost of each want in each slot, and whether it may take it at all."""
    allowed = np.array([[want.may_take(slot) for slot in slots] for want in wants], dtype=bool)
    allowed = allowed.reshape(len(wants), len(slots))
    costs = np.repeat(_without(wants), len(slots), axis=1)
    for row, want in enumerate(wants):
        for column in np.flatnonzero(allowed[row]).tolist():
            costs[row, column] = min(want.cost(slots[column]), want.cost_without)
    return costs, allowed


def _without(wants: Sequence[Want]) -> NDArray[np.float64]:
    return np.array([[want.cost_without] for want in wants])


def _second_in_a_session(wants: Sequence[Want], taken: Sequence[Slot | None]) -> Mapping[int, int]:
    """Wants whose person was given the same session already, with that session."""
    given = [
        (number, want.patient, slot) for number, (want, slot) in enumerate(zip(wants, taken, strict=True))
    ]
    held: dict[tuple[int, int], list[int]] = {}
    for number, patient, slot in given:
        if slot is not None:
            held.setdefault((patient, slot.session), []).append(number)
    return {later: session for (_, session), numbers in held.items() for later in numbers[1:]}
