"""Cumulative incidence of one kind of end when another can come first (recurrence, death).

Aalen and Johansen 1978, Scand J Stat 5, 141-150. Standard error: infinitesimal jackknife, which with one row
an eye is the multinomial form of Greenwood's formula. From memory; checked against four R packages. All
causes at a time share one number at risk, so ties are exact. One minus a Kaplan-Meier curve that censors
deaths overstates this.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from followup.domain.errors import BadValue
from followup.domain.survival.counts import Counts, Grid, at_risk_at, count, lay_out
from followup.domain.survival.limits import Limits, band
from followup.domain.survival.robust import PatientSums, exit_places, steps
from followup.domain.survival.rows import Rows, read_codes, read_rows
from followup.domain.survival.values import Bools, Figure, Floats, Ints, figure

# A variance this small beside its own terms is what rounding leaves of 0.
ROUNDING = 1e-13


@dataclass(frozen=True)
class IncidencePoint:
    """Cumulative incidence of one cause at one time; limits are NOT_ESTIMABLE while it is still 0."""

    time: float
    cause: int
    incidence: Figure
    std_error: Figure
    lower: Figure
    upper: Figure
    at_risk: int


@dataclass(frozen=True, eq=False)
class Incidence:
    """Cumulative incidence by cause, at each distinct time at which follow-up of an eye ended.

    causes: (1, ..., K); events, incidence, std_error, lower, upper: shape (K, times); event_free: share still
    free of every cause. The incidences and event_free add up to 1 at every time.
    """

    causes: tuple[int, ...]
    time: Floats
    at_risk: Ints
    events: Ints
    censored: Ints
    event_free: Floats
    incidence: Floats
    std_error: Floats
    lower: Floats
    upper: Floats
    subjects: int
    clusters: int
    left_out: int
    limits: Limits
    level: float
    rows: Rows

    def at(self, time: float, cause: int) -> IncidencePoint:
        """Incidence of `cause` by `time`."""
        return self.points([time], cause)[0]

    def points(self, times: Sequence[float], cause: int) -> tuple[IncidencePoint, ...]:
        """Incidence of `cause` by each of `times`; not estimable beyond the last follow-up."""
        asked = np.asarray(times, dtype=np.float64)
        at_risk = at_risk_at(self.rows, asked)
        return tuple(self._point(t, cause, int(n)) for t, n in zip(asked, at_risk, strict=True))

    def _point(self, time: float, cause: int, at_risk: int) -> IncidencePoint:
        if cause not in self.causes:
            raise BadValue(f"Cause {cause} is not one of {self.causes}.", field="cause")
        k, place = self.causes.index(cause), int(np.searchsorted(self.time, time, side="right")) - 1
        if self.subjects == 0 or (time > self.time[-1] and self.event_free[-1] > 0):
            value = error = lower = upper = np.nan
        elif place < 0 or self.incidence[k, place] == 0:
            value, error, lower, upper = 0.0, np.nan, np.nan, np.nan
        else:
            value, error = self.incidence[k, place], self.std_error[k, place]
            lower, upper = self.lower[k, place], self.upper[k, place]
        return IncidencePoint(
            float(time), cause, figure(value), figure(error), figure(lower), figure(upper), at_risk
        )


def aalen_johansen(
    time: ArrayLike,
    cause: ArrayLike,
    *,
    causes: int = 2,
    entry: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
    limits: Limits = "log-log",
    level: float = 0.95,
) -> Incidence:
    """Estimate cumulative incidence. cause: 0 last seen without any end, 1 to `causes` the end that came
    first.

    entry, cluster: as for kaplan_meier. Raises BadValue as read_rows does, and for a cause beyond `causes`.
    """
    which = read_codes(cause, causes)
    rows = read_rows(time, which > 0, entry=entry, cluster=cluster)
    which = rows.matching(which)
    grid = lay_out(rows)
    counts = count(rows, grid)
    events = _by_cause(grid, counts, which, causes)
    hazard = events / counts.at_risk
    event_free = np.cumprod(1 - counts.events / counts.at_risk)
    before = np.concatenate([[1.0], event_free[:-1]]) if len(event_free) else event_free
    incidence = np.minimum(np.cumsum(before * hazard, axis=1), 1.0)
    variance = np.array(
        [
            _variance(rows, grid, counts, which == k + 1, incidence[k], hazard[k], before)
            for k in range(causes)
        ]
    )
    std_error = np.sqrt(variance).reshape(incidence.shape)
    lower, upper = _bands(incidence, std_error, limits, level)
    return Incidence(
        causes=tuple(range(1, causes + 1)),
        time=counts.time,
        at_risk=counts.at_risk,
        events=events,
        censored=counts.censored,
        event_free=event_free,
        incidence=incidence,
        std_error=std_error,
        lower=lower,
        upper=upper,
        subjects=len(rows),
        clusters=rows.clusters,
        left_out=rows.left_out,
        limits=limits,
        level=level,
        rows=rows,
    )


def _by_cause(grid: Grid, counts: Counts, which: Ints, causes: int) -> Ints:
    cells = np.bincount(grid.exit * (causes + 1) + which, minlength=len(grid.times) * (causes + 1))
    return cells.reshape(-1, causes + 1)[counts.kept, 1:].T


def _variance(
    rows: Rows, grid: Grid, counts: Counts, own: Bools, incidence: Floats, hazard: Floats, before: Floats
) -> Floats:
    """Squared influences summed by eye, or by patient when given.

    The influence of a row on F(t) is P - F(t) Q, where P and Q gather, while it is at risk, the derivatives
    of the increments by its weight: of its own cause, S(u-) / n, and of what is left after any event, 1 / (n
    - d).
    """
    climb, drop = steps(counts)
    step = before * hazard / counts.at_risk
    if rows.cluster is None:
        return _variance_by_eye(counts, step, climb, incidence, hazard, before)
    places = exit_places(grid, counts)
    through_own = -np.cumsum(step + climb * incidence)
    through_any = -np.cumsum(climb)
    at_event = np.where(rows.event, (drop * incidence)[places], 0.0)
    at_event += np.where(own, (before / counts.at_risk)[places], 0.0)
    any_event = np.where(rows.event, drop[places], 0.0)
    parts = [(through_own, at_event), (through_any, any_event)]
    sums = PatientSums(rows, grid, counts, rows.cluster, parts)
    shared = through_own - incidence * through_any
    squares = [
        shared**2 * sums.product(0, 0),
        2 * shared * (sums.product(0, 1) - incidence * sums.product(0, 2)),
        sums.product(1, 1) - 2 * incidence * sums.product(1, 2),
        incidence**2 * sums.product(2, 2),
    ]
    return _without_rounding(squares)


def _variance_by_eye(
    counts: Counts, step: Floats, climb: Floats, incidence: Floats, hazard: Floats, before: Floats
) -> Floats:
    terms = [
        np.cumsum(before * step * (1 - hazard)),
        -2 * incidence * np.cumsum(step),
        2 * np.cumsum(step * incidence),
        incidence**2 * np.cumsum(climb),
        -2 * incidence * np.cumsum(climb * incidence),
        np.cumsum(climb * incidence**2),
    ]
    return _without_rounding(terms)


def _without_rounding(terms: Sequence[Floats]) -> Floats:
    total: Floats = np.sum(terms, axis=0)
    size: Floats = np.sum(np.abs(terms), axis=0)
    return np.where(total > ROUNDING * size, total, 0.0)


def _bands(incidence: Floats, std_error: Floats, limits: Limits, level: float) -> tuple[Floats, Floats]:
    """Limits of the incidence itself on the scale asked for; [0, 0] while it is 0."""
    none = incidence == 0
    lower, upper = band(incidence, std_error / np.where(none, 1.0, incidence), limits, level)
    return np.where(none, 0.0, lower), np.where(none, 0.0, upper)
