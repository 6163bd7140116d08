"""The text of a reminder: when and where, and what must never wait. No diagnosis, no eye, no name."""

from __future__ import annotations

from django.template.loader import render_to_string
from django.utils import translation

from followup.domain.words import Channel
from followup.interchange.messages.links import cannot_come_address, stop_address
from followup.queries.contact import language_for
from followup.queries.reminders import Reminder


def compose_reminder(reminder: Reminder) -> tuple[str, str]:
    """Subject and body, in the person's language; a text message has no subject."""
    appointment = reminder.appointment
    context = {
        "appointment": appointment,
        "site": appointment.patient.site,
        "address": cannot_come_address(appointment),
        "stop": stop_address(appointment.patient.pk, reminder.channel),
    }
    with translation.override(language_for(appointment.patient).value):
        if reminder.channel is Channel.TEXT:
            return "", _rendered("messages/reminder_text.txt", context)
        subject = _rendered("messages/reminder_subject.txt", context)
        return " ".join(subject.split()), _rendered("messages/reminder.txt", context)


def _rendered(template: str, context: dict[str, object]) -> str:
    return render_to_string(template, context).strip() + "\n"
