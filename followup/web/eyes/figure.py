"""Draws the course of one eye: acuity above, pressure below, the fills as bands behind both.

matplotlib draws it without a display; the same numbers give the same bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Any

import matplotlib
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
from matplotlib.figure import Figure

from followup.queries.eye_series import BELOW_CHART, EyeSeries

matplotlib.use("svg")
_STYLE: dict[Any, Any] = {
    "svg.hashsalt": "eye",
    "svg.fonttype": "none",
    "font.size": 10,
    "font.family": "sans-serif",
}
_INK, _SECOND = "#1d4f63", "#7a3b00"
_BANDS = ["#dbe9ee", "#f3e6d3", "#e4e4ee"]
_CHART_ENDS = 1.7
"""logMAR where the letter chart ends; places below it are drawn under this line, in order, not to scale."""
_STEP = 0.2


def draw(series: EyeSeries) -> bytes:
    """The figure as SVG. Its text alternative is the table of exams on the eye's page."""
    with matplotlib.rc_context(_STYLE):
        figure = Figure(figsize=(9, 5), layout="constrained")
        above, below = figure.subplots(2, 1, sharex=True, height_ratios=[3, 2])
        for axes in (above, below):
            _draw_fills(axes, series)
        _draw_acuity(above, series)
        _draw_pressure(below, series)
        _add_legend(figure, above)
        written = BytesIO()
        figure.savefig(
            written, format="svg", metadata={"Date": None, "Title": f"{series.side} eye over time"}
        )
    return written.getvalue()


def _draw_fills(axes: Any, series: EyeSeries) -> None:
    for number, band in enumerate(series.fills):
        label = f"{band.label}{', in the eye' if band.is_open else ''}"
        axes.axvspan(band.begins, band.ends, color=_BANDS[number % len(_BANDS)], label=label, lw=0)
    for day in series.operations:
        axes.axvline(day, color="#555555", lw=1, ls="--")


def _draw_acuity(axes: Any, series: EyeSeries) -> None:
    days = [point.day for point in series.acuity]
    heights = [_height(point.logmar, point.below) for point in series.acuity]
    axes.plot(days, heights, color=_INK, lw=1)
    for corrected, face, label in ((True, _INK, "Best corrected"), (False, "white", "Other correction")):
        chosen = [
            (day, height)
            for day, height, point in zip(days, heights, series.acuity, strict=True)
            if point.corrected is corrected
        ]
        if chosen:
            axes.plot(*zip(*chosen, strict=True), "o", color=_INK, markerfacecolor=face, label=label)
    _label_acuity(axes, heights)
    axes.set_title(f"{series.side} eye. Dashed lines: operations", loc="left", fontsize=11)


def _add_legend(figure: Figure, axes: Any) -> None:
    handles, labels = axes.get_legend_handles_labels()
    if handles:
        figure.legend(handles, labels, loc="outside lower center", ncols=3, fontsize=9, frameon=False)


def _height(logmar: float | None, below: str) -> float:
    if logmar is not None:
        return logmar
    return _CHART_ENDS + _STEP * (1 + list(BELOW_CHART.values()).index(below))


def _label_acuity(axes: Any, heights: Sequence[float]) -> None:
    worst = max([1.0, *heights])
    ticks = [tick / 10 for tick in range(-2, 17, 2) if tick / 10 <= worst + 0.2]
    names = [f"{tick:.1f}" for tick in ticks]
    if worst > _CHART_ENDS:
        for short in BELOW_CHART.values():
            ticks.append(_height(None, short))
            names.append(short)
        axes.axhline(_CHART_ENDS, color="#999999", lw=0.8, ls=":")
    axes.set_yticks(ticks, names)
    # Better sight is drawn higher, as people expect, so the axis of logMAR runs down.
    axes.set_ylim(max(ticks[-1], worst) + 0.1, -0.3)
    axes.set_ylabel("Acuity, logMAR")


def _draw_pressure(axes: Any, series: EyeSeries) -> None:
    if series.pressure:
        axes.plot(*zip(*series.pressure, strict=True), "s-", color=_SECOND, lw=1, markersize=5)
    highest = max([30, *(value for _, value in series.pressure)])
    axes.set_ylim(0, highest + 5)
    axes.set_ylabel("Pressure, mmHg")
    margin = (series.last - series.first) / 40
    axes.set_xlim(series.first - margin, series.last + margin)
    locator: Any = AutoDateLocator(minticks=3, maxticks=9)  # type: ignore[no-untyped-call]  # no hints there
    axes.xaxis.set_major_locator(locator)
    axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]  # no hints there
