"""How long eyes were followed: Kaplan-Meier with the roles of event and censoring changed over.

Schemper and Smith 1996, Control Clin Trials 17, 343-346 (quoted). An event still comes before a censoring of
the same day, so eyes with an event on a day are no longer at risk for the end of follow-up on it; merely
flipping the indicator counts them and gives a longer follow-up.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from followup.domain.survival.counts import Grid, lay_out
from followup.domain.survival.kaplan_meier import Curve, curve_on
from followup.domain.survival.limits import Limits
from followup.domain.survival.rows import read_rows


def reverse_kaplan_meier(
    time: ArrayLike,
    event: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
    limits: Limits = "log-log",
    level: float = 0.95,
) -> Curve:
    """Share of eyes still under follow-up at each time; its `median` is the median follow-up.

    The curve's `events` are ends of follow-up; a day with both appears twice, the events found on it first.
    Raises BadValue as read_rows does.
    """
    rows = read_rows(time, event, entry=entry, cluster=cluster)
    flipped = replace(rows, event=~rows.event)
    plain = lay_out(rows)
    two_a_day = Grid(
        times=np.repeat(plain.times, 2),
        exit=2 * plain.exit + flipped.event,
        entry=None if plain.entry is None else 2 * plain.entry + 1,
    )
    return curve_on(flipped, two_a_day, limits, level)
