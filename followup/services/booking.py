"""Booked places and the sessions that hold them: opened, booked, moved, cancelled, and what became of them.

A place is never deleted, and every change raises its sequence number by one.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time

from django.db import transaction

from followup.domain.dates.zones import local_day
from followup.domain.errors import Refused
from followup.domain.words import AppointmentState, CancelledBy, Lane, NotAttending, SessionKind
from followup.models import Appointment, Eye, Patient, Session, Site, Staff
from followup.services.history import record_change, snapshot
from followup.services.places import (
    SHOWN,
    cancel_all,
    check_eye,
    check_person,
    check_session,
    check_state,
    first_due,
    place,
    record,
    served,
    set_state,
)
from followup.services.rows import known, locked, required, save_valid
from followup.services.sessions import check_hours, check_is_new
from followup.services.symptoms import check_may_be_booked

_SESSION_SHOWN = ("kind", "title", "day", "starts", "ends", "places", "urgent_places", "cancelled")


@transaction.atomic
def open_session(
    *,
    by: Staff | None,
    now: datetime,
    site: Site,
    kind: str,
    title: str,
    day: date,
    starts: time,
    ends: time,
    places: int,
    urgent_places: int = 0,
) -> Session:
    """A clinic or theatre list that can be booked. Times are wall times at the site.

    Of its places, `urgent_places` are kept for urgent people until the day itself. Raises Refused for a past
    day, hours that end before they start, no places or more places than minutes, more urgent places than
    places, and a list that is there already; BadValue for an unknown kind or a time that the clocks skip.
    """
    session = Session(
        site=site,
        kind=known(SessionKind, kind, field="kind").value,
        title=required(title, field="title", message="Give the list a name."),
        day=day,
        starts=starts,
        ends=ends,
        places=places,
        urgent_places=urgent_places,
    )
    locked(site)
    check_hours(session, local_day(now, site.time_zone))
    check_is_new(session)
    save_valid(session)
    record_change(
        by=by,
        at=now,
        site=site,
        verb="open_session",
        subject=session,
        after=snapshot(session, _SESSION_SHOWN),
    )
    return session


@transaction.atomic
def book_appointment(
    *,
    by: Staff | None,
    now: datetime,
    today: date,
    patient: Patient,
    session: Session,
    lane: str,
    eye: Eye | None = None,
    note: str = "",
    original_due: date | None = None,
    time: time | None = None,
    urgent: bool = False,
) -> Appointment:
    """Books one place: for a review of the person, or for the removal of one eye's tamponade in theatre.

    `time` is the wall time at the site, by default the next free one; `original_due` is by default the target
    of the first open milestone that the day serves, or the day first due that the clinic put off. An urgent
    person may take a place that is kept for such. Raises Refused when the session is full, past, cancelled,
    at another site or of the wrong kind, when the person died or has a place in it already, and when a
    removal names no eye or a review names one.
    """
    patient, session = locked(patient), locked(session)
    wanted = known(Lane, lane, field="lane")
    check_person(patient)
    if not urgent:
        check_may_be_booked(patient)
    check_eye(wanted, patient, eye)
    check_session(session, patient, wanted, today)
    milestones = served(patient, eye, session.day)
    appointment = Appointment(
        patient=patient,
        eye=eye,
        lane=wanted.value,
        note=note.strip(),
        original_due=original_due or first_due(patient, wanted, eye, milestones),
        urgent=urgent,
    )
    place(appointment, session, time, milestones, now, today)
    record(by, now, appointment, "book_appointment", before={})
    return appointment


@transaction.atomic
def move_appointment(
    *,
    by: Staff | None,
    now: datetime,
    today: date,
    appointment: Appointment,
    session: Session,
    time: time | None = None,
) -> Appointment:
    """Moves a place to another session. It keeps its identity and the date it was first due.

    Raises Refused as book_appointment does, and for a place that is past or no longer booked: say first what
    happened to it, then book another.
    """
    patient = locked(appointment.patient)
    session = locked(session)
    appointment = locked(appointment)
    check_state(appointment, [AppointmentState.BOOKED], "moved")
    if appointment.day < today:
        raise Refused(
            f"This place was on {appointment.day:%-d %b %Y}. Say what happened to it, then book another.",
            code="appointment_past",
        )
    before = snapshot(appointment, SHOWN)
    check_person(patient)
    check_may_be_booked(patient)
    check_session(session, patient, Lane(appointment.lane), today)
    place(appointment, session, time, served(patient, appointment.eye, session.day), now, today)
    record(by, now, appointment, "move_appointment", before)
    return appointment


@transaction.atomic
def cancel_appointment(
    *, by: Staff | None, now: datetime, appointment: Appointment, cancelled_by: str, reason: str
) -> Appointment:
    """Gives the place back, and keeps the row with who cancelled and why.

    Raises Refused for a place that was cancelled or whose outcome is known.
    """
    who = known(CancelledBy, cancelled_by, field="cancelled_by")
    if who is CancelledBy.DEATH:
        raise Refused(
            "Record the death itself: it cancels everything that is booked.",
            field="cancelled_by",
            code="record_the_death",
        )
    locked(appointment.patient)
    appointment = locked(appointment)
    check_state(appointment, [AppointmentState.BOOKED, AppointmentState.ARRIVED], "cancelled")
    cancel_all(by=by, now=now, appointments=[appointment], cancelled_by=who, reason=reason)
    return appointment


@transaction.atomic
def mark_arrived(*, by: Staff | None, now: datetime, today: date, appointment: Appointment) -> Appointment:
    """The person is here. Raises Refused before the day, or for a place no longer booked."""
    came_from = [AppointmentState.BOOKED, AppointmentState.NOSHOW]
    return _outcome(by, now, today, appointment, AppointmentState.ARRIVED, came_from, "")


@transaction.atomic
def mark_attended(*, by: Staff | None, now: datetime, today: date, appointment: Appointment) -> Appointment:
    """The person came. Raises Refused before the day, or for a place that was cancelled."""
    came_from = [AppointmentState.BOOKED, AppointmentState.ARRIVED, AppointmentState.NOSHOW]
    return _outcome(by, now, today, appointment, AppointmentState.FULFILLED, came_from, "")


@transaction.atomic
def mark_not_attended(
    *, by: Staff | None, now: datetime, today: date, appointment: Appointment, reason: str = "not_known"
) -> Appointment:
    """The person did not come; `reason` is a code of NotAttending.

    Raises Refused before the day, for a place that was cancelled, and where a visit says that they came.
    """
    why = known(NotAttending, reason, field="reason")
    locked(appointment.patient)
    if _has_visit(appointment):
        raise Refused(
            f"A visit is recorded for this place on {appointment.day:%-d %b %Y}, so the person came.",
            code="visit_recorded",
        )
    came_from = [AppointmentState.BOOKED, AppointmentState.ARRIVED, AppointmentState.FULFILLED]
    return _outcome(by, now, today, appointment, AppointmentState.NOSHOW, came_from, why.value)


def _outcome(
    by: Staff | None,
    now: datetime,
    today: date,
    appointment: Appointment,
    state: AppointmentState,
    came_from: Sequence[AppointmentState],
    reason: str,
) -> Appointment:
    locked(appointment.patient)
    appointment = locked(appointment)
    check_state(appointment, came_from, f'marked as "{state.label.lower()}"')
    if appointment.day > today:
        raise Refused(
            f"This place is on {appointment.day:%-d %b %Y}, still to come. Move or cancel it instead.",
            code="still_to_come",
        )
    verb = {
        AppointmentState.ARRIVED: "mark_arrived",
        AppointmentState.FULFILLED: "mark_attended",
        AppointmentState.NOSHOW: "mark_not_attended",
    }[state]
    set_state(by, now, appointment, state, verb, {"reason": reason})
    return appointment


def _has_visit(appointment: Appointment) -> bool:
    return Appointment.objects.filter(pk=appointment.pk, visit__in_error=False).exists()
