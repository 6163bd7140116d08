"""What operations and visits have in common: a plausible day, and dropping out when entered in error."""

from __future__ import annotations

from datetime import date, datetime

from followup.domain.errors import Refused
from followup.models import Operation, Patient, Staff, Visit
from followup.services.rows import save_valid


def check_day(patient: Patient, day: date, today: date, *, what: str, field: str) -> None:
    """Refused for a day in the future, before this person was born or after they died."""
    if day > today:
        raise Refused(
            f"The {what} on {day:%-d %b %Y} lies in the future. Today is {today:%-d %b %Y}.",
            field=field,
            code="in_the_future",
        )
    if patient.birth_date is not None and day < patient.birth_date:
        raise Refused(
            f"The {what} on {day:%-d %b %Y} is before {patient}'s birth on {patient.birth_date:%-d %b %Y}. "
            "Check both dates.",
            field=field,
            code="before_birth",
        )
    if patient.died_on is not None and day > patient.died_on:
        raise Refused(
            f"The {what} on {day:%-d %b %Y} is after {patient}'s death on {patient.died_on:%-d %b %Y}. "
            "Check both dates; a death recorded in error can be undone.",
            field=field,
            code="after_death",
        )


def check_not_in_error(entry: Operation | Visit) -> None:
    if entry.in_error:
        raise Refused("This entry is marked as entered in error already.", code="already_in_error")


def mark_in_error(entry: Operation | Visit, by: Staff | None, now: datetime, reason: str) -> None:
    """The entry drops out of the rules from now on; who, when and why stay with it."""
    entry.in_error = True
    entry.in_error_by = by
    entry.in_error_at = now
    entry.in_error_reason = reason
    save_valid(entry)
