"""The facts, read again just before a message leaves: is it still right to send?"""

from __future__ import annotations

from datetime import date, datetime

from followup.domain.dates.zones import local_day
from followup.models import OutboxMessage, Patient
from followup.services.night import DIGEST
from followup.services.outbox import patient_of_key


def reason_to_withhold(*, message: OutboxMessage, now: datetime) -> str:
    """Why the message must not go out any more; empty if it may."""
    if message.kind == DIGEST:
        return _stale_digest(message, now)
    patient_id = patient_of_key(message.key)
    if patient_id is not None and not Patient.objects.filter(pk=patient_id, died_on=None).exists():
        return "The patient died, or is no longer on record."
    return ""


def _stale_digest(message: OutboxMessage, now: datetime) -> str:
    _, _, day, address = message.key.split("/", 3)
    if local_day(now, message.site.time_zone) != date.fromisoformat(day):
        return f"The digest of {day} was not sent on its day; a newer one tells more."
    if address not in message.site.digest_email.split():
        return "This address no longer gets the digest."
    return ""
