"""A mean with its interval, the eyes of one patient kept together.

Student 1908, Biometrika 6, 1-25, for eyes on their own; by patient the cluster-robust variance of Liang and
Zeger 1986, Biometrika 73, 13-22, with the factor G / (G - 1) for G patients and G - 1 degrees of freedom.
With one eye a patient the two are the same (both from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from followup.domain.errors import BadValue
from followup.domain.survival.rows import codes_of
from followup.domain.survival.values import NOT_ESTIMABLE, Figure


@dataclass(frozen=True)
class Mean:
    """`value` is NOT_ESTIMABLE of nobody, the limits of fewer than two patients."""

    count: int
    clusters: int
    value: Figure
    std_error: Figure
    lower: Figure
    upper: Figure
    level: float


def mean(values: ArrayLike, *, cluster: ArrayLike | None = None, level: float = 0.95) -> Mean:
    """Mean of `values`; `cluster` names the patient of each. Raises BadValue for lists of unequal length."""
    numbers = np.asarray(values, dtype=np.float64)
    if not 0 < level < 1:
        raise BadValue(f"The confidence level is {level}: expected a number between 0 and 1.", field="level")
    if not len(numbers):
        return Mean(0, 0, NOT_ESTIMABLE, NOT_ESTIMABLE, NOT_ESTIMABLE, NOT_ESTIMABLE, level)
    members = np.arange(len(numbers)) if cluster is None else codes_of(cluster)[1]
    if members.shape != numbers.shape:
        raise BadValue(
            f"There are {len(numbers)} values but {len(members)} patients: give one for each.",
            field="cluster",
        )
    value = float(numbers.mean())
    sums = np.bincount(members, weights=numbers - value)
    clusters = len(sums)
    if clusters < 2:
        missing: Figure = NOT_ESTIMABLE
        return Mean(len(numbers), clusters, value, missing, missing, missing, level)
    error = sqrt(float(sums @ sums) * clusters / (clusters - 1)) / len(numbers)
    half = float(stdtrit(clusters - 1, 0.5 + level / 2)) * error
    return Mean(len(numbers), clusters, value, error, value - half, value + half, level)
