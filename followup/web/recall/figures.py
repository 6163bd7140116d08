"""Draws the months of recall, in greys that print. The tables of the page say the same."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import matplotlib
from matplotlib.figure import Figure

from followup.domain.survival.binomial import Proportion
from followup.domain.survival.values import NOT_ESTIMABLE
from followup.domain.words import Lane
from followup.queries.reports.recall_measures import Month
from followup.web.kit.drawing import BAND, INK, QUIET, STYLE, as_bytes

_WIDTH, _HEIGHT = 8, 7.6
"""Inches."""
_APART = 0.18
"""Of the space of a month: how far two signs of one month stand apart."""


def draw(months: Sequence[Month], site: str) -> bytes:
    """An SVG of three panels, the oldest month on the left."""
    in_order = list(reversed(months))
    with matplotlib.rc_context(STYLE):
        figure = Figure(figsize=(_WIDTH, _HEIGHT), layout="constrained")
        panels = figure.subplots(3, 1, sharex=True)
        for axes in panels:
            axes.spines[["top", "right"]].set_visible(False)
        _overdue(panels[0], in_order)
        _shares(panels[1], in_order, "Not attended, %", _ATTENDANCE)
        _shares(panels[2], in_order, "Oil out within the limit, %", _OIL)
        panels[2].set_xticks(range(len(in_order)), [f"{month.ends:%-d %b %Y}" for month in in_order])
        panels[2].set_xlabel("Month until")
        figure.suptitle(f"Recall at {site}", x=0.01, ha="left", weight="bold")
        return as_bytes(figure, "svg", "Recall, month by month")


def _overdue(axes: Any, months: Sequence[Month]) -> None:
    """Two bars a month; the number stands on each."""
    looks = {
        Lane.REVIEW: ("Reviews", -_APART, {"color": BAND, "edgecolor": INK}),
        Lane.REMOVAL: ("Removals", _APART, {"color": "white", "edgecolor": INK, "hatch": "////"}),
    }
    for lane, (label, shift, look) in looks.items():
        eyes = [next(each.eyes for each in month.overdue if each.lane is lane) for month in months]
        places = [number + shift for number in range(len(months))]
        axes.bar_label(axes.bar(places, eyes, width=2 * _APART, label=label, **look))
    axes.set_ylabel("Overdue eyes")
    axes.margins(y=0.15)
    _explain(axes)


_Series = tuple[str, Callable[[Month], Proportion], str]
_ATTENDANCE: tuple[_Series, ...] = (
    ("Reminded", lambda month: month.reminded, INK),
    ("Not reminded", lambda month: month.not_reminded, "white"),
)
_OIL: tuple[_Series, ...] = (("Of the limits in the month", lambda month: month.out_in_time, INK),)


def _shares(axes: Any, months: Sequence[Month], label: str, series: Sequence[_Series]) -> None:
    """A dot with its exact 95 % limits for each month in which anything was counted."""
    for number, (name, of, fill) in enumerate(series):
        shift = (number - (len(series) - 1) / 2) * 2 * _APART
        for place, month in enumerate(months):
            found = of(month)
            if found.share is NOT_ESTIMABLE or found.lower is NOT_ESTIMABLE or found.upper is NOT_ESTIMABLE:
                continue
            axes.errorbar(
                place + shift,
                100 * found.share,
                yerr=[[100 * (found.share - found.lower)], [100 * (found.upper - found.share)]],
                fmt="o",
                color=INK,
                markerfacecolor=fill,
                ecolor=QUIET,
                capsize=3,
            )
        axes.plot([], [], "o", color=INK, markerfacecolor=fill, label=name)
    axes.set_ylim(-4, 104)
    axes.set_ylabel(label)
    _explain(axes)


def _explain(axes: Any) -> None:
    """What the signs mean, above the panel, where it hides nothing."""
    axes.legend(frameon=False, loc="lower left", bbox_to_anchor=(0, 0.98), borderaxespad=0, ncols=2)
