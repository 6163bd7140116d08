"""Limits around a survival probability, from the standard error of its logarithm."""

from __future__ import annotations

from typing import Literal, TypeAlias, get_args

import numpy as np
from scipy.special import ndtri

from followup.domain.errors import BadValue
from followup.domain.survival.values import Floats

Limits: TypeAlias = Literal["log-log", "log", "plain"]


def normal_quantile(level: float) -> float:
    """Two-sided normal quantile, 1.96 for 0.95. Raises BadValue unless level lies between 0 and 1."""
    if not 0 < level < 1:
        raise BadValue(f"The confidence level is {level}: expected a number between 0 and 1.", field="level")
    return float(ndtri(0.5 + level / 2))


def band(survival: Floats, se_log: Floats, limits: Limits, level: float) -> tuple[Floats, Floats]:
    """Pointwise limits; nan where S is 0 (nothing can be said), [1, 1] where S is 1.

    Log-log: Kalbfleisch and Prentice 1980, p. 15; log and plain: Klein and Moeschberger 2003, section 4.3
    (both from memory). Limits beyond 0 or 1 are cut there.
    """
    z = normal_quantile(level)
    if limits not in get_args(Limits):
        raise BadValue(f"Limits {limits!r} are not known: choose log-log, log or plain.", field="limits")
    lower: Floats
    upper: Floats
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if limits == "plain":
            half = z * survival * se_log
            lower, upper = survival - half, survival + half
        elif limits == "log":
            lower, upper = survival * np.exp(-z * se_log), survival * np.exp(z * se_log)
        else:
            spread = np.exp(z * se_log / np.log(survival))
            lower, upper = survival ** (1 / spread), survival**spread
    return _settle(survival, lower), _settle(survival, upper)


def _settle(survival: Floats, limit: Floats) -> Floats:
    cut = np.clip(limit, 0.0, 1.0)
    return np.where(survival == 0, np.nan, np.where(survival == 1, 1.0, cut))
