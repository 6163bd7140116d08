"""Eyes for audits: operated on one day, attached at the end of surgery, followed for so many days."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, timedelta

from followup.models import Exam, Eye, Operation, OperationProcedure, Patient, Site, Visit
from followup.queries.cohort_choice import CohortChoice

OPERATED = date(2015, 1, 5)
LOCK = date(2025, 1, 6)

Followed = tuple[str, str, int, bool]
"""Record number, side, days from the operation to the only exam, and whether it found a detachment."""


def make_followed_eyes(site: Site, eyes: Iterable[Followed]) -> None:
    """Rows in bulk: a published series has hundreds of eyes."""
    asked = list(eyes)
    numbers = dict.fromkeys(number for number, *_ in asked)
    people = Patient.objects.bulk_create(Patient(site=site, record_number=number) for number in numbers)
    by_number = {person.record_number: person for person in people}
    rows = Eye.objects.bulk_create(Eye(patient=by_number[number], side=side) for number, side, *_ in asked)
    operations = Operation.objects.bulk_create(
        Operation(eye=eye, date=OPERATED, indication="rrd", tamponade_in="none", attached_at_end="yes")
        for eye in rows
    )
    OperationProcedure.objects.bulk_create(
        OperationProcedure(operation=operation, procedure="vitrectomy") for operation in operations
    )
    days = dict.fromkeys((number, OPERATED + timedelta(days)) for number, _, days, _ in asked)
    visits = Visit.objects.bulk_create(Visit(patient=by_number[number], day=day) for number, day in days)
    at = dict(zip(days, visits, strict=True))
    Exam.objects.bulk_create(
        Exam(
            visit=at[number, OPERATED + timedelta(days)],
            eye=eye,
            retina="detached_macula_off" if found else "attached",
        )
        for eye, (number, _, days, found) in zip(rows, asked, strict=True)
    )


def people(times: Iterable[tuple[int, bool]]) -> list[Followed]:
    """One eye a person."""
    return [(f"N{place}", "right", days, found) for place, (days, found) in enumerate(times)]


def choice_of(site: Site, **asked: object) -> CohortChoice:
    return CohortChoice(**{"site_id": site.pk, "lock": LOCK} | asked)  # type: ignore[arg-type]  # a test names them
