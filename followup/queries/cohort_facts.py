"""From rows to the facts of many eyes that an audit counts: only the columns it needs, no model objects.

Each call takes at most a few thousand ids and a constant number of queries.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from datetime import date
from decimal import Decimal
from functools import lru_cache
from typing import Any, NamedTuple

from followup.domain.acuity.change import Reading
from followup.domain.acuity.notation import Acuity, Category, Notation
from followup.domain.facts import ExamFact, EyeTraits, OperationFact
from followup.domain.words import (
    Correction,
    DatePrecision,
    Extent,
    Hole,
    Indication,
    Lens,
    Procedure,
    Repeat,
    Retina,
    Sex,
    Side,
    Tamponade,
    TamponadeSeen,
    Term,
    YesNo,
)
from followup.models import AcuityReading, Decision, Exam, Eye, Milestone, Operation, OperationProcedure
from followup.queries.cohort_codes import eye_code, patient_code


class Detail(NamedTuple):
    """What the record of an operation holds beyond the facts that the rules need."""

    surgeon: str
    precision: DatePrecision


class OperatedEye(NamedTuple):
    eye_id: int
    code: str
    patient_code: str
    site: str
    sex: Sex
    traits: EyeTraits
    operations: tuple[OperationFact, ...]
    details: dict[int, Detail]
    """By operation id; those of other eyes are in it too."""


class StoredReading(NamedTuple):
    """A reading as stored, by its words: `reading_of` makes it one to compare."""

    correction: str
    notation: str
    logmar: Decimal | None
    category: str


class Findings(NamedTuple):
    """The exams of one eye in order, the lens at each, and what was read at them."""

    exams: tuple[ExamFact, ...]
    lenses: tuple[Lens, ...]
    readings: dict[int, list[StoredReading]]
    """By exam id; those of other eyes are in it too."""


def _by_code(kind: type[Term]) -> dict[str, Any]:
    """A look-up of one step; calling the class takes several times as long."""
    return {term.value: term for term in kind}


_SIDES, _SEXES, _YES_NO, _LENSES = _by_code(Side), _by_code(Sex), _by_code(YesNo), _by_code(Lens)
_RETINAS, _HOLES, _SEEN = _by_code(Retina), _by_code(Hole), _by_code(TamponadeSeen)
_INDICATIONS, _TAMPONADES, _PROCEDURES = _by_code(Indication), _by_code(Tamponade), _by_code(Procedure)
_REPEATS, _EXTENTS, _PRECISIONS = _by_code(Repeat), _by_code(Extent), _by_code(DatePrecision)


def operated_eyes(ids: Collection[int], lock: date) -> list[OperatedEye]:
    """These eyes with their operations until the lock date."""
    operations, details = _operations(ids, lock)
    rows = Eye.objects.filter(pk__in=ids).values_list(
        "pk",
        "pseudonym",
        "patient__pseudonym",
        "patient__site__name",
        "patient__sex",
        "side",
        "axial_length_mm",
        "staphyloma",
        "only_eye",
        "patient__birth_date",
        "patient__age_stated",
        "patient__died_on",
    )
    return [
        OperatedEye(
            pk,
            eye_code(drawn),
            patient_code(owner),
            site,
            _SEXES[sex],
            EyeTraits(
                side=_SIDES[side],
                axial_length_mm=None if length is None else float(length),
                staphyloma=_YES_NO[staphyloma],
                only_eye=only_eye,
                birth_date=born,
                age_stated=age,
                died_on=died if died and died <= lock else None,
            ),
            tuple(operations[pk]),
            details,
        )
        for pk, drawn, owner, site, sex, side, length, staphyloma, only_eye, born, age, died in rows
    ]


def _operations(
    ids: Collection[int], lock: date
) -> tuple[defaultdict[int, list[OperationFact]], dict[int, Detail]]:
    procedures: defaultdict[int, set[Procedure]] = defaultdict(set)
    done = OperationProcedure.objects.filter(operation__eye_id__in=ids, operation__in_error=False)
    for operation_id, procedure in done.values_list("operation_id", "procedure"):
        procedures[operation_id].add(_PROCEDURES[procedure])
    sets: dict[frozenset[Procedure], frozenset[Procedure]] = {}
    rows = (
        Operation.objects.filter(eye_id__in=ids, in_error=False, date__lte=lock)
        .order_by("date", "id")
        .values_list(
            "eye_id",
            "id",
            "date",
            "indication",
            "tamponade_in",
            "takes_out",
            "repeat",
            "extent",
            "attached_at_end",
            "restarts",
            "surgeon_id",
            "surgeon_name",
            "date_precision",
        )
    )
    found: defaultdict[int, list[OperationFact]] = defaultdict(list)
    details: dict[int, Detail] = {}
    for eye_id, pk, day, why, left, out, again, extent, attached, restarts, staff, typed, precise in rows:
        together = frozenset(procedures[pk])
        found[eye_id].append(
            OperationFact(
                id=pk,
                date=day,
                indication=_INDICATIONS[why],
                procedures=sets.setdefault(together, together),
                tamponade_in=_TAMPONADES[left],
                takes_out=out,
                repeat=_REPEATS[again],
                extent=_EXTENTS[extent],
                attached_at_end=_YES_NO[attached],
                restarts=restarts,
            )
        )
        details[pk] = Detail(surgeon_key(staff, typed), _PRECISIONS[precise])
    return found, details


def surgeon_key(staff_id: int | None, typed: str) -> str:
    """The same for a member of staff whatever name was typed beside them; empty for nobody."""
    if staff_id:
        return f"staff:{staff_id}"
    return f"name:{typed}" if typed else ""


def findings(ids: Collection[int], lock: date) -> dict[int, Findings]:
    """What was found in each of these eyes until the lock date, by eye id; without an exam no entry."""
    exams: defaultdict[int, list[ExamFact]] = defaultdict(list)
    lenses: defaultdict[int, list[Lens]] = defaultdict(list)
    rows = (
        Exam.objects.filter(eye_id__in=ids, visit__in_error=False, visit__day__lte=lock)
        .order_by("visit__day", "id")
        .values_list("eye_id", "id", "visit_id", "visit__day", "retina", "hole", "tamponade_seen", "lens")
    )
    for eye_id, pk, visit_id, day, retina, hole, tamponade, lens in rows:
        exams[eye_id].append(ExamFact(pk, visit_id, day, _RETINAS[retina], _HOLES[hole], _SEEN[tamponade]))
        lenses[eye_id].append(_LENSES[lens])
    readings = _readings(ids)
    return {pk: Findings(tuple(seen), tuple(lenses[pk]), readings) for pk, seen in exams.items()}


def _readings(ids: Collection[int]) -> dict[int, list[StoredReading]]:
    found: defaultdict[int, list[StoredReading]] = defaultdict(list)
    rows = AcuityReading.objects.filter(exam__eye_id__in=ids)
    said = rows.values_list("exam_id", "correction", "notation", "logmar", "category")
    for exam_id, correction, notation, logmar, category in said:
        found[exam_id].append(StoredReading(correction, notation, logmar, category))
    return found


@lru_cache(maxsize=10_000)
def reading_of(stored: StoredReading, tamponade: str) -> Reading:
    """A reading to compare; the same words give the same object. `tamponade`: gas or oil then, or ""."""
    category = Category(stored.category) if stored.category else None
    acuity = Acuity("", Notation(stored.notation), stored.logmar, category)
    return Reading(acuity, eye="", correction=Correction(stored.correction), tamponade_seen=tamponade)


class Removals(NamedTuple):
    """What was planned, and signed, about taking tamponades out."""

    limits: dict[int, date]
    """The day on which the planned window closes, by the operation that it was planned for."""
    kept: dict[int, list[tuple[date, date]]]
    """By eye id, in the order of signing: from which day, and until which, one is kept."""

    def is_kept(self, eye_id: int, since: date, on: date) -> bool:
        """Was the last decision signed since the one day in force on the other?"""
        until = [until for signed, until in self.kept.get(eye_id, ()) if since <= signed <= on]
        return bool(until) and on <= until[-1]


def removals(ids: Collection[int], lock: date) -> Removals:
    planned = Milestone.objects.filter(course__eye_id__in=ids, lane="removal").order_by("-closes")
    signed = Decision.objects.filter(eye_id__in=ids, kind="keep_oil", undone_at=None, signed_on__lte=lock)
    kept: defaultdict[int, list[tuple[date, date]]] = defaultdict(list)
    told = signed.order_by("signed_on", "id").values_list("eye_id", "signed_on", "review_on")
    for eye_id, day, until in told:
        if until:
            kept[eye_id].append((day, until))
    return Removals(dict(planned.values_list("course__operation_id", "closes")), kept)
