"""What closing an eye does to the places booked for it."""

from __future__ import annotations

from datetime import date, datetime

from django.db.models import Q

from followup.domain.standing import closing_decision
from followup.domain.words import CancelledBy, Lane
from followup.models import Eye, Operation, Patient, Staff
from followup.queries.facts import eye_histories
from followup.services.places import awaiting, cancel_all


def operated_eyes_of(patient: Patient) -> list[Eye]:
    """Eyes with an operation that is not entered in error, the right one first."""
    operated = Operation.objects.filter(eye__patient=patient, in_error=False).values("eye_id")
    return list(patient.eyes.filter(pk__in=operated).order_by("-side"))


def is_closed(eye: Eye) -> bool:
    """Closed by a signature that no later operation reopened; an eye never operated on is not."""
    history = eye_histories([eye.pk])[eye.pk]
    if not history.operations:
        return False
    return closing_decision(history.decisions, history.operations[-1].date) is not None


def cancel_places_of_closed_eyes(
    *, by: Staff, now: datetime, today: date, eye: Eye, cancelled_by: CancelledBy
) -> None:
    """Cancels theatre places ahead of this eye, and reviews ahead unless an open eye needs them."""
    served_alone = Q(eye=eye, lane=Lane.REMOVAL.value)
    if all(is_closed(other) for other in operated_eyes_of(eye.patient)):
        served_alone |= Q(lane=Lane.REVIEW.value)
    places = awaiting(eye.patient.appointments.filter(served_alone, day__gte=today))
    reason = f"The {eye.get_side_display()} eye was closed."
    cancel_all(by=by, now=now, appointments=places, cancelled_by=cancelled_by, reason=reason)
