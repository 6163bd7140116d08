"""What the clinic itself cancelled and nobody has made up for: the day it was first due stays in view."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from typing import TypeAlias

from django.db.models import Max, Q

from followup.domain.words import AppointmentState, CancelledBy, Lane
from followup.models import Appointment, Eye, Operation, Patient, Site, Visit

Whose: TypeAlias = tuple[int, int | None]
"""A person's reviews, (patient, None), or one eye's removal, (patient, eye)."""


@dataclass(frozen=True, slots=True)
class Postponed:
    """Places that the clinic cancelled since the person was last seen, or the eye last operated on."""

    first_due: date
    times: int


def postponements(site: Site) -> dict[Whose, Postponed]:
    """All of a site, also of those who hold another place meanwhile. A constant number of queries."""
    return _postponed(Q(patient__site=site), Q(site=site), Q(eye__patient__site=site))


def postponed_of(patient: Patient, lane: Lane, eye: Eye | None) -> Postponed | None:
    found = _postponed(Q(patient=patient, lane=lane.value), Q(pk=patient.pk), Q(eye__patient=patient))
    return found.get((patient.pk, eye.pk if eye else None))


def _postponed(places: Q, people: Q, operations: Q) -> dict[Whose, Postponed]:
    by_clinic = Q(state=AppointmentState.CANCELLED.value, cancelled_by=CancelledBy.CLINIC.value)
    rows = list(Appointment.objects.filter(places, by_clinic, original_due__isnull=False).order_by("id"))
    return _counted(rows, _last_seen(people), _last_operated(operations)) if rows else {}


def _counted(
    places: Iterable[Appointment], seen: dict[int, date], operated: dict[int, date]
) -> dict[Whose, Postponed]:
    found: dict[Whose, Postponed] = {}
    for place in places:
        whose, due = (place.patient_id, place.eye_id), place.original_due or place.day
        since = operated.get(place.eye_id) if place.eye_id else seen.get(place.patient_id)
        if since is None or place.day > since:
            before = found.get(whose, Postponed(due, 0))
            found[whose] = Postponed(min(before.first_due, due), before.times + 1)
    return found


def _last_seen(people: Q) -> dict[int, date]:
    visits = Visit.objects.filter(in_error=False, patient__in=Patient.objects.filter(people).values("pk"))
    return dict(visits.values_list("patient_id").annotate(Max("day")))


def _last_operated(operations: Q) -> dict[int, date]:
    return dict(
        Operation.objects.filter(operations, in_error=False).values_list("eye_id").annotate(Max("date"))
    )
