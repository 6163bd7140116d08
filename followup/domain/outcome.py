"""What became of an operated eye: one pure function from operations and exams.

The definitions below are printed in DEVELOPERS.md and on the audit page from `DEFINITIONS`, so that what is
computed and what is claimed cannot part.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import NamedTuple

from followup.domain.facts import ExamFact, EyeHistory, OperationFact
from followup.domain.fills import Fill, derive_fills, open_fill
from followup.domain.words import Clock, Hole, Indication, Procedure, RecurrenceEvent, Retina, Term, YesNo

DEFINITIONS: dict[str, str] = {
    "Unit": "One eye. Eyes and patients are both counted.",
    "Index operation": "The first operation on record in the eye that was retinal surgery; later operations "
    "do not move it. Where none was retinal, the first operation.",
    "Clock": "A: from the index operation. B: from the day the tamponade was taken out or seen to be gone; "
    "eyes that never got there are not in B, and their number stands beside it. An eye that was given no "
    "tamponade enters B on the day of the index operation.",
    "Attached": "Seen attached at an exam (with or without peripheral fluid), or recorded as attached at the "
    "end of surgery. 'Not visible' and 'not examined' say nothing: they neither prove nor end attachment.",
    "Recurrence": "Attached, and later found detached at an exam; or operated on for a recurrent detachment. "
    "It happened after the eye was last seen attached and not after the day it was found.",
    "Primary failure": "Found detached before it was ever attached. It is not a recurrence: it stands beside "
    "the curve with its number and is not in it.",
    "Hole reopened": "The hole was closed at an exam and later found open.",
    "Either": "The first of a recurrence and a hole reopened. The eye is well on a day on which neither part "
    "that was seen speaks against it.",
    "Reoperation": "Any later retinal operation on the eye, but for a planned removal of tamponade that "
    "leaves no oil. Its day is known; until then the eye is counted to its last exam, whatever was seen.",
    "Three lines gained": "The first reading, with the correction and on the kind of chart of the last one "
    "before the index operation, that is three lines (15 letters, 0.3 logMAR) better or more. Gas or oil in "
    "the eye takes no reading out, since it can only hide a gain. Until then the eye is counted to its last "
    "such reading; without one before and after, or with the first below the chart, its clock never starts. "
    "It is a good event: the curve shows the eyes that have not had it yet.",
    "Primary success": "Attached when last seen, and no operation for a recurrent detachment after the index "
    "operation. A planned removal of tamponade does not count against it.",
    "Hole closed": "Of eyes with a hole that was seen after the index operation: closed, type 1 or 2, or no "
    "longer found, when last seen. A primary closure had no later operation for a hole or a recurrent "
    "detachment.",
    "Final state": "The retina when last seen, with the tamponade then in the eye: attached under oil is "
    "provisional, and is never added to attached without tamponade.",
    "No event": "Counted until the eye was last seen attached (for a hole: closed), never until the audit "
    "date.",
    "Death": "Ends the time at risk on the day of death in the competing-event curve; in the recurrence-free "
    "curve the eye is counted until it was last seen attached.",
}


class Ending(Term):
    """How the time of an eye on the recurrence-free clock ended."""

    RECURRED = "recurred", "Recurred"
    FREE = "free", "Free of recurrence when last seen"
    PRIMARY_FAILURE = "primary_failure", "Never attached, or never closed"
    NEVER_STARTED = "never_started", "Clock never started"


class FinalState(Term):
    ATTACHED = "attached", "Attached without oil"
    ATTACHED_UNDER_OIL = "attached_under_oil", "Attached under oil"
    DETACHED = "detached", "Detached"
    NOT_SEEN = "not_seen", "Retina never seen after the operation"


class HoleState(Term):
    """The macular hole when last seen after the index operation."""

    CLOSED = "closed", "Hole closed"
    OPEN = "open", "Hole open"
    NOT_SEEN = "not_seen", "Hole never seen after the operation"
    NO_HOLE = "no_hole", "No hole on record"


@dataclass(frozen=True, slots=True)
class Outcome:
    """One eye on one clock. `days` is whole days from start to event, or to when last seen attached."""

    eye_id: int
    index: OperationFact
    ending: Ending
    start: date | None
    days: int | None
    found_on: date | None
    """Recurred: the day it was found."""
    last_well: date | None
    """The last day the eye was seen free of the event; with `found_on` the interval it happened in."""
    final: FinalState
    final_on: date | None
    primary_success: bool | None
    """None where the retina was never seen after the operation."""
    died_on: date | None
    last_exam: date | None
    hole: HoleState
    hole_primary: bool | None
    """Closed without another operation for it; None where no hole was seen after the operation."""
    fills: tuple[Fill, ...]
    """Every stay of a tamponade in the eye, in order."""

    @property
    def recurred(self) -> bool:
        return self.ending is Ending.RECURRED

    @property
    def in_curve(self) -> bool:
        return self.days is not None


def index_operation(operations: Sequence[OperationFact]) -> OperationFact | None:
    """The operation that audit counts from, whatever came after."""
    return next((operation for operation in operations if operation.is_retinal), None) or (
        operations[0] if operations else None
    )


def outcome_of(
    history: EyeHistory,
    *,
    clock: Clock = Clock.INDEX,
    event: RecurrenceEvent = RecurrenceEvent.REDETACHMENT,
    gains: Mapping[int, bool] | None = None,
) -> Outcome | None:
    """The outcome by the definitions above; None for an eye that was never operated on.

    gains: by exam id, whether its reading was three lines better than before; only the event of that asks.
    """
    index = index_operation(history.operations)
    if index is None:
        return None
    fills = derive_fills(history.operations, history.exams)
    start = index.date if clock is Clock.INDEX else _free_of_tamponade(index, fills)
    if event is RecurrenceEvent.GAIN:
        signs = _gain_signs(history, index, gains or {})
        start = start if signs else None
    else:
        signs = _signs(history, index, event)
    ending, days, found_on, last_well = _ending(signs, start)
    final, final_on = _final(history, index, fills)
    exams = [exam.day for exam in history.exams if exam.day > index.date]
    hole, hole_primary = _hole(history, index)
    return Outcome(
        eye_id=history.eye_id,
        index=index,
        ending=ending,
        start=start,
        days=days,
        found_on=found_on,
        last_well=last_well,
        final=final,
        final_on=final_on,
        primary_success=_primary_success(history, index, final),
        died_on=history.traits.died_on,
        last_exam=exams[-1] if exams else None,
        hole=hole,
        hole_primary=hole_primary,
        fills=fills,
    )


def is_planned_removal(operation: OperationFact) -> bool:
    """Takes the tamponade out as planned and leaves no oil: no reoperation. Clearing a detachment is one."""
    if not operation.takes_out or operation.tamponade_in.kind.must_come_out:
        return False
    retinal = {procedure for procedure in operation.procedures if procedure.is_retinal}
    return operation.indication is Indication.TAMPONADE_REMOVAL or retinal == {Procedure.OIL_REMOVAL}


class _Sign(NamedTuple):
    """What one fact says of the event: well, or found to have happened. In order bad news comes first."""

    day: date
    well: bool


def _signs(history: EyeHistory, index: OperationFact, event: RecurrenceEvent) -> list[_Sign]:
    """Signs from the index operation on, in order; a fact that says nothing gives none."""
    found: list[_Sign] = []
    if event is RecurrenceEvent.REOPERATION:
        found += _reoperation_signs(history, index)
    elif event is not RecurrenceEvent.HOLE:
        if index.attached_at_end is YesNo.YES:
            found.append(_Sign(index.date, True))
        found += [
            _Sign(operation.date, False)
            for operation in history.operations
            if operation.indication is Indication.REDETACHMENT and operation.date > index.date
        ]
    for exam in history.exams:
        if exam.day > index.date and (well := _says(exam, event)) is not None:
            found.append(_Sign(exam.day, well))
    # On one day the finding comes before the operation that mends it, and bad news before good.
    return sorted(found)


def _reoperation_signs(history: EyeHistory, index: OperationFact) -> Iterator[_Sign]:
    """Well on the day of the index operation; exams then say so whatever they saw."""
    yield _Sign(index.date, True)
    for operation in history.operations:
        if operation.date > index.date and operation.is_retinal and not is_planned_removal(operation):
            yield _Sign(operation.date, False)


def _gain_signs(history: EyeHistory, index: OperationFact, gains: Mapping[int, bool]) -> list[_Sign]:
    """Without the gain on the day of the operation, and at each reading until the first that shows it."""
    read = [_Sign(exam.day, not gains[exam.id]) for exam in history.exams if exam.id in gains]
    return sorted([_Sign(index.date, True), *read]) if read else []


def _says(exam: ExamFact, event: RecurrenceEvent) -> bool | None:
    """Whether an exam shows the eye well; None where it says nothing of the event."""
    if event is RecurrenceEvent.REOPERATION:
        return True
    retina = None if event is RecurrenceEvent.HOLE else _RETINA_SAYS.get(exam.retina)
    hole = None if event is RecurrenceEvent.REDETACHMENT else _HOLE_SAYS.get(exam.hole)
    if retina is None or hole is None:
        return hole if retina is None else retina
    return retina and hole


# Whether an exam shows the eye well; what says neither is not here.
_RETINA_SAYS = {retina: retina.is_attached for retina in Retina if retina.is_attached or retina.is_detached}
_HOLE_SAYS = {
    hole: not hole.is_open for hole in Hole if hole.is_closed or hole.is_open or hole is Hole.NO_HOLE
}
_FOR_A_HOLE = frozenset({Indication.MACULAR_HOLE, Indication.MHRD})


def _ending(
    signs: Sequence[_Sign], start: date | None
) -> tuple[Ending, int | None, date | None, date | None]:
    """Ending, days, day found and day last well."""
    first_well = next((place for place, sign in enumerate(signs) if sign.well), None)
    first_ill = next((place for place, sign in enumerate(signs) if not sign.well), None)
    if first_ill is not None and (first_well is None or first_ill < first_well):
        return Ending.PRIMARY_FAILURE, None, signs[first_ill].day, None
    last_well = max((sign.day for sign in signs[:first_ill] if sign.well), default=None)
    found = signs[first_ill].day if first_ill is not None else None
    if start is None or (found is not None and found <= start):
        return Ending.NEVER_STARTED, None, found, last_well
    if found is not None:
        return Ending.RECURRED, (found - start).days, found, last_well
    return Ending.FREE, max(0, (last_well - start).days) if last_well else 0, None, last_well


def _free_of_tamponade(index: OperationFact, fills: Sequence[Fill]) -> date | None:
    """The day the eye was first without tamponade after the index operation; None while it never was."""
    after = [fill for fill in fills if fill.placed_on >= index.date]
    if not after:
        return index.date
    for fill, following in zip(after, [*after[1:], None], strict=True):
        if fill.ended_on is not None and (following is None or following.placed_on > fill.ended_on):
            return fill.ended_on
    return None


def _final(
    history: EyeHistory, index: OperationFact, fills: Sequence[Fill]
) -> tuple[FinalState, date | None]:
    seen = [
        exam
        for exam in history.exams
        if exam.day > index.date and exam.retina not in (Retina.NOT_VISIBLE, Retina.NOT_EXAMINED)
    ]
    if not seen:
        return FinalState.NOT_SEEN, None
    last = seen[-1]
    if last.retina.is_detached:
        return FinalState.DETACHED, last.day
    now = open_fill(fills)
    under_oil = now is not None and now.must_come_out
    return (FinalState.ATTACHED_UNDER_OIL if under_oil else FinalState.ATTACHED), last.day


def _primary_success(history: EyeHistory, index: OperationFact, final: FinalState) -> bool | None:
    if final is FinalState.NOT_SEEN:
        return None
    reoperated = any(
        operation.indication is Indication.REDETACHMENT and operation.date > index.date
        for operation in history.operations
    )
    return final is not FinalState.DETACHED and not reoperated


def _hole(history: EyeHistory, index: OperationFact) -> tuple[HoleState, bool | None]:
    """The hole when last seen, and whether it closed without another operation."""
    if index.indication not in _FOR_A_HOLE and not any(
        exam.hole.is_open or exam.hole.is_closed for exam in history.exams
    ):
        return HoleState.NO_HOLE, None
    seen = [exam.hole for exam in history.exams if exam.day > index.date and exam.hole in _HOLE_SAYS]
    if not seen:
        return HoleState.NOT_SEEN, None
    closed = _HOLE_SAYS[seen[-1]]
    again = any(
        operation.date > index.date and operation.indication in (*_FOR_A_HOLE, Indication.REDETACHMENT)
        for operation in history.operations
    )
    return (HoleState.CLOSED if closed else HoleState.OPEN), closed and not again
