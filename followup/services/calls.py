"""Who is on the telephone with whom: a claim that two callers cannot both hold, and that runs out."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta

from django.db import IntegrityError, transaction
from django.db.models import Q

from followup.domain.errors import Refused
from followup.domain.roles import Action
from followup.models import CallClaim, Patient, Staff
from followup.services.rows import need_role

LASTS = timedelta(minutes=10)
"""Long enough for a call; somebody who went home holds nobody up."""


def claim_call(*, by: Staff, now: datetime, patient: Patient) -> CallClaim:
    """This person is this caller's for ten minutes. Raises Refused while somebody else holds them."""
    need_role(by, Action.CONTACT)
    if not _take(by, now, patient.pk):
        raise Refused(f"Somebody else is calling {patient} at this moment.", code="claimed")
    return CallClaim.objects.get(patient=patient)


def claim_first(*, by: Staff, now: datetime, patients: Iterable[Patient]) -> Patient | None:
    """The first of these people whom nobody else holds, claimed; whoever the caller held before is let go."""
    need_role(by, Action.CONTACT)
    for patient in patients:
        if _take(by, now, patient.pk):
            CallClaim.objects.filter(by=by).exclude(patient=patient).delete()
            return patient
    CallClaim.objects.filter(by=by).delete()
    return None


def release_call(*, by: Staff, patient: Patient) -> None:
    """Lets this person go; what somebody else holds stays theirs."""
    CallClaim.objects.filter(by=by, patient=patient).delete()


def _take(by: Staff, now: datetime, patient_id: int) -> bool:
    """Takes over a claim that is free, run out or one's own, by one conditional update; else makes it."""
    free = Q(by=by) | Q(until__lte=now)
    if CallClaim.objects.filter(free, patient_id=patient_id).update(by=by, until=now + LASTS):
        return True
    if CallClaim.objects.filter(patient_id=patient_id).exists():
        return False
    try:
        # Two who find no claim both try: the database keeps one row a person.
        with transaction.atomic():
            CallClaim.objects.create(patient_id=patient_id, by=by, until=now + LASTS)
    except IntegrityError:
        return False
    return True
