"""Kaplan-Meier curve with its numbers at risk.

Kaplan and Meier 1958, J Am Stat Assoc 53, 457-481; standard error by Greenwood 1926, or by patient when eyes
are given their patient (see robust.py). All from memory; checked against R in tests/domain/survival.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from followup.domain.errors import BadValue
from followup.domain.survival.binomial import Proportion, clopper_pearson
from followup.domain.survival.counts import Counts, Grid, at_risk_at, count, lay_out
from followup.domain.survival.limits import Limits, band
from followup.domain.survival.robust import cluster_variance, steps
from followup.domain.survival.rows import Rows, read_rows
from followup.domain.survival.values import (
    NOT_ESTIMABLE,
    NOT_REACHED,
    Bools,
    Figure,
    Floats,
    Ints,
    Moment,
    figure,
)

# A product of many factors is a hair off the level it equals in exact arithmetic; R allows the same.
LEVEL_TOLERANCE = 1.5e-8


@dataclass(frozen=True)
class Point:
    """The curve at one time, fit to print.

    survival is NOT_ESTIMABLE beyond the last follow-up of a curve that has not fallen to 0. Limits are
    NOT_ESTIMABLE there, where S is 0, and where no event has been found yet: `exact` then holds the
    Clopper-Pearson interval of none failed among those at risk, to be shown under that name.
    """

    time: float
    survival: Figure
    std_error: Figure
    lower: Figure
    upper: Figure
    at_risk: int
    exact: Proportion | None = None


@dataclass(frozen=True)
class Quantile:
    """The time by which a share p had the event, its limits, and how many were at risk just before it."""

    p: float
    time: Moment
    lower: Moment
    upper: Moment
    at_risk: int


@dataclass(frozen=True, eq=False)
class Curve:
    """A survival curve: one value for each distinct time at which follow-up of an eye ended.

    time in days; at_risk, events, censored as counted; survival after the drop; std_error of S (nan where S
    is 0); lower, upper: band (nan where S is 0, [1, 1] where S is 1), for drawing. Read figures for print
    through `at`. subjects: rows used; clusters: patients; robust: whether standard errors are summed by
    patient; left_out: rows with no time at risk.
    """

    time: Floats
    at_risk: Ints
    events: Ints
    censored: Ints
    survival: Floats
    std_error: Floats
    lower: Floats
    upper: Floats
    subjects: int
    clusters: int
    robust: bool
    left_out: int
    limits: Limits
    level: float
    rows: Rows = field(repr=False)
    grid: Grid = field(repr=False)
    counts: Counts = field(repr=False)

    @property
    def empty(self) -> bool:
        """Nobody was followed: there is no curve to draw."""
        return self.subjects == 0

    @property
    def last_time(self) -> Figure:
        """Last day on which any eye was still followed."""
        return NOT_ESTIMABLE if self.empty else float(self.time[-1])

    def survival_at(self, times: ArrayLike) -> Floats:
        """S at each of `times`, nan beyond the last follow-up of a curve that has not fallen to 0."""
        asked = np.asarray(times, dtype=np.float64)
        return self._step(self.survival, 1.0, asked)

    def at_risk_at(self, times: ArrayLike) -> Ints:
        """Numbers at risk just before each of `times`, as printed under a curve."""
        return at_risk_at(self.rows, np.asarray(times, dtype=np.float64))

    def at(self, time: float) -> Point:
        """The curve at one time."""
        return self.points([time])[0]

    def points(self, times: Sequence[float]) -> tuple[Point, ...]:
        """The curve at each of `times`, in the order given."""
        asked = np.asarray(times, dtype=np.float64)
        if np.isnan(asked).any() or (asked < 0).any():
            raise BadValue("A curve is read at times from 0 on; check the times asked for.", field="times")
        survival = self._step(self.survival, 1.0, asked)
        error = self._step(self.std_error, 0.0, asked)
        lower, upper = self._step(self.lower, 1.0, asked), self._step(self.upper, 1.0, asked)
        at_risk = self.at_risk_at(asked)
        return tuple(
            self._point(*values) for values in zip(asked, survival, error, lower, upper, at_risk, strict=True)
        )

    def quantile(self, p: float) -> Quantile:
        """Time by which a share p had the event; limits by reading the band (Brookmeyer and Crowley 1982).

        Where the curve rests exactly on 1 - p the middle of that flat part, as R does. Raises BadValue unless
        0 < p < 1.
        """
        if not 0 < p < 1:
            raise BadValue(f"The share is {p}: expected a number between 0 and 1.", field="p")
        time = self._first_below(self.survival, p)
        at_risk = 0 if time is NOT_REACHED else int(self.at_risk_at([time])[0])
        return Quantile(p, time, self._first_below(self.lower, p), self._first_below(self.upper, p), at_risk)

    @property
    def median(self) -> Quantile:
        """Time by which half had the event."""
        return self.quantile(0.5)

    def drawn_until(self, fewest: int) -> float:
        """Last time at which at least `fewest` were at risk; beyond it the curve is better not drawn."""
        enough = np.flatnonzero(self.at_risk >= fewest)
        return float(self.time[enough[-1]]) if len(enough) else 0.0

    def _step(self, values: Floats, first: float, times: Floats) -> Floats:
        places = np.searchsorted(self.time, times, side="right")
        stepped = np.concatenate([[first], values])[places]
        if self.empty:
            return np.full(len(times), np.nan)
        known = (times <= self.time[-1]) | (self.survival[-1] == 0)
        return np.where(known, stepped, np.nan)

    def _point(
        self, time: float, survival: float, error: float, lower: float, upper: float, at_risk: int
    ) -> Point:
        untouched = survival == 1
        return Point(
            time=float(time),
            survival=figure(survival),
            std_error=NOT_ESTIMABLE if untouched else figure(error),
            lower=NOT_ESTIMABLE if untouched else figure(lower),
            upper=NOT_ESTIMABLE if untouched else figure(upper),
            at_risk=int(at_risk),
            exact=clopper_pearson(int(at_risk), int(at_risk), level=self.level) if untouched else None,
        )

    def _first_below(self, values: Floats, p: float) -> Moment:
        level = 1 - p
        first = _highest(values, values <= level + LEVEL_TOLERANCE)
        if first is None:
            return NOT_REACHED
        if values[first] < level - LEVEL_TOLERANCE:
            return float(self.time[first])
        below = _highest(values, values < level - LEVEL_TOLERANCE)
        end = len(values) - 1 if below is None else below
        return float((self.time[first] + self.time[end]) / 2)


def _highest(values: Floats, among: Bools) -> int | None:
    """Earliest place of the highest of some values.

    On a falling curve that is the first of them; of a limit that rises again R takes the nearest to it.
    """
    return int(np.argmax(np.where(among, values, -np.inf))) if among.any() else None


def kaplan_meier(
    time: ArrayLike,
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
    limits: Limits = "log-log",
    level: float = 0.95,
) -> Curve:
    """Estimate a survival curve from whole days (fractions accepted) and events (1 found, 0 last seen
    without).

    entry: day each row came under observation, for late entries; cluster: the patient of each eye.
    Nobody at all gives an empty curve. Raises BadValue as read_rows does.
    """
    rows = read_rows(time, event, entry=entry, cluster=cluster)
    return curve_on(rows, lay_out(rows), limits, level)


def curve_on(rows: Rows, grid: Grid, limits: Limits, level: float) -> Curve:
    """The curve of rows already checked and placed on a grid of times."""
    counts = count(rows, grid)
    survival = np.cumprod(1 - counts.events.astype(np.float64) / counts.at_risk)
    se_log: Floats = np.sqrt(_variance_of_log(rows, grid, counts))
    lower, upper = band(survival, se_log, limits, level)
    return Curve(
        time=counts.time,
        at_risk=counts.at_risk,
        events=counts.events,
        censored=counts.censored,
        survival=survival,
        std_error=np.where(survival == 0, np.nan, survival * se_log),
        lower=lower,
        upper=upper,
        subjects=len(rows),
        clusters=rows.clusters,
        robust=rows.cluster is not None,
        left_out=rows.left_out,
        limits=limits,
        level=level,
        rows=rows,
        grid=grid,
        counts=counts,
    )


def _variance_of_log(rows: Rows, grid: Grid, counts: Counts) -> Floats:
    if rows.cluster is None or not len(rows):
        variance: Floats = np.cumsum(steps(counts)[0])
        return variance
    return cluster_variance(rows, grid, counts, rows.cluster)
