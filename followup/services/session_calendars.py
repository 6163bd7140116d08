"""Calendars of sessions as a site keeps them: the last file of each, looked at and then written."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from followup.domain.roles import Action
from followup.models import SessionCalendar, Site, Staff
from followup.services.history import record_change, snapshot
from followup.services.rows import locked, need_role, required, save_valid
from followup.services.session_import import import_sessions
from followup.services.session_plan import CalendarOfSessions, SessionRow

_SHOWN = ("name", "usual_kind", "usual_places", "named", "days", "file_name")


@transaction.atomic
def keep_session_calendar(
    *,
    by: Staff,
    now: datetime,
    site: Site,
    name: str,
    file_name: str,
    content: bytes,
    usual_kind: str = "",
    usual_places: int | None = None,
    named: str = "",
    days: int = 400,
) -> SessionCalendar:
    """The file takes the place of the last one of this name. Writes no session.

    Raises NotAllowed for a role that may not import, Refused without a name, BadValue for a kind without
    places or days outside 1 to 1100.
    """
    need_role(by, Action.IMPORT)
    locked(site)
    wanted = required(name, field="name", message="Give the calendar a name, for example clinics.")
    kept = SessionCalendar.objects.filter(site=site, name=wanted).first()
    before = snapshot(kept, _SHOWN) if kept else {}
    kept = kept or SessionCalendar(site=site, name=wanted)
    kept.usual_kind, kept.usual_places = usual_kind, usual_places
    kept.named, kept.days = named.strip(), days
    kept.file_name, kept.content = file_name[:200], content
    kept.read_at, kept.read_by = now, by
    save_valid(kept)
    record_change(
        by=by,
        at=now,
        site=site,
        verb="keep_session_calendar",
        subject=kept,
        before=before,
        after=snapshot(kept, _SHOWN),
    )
    return kept


@transaction.atomic
def import_session_calendar(
    *, by: Staff, now: datetime, kept: SessionCalendar, calendar: CalendarOfSessions, shown: str
) -> list[SessionRow]:
    """Writes the sessions as `shown` says they were looked at. As import_sessions."""
    rows = import_sessions(by=by, now=now, site=kept.site, calendar=calendar, shown=shown)
    kept = locked(kept)
    kept.imported_at = now
    kept.save(update_fields=["imported_at"])
    return rows
