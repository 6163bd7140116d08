"""Survival when an event is only known to lie between two visits.

Non-parametric maximum likelihood for intervals (left, right]: Turnbull 1976, J R Stat Soc B 38, 290-295; mass
can sit only in the innermost intervals, where a left end meets the next right end. Found by a constrained
Newton step with non-negative least squares: Wang 2007, Comput Stat Data Anal 52, 2388-2402 (both from
memory), and proved by the Karush-Kuhn-Tucker conditions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import nnls

from followup.domain.errors import BadValue, FollowUpError
from followup.domain.survival.rows import read_times
from followup.domain.survival.values import NOT_ESTIMABLE, Bools, Figure, Floats, Ints

STEPS = 200
GRADIENT_TOLERANCE = 1e-10  # of the log likelihood of one eye
SMALLEST_MASS = 1e-12
ROUNDING = 1e-14


class NotConverged(FollowUpError):
    """The likelihood did not reach its maximum."""


@dataclass(frozen=True)
class IntervalPoint:
    """Bounds between which S(time) lies; `survival` is a number only where they meet."""

    time: float
    survival: Figure
    lowest: float
    highest: float


@dataclass(frozen=True, eq=False)
class IntervalCurve:
    """Mass in each innermost interval (left, right]; right may be infinite, left equals right for an exact
    day.

    Where inside its interval a mass sits is unknown. gradient: largest gain in log likelihood left, at most
    1e-9 an eye; unique: whether no other masses are as likely. subjects: intervals given.
    """

    left: Floats
    right: Floats
    mass: Floats
    subjects: int
    log_likelihood: float
    gradient: float
    unique: bool

    def at(self, time: float) -> IntervalPoint:
        """S at `time`: between the mass surely later and the mass that may still be to come."""
        if self.subjects == 0:
            return IntervalPoint(time, NOT_ESTIMABLE, 0.0, 1.0)
        exact = self.left == self.right
        surely_later = np.where(exact, self.left > time, self.left >= time)
        lowest = float(self.mass[surely_later].sum())
        highest = float(self.mass[self.right > time].sum())
        settled = highest - lowest < SMALLEST_MASS
        return IntervalPoint(time, highest if settled else NOT_ESTIMABLE, lowest, highest)


def turnbull(left: ArrayLike, right: ArrayLike) -> IntervalCurve:
    """Estimate from last day seen without and first day seen with the event; right is inf when never seen.

    left equal to right is an event on a known day; left 0 is an event before the first visit. Raises BadValue
    for a negative or missing day, or a right end before the left, naming the place.
    """
    lefts, rights = _read(left, right)
    if not len(lefts):
        return IntervalCurve(np.zeros(0), np.zeros(0), np.zeros(0), 0, 0.0, 0.0, True)
    ends = np.unique(np.concatenate([lefts, rights]))
    # Half-open ends become closed ones on a finer scale: day d is 2 d, just after it is 2 d + 1.
    low = 2 * np.searchsorted(ends, lefts) + (lefts < rights)
    high = 2 * np.searchsorted(ends, rights)
    pairs, weight = np.unique(np.stack([low, high]), axis=1, return_counts=True)
    start, stop = _innermost(*pairs)
    covered = (pairs[0][:, None] <= start) & (stop <= pairs[1][:, None])
    mass, gradient = _maximise(covered, weight)
    held = mass > 0
    chance = covered[:, held] @ mass[held]
    return IntervalCurve(
        left=ends[start[held] // 2],
        right=ends[stop[held] // 2],
        mass=mass[held],
        subjects=len(lefts),
        log_likelihood=float(weight @ np.log(chance)),
        gradient=gradient,
        unique=bool(np.linalg.matrix_rank(covered[:, held].astype(np.float64)) == held.sum()),
    )


def _read(left: ArrayLike, right: ArrayLike) -> tuple[Floats, Floats]:
    lefts = read_times(left, "left").astype(np.float64)
    given = np.atleast_1d(np.asarray(right, dtype=np.float64))
    never = np.isposinf(given)
    rights = read_times(np.where(never, 0.0, given), "right").astype(np.float64)
    if rights.shape != lefts.shape:
        raise BadValue(
            f"There are {len(lefts)} left and {len(rights)} right ends: give both for each row.",
            field="right",
        )
    rights[never] = np.inf
    wrong = rights < lefts
    if wrong.any():
        place = int(np.argmax(wrong))
        raise BadValue(
            f"right[{place}] is {rights[place]:g}, before its left end {lefts[place]:g}. "
            "Are the two dates swapped?",
            field="right",
        )
    return lefts, rights


def _innermost(low: Ints, high: Ints) -> tuple[Ints, Ints]:
    """Closed intervals from a left end to the next right end with no other left end between."""
    starts, stops = np.unique(low), np.unique(high)
    first_stop = stops[np.searchsorted(stops, starts)]
    last_of_its_stop = np.concatenate([first_stop[1:] != first_stop[:-1], [True]])
    return starts[last_of_its_stop], first_stop[last_of_its_stop]


def _maximise(covered: Bools, weight: Ints) -> tuple[Floats, float]:
    """Masses at the maximum of the likelihood, and the largest gradient left."""
    total = int(weight.sum())
    rows = covered.astype(np.float64)
    mass = np.full(covered.shape[1], 1 / covered.shape[1])
    gradient = np.inf
    for _ in range(STEPS):
        chance = rows @ mass
        gain = (weight / chance) @ rows - total
        gradient = float(max(gain.max(), np.abs(gain[mass > 0]).max()))
        if gradient <= GRADIENT_TOLERANCE * total:
            return mass, gradient
        mass = _step(rows, weight, mass, chance, gain)
    raise NotConverged(
        f"These intervals gave no stable estimate: after {STEPS} steps it still moved by {gradient:g}."
    )


def _step(rows: Floats, weight: Ints, mass: Floats, chance: Floats, gain: Floats) -> Floats:
    """Maximum of the quadratic approximation, halved until the likelihood rises enough; else one EM step."""
    # Masses at 0 whose gain is not positive stay at 0 in this step, which keeps the system small.
    free = (mass > 0) | (gain > 0)
    scaled = np.sqrt(weight)[:, None] * (rows[:, free] / chance[:, None] - 2)
    system = np.vstack([scaled, np.ones(free.sum())])
    target = np.zeros(len(system))
    target[-1] = 1.0
    aim = np.zeros(len(mass))
    aim[free] = nnls(system, target, maxiter=30 * len(mass) + 300)[0]
    aim /= aim.sum()
    before, rise = float(weight @ np.log(chance)), float(gain @ (aim - mass))
    share = 1.0
    while share > SMALLEST_MASS:
        trial: Floats = mass + share * (aim - mass)
        with np.errstate(divide="ignore"):
            if float(weight @ np.log(rows @ trial)) >= before + share * rise / 3 - ROUNDING * abs(before):
                return trial
        share /= 2
    return np.asarray(mass * (1 + gain / weight.sum()))
