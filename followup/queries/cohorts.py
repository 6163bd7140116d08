"""A cohort: the eyes whose index operation an audit asks about, one row an eye.

Rows carry codes instead of names. Queries: a constant number for each few thousand eyes.
"""

from __future__ import annotations

import gc
from collections.abc import Collection, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import date

from django.db.models import QuerySet

from followup.domain.facts import EyeHistory
from followup.domain.outcome import Outcome, index_operation, outcome_of
from followup.domain.words import Clock, RecurrenceEvent, Side
from followup.models import Eye, Operation, Site
from followup.queries.chunks import in_chunks
from followup.queries.cohort_build import NO_FINDINGS, row_of
from followup.queries.cohort_choice import CohortChoice, Stratum, Unit
from followup.queries.cohort_codes import SurgeonCodes
from followup.queries.cohort_facts import (
    Findings,
    OperatedEye,
    Removals,
    findings,
    operated_eyes,
    removals,
    surgeon_key,
)
from followup.queries.cohort_gain import gains
from followup.queries.cohort_match import length_matches, operation_matches
from followup.queries.cohort_row import CohortRow


@dataclass(frozen=True, slots=True)
class Cohort:
    """The rows asked for, in the order of their codes, and what they were drawn from."""

    choice: CohortChoice
    rows: tuple[CohortRow, ...]
    from_index: tuple[CohortRow, ...]
    """The same eyes on the clock of the index operation."""
    operated_eyes: int
    """Operated on at the site by the lock date."""
    operated_patients: int
    length_unknown: int
    """Eyes left out for want of an axial length alone."""
    second_eyes: int = 0
    """Eyes left out since another eye of the person counts."""
    surgeons: Mapping[str, str] = field(default_factory=dict)
    """Names by code, where the eyes are told apart by surgeon."""


def read_cohort(choice: CohortChoice) -> Cohort:
    """Every eye of the sites whose index operation, as known on the lock date, matches."""
    surgeons = SurgeonCodes()
    clocks = {Clock.INDEX, choice.clock}
    rows: dict[Clock, list[CohortRow]] = {clock: [] for clock in clocks}
    length_unknown = 0
    with _no_collection():
        for ids in in_chunks(_candidates(choice)):
            asked = [eye for eye in operated_eyes(ids, choice.lock) if operation_matches(eye, choice)]
            in_cohort = [eye for eye in asked if length_matches(eye.traits, choice)]
            length_unknown += sum(choice.asks_length and eye.traits.axial_length_mm is None for eye in asked)
            for eye, found, planned in _with_findings(in_cohort, choice.lock):
                for clock in clocks:
                    outcome = _outcome(eye, found, clock, choice)
                    if outcome is not None:
                        rows[clock].append(row_of(eye, found, outcome, planned, surgeons))
    all_rows = {clock: _in_order(found) for clock, found in rows.items()}
    kept = {clock: _of_unit(found, choice.unit) for clock, found in all_rows.items()}
    operated = _operated_by(choice)
    return Cohort(
        choice=choice,
        rows=kept[choice.clock],
        from_index=kept[Clock.INDEX],
        operated_eyes=operated.count(),
        operated_patients=operated.values("patient_id").distinct().count(),
        length_unknown=length_unknown,
        second_eyes=len(all_rows[choice.clock]) - len(kept[choice.clock]),
        surgeons=_surgeon_names(choice, surgeons),
    )


@contextmanager
def _no_collection() -> Iterator[None]:
    """Many rows, and no cycle among them: looking for one would cost a quarter of the time."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()


def cohort_rows(choice: CohortChoice) -> tuple[CohortRow, ...]:
    """One row for each eye of the cohort, in the order of their codes."""
    return read_cohort(choice).rows


def surgeons_at(*sites: Site | int) -> list[tuple[str, str]]:
    """Who operated at these sites, as pairs of the value to choose by and the name, in the order of names."""
    found = (
        Operation.objects.filter(eye__patient__site__in=sites, in_error=False)
        .exclude(surgeon=None, surgeon_name="")
        .order_by()
        .values_list(
            "surgeon_id", "surgeon_name", "surgeon__first_name", "surgeon__last_name", "surgeon__username"
        )
        .distinct()
    )
    pairs = {
        surgeon_key(pk, typed): (f"{first} {last}".strip() or username) if pk else typed
        for pk, typed, first, last, username in found
    }
    return sorted(pairs.items(), key=lambda pair: (pair[1].casefold(), pair[0]))


def _surgeon_names(choice: CohortChoice, codes: SurgeonCodes) -> Mapping[str, str]:
    if choice.strata is not Stratum.SURGEON:
        return {}
    return {codes.of(key): name for key, name in surgeons_at(*choice.site_ids)}


def _candidates(choice: CohortChoice) -> Collection[int]:
    """Eyes with any operation in the dates asked for: the index operation of the others cannot be."""
    done = _done_by(choice.operated_to or choice.lock, choice)
    if choice.operated_from:
        done = done.filter(date__gte=choice.operated_from)
    return set(done.values_list("eye_id", flat=True))


def _operated_by(choice: CohortChoice) -> QuerySet[Eye]:
    """Eyes of the sites operated on by the lock date."""
    return Eye.objects.filter(pk__in=_done_by(choice.lock, choice).values("eye_id")).order_by()


def _done_by(day: date, choice: CohortChoice) -> QuerySet[Operation]:
    at = Operation.objects.filter(eye__patient__site_id__in=choice.site_ids)
    return at.filter(in_error=False, date__lte=day).order_by()


def _with_findings(
    eyes: Collection[OperatedEye], lock: date
) -> Iterator[tuple[OperatedEye, Findings, Removals]]:
    ids = [eye.eye_id for eye in eyes]
    found, planned = findings(ids, lock), removals(ids, lock)
    for eye in eyes:
        yield eye, found.get(eye.eye_id, NO_FINDINGS), planned


def _outcome(eye: OperatedEye, found: Findings, clock: Clock, choice: CohortChoice) -> Outcome | None:
    history = EyeHistory(eye.eye_id, eye.traits, eye.operations, found.exams)
    index = index_operation(eye.operations)
    gained = gains(found, index) if index and choice.event is RecurrenceEvent.GAIN else None
    return outcome_of(history, clock=clock, event=choice.event, gains=gained)


def _in_order(rows: Iterable[CohortRow]) -> tuple[CohortRow, ...]:
    return tuple(sorted(rows, key=lambda row: row.code))


def _of_unit(rows: tuple[CohortRow, ...], unit: Unit) -> tuple[CohortRow, ...]:
    """All, or of each person the eye operated on first; of two on one day the right."""
    if unit is Unit.ALL:
        return rows
    first: dict[str, CohortRow] = {}
    for row in sorted(rows, key=lambda row: (row.index_date, row.traits.side is not Side.RIGHT)):
        first.setdefault(row.patient_code, row)
    return tuple(row for row in rows if first[row.patient_code] is row)
