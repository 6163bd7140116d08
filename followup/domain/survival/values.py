"""Words for what cannot be put as a number."""

from __future__ import annotations

from enum import Enum
from math import isnan
from typing import Any, Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.floating[Any]]
Ints: TypeAlias = NDArray[np.signedinteger[Any]]
Times: TypeAlias = NDArray[Any]  # whole days as int64, or fractions as float64
Bools: TypeAlias = NDArray[np.bool_]


class Unknown(Enum):
    """A figure that the data do not give; prints as its own words."""

    NOT_ESTIMABLE = "not estimable"
    NOT_REACHED = "not reached"

    def __str__(self) -> str:
        return self.value


NOT_ESTIMABLE: Final = Unknown.NOT_ESTIMABLE
NOT_REACHED: Final = Unknown.NOT_REACHED

Figure: TypeAlias = float | Literal[Unknown.NOT_ESTIMABLE]
Moment: TypeAlias = float | Literal[Unknown.NOT_REACHED]


def figure(value: float) -> Figure:
    """A number as it is, nan as NOT_ESTIMABLE."""
    return NOT_ESTIMABLE if isnan(value) else float(value)
