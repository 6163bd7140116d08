"""The same estimators written plainly, row by row from their definitions, to compare with."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from math import sqrt


def at_risk(row: tuple[int, int, int], day: int) -> bool:
    """row: entry, exit, event or cause. Entry 0 is from the start, day 0 included."""
    entry, exit_, _ = row
    return exit_ >= day and (entry < day or entry == 0)


def usable(rows: list[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    return [row for row in rows if row[0] < row[1] or row[1] == 0]


def survival(rows: list[tuple[int, int, int]], day: int, weights: list[Fraction] | None = None) -> Fraction:
    """S(day) as an exact fraction, from weighted rows."""
    weigh = weights or [Fraction(1)] * len(rows)
    value = Fraction(1)
    for time in sorted({row[1] for row in rows if row[2] and row[1] <= day}):
        n = sum((w for w, row in zip(weigh, rows, strict=True) if at_risk(row, time)), Fraction(0))
        d = sum((w for w, row in zip(weigh, rows, strict=True) if row[1] == time and row[2]), Fraction(0))
        value *= 1 - d / n
    return value


def incidence(
    rows: list[tuple[int, int, int]], cause: int, day: int, weights: list[Fraction] | None = None
) -> Fraction:
    """F(day) of one cause as an exact fraction."""
    weigh = weights or [Fraction(1)] * len(rows)
    free, total = Fraction(1), Fraction(0)
    for time in sorted({row[1] for row in rows if row[2] and row[1] <= day}):
        n = sum((w for w, row in zip(weigh, rows, strict=True) if at_risk(row, time)), Fraction(0))
        ends = [(w, row[2]) for w, row in zip(weigh, rows, strict=True) if row[1] == time and row[2]]
        total += free * sum((w for w, which in ends if which == cause), Fraction(0)) / n
        free *= 1 - sum((w for w, _ in ends), Fraction(0)) / n
    return total


def jackknife_error(
    estimate: Callable[..., Fraction], rows: list[tuple[int, int, int]], patients: list[int], *args: int
) -> float:
    """Root of the summed squares of the derivative by each patient's weight, by a central difference."""
    nudge = Fraction(1, 10**7)
    squares = 0.0
    for patient in set(patients):
        ends = []
        for sign in (1, -1):
            weights = [1 + sign * nudge if p == patient else Fraction(1) for p in patients]
            ends.append(estimate(rows, *args, weights))
        squares += float((ends[0] - ends[1]) / (2 * nudge)) ** 2
    return sqrt(squares)


def log_rank(
    rows: list[tuple[int, int, int]], group: list[int], strata: list[int]
) -> tuple[Fraction, Fraction]:
    """Observed minus expected of group 1 of two, and its variance."""
    excess, variance = Fraction(0), Fraction(0)
    for stratum in set(strata):
        chosen = [(r, g) for r, g, s in zip(rows, group, strata, strict=True) if s == stratum]
        for time in {r[1] for r, _ in chosen if r[2]}:
            risk = [g for r, g in chosen if at_risk(r, time)]
            ends = [g for r, g in chosen if r[1] == time and r[2]]
            n, d, n1 = len(risk), len(ends), sum(risk)
            excess += sum(ends) - Fraction(d * n1, n)
            if n > 1:
                variance += Fraction(d * n1 * (n - n1) * (n - d), n * n * (n - 1))
    return excess, variance
