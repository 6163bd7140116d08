"""Booked people who answered that they cannot come, for somebody to speak to."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import F

from followup.domain.words import AppointmentState, Reply
from followup.models import Appointment, Site


@dataclass(frozen=True, slots=True)
class CannotComeRow:
    appointment: Appointment
    replied_at: datetime | None


def patients_who_cannot_come(site: Site, day: date) -> list[CannotComeRow]:
    """From `day` on, the first appointment first. An answer to an earlier time counts no more."""
    appointments = Appointment.objects.filter(
        patient__site=site,
        state=AppointmentState.BOOKED.value,
        day__gte=day,
        reply=Reply.DECLINED.value,
        reply_sequence=F("sequence"),
    )
    found = appointments.select_related("patient", "session", "eye").order_by("starts_at", "id")
    return [CannotComeRow(appointment, appointment.replied_at) for appointment in found]
