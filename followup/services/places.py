"""One booked place: what it must not be, and how each of its changes is written down.

`booking` holds the verbs; visits, operations and decisions use these parts too. All need the patient locked.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time
from typing import Any

from django.db.models import Q, QuerySet

from followup.domain.dates.zones import localise
from followup.domain.errors import Refused
from followup.domain.words import AppointmentState, CancelledBy, Lane, Mark, SessionKind
from followup.models import Appointment, Eye, Milestone, Patient, Session, Staff
from followup.queries.postponed import postponed_of
from followup.services.history import record_change, snapshot
from followup.services.rows import locked, save_valid
from followup.services.sessions import check_reserve, held_times, next_free_time, session_full, slot_minutes

SHOWN = (
    "session",
    "eye",
    "lane",
    "day",
    "local_time",
    "starts_at",
    "state",
    "cancelled_by",
    "reason",
    "original_due",
    "booked_late",
    "urgent",
    "note",
    "sequence",
)
AWAITING = tuple(state.value for state in AppointmentState if state.awaits_outcome)
_KIND_OF_LANE = {Lane.REVIEW: SessionKind.CLINIC, Lane.REMOVAL: SessionKind.THEATRE}


# Checks


def check_person(patient: Patient) -> None:
    if patient.died_on is not None:
        raise Refused(f"{patient} died on {patient.died_on:%-d %b %Y}.", code="patient_died")


def check_eye(lane: Lane, patient: Patient, eye: Eye | None) -> None:
    if lane is Lane.REMOVAL and eye is None:
        raise Refused("Say which eye is to be operated on.", field="eye", code="eye_missing")
    if lane is Lane.REVIEW and eye is not None:
        raise Refused("A review sees the person, both eyes: name no eye.", field="eye", code="eye_not_wanted")
    if eye is not None and eye.patient_id != patient.pk:
        raise Refused(f"That eye does not belong to {patient}.", field="eye", code="other_patient")


def check_session(session: Session, patient: Patient, lane: Lane, today: date) -> None:
    where = f"{session.title} on {session.day:%-d %b %Y}"
    if session.site_id != patient.site_id:
        raise Refused(f"{where} is at another clinic than {patient}.", field="session", code="other_site")
    if session.cancelled:
        raise Refused(
            f"{where} is cancelled. Choose another list.", field="session", code="session_cancelled"
        )
    if session.day < today:
        raise Refused(f"{where} is over. Choose a list from today on.", field="session", code="session_past")
    if session.kind != _KIND_OF_LANE[lane].value:
        wanted = "theatre list" if lane is Lane.REMOVAL else "clinic"
        raise Refused(f"{where} is no {wanted}. Choose one.", field="session", code="wrong_kind_of_session")


def check_state(appointment: Appointment, allowed: Sequence[AppointmentState], verb: str) -> None:
    state = AppointmentState(appointment.state)
    if state not in allowed:
        raise Refused(
            f'This place on {appointment.day:%-d %b %Y} stands as "{state.label.lower()}", '
            f"so it cannot be {verb}. Look at the list again.",
            code="wrong_state",
        )


# Writing


def place(
    appointment: Appointment,
    session: Session,
    wished: time | None,
    milestones: Sequence[Milestone],
    now: datetime,
    today: date,
) -> None:
    """Gives the appointment a free time in a session that is locked, and saves it."""
    _check_not_twice(appointment, session)
    check_reserve(session, urgent=appointment.urgent, today=today)
    at = _free_time(session, wished)
    appointment.session = session
    appointment.day = session.day
    appointment.local_time = at
    appointment.starts_at = localise(session.day, at, session.site.time_zone)
    appointment.minutes = slot_minutes(session)
    appointment.booked_late = any(milestone.closes < session.day for milestone in milestones)
    _touch(appointment, now)


def _check_not_twice(appointment: Appointment, session: Session) -> None:
    places = session.appointments.exclude(state=AppointmentState.CANCELLED.value)
    if places.filter(patient=appointment.patient).exists():
        raise Refused(
            f"{appointment.patient} has a place in {session.title} on {session.day:%-d %b %Y} already.",
            field="session",
            code="already_in_session",
        )


def _free_time(session: Session, wished: time | None) -> time:
    if wished is None:
        return next_free_time(session)
    held = held_times(session)
    if len(held) >= session.places:
        raise session_full(session)
    if not session.starts <= wished < session.ends:
        raise Refused(
            f"{session.title} runs from {session.starts:%H:%M} to {session.ends:%H:%M}, "
            f"so {wished:%H:%M} is outside it.",
            field="time",
            code="outside_session",
        )
    if wished in held:
        raise Refused(
            f"{wished:%H:%M} is taken. Choose another time, or none for the next free one.",
            field="time",
            code="time_taken",
        )
    return wished


def first_due(patient: Patient, lane: Lane, eye: Eye | None, milestones: Sequence[Milestone]) -> date | None:
    """The first target that a booking serves; or the day first due of what the clinic cancelled since."""
    put_off = postponed_of(patient, lane, eye)
    targets = [milestone.target for milestone in milestones]
    return min([*targets, *([put_off.first_due] if put_off else [])], default=None)


def served(patient: Patient, eye: Eye | None, day: date) -> list[Milestone]:
    """Open milestones that a place on this day serves: reviews of both eyes, or the removal of one."""
    whose = Q(lane=Lane.REVIEW.value, course__eye__patient=patient)
    if eye is not None:
        whose = Q(lane=Lane.REMOVAL.value, course__eye=eye)
    return list(
        Milestone.objects.filter(
            whose,
            Q(period_ends__isnull=True) | Q(period_ends__gte=day),
            course__superseded_on__isnull=True,
            mark=Mark.OPEN.value,
            opens__lte=day,
        ).order_by("target", "id")
    )


def set_state(
    by: Staff | None,
    now: datetime,
    appointment: Appointment,
    state: AppointmentState,
    verb: str,
    values: dict[str, str],
) -> None:
    before = snapshot(appointment, SHOWN)
    appointment.state = state.value
    for name, value in values.items():
        setattr(appointment, name, value)
    _touch(appointment, now)
    record(by, now, appointment, verb, before)


def keep_wall_time(by: Staff | None, now: datetime, appointment: Appointment) -> None:
    """The instant follows the time on the wall, whatever the rules of the zone were when it was booked."""
    before = snapshot(appointment, SHOWN)
    zone_name = appointment.session.site.time_zone
    appointment.starts_at = localise(appointment.day, appointment.local_time, zone_name)
    _touch(appointment, now)
    record(by, now, appointment, "keep_wall_time", before)


def _touch(appointment: Appointment, now: datetime) -> None:
    """Saves with a higher sequence number, so that a calendar that holds it takes the change (RFC 5545)."""
    if appointment.pk is not None:
        appointment.sequence += 1
    appointment.changed_at = now
    save_valid(appointment)


def record(
    by: Staff | None, now: datetime, appointment: Appointment, verb: str, before: dict[str, Any]
) -> None:
    record_change(
        by=by,
        at=now,
        site=appointment.patient.site,
        verb=verb,
        subject=appointment,
        patient=appointment.patient,
        before=before,
        after=snapshot(appointment, SHOWN),
    )


# Several at once, and from elsewhere


def awaiting(appointments: QuerySet[Appointment]) -> list[Appointment]:
    """Those of these places that await their outcome, locked."""
    waiting = appointments.filter(state__in=AWAITING).order_by("id")
    return list(waiting.select_for_update(no_key=True, of=("self",)).select_related("patient__site"))


def cancel_all(
    *,
    by: Staff | None,
    now: datetime,
    appointments: Sequence[Appointment],
    cancelled_by: CancelledBy,
    reason: str,
) -> None:
    """Cancels places that are already locked and judged, each with its own row of history."""
    for appointment in appointments:
        values = {"cancelled_by": cancelled_by.value, "reason": reason.strip()}
        set_state(by, now, appointment, AppointmentState.CANCELLED, "cancel_appointment", values)


def fulfil(
    *, by: Staff | None, now: datetime, appointment: Appointment, patient: Patient, day: date
) -> Appointment:
    """The place led to a visit or an operation on `day`. Needs the patient locked.

    Raises Refused for a place of another person or day, or one that was cancelled.
    """
    appointment = locked(appointment)
    if appointment.patient_id != patient.pk:
        raise Refused(f"That place belongs to somebody else than {patient}.", code="other_patient")
    if appointment.day != day:
        raise Refused(
            f"The place is on {appointment.day:%-d %b %Y}, not on {day:%-d %b %Y}. "
            "Leave the appointment out, or correct the date.",
            field="appointment",
            code="other_day",
        )
    came_from = [state for state in AppointmentState if state.holds_place]
    check_state(appointment, came_from, "attended")
    if appointment.state != AppointmentState.FULFILLED.value:
        set_state(by, now, appointment, AppointmentState.FULFILLED, "mark_attended", {"reason": ""})
    return appointment


def await_again(*, by: Staff | None, now: datetime, appointment: Appointment) -> None:
    """The visit that showed its outcome was entered in error, so somebody must say again what happened."""
    set_state(by, now, locked(appointment), AppointmentState.BOOKED, "await_outcome_again", {})
