"""Draws the recurrence-free curve with its limits and the numbers at risk under it, in greys that print.

matplotlib draws it without a display; the same numbers give the same bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from io import BytesIO
from typing import Any

import matplotlib
from matplotlib.figure import Figure

from followup.domain.survival.values import Unknown
from followup.domain.words import Clock, RecurrenceEvent
from followup.queries.cohort_choice import Errors
from followup.queries.reports.audit import AuditReport
from followup.queries.reports.audit_curve import Mark, Step

# Letters as outlines: the figure goes into papers and slides, on machines with other fonts.
_STYLE: Any = {"svg.hashsalt": "audit", "svg.fonttype": "path", "font.size": 10, "font.family": "DejaVu Sans"}
_INK, _BAND, _QUIET = "#111111", "#d4d4d4", "#555555"
_DOTS_AN_INCH = 200
_CLOSEST_MARKS = 0.06
"""Share of the axis that two numbers under it need to be told apart."""

_FREE_OF = {
    RecurrenceEvent.REDETACHMENT: "Free of redetachment",
    RecurrenceEvent.HOLE: "Hole still closed",
    RecurrenceEvent.EITHER: "Free of redetachment, hole still closed",
}
_SINCE = {
    Clock.INDEX: "from the index operation",
    Clock.REMOVED: "from the day the tamponade was removed or gone",
}
_LIMITS = {Errors.EYES: "each eye on its own", Errors.PATIENTS: "eyes of one patient together"}


def draw(report: AuditReport, site: str, kind: str) -> bytes:
    """The figure as `kind`, svg or png. Its text alternative is the table on the audit page."""
    with matplotlib.rc_context(_STYLE):
        figure = Figure(figsize=(8, 5.4))
        axes = figure.add_axes((0.09, 0.28, 0.87, 0.61))
        _label(figure, axes, report, site)
        if report.drawn_until is None:
            _say(axes, f"Not drawn: fewer than {max(report.minimum_at_risk, 1)} eyes at risk")
        else:
            _draw_curve(axes, report, report.drawn_until)
        _number_at_risk(axes, _apart(report.marks))
        written = BytesIO()
        metadata = {"Date": None, "Title": "Recurrence-free eyes"} if kind == "svg" else {"Software": None}
        figure.savefig(written, format=kind, dpi=_DOTS_AN_INCH, metadata=metadata)
    return written.getvalue()


def _label(figure: Any, axes: Any, report: AuditReport, site: str) -> None:
    choice, count = report.choice, report.in_curve
    figure.text(0.02, 0.95, f"{_FREE_OF[choice.event]}, {_SINCE[choice.clock]}", fontsize=12, weight="bold")
    figure.text(
        0.02,
        0.015,
        f"{site}. {count.eyes} eyes of {count.patients} patients, {report.events_by_horizon} events by "
        f"{choice.horizon} months. Data lock {choice.lock}.\n"
        f"Kaplan-Meier; band: pointwise 95 % log-log limits, {_LIMITS[choice.errors]}. "
        "Upright ticks: eyes last seen without the event.",
        fontsize=8,
        color=_QUIET,
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


def _draw_curve(axes: Any, report: AuditReport, end: int) -> None:
    steps = [step for step in report.steps if step.day <= end]
    days = [0, *(step.day for step in steps), end]
    heights = [100.0, *(100 * step.survival for step in steps)]
    axes.step(days, [*heights, heights[-1]], where="post", color=_INK, lw=1.8)
    _draw_band(axes, steps, end)
    seen = [step for step in steps if step.censored]
    axes.plot(
        [step.day for step in seen],
        [100 * step.survival for step in seen],
        linestyle="none",
        marker="|",
        markersize=8,
        markeredgewidth=1,
        color=_INK,
        clip_on=False,
    )
    if report.is_cut_short:
        axes.axvline(end, color=_QUIET, lw=1, ls=(0, (4, 3)))
        _say(axes, f"Dashed line: fewer than {report.minimum_at_risk} eyes at risk beyond", y=0.05)


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
    axes.fill_between(days, lower, upper, step="post", color=_BAND, lw=0)


def _say(axes: Any, words: str, y: float = 0.5) -> None:
    ground = {"facecolor": "white", "edgecolor": "none", "pad": 2}
    axes.text(
        0.5, y, words, transform=axes.transAxes, ha="center", color=_QUIET, fontsize=9, bbox=ground, zorder=5
    )


def _number_at_risk(axes: Any, marks: Sequence[Mark]) -> None:
    axes.set_xticks([mark.day for mark in marks], [str(mark.months) for mark in marks])
    under = axes.get_xaxis_transform()
    axes.text(0, -0.225, "Eyes at risk", transform=under, ha="left", fontsize=9, weight="bold")
    for mark in marks:
        axes.text(mark.day, -0.3, str(mark.point.at_risk), transform=under, ha="center", fontsize=10)


def _apart(marks: Sequence[Mark]) -> list[Mark]:
    """The marks with room for their numbers; the first and the last always."""
    room = _CLOSEST_MARKS * marks[-1].day
    kept = [marks[0]]
    for mark in marks[1:-1]:
        if mark.day - kept[-1].day >= room and marks[-1].day - mark.day >= room:
            kept.append(mark)
    return [*kept, marks[-1]]
