"""How much each patient moves an estimate: the infinitesimal jackknife, summed by patient.

The derivative of log S(t) by the weight of one row is, while the row is at risk, the sum of d / (n (n - d)),
less 1 / (n - d) at its own event. Summing the rows of a patient before squaring keeps the correlation of two
eyes. Jaeckel 1972 (infinitesimal jackknife), Williams 1995, Biometrics 51, 1456-1463 (clusters), from memory.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from followup.domain.survival.counts import Counts, Grid
from followup.domain.survival.rows import Rows
from followup.domain.survival.values import Floats, Ints


def steps(counts: Counts) -> tuple[Floats, Floats]:
    """At each time d / (n (n - d)) and 1 / (n - d), both 0 without events and where the curve falls to 0."""
    n, d = counts.at_risk.astype(np.float64), counts.events.astype(np.float64)
    left = n - d
    usable = (d > 0) & (left > 0)
    safe = np.where(usable, left, 1.0)
    return np.where(usable, d / (n * safe), 0.0), np.where(usable, 1 / safe, 0.0)


def cluster_variance(rows: Rows, grid: Grid, counts: Counts, cluster: Ints) -> Floats:
    """Variance of log S at each time, rows summed by patient."""
    climb, drop = steps(counts)
    running: Floats = np.cumsum(climb)
    own = -np.where(rows.event, drop[exit_places(grid, counts)], 0.0)
    sums = PatientSums(rows, grid, counts, cluster, [(running, own)])
    squares = sums.product(0, 0) * running**2 + 2 * sums.product(0, 1) * running + sums.product(1, 1)
    # Nothing moves between events; held still, the limits stay flat there to the last bit.
    last_event = np.maximum.accumulate(np.where(counts.events > 0, np.arange(len(squares)), -1))
    return np.where(last_event >= 0, np.maximum(squares, 0.0)[last_event], 0.0)


class PatientSums:
    """Running sums over patients, without a table of patients by times: one sort, then additions.

    A patient's influence at t is k B(t) + A: k rows at risk, B a running sum shared by all, A what the
    patient's earlier rows left behind. Sums over patients of products of k and the As change only when a row
    comes or goes.

    parts: for each B its values by time and each row's own term, added when the row leaves. Quantity 0 is k,
    quantity i is the A of part i - 1.
    """

    def __init__(
        self, rows: Rows, grid: Grid, counts: Counts, cluster: Ints, parts: Sequence[tuple[Floats, Floats]]
    ) -> None:
        leaves = exit_places(grid, counts)
        who, when = [cluster], [leaves + 1]
        changes = [[np.full(len(rows), -1.0)], *([running[leaves] + own] for running, own in parts)]
        start = np.bincount(cluster).astype(np.float64)
        if grid.entry is not None:
            missed = entry_places(grid, counts, grid.entry)
            who.append(cluster)
            when.append(missed)
            changes[0].append(np.ones(len(rows)))
            for change, (running, _own) in zip(changes[1:], parts, strict=True):
                change.append(-np.concatenate([[0.0], running])[missed])
            start = np.zeros_like(start)
        whose, at = np.concatenate(who), np.concatenate(when)
        order = np.lexsort((at, whose))
        self._when = at[order]
        self._times = len(counts.time)
        self._start = float(start @ start)
        self._change = [np.concatenate(change)[order] for change in changes]
        self._after = [_cumulate_within(whose[order], change) for change in self._change]
        self._after[0] = self._after[0] + start[whose[order]]

    def product(self, first: int, second: int) -> Floats:
        """Sum over patients of the product of two quantities, at each time."""
        a, b = self._after[first], self._after[second]
        step = a * b - (a - self._change[first]) * (b - self._change[second])
        total: Floats = np.cumsum(np.bincount(self._when, weights=step, minlength=self._times + 1))
        at_start = self._start if first == second == 0 else 0.0

        return np.asarray(total[1:] + at_start)


def weighted_influence(rows: Rows, grid: Grid, counts: Counts, cluster: Ints, weight: Floats) -> Floats:
    """Each patient's influence on the sum over times of `weight` times the step of log S. Shape: patients."""
    climb, drop = steps(counts)
    running = np.concatenate([[0.0], np.cumsum(weight * climb)])
    leaves = exit_places(grid, counts)
    value = running[leaves + 1] - np.where(rows.event, (weight * drop)[leaves], 0.0)
    if grid.entry is not None:
        value = value - running[entry_places(grid, counts, grid.entry)]
    return np.bincount(cluster, weights=value).astype(np.float64, copy=False)


def exit_places(grid: Grid, counts: Counts) -> Ints:
    """Place of each row's exit among the distinct exit times."""
    lookup = np.zeros(len(grid.times), dtype=np.int64)
    lookup[counts.kept] = np.arange(len(counts.kept))
    return lookup[grid.exit]


def entry_places(grid: Grid, counts: Counts, entry: Ints) -> Ints:
    """How many distinct times each row missed by entering late; none for entry 0, which is from the start."""
    missed = np.searchsorted(counts.kept, entry, side="right").astype(np.int64)
    return np.where(grid.times[entry] == 0, 0, missed)


def _cumulate_within(who: Ints, values: Floats) -> Floats:
    total: Floats = np.cumsum(values)
    first = np.ones(len(who), dtype=np.bool_)
    first[1:] = who[1:] != who[:-1]
    before: Floats = total - values
    at_start: Floats = before[first]
    return np.asarray(total - at_start[np.cumsum(first) - 1])
