"""What speaks against the figures of an audit, with numbers."""

from __future__ import annotations

from collections.abc import Iterator

from followup.domain.survival.values import Unknown
from followup.domain.words import Clock
from followup.queries.cohort_choice import Errors
from followup.queries.reports.audit import AuditReport

_WITH_PAIRS = {
    Errors.PATIENTS: "the limits allow for it.",
    Errors.EYES: "the limits take all eyes as independent and may be too narrow. The form can take the eyes "
    "of one patient together.",
}


def cautions(report: AuditReport) -> tuple[str, ...]:
    """What a reader must know before believing the figures. Empty for a cohort of nobody."""
    return tuple(_cautions(report)) if report.flow[1].eyes else ()


def _cautions(report: AuditReport) -> Iterator[str]:
    yield from _about_the_cohort(report)
    if report.in_curve.eyes:
        yield from _about_the_curve(report)
    yield (
        "The figures describe what was recorded here. They are no comparison of treatments: eyes that got "
        "different operations differed before."
    )


def _about_the_cohort(report: AuditReport) -> Iterator[str]:
    failures, never_started = report.flow[2].eyes, report.flow[3].eyes
    if failures:
        yield (
            f"{_eyes(failures)} never attached (or never closed): primary failures, which stand beside the "
            "curve and are not in it."
        )
    if report.choice.clock is Clock.REMOVED:
        yield (
            f"{_eyes(never_started)} never came to be free of tamponade, or had the event before that. They "
            "are not in this curve, which therefore flatters: read it beside that of the index operation."
        )
    if report.length_unknown:
        yield f"{_eyes(report.length_unknown)} left out because no axial length is on record."
    if report.inexact_dates:
        yield (
            f"{_eyes(report.inexact_dates)} with an index operation whose day is not on record: the days "
            "counted from it are as good as the day assumed."
        )


def _about_the_curve(report: AuditReport) -> Iterator[str]:
    gap, lost = report.gap, report.bounds.lost
    found = "A recurrence is counted on the day it was found; it happened at some time after the last visit."
    if gap:
        found += (
            f" In {_eyes(gap.eyes)} that gap is known: {gap.median:g} days in the middle case, {gap.longest} "
            "at most. The curve stands too high by as much."
        )
    yield found
    if lost:
        yield f"{_eyes(lost)} could have been followed to the horizon and were last seen before it."
    if report.pairs:
        yield f"{report.pairs} patients have both eyes in the curve; {_WITH_PAIRS[report.choice.errors]}"
    if report.deaths:
        yield (
            f"{report.deaths} of the patients died. The curve says how long eyes would stay free if nobody "
            "died; the table beside it lets death come first."
        )
    if not report.events:
        yield "No recurrence was found. That is worth as much as the completeness of follow-up."
    median = report.median_free
    if not isinstance(median.time, Unknown) and median.at_risk < report.minimum_at_risk:
        yield f"The median time free of recurrence rests on {_eyes(median.at_risk)} still at risk."


def _eyes(count: int) -> str:
    return "1 eye" if count == 1 else f"{count} eyes"
