"""Finding people: by record number, name or telephone; and the person behind a record."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.core.exceptions import ObjectDoesNotExist
from django.db.models import Model, Q, QuerySet, Value
from django.db.models.functions import Replace

from followup.models import (
    Appointment,
    Change,
    ContactAttempt,
    Decision,
    Eye,
    ImportRow,
    Merge,
    Operation,
    Patient,
    Staff,
    SymptomReport,
    Visit,
)
from followup.queries import access
from followup.queries.booking import appointments_of_person
from followup.queries.cautions import Caution, urgent_symptoms
from followup.queries.duplicates import merged_into, merges_of
from followup.queries.eyes import cautions_now
from followup.queries.standing import EyeStandingRow, site_standings
from followup.queries.urgent import reports_of

_FEWEST_DIGITS = 4
"""Fewer digits than this would match half of all telephone numbers."""

_PATH_TO_PATIENT: dict[type[Model], str] = {
    Patient: "pk",
    Eye: "patient_id",
    Operation: "eye__patient_id",
    Visit: "patient_id",
    Appointment: "patient_id",
    Decision: "eye__patient_id",
    SymptomReport: "patient_id",
}


def search_people(staff: Staff, text: str) -> QuerySet[Patient]:
    """Patients this person may see of whom every word typed is in the name, number or telephone.

    Ordered by name, with site and eyes at hand; nobody for an empty search.
    """
    words = text.split()
    if not words:
        return Patient.objects.none()
    bare_phone = Replace(Replace("phone", Value(" "), Value("")), Value("-"), Value(""))
    found = access.patients_of(staff).annotate(bare_phone=bare_phone)
    for word in words:
        found = found.filter(_holds(word))
    return (
        found.select_related("site")
        .prefetch_related("eyes")
        .order_by("family_name", "given_name", "record_number", "id")
    )


def _holds(word: str) -> Q:
    named = Q(family_name__icontains=word) | Q(given_name__icontains=word)
    found = named | Q(record_number__istartswith=word)
    digits = "".join(character for character in word if character.isdecimal())
    if len(digits) >= _FEWEST_DIGITS:
        found |= Q(bare_phone__contains=digits)
    return found


def patient_behind(missing: ObjectDoesNotExist, pk: int) -> Patient | None:
    """Whose record this was that somebody asked for without the right to; None if there is no such record.

    `missing`: the exception that the refused look-up raised, which tells the kind of record.
    """
    for model, path in _PATH_TO_PATIENT.items():
        if isinstance(missing, model.DoesNotExist):  # type: ignore[attr-defined]  # every concrete model has it
            owners = model._default_manager.filter(pk=pk).values(path)
            return Patient.objects.filter(pk__in=owners).first()
    return None


@dataclass(frozen=True, slots=True)
class EyeCard:
    """One eye on its owner's page."""

    eye: Eye
    row: EyeStandingRow | None
    """None for an eye that was never operated on."""
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True)
class PersonPage:
    eyes: tuple[EyeCard, ...]
    appointments: tuple[Appointment, ...]
    attempts: tuple[ContactAttempt, ...]
    urgent: Caution
    reports: tuple[SymptomReport, ...] = ()
    """New symptoms that this person told of, the last first."""
    source: str = ""
    """The file and row that brought this person; "" where somebody typed them in."""
    merges: tuple[Merge, ...] = ()
    """Records that were folded into this one."""
    merged_into: Patient | None = None


def person_page(patient: Patient, day: date) -> PersonPage:
    """Both eyes, every place and every contact of this person. Needs the site at hand."""
    eyes = list(Eye.objects.filter(patient=patient).order_by("-side"))
    standings = site_standings(site=patient.site, day=day, eye_ids=[eye.pk for eye in eyes])
    rows = {row.eye.pk: row for row in standings}
    attempts = ContactAttempt.objects.filter(patient=patient).select_related("made_by")
    return PersonPage(
        eyes=tuple(
            EyeCard(eye, rows.get(eye.pk), tuple(cautions_now(rows.get(eye.pk), day))) for eye in eyes
        ),
        appointments=tuple(appointments_of_person(patient)),
        attempts=tuple(attempts.order_by("-day", "-id")),
        urgent=urgent_symptoms(patient.site),
        reports=reports_of(patient),
        source=source_of(patient.source_row_id),
        merges=tuple(merges_of(patient)),
        merged_into=merged_into(patient),
    )


def source_of(row: int | None) -> str:
    """The file and row of an import that a record came from, "" for none."""
    if row is None:
        return ""
    found = ImportRow.objects.filter(pk=row).values_list("batch__file_name", "number").first()
    return f"{found[0]}, row {found[1]}" if found else ""


def changes_of(patient: Patient) -> QuerySet[Change]:
    """Every change to anything of this person, under each number that was merged, the last first."""
    merged = Merge.objects.filter(kept=patient, undone_at=None).values("merged_id")
    own = Q(patient=patient) | Q(patient__in=merged)
    return Change.objects.filter(own).select_related("by").order_by("-at", "-id")
