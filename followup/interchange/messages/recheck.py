"""The facts, read again just before a message leaves: is it still right to send, and at this hour?"""

from __future__ import annotations

from datetime import date, datetime, timedelta

from followup.domain.dates.zones import local_day
from followup.domain.words import AppointmentState, Channel
from followup.models import Appointment, OutboxMessage, Patient
from followup.queries import invitations, reminders
from followup.queries.contact import address_for, agrees_to, free_from
from followup.services.night import DIGEST
from followup.services.outbox import patient_of_key


def reason_to_withhold(*, message: OutboxMessage, now: datetime) -> str:
    """Why the message must not go out any more; empty if it may."""
    if message.kind == DIGEST:
        return _stale_digest(message, now)
    patient = _patient(message)
    if patient_of_key(message.key) is not None and (patient is None or patient.died_on is not None):
        return "The patient died, or is no longer on record."
    if patient is not None and message.kind == reminders.KIND:
        return _unwanted(message, patient) or _stale_reminder(message, now)
    if patient is not None and message.kind == invitations.KIND:
        return _unwanted(message, patient) or _stale_invitation(message, now)
    return ""


def quiet_until(*, message: OutboxMessage, now: datetime) -> datetime | None:
    """When the quiet hours of the person it goes to end; None if it may go now, as to staff it always may."""
    patient = _patient(message)
    if patient is None:
        return None
    free = free_from(patient, now)
    return free if free > now else None


def _patient(message: OutboxMessage) -> Patient | None:
    patient_id = patient_of_key(message.key)
    return Patient.objects.select_related("site").filter(pk=patient_id).first() if patient_id else None


def _stale_digest(message: OutboxMessage, now: datetime) -> str:
    _, _, day, address = message.key.split("/", 3)
    if local_day(now, message.site.time_zone) != date.fromisoformat(day):
        return f"The digest of {day} was not sent on its day; a newer one tells more."
    if address not in message.site.digest_email.split():
        return "This address no longer gets the digest."
    return ""


def _unwanted(message: OutboxMessage, patient: Patient) -> str:
    way = Channel(message.channel)
    if not agrees_to(patient, way):
        return "Consent was withdrawn."
    if address_for(patient, way) != message.to:
        return "The number or address was changed since this was written."
    return ""


def _stale_reminder(message: OutboxMessage, now: datetime) -> str:
    uid, sequence = reminders.place_of_key(message.key)
    appointment = Appointment.objects.get(uid=uid)
    if appointment.state == AppointmentState.CANCELLED.value:
        return "The visit was cancelled."
    if appointment.starts_at <= now:
        return f"The visit of {appointment.day:%-d %b %Y} is past."
    if appointment.sequence != sequence or appointment.state != AppointmentState.BOOKED.value:
        return "The visit was moved or changed since this was written."
    hours = message.site.reminder_minimum_hours
    if appointment.starts_at - now < timedelta(hours=hours):
        return f"Less than {hours} hours were left before the visit."
    return ""


def _stale_invitation(message: OutboxMessage, now: datetime) -> str:
    if not message.site.sends_invitations:
        return "The clinic sends no invitations any more."
    uid, sequence = invitations.place_of_invitation(message.key)
    appointment = Appointment.objects.get(uid=uid)
    if appointment.starts_at <= now:
        return f"The visit of {appointment.day:%-d %b %Y} is past."
    if appointment.sequence != sequence:
        return "The visit was moved or changed since this was written."
    return ""
