"""Booked people who answered that they cannot come, for somebody to speak to."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import F, QuerySet

from followup.domain.words import AppointmentState, Reply
from followup.models import Appointment, Site


@dataclass(frozen=True, slots=True)
class CannotComeRow:
    appointment: Appointment
    replied_at: datetime | None


def patients_who_cannot_come(site: Site, day: date) -> list[CannotComeRow]:
    """From `day` on, the first appointment first. An answer to an earlier time counts no more."""
    found = _declined(site, day).select_related("patient", "session", "eye", "visit")
    return [
        CannotComeRow(appointment, appointment.replied_at)
        for appointment in found.order_by("starts_at", "id")
    ]


def how_many_cannot_come(site: Site, day: date) -> int:
    """How many of `patients_who_cannot_come` there are."""
    return _declined(site, day).count()


def _declined(site: Site, day: date) -> QuerySet[Appointment]:
    return Appointment.objects.filter(
        patient__site=site,
        state=AppointmentState.BOOKED.value,
        day__gte=day,
        reply=Reply.DECLINED.value,
        reply_sequence=F("sequence"),
    )
