"""Attempts to reach people, and the day on which to take the next step."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.db import transaction

from followup.domain.dates.zones import local_day
from followup.domain.errors import Refused
from followup.domain.words import Channel, ContactResult, NotAttending
from followup.models import ContactAttempt, OutboxMessage, Patient, Staff, Visit
from followup.services.history import record_change, snapshot
from followup.services.places import AWAITING, check_person
from followup.services.rows import known, locked, save_valid

LADDER = (2, 1, 4, 7, 7)
"""Days to wait after each attempt in a row that reached nobody (common practice, no source).

Telephone on day 0, again on day 2 at another hour, a message on day 3, a letter on day 7, the referrer on
day 14, and on day 21 a clinician decides.
"""

_AFTER_CALL_BACK = 2
_SHOWN = ("day", "channel", "number_used", "result", "reason", "next_step_on", "note")


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
    note: str = "",
) -> ContactAttempt:
    """One attempt, and when to take the next step: the day given, else the day that the ladder says.

    `by` is None for the night's work. Raises Refused for a person who died and a next step in the past,
    BadValue for an unknown code.
    """
    patient = locked(patient)
    check_person(patient)
    outcome = known(ContactResult, result, field="result")
    if next_step_on is not None and next_step_on < today:
        raise Refused(
            f"The next step on {next_step_on:%-d %b %Y} is past. Choose today or later.",
            field="next_step_on",
            code="next_step_past",
        )
    attempt = ContactAttempt(
        patient=patient,
        made_by=by,
        made_at=now,
        day=today,
        channel=known(Channel, channel, field="channel").value,
        number_used=number_used.strip(),
        result=outcome.value,
        reason=known(NotAttending, reason, field="reason").value if reason else "",
        next_step_on=next_step_on or _next_step(patient, outcome, today),
        note=note.strip(),
    )
    save_valid(attempt)
    record_change(
        by=by,
        at=now,
        site=patient.site,
        verb="record_attempt",
        subject=attempt,
        patient=patient,
        after=snapshot(attempt, _SHOWN),
    )
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
            return today + timedelta(days=_pause_after(1 + _failed_in_a_row(patient)))


def _pause_after(failed: int) -> int:
    return LADDER[min(failed, len(LADDER)) - 1]


def _failed_in_a_row(patient: Patient) -> int:
    """Attempts that reached nobody, since anybody was reached or the person was last seen."""
    seen = Visit.objects.filter(patient=patient, in_error=False).order_by("-day").first()
    attempts = ContactAttempt.objects.filter(patient=patient).order_by("-day", "-id")
    if seen is not None:
        attempts = attempts.filter(day__gt=seen.day)
    failed = 0
    for result in attempts.values_list("result", flat=True):
        if ContactResult(result).reached:
            break
        failed += 1
    return failed


def _is_booked(patient: Patient, today: date) -> bool:
    return patient.appointments.filter(day__gte=today, state__in=AWAITING).exists()
