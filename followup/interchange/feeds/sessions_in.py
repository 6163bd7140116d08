"""A calendar of clinics and theatre lists, read as sessions of a site."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime

from followup.domain.dates.zones import zone
from followup.domain.errors import BadValue
from followup.domain.words import SessionKind
from followup.interchange.feeds.problems import Problem
from followup.interchange.feeds.read import read_calendar
from followup.interchange.feeds.recur import Occurrence, occurrences
from followup.models import Site
from followup.services.session_plan import CalendarOfSessions, CalendarSession

LONGEST_TITLE = 80


@dataclass(frozen=True, slots=True)
class KindOfSession:
    kind: SessionKind
    places: int


@dataclass(frozen=True, slots=True)
class Kinds:
    """What kind of session an entry is: by its category or its summary, else the usual one, if any."""

    usual: KindOfSession | None = None
    named: Mapping[str, KindOfSession] = field(default_factory=dict)

    def of(self, occurrence: Occurrence) -> KindOfSession | None:
        names = {name.casefold(): kind for name, kind in self.named.items()}
        wanted = (*occurrence.entry.categories, occurrence.entry.summary)
        return next((names[name.casefold()] for name in wanted if name.casefold() in names), self.usual)


class _NoSession(Exception):
    """This entry is no session, for a reason that can be told."""


def read_kind(text: str) -> tuple[str, KindOfSession]:
    """NAME=KIND:PLACES as a person writes it, for example Cataract list=theatre:4. Raises BadValue."""
    name, _, rest = text.rpartition("=")
    kind, _, places = rest.partition(":")
    if not name.strip() or kind not in SessionKind.codes() or not (places.isascii() and places.isdigit()):
        raise BadValue(
            f'"{text}" does not say which entries are what. Write the name of a category or of a session, '
            "then clinic or theatre, then the places: Retina clinic=clinic:10."
        )
    return name.strip(), KindOfSession(SessionKind(kind), int(places))


def read_sessions(
    data: bytes, *, site: Site, kinds: Kinds, name: str, first: date, last: date
) -> tuple[CalendarOfSessions, list[Problem]]:
    """The sessions of a calendar from `first` to `last`, and everything in it that is wrong or in doubt.

    Raises BadValue for what is no iCalendar file.
    """
    found = read_calendar(data, site_zone=site.time_zone)
    happening, later = occurrences(found, first=first, last=last)
    problems = [*found.problems, *later]
    sessions: list[CalendarSession] = []
    for occurrence in happening:
        try:
            sessions.append(_session(occurrence, kinds, site.time_zone))
        except _NoSession as fault:
            message = f"{occurrence.starts:%Y-%m-%d}: {fault}"
            problems.append(Problem(occurrence.entry.line, occurrence.uid, "", message, refused=True))
    unread = frozenset(problem.uid for problem in problems if problem.refused)
    calendar = CalendarOfSessions(
        name, first, last, tuple(sessions), unread=unread - {""}, whole="" not in unread
    )
    return calendar, problems


def _session(occurrence: Occurrence, kinds: Kinds, site_zone: str) -> CalendarSession:
    kind = kinds.of(occurrence)
    if kind is None:
        raise _NoSession("it is not stated what kind of session this is, nor how many places it has.")
    starts, ends = _wall(occurrence.starts, site_zone), _wall(occurrence.ends, site_zone)
    if ends <= starts:
        raise _NoSession("it has no end after its start.")
    if ends.date() != starts.date():
        raise _NoSession(f"it ends on another day, {ends:%Y-%m-%d %H:%M}.")
    title = " ".join(occurrence.entry.summary.split()) or kind.kind.label
    if len(title) > LONGEST_TITLE:
        raise _NoSession(f"its name has more than {LONGEST_TITLE} characters.")
    return CalendarSession(
        line=occurrence.entry.line,
        uid=occurrence.uid,
        recurrence=occurrence.recurrence,
        kind=kind.kind.value,
        title=title,
        day=starts.date(),
        starts=starts.time(),
        ends=ends.time(),
        places=kind.places,
        cancelled=occurrence.cancelled,
        notes=occurrence.notes,
    )


def _wall(value: date | datetime, site_zone: str) -> datetime:
    if not isinstance(value, datetime):
        raise _NoSession("it lasts whole days, and a session has hours.")
    return value.astimezone(zone(site_zone)).replace(tzinfo=None)
