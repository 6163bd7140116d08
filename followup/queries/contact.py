"""Where and in which language a person may be written to."""

from __future__ import annotations

import re
from datetime import datetime

from django.conf import settings

from followup.domain.dates.quiet import after_quiet
from followup.domain.words import Channel, Language
from followup.models import Consent, Patient

_SEPARATORS = re.compile(r"[\s()./-]+")
_NUMBER = re.compile(r"\+?\d{6,15}")
"""Up to 15 digits (ITU-T E.164, section 6)."""


def language_for(patient: Patient) -> Language:
    """The person's own language if messages are written in it, else the clinic's. Needs the site at hand."""
    return Language.recognised(patient.language) or Language(patient.site.language)


def zone_for(patient: Patient) -> str:
    """The zone in whose night the person is not disturbed. Needs the site at hand."""
    return patient.time_zone or patient.site.time_zone


def free_from(patient: Patient, instant: datetime) -> datetime:
    """The instant itself, or the end of the quiet hours it lies in where this person lives."""
    site = patient.site
    return after_quiet(instant, zone_for(patient), site.quiet_from_hour, site.quiet_until_hour)


def address_for(patient: Patient, channel: Channel) -> str:
    """The address or number a message goes to on this channel; empty where there is none that works."""
    return patient.email if channel is Channel.EMAIL else text_number(patient.phone)


def text_number(phone: str) -> str:
    """A number as a gateway takes it; empty where more than one number, or a word, is written there."""
    bare = _SEPARATORS.sub("", phone)
    return bare if _NUMBER.fullmatch(bare) else ""


def open_channels() -> list[Channel]:
    """Ways on which messages can be sent at all, the preferred first."""
    return [Channel.TEXT, Channel.EMAIL] if settings.TEXT_GATEWAY_URL else [Channel.EMAIL]


def agrees_to(patient: Patient, channel: Channel) -> bool:
    """Is consent in force for this channel?"""
    return patient.consents.filter(channel=channel.value, withdrawn_on=None).exists()


def refuses(patient: Patient, channel: Channel) -> bool:
    """Was consent given and withdrawn, and not given again? Never asked is no refusal."""
    given = [consent for consent in patient.consents.all() if consent.channel == channel.value]
    return bool(given) and all(consent.withdrawn_on for consent in given)


def consents_of(patient: Patient) -> list[Consent]:
    """Every consent of this person, in force or not, the newest first, with who was told."""
    told = patient.consents.select_related("given_by", "withdrawn_by").order_by("-given_on", "-id")
    return sorted(told, key=lambda consent: consent.withdrawn_on is not None)
