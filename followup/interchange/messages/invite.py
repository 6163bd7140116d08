"""The text beside an invitation, for whoever reads mail without a calendar. No diagnosis, no eye, no name."""

from __future__ import annotations

from django.template.loader import render_to_string
from django.utils import translation

from followup.domain.words import Channel
from followup.interchange.messages.links import cannot_come_address, stop_address
from followup.queries.contact import language_for
from followup.queries.invitations import Invite


def compose_invite(invite: Invite) -> tuple[str, str]:
    """Subject and body, in the person's language."""
    appointment = invite.appointment
    context = {
        "appointment": appointment,
        "site": appointment.patient.site,
        "address": cannot_come_address(appointment),
        "stop": stop_address(appointment.patient.pk, Channel.EMAIL),
        "is_off": invite.is_off,
        "is_change": invite.is_change,
    }
    with translation.override(language_for(appointment.patient).value):
        subject = render_to_string("messages/invite_subject.txt", context)
        return " ".join(subject.split()), render_to_string("messages/invite.txt", context).strip() + "\n"
