"""Loads the demo clinic as it stands today, in one transaction."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import nullcontext
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import groupby
from random import Random
from typing import NamedTuple

from django.db import transaction

from followup.domain.dates.zones import localise
from followup.domain.words import AppointmentState, SessionKind
from followup.models import Appointment, Operation, Patient, Site, Staff, Visit
from followup.services import booking
from followup.services.cancel_session import cancel_session
from followup.services.demo.agreed import agree_to_reminders, invite
from followup.services.demo.events import Booked, Called, Event, Moved, Person, Signed
from followup.services.demo.facts import DemoFacts, StaffFact, read_facts
from followup.services.demo.scenario import build_people
from followup.services.demo.week import WEEKS_AHEAD, Week
from followup.services.demo.writer import Writer
from followup.services.pathway import planned_together
from followup.services.rota import add_pattern
from followup.services.staff import add_site, add_staff

SEED = 1
_FOUNDED = timedelta(days=4 * 366)
_CANCELLED_CLINIC_AHEAD = timedelta(days=30)


class SignIn(NamedTuple):
    """A demo password opens the demo clinic only."""

    role: str
    username: str
    password: str


@dataclass(frozen=True, slots=True)
class DemoSummary:
    """Who can sign in, and how much there is. `loaded` is False where the demo was there already."""

    sign_ins: list[SignIn]
    loaded: bool
    patients: int
    operated_eyes: int
    visits: int
    appointments: int


@transaction.atomic
def load_demo(*, today: date, now: datetime) -> DemoSummary:
    """Fills the database with the invented clinic as it stands on `today`; needs the pathways loaded.

    The same day gives the same people. Writes nothing where the demo clinic has patients already.
    """
    facts = read_facts()
    there = Patient.objects.filter(site__name=facts.clinic.site["name"]).exists()
    if not there:
        _load(facts, Week(facts.clinic.lists, today), now)
    return _summary(facts, loaded=not there)


def _summary(facts: DemoFacts, *, loaded: bool) -> DemoSummary:
    site = Site.objects.get(name=facts.clinic.site["name"])
    operated = Operation.objects.filter(eye__patient__site=site, in_error=False).values("eye_id")
    return DemoSummary(
        sign_ins=[SignIn(fact.role, fact.username, fact.password) for fact in facts.clinic.staff],
        loaded=loaded,
        patients=site.patients.count(),
        operated_eyes=operated.distinct().count(),
        visits=Visit.objects.filter(patient__site=site, in_error=False).count(),
        appointments=Appointment.objects.filter(patient__site=site).count(),
    )


def _load(facts: DemoFacts, week: Week, now: datetime) -> None:
    """Eyes are planned anew only where a booking, a call or a signature is about to ask for their plans."""
    writer = _found(facts, week, now)
    _open_sessions(writer, week)
    events = _by_day(build_people(Random(SEED), facts, week))
    for asks, run in groupby(events, key=lambda item: isinstance(item[1], Booked | Moved | Called | Signed)):
        with nullcontext() if asks else planned_together():
            for person, event in run:
                writer.write(person, event)
    _repeat_the_lists(writer, week)
    _cancel_a_clinic(writer, week)
    _begin_today(writer, week.today)
    agree_to_reminders(writer, week.today)
    invite(writer, week.today, now)


def _by_day(people: Iterable[Person]) -> list[tuple[Person, Event]]:
    """All events in order of days; those of one person and day as they stand."""
    events = [(person, event) for person in people for event in person.events]
    return sorted(events, key=lambda item: item[1].day)


def _found(facts: DemoFacts, week: Week, now: datetime) -> Writer:
    """The clinic with its staff, older than its first operation."""
    told = facts.clinic.site
    founded = localise(week.today - _FOUNDED, time(8), told["time_zone"])
    site = add_site(by=None, now=founded, **told)
    staff: dict[str, list[Staff]] = {}
    for fact in facts.clinic.staff:
        staff.setdefault(fact.role, []).append(_add(fact, site, founded))
    return Writer(site, staff, now)


def _add(fact: StaffFact, site: Site, founded: datetime) -> Staff:
    return add_staff(
        by=None,
        now=founded,
        sites=[site],
        username=fact.username,
        role=fact.role,
        password=fact.password,
        given_name=fact.given_name,
        family_name=fact.family_name,
        email=f"{fact.username}@veldamar.example",
        may_enter_admin=fact.role == "administrator",
    )


def _open_sessions(writer: Writer, week: Week) -> None:
    """Each list was opened when the clinic began to book with this tool, or so many weeks ahead."""
    for day, fact in week.held():
        opened_on = max(week.opened, day - timedelta(weeks=WEEKS_AHEAD))
        writer.sessions[day, fact.kind] = booking.open_session(
            by=writer.coordinator,
            now=writer.at(opened_on, 7),
            site=writer.site,
            kind=fact.kind,
            title=fact.title,
            day=day,
            starts=fact.starts,
            ends=fact.ends,
            places=fact.places,
        )


def _repeat_the_lists(writer: Writer, week: Week) -> None:
    """After those that are opened the lists go on every week, as the rota of the clinic says."""
    for fact in week.lists:
        for weekday in fact.weekdays:
            add_pattern(
                by=writer.coordinator,
                now=writer.now,
                site=writer.site,
                kind=fact.kind,
                title=fact.title,
                weekday=weekday,
                starts=fact.starts,
                ends=fact.ends,
                places=fact.places,
                first_day=week.closes + timedelta(days=1),
            )


def _cancel_a_clinic(writer: Writer, week: Week) -> None:
    """One clinic ahead falls away; those who were booked in it are to be booked again."""
    cancel_session(
        by=writer.coordinator,
        now=writer.now,
        session=writer.sessions[
            week.from_day(week.today + _CANCELLED_CLINIC_AHEAD), SessionKind.CLINIC.value
        ],
        reason="Nobody to examine",
    )


def _begin_today(writer: Writer, today: date) -> None:
    """The first in today's clinic have arrived."""
    booked = Appointment.objects.filter(
        session__site=writer.site, day=today, state=AppointmentState.BOOKED.value
    )
    for appointment in booked.order_by("local_time", "id")[:2]:
        booking.mark_arrived(by=writer.coordinator, now=writer.now, today=today, appointment=appointment)
