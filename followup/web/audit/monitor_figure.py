"""Draws a cohort quarter by quarter, in greys that print. The tables of the page say the same."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import matplotlib
from matplotlib.figure import Figure

from followup.domain.survival.control import Excess, Range
from followup.domain.survival.values import NOT_ESTIMABLE
from followup.queries.cohort_choice import CohortChoice
from followup.queries.reports.monitoring import Chart, Monitoring, Point, Signal
from followup.web.kit.drawing import BAND, INK, QUIET, STYLE, as_bytes

_WIDTH, _PANEL, _HEAD = 8, 2.7, 0.5
"""Inches."""
_SIGNS = {
    Signal.WITHIN: ("o", "white", "within the limits"),
    Signal.WARNING: ("^", "white", "outside the 95 % limits"),
    Signal.ACTION: ("s", INK, "outside the 99.8 % limits"),
}
"""A shape and a filling for each reading, and the words for it."""
_MOST_NAMES = 12
"""Quarters named under a panel; of more, every second, third ... is."""


def draw(found: Monitoring, choice: CohortChoice, site: str) -> bytes:
    """An SVG: recurrence, oil, and, where the clinic set a rate, the running excess."""
    panels = 3 if found.excess else 2
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(_WIDTH, _PANEL * panels + _HEAD), layout="constrained")
        axes = figure.subplots(panels, 1)
        _chart(axes[0], found.recurrence, f"{choice.event.label} within 6 months, %")
        _chart(axes[1], found.oil, "Oil out within the limit, %")
        if found.excess:
            _excess(axes[2], found.excess)
        figure.suptitle(
            f"{site}, quarter by quarter. Data lock {choice.lock}", x=0.01, ha="left", weight="bold"
        )
        return as_bytes(figure, "svg", "Recurrence and oil, quarter by quarter")


def _chart(axes: Any, chart: Chart, label: str) -> None:
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_ylim(-4, 104)
    axes.set_title(label, loc="left", fontsize=10)
    if chart.centre is NOT_ESTIMABLE:
        axes.text(
            0.5, 0.5, "No quarter can be judged yet", transform=axes.transAxes, ha="center", color=QUIET
        )
        axes.set_xticks([])
        return
    judged = [(place, point) for place, point in enumerate(chart.points) if point.warning]
    for level, line in (("action", "-"), ("warning", (0, (3, 2)))):
        _limits(axes, judged, level, line)
    axes.axhline(100 * chart.centre, color=QUIET, lw=1)
    _shares(axes, judged)
    every = -(-len(chart.points) // _MOST_NAMES)
    axes.set_xlim(-0.6, len(chart.points) - 0.4)
    places = range(0, len(chart.points), every)
    axes.set_xticks(places, [str(chart.points[place].quarter) for place in places], fontsize=8)
    axes.legend(frameon=False, loc="upper right", bbox_to_anchor=(1, 1.16), ncols=3, fontsize=8)


def _limits(axes: Any, judged: Sequence[tuple[int, Point]], level: str, line: Any) -> None:
    """A step over each quarter at either end of its range."""
    words = {"action": "99.8 % limits", "warning": "95 % limits"}[level]
    for place, point in judged:
        found: Range = getattr(point, level)
        for end in (found.lower, found.upper):
            height = 100 * end / point.share.total
            axes.plot([place - 0.5, place + 0.5], [height, height], color=QUIET, lw=1, ls=line)
    axes.plot([], [], color=QUIET, lw=1, ls=line, label=words)


def _shares(axes: Any, judged: Sequence[tuple[int, Point]]) -> None:
    for signal, (shape, filling, words) in _SIGNS.items():
        of = [(place, point.share) for place, point in judged if point.signal is signal]
        if of:
            places = [place for place, _ in of]
            heights = [100 * share.events / share.total for _, share in of]
            look: Any = {"linestyle": "none", "color": INK, "markerfacecolor": filling, "zorder": 3}
            axes.plot(places, heights, marker=shape, label=words, **look)


def _excess(axes: Any, steps: Sequence[Excess]) -> None:
    axes.spines[["top", "right"]].set_visible(False)
    eyes = [0, *(step.eyes for step in steps)]
    lower, upper = ([0.0, *(getattr(step, end) for step in steps)] for end in ("lower", "upper"))
    axes.fill_between(
        eyes, lower, upper, step="post", color=BAND, lw=0, label="95 % by chance, at each point"
    )
    axes.step(eyes, [0.0, *(step.difference for step in steps)], where="post", color=INK, lw=1.5)
    axes.axhline(0, color=QUIET, lw=1)
    axes.set_title("Events seen less expected", loc="left", fontsize=10)
    axes.set_xlabel("Eyes, in the order of their starts")
    axes.legend(frameon=False, loc="upper right", bbox_to_anchor=(1, 1.16), fontsize=8)
