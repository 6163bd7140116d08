"""Sessions with free places, what booking one would meet, and places whose outcome nobody has told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count, Q, QuerySet

from followup.domain.pathway.milestones import Milestone
from followup.domain.words import AppointmentState, Lane, SessionKind, Side
from followup.models import Appointment, Eye, Patient, Session, Site
from followup.queries.standing import EyeStandingRow, site_standings

_AWAITING = [state.value for state in AppointmentState if state.awaits_outcome]
MOST_OFFERS = 30
CANCELLED_SHOWN_FOR = timedelta(days=90)
"""How long a calendar keeps what is over or cancelled, so that every subscriber learns of it."""


@dataclass(frozen=True, slots=True)
class SessionRow:
    session: Session
    taken: int

    @property
    def free(self) -> int:
        return max(0, self.session.places - self.taken)


@dataclass(frozen=True, slots=True)
class Offer:
    """A session with a free place, and what booking it would do for the milestones awaited."""

    session: Session
    free: int
    reasons: tuple[str, ...]
    rank: int
    """0 in every window, 1 in one eye's window only, 2 late but counted, 3 meets nothing."""


@dataclass(frozen=True, slots=True)
class Awaited:
    """A milestone that a booking is to serve, and the eye it belongs to."""

    side: Side
    milestone: Milestone


def sessions_from(site: Site, day: date) -> list[SessionRow]:
    """Every session of the site from `day` on, the first first; the cancelled ones too."""
    return _with_taken(Session.objects.filter(site=site, day__gte=day))


def _with_taken(sessions: QuerySet[Session]) -> list[SessionRow]:
    """Sessions in the order of time, each with the number of places that are held."""
    held = Appointment.objects.filter(session__in=sessions.order_by().values("pk"))
    held = held.exclude(state=AppointmentState.CANCELLED.value)
    taken = dict(held.values_list("session").annotate(Count("id")))
    return [SessionRow(row, taken.get(row.pk, 0)) for row in sessions.order_by("day", "starts", "id")]


def awaited_of(rows: Sequence[EyeStandingRow], lane: Lane, eye: Eye | None) -> list[Awaited]:
    """The next milestones that a booking in this lane serves: both eyes in a clinic, one eye in theatre."""
    return [
        Awaited(row.side, step.milestone)
        for row in rows
        for step in row.standing.lanes
        if step.lane is lane and step.milestone and (lane is Lane.REVIEW or row.eye == eye)
    ]


def standings_of(patient: Patient, day: date) -> list[EyeStandingRow]:
    """Where this person's operated eyes stand. Needs the site at hand."""
    ids = list(Eye.objects.filter(patient=patient).values_list("pk", flat=True))
    return site_standings(site=patient.site, day=day, eye_ids=ids)


def offers(*, site: Site, day: date, lane: Lane, awaited: Sequence[Awaited]) -> list[Offer]:
    """Sessions of the right kind with a free place that fit best: best first, then in the order of time."""
    kind = SessionKind.THEATRE if lane is Lane.REMOVAL else SessionKind.CLINIC
    sessions = Session.objects.filter(site=site, kind=kind.value, cancelled=False, day__gte=day)
    found = [_offer(row, lane, awaited) for row in _with_taken(sessions) if row.free]
    target = max(min((step.milestone.target for step in awaited), default=day), day)
    found.sort(key=lambda offer: (offer.rank, abs((offer.session.day - target).days), offer.session.pk))
    return sorted(
        found[:MOST_OFFERS], key=lambda offer: (offer.rank, offer.session.day, offer.session.starts)
    )


def _offer(row: SessionRow, lane: Lane, awaited: Sequence[Awaited]) -> Offer:
    fits = [_fit(row.session.day, step, lane) for step in awaited]
    ranks = [rank for rank, _ in fits]
    rank = (0 if max(ranks) == 0 else 1) if 0 in ranks else min(ranks, default=0)
    reasons = [reason for _, reason in fits]
    if len(ranks) > 1 and max(ranks) < 3:
        reasons.append("Serves both eyes")
    return Offer(row.session, row.free, tuple(reasons), rank)


def _fit(day: date, step: Awaited, lane: Lane) -> tuple[int, str]:
    milestone = step.milestone
    name = f"{step.side.label} {milestone.title}"
    if day < milestone.opens:
        return 3, f"{name}: {_days(milestone.opens - day)} before its window opens, so it would not count"
    if day <= milestone.closes:
        left = milestone.closes - day
        when = f"{_days(left)} before its end" if left else "on its last day"
        return 0, f"{name}: in the window, {when}"
    if lane is Lane.REMOVAL or milestone.period_holds(day):
        return 2, f"{name}: {_days(day - milestone.closes)} after the window"
    return 3, f"{name}: after its period, so it would stay missed"


def _days(length: timedelta) -> str:
    return f"{length.days} day" if length.days == 1 else f"{length.days} days"


def without_outcome(site: Site, day: date) -> list[Appointment]:
    """Past places of which nobody has said what happened, the longest ago first."""
    places = Appointment.objects.filter(patient__site=site, day__lt=day, state__in=_AWAITING)
    return list(
        places.select_related("patient", "session", "eye", "visit").order_by("day", "local_time", "id")
    )


def appointments_of_person(patient: Patient) -> list[Appointment]:
    """Every place this person ever had, the last first."""
    places = Appointment.objects.filter(patient=patient).select_related("patient", "session", "eye", "visit")
    return list(places.order_by("-day", "-local_time", "-id"))


def places_to_attend(patient: Patient, lane: Lane, day: date) -> QuerySet[Appointment]:
    """Places up to `day` that a visit or an operation may have filled: whoever came is marked so."""
    open_states = [*_AWAITING, AppointmentState.NOSHOW.value]
    places = Appointment.objects.filter(patient=patient, lane=lane.value, day__lte=day, state__in=open_states)
    return places.select_related("session", "patient").order_by("-day", "-id")


def calendar_appointments(site: Site, now: datetime, day: date) -> list[Appointment]:
    """What a calendar of the site shows: places ahead, and for 90 days those past or cancelled."""
    places = Appointment.objects.filter(patient__site=site, day__gte=day - CANCELLED_SHOWN_FOR)
    stale = Q(state=AppointmentState.CANCELLED.value, changed_at__lt=now - CANCELLED_SHOWN_FOR)
    return list(places.exclude(stale).select_related("session").order_by("starts_at", "id"))
