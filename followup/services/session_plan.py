"""What a calendar of sessions would do to those on record, row by row, before anything is written."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, time
from enum import StrEnum
from typing import Any, TypeAlias

from followup.domain.errors import FollowUpError
from followup.domain.words import AppointmentState
from followup.models import Appointment, Change, Session, Site
from followup.services.history import snapshot
from followup.services.sessions import check_hours

GONE = "No longer in the calendar."
CALLED_OFF = "Cancelled in the calendar."
SAID = ("kind", "title", "day", "starts", "ends", "places")
_MOVES = {"kind", "day", "starts", "ends", "cancelled"}
"""What must not change of a session while people are booked in it."""
_Key: TypeAlias = tuple[str, str]
_Slot: TypeAlias = tuple[str, str, date, time]


class Outcome(StrEnum):
    NEW = "new"
    CHANGED = "changed"
    SAME = "same"
    GONE = "gone"
    PERSON = "needs a person"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True)
class CalendarSession:
    """One session as a calendar has it, in wall times at the site. UID and recurrence tell it from others."""

    line: int
    uid: str
    recurrence: str
    kind: str
    title: str
    day: date
    starts: time
    ends: time
    places: int
    cancelled: bool = False
    notes: tuple[str, ...] = ()

    @property
    def key(self) -> _Key:
        return self.uid, self.recurrence

    @property
    def values(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in SAID}


@dataclass(frozen=True, slots=True)
class CalendarOfSessions:
    """Everything of a calendar from `first` to `last`.

    name: what the site calls it, which tells its sessions from those of another calendar; unread: UIDs of
    entries that were refused, so that their sessions are not taken as gone; whole: nothing else is missing.
    """

    name: str
    first: date
    last: date
    sessions: tuple[CalendarSession, ...]
    unread: frozenset[str] = frozenset()
    whole: bool = True


@dataclass(frozen=True, slots=True)
class SessionRow:
    """What becomes of one session. said: by the calendar; session: on record; reason: for a person."""

    outcome: Outcome
    title: str
    day: date
    starts: time
    reason: str = ""
    said: CalendarSession | None = None
    session: Session | None = None
    differs: dict[str, Any] = field(default_factory=dict)


class Plan:
    """The sessions on record, against which a calendar is judged. Reads the database four times at most."""

    def __init__(self, site: Site, calendar: CalendarOfSessions, today: date) -> None:
        self.site, self.calendar, self.today = site, calendar, today
        sessions = list(
            Session.objects.filter(site=site).select_related("site").order_by("day", "starts", "id")
        )
        self.known: dict[_Key, Session] = {key: row for row in sessions if (key := _source(row)) is not None}
        self.slots: dict[_Slot, Session] = {_slot(row): row for row in sessions if row.day >= today}
        held = Appointment.objects.filter(session__site=site, day__gte=today)
        held = held.exclude(state=AppointmentState.CANCELLED.value)
        self.booked = Counter(held.values_list("session_id", flat=True))
        self.taken_away = _taken_away(sessions)
        self.wanted = {said.key for said in calendar.sessions}
        self.renamed: set[int] = set()

    def rows(self) -> list[SessionRow]:
        """In the order of the calendar, then what is missing in it."""
        seen: set[_Key] = set()
        rows: list[SessionRow] = []
        for said in self.calendar.sessions:
            again = said.key in seen
            seen.add(said.key)
            row = _row(said, Outcome.REFUSED, "Stands twice in the calendar.") if again else self._judge(said)
            rows += [row] if row else []
        return rows + list(self._missing(seen))

    def _judge(self, said: CalendarSession) -> SessionRow | None:
        """None for a session that was called off before it was ever on record."""
        session = self.known.get(said.key)
        if said.cancelled:
            return self._cancelled(said, session, CALLED_OFF) if session else None
        session = session or self._known_otherwise(said)
        if session is None:
            return self._opened(said)
        if session.day < self.today:
            reason = f"Was on {session.day:%-d %b %Y}, which is over. A new one needs a UID of its own."
            return _row(said, Outcome.PERSON, reason, session)
        if session.cancelled and session.pk not in self.taken_away:
            return _row(
                said, Outcome.PERSON, "Cancelled here and still in the calendar: nothing is done.", session
            )
        return self._compared(said, session)

    def _known_otherwise(self, said: CalendarSession) -> Session | None:
        """The session of this name and time that was opened by hand, or had another UID in an earlier file.

        Some calendars give new UIDs at every export.
        """
        there = self.slots.get(_slot(said))
        if there is None or there.pk is None or _source(there) in self.wanted or there.pk in self.renamed:
            return None
        self.renamed.add(there.pk)
        return there

    def _opened(self, said: CalendarSession) -> SessionRow:
        session = Session(
            site=self.site, source_uid=said.uid, source_recurrence=said.recurrence, **said.values
        )
        return self._allowed(said, Outcome.NEW, session, said.values)

    def _compared(self, said: CalendarSession, session: Session) -> SessionRow:
        differs = {name: value for name, value in said.values.items() if getattr(session, name) != value}
        if session.cancelled:
            differs["cancelled"] = False
        if _source(session) != said.key:
            differs |= {"source_uid": said.uid, "source_recurrence": said.recurrence}
        if not differs:
            return _row(said, Outcome.SAME, "", session)
        booked = self.booked[session.pk]
        if booked and differs.keys() & _MOVES:
            return _row(
                said, Outcome.PERSON, f"{_people(booked)} booked: move them, then import again.", session
            )
        if said.places < booked:
            reason = f"{_people(booked)} booked, more than {said.places} places."
            return _row(said, Outcome.PERSON, reason, session)
        return self._allowed(said, Outcome.CHANGED, session, differs)

    def _allowed(
        self, said: CalendarSession, outcome: Outcome, session: Session, differs: dict[str, Any]
    ) -> SessionRow:
        """The row, after which its time is taken; a refusal where the session cannot be as it should."""
        if self.slots.get(_slot(said), session) is not session:
            return _row(said, Outcome.REFUSED, "A session of this name at this time is there already.")
        try:
            check_hours(Session(site=self.site, **said.values), self.today)
        except FollowUpError as fault:
            return _row(said, Outcome.REFUSED, fault.message)
        if session.pk is not None:
            self.slots.pop(_slot(session), None)
        self.slots[_slot(said)] = session
        on_record = session if session.pk is not None else None
        reason = _reason(said, on_record, differs)
        return SessionRow(outcome, said.title, said.day, said.starts, reason, said, on_record, differs)

    def _missing(self, seen: set[_Key]) -> Iterable[SessionRow]:
        for key, session in self.known.items():
            within = self.calendar.first <= session.day <= self.calendar.last
            if key in seen or session.pk in self.renamed or session.cancelled or not within:
                continue
            if session.source_calendar != self.calendar.name:
                continue
            if self.calendar.whole and key[0] not in self.calendar.unread:
                yield self._cancelled(None, session, GONE)
            else:
                reason = "Its entry in the calendar could not be read: it stays as it is."
                yield _row(None, Outcome.PERSON, reason, session)

    def _cancelled(self, said: CalendarSession | None, session: Session, why: str) -> SessionRow:
        if session.cancelled:
            return _row(said, Outcome.SAME, "", session)
        if booked := self.booked[session.pk]:
            reason = f"{why} {_people(booked)} booked: move them, then cancel it."
            return _row(said, Outcome.PERSON, reason, session)
        return _row(said, Outcome.GONE, why, session)


def digest_of_rows(rows: Iterable[SessionRow]) -> str:
    """The same for the same rows in the same order, so that what is written is what was looked at."""
    said = [
        (
            row.outcome.value,
            row.title,
            str(row.day),
            str(row.starts),
            row.reason,
            row.session and row.session.pk,
        )
        for row in rows
    ]
    return hashlib.sha256(repr(said).encode()).hexdigest()


def _row(
    said: CalendarSession | None, outcome: Outcome, reason: str, session: Session | None = None
) -> SessionRow:
    named = said or session
    assert named is not None
    return SessionRow(outcome, named.title, named.day, named.starts, reason, said, session)


def _slot(session: Session | CalendarSession) -> _Slot:
    return session.kind, session.title, session.day, session.starts


def _source(session: Session) -> _Key | None:
    return (session.source_uid, session.source_recurrence) if session.source_uid is not None else None


def _reason(said: CalendarSession, session: Session | None, differs: dict[str, Any]) -> str:
    """What changes, and what the calendar left in doubt."""
    parts = [
        f"{name.capitalize()} {_readable(getattr(session, name))}, now {_readable(said.values[name])}."
        for name in SAID
        if session is not None and name in differs
    ]
    if session is not None and "cancelled" in differs:
        parts.append("Open again.")
    if session is not None and "source_uid" in differs:
        parts.append(
            "Has another UID now." if session.source_uid else "Opened by hand; the calendar leads now."
        )
    return " ".join([*parts, *(f"{note}." for note in said.notes)])


def _readable(value: Any) -> str:
    return f"{value:%H:%M}" if isinstance(value, time) else str(value)


def _people(number: int) -> str:
    return "1 person is" if number == 1 else f"{number} people are"


def _taken_away(sessions: Sequence[Session]) -> set[int]:
    """Sessions whose last change was that a calendar took them away: it may bring them back."""
    cancelled = [row.pk for row in sessions if row.cancelled and row.source_uid is not None]
    changes = Change.objects.filter(subject="session", subject_id__in=cancelled).order_by("id")
    last = {change.subject_id: change for change in changes}
    return {pk for pk, change in last.items() if pk and change.after.get("reason") in (GONE, CALLED_OFF)}


def values_of(session: Session) -> dict[str, Any]:
    return snapshot(session, (*SAID, "cancelled", "source_calendar", "source_uid", "source_recurrence"))
