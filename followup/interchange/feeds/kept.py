"""A calendar of sessions as a site keeps it: taken in from a file, and read again for today."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from followup.domain.dates.zones import local_day
from followup.domain.errors import BadValue, FollowUpError
from followup.domain.words import SessionKind
from followup.interchange.feeds.problems import Problem
from followup.interchange.feeds.sessions_in import KindOfSession, Kinds, read_kind, read_sessions
from followup.models import SessionCalendar, Site, Staff
from followup.services.session_calendars import keep_session_calendar
from followup.services.session_plan import CalendarOfSessions


def take_calendar(
    *,
    by: Staff,
    now: datetime,
    site: Site,
    name: str,
    file_name: str,
    content: bytes,
    usual_kind: str,
    usual_places: int | None,
    named: str,
    days: int,
) -> SessionCalendar:
    """Keeps a file that can be read. As keep_session_calendar, and BadValue for one that cannot."""
    unsaved = SessionCalendar(
        site=site, name=name, usual_kind=usual_kind, usual_places=usual_places, named=named, days=days
    )
    unsaved.content = content
    read_kept(unsaved, local_day(now, site.time_zone))
    return keep_session_calendar(
        by=by,
        now=now,
        site=site,
        name=name,
        file_name=file_name,
        content=content,
        usual_kind=usual_kind,
        usual_places=usual_places,
        named=named,
        days=days,
    )


def read_kept(kept: SessionCalendar, today: date) -> tuple[CalendarOfSessions, list[Problem]]:
    """Its sessions from today on, and what is wrong or in doubt. Raises BadValue, naming the field."""
    kinds = _kinds(kept)
    try:
        return read_sessions(
            bytes(kept.content),
            site=kept.site,
            kinds=kinds,
            name=kept.name,
            first=today,
            last=today + timedelta(days=kept.days),
        )
    except FollowUpError as fault:
        raise BadValue(fault.message, field="file") from fault


def _kinds(kept: SessionCalendar) -> Kinds:
    try:
        named = dict(read_kind(line) for line in kept.named.splitlines() if line.strip())
    except BadValue as fault:
        raise BadValue(fault.message, field="named") from fault
    if bool(kept.usual_kind) != (kept.usual_places is not None):
        field = "usual_places" if kept.usual_kind else "usual_kind"
        raise BadValue("Give the usual kind and its places together, or neither.", field=field)
    if not kept.usual_kind and not named:
        raise BadValue("Say what the entries are: the usual kind, or by name below.", field="usual_kind")
    usual = KindOfSession(SessionKind(kept.usual_kind), kept.usual_places or 0) if kept.usual_kind else None
    return Kinds(usual, named)
