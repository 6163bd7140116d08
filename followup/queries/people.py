"""Finding people: by record number, name or telephone; and the person behind a record."""

from __future__ import annotations

from django.core.exceptions import ObjectDoesNotExist
from django.db.models import Model, Q, QuerySet, Value
from django.db.models.functions import Replace

from followup.models import Appointment, Decision, Eye, Operation, Patient, Staff, Visit
from followup.queries import access

_FEWEST_DIGITS = 4
"""Fewer digits than this would match half of all telephone numbers."""

_PATH_TO_PATIENT: dict[type[Model], str] = {
    Patient: "pk",
    Eye: "patient_id",
    Operation: "eye__patient_id",
    Visit: "patient_id",
    Appointment: "patient_id",
    Decision: "eye__patient_id",
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
