"""Who was at risk, had the event or was last seen, at each distinct time."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from followup.domain.survival.rows import Rows
from followup.domain.survival.values import Floats, Ints, Times

# Times worked out in two ways differ in their last bits (0.1 + 0.2 and 0.3): one time, finer than a second.
SAME_TIME = 1e-12


@dataclass(frozen=True, eq=False)
class Grid:
    """Distinct times in order, and the place of each row's exit and entry among them."""

    times: Times
    exit: Ints
    entry: Ints | None


@dataclass(frozen=True, eq=False)
class Counts:
    """At each distinct exit time: at risk just before it, events and censorings at it.

    kept: the places of these times on the grid.
    """

    time: Floats
    at_risk: Ints
    events: Ints
    censored: Ints
    kept: Ints


def lay_out(rows: Rows) -> Grid:
    """Place rows on a grid: every day when times are whole days, else the distinct times (one sort)."""
    values = rows.time if rows.entry is None else np.concatenate([rows.time, rows.entry])
    if len(values) == 0:
        return Grid(np.zeros(0), np.zeros(0, np.int64), None)
    last = values.max()
    if values.dtype.kind == "i" and last <= 4 * len(values) + 10_000:
        entry = None if rows.entry is None else rows.entry.astype(np.int64)
        return Grid(np.arange(int(last) + 1), rows.time.astype(np.int64, copy=False), entry)
    times, places = distinct(values)
    n = len(rows)
    return Grid(times, places[:n], None if rows.entry is None else places[n:])


def distinct(values: Times) -> tuple[Times, Ints]:
    """Distinct times and the place of each value; times equal but for rounding become one."""
    times, places = np.unique(values, return_inverse=True)
    apart = np.ones(len(times), dtype=np.bool_)
    if times.dtype.kind == "f":
        apart[1:] = np.diff(times) > SAME_TIME * times[1:]
    merged: Ints = np.cumsum(apart) - 1
    return times[apart], merged[places]


def count(rows: Rows, grid: Grid) -> Counts:
    """Count rows at each distinct exit time, in 64-bit integers."""
    size = len(grid.times)
    both = np.bincount(2 * grid.exit + rows.event, minlength=2 * size).reshape(size, 2)
    leaving = both[:, 0] + both[:, 1]
    kept = np.flatnonzero(leaving)
    at_risk = entered_before(grid)[:, 0] - (np.cumsum(leaving) - leaving)
    return Counts(
        time=grid.times[kept].astype(np.float64),
        at_risk=at_risk[kept],
        events=both[kept, 1],
        censored=both[kept, 0],
        kept=kept,
    )


def at_risk_at(rows: Rows, times: Floats) -> Ints:
    """Eyes at risk just before each of `times`; at 0 those who entered by 0."""
    gone = np.searchsorted(np.sort(rows.time), times, side="left")
    if rows.entry is None:
        return (len(rows) - gone).astype(np.int64)
    entries = np.sort(rows.entry)
    inside = np.where(
        times > 0, np.searchsorted(entries, times, side="left"), np.searchsorted(entries, 0, side="right")
    )
    return (inside - gone).astype(np.int64)


def entered_before(grid: Grid, member: Ints | None = None, size: int = 1) -> Ints:
    """Rows that entered before each time, by group of `member`. Shape: (times, size)."""
    group: Ints | int = 0 if member is None else member
    if grid.entry is None:
        total = np.array([len(grid.exit)]) if member is None else np.bincount(member, minlength=size)
        return np.broadcast_to(total, (len(grid.times), size))
    entries = np.bincount(grid.entry * size + group, minlength=len(grid.times) * size).reshape(-1, size)
    before = np.cumsum(entries, axis=0) - entries
    from_start = grid.times == 0
    before[from_start] = entries[from_start].sum(axis=0)
    return before
