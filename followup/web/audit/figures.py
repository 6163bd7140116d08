"""Draws the recurrence-free curves with limits and the numbers at risk under them, in greys that print.

matplotlib draws it without a display; the same numbers give the same bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import matplotlib
from matplotlib.figure import Figure

from followup.domain.survival.values import Unknown
from followup.domain.words import Clock, RecurrenceEvent
from followup.queries.cohort_choice import Errors
from followup.queries.reports.audit import AuditReport
from followup.queries.reports.audit_curve import Mark, Step
from followup.queries.reports.audit_tables import p_words
from followup.web.kit.drawing import BAND, QUIET, STYLE, as_bytes

_CLOSEST_MARKS = 0.06
"""Share of the axis that two numbers under it need to be told apart."""

_FREE_OF = {
    RecurrenceEvent.REDETACHMENT: "Free of redetachment",
    RecurrenceEvent.HOLE: "Hole still closed",
    RecurrenceEvent.EITHER: "Free of redetachment, hole still closed",
    RecurrenceEvent.REOPERATION: "Free of reoperation",
    RecurrenceEvent.GAIN: "Not yet three lines better",
}
_SINCE = {
    Clock.INDEX: "from the index operation",
    Clock.REMOVED: "from the day the tamponade was removed or gone",
}
_LIMITS = {Errors.EYES: "each eye on its own", Errors.PATIENTS: "eyes of one patient together"}


# Told apart without colour: by the kind of line and the letter at its end.
_LINES: tuple[Any, ...] = ("-", (0, (6, 2)), (0, (1.5, 1.5)), (0, (6, 2, 1.5, 2)), (0, (10, 3)), (0, (3, 1)))
_GREYS = ("#111111", "#111111", "#111111", "#555555", "#555555", "#555555")
_AXES, _ABOVE, _BELOW, _ROW = 3.3, 0.55, 1.5, 14 / 72
"""Inches: the curves, the title, what stands under the curves, and a row of numbers at risk."""
_CLOSEST_LETTERS = 5.5
"""Per cent of eyes between two letters at the ends of lines."""


@dataclass(frozen=True, slots=True)
class _Drawn:
    """One curve: all eyes, or a group."""

    letter: str
    label: str
    steps: Sequence[Step]
    until: int | None
    marks: Sequence[Mark]


def draw(report: AuditReport, site: str, kind: str) -> bytes:
    """The figure as `kind`, svg or png. Its text alternative is the tables on the audit page."""
    curves = _curves(report)
    with matplotlib.rc_context(STYLE):
        below = _BELOW + _ROW * len(curves)
        height = _AXES + _ABOVE + below
        figure = Figure(figsize=(8, height))
        axes = figure.add_axes((0.09, below / height, 0.87, _AXES / height))
        _label(figure, axes, report, site)
        if all(curve.until is None for curve in curves):
            _say(axes, f"Not drawn: fewer than {max(report.minimum_at_risk, 1)} eyes at risk")
        else:
            _draw_curves(axes, report, curves)
        _number_at_risk(axes, curves)
        return as_bytes(figure, kind, "Recurrence-free eyes")


def _curves(report: AuditReport) -> list[_Drawn]:
    if report.strata is None:
        return [_Drawn("", "Eyes at risk", report.steps, report.drawn_until, report.marks)]
    return [
        _Drawn(group.letter, group.count.label, group.steps, group.drawn_until, group.marks)
        for group in report.strata.groups
    ]


def _label(figure: Any, axes: Any, report: AuditReport, site: str) -> None:
    choice, count = report.choice, report.in_curve
    title = f"{_FREE_OF[choice.event]}, {_SINCE[choice.clock]}"
    figure.text(0.02, 0.98, title, fontsize=12, weight="bold", va="top")
    figure.text(
        0.02,
        0.012,
        f"{site}. {count.eyes} eyes of {count.patients} patients, {report.events_by_horizon} events by "
        f"{choice.horizon} months. Data lock {choice.lock}.\n{_how(report)}",
        fontsize=8,
        color=QUIET,
        linespacing=1.4,
    )
    axes.set_ylabel("Eyes, %")
    axes.set_ylim(0, 103)
    axes.set_yticks(range(0, 101, 20))
    axes.set_xlim(0, choice.horizon_days)
    axes.set_xlabel("Months", labelpad=2)
    axes.grid(axis="y", color="#e6e6e6", lw=0.8)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _how(report: AuditReport) -> str:
    found = report.strata
    if found:
        within = f"; within patients p {p_words(found.within.p_value)}" if found.within else ""
        return (
            f"Kaplan-Meier by {found.stratum.label.lower()}. Log-rank of {report.in_curve.eyes} eyes, "
            f"each on its own: p {p_words(found.test.p_value)}{within}."
        )
    band = f"Kaplan-Meier; band: pointwise 95 % log-log limits, {_LIMITS[report.choice.errors]}. "
    thin = "Thin dashes: event between two visits. " if report.intervals else ""
    return f"{band}\n{thin}Upright ticks: eyes last seen without the event."


def _draw_curves(axes: Any, report: AuditReport, curves: Sequence[_Drawn]) -> None:
    alone = len(curves) == 1
    for place, curve in enumerate(curves):
        if curve.until is not None:
            _draw_curve(axes, curve, _LINES[place], _GREYS[place], banded=alone)
    _write_letters(axes, curves)
    if alone and report.strata is None:
        _draw_intervals(axes, report)
    if not alone:
        axes.legend(loc="lower left", frameon=True, edgecolor="none", fontsize=9, handlelength=4)
    cut = report.is_cut_short if report.strata is None else any(_is_cut_short(curve) for curve in curves)
    if cut:
        if alone and curves[0].until is not None:
            axes.axvline(curves[0].until, color=QUIET, lw=1, ls=(0, (4, 3)))
        where = "Dashed line" if alone else "Lines end"
        words = f"{where}: fewer than {report.minimum_at_risk} eyes at risk beyond"
        _say(axes, words, y=0.05 if alone else 0.96)


def _is_cut_short(curve: _Drawn) -> bool:
    return bool(curve.steps) and (curve.until is None or curve.until < curve.steps[-1].day)


def _draw_curve(axes: Any, curve: _Drawn, line: Any, grey: str, *, banded: bool) -> None:
    end = curve.until or 0
    steps = [step for step in curve.steps if step.day <= end]
    days = [0, *(step.day for step in steps), end]
    heights = [100.0, *(100 * step.survival for step in steps)]
    name = f"{curve.letter}  {curve.label}" if curve.letter else None
    axes.step(days, [*heights, heights[-1]], where="post", color=grey, lw=1.8, ls=line, label=name)
    if banded:
        _draw_band(axes, steps, end)
    seen = [step for step in steps if step.censored]
    axes.plot(
        [step.day for step in seen],
        [100 * step.survival for step in seen],
        linestyle="none",
        marker="|",
        markersize=8 if banded else 5,
        markeredgewidth=1,
        color=grey,
        clip_on=False,
    )


def _write_letters(axes: Any, curves: Sequence[_Drawn]) -> None:
    """Each beside the end of its line, from the lowest up, and apart where lines end together."""
    drawn = [curve for curve in curves if curve.letter and curve.until is not None]
    lowest = -_CLOSEST_LETTERS
    for curve in sorted(drawn, key=_last_height):
        lowest = max(_last_height(curve), lowest + _CLOSEST_LETTERS)
        spot: Any = {"xytext": (5, 0), "textcoords": "offset points", "va": "center", "weight": "bold"}
        axes.annotate(curve.letter, (curve.until, lowest), annotation_clip=False, fontsize=10, **spot)


def _last_height(curve: _Drawn) -> float:
    shown = [step.survival for step in curve.steps if step.day <= (curve.until or 0)]
    return 100 * shown[-1] if shown else 100.0


def _draw_intervals(axes: Any, report: AuditReport) -> None:
    """As far as the curve itself is drawn."""
    if report.intervals is None or report.drawn_until is None:
        return
    shown = [(day, 100 * free) for day, free in report.intervals.corners if day <= report.drawn_until]
    axes.plot([day for day, _ in shown], [free for _, free in shown], color=QUIET, lw=1, ls=(0, (3, 2)))


def _draw_band(axes: Any, steps: Sequence[Step], end: int) -> None:
    """Up to where the curve falls to 0, where no limits can be given."""
    known = [
        (step.day, 100 * step.lower, 100 * step.upper)
        for step in steps
        if not isinstance(step.lower, Unknown) and not isinstance(step.upper, Unknown)
    ]
    if not known:
        return
    last = end if len(known) == len(steps) else steps[len(known)].day
    days, lower, upper = zip(*known, (last, *known[-1][1:]), strict=True)
    axes.fill_between(days, lower, upper, step="post", color=BAND, lw=0)


def _say(axes: Any, words: str, y: float = 0.5) -> None:
    ground = {"facecolor": "white", "edgecolor": "none", "pad": 2}
    axes.text(
        0.5, y, words, transform=axes.transAxes, ha="center", color=QUIET, fontsize=9, bbox=ground, zorder=5
    )


def _number_at_risk(axes: Any, curves: Sequence[_Drawn]) -> None:
    marks = _apart(curves[0].marks)
    months = {mark.months for mark in marks}
    axes.set_xticks([mark.day for mark in marks], [str(mark.months) for mark in marks])
    words: Any = {"textcoords": "offset points", "annotation_clip": False, "fontsize": 9}
    under = axes.get_xaxis_transform()
    axes.annotate("Eyes at risk", (0, 0), xycoords=under, xytext=(0, -46), weight="bold", **words)
    for place, curve in enumerate(curves):
        below = -60 - 14 * place
        if curve.letter:
            axes.annotate(curve.letter, (0, 0), xycoords=under, xytext=(-26, below), weight="bold", **words)
        for mark in curve.marks:
            if mark.months in months:
                number = str(mark.point.at_risk)
                axes.annotate(number, (mark.day, 0), xycoords=under, xytext=(0, below), ha="center", **words)


def _apart(marks: Sequence[Mark]) -> list[Mark]:
    """The marks with room for their numbers; the first and the last always."""
    room = _CLOSEST_MARKS * marks[-1].day
    kept = [marks[0]]
    for mark in marks[1:-1]:
        if mark.day - kept[-1].day >= room and marks[-1].day - mark.day >= room:
            kept.append(mark)
    return [*kept, marks[-1]]
