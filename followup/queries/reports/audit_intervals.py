"""The curve that lets an event fall anywhere between two visits, laid over the one that waits for the visit.

Turnbull's estimate for intervals (last seen without it, found]. Of a large cohort the days are first taken to
whole weeks or months, outwards, so that each interval still holds its event.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, inf, isinf

from followup.domain.survival.turnbull import IntervalCurve, NotConverged, turnbull
from followup.domain.words import RecurrenceEvent
from followup.queries.cohort_choice import CohortChoice, days_of_months
from followup.queries.cohort_row import CohortRow
from followup.queries.reports.audit_counts import Rows

_MOST_DAYS = 250
"""Distinct days beyond which the days are taken to weeks, then months: the work grows with their square."""
_GRIDS = (1, 7, 30, 90)

WHY_IT_DIFFERS = (
    "The curve waits for the visit that found the event; this one lets it have happened on any day since the "
    "visit before, so it lies lower by as much as the visits lie apart."
)


@dataclass(frozen=True, slots=True)
class Between:
    """Bounds of the share free of the event at so many months; they meet where it is known."""

    months: int
    lowest: float
    highest: float


@dataclass(frozen=True, slots=True)
class IntervalReport:
    """`corners`: day and share free, to be joined by straight lines; `grid`: days taken together."""

    grid: int
    marks: tuple[Between, ...]
    corners: tuple[tuple[float, float], ...]


def intervals(rows: Rows, choice: CohortChoice) -> IntervalReport | None:
    """None where no event has an interval: the day of a reoperation is known."""
    followed = [row for row in rows if row.days is not None]
    if choice.event is RecurrenceEvent.REOPERATION or not any(row.recurred for row in followed):
        return None
    grid, ends = _on_a_grid([_ends(row) for row in followed])
    try:
        curve = turnbull([left for left, _ in ends], [right for _, right in ends])
    except NotConverged:
        return None
    return IntervalReport(
        grid=grid,
        marks=tuple(_between(curve, month) for month in choice.marks),
        corners=tuple(_corners(curve, choice.horizon_days)),
    )


_Interval = tuple[float, float]


def _ends(row: CohortRow) -> _Interval:
    """Last seen without the event and found, in days from the start of the clock."""
    days = row.days or 0
    if not row.recurred:
        return days, inf
    if row.last_well is None or row.start is None:
        return 0, days
    return max(0, (row.last_well - row.start).days), days


def _on_a_grid(ends: Sequence[_Interval]) -> tuple[int, list[_Interval]]:
    """The finest grid that leaves few enough days, and the intervals widened to it."""
    for grid in _GRIDS:
        widened = [_widened(left, right, grid) for left, right in ends]
        if len({day for interval in widened for day in interval}) <= _MOST_DAYS:
            break
    return grid, widened


def _widened(left: float, right: float, grid: int) -> _Interval:
    return floor(left / grid) * grid, right if isinf(right) else ceil(right / grid) * grid


def _between(curve: IntervalCurve, months: int) -> Between:
    point = curve.at(days_of_months(months))
    return Between(months, point.lowest, point.highest)


def _corners(curve: IntervalCurve, last_day: int) -> Sequence[tuple[float, float]]:
    """From 1 on day 0, along each interval as if its events were spread evenly, to the horizon."""
    free, corners = 1.0, [(0.0, 1.0)]
    for left, right, mass in zip(curve.left, curve.right, curve.mass, strict=True):
        if left >= last_day or isinf(right):
            break
        corners.append((float(left), free))
        free -= float(mass)
        corners.append((float(right), max(free, 0.0)))
    return corners
