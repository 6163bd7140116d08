"""An eye's timeline: operations, fills, visits, milestones and decisions in one list, the last first."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date

from followup.domain.fills import Fill as FillFact
from followup.domain.words import Lane, Mark
from followup.models import Decision
from followup.queries.eyes import CourseRow, ExamRow, EyePage, MilestoneRow, OperationRow, days_in_words


@dataclass(frozen=True, slots=True)
class TimelineRow:
    """One thing that happened, or is to happen, on a day."""

    day: date
    kind: str
    words: str
    is_pressing: bool = False
    ahead: bool = False
    """It lies after the day of the page."""


_ORDER = ["Operation", "Fill", "Visit", "Milestone", "Decision"]


def timeline(page: EyePage, day: date) -> tuple[TimelineRow, ...]:
    """All rows of the page, the last first; on one day operation, fill, visit, milestone, decision.

    Of the milestones to come only the next of each lane is told: the plan below shows the others.
    """
    rows = [
        *_operations(page.operations),
        *_fills(page.fills),
        *_visits(page.exams),
        *_milestones(page.courses, day),
        *_decisions(page.decisions),
    ]
    return tuple(sorted(rows, key=lambda row: (-row.day.toordinal(), _ORDER.index(row.kind))))


def _operations(rows: Iterable[OperationRow]) -> Iterator[TimelineRow]:
    for row in rows:
        operation = row.operation
        if not operation.in_error:
            done = ", ".join(row.procedures) or "procedures not recorded"
            words = f"{done}, for {_small(operation.get_indication_display())}"
            yield TimelineRow(operation.date, "Operation", words)


def _fills(fills: Iterable[FillFact]) -> Iterator[TimelineRow]:
    for fill in fills:
        exchanged = fill.first_placed_on != fill.placed_on
        since = f", first put in on {fill.first_placed_on:%-d %b %Y}" if exchanged else ""
        yield TimelineRow(fill.placed_on, "Fill", f"{fill.tamponade.label} put in{since}")
        if fill.ended_on is not None:
            how = "taken out" if fill.ended_by is not None else "seen to be gone"
            stay = days_in_words((fill.ended_on - fill.placed_on).days)
            yield TimelineRow(fill.ended_on, "Fill", f"{fill.tamponade.label} {how} after {stay}")


def _visits(exams: Iterable[ExamRow]) -> Iterator[TimelineRow]:
    for row in exams:
        seen = [reading.as_written for reading in row.acuities[:1]]
        parts = [
            f"acuity {seen[0]}" if seen else "",
            row.pressure,
            f"retina: {row.exam.get_retina_display().lower()}" if row.exam.retina != "not_examined" else "",
            *row.complications,
        ]
        words = ", ".join(part for part in parts if part) or "seen"
        yield TimelineRow(row.day, "Visit", words, is_pressing=row.exam.retina.startswith("detached"))


def _milestones(courses: Iterable[CourseRow], day: date) -> Iterator[TimelineRow]:
    for course in courses:
        ahead: set[Lane] = set()
        for row in course.milestones:
            told = _milestone(row, day)
            if told is not None and not (told.ahead and row.milestone.lane in ahead):
                yield told
                if told.ahead:
                    ahead.add(row.milestone.lane)


def _milestone(row: MilestoneRow, day: date) -> TimelineRow | None:
    """Met: the day it was met. Missed or overdue: the day it closed. Due or to come: the day it opens."""
    milestone = row.milestone
    words = f"{milestone.title}: {_small(row.state)}"
    if milestone.mark is Mark.SUPERSEDED:
        return None
    if milestone.met_on is not None:
        return TimelineRow(milestone.met_on, "Milestone", words)
    if milestone.closes < day:
        return TimelineRow(milestone.closes, "Milestone", words, row.is_pressing)
    return TimelineRow(milestone.opens, "Milestone", words, row.is_pressing, ahead=milestone.opens > day)


def _decisions(decisions: Iterable[Decision]) -> Iterator[TimelineRow]:
    for signed in decisions:
        undone = " (undone)" if signed.undone_at is not None else ""
        until = f" until {signed.review_on:%-d %b %Y}" if signed.review_on else ""
        yield TimelineRow(
            signed.signed_on, "Decision", f"{signed.get_kind_display()}{until}{undone}: {signed.reason}"
        )


def _small(label: str) -> str:
    """A label inside a sentence."""
    return label[:1].lower() + label[1:]
