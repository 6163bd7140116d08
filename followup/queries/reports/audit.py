"""How long eyes stayed attached, and how many are: the figures of an audit, from the rows of a cohort.

Times are whole days. Limits are pointwise 95 % log-log limits; what cannot be estimated stays a value that
says so (domain/survival/values). In completeness an event, a death, the horizon and the lock date end the
time that an eye could have been followed.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from followup.domain.survival.aalen_johansen import IncidencePoint
from followup.domain.survival.kaplan_meier import Quantile
from followup.domain.survival.values import Figure
from followup.domain.words import Clock, DatePrecision
from followup.queries.cohort_choice import CohortChoice, days_of_months
from followup.queries.cohorts import Cohort
from followup.queries.reports.audit_anatomy import Anatomy, anatomy
from followup.queries.reports.audit_counts import Count, EyeList
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
from followup.queries.reports.audit_flow import flow
from followup.queries.reports.audit_intervals import IntervalReport, intervals
from followup.queries.reports.audit_strata import Strata, strata


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
    events_by: tuple[int, ...]
    """Recurrences found by each of the months asked for."""
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
    anatomy: Anatomy
    deaths: int
    """Owners of eyes in the curve, by the lock date."""
    incidence: tuple[IncidencePoint, ...]
    gap: Gap | None
    inexact_dates: int
    """Index operations whose day is not on record."""
    length_unknown: int
    second_eyes: int
    strata: Strata | None
    intervals: IntervalReport | None

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
        flow=flow(cohort),
        in_curve=EyeList("in_curve", "In the curve", in_curve).count,
        pairs=sum(count > 1 for count in Counter(eye.patient for eye in eyes).values()),
        events=int(curve.events.sum()),
        events_by_horizon=int(curve.events[curve.time <= choice.horizon_days].sum()),
        events_by=tuple(
            int(curve.events[curve.time <= days_of_months(month)].sum()) for month in choice.marks
        ),
        steps=steps_of(curve, choice.horizon_days),
        drawn_until=min(int(curve.drawn_until(minimum_at_risk)), choice.horizon_days) if enough else None,
        last_day=curve.last_time,
        marks=marks_of(curve, (0, *choice.marks)),
        on_index_clock=_on_index_clock(cohort),
        median_free=curve.median,
        median_follow_up=reversed_curve(eyes, choice).median,
        follow_up=follow_up(eyes, choice),
        bounds=bounds(eyes, choice),
        anatomy=anatomy(rows),
        deaths=len({row.patient_code for row in in_curve if row.died_on}),
        incidence=incidence(eyes, choice),
        gap=gap_of(eyes),
        inexact_dates=sum(row.date_precision is not DatePrecision.DAY for row in rows),
        length_unknown=cohort.length_unknown,
        second_eyes=cohort.second_eyes,
        strata=strata(cohort, minimum_at_risk),
        intervals=intervals(rows, choice),
    )


def _on_index_clock(cohort: Cohort) -> tuple[Mark, ...]:
    choice = cohort.choice
    if choice.clock is Clock.INDEX:
        return ()
    return marks_of(curve_of(followed_eyes(cohort.from_index, choice.lock), choice), choice.marks)
