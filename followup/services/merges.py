"""Two records of one person made one, and taken apart again. Nothing is deleted: rows change their owner."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from typing import Any

from django.apps import apps
from django.db import IntegrityError, models, transaction

from followup.domain.errors import Refused
from followup.models import (
    CallClaim,
    Change,
    Course,
    Exam,
    Eye,
    Fill,
    KeptApart,
    Merge,
    PageRead,
    Patient,
    Staff,
    Visit,
)
from followup.queries.duplicates import conflicts
from followup.services.history import record_change
from followup.services.pathway import clear_plans, replan_eyes
from followup.services.people import CHANGEABLE, ensure_eye
from followup.services.rows import locked

_STAYS = (Change, PageRead, Merge, KeptApart, CallClaim, Eye, Visit, Course, Fill)
"""The history stays with the record it was written for; eyes and visits are seen to one by one."""
_NOT_KNOWN = (None, "", "unknown")


@transaction.atomic
def merge_patients(*, by: Staff, now: datetime, kept: Patient, merged: Patient) -> Merge:
    """Everything of `merged` becomes part of `kept`; what `kept` lacks of the person's details is filled in.

    Both numbers stay findable. Raises Refused for records of two sites, for one merged already, and where
    both say something of one eye and day: one of them must be marked as entered in error first.
    """
    locked(kept.site)
    first, second = sorted((kept, merged), key=lambda person: person.pk)
    locked(first), locked(second)
    kept, merged = locked(kept), locked(merged)
    _refuse_unfit(kept, merged)
    eyes = list(Eye.objects.filter(patient__in=(kept, merged)).values_list("pk", flat=True))
    clear_plans(eyes)
    try:
        with transaction.atomic():
            moved = list(_move(kept, merged))
    except IntegrityError:
        raise Refused(
            "Both records hold something of which a person can have only one, such as a consent. "
            "Withdraw one of the two first."
        ) from None
    merge = Merge.objects.create(
        kept=kept, merged=merged, by=by, at=now, moved={"rows": moved, "details": _fill_in(kept, merged)}
    )
    _replan(kept, merged)
    for person, other in ((kept, merged), (merged, kept)):
        after = {"record_number": other.record_number, "kept": kept.record_number}
        record_change(
            by=by, at=now, site=kept.site, verb="merge_patients", subject=merge, patient=person, after=after
        )
    return merge


def _refuse_unfit(kept: Patient, merged: Patient) -> None:
    if kept.pk == merged.pk or kept.site_id != merged.site_id:
        raise Refused("Choose two records of one clinic.")
    if Merge.objects.filter(merged__in=(kept, merged), undone_at=None).exists():
        raise Refused("One of the two was merged already. Open the record that was kept.")
    blocking = [conflict.what for conflict in conflicts(kept, merged) if conflict.blocks]
    if blocking:
        raise Refused(f"{' '.join(blocking)} Mark one as entered in error, then merge.")


def _move(kept: Patient, merged: Patient) -> Iterator[dict[str, Any]]:
    """Changes the owner of every row; yields what was moved from where, for taking it back."""
    yield from _move_visits(kept, merged)
    for model, field in _pointing_at(Patient):
        yield from _moved(model, field, merged.pk, kept.pk)
    for eye in Eye.objects.filter(patient=merged):
        to = ensure_eye(patient=kept, side=eye.side)
        for model, field in _pointing_at(Eye):
            yield from _moved(model, field, eye.pk, to.pk)


def _move_visits(kept: Patient, merged: Patient) -> Iterator[dict[str, Any]]:
    """A day on which both were seen is one visit: the exams go to the one that is there."""
    there = dict(Visit.objects.filter(patient=kept, in_error=False).values_list("day", "pk"))
    for visit in Visit.objects.filter(patient=merged, in_error=False, day__in=there):
        yield from _moved(Exam, "visit_id", visit.pk, there[visit.day])
    free = Visit.objects.filter(patient=merged).exclude(day__in=there, in_error=False)
    ids = list(free.values_list("pk", flat=True))
    Visit.objects.filter(pk__in=ids).update(patient=kept)
    yield {"model": "visit", "field": "patient_id", "from": merged.pk, "to": kept.pk, "ids": ids}


def _pointing_at(model: type[models.Model]) -> Iterator[tuple[type[models.Model], str]]:
    for relation in model._meta.related_objects:
        owner = relation.related_model
        if owner not in _STAYS and isinstance(relation.field, models.ForeignKey):
            yield owner, relation.field.attname


def _moved(model: type[models.Model], field: str, old: int, new: int) -> Iterator[dict[str, Any]]:
    ids = list(model._default_manager.filter(**{field: old}).values_list("pk", flat=True))
    if ids:
        model._default_manager.filter(pk__in=ids).update(**{field: new})
        yield {"model": model._meta.model_name, "field": field, "from": old, "to": new, "ids": ids}


def _fill_in(kept: Patient, merged: Patient) -> dict[str, Any]:
    """Details that only the merged record knows; what stood in their place is returned."""
    before: dict[str, Any] = {}
    for name in CHANGEABLE:
        known, other = getattr(kept, name), getattr(merged, name)
        if known in _NOT_KNOWN and other not in _NOT_KNOWN:
            before[name] = known
            setattr(kept, name, other)
    if before:
        kept.save(update_fields=list(before))
    return before


def _replan(*people: Patient) -> None:
    replan_eyes(eye_ids=list(Eye.objects.filter(patient__in=people).values_list("pk", flat=True)))


@transaction.atomic
def undo_merge(*, by: Staff, now: datetime, merge: Merge) -> Merge:
    """Gives every row that was moved back to its record; what came to the kept one since stays with it."""
    locked(merge.kept.site)
    merge = locked(merge)
    if merge.undone_at is not None:
        raise Refused("These records were taken apart already.")
    kept, merged = locked(merge.kept), locked(merge.merged)
    clear_plans(Eye.objects.filter(patient__in=(kept, merged)).values_list("pk", flat=True))
    for row in reversed(merge.moved["rows"]):
        model = apps.get_model("followup", row["model"])
        model._default_manager.filter(pk__in=row["ids"], **{row["field"]: row["to"]}).update(
            **{row["field"]: row["from"]}
        )
    _take_back_details(kept, merged, merge.moved["details"])
    merge.undone_by, merge.undone_at = by, now
    merge.save(update_fields=["undone_by", "undone_at"])
    _replan(kept, merged)
    for person in (kept, merged):
        record_change(
            by=by, at=now, site=kept.site, verb="undo_merge", subject=merge, patient=person, before={}
        )
    return merge


def _take_back_details(kept: Patient, merged: Patient, before: dict[str, Any]) -> None:
    """Details that nobody has changed since."""
    same = [name for name in before if getattr(kept, name) == getattr(merged, name)]
    for name in same:
        setattr(kept, name, before[name])
    if same:
        kept.save(update_fields=same)


@transaction.atomic
def keep_apart(*, by: Staff, now: datetime, one: Patient, other: Patient) -> None:
    """Notes that two records are of two people, so that they are not proposed again."""
    first, second = sorted((one, other), key=lambda person: person.pk)
    if first.site_id != second.site_id or first.pk == second.pk:
        raise Refused("Choose two records of one clinic.")
    KeptApart.objects.get_or_create(first=first, second=second, defaults={"by": by, "at": now})
    for person, fellow in ((first, second), (second, first)):
        after = {"record_number": fellow.record_number}
        record_change(
            by=by, at=now, site=person.site, verb="keep_apart", subject=person, patient=person, after=after
        )
