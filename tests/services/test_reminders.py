"""Writing a reminder to the outbox: once, and not to be sent in the night of the person it is for."""

from __future__ import annotations

import pytest

from followup.domain.words import Channel
from followup.models import OutboxMessage
from followup.queries.reminders import Reminder
from followup.services.outbox import patient_of_key
from followup.services.reminders import queue_reminder
from tests.builders import NOW, make_appointment, make_patient, make_site

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("own_zone", "due"),
    [("", "2026-03-03T07:00:00+00:00"), ("America/Bogota", "2026-03-02T19:30:00+00:00")],
    ids=["in the clinic's zone it is evening", "where the person lives it is noon"],
)
def test_in_the_evening_it_waits_for_the_morning_where_the_person_lives(own_zone: str, due: str) -> None:
    patient = make_patient(site=make_site(time_zone="Europe/Berlin"), time_zone=own_zone)
    reminder = Reminder(make_appointment(patient=patient), 7, Channel.TEXT, "5550123")
    evening = NOW.replace(hour=19, minute=30)
    for _ in range(2):
        queue_reminder(reminder=reminder, now=evening, subject="", body="Your visit")
    message = OutboxMessage.objects.get()
    assert message.due_at.isoformat() == due
    assert (message.channel, message.to, message.kind) == ("text", "5550123", "reminder")
    assert patient_of_key(message.key) == patient.pk
