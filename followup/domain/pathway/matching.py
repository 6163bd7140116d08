"""Which visit meets which milestone.

The first exam in a milestone's period meets it: on time if not after it closes, else late. An exam before
the first opening meets nothing, and is still an exam. A clinician may sign that a visit stands for one.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from followup.domain.facts import DecisionFact
from followup.domain.fills import Fill
from followup.domain.pathway.milestones import Milestone
from followup.domain.words import DecisionKind, Lane, Mark


def match_reviews(
    milestones: Sequence[Milestone], exam_days: Sequence[date], decisions: Sequence[DecisionFact]
) -> list[Milestone]:
    """Reviews with their marks. `exam_days` are sorted and lie within the course."""
    signed = {
        decision.milestone_key: decision.visit_day or decision.signed_on
        for decision in decisions
        if decision.kind is DecisionKind.STANDS_FOR
    }
    return [_match_review(m, exam_days, signed.get(m.key)) for m in milestones]


def _match_review(planned: Milestone, exam_days: Sequence[date], signed_for: date | None) -> Milestone:
    place = bisect_left(exam_days, planned.opens)
    if place < len(exam_days) and planned.period_holds(exam_days[place]):
        return planned.met(exam_days[place], _timing(planned, exam_days[place]))
    if signed_for is not None:
        return planned.met(signed_for, Mark.SIGNED)
    return planned


def match_removal(planned: Milestone, fill: Fill) -> Milestone:
    """A removal is met only by the operation that takes the tamponade out, whenever that is."""
    if fill.ended_on is None:
        return planned
    return planned.met(fill.ended_on, _timing(planned, fill.ended_on))


def _timing(planned: Milestone, day: date) -> Mark:
    return Mark.MET if day <= planned.closes else Mark.MET_LATE


def supersede(milestones: Sequence[Milestone], day: date) -> list[Milestone]:
    """Marks at the end of a course: what was still to come is superseded, what was missed stays missed."""
    return [
        replace(m, mark=Mark.SUPERSEDED) if m.is_unmet and not _was_missed(m, day) else m for m in milestones
    ]


def _was_missed(planned: Milestone, day: date) -> bool:
    return planned.lane is Lane.REVIEW and planned.is_missed(day)
