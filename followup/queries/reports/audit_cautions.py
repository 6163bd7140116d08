"""What speaks against the figures of an audit, with numbers."""

from __future__ import annotations

from collections.abc import Iterator

from followup.domain.survival.values import Unknown
from followup.domain.words import Clock, RecurrenceEvent
from followup.queries.cohort_choice import Errors
from followup.queries.reports.audit import AuditReport

_WITH_PAIRS = {
    Errors.PATIENTS: "the limits allow for it.",
    Errors.EYES: "the limits take all eyes as independent and may be too narrow. The form can take the eyes "
    "of one patient together.",
}


def cautions(report: AuditReport) -> tuple[str, ...]:
    """What a reader must know before believing the figures."""
    return tuple(_cautions(report))


def _cautions(report: AuditReport) -> Iterator[str]:
    yield from _about_the_cohort(report)
    if report.in_curve.eyes:
        yield from _about_the_curve(report)
    if report.flow[1].eyes:
        yield (
            "The figures describe what was recorded here. They are no comparison of treatments: eyes that "
            "got different operations differed before."
        )


def _about_the_cohort(report: AuditReport) -> Iterator[str]:
    failures, never_started = report.flow[2].eyes, report.flow[3].eyes
    if failures:
        yield (
            f"Never attached, or never closed: {_eyes(failures)}. These primary failures stand beside "
            "the curve and are not in it."
        )
    if report.choice.clock is Clock.REMOVED and never_started:
        yield (
            f"Never free of tamponade, or with the event before that: {_eyes(never_started)}. They are not "
            "in this curve, which therefore flatters: read it beside that of the index operation."
        )
    if report.length_unknown:
        yield f"Left out because no axial length is on record: {_eyes(report.length_unknown)}."
    if report.second_eyes:
        yield f"Left out because another eye of the patient counts: {_eyes(report.second_eyes)}."
    if report.inexact_dates:
        yield (
            f"Index operation of which the day is not on record: {_eyes(report.inexact_dates)}. Days counted "
            "from it are as good as the day assumed."
        )


def _about_the_curve(report: AuditReport) -> Iterator[str]:
    gap, lost = report.gap, report.bounds.lost
    what = "A gain" if report.choice.event is RecurrenceEvent.GAIN else "A recurrence"
    found = f"{what} is counted on the day it was found; it happened at some time after the last visit."
    if gap:
        found += (
            f" That gap is known for {_eyes(gap.eyes)}: {gap.median:g} days in the middle case, "
            f"{gap.longest} at most. The curve stands too high by as much."
        )
    yield found
    if lost:
        yield f"Last seen before the horizon, though it could have been reached: {_eyes(lost)}."
    if report.pairs:
        yield f"Both eyes in the curve: {_people(report.pairs)}; {_WITH_PAIRS[report.choice.errors]}"
    if report.strata and report.strata.crossing:
        yield (
            f"Eyes in several groups: {_people(report.strata.crossing)}. The log-rank test takes all eyes as "
            "independent; the test within patients stands beside it."
        )
    if report.deaths:
        yield (
            f"Died: {_people(report.deaths)}. The curve says how long eyes would stay free if nobody died; "
            "the cumulative incidence below lets death come first."
        )
    if not report.events:
        yield "No eye had the event. That is worth as much as the completeness of follow-up."
    median = report.median_free
    if not isinstance(median.time, Unknown) and median.at_risk < report.minimum_at_risk:
        yield f"The median time free of the event rests on {_eyes(median.at_risk)} still at risk."


def _people(count: int) -> str:
    return "1 patient" if count == 1 else f"{count} patients"


def _eyes(count: int) -> str:
    return "1 eye" if count == 1 else f"{count} eyes"
