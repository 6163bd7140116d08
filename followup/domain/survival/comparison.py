"""The difference of two estimates, with the eyes of one patient kept together."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, isnan, nan, sqrt
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from followup.domain.survival.limits import normal_quantile
from followup.domain.survival.values import NOT_ESTIMABLE, Figure, Floats, figure


@dataclass(frozen=True, eq=False)
class Influence:
    """An estimate with its standard error and, when patients are known, what each of them adds to it."""

    value: float
    std_error: float
    labels: NDArray[Any] | None
    by_label: Floats | None


@dataclass(frozen=True)
class Difference:
    """Second minus first, with normal limits and two-sided p value.

    paired: whether the patients of both groups were known, so that a patient with an eye in each counts once.
    """

    value: Figure
    std_error: Figure
    lower: Figure
    upper: Figure
    p_value: Figure
    level: float
    paired: bool


def difference(first: Influence, second: Influence, level: float) -> Difference:
    """Second minus first; the groups count as independent unless both carry their patients."""
    z = normal_quantile(level)
    paired = first.by_label is not None and second.by_label is not None
    error = _paired_error(first, second) if paired else hypot(first.std_error, second.std_error)
    value = second.value - first.value
    if isnan(value) or isnan(error) or error == 0:
        missing: Figure = NOT_ESTIMABLE
        return Difference(figure(value), figure(error or nan), missing, missing, missing, level, paired)
    p_value = 2 * float(ndtr(-abs(value) / error))
    return Difference(value, error, value - z * error, value + z * error, p_value, level, paired)


def _paired_error(first: Influence, second: Influence) -> float:
    labels = np.concatenate([np.asarray(first.labels), np.asarray(second.labels)])
    signed = np.concatenate([-np.asarray(first.by_label), np.asarray(second.by_label)])
    _, patient = np.unique(labels, return_inverse=True)
    each = np.bincount(patient, weights=signed)
    return sqrt(float(each @ each))
