"""How much each patient moves an estimate: the infinitesimal jackknife, summed by patient.

The derivative of log S(t) by the weight of one row is, while the row is at risk, the sum of d / (n (n - d)),
less 1 / (n - d) at its own event. Summing the rows of a patient before squaring keeps the correlation of two
eyes. Jaeckel 1972 (infinitesimal jackknife), Williams 1995, Biometrics 51, 1456-1463 (clusters), both from
memory.
"""

from __future__ import annotations

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
    """Variance of log S at each time, rows summed by patient; one sort, no patient-by-time table.

    A patient's influence at t is k B(t) + A: k rows at risk, B the running sum of d / (n (n - d)), A what
    earlier rows left behind. The sums over patients of k k, k A and A A change only when a row comes or goes.
    """
    climb, drop = steps(counts)
    running = np.cumsum(climb)
    place = np.searchsorted(counts.kept, grid.exit)
    change = [np.full(len(rows), -1.0)]
    offset = [running[place] - np.where(rows.event, drop[place], 0.0)]
    who, when = [cluster], [place]
    if grid.entry is None:
        start = np.bincount(cluster).astype(np.float64)
    else:
        came = _entered_after(grid, counts, grid.entry) - 1
        change.append(np.ones(len(rows)))
        offset.append(-np.where(came >= 0, running[came], 0.0))
        who.append(cluster)
        when.append(came)
        start = np.zeros(int(cluster.max()) + 1)
    return _running_squares(
        np.concatenate(who),
        np.concatenate(when),
        np.concatenate(change),
        np.concatenate(offset),
        start,
        running,
    )


def _running_squares(
    who: Ints, when: Ints, change: Floats, offset: Floats, start: Floats, running: Floats
) -> Floats:
    order = np.lexsort((when, who))
    who, when = who[order], when[order] + 1
    k = _cumulate_within(who, change[order]) + start[who]
    a = _cumulate_within(who, offset[order])
    k_before, a_before = k - change[order], a - offset[order]
    size = len(running) + 1

    def summed(values: Floats, first: float) -> Floats:
        running_sum: Floats = np.cumsum(np.bincount(when, weights=values, minlength=size))
        return first + running_sum[1:]

    kk = summed(k * k - k_before * k_before, float(start @ start))
    ka = summed(k * a - k_before * a_before, 0.0)
    aa = summed(a * a - a_before * a_before, 0.0)
    return np.maximum(kk * running**2 + 2 * ka * running + aa, 0.0)


def _cumulate_within(who: Ints, values: Floats) -> Floats:
    total: Floats = np.cumsum(values)
    first = np.concatenate([[True], who[1:] != who[:-1]])
    before: Floats = total - values
    at_start: Floats = before[first]
    return total - at_start[np.cumsum(first) - 1]


def weighted_influence(rows: Rows, grid: Grid, counts: Counts, cluster: Ints, weight: Floats) -> Floats:
    """Each patient's influence on the sum over times of `weight` times the step of log S. Shape: patients."""
    climb, drop = steps(counts)
    running = np.concatenate([[0.0], np.cumsum(weight * climb)])
    place = np.searchsorted(counts.kept, grid.exit)
    value = running[place + 1] - np.where(rows.event, (weight * drop)[place], 0.0)
    if grid.entry is not None:
        value = value - running[_entered_after(grid, counts, grid.entry)]
    return np.bincount(cluster, weights=value).astype(np.float64, copy=False)


def _entered_after(grid: Grid, counts: Counts, entry: Ints) -> Ints:
    """How many distinct times each row missed by entering late; none for entry 0, which is from the start."""
    missed = np.searchsorted(counts.kept, entry, side="right").astype(np.int64)
    return np.where(grid.times[entry] == 0, 0, missed)
