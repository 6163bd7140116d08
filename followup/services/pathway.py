"""Courses, milestones and fills: stored as the pure planner says, by these functions alone."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path

from django.db import transaction

from followup.domain.facts import PathwayId
from followup.domain.fills import Fill as FillFact
from followup.domain.pathway.book import PathwayBook
from followup.domain.pathway.definition import parse_pathway
from followup.domain.pathway.milestones import Course as CourseFact
from followup.domain.pathway.milestones import Milestone as MilestoneFact
from followup.domain.pathway.milestones import Plan
from followup.domain.pathway.planner import plan_eye
from followup.models import Course, Eye, Fill, Milestone, PathwayVersion
from followup.queries.chunks import in_chunks
from followup.queries.facts import eye_histories, pathway_book
from followup.queries.standing import fill_fact, milestone_fact


def load_pathways(*, folder: Path) -> list[PathwayVersion]:
    """Accepts every pathway file of a folder; a text that was accepted once is left alone.

    An edited file becomes the next version of its pathway, and the active one: courses under way keep
    theirs. Raises PathwayFault, naming file and line, and then nothing of the folder is taken.
    """
    texts = {path.name: path.read_text(encoding="utf-8") for path in sorted(folder.glob("*.toml"))}
    PathwayBook.of(parse_pathway(text, name) for name, text in texts.items())
    with transaction.atomic():
        return [accept_pathway(text=text, file=name) for name, text in texts.items()]


@transaction.atomic
def accept_pathway(*, text: str, file: str = "pathway") -> PathwayVersion:
    """Stores the text as the next version of its pathway and makes it the active one.

    The version number in the text gives way to the next free one. Raises PathwayFault.
    """
    definition = parse_pathway(text, file)
    versions = PathwayVersion.objects.filter(key=definition.key).order_by("version")
    for stored in versions:
        if stored.text == numbered(text, stored.version):
            return stored
    last = versions.last()
    number = last.version + 1 if last else definition.version
    versions.update(active=False)
    return PathwayVersion.objects.create(
        key=definition.key, version=number, title=definition.title, text=numbered(text, number)
    )


def numbered(text: str, number: int) -> str:
    """The text with the version that it is stored as."""
    return re.sub(r"^version\s*=\s*\d+", f"version = {number}", text, count=1, flags=re.MULTILINE)


_noted: ContextVar[set[int] | None] = ContextVar("eyes_to_plan_together", default=None)


@contextmanager
def planned_together() -> Iterator[None]:
    """Inside, eyes are only noted; they are planned once, together, as it ends. For writing whole histories.

    One transaction. Nothing inside may depend on milestones: no bookings, no calls, no signatures.
    """
    noted: set[int] = set()
    with transaction.atomic():
        token = _noted.set(noted)
        try:
            yield
        finally:
            _noted.reset(token)
        replan_eyes(eye_ids=noted)


def replan_eye(*, eye_id: int) -> None:
    replan_eyes(eye_ids=[eye_id])


@transaction.atomic
def replan_eyes(*, eye_ids: Collection[int]) -> None:
    """Plans these eyes anew from their facts and stores what changed, in a constant number of queries."""
    noted = _noted.get()
    if noted is not None:
        noted.update(eye_ids)
        return
    book = pathway_book()
    versions = {(v.key, v.version): v for v in PathwayVersion.objects.all()}
    for ids in in_chunks(eye_ids):
        plans = {eye_id: plan_eye(history, book) for eye_id, history in eye_histories(ids).items()}
        stored = _stored(ids)
        changed = {eye_id: plan for eye_id, plan in plans.items() if not _is_same(plan, stored[eye_id])}
        clear_plans(changed)
        _write(changed, versions)


def clear_plans(eye_ids: Iterable[int]) -> None:
    """Takes away what was planned for these eyes, which the rules derive anew."""
    ids = list(eye_ids)
    Milestone.objects.filter(course__eye_id__in=ids).delete()
    Course.objects.filter(eye_id__in=ids).delete()
    Fill.objects.filter(eye_id__in=ids).delete()


def _write(plans: dict[int, Plan], versions: dict[tuple[str, int], PathwayVersion]) -> None:
    Fill.objects.bulk_create(
        [_fill_row(eye_id, fill) for eye_id, plan in plans.items() for fill in plan.fills], batch_size=500
    )
    pairs = [(eye_id, course) for eye_id, plan in plans.items() for course in plan.courses]
    rows = Course.objects.bulk_create(
        [
            Course(
                eye_id=eye_id,
                pathway=versions[course.pathway.key, course.pathway.version],
                operation_id=course.operation_id,
                anchor=course.anchor,
                chosen_for=course.chosen_for,
                superseded_on=course.superseded_on,
            )
            for eye_id, course in pairs
        ],
        batch_size=500,
    )
    Milestone.objects.bulk_create(
        [
            _milestone_row(row, milestone)
            for row, (_, course) in zip(rows, pairs, strict=True)
            for milestone in course.milestones
        ],
        batch_size=500,
    )


def _fill_row(eye_id: int, fill: FillFact) -> Fill:
    return Fill(
        eye_id=eye_id,
        tamponade=fill.tamponade,
        placed_by_id=fill.placed_by,
        placed_on=fill.placed_on,
        first_placed_on=fill.first_placed_on,
        ended_on=fill.ended_on,
        ended_by_id=fill.ended_by,
    )


def _milestone_row(course: Course, milestone: MilestoneFact) -> Milestone:
    return Milestone(
        course=course,
        key=milestone.key,
        title=milestone.title,
        lane=milestone.lane,
        one_off=milestone.one_off,
        opens=milestone.opens,
        target=milestone.target,
        closes=milestone.closes,
        period_ends=milestone.period_ends,
        mark=milestone.mark,
        met_on=milestone.met_on,
    )


# Verifying


@dataclass(frozen=True, slots=True)
class Difference:
    """An eye whose stored rows are not what its facts say."""

    eye_id: int
    what: str
    stored: object
    derived: object


def verify(*, eye_ids: Collection[int] | None = None) -> Iterator[Difference]:
    """Derives everything anew and names whatever differs from what is stored. Writes nothing."""
    book = pathway_book()
    wanted = eye_ids if eye_ids is not None else list(Eye.objects.values_list("pk", flat=True))
    for ids in in_chunks(wanted):
        stored = _stored(ids)
        for eye_id, history in eye_histories(ids).items():
            yield from _differences(eye_id, stored[eye_id], plan_eye(history, book))


def _differences(eye_id: int, stored: Plan, derived: Plan) -> Iterator[Difference]:
    if stored.fills != derived.fills:
        yield Difference(eye_id, "fills", stored.fills, derived.fills)
    for place in range(max(len(stored.courses), len(derived.courses))):
        before = stored.courses[place] if place < len(stored.courses) else None
        after = derived.courses[place] if place < len(derived.courses) else None
        if before is None or after is None or _rows_of(before) != _rows_of(after):
            yield Difference(eye_id, f"course {place + 1}", before, after)


def _is_same(plan: Plan, stored: Plan) -> bool:
    return plan.fills == stored.fills and [*map(_rows_of, plan.courses)] == [*map(_rows_of, stored.courses)]


def _rows_of(course: CourseFact) -> tuple[object, ...]:
    """What of a course is stored; the rule of its endless reviews stands in the pathway's text."""
    return (
        course.operation_id,
        course.anchor,
        course.pathway,
        course.chosen_for,
        course.superseded_on,
        course.milestones,
    )


def _stored(ids: Collection[int]) -> dict[int, Plan]:
    milestones: dict[int, list[MilestoneFact]] = {}
    for row in Milestone.objects.filter(course__eye_id__in=ids).order_by("course_id", "id"):
        milestones.setdefault(row.course_id, []).append(milestone_fact(row))
    courses: dict[int, list[CourseFact]] = {eye_id: [] for eye_id in ids}
    for course in Course.objects.filter(eye_id__in=ids).select_related("pathway").order_by("anchor", "id"):
        courses[course.eye_id].append(
            CourseFact(
                operation_id=course.operation_id,
                anchor=course.anchor,
                pathway=PathwayId(course.pathway.key, course.pathway.version),
                chosen_for=course.chosen_for,
                milestones=tuple(milestones.get(course.pk, ())),
                superseded_on=course.superseded_on,
            )
        )
    fills: dict[int, list[FillFact]] = {eye_id: [] for eye_id in ids}
    for fill in Fill.objects.filter(eye_id__in=ids).order_by("placed_on", "id"):
        fills[fill.eye_id].append(fill_fact(fill))
    return {eye_id: Plan(tuple(courses[eye_id]), tuple(fills[eye_id])) for eye_id in ids}
