"""Attempts to reach people, and the day on which to take the next step of the ladder."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.db import transaction

from followup.domain.dates.zones import local_day
from followup.domain.errors import NotAllowed, Refused
from followup.domain.facts import AttemptFact
from followup.domain.ladder import Chase, rung_on
from followup.domain.roles import Role
from followup.domain.words import Channel, ContactResult, NotAttending
from followup.models import ContactAttempt, Eye, OutboxMessage, Patient, Staff
from followup.queries.ladder import ladder_of
from followup.queries.standing import site_standings
from followup.services.history import record_change, snapshot
from followup.services.places import AWAITING, check_person
from followup.services.rows import known, locked, save_valid
from followup.services.symptoms import report_symptoms

_AFTER_CALL_BACK = 2
_SHOWN = ("day", "channel", "number_used", "result", "reason", "next_step_on", "is_warning", "note")


@transaction.atomic
def record_attempt(
    *,
    by: Staff | None,
    now: datetime,
    today: date,
    patient: Patient,
    channel: str,
    result: str,
    number_used: str = "",
    reason: str = "",
    next_step_on: date | None = None,
    is_warning: bool = False,
    note: str = "",
) -> ContactAttempt:
    """One attempt, and when to take the next step: the day given, else the day that the ladder says.

    `by` is None for the night's work. New symptoms are reported as well. Raises Refused for a person who
    died, a next step in the past, a warning that is no letter, and a word with the next of kin to which
    nobody agreed; NotAllowed for a role that may not take this step of the site's ladder; BadValue for an
    unknown code.
    """
    patient = locked(patient)
    check_person(patient)
    outcome = known(ContactResult, result, field="result")
    way = known(Channel, channel, field="channel")
    _check_role(by, patient, way)
    _check_kin(patient, way)
    _check_fields(today, next_step_on, is_warning, way)
    attempt = ContactAttempt(
        patient=patient,
        made_by=by,
        made_at=now,
        day=today,
        channel=way.value,
        number_used=number_used.strip(),
        result=outcome.value,
        reason=known(NotAttending, reason, field="reason").value if reason else "",
        next_step_on=next_step_on,
        is_warning=is_warning,
        note=note.strip(),
    )
    save_valid(attempt)
    if attempt.next_step_on is None:
        attempt.next_step_on = _next_step(patient, outcome, today)
        attempt.save(update_fields=["next_step_on"])
    record_change(
        by=by,
        at=now,
        site=patient.site,
        verb="record_attempt",
        subject=attempt,
        patient=patient,
        after=snapshot(attempt, _SHOWN),
    )
    if outcome is ContactResult.SYMPTOMS and by is not None:
        told = attempt.note or "Told of new symptoms when called."
        report_symptoms(by=by, now=now, today=today, patient=patient, note=told)
    return attempt


def record_returned(*, patient_id: int, now: datetime, message: OutboxMessage, problem: str) -> None:
    """A message could not be delivered: kept as an attempt, so that somebody checks the address."""
    patient = Patient.objects.select_related("site").get(pk=patient_id)
    if patient.died_on is not None:
        return
    record_attempt(
        by=None,
        now=now,
        today=local_day(now, patient.site.time_zone),
        patient=patient,
        channel=message.channel,
        result=ContactResult.RETURNED.value,
        number_used=message.to[:60],
        note=f"Not delivered. {problem}"[:400],
    )


def _check_role(by: Staff | None, patient: Patient, channel: Channel) -> None:
    step = ladder_of(patient.site).served_by(channel)
    if by is not None and step is not None and by.role not in {role.value for role in step.by}:
        able = " or ".join(role.label.lower() for role in Role if role in step.by)
        raise NotAllowed(f'The step "{step.title}" is for a {able} at {patient.site}.')


def _check_kin(patient: Patient, channel: Channel) -> None:
    if (
        channel is Channel.KIN
        and not patient.consents.filter(channel=channel.value, withdrawn_on=None).exists()
    ):
        raise Refused(
            "No consent to speak with the next of kin is on record. Record it first under Consent, or take "
            "another way.",
            field="channel",
            code="kin_without_consent",
        )


def _check_fields(today: date, next_step_on: date | None, is_warning: bool, channel: Channel) -> None:
    if next_step_on is not None and next_step_on < today:
        raise Refused(
            f"The next step on {next_step_on:%-d %b %Y} is past. Choose today or later.",
            field="next_step_on",
            code="next_step_past",
        )
    if is_warning and channel is not Channel.LETTER:
        raise Refused(
            "A warning on record is a letter. Choose the letter, or take the tick away.",
            field="is_warning",
            code="warning_is_a_letter",
        )


def _next_step(patient: Patient, result: ContactResult, today: date) -> date | None:
    """None where nothing is to be waited for: a place is booked, or a clinician decides on a refusal."""
    match result:
        case ContactResult.SYMPTOMS:
            return today
        case ContactResult.CALL_BACK:
            return today + timedelta(days=_AFTER_CALL_BACK)
        case ContactResult.WILL_COME:
            return None if _is_booked(patient, today) else today + timedelta(days=1)
        case ContactResult.REFUSED:
            return None
        case ContactResult.WRONG_NUMBER | ContactResult.RETURNED:
            return today + timedelta(days=1)
        case _:
            return _by_the_ladder(patient, today)


def _by_the_ladder(patient: Patient, today: date) -> date | None:
    """The earliest next step of the person's eyes. None while a place ahead serves them all."""
    eyes = list(Eye.objects.filter(patient=patient).values_list("pk", flat=True))
    rows = site_standings(site=patient.site, day=today, eye_ids=eyes)
    due = [row.standing.contact.due for row in rows if row.standing.contact]
    if due:
        return max(today, min(due))
    if rows:
        return None
    attempts = tuple(
        AttemptFact(made.day, ContactResult(made.result), Channel(made.channel), made.next_step_on)
        for made in patient.attempts.order_by("day", "id")
    )
    return rung_on(ladder_of(patient.site), Chase(attempts=attempts), today).due


def _is_booked(patient: Patient, today: date) -> bool:
    return patient.appointments.filter(day__gte=today, state__in=AWAITING).exists()
