"""Control limits of a share, and the running excess of events over an expected rate.

Both are exact (binomial) and take eyes as independent. They say what chance alone would give if the rate were
so, never why it is otherwise.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from math import ceil

from scipy.special import bdtr, bdtrc, bdtrik

from followup.domain.errors import BadValue

WARNING, ACTION = 0.95, 0.998
"""The two levels in use for shares compared with a target: Spiegelhalter DJ. Stat Med 2005;24:1185-1202
(from memory)."""


@dataclass(frozen=True, slots=True)
class Range:
    """Counts that chance alone would give, both ends among them."""

    lower: int
    upper: int

    def holds(self, count: int) -> bool:
        return self.lower <= count <= self.upper


def expected_range(total: int, share: float, *, level: float = WARNING) -> Range:
    """The least range of counts among `total` with at most (1 - level) / 2 of chance beyond either end.

    The p chart (Shewhart) with limits from the binomial itself, as NIST/SEMATECH e-Handbook of Statistical
    Methods, section 6.3.3.2, has them from the normal: shares of few eyes are no normal figures.
    Raises BadValue unless total >= 0, 0 <= share <= 1 and 0 < level < 1.
    """
    if total < 0 or not 0 <= share <= 1 or not 0 < level < 1:
        raise BadValue(f"No control limits for {total} eyes at {share} and {level}.", field="share")
    if not total or share in (0.0, 1.0):
        return Range(round(total * share), round(total * share))
    tail = (1 - level) / 2
    near = ceil(bdtrik(tail, total, share)), ceil(bdtrik(1 - tail, total, share))
    return Range(_lowest(near[0], total, share, tail), _highest(near[1], total, share, tail))


def _lowest(count: int, total: int, share: float, tail: float) -> int:
    """The largest count below which no more than `tail` lies; `count` is it, or next to it."""
    return max(
        one for one in range(max(0, count - 1), count + 2) if one == 0 or bdtr(one - 1, total, share) <= tail
    )


def _highest(count: int, total: int, share: float, tail: float) -> int:
    """The smallest count above which no more than `tail` lies; `count` is it, or next to it."""
    return min(
        one for one in range(max(0, count - 1), count + 2) if one >= total or bdtrc(one, total, share) <= tail
    )


@dataclass(frozen=True, slots=True)
class Excess:
    """After so many eyes: events seen less events expected, and the range of that by chance at this point."""

    eyes: int
    events: int
    difference: float
    lower: float
    upper: float


def running_excess(events: Iterable[bool], share: float) -> tuple[Excess, ...]:
    """One step an eye, in the order given: seen less expected, where each eye is expected to add `share`.

    Lovegrove J et al. Lancet 1997;350:1128-1130 (from memory), for one rate instead of one a patient. The
    range is that of each point alone: a long line leaves it somewhere more often than its level says.
    """
    steps: list[Excess] = []
    seen = 0
    for eyes, event in enumerate(events, 1):
        seen += event
        chance, expected = expected_range(eyes, share), eyes * share
        steps.append(Excess(eyes, seen, seen - expected, chance.lower - expected, chance.upper - expected))
    return tuple(steps)
