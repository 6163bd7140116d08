"""How long eyes stayed attached, and how many are: the figures of an audit, from the rows of a cohort.

Times are whole days. Limits are pointwise 95 % log-log limits; what cannot be estimated stays a value that
says so (domain/survival/values). In completeness an event, a death, the horizon and the lock date end the
time that an eye could have been followed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence, Sized
from dataclasses import dataclass

from followup.domain.outcome import Ending, FinalState
from followup.domain.survival.aalen_johansen import IncidencePoint
from followup.domain.survival.binomial import Proportion, clopper_pearson
from followup.domain.survival.kaplan_meier import Quantile
from followup.domain.survival.values import Figure
from followup.domain.words import Clock, DatePrecision
from followup.queries.cohort_choice import CohortChoice
from followup.queries.cohorts import Cohort, CohortRow
from followup.queries.reports.audit_curve import (
    Bounds,
    FollowUp,
    Gap,
    Mark,
    Step,
    bounds,
    curve_of,
    follow_up,
    followed_eyes,
    gap_of,
    incidence,
    marks_of,
    reversed_curve,
    steps_of,
)


@dataclass(frozen=True, slots=True)
class Count:
    """So many eyes of so many patients."""

    label: str
    eyes: int
    patients: int


@dataclass(frozen=True, slots=True)
class Share:
    label: str
    proportion: Proportion


@dataclass(frozen=True, slots=True)
class AuditReport:
    """An audit fit to print and to draw. Curves and counts end at the horizon unless they say otherwise."""

    choice: CohortChoice
    minimum_at_risk: int
    flow: tuple[Count, ...]
    in_curve: Count
    pairs: int
    """Patients with both eyes in the curve."""
    events: int
    """Recurrences found by the lock date."""
    events_by_horizon: int
    steps: tuple[Step, ...]
    drawn_until: int | None
    """Last day with the minimum at risk, beyond which the curve is not drawn; None: none of it is."""
    last_day: Figure
    """Last day on which any eye was still followed."""
    marks: tuple[Mark, ...]
    """Day 0, then the months asked for."""
    on_index_clock: tuple[Mark, ...]
    """The same months counted from the index operation; empty where that is the clock."""
    median_free: Quantile
    median_follow_up: Quantile
    follow_up: tuple[FollowUp, ...]
    bounds: Bounds
    primary: tuple[Share, ...]
    final: tuple[Share, ...]
    not_seen: int
    """Eyes whose retina was never seen after the operation: they are in no share."""
    deaths: int
    """Owners of eyes in the curve, by the lock date."""
    incidence: tuple[IncidencePoint, ...]
    gap: Gap | None
    inexact_dates: int
    """Index operations whose day is not on record."""
    length_unknown: int

    @property
    def is_cut_short(self) -> bool:
        """Is part of the curve left undrawn for want of eyes?"""
        return bool(self.steps) and (self.drawn_until is None or self.drawn_until < self.steps[-1].day)


def audit(cohort: Cohort, *, minimum_at_risk: int) -> AuditReport:
    """The report on a cohort. `minimum_at_risk`: fewest eyes for which a curve is still drawn."""
    choice, rows = cohort.choice, cohort.rows
    eyes = followed_eyes(rows, choice.lock)
    curve = curve_of(eyes, choice)
    enough = len(eyes) >= max(minimum_at_risk, 1)
    in_curve = [row for row in rows if row.in_curve]
    return AuditReport(
        choice=choice,
        minimum_at_risk=minimum_at_risk,
        flow=_flow(cohort),
        in_curve=_count("In the curve", in_curve),
        pairs=sum(count > 1 for count in Counter(eye.patient for eye in eyes).values()),
        events=int(curve.events.sum()),
        events_by_horizon=int(curve.events[curve.time <= choice.horizon_days].sum()),
        steps=steps_of(curve, choice.horizon_days),
        drawn_until=min(int(curve.drawn_until(minimum_at_risk)), choice.horizon_days) if enough else None,
        last_day=curve.last_time,
        marks=marks_of(curve, (0, *choice.marks)),
        on_index_clock=_on_index_clock(cohort),
        median_free=curve.median,
        median_follow_up=reversed_curve(eyes, choice).median,
        follow_up=follow_up(eyes, choice),
        bounds=bounds(eyes, choice),
        primary=_primary(rows),
        final=_final(rows),
        not_seen=sum(row.final is FinalState.NOT_SEEN for row in rows),
        deaths=len({row.patient_code for row in in_curve if row.died_on}),
        incidence=incidence(eyes, choice),
        gap=gap_of(eyes),
        inexact_dates=sum(row.date_precision is not DatePrecision.DAY for row in rows),
        length_unknown=cohort.length_unknown,
    )


def _flow(cohort: Cohort) -> tuple[Count, ...]:
    rows = cohort.rows

    def ended(label: str, *endings: Ending) -> Count:
        return _count(label, [row for row in rows if row.ending in endings])

    return (
        Count("Operated on by the lock date", cohort.operated_eyes, cohort.operated_patients),
        _count("In the cohort", rows),
        ended("Primary failure: beside the curve", Ending.PRIMARY_FAILURE),
        ended("Clock never started: not in the curve", Ending.NEVER_STARTED),
        ended("In the curve", Ending.RECURRED, Ending.FREE),
        _count("Of these, not seen well after day 0", [row for row in rows if _adds_no_time(row)]),
    )


def _adds_no_time(row: CohortRow) -> bool:
    return row.ending is Ending.FREE and row.days == 0


def _count(label: str, rows: Sequence[CohortRow]) -> Count:
    return Count(label, len(rows), len({row.patient_code for row in rows}))


def _on_index_clock(cohort: Cohort) -> tuple[Mark, ...]:
    choice = cohort.choice
    if choice.clock is Clock.INDEX:
        return ()
    return marks_of(curve_of(followed_eyes(cohort.from_index, choice.lock), choice), choice.marks)


def _primary(rows: Iterable[CohortRow]) -> tuple[Share, ...]:
    """Primary success, split by what is in the eye; of the eyes whose retina was seen."""
    seen = [row for row in rows if row.primary_success is not None]
    held = [row.final for row in seen if row.primary_success]
    return (
        _share("Attached without oil", held.count(FinalState.ATTACHED), seen),
        _share("Attached under oil: provisional", held.count(FinalState.ATTACHED_UNDER_OIL), seen),
        _share("Not a primary success", len(seen) - len(held), seen),
    )


def _final(rows: Iterable[CohortRow]) -> tuple[Share, ...]:
    """The retina when last seen, whatever operations it took."""
    seen = [row.final for row in rows if row.final is not FinalState.NOT_SEEN]
    return (
        _share("Attached without oil", seen.count(FinalState.ATTACHED), seen),
        _share("Attached under oil: provisional", seen.count(FinalState.ATTACHED_UNDER_OIL), seen),
        _share("Detached", seen.count(FinalState.DETACHED), seen),
    )


def _share(label: str, eyes: int, among: Sized) -> Share:
    return Share(label, clopper_pearson(eyes, len(among)))
