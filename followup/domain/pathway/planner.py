"""From the facts of an eye to its courses and milestones. Pure: the same facts give the same plan.

Rules (DEVELOPERS.md, Planning): an operation that restarts follow-up starts a course on its own date and
ends the one before as superseded; the first operation always starts one. Operations of one day act together.
Every window counts from its own anchor and is never chained.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta
from itertools import groupby

from followup.domain.dates.durations import Duration
from followup.domain.dates.windows import Window
from followup.domain.facts import DecisionFact, EyeHistory, OperationFact
from followup.domain.fills import Fill, derive_fills
from followup.domain.pathway.book import PathwayBook, Start, start_of
from followup.domain.pathway.definition import MilestoneRule, PathwayDefinition
from followup.domain.pathway.matching import match_removal, match_reviews, supersede
from followup.domain.pathway.milestones import (
    Course,
    Milestone,
    Plan,
    endless_milestones,
    join_periods,
    milestone,
    reviews,
)
from followup.domain.words import DecisionKind, Lane, TamponadeKind

_REMOVAL_LIMIT = MilestoneRule(
    key="removal",
    title="Removal of tamponade",
    lane=Lane.REMOVAL,
    opens=Duration(months=2),
    closes=Duration(months=3),
)
"""Common practice, no source: the limit of oil that no pathway speaks of. Oil never goes without a limit."""

_ENDLESS_AHEAD = 2


def plan_eye(history: EyeHistory, book: PathwayBook) -> Plan:
    """The courses and fills that follow from the history; no courses if there was no operation."""
    fills = derive_fills(history.operations, history.exams)
    starts = _starting_days(history.operations)
    ends: list[date | None] = [operations[0].date for operations in starts[1:]]
    courses = tuple(
        _course(history, book, fills, operations, end)
        for operations, end in zip(starts, [*ends, None], strict=False)
    )
    return Plan(courses, fills)


def _starting_days(operations: Sequence[OperationFact]) -> list[list[OperationFact]]:
    """The operations of each day on which a course starts, the one that starts it first."""
    days = [list(group) for _, group in groupby(operations, key=lambda operation: operation.date)]
    return [
        sorted(group, key=lambda operation: not operation.restarts_follow_up)
        for number, group in enumerate(days)
        if number == 0 or any(operation.restarts_follow_up for operation in group)
    ]


def _course(
    history: EyeHistory,
    book: PathwayBook,
    fills: Sequence[Fill],
    operations: list[OperationFact],
    end: date | None,
) -> Course:
    anchor = operations[0].date
    start = _start(operations, history, fills)
    pathway = book.choose(start, history.pinned.get(operations[0].id))
    decisions = [
        signed
        for signed in history.decisions
        if anchor <= signed.signed_on and (end is None or signed.signed_on < end)
    ]
    # An exam on the day of an operation is taken to come before it, so it belongs to the course it ends.
    exam_days = sorted(
        {exam.day for exam in history.exams if anchor < exam.day and (end is None or exam.day <= end)}
    )
    planned = match_reviews(_reviews(pathway, anchor, exam_days), exam_days, decisions)
    one_offs = match_reviews(_one_offs(decisions), exam_days, decisions)
    removals = _removals(pathway, fills, anchor, end)
    milestones = [*planned, *one_offs, *removals]
    return Course(
        operation_id=operations[0].id,
        anchor=anchor,
        pathway=pathway.id,
        chosen_for=start.fingerprint,
        milestones=tuple(supersede(milestones, end) if end else milestones),
        superseded_on=end,
        endless=pathway.endless,
    )


def _start(operations: list[OperationFact], history: EyeHistory, fills: Sequence[Fill]) -> Start:
    day = operations[0].date
    inside = [
        fill for fill in fills if fill.placed_on <= day and (fill.ended_on is None or fill.ended_on > day)
    ]
    ids = {operation.id for operation in operations}
    taken_out = {fill.tamponade.kind for fill in fills if fill.ended_by in ids}
    tamponade = inside[-1].tamponade.kind if inside else TamponadeKind.NONE
    return start_of(operations, history.traits, tamponade, taken_out)


def _reviews(pathway: PathwayDefinition, anchor: date, exam_days: Sequence[date]) -> list[Milestone]:
    rules = pathway.reviews
    planned = reviews([(rule.key, rule.title) for rule in rules], [rule.window(anchor) for rule in rules])
    if pathway.endless is None:
        return planned
    reach = exam_days[-1] if exam_days else anchor
    for _ in range(_ENDLESS_AHEAD):
        reach = pathway.endless.every.add_to(reach)
    return join_periods(planned, endless_milestones(pathway.endless, anchor, 0, reach))


def _one_offs(decisions: Iterable[DecisionFact]) -> list[Milestone]:
    """A clinician's 'see again' adds a review with a period of its own; it takes nothing away."""
    return [
        milestone(f"see-again-{signed.id}", "See again as asked", Lane.REVIEW, window, one_off=True)
        for signed in decisions
        if signed.kind is DecisionKind.SEE_AGAIN and (window := _one_off_window(signed))
    ]


def _one_off_window(signed: DecisionFact) -> Window | None:
    """A fifth of the interval either way, a day at least, four weeks at most (common practice, no source)."""
    if signed.review_on is None or signed.review_on <= signed.signed_on:
        return None
    slack = timedelta(days=max(1, min(28, (signed.review_on - signed.signed_on).days // 5)))
    opens = max(signed.signed_on + timedelta(days=1), signed.review_on - slack)
    return Window(opens, signed.review_on, signed.review_on + slack)


def _removals(
    pathway: PathwayDefinition, fills: Sequence[Fill], anchor: date, end: date | None
) -> list[Milestone]:
    """One removal for each fill that must come out and was in the eye during the course."""
    rule = pathway.removal or _REMOVAL_LIMIT
    return [
        match_removal(
            _removal(rule, fill), fill if _ended_within(fill, end) else replace(fill, ended_on=None)
        )
        for fill in fills
        if fill.must_come_out
        and (fill.ended_on is None or fill.ended_on > anchor)
        and (end is None or fill.placed_on < end)
    ]


def _ended_within(fill: Fill, end: date | None) -> bool:
    return fill.ended_on is not None and (end is None or fill.ended_on <= end)


def _removal(rule: MilestoneRule, fill: Fill) -> Milestone:
    counted_from = fill.placed_on if rule.counts_from == "fill" else fill.first_placed_on
    return milestone(f"{rule.key}-{fill.placed_on}", rule.title, Lane.REMOVAL, rule.window(counted_from))
