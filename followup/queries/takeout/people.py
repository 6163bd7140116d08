"""Names, days and codes of an export: as on record, or so that nobody is named."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any, ClassVar, Protocol
from uuid import UUID

from django.db.models import Min

from followup.domain.dates.workdays import age_on
from followup.domain.words import Term
from followup.models import Operation, Patient, Site, Staff, Visit
from followup.queries.cohort_codes import MOST_DAYS, SurgeonCodes, days_moved, eye_code, patient_code
from followup.queries.cohort_facts import surgeon_key
from followup.queries.takeout.fields import LEFT_OUT, Field, Kind

OLDEST = 90
"""Ages from here on are told as this one: so few are older that an age would single them out."""
_AT = re.compile("_(date|on)$")


class Days(Term):
    """How days are told where nobody is named."""

    SINCE = "since", "Days since the person's first operation"
    MOVED = "moved", f"Dates, moved by a number of days of the person's own, {MOST_DAYS} at most"


class Writer(Protocol):
    """Turns a value on record into what stands in the file."""

    @property
    def is_named(self) -> bool: ...

    def takes(self, column: Field) -> bool:
        """Does the column stand in the file at all?"""

    def heading(self, column: Field) -> str: ...

    def kind(self, column: Field) -> str:
        """What stands in the column, in words."""

    def value(self, column: Field, value: Any, person: int) -> Any: ...

    def keys(self, person: int, eye: UUID | None) -> tuple[str, ...]:
        """What stands before the columns of a row. `eye`: what was drawn for it."""

    def key_names(self, *, of_eye: bool) -> tuple[str, ...]: ...

    def in_order(self, people: Iterable[tuple[int, str]]) -> list[int]:
        """The ids of people, given with their record numbers, in the order of the files."""


@dataclass(frozen=True, slots=True)
class Named:
    """Everything as on record. `staff`: names by id."""

    staff: Mapping[int, str]
    is_named: ClassVar[bool] = True

    def takes(self, column: Field) -> bool:
        return True

    def heading(self, column: Field) -> str:
        return column.name

    def kind(self, column: Field) -> str:
        return column.kind.value

    def value(self, column: Field, value: Any, person: int) -> Any:
        if column.kind is Kind.STAFF:
            staff_id, typed = value
            return self.staff.get(staff_id, typed)
        return value

    def keys(self, person: int, eye: UUID | None) -> tuple[str, ...]:
        return ()

    def key_names(self, *, of_eye: bool) -> tuple[str, ...]:
        return ()

    def in_order(self, people: Iterable[tuple[int, str]]) -> list[int]:
        return [pk for pk, number in sorted(people, key=lambda one: one[1])]


@dataclass(frozen=True, slots=True)
class Unnamed:
    """Codes for people, eyes and staff, the same in every export and in the rows of an audit; no free text.

    `first`: the day from which the days of a person count, and `people`: what was drawn for them, by id.
    """

    days: Days
    first: Mapping[int, date]
    people: Mapping[int, UUID]
    surgeons: SurgeonCodes = field(default_factory=SurgeonCodes)
    is_named: ClassVar[bool] = False

    def takes(self, column: Field) -> bool:
        return column.kind not in LEFT_OUT

    def heading(self, column: Field) -> str:
        if column.kind is Kind.BORN:
            return "age_at_first_operation"
        if column.kind is Kind.DAY and self.days is Days.SINCE:
            return "day" if column.name == "day" else f"{_AT.sub('', column.name)}_day"
        return column.name

    def kind(self, column: Field) -> str:
        told = {
            Kind.DAY: self.days.label,
            Kind.BORN: f"age in whole years at the first operation; {OLDEST} stands for {OLDEST} and older",
            Kind.STAFF: "code of a member of staff",
        }
        return told.get(column.kind, column.kind.value)

    def value(self, column: Field, value: Any, person: int) -> Any:
        if column.kind is Kind.STAFF:
            return self.surgeons.of(surgeon_key(*value))
        if value is None:
            return None
        if column.kind is Kind.BORN:
            since = self.first.get(person)
            return min(age_on(value, since), OLDEST) if since and value <= since else None
        if column.kind is Kind.DAY:
            return self._day(value, person)
        if column.name == "age":
            return min(value, OLDEST)
        return value

    def _day(self, day: date, person: int) -> Any:
        if self.days is Days.MOVED:
            return day + timedelta(days=days_moved(self.people[person]))
        since = self.first.get(person)
        return (day - since).days if since else None

    def keys(self, person: int, eye: UUID | None) -> tuple[str, ...]:
        codes = (patient_code(self.people[person]),)
        return codes if eye is None else (*codes, eye_code(eye))

    def key_names(self, *, of_eye: bool) -> tuple[str, ...]:
        return ("person", "eye") if of_eye else ("person",)

    def in_order(self, people: Iterable[tuple[int, str]]) -> list[int]:
        """By code, since the order of record numbers would tell who is who.

        Somebody registered since the writer was made is left out of every table.
        """
        known = (pk for pk, _ in people if pk in self.people)
        return sorted(known, key=lambda pk: patient_code(self.people[pk]))


def named() -> Named:
    return Named({one.pk: str(one) for one in Staff.objects.all()})


def unnamed(site: Site, days: Days) -> Unnamed:
    """Days count from the first operation; of somebody never operated on, from the first visit."""
    visits = Visit.objects.filter(patient__site=site, in_error=False).order_by().values_list("patient_id")
    done = Operation.objects.filter(eye__patient__site=site, in_error=False).order_by()
    first = dict(visits.annotate(Min("day")))
    first |= dict(done.values_list("eye__patient_id").annotate(Min("date")))
    return Unnamed(
        days,
        first,
        people=dict(Patient.objects.filter(site=site).values_list("pk", "pseudonym")),
    )
