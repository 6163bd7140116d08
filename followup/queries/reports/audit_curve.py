"""The curve of an audit and what is read from it: steps, marks, follow-up, bounds, competing deaths."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from statistics import median

from followup.domain.survival.aalen_johansen import IncidencePoint, aalen_johansen
from followup.domain.survival.completeness import Completeness, completeness
from followup.domain.survival.kaplan_meier import Curve, Point, kaplan_meier
from followup.domain.survival.reverse_km import reverse_kaplan_meier
from followup.domain.survival.values import Figure, figure
from followup.queries.cohort_choice import CohortChoice, Errors, days_of_months
from followup.queries.cohort_row import CohortRow

_RECURRENCE, _DEATH = 1, 2


@dataclass(frozen=True, slots=True)
class FollowedEye:
    """An eye in the curve. Whole days from the start of its clock."""

    patient: str
    days: int
    recurred: bool
    unseen: int | None
    """Recurred: days between the visit that found it and the last one before it."""
    to_lock: int
    to_death: int | None

    @property
    def reach(self) -> int:
        """How long it could have been followed: until the lock date, or until death."""
        return self.to_lock if self.to_death is None else min(self.to_lock, self.to_death)


@dataclass(frozen=True, slots=True)
class Step:
    """The curve from one day on: eyes at risk just before it, and what happened on it."""

    day: int
    at_risk: int
    events: int
    censored: int
    survival: float
    lower: Figure
    upper: Figure


@dataclass(frozen=True, slots=True)
class Mark:
    """The curve as read at so many months."""

    months: int
    day: int
    point: Point


@dataclass(frozen=True, slots=True)
class FollowUp:
    """How much of the follow-up there could have been was seen, up to a closing day."""

    until: str
    completeness: Completeness


@dataclass(frozen=True, slots=True)
class Bounds:
    """The curve at the horizon if every eye lost had recurred, and if none had.

    lost: eyes operated on long enough ago to have reached the horizon, and last seen free of recurrence
    before it.
    """

    lost: int
    all_recurred: Point
    none_recurred: Point


@dataclass(frozen=True, slots=True)
class Gap:
    """Days in which a recurrence happened unseen: from the last visit before it to the one that found it."""

    eyes: int
    median: float
    longest: int


def followed_eyes(rows: Iterable[CohortRow], lock: date) -> list[FollowedEye]:
    """The eyes that have time on the clock."""
    return [
        FollowedEye(
            patient=row.patient_code,
            days=row.days,
            recurred=row.recurred,
            unseen=(row.found_on - row.last_well).days if row.found_on and row.last_well else None,
            to_lock=(lock - row.start).days,
            # A visit dated after the death is somebody's mistake; until it is mended the visit counts.
            to_death=max(row.days, (row.died_on - row.start).days) if row.died_on else None,
        )
        for row in rows
        if row.start is not None and row.days is not None
    ]


def curve_of(eyes: Sequence[FollowedEye], choice: CohortChoice) -> Curve:
    """Kaplan-Meier, with log-log limits by eye or by patient as chosen."""
    days, events = [eye.days for eye in eyes], [eye.recurred for eye in eyes]
    return kaplan_meier(days, events, cluster=_patients(eyes, choice))


def reversed_curve(eyes: Sequence[FollowedEye], choice: CohortChoice) -> Curve:
    """Kaplan-Meier of the end of follow-up."""
    days, events = [eye.days for eye in eyes], [eye.recurred for eye in eyes]
    return reverse_kaplan_meier(days, events, cluster=_patients(eyes, choice))


def _patients(eyes: Sequence[FollowedEye], choice: CohortChoice) -> list[str] | None:
    return [eye.patient for eye in eyes] if choice.errors is Errors.PATIENTS else None


def steps_of(curve: Curve, last_day: int) -> tuple[Step, ...]:
    """The curve as rows, up to and on `last_day`."""
    counted = (curve.time, curve.at_risk, curve.events, curve.censored)
    estimated = (curve.survival, curve.lower, curve.upper)
    return tuple(
        Step(int(day), int(risk), int(events), int(censored), float(survival), figure(low), figure(high))
        for day, risk, events, censored, survival, low, high in zip(*counted, *estimated, strict=True)
        if day <= last_day
    )


def marks_of(curve: Curve, months: Sequence[int]) -> tuple[Mark, ...]:
    days = [days_of_months(month) for month in months]
    points = curve.points(days)
    return tuple(Mark(*values) for values in zip(months, days, points, strict=True))


def follow_up(eyes: Sequence[FollowedEye], choice: CohortChoice) -> tuple[FollowUp, ...]:
    """Completeness up to the horizon, and up to the lock date."""
    horizon = choice.horizon_days
    return (
        FollowUp(f"Horizon, {choice.horizon} months", _completeness(eyes, horizon)),
        FollowUp("Lock date", _completeness(eyes, None)),
    )


def _completeness(eyes: Sequence[FollowedEye], horizon: int | None) -> Completeness:
    last = [eye.reach if horizon is None else min(eye.reach, horizon) for eye in eyes]
    return completeness(
        time=[min(eye.days, closing) for eye, closing in zip(eyes, last, strict=True)],
        ended=[eye.recurred and eye.days <= closing for eye, closing in zip(eyes, last, strict=True)],
        closing=last,
    )


def bounds(eyes: Sequence[FollowedEye], choice: CohortChoice) -> Bounds:
    horizon = choice.horizon_days
    lost = [not eye.recurred and eye.days < horizon <= eye.reach for eye in eyes]
    days = [eye.days for eye in eyes]
    events = [eye.recurred for eye in eyes]
    to_horizon = [horizon if gone else day for day, gone in zip(days, lost, strict=True)]
    or_lost = [event or gone for event, gone in zip(events, lost, strict=True)]
    return Bounds(
        lost=sum(lost),
        all_recurred=kaplan_meier(days, or_lost).at(horizon),
        none_recurred=kaplan_meier(to_horizon, events).at(horizon),
    )


def incidence(eyes: Sequence[FollowedEye], choice: CohortChoice) -> tuple[IncidencePoint, ...]:
    """Recurrence with death as a competing end, at the months asked for; nothing where nobody died."""
    if all(eye.to_death is None for eye in eyes):
        return ()
    ends = [_end(eye) for eye in eyes]
    curve = aalen_johansen(
        [day for day, _ in ends], [cause for _, cause in ends], cluster=_patients(eyes, choice)
    )
    return curve.points([days_of_months(month) for month in choice.marks], _RECURRENCE)


def _end(eye: FollowedEye) -> tuple[int, int]:
    """The day its time ended, and what ended it; 0 where it was last seen well."""
    if eye.recurred:
        return eye.days, _RECURRENCE
    return (eye.days, 0) if eye.to_death is None else (eye.to_death, _DEATH)


def gap_of(eyes: Iterable[FollowedEye]) -> Gap | None:
    """None where no recurrence has a visit before it."""
    found = [eye.unseen for eye in eyes if eye.recurred and eye.unseen is not None]
    return Gap(len(found), median(found), max(found)) if found else None
