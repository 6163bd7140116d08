"""Sessions with free places, what booking one would meet, and places whose outcome nobody has told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import QuerySet

from followup.domain.pathway.milestones import Milestone
from followup.domain.words import AppointmentState, Lane, SessionKind, Side
from followup.models import Appointment, Eye, Patient, Session, Site, Unavailable
from followup.queries.sessions import open_sessions
from followup.queries.standing import EyeStandingRow, site_standings

_AWAITING = [state.value for state in AppointmentState if state.awaits_outcome]
MOST_OFFERS = 30
MEETS_NOTHING = 3
"""The rank of a place on a day that counts for no window, or on which the person cannot come."""


@dataclass(frozen=True, slots=True)
class Offer:
    """A session with a free place, and what booking it would do for the milestones awaited."""

    session: Session
    free: int
    """Places left for this person; for somebody who is not urgent without those kept for urgent people."""
    reasons: tuple[str, ...]
    rank: int
    """0 in every window, 1 in one eye's window only, 2 late but counted, or MEETS_NOTHING."""


@dataclass(frozen=True, slots=True)
class Awaited:
    """A milestone that a booking is to serve, and the eye it belongs to."""

    side: Side
    milestone: Milestone


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


def offers(
    *, patient: Patient, day: date, lane: Lane, awaited: Sequence[Awaited], urgent: bool = False
) -> list[Offer]:
    """Sessions of the right kind with a free place that fit best: best first, then in the order of time.

    An urgent person is offered the places kept for such too. Needs the site at hand.
    """
    kind = SessionKind.THEATRE if lane is Lane.REMOVAL else SessionKind.CLINIC
    known = _Known(patient, day, lane)
    found = []
    for row in open_sessions(patient.site, kind.value, day):
        free = row.free if urgent else row.free_on(day)
        if free:
            found.append(_offer(row.session, free, lane, awaited, known))
    counts = any(offer.rank < MEETS_NOTHING for offer in found)
    # A place that meets nothing is wanted for another reason, and then the sooner the better.
    target = max(min((step.milestone.target for step in awaited), default=day), day) if counts else day
    found.sort(key=lambda offer: (offer.rank, abs((offer.session.day - target).days), offer.session.pk))
    return sorted(
        found[:MOST_OFFERS], key=lambda offer: (offer.rank, offer.session.day, offer.session.starts)
    )


class _Known:
    """What else is known of a person's days: when they cannot come, and when they come anyway."""

    def __init__(self, patient: Patient, day: date, lane: Lane) -> None:
        away = Unavailable.objects.filter(patient=patient, last_day__gte=day)
        self.away = list(away.values_list("first_day", "last_day"))
        comes = Appointment.objects.filter(patient=patient, day__gte=day, state__in=_AWAITING)
        self.comes = {place.day: place for place in comes.exclude(lane=lane.value).select_related("eye")}

    def is_away(self, day: date) -> bool:
        return any(first <= day <= last for first, last in self.away)

    def same_day(self, day: date) -> str:
        """The visit of the other lane on that day, in words; "" if there is none."""
        place = self.comes.get(day)
        if place is None:
            return ""
        eye = f" of the {Side(place.eye.side).label} eye" if place.eye else ""
        return f"Same day as the {Lane(place.lane).label.lower()}{eye}"


def _offer(session: Session, free: int, lane: Lane, awaited: Sequence[Awaited], known: _Known) -> Offer:
    fits = [_fit(session.day, step, lane) for step in awaited]
    ranks = [rank for rank, _ in fits]
    rank = (0 if max(ranks) == 0 else 1) if 0 in ranks else min(ranks, default=0)
    reasons = [reason for _, reason in fits]
    if len(ranks) > 1 and max(ranks) < MEETS_NOTHING:
        reasons.append("Serves both eyes")
    if same := known.same_day(session.day):
        reasons.append(same)
    if known.is_away(session.day):
        return Offer(session, free, (*reasons, "Said that they cannot come on this day"), MEETS_NOTHING)
    return Offer(session, free, tuple(reasons), rank)


def _fit(day: date, step: Awaited, lane: Lane) -> tuple[int, str]:
    milestone = step.milestone
    name = f"{step.side.label} {milestone.title}"
    if day < milestone.opens:
        return (
            MEETS_NOTHING,
            f"{name}: {_days(milestone.opens - day)} before its window opens, so it would not count",
        )
    if day <= milestone.closes:
        left = milestone.closes - day
        when = f"{_days(left)} before its end" if left else "on its last day"
        return 0, f"{name}: in the window, {when}"
    if lane is Lane.REMOVAL or milestone.period_holds(day):
        return 2, f"{name}: {_days(day - milestone.closes)} after the window"
    return MEETS_NOTHING, f"{name}: after its period, so it would stay missed"


def _days(length: timedelta) -> str:
    return f"{length.days} day" if length.days == 1 else f"{length.days} days"


def unavailable_from(patient: Patient, day: date) -> list[Unavailable]:
    """The days from `day` on when this person cannot come, the first first."""
    away = Unavailable.objects.filter(patient=patient, last_day__gte=day).select_related("patient")
    return list(away.order_by("first_day", "id"))


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
