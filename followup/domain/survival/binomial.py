"""A share of eyes with an exact or a score interval.

They hold only if every eye reached the time asked about and eyes are independent; otherwise use a survival
curve.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from scipy.special import betaincinv

from followup.domain.errors import BadValue
from followup.domain.survival.limits import normal_quantile
from followup.domain.survival.values import NOT_ESTIMABLE, Figure


@dataclass(frozen=True)
class Proportion:
    """`events` among `total`, with limits; 0 of 0 is NOT_ESTIMABLE throughout."""

    events: int
    total: int
    share: Figure
    lower: Figure
    upper: Figure
    level: float
    method: str


def clopper_pearson(events: int, total: int, *, level: float = 0.95) -> Proportion:
    """Equal-tailed exact interval. Clopper and Pearson 1934, Biometrika 26, 404-413 (from memory).

    Raises BadValue unless 0 <= events <= total.
    """
    _check(events, total)
    normal_quantile(level)
    if total == 0:
        return _nothing(level, "Clopper-Pearson")
    tail = (1 - level) / 2
    lower, upper = lower_limit(events, total, tail), 1 - lower_limit(total - events, total, tail)
    return Proportion(events, total, events / total, lower, upper, level, "Clopper-Pearson")


def wilson(events: int, total: int, *, level: float = 0.95) -> Proportion:
    """Score interval. Wilson 1927, J Am Stat Assoc 22, 209-212 (from memory).

    Raises BadValue unless 0 <= events <= total.
    """
    _check(events, total)
    z = normal_quantile(level)
    if total == 0:
        return _nothing(level, "Wilson")
    share = events / total
    middle = share + z * z / (2 * total)
    half = z * sqrt(share * (1 - share) / total + z * z / (4 * total * total))
    scale = 1 + z * z / total
    lower = 0.0 if events == 0 else (middle - half) / scale
    upper = 1.0 if events == total else (middle + half) / scale
    return Proportion(events, total, share, lower, upper, level, "Wilson")


def one_sided_lower(events: int, total: int, *, level: float = 0.95) -> Figure:
    """Exact one-sided lower limit: 0.05 ** (1 / n) when all n of n succeeded."""
    _check(events, total)
    return NOT_ESTIMABLE if total == 0 else lower_limit(events, total, 1 - level)


def one_sided_upper(events: int, total: int, *, level: float = 0.95) -> Figure:
    """Exact one-sided upper limit: 1 - 0.05 ** (1 / n) when none of n failed."""
    _check(events, total)
    return NOT_ESTIMABLE if total == 0 else 1 - lower_limit(total - events, total, 1 - level)


def lower_limit(events: int, total: int, tail: float) -> float:
    """Share at which `events` or more of `total` would be seen with probability `tail`; 0 for no event."""
    return 0.0 if events == 0 else float(betaincinv(events, total - events + 1, tail))


def _check(events: int, total: int) -> None:
    if not 0 <= events <= total:
        raise BadValue(f"{events} of {total}: the first must lie between 0 and the second.", field="events")


def _nothing(level: float, method: str) -> Proportion:
    return Proportion(0, 0, NOT_ESTIMABLE, NOT_ESTIMABLE, NOT_ESTIMABLE, level, method)
