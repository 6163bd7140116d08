"""Mean time without the event up to a chosen day, and differences between two curves.

Restricted mean: the area under the curve to tau; standard error as Klein and Moeschberger 2003, section 4.5
(without the n / (n - 1) factor), or summed by patient. Comparison of two: Uno et al. 2014, J Clin Oncol 32,
2380-2385. All from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isnan, nan, sqrt

import numpy as np

from followup.domain.errors import BadValue
from followup.domain.survival.comparison import Difference, Influence, difference
from followup.domain.survival.kaplan_meier import Curve
from followup.domain.survival.limits import normal_quantile
from followup.domain.survival.robust import steps, weighted_influence
from followup.domain.survival.values import Figure, Floats, figure


@dataclass(frozen=True)
class RestrictedMean:
    """Mean event-free days up to `tau`.

    beyond_follow_up: tau lies past the last follow-up of a curve still above 0, which is then carried on
    flat; say so, or choose an earlier tau.
    """

    tau: float
    mean: Figure
    std_error: Figure
    lower: Figure
    upper: Figure
    level: float
    beyond_follow_up: bool


def restricted_mean(curve: Curve, tau: float) -> RestrictedMean:
    """Area under the curve from 0 to tau days. Raises BadValue unless tau is above 0."""
    _check(tau)
    area = _area(curve, tau)
    half = normal_quantile(curve.level) * area.std_error
    beyond = not curve.empty and tau > curve.time[-1] and curve.survival[-1] > 0
    return RestrictedMean(
        tau,
        figure(area.value),
        figure(area.std_error),
        figure(area.value - half),
        figure(area.value + half),
        curve.level,
        bool(beyond),
    )


def restricted_mean_difference(first: Curve, second: Curve, tau: float) -> Difference:
    """Restricted mean of `second` minus that of `first`; eyes of one patient in both are kept together."""
    _check(tau)
    return difference(_area(first, tau), _area(second, tau), first.level)


def survival_difference(first: Curve, second: Curve, time: float) -> Difference:
    """S(time) of `second` minus that of `first`; eyes of one patient in both are kept together.

    Not estimable beyond the last follow-up of either curve, or where either is 0.
    """
    return difference(_height(first, time), _height(second, time), first.level)


def _check(tau: float) -> None:
    if not 0 < tau < np.inf:
        raise BadValue(f"The mean is restricted to {tau} days: expected a number above 0.", field="tau")


def _area(curve: Curve, tau: float) -> Influence:
    if curve.empty:
        return Influence(nan, nan, None, None)
    inside = curve.time < tau
    edges = np.concatenate([[0.0], curve.time[inside], [tau]])
    pieces = np.diff(edges) * np.concatenate([[1.0], curve.survival[inside]])
    remaining = np.zeros(len(curve.time))
    remaining[inside] = np.cumsum(pieces[::-1])[::-1][1:]
    return _with_error(curve, float(pieces.sum()), remaining)


def _height(curve: Curve, time: float) -> Influence:
    survival = float(curve.survival_at([time])[0])
    if isnan(survival) or survival == 0:
        return Influence(survival, nan, None, None)
    return _with_error(curve, survival, np.where(curve.time <= time, survival, 0.0))


def _with_error(curve: Curve, value: float, weight: Floats) -> Influence:
    """The error of a quantity that moves by `weight` times the step of log S at each time."""
    rows = curve.rows
    if rows.cluster is None:
        return Influence(value, sqrt(float(weight**2 @ steps(curve.counts)[0])), None, None)
    each = weighted_influence(rows, curve.grid, curve.counts, rows.cluster, weight)
    return Influence(value, sqrt(float(each @ each)), rows.labels, each)
