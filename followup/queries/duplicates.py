"""Records that may be of one person, proposed to a person: never on a name alone."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from itertools import combinations
from typing import Any

from followup.domain.words import Side
from followup.models import Exam, KeptApart, Merge, Operation, Patient, Site, Visit
from followup.queries.names import likeness

ALIKE, NEARLY_THE_SAME = 80, 92
"""Of 100: with the same birth date; and with one that differs by day and month turned round."""
_MOST_IN_A_GROUP = 200
"""People of one birth date; where more share it, it stands for 'not known' and tells nothing."""


@dataclass(frozen=True, slots=True)
class LikelyPair:
    first: Patient
    second: Patient
    why: str


@dataclass(frozen=True, slots=True)
class Conflict:
    """what: in words; blocks: whether one of the two must be corrected before the records are merged."""

    what: str
    blocks: bool


def likely_duplicates(site: Site) -> list[LikelyPair]:
    """Pairs by record number, then by name and birth date, without those merged or known to be two people.

    A constant number of queries.
    """
    merged = Merge.objects.filter(undone_at=None).values("merged_id")
    people = list(Patient.objects.filter(site=site).exclude(pk__in=merged).order_by("record_number", "id"))
    apart = set(KeptApart.objects.filter(first__site=site).values_list("first_id", "second_id"))
    found: dict[tuple[int, int], LikelyPair] = {}
    for first, second in _candidates(people):
        key = (min(first.pk, second.pk), max(first.pk, second.pk))
        if key not in apart and key not in found and (why := why_alike(first, second)):
            found[key] = LikelyPair(first, second, why)
    return list(found.values())


def _candidates(people: Iterable[Patient]) -> Iterator[tuple[Patient, Patient]]:
    groups: defaultdict[tuple[object, ...], list[Patient]] = defaultdict(list)
    for person in people:
        groups["number", _bare(person.record_number)].append(person)
        if person.birth_date:
            groups["born", *_either_way(person.birth_date)].append(person)
    for group in groups.values():
        if len(group) <= _MOST_IN_A_GROUP:
            yield from combinations(group, 2)


def _bare(number: str) -> str:
    return re.sub(r"[\W_]", "", number).lstrip("0").casefold()


def _either_way(born: date) -> tuple[int, int, int]:
    return (born.year, *sorted((born.month, born.day)))  # type: ignore[return-value]  # two numbers


def why_alike(first: Patient, second: Patient) -> str:
    """Why two records may be of one person, "" where they are not proposed."""
    alike = likeness(first.name, second.name) if _is_named(first) and _is_named(second) else None
    same_birth = first.birth_date is not None and first.birth_date == second.birth_date
    if same_birth and alike is not None and alike >= ALIKE:
        return "Born on the same day, with names alike."
    if _turned_round(first.birth_date, second.birth_date) and alike is not None and alike >= NEARLY_THE_SAME:
        return "The same name, and a birth date with day and month turned round."
    same_number = _bare(first.record_number) == _bare(second.record_number)
    births = {first.birth_date, second.birth_date} - {None}
    if same_number and len(births) < 2 and (alike is None or alike >= ALIKE):
        return "Record numbers alike, and nothing against it."
    return ""


def _is_named(person: Patient) -> bool:
    return bool(person.family_name or person.given_name)


def _turned_round(first: date | None, second: date | None) -> bool:
    return (
        first is not None
        and second is not None
        and first != second
        and (first.year, first.month, first.day) == (second.year, second.day, second.month)
    )


def conflicts(first: Patient, second: Patient) -> list[Conflict]:
    """What the two records say that cannot both be of one person, or needs a look."""
    found = [
        Conflict(f"{name}: {getattr(first, field)} and {getattr(second, field)}.", blocks)
        for name, field, blocks in (("Born", "birth_date", False), ("Died on", "died_on", True))
        if _differ(getattr(first, field), getattr(second, field), blank_differs=blocks)
    ]
    if {first.sex, second.sex} == {"female", "male"}:
        found.append(Conflict("Sex: female and male.", blocks=False))
    return [*found, *_of_operations(first, second), *_of_exams(first, second)]


def _differ(first: Any, second: Any, *, blank_differs: bool) -> bool:
    return first != second and (blank_differs or (first is not None and second is not None))


def _of_operations(first: Patient, second: Patient) -> Iterator[Conflict]:
    one, other = (
        set(Operation.objects.filter(eye__patient=person, in_error=False).values_list("date", "eye__side"))
        for person in (first, second)
    )
    for day, side in sorted(one & other):
        yield Conflict(f"Both have an operation on the {side.upper()} eye on {day}.", blocks=True)
    for day, side in sorted(one):
        fellow = Side(side).fellow
        if (day, fellow) in other and (day, side) not in other:
            yield Conflict(
                f"On {day} one had the {side.upper()} eye operated on, the other the {fellow.upper()} eye.",
                blocks=False,
            )


def _of_exams(first: Patient, second: Patient) -> Iterator[Conflict]:
    one, other = (
        set(
            Exam.objects.filter(visit__patient=person, visit__in_error=False).values_list(
                "visit__day", "eye__side"
            )
        )
        for person in (first, second)
    )
    for day, side in sorted(one & other):
        yield Conflict(f"Both have an exam of the {side.upper()} eye on {day}.", blocks=True)


def counts_of(person: Patient) -> dict[str, int]:
    """How much is on record, for whoever compares two records."""
    return {
        "Operations": Operation.objects.filter(eye__patient=person, in_error=False).count(),
        "Visits": Visit.objects.filter(patient=person, in_error=False).count(),
        "Appointments": person.appointments.count(),
    }


def merges_of(person: Patient) -> list[Merge]:
    """Records that were folded into this one and not taken apart again."""
    return list(
        Merge.objects.filter(kept=person, undone_at=None).select_related("merged", "by").order_by("at", "id")
    )


def merged_into(person: Patient) -> Patient | None:
    """The record that this one was folded into."""
    merge = Merge.objects.filter(merged=person, undone_at=None).select_related("kept").first()
    return merge.kept if merge else None


def numbers_merged(site: Site) -> dict[str, str]:
    """Record numbers of merged records, each with the number now used for that person."""
    pairs = Merge.objects.filter(kept__site=site, undone_at=None)
    found = dict(pairs.order_by("id").values_list("merged__record_number", "kept__record_number"))
    return {number: _last(found, number) for number in found}


def _last(found: dict[str, str], number: str) -> str:
    while number in found:
        number = found[number]
    return number
