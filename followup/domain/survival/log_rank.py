"""Do groups differ in how long they stay free of the event?

Log-rank test: Mantel 1966, Cancer Chemother Rep 50, 163-170; Peto and Peto 1972, J R Stat Soc A 135, 185-207;
variance from the hypergeometric distribution, exact at ties (from memory). It treats eyes as independent:
when both eyes of a patient take part, stratify by patient or compare with survival_difference, which keeps
them together.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from followup.domain.errors import BadValue
from followup.domain.survival.counts import entered_before, lay_out
from followup.domain.survival.rows import Rows, codes_of, read_rows
from followup.domain.survival.values import NOT_ESTIMABLE, Figure, Floats, Ints

ROUNDING = 1e-10
NO_TEST: tuple[Figure, int, Figure] = (NOT_ESTIMABLE, 0, NOT_ESTIMABLE)


class NothingToTest(Enum):
    """Why a comparison has no answer."""

    ONE_GROUP = "fewer than two groups"
    NO_EVENTS = "no event in any group"
    NEVER_COMPARED = "no event fell while another group was at risk and could have stayed free of it"


@dataclass(frozen=True, eq=False)
class LogRank:
    """Observed and expected events by group, and the test.

    observed, expected: shape (groups,); variance of observed - expected: shape (groups, groups). `nothing`
    names why there is no test; chi_squared and p_value are then NOT_ESTIMABLE and degrees 0.
    """

    groups: tuple[Any, ...]
    subjects: Ints
    observed: Ints
    expected: Floats
    variance: Floats
    chi_squared: Figure
    degrees: int
    p_value: Figure
    nothing: NothingToTest | None = None

    def trend(self, scores: ArrayLike) -> tuple[Figure, Figure]:
        """z and two-sided p for a trend over scored groups (Klein and Moeschberger 2003, section 7.4)."""
        s = np.asarray(scores, dtype=np.float64)
        if s.shape != self.expected.shape:
            raise BadValue(f"Give one score for each of the {len(self.groups)} groups.", field="scores")
        spread = float(s @ self.variance @ s)
        if spread <= 0:
            return NOT_ESTIMABLE, NOT_ESTIMABLE
        z = float(s @ (self.observed - self.expected)) / spread**0.5
        return z, float(chdtrc(1, z * z))


def log_rank(
    time: ArrayLike,
    event: ArrayLike,
    group: ArrayLike,
    *,
    stratum: ArrayLike | None = None,
    entry: ArrayLike | None = None,
) -> LogRank:
    """Compare two or more groups, within strata when given. Groups come out in sorted order.

    Raises BadValue as read_rows does.
    """
    rows = read_rows(time, event, entry=entry)
    labels, member = _codes(rows, group, "group")
    layer = None if stratum is None else _codes(rows, stratum, "stratum")[1]
    size = len(labels)
    if layer is not None and rows.entry is None:
        observed, expected, variance = _strata_at_once(rows, member, layer, size)
    else:
        observed, expected, variance = np.zeros(size, np.int64), np.zeros(size), np.zeros((size, size))
        for part in _layers(len(rows), layer):
            o, e, v = _one_stratum(rows.only(part), member[part], size)
            observed, expected, variance = observed + o, expected + e, variance + v
    nothing = _nothing(observed, variance)
    chi_squared, degrees, p_value = _test(observed - expected, variance) if nothing is None else NO_TEST
    subjects = np.bincount(member, minlength=size)
    return LogRank(
        tuple(labels.tolist()), subjects, observed, expected, variance, chi_squared, degrees, p_value, nothing
    )


def _codes(rows: Rows, values: ArrayLike, name: str) -> tuple[NDArray[Any], Ints]:
    array = np.asarray(values)
    given = len(rows) + rows.left_out
    if array.shape != (given,):
        raise BadValue(
            f"There are {given} times but {array.size} values of {name}: give one for each row.", field=name
        )
    return codes_of(rows.matching(array))


def _layers(size: int, layer: Ints | None) -> list[Any]:
    if layer is None:
        return [slice(None)]
    order = np.argsort(layer, kind="stable")
    return np.split(order, np.cumsum(np.bincount(layer))[:-1]) if size else []


def _one_stratum(rows: Rows, member: Ints, size: int) -> tuple[Ints, Floats, Floats]:
    """Observed, expected and covariance; counts become floating point before any product."""
    grid = lay_out(rows)
    days = len(grid.times)
    cells = np.bincount((2 * grid.exit + rows.event) * size + member, minlength=2 * days * size)
    cells = cells.reshape(days, 2, size)
    seen = cells[:, 1].sum(axis=1) > 0
    leaving = cells.sum(axis=1)
    at_risk = entered_before(grid, member, size) - (np.cumsum(leaving, axis=0) - leaving)
    return _sums(cells[seen, 1], at_risk[seen])


def _strata_at_once(rows: Rows, member: Ints, layer: Ints, size: int) -> tuple[Ints, Floats, Floats]:
    """Many small strata, such as patients: each day of each stratum is a row of one table."""
    _, moment = np.unique(rows.time, return_inverse=True)
    places, cell = np.unique(layer * (moment.max(initial=0) + 1) + moment, return_inverse=True)
    leaving = np.bincount(cell * size + member, minlength=len(places) * size).reshape(-1, size)
    found = cell[rows.event] * size + member[rows.event]
    events = np.bincount(found, minlength=len(places) * size).reshape(-1, size)
    stratum = places // (moment.max(initial=0) + 1)
    gone = np.cumsum(leaving, axis=0) - leaving
    first = np.searchsorted(stratum, stratum)
    whole = np.bincount(layer * size + member, minlength=(layer.max(initial=-1) + 1) * size)
    at_risk = whole.reshape(-1, size)[stratum] - (gone - gone[first])
    seen = events.sum(axis=1) > 0
    return _sums(events[seen], at_risk[seen])


def _sums(events: Ints, at_risk: Ints) -> tuple[Ints, Floats, Floats]:
    """Observed, expected and covariance over the days of events, one row a day."""
    n_k = at_risk.astype(np.float64)
    d, n = events.sum(axis=1).astype(np.float64), n_k.sum(axis=1)
    share = n_k / n[:, None]
    spread = np.where(n > 1, d * (n - d) / np.maximum(n - 1, 1), 0.0)
    variance = np.diag(spread @ share) - share.T @ (spread[:, None] * share)
    return events.sum(axis=0), d @ share, variance


def _nothing(observed: Ints, variance: Floats) -> NothingToTest | None:
    if len(observed) < 2:
        return NothingToTest.ONE_GROUP
    if not observed.any():
        return NothingToTest.NO_EVENTS
    # Where nobody could be told apart the terms cancel but for rounding.
    if np.diag(variance).max() <= ROUNDING * observed.sum():
        return NothingToTest.NEVER_COMPARED
    return None


def _test(excess: Floats, variance: Floats) -> tuple[Figure, int, Figure]:
    """Chi-squared with as many degrees as the covariance has directions: groups never at risk take none."""
    inverse = np.linalg.pinv(variance, rcond=ROUNDING, hermitian=True)
    degrees = int(np.linalg.matrix_rank(variance, tol=ROUNDING * np.diag(variance).max(), hermitian=True))
    chi_squared = max(float(excess @ inverse @ excess), 0.0)
    return chi_squared, degrees, float(chdtrc(degrees, chi_squared))
