"""Sessions from a calendar: what the import would do, and the import itself.

A session is known by the UID of its entry and by which repetition it is, so the same calendar read again
changes what changed and doubles nothing. Nobody's booked place is touched: where people are booked, a person
decides.
"""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from followup.domain.dates.zones import local_day
from followup.domain.errors import Refused
from followup.domain.roles import Action
from followup.models import Session, Site, Staff
from followup.services.cancel_session import cancel_session
from followup.services.history import record_change
from followup.services.rows import locked, need_role, save_valid
from followup.services.session_plan import (
    CalendarOfSessions,
    Outcome,
    Plan,
    SessionRow,
    digest_of_rows,
    values_of,
)
from followup.services.sessions import hold_sessions


def preview_sessions(*, now: datetime, site: Site, calendar: CalendarOfSessions) -> list[SessionRow]:
    """What `import_sessions` would do now. Writes nothing."""
    return Plan(site, calendar, local_day(now, site.time_zone)).rows()


@transaction.atomic
def import_sessions(
    *, by: Staff | None, now: datetime, site: Site, calendar: CalendarOfSessions, shown: str | None = None
) -> list[SessionRow]:
    """Opens the new sessions, changes the changed ones and cancels those gone; all in one transaction.

    The rows that need a person, and those refused, are left as they are. `shown` is the digest of the rows
    that somebody looked at. Raises NotAllowed for a role that may not import, Refused where the rows would be
    others than those shown.
    """
    if by is not None:
        need_role(by, Action.IMPORT)
    locked(site)
    hold_sessions(site)
    rows = preview_sessions(now=now, site=site, calendar=calendar)
    if shown is not None and shown != digest_of_rows(rows):
        raise Refused(
            "The sessions changed since you looked. Look again, then confirm.", code="changed_meanwhile"
        )
    for row in rows:
        _apply(by, now, site, calendar, row)
    return rows


def _apply(
    by: Staff | None, now: datetime, site: Site, calendar: CalendarOfSessions, row: SessionRow
) -> None:
    match row.outcome:
        case Outcome.NEW if row.said:
            session = Session(site=site, source_uid=row.said.uid, source_recurrence=row.said.recurrence)
            _write(by, now, calendar, session, row, "open_session")
        case Outcome.CHANGED if row.session:
            _write(by, now, calendar, locked(row.session), row, "change_session")
        case Outcome.GONE if row.session:
            cancel_session(by=by, now=now, session=row.session, reason=row.reason)
        case _:
            pass


def _write(
    by: Staff | None,
    now: datetime,
    calendar: CalendarOfSessions,
    session: Session,
    row: SessionRow,
    verb: str,
) -> None:
    before = values_of(session) if session.pk else {}
    for name, value in row.differs.items():
        setattr(session, name, value)
    session.source_calendar = calendar.name
    session.urgent_places = min(session.urgent_places, session.places)
    save_valid(session)
    after = values_of(session)
    record_change(
        by=by,
        at=now,
        site=session.site,
        verb=verb,
        subject=session,
        before={name: value for name, value in before.items() if after[name] != value},
        after={name: value for name, value in after.items() if before.get(name) != value},
    )
