"""The hours and places of a session: a clinic or a theatre list."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from followup.domain.dates.zones import localise
from followup.domain.errors import BadValue, Refused
from followup.domain.words import AppointmentState
from followup.models import Session, Site
from followup.queries.sessions import free_places


def check_hours(session: Session, today: date) -> None:
    """Refused for a past day, wrong hours or places that do not fit; BadValue for a time the clocks skip."""
    if session.day < today:
        raise Refused(
            f"{session.day:%-d %b %Y} is over. Choose a day from today on.", field="day", code="session_past"
        )
    if session.ends <= session.starts:
        raise Refused(
            f"A list that starts at {session.starts:%H:%M} cannot end at {session.ends:%H:%M}.",
            field="ends",
            code="ends_before_it_starts",
        )
    if not 1 <= session.places <= minutes_of(session):
        raise Refused(
            f"{session.places} places do not fit: this list can hold 1 to {minutes_of(session)}.",
            field="places",
            code="places_range",
        )
    if session.urgent_places > session.places:
        raise Refused(
            f"{session.urgent_places} places for urgent people are more than all {session.places}.",
            field="urgent_places",
            code="urgent_places_range",
        )
    try:
        localise(session.day, session.starts, session.site.time_zone)
    except BadValue as fault:
        raise BadValue(fault.message, field="starts", code="skipped_time") from fault


def check_is_new(session: Session) -> None:
    """Refused for a list that is there already. Needs the site locked."""
    if Session.objects.filter(
        site=session.site,
        kind=session.kind,
        title=session.title,
        day=session.day,
        starts=session.starts,
    ).exists():
        raise Refused(
            f'"{session.title}" on {session.day:%-d %b %Y} at {session.starts:%H:%M} is there already.',
            field="title",
            code="session_exists",
        )


def hold_sessions(site: Site) -> None:
    """Nobody is booked into a session of the site between judging and writing. Needs the site locked."""
    list(Session.objects.filter(site=site).select_for_update(no_key=True).order_by("id").values_list("id"))


def minutes_of(session: Session) -> int:
    """Whole minutes by the clock on the wall."""
    length = datetime.combine(session.day, session.ends) - datetime.combine(session.day, session.starts)
    return int(length.total_seconds() // 60)


def slot_minutes(session: Session) -> int:
    """The minutes of one place, when all places are used."""
    return minutes_of(session) // session.places


def next_free_time(session: Session) -> time:
    """The first time that nobody holds; Refused when every place is held. Needs the session locked."""
    held = held_times(session)
    if len(held) >= session.places:
        raise session_full(session)
    return next(slot for slot in _slots(session) if slot not in held)


def held_times(session: Session) -> list[time]:
    """The wall times of all places that are held, whether or not the person came."""
    holding = session.appointments.exclude(state=AppointmentState.CANCELLED.value)
    return list(holding.values_list("local_time", flat=True))


def check_reserve(session: Session, *, urgent: bool, today: date) -> None:
    """Refused where only places kept for urgent people are left, before the day. Needs the session locked."""
    if urgent or session.day <= today or not session.urgent_places:
        return
    holding = session.appointments.exclude(state=AppointmentState.CANCELLED.value)
    if free_places(session, holding.count(), holding.filter(urgent=False).count(), today) == 0:
        if holding.count() >= session.places:
            raise session_full(session)
        raise Refused(
            f"The places left in {session.title} on {session.day:%-d %b %Y} are kept for urgent people until "
            "that day. Say that it is urgent, or choose another list.",
            field="session",
            code="kept_for_urgent",
        )


def session_full(session: Session) -> Refused:
    return Refused(
        f"{session.title} on {session.day:%-d %b %Y} is full: all {session.places} places are taken. "
        "Choose another list.",
        field="session",
        code="session_full",
    )


def _slots(session: Session) -> Iterator[time]:
    first = datetime.combine(session.day, session.starts)
    length = timedelta(minutes=slot_minutes(session))
    return ((first + number * length).time() for number in range(session.places))
