"""How many places of a session are free, and for whom."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Count, Q, QuerySet

from followup.domain.words import AppointmentState
from followup.models import Appointment, Session, Site

_HELD = ~Q(state=AppointmentState.CANCELLED.value)


@dataclass(frozen=True, slots=True)
class SessionRow:
    """A session with the number of its places that are held, whether or not the person came."""

    session: Session
    taken: int
    routine: int
    """Those of them that are held by people who are not urgent."""

    @property
    def free(self) -> int:
        """Places left for anybody who is urgent, and on the day itself for everybody."""
        return max(0, self.session.places - self.taken)

    def free_on(self, today: date) -> int:
        """Places left today for people who are not urgent."""
        return free_places(self.session, self.taken, self.routine, today)


def free_places(session: Session, taken: int, routine: int, today: date) -> int:
    """Places that people who are not urgent may take: until the day itself, none of the reserve."""
    left = session.places - taken
    if session.day > today:
        left = min(left, session.places - session.urgent_places - routine)
    return max(0, left)


def sessions_from(site: Site, day: date) -> list[SessionRow]:
    """Every session of the site from `day` on, the first first; the cancelled ones too."""
    return with_places(Session.objects.filter(site=site, day__gte=day))


def with_places(sessions: QuerySet[Session]) -> list[SessionRow]:
    """Sessions in the order of time, each with the places that are held."""
    held = Appointment.objects.filter(_HELD, session__in=sessions.order_by().values("pk"))
    counted = held.values("session").annotate(taken=Count("id"), routine=Count("id", filter=Q(urgent=False)))
    by_session = {row["session"]: (row["taken"], row["routine"]) for row in counted}
    ordered = sessions.order_by("day", "starts", "id")
    return [SessionRow(row, *by_session.get(row.pk, (0, 0))) for row in ordered]


def open_sessions(site: Site, kind: str, first: date, last: date | None = None) -> list[SessionRow]:
    """Sessions of a kind that are not cancelled, from `first` to `last`, full ones too."""
    sessions = Session.objects.filter(site=site, kind=kind, cancelled=False, day__gte=first)
    return with_places(sessions.filter(day__lte=last) if last else sessions)
