"""Which reminders are to be written: one for a visit, on each of the clinic's days before it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Exists, OuterRef, Prefetch, QuerySet

from followup.domain.dates.zones import local_day
from followup.domain.errors import BadValue
from followup.domain.words import AppointmentState, Channel
from followup.models import Appointment, Consent, Patient, Site
from followup.queries.contact import address_for, open_channels
from followup.queries.outbox import written_keys

KIND = "reminder"

LOOK_BACK = timedelta(days=7)
"""After a stop of the night's work, reminders for visits so long past are still listed as not sent."""

LONGEST_AHEAD = 60


@dataclass(frozen=True, slots=True)
class Reminder:
    """One message to write: which visit, how many days before, and where to."""

    appointment: Appointment
    days_before: int
    channel: Channel
    to: str

    @property
    def key(self) -> str:
        """Moved, the visit has another sequence number, and is told of anew."""
        return reminder_key(self.appointment, self.days_before)


def reminder_key(appointment: Appointment, days_before: int) -> str:
    place = f"{appointment.uid}/{appointment.sequence}"
    return f"patient/{appointment.patient_id}/{KIND}/{place}/{days_before}"


def place_of_key(key: str) -> tuple[str, int]:
    """The uid and the sequence number of the visit that a reminder tells of."""
    _, _, _, uid, sequence, _ = key.split("/")
    return uid, int(sequence)


def reminder_days(site: Site) -> list[int]:
    """The site's days before a visit, fewest first. BadValue unless they are whole numbers from 1 to 60."""
    days = site.reminder_days.replace(",", " ").split()
    if not all(day.isdecimal() and 1 <= int(day) <= LONGEST_AHEAD for day in days):
        raise BadValue(
            f'"{site.reminder_days}" is not a list of days. Write whole numbers from 1 to {LONGEST_AHEAD}, '
            "such as 7 2, or nothing.",
            field="reminder_days",
            code="reminder_days",
        )
    return sorted({int(day) for day in days})


def reminders_to_write(*, site: Site, now: datetime) -> list[Reminder]:
    """Reminders whose day has come, not written yet, to those who agreed. Three queries, however many.

    Of several days that passed at once, only the one nearest to the visit is wanted. Nobody is reminded of
    a visit that was booked or moved on that day or later, nor before they agreed.
    """
    days = reminder_days(site)
    if not days:
        return []
    today = local_day(now, site.time_zone)
    wanted = [
        reminder
        for appointment in _appointments(site, today - LOOK_BACK, today + timedelta(days=days[-1]))
        if (reminder := _reminder(appointment, days, today)) is not None
    ]
    written = written_keys([reminder.key for reminder in wanted])
    return [reminder for reminder in wanted if reminder.key not in written]


def _appointments(site: Site, first: date, last: date) -> QuerySet[Appointment]:
    in_force = Consent.objects.filter(withdrawn_on=None)
    places = Appointment.objects.filter(
        Exists(in_force.filter(patient=OuterRef("patient"))),
        patient__site=site,
        patient__died_on=None,
        day__range=(first, last),
    ).exclude(state=AppointmentState.CANCELLED.value)
    agreed = Prefetch("patient__consents", in_force)
    return places.select_related("patient__site").prefetch_related(agreed).order_by("starts_at", "id")


def _reminder(appointment: Appointment, days: list[int], today: date) -> Reminder | None:
    before = next((day for day in days if appointment.day - timedelta(days=day) <= today), None)
    if before is None:
        return None
    day = appointment.day - timedelta(days=before)
    way = _way(appointment.patient, day)
    if way is None or local_day(appointment.changed_at, appointment.patient.site.time_zone) >= day:
        return None
    return Reminder(appointment, before, way, address_for(appointment.patient, way))


def _way(patient: Patient, day: date) -> Channel | None:
    """The preferred channel on which this person could be written to on that day; consents prefetched."""
    agreed = {Channel(consent.channel) for consent in patient.consents.all() if consent.given_on <= day}
    return next((way for way in open_channels() if way in agreed and address_for(patient, way)), None)
