"""How much of the follow-up that could have been was seen.

Clark, Altman and De Stavola 2002, Lancet 359, 1309-1310: C = observed / potential person-time. Conventions
here: an event or a death ends an eye's potential time; every other eye could have been followed to its
closing day. Eyes lost may have had an unseen end, so C is too low; Wu, Takkenberg and Grunkemeier 2008, Ann
Thorac Surg 85, 1155-1157, correct for it. Here C* gives an eye lost only the further time it was expected to
have, from the Kaplan-Meier curve of the ends seen: the area under S from its loss to its closing day, divided
by S at its loss.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from followup.domain.errors import BadValue
from followup.domain.survival.kaplan_meier import Curve, kaplan_meier
from followup.domain.survival.rows import read_events, read_times, same_length
from followup.domain.survival.values import NOT_ESTIMABLE, Figure, Floats


@dataclass(frozen=True)
class Completeness:
    """Person-time in days. observed: seen; potential: could have been; expected: could, had ends gone on
    unseen.

    clark: C, observed / potential; corrected: C*, observed / expected, both NOT_ESTIMABLE without eyes or
    time. lost: eyes that neither ended nor were seen to their closing day; lost_time: potential - observed.
    """

    eyes: int
    lost: int
    observed: float
    potential: float
    expected: float
    clark: Figure
    corrected: Figure

    @property
    def lost_time(self) -> float:
        return self.potential - self.observed


def completeness(time: ArrayLike, ended: ArrayLike, closing: ArrayLike) -> Completeness:
    """Completeness of follow-up.

    time: days each eye was followed; ended: 1 if an event or death ended it; closing: days from its start to
    the closing day (one for all or one an eye). Raises BadValue when an eye was followed beyond its closing
    day.
    """
    followed = read_times(time, "time").astype(np.float64)
    done = read_events(ended)
    same_length(followed, "ended", done)
    last = _closing(closing, followed)
    lost = ~done & (followed < last)
    observed = float(followed.sum())
    potential = float(np.where(done, followed, last).sum())
    expected = observed + float(_further(kaplan_meier(followed, done), followed[lost], last[lost]).sum())
    return Completeness(
        eyes=len(followed),
        lost=int(lost.sum()),
        observed=observed,
        potential=potential,
        expected=expected,
        clark=observed / potential if potential > 0 else NOT_ESTIMABLE,
        corrected=observed / expected if expected > 0 else NOT_ESTIMABLE,
    )


def _closing(closing: ArrayLike, followed: Floats) -> Floats:
    given = np.asarray(closing, dtype=np.float64)
    last = read_times(np.full(followed.shape, given) if given.ndim == 0 else given, "closing").astype(
        np.float64
    )
    same_length(followed, "closing", last)
    beyond = followed > last
    if beyond.any():
        place = int(np.argmax(beyond))
        raise BadValue(
            f"time[{place}] is {followed[place]:g}, beyond its closing day {last[place]:g}. "
            "End follow-up at the closing day, or move it.",
            field="time",
        )
    return last


def _further(curve: Curve, lost: Floats, last: Floats) -> Floats:
    """Expected further days of each eye lost, the curve carried on flat beyond its last day."""
    edges = np.concatenate([[0.0], curve.time])
    heights = np.concatenate([[1.0], curve.survival])
    area = np.concatenate([[0.0], np.cumsum(np.diff(edges) * heights[:-1])])

    def below(times: Floats) -> Floats:
        place = np.searchsorted(edges, times, side="right") - 1
        under: Floats = area[place] + heights[place] * (times - edges[place])
        return under

    at_loss = heights[np.searchsorted(edges, lost, side="right") - 1]
    further: Floats = (below(last) - below(lost)) / at_loss
    return further
