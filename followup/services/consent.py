"""What a person agreed to receive, channel by channel: given and withdrawn on a day, never overwritten."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from followup.domain.errors import BadValue, Refused
from followup.domain.words import Channel
from followup.models import Consent, Patient, Staff
from followup.services.history import record_change, snapshot
from followup.services.outbox import withhold_messages_to
from followup.services.places import check_person
from followup.services.rows import known, locked, save_valid

_SHOWN = ("channel", "given_on", "withdrawn_on")


@transaction.atomic
def give_consent(
    *, by: Staff, now: datetime, today: date, patient: Patient, channel: str, given_on: date | None = None
) -> Consent:
    """The person agrees to be reached on this channel, from `given_on`, by default today.

    Raises Refused for a person who died, a day in the future, and where consent is in force already;
    BadValue for a channel that needs no consent.
    """
    patient = locked(patient)
    check_person(patient)
    way = _agreed(channel)
    day = _not_future(given_on or today, today, "given_on")
    in_force = _in_force(patient, way)
    if in_force is not None:
        raise Refused(
            f"{patient} agreed to this channel on {in_force.given_on:%-d %b %Y} already.",
            field="channel",
            code="already_agreed",
        )
    consent = Consent(patient=patient, channel=way.value, given_on=day, given_by=by)
    save_valid(consent)
    _record(by, now, consent, "give_consent", {})
    return consent


@transaction.atomic
def withdraw_consent(
    *,
    by: Staff | None,
    now: datetime,
    today: date,
    patient: Patient,
    channel: str,
    withdrawn_on: date | None = None,
) -> Consent:
    """The person wants nothing more on this channel; what waits to be sent there is withheld at once.

    `by` is None where the person did it, by the address in a message.
    Raises Refused where no consent is in force, and for a day in the future or before it was given.
    """
    patient = locked(patient)
    way = _agreed(channel)
    consent = _in_force(patient, way)
    if consent is None:
        raise Refused(f"{patient} has no consent in force for this channel.", code="not_agreed")
    day = _not_future(withdrawn_on or today, today, "withdrawn_on")
    if day < consent.given_on:
        raise Refused(
            f"Consent was given on {consent.given_on:%-d %b %Y}, after {day:%-d %b %Y}. Check both days.",
            field="withdrawn_on",
            code="before_given",
        )
    before = snapshot(consent, _SHOWN)
    consent.withdrawn_on, consent.withdrawn_by = day, by
    save_valid(consent)
    withhold_messages_to(patient=patient, reason="Consent was withdrawn.", channel=way.value)
    _record(by, now, consent, "withdraw_consent", before)
    return consent


def _agreed(channel: str) -> Channel:
    way = known(Channel, channel, field="channel")
    if not way.needs_consent:
        asked = ", ".join(word.value for word in Channel if word.needs_consent)
        raise BadValue(
            f'No consent is asked for "{way.label.lower()}". Choose one of: {asked}.', field="channel"
        )
    return way


def _not_future(day: date, today: date, field: str) -> date:
    if day > today:
        raise Refused(f"{day:%-d %b %Y} lies in the future.", field=field, code="in_the_future")
    return day


def _in_force(patient: Patient, channel: Channel) -> Consent | None:
    return patient.consents.filter(channel=channel.value, withdrawn_on=None).first()


def _record(by: Staff | None, now: datetime, consent: Consent, verb: str, before: dict[str, object]) -> None:
    record_change(
        by=by,
        at=now,
        site=consent.patient.site,
        verb=verb,
        subject=consent,
        patient=consent.patient,
        before=before,
        after=snapshot(consent, _SHOWN),
    )
