"""Cancelling a whole session: its people move together to another, or are to be booked again."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime

from django.db import transaction

from followup.domain.errors import Refused
from followup.domain.words import AppointmentState, CancelledBy, Lane
from followup.models import Appointment, Patient, Session, Staff
from followup.services.history import record_change, snapshot
from followup.services.places import (
    AWAITING,
    SHOWN,
    awaiting,
    cancel_all,
    check_person,
    check_session,
    place,
    record,
    served,
)
from followup.services.rows import locked, save_valid


@transaction.atomic
def cancel_session(
    *,
    by: Staff | None,
    now: datetime,
    session: Session,
    reason: str,
    today: date | None = None,
    move_to: Session | None = None,
) -> Session:
    """Cancels a list. Everybody in it who awaits an outcome moves to `move_to`, or is to be booked again.

    Moving needs `today`; each keeps the day first due, and whoever has arrived is not moved but refused.
    All move or none does. Raises Refused for a list that was cancelled already, for another list without room
    for all, past, cancelled, of another kind or site, and where somebody holds a place in it already.
    """
    people = _hold_people(session)
    session, other = _hold_sessions(session, move_to)
    if session.cancelled:
        raise Refused(f"{_named(session)} was cancelled already.", code="cancelled")
    places = awaiting(session.appointments.all())
    if not {each.patient_id for each in places} <= people:
        raise Refused(f"{_named(session)} changed a moment ago. Look at it again.", code="changed_meanwhile")
    session.cancelled = True
    session.withdrawn = False
    save_valid(session)
    if other is not None and today is not None:
        _move_all(by, now, today, places, other)
    else:
        cancel_all(by=by, now=now, appointments=places, cancelled_by=CancelledBy.CLINIC, reason=reason)
    record_change(
        by=by,
        at=now,
        site=session.site,
        verb="cancel_session",
        subject=session,
        before={"cancelled": False},
        after={
            "cancelled": True,
            "reason": reason,
            "appointments": [each.pk for each in places],
            "moved_to": other.pk if other else None,
        },
    )
    return session


def _hold_people(session: Session) -> set[int]:
    """Locks those who await an outcome in the session; people come before sessions."""
    waiting = session.appointments.filter(state__in=AWAITING).values("patient")
    people = Patient.objects.filter(pk__in=waiting).order_by("id").select_for_update(no_key=True)
    return set(people.values_list("pk", flat=True))


def _hold_sessions(session: Session, other: Session | None) -> tuple[Session, Session | None]:
    """Both as they are now, locked in the order of their numbers."""
    if other is None:
        return locked(session), None
    if other.pk == session.pk:
        raise Refused(
            "Choose another list than the one that is cancelled.", field="move_to", code="same_list"
        )
    held = {row.pk: locked(row) for row in sorted((session, other), key=lambda row: row.pk)}
    return held[session.pk], held[other.pk]


def _move_all(
    by: Staff | None, now: datetime, today: date, places: Sequence[Appointment], other: Session
) -> None:
    held = other.appointments.exclude(state=AppointmentState.CANCELLED.value).count()
    if len(places) > other.places - held:
        raise Refused(
            f"{_named(other)} has {max(0, other.places - held)} places free, too few for {len(places)}. "
            "Choose another list.",
            field="move_to",
            code="no_room_for_all",
        )
    for each in places:
        _move(by, now, today, each, other)


def _move(by: Staff | None, now: datetime, today: date, each: Appointment, other: Session) -> None:
    if each.state != AppointmentState.BOOKED.value:
        raise Refused(
            f"{each.patient} has arrived. Say what became of that place first.", code="somebody_arrived"
        )
    check_person(each.patient)
    check_session(other, each.patient, Lane(each.lane), today)
    before = snapshot(each, SHOWN)
    place(each, other, None, served(each.patient, each.eye, other.day), now, today)
    record(by, now, each, "move_appointment", before)


def _named(session: Session) -> str:
    return f"{session.title} on {session.day:%-d %b %Y}"
