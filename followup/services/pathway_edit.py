"""Editing a pathway: what an edit would do is shown before it is accepted, and no eye moves unasked."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from datetime import date, datetime

from django.db import transaction

from followup.domain.errors import NotAllowed, Refused
from followup.domain.facts import EyeHistory, Pin
from followup.domain.pathway.book import PathwayBook
from followup.domain.pathway.definition import PathwayDefinition, accepted_pathway, parse_pathway
from followup.domain.pathway.milestones import Course as CourseFact
from followup.domain.pathway.planner import plan_eye
from followup.domain.roles import Action, may
from followup.domain.standing import Limits, standing_on, state_of
from followup.domain.words import Standing
from followup.models import Course, PathwayVersion, Site, Staff
from followup.queries.facts import eye_histories, pathway_book
from followup.queries.standing import limits_of
from followup.services.history import record_change
from followup.services.pathway import accept_pathway, numbered, replan_eyes


@dataclass(frozen=True, slots=True)
class EyeEffect:
    """What moving one eye's present course to the edited text would do, by today."""

    course_id: int
    eye_id: int
    name: str
    side: str
    windows_changed: int
    before: Standing
    after: Standing

    @property
    def becomes_overdue(self) -> bool:
        return self.after is Standing.OVERDUE and self.before is not Standing.OVERDUE


@dataclass(frozen=True, slots=True)
class EditPreview:
    """The edit as it would be stored, and every eye under way on an earlier version of this pathway."""

    definition: PathwayDefinition
    number: int
    effects: tuple[EyeEffect, ...]

    @property
    def changed(self) -> int:
        return sum(effect.windows_changed > 0 for effect in self.effects)

    @property
    def becoming_overdue(self) -> tuple[EyeEffect, ...]:
        return tuple(effect for effect in self.effects if effect.becomes_overdue)


def preview_edit(*, key: str, text: str, site: Site, today: date) -> EditPreview:
    """Writes nothing. Raises PathwayFault for a faulty text, Refused for one of another pathway."""
    definition = parse_pathway(text, f"{key}.toml")
    if definition.key != key:
        raise Refused(
            f"The text is of the pathway {definition.key!r}; here it must stay {key!r}.", field="text"
        )
    last = PathwayVersion.objects.filter(key=key).order_by("-version").first()
    number = last.version + 1 if last else definition.version
    edited = accepted_pathway(numbered(text, number))
    book = pathway_book()
    with_edit = PathwayBook(
        {**book.versions, edited.id: edited},
        tuple(edited if pathway.key == key else pathway for pathway in book.active),
    )
    PathwayBook.of(with_edit.active)
    courses = {course.eye_id: course for course in _under_way(key, site)}
    histories = eye_histories(list(courses))
    limits = limits_of(site)
    return EditPreview(
        edited,
        number,
        tuple(
            _effect(course, histories[eye_id], book, with_edit, edited, today, limits)
            for eye_id, course in courses.items()
        ),
    )


def _under_way(key: str, site: Site) -> Collection[Course]:
    return list(
        Course.objects.filter(pathway__key=key, superseded_on__isnull=True, eye__patient__site=site)
        .select_related("eye__patient", "pathway")
        .order_by("eye__patient__family_name", "eye_id")
    )


def _effect(
    course: Course,
    history: EyeHistory,
    book: PathwayBook,
    with_edit: PathwayBook,
    edited: PathwayDefinition,
    today: date,
    limits: Limits,
) -> EyeEffect:
    moved = replace(
        history,
        pinned={**history.pinned, course.operation_id: Pin(edited.id, course.chosen_for)},
    )
    before, after = plan_eye(history, book), plan_eye(moved, with_edit)
    state_before, state_after = state_of(history, before), state_of(moved, after)
    assert state_before is not None
    assert state_after is not None
    return EyeEffect(
        course_id=course.pk,
        eye_id=course.eye_id,
        name=course.eye.patient.name,
        side=course.eye.get_side_display(),
        windows_changed=_windows_changed(before.current, after.current),
        before=standing_on(state_before, today, limits).standing,
        after=standing_on(state_after, today, limits).standing,
    )


def _windows_changed(before: CourseFact | None, after: CourseFact | None) -> int:
    """How many milestones come, go, or have another window."""
    was, will_be = _windows(before), _windows(after)
    return sum(was.get(key) != will_be.get(key) for key in was.keys() | will_be.keys())


def _windows(course: CourseFact | None) -> dict[str, tuple[date, date, date]]:
    return {m.key: (m.opens, m.target, m.closes) for m in course.milestones} if course else {}


@transaction.atomic
def accept_edit(
    *, by: Staff, now: datetime, site: Site, key: str, text: str, move: Collection[int] = ()
) -> PathwayVersion:
    """Stores the edit as the next version. The courses named in `move` go over to it, the others stay.

    Raises NotAllowed, PathwayFault, or Refused for a text of another pathway or an unchanged one.
    """
    if not may(by.role, Action.EDIT_PATHWAYS):
        raise NotAllowed("Only a surgeon or an administrator may accept a pathway.")
    if parse_pathway(text, f"{key}.toml").key != key:
        raise Refused(f"The text must stay that of the pathway {key!r}.", field="text")
    known = set(PathwayVersion.objects.filter(key=key).values_list("pk", flat=True))
    version = accept_pathway(text=text, file=f"{key}.toml")
    if version.pk in known:
        raise Refused(f"This text is version {version.version} already; nothing was changed.", field="text")
    pathway_book()
    courses = Course.objects.filter(
        pk__in=move, pathway__key=key, superseded_on__isnull=True, eye__patient__site=site
    )
    eyes = list(courses.values_list("eye_id", flat=True))
    courses.update(pathway=version)
    replan_eyes(eye_ids=eyes)
    record_change(
        by=by,
        at=now,
        site=site,
        verb="accept_pathway",
        subject=version,
        before={},
        after={"key": key, "version": version.version, "moved_eyes": sorted(eyes)},
    )
    return version
