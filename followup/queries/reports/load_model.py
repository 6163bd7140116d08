"""How a queue for places grows week by week: a simulation whose chance comes from the seed passed in.

Each week those who are due join those who wait. As many as there are places are booked, and each of them
comes with the attendance of that run; whoever is left over or did not come waits on. The attendance of a run
is drawn from a beta distribution with Jeffreys' prior (half a success, half a failure) on what was counted.
New operations come by chance (Poisson); each brings the reviews of a recent one, drawn with replacement.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp
from random import Random
from statistics import mean, quantiles

RUNS = 400


@dataclass(frozen=True, slots=True)
class LaneLoad:
    """One kind of session. All sequences have one value a week, the first for this week.

    waiting: people due before; came, missed: counted attendance; operations: new ones a week on average;
    brings: for each recent operation, in how many weeks after it one of these places falls due.
    """

    due: tuple[int, ...]
    places: tuple[int, ...]
    waiting: int = 0
    came: int = 0
    missed: int = 0
    operations: float = 0.0
    brings: tuple[tuple[int, ...], ...] = ()

    def with_more(self, places: int) -> LaneLoad:
        """The same with so many more places every week."""
        more = tuple(number + places for number in self.places)
        return LaneLoad(self.due, more, self.waiting, self.came, self.missed, self.operations, self.brings)


@dataclass(frozen=True, slots=True)
class Run:
    """What happened in one run, a value a week."""

    due: tuple[int, ...]
    came: tuple[int, ...]
    left_over: tuple[int, ...]
    """People who wanted a place and found none."""


@dataclass(frozen=True, slots=True)
class WeekAhead:
    due: float
    """Mean over the runs."""
    places: int
    left_over: float
    low: float
    high: float
    """Between these lie four fifths of the runs."""
    behind: float
    """Share of runs in which somebody found no place."""


@dataclass(frozen=True, slots=True)
class Forecast:
    weeks: tuple[WeekAhead, ...]

    @property
    def first_behind(self) -> int | None:
        """The first week in which somebody finds no place in more than half of the runs; None if none is."""
        return next((number for number, week in enumerate(self.weeks) if week.behind > 0.5), None)


def forecast(load: LaneLoad, *, seed: int, runs: int = RUNS) -> Forecast:
    random = Random(seed)
    played = [play(load, random) for _ in range(runs)]
    return Forecast(tuple(_week(number, load, played) for number in range(len(load.places))))


def play(load: LaneLoad, random: Random) -> Run:
    """One run over all weeks."""
    attendance = random.betavariate(load.came + 0.5, load.missed + 0.5)
    due = _due(load, random)
    waiting, came, left_over = load.waiting, [], []
    for joins, places in zip(due, load.places, strict=True):
        waiting += joins
        booked = min(waiting, places)
        attended = sum(random.random() < attendance for _ in range(booked))
        came.append(attended)
        left_over.append(waiting - booked)
        waiting -= attended
    return Run(tuple(due), tuple(came), tuple(left_over))


def _due(load: LaneLoad, random: Random) -> list[int]:
    """Those planned, and those whom new operations bring."""
    due = list(load.due)
    if not load.brings:
        return due
    for week in range(len(due)):
        for _ in range(poisson(load.operations, random)):
            for later in random.choice(load.brings):
                if week + later < len(due):
                    due[week + later] += 1
    return due


def poisson(average: float, random: Random) -> int:
    """A number of events by multiplying uniform numbers (Knuth, The Art of Computer Programming 2, 3.4.1)."""
    limit, number, product = exp(-average), 0, random.random()
    while product > limit:
        number += 1
        product *= random.random()
    return number


def _week(number: int, load: LaneLoad, runs: Sequence[Run]) -> WeekAhead:
    left = [run.left_over[number] for run in runs]
    tenths = quantiles(left, n=10, method="inclusive") if len(left) > 1 else [float(left[0])] * 9
    return WeekAhead(
        due=mean(run.due[number] for run in runs),
        places=load.places[number],
        left_over=mean(left),
        low=tenths[0],
        high=tenths[8],
        behind=sum(count > 0 for count in left) / len(left),
    )
