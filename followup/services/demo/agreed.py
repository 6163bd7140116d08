"""Who of the demo clinic agreed to be written to, the last year's reminders, and answers to invitations."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta

from django.db.models import Exists, F, OuterRef

from followup.domain.dates.zones import localise
from followup.domain.words import AppointmentState, Channel, Reply
from followup.models import Appointment, Consent, OutboxMessage, Patient
from followup.queries.reminders import KIND, reminder_key
from followup.services.demo.writer import Writer
from followup.services.replies import record_reply

_YEAR = timedelta(days=365)
_DAYS_BEFORE = 2
_ANSWERS = (Reply.DECLINED, Reply.ACCEPTED, Reply.ACCEPTED, Reply.DECLINED)
_KNOWN = (AppointmentState.FULFILLED.value, AppointmentState.NOSHOW.value)


def agree_to_reminders(writer: Writer, today: date) -> None:
    """Everybody alive who gave an e-mail address agreed a year ago, and was reminded of each review since."""
    people = Patient.objects.filter(site=writer.site, died_on=None).exclude(email="")
    Consent.objects.bulk_create(
        Consent(
            patient=person,
            channel=Channel.EMAIL.value,
            given_on=today - _YEAR,
            given_by=writer.coordinator,
        )
        for person in people
    )
    reviews = Appointment.objects.filter(patient__in=people, lane="review", state__in=_KNOWN)
    since = reviews.filter(day__gt=today - _YEAR).select_related("patient").order_by("day", "id")
    OutboxMessage.objects.bulk_create(_sent(writer, place) for place in since)


def invite(writer: Writer, today: date, now: datetime) -> None:
    """Everybody who agreed was invited to what is ahead; some have answered, the first that they cannot."""
    agreed = Exists(Consent.objects.filter(patient=OuterRef("patient"), withdrawn_on=None))
    ahead = Appointment.objects.filter(agreed, state=AppointmentState.BOOKED.value, day__gt=today)
    ahead.update(invited_sequence=F("sequence"))
    answered = ahead.select_related("patient").order_by("starts_at", "id")[: len(_ANSWERS)]
    for place, answer in zip(answered, _ANSWERS, strict=False):
        record_reply(
            by=None,
            now=now,
            uid=str(place.uid),
            sequence=place.sequence,
            stamp=now - timedelta(hours=20),
            attendee=place.patient.email,
            answer=answer,
        )


def _sent(writer: Writer, place: Appointment) -> OutboxMessage:
    sent = localise(place.day - timedelta(days=_DAYS_BEFORE), time(9), writer.site.time_zone)
    return OutboxMessage(
        key=reminder_key(place, _DAYS_BEFORE),
        site=writer.site,
        kind=KIND,
        channel="email",
        to=place.patient.email,
        subject="Your visit",
        body=f"You are expected on {place.day:%-d %B} at {place.local_time:%H:%M}.",
        state="sent",
        attempts=1,
        due_at=sent,
        sent_at=sent,
    )
