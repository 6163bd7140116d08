"""What a calendar shows: a site's appointments, or those of one kind of session or one surgeon's eyes."""

from __future__ import annotations

from datetime import date, datetime, time, timedelta
from typing import NamedTuple
from uuid import UUID

from django.db.models import Exists, OuterRef, Q, QuerySet, Subquery

from followup.domain.words import AppointmentState
from followup.models import Appointment, CalendarAddress, Eye, Operation, Site

KEPT_FOR = timedelta(days=90)
"""How long a calendar keeps what is over or cancelled, so that every subscriber learns of it."""


class CalendarRow(NamedTuple):
    """One appointment as a calendar needs it. day, local_time: on the site's wall; starts_at: the instant.

    The names are read only where a site shows initials; they are empty otherwise.
    """

    uid: UUID
    sequence: int
    changed_at: datetime
    starts_at: datetime
    minutes: int
    day: date
    local_time: time
    state: str
    given_name: str = ""
    family_name: str = ""


_READ = tuple(name for name in CalendarRow._fields if not name.endswith("_name"))


def calendar_of(address: CalendarAddress, now: datetime, day: date) -> list[CalendarRow]:
    """What this address shows: places ahead, and for 90 days those past or cancelled. One query."""
    places = _places(address.site, now, day)
    if address.session_kind:
        places = places.filter(session__kind=address.session_kind)
    if address.surgeon:
        places = places.filter(_of_surgeon(address.surgeon))
    return _rows(address.site, places)


def _places(site: Site, now: datetime, day: date) -> QuerySet[Appointment]:
    places = Appointment.objects.filter(patient__site=site, day__gte=day - KEPT_FOR)
    stale = Q(state=AppointmentState.CANCELLED.value, changed_at__lt=now - KEPT_FOR)
    return places.exclude(stale).order_by("starts_at", "id")


def _rows(site: Site, places: QuerySet[Appointment]) -> list[CalendarRow]:
    names = ("patient__given_name", "patient__family_name") if site.calendar_initials else ()
    return [CalendarRow(*row) for row in places.values_list(*_READ, *names)]


def _of_surgeon(surgeon: str) -> Q:
    """Reviews of people with an eye that this surgeon operated on last, and list places of such eyes."""
    last = Operation.objects.filter(eye=OuterRef("pk"), in_error=False).order_by("-date", "-id")
    eyes = Eye.objects.annotate(
        surgeon=Subquery(last.values("surgeon")[:1]), surgeon_name=Subquery(last.values("surgeon_name")[:1])
    )
    kind, _, name = surgeon.partition(":")
    whose = Q(surgeon=int(name)) if kind == "staff" else Q(surgeon=None, surgeon_name=name)
    eyes = eyes.filter(whose)
    person = Exists(eyes.filter(patient=OuterRef("patient")))
    return Q(person, eye=None) | Q(Exists(eyes.filter(pk=OuterRef("eye"))), eye__isnull=False)
