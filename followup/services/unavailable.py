"""Days on which somebody said that they cannot come."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from followup.domain.errors import Refused
from followup.models import Patient, Staff, Unavailable
from followup.services.history import record_change, snapshot
from followup.services.rows import locked, save_valid

_SHOWN = ("first_day", "last_day", "reason")


@transaction.atomic
def add_unavailable(
    *, by: Staff | None, now: datetime, patient: Patient, first_day: date, last_day: date, reason: str = ""
) -> Unavailable:
    """The person cannot come on these days, both included. Raises Refused for a last before the first."""
    patient = locked(patient)
    if last_day < first_day:
        raise Refused(
            f"The last day, {last_day:%-d %b %Y}, comes before the first.",
            field="last_day",
            code="last_before_first",
        )
    away = Unavailable(patient=patient, first_day=first_day, last_day=last_day, reason=reason.strip())
    save_valid(away)
    record_change(
        by=by,
        at=now,
        site=patient.site,
        patient=patient,
        verb="add_unavailable",
        subject=away,
        after=snapshot(away, _SHOWN),
    )
    return away


@transaction.atomic
def remove_unavailable(*, by: Staff | None, now: datetime, away: Unavailable) -> None:
    """They can come on these days after all."""
    patient = locked(away.patient)
    record_change(
        by=by,
        at=now,
        site=patient.site,
        patient=patient,
        verb="remove_unavailable",
        subject=away,
        before=snapshot(away, _SHOWN),
    )
    away.delete()
