"""What the rota would do to the sessions on record: opened, changed, withdrawn, or left for a person."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date
from enum import StrEnum
from typing import Any

from followup.domain.errors import FollowUpError
from followup.domain.words import AppointmentState
from followup.models import Appointment, Session, SessionPattern, Site
from followup.queries.rota import patterns_of, planned_days, shut_days
from followup.services.sessions import check_hours


class RotaOutcome(StrEnum):
    OPENED = "opened"
    CHANGED = "changed"
    WITHDRAWN = "withdrawn"
    REOPENED = "reopened"
    PERSON = "needs a person"


@dataclass(frozen=True, slots=True)
class RotaRow:
    """One session that the rota opens, changes or takes away; what is as it should be has no row."""

    outcome: RotaOutcome
    session: Session
    reason: str = ""
    values: dict[str, Any] = field(default_factory=dict)


class RotaPlan:
    """The rota of a site from `today` to `last`, held against its sessions. A constant number of queries."""

    def __init__(self, site: Site, today: date, last: date) -> None:
        self.site, self.today = site, today
        sessions = list(Session.objects.filter(site=site, day__gte=today).order_by("day", "starts", "id"))
        self.opened = {(row.pattern_id, row.pattern_day): row for row in sessions if row.pattern_id}
        self.slots = {(row.kind, row.title, row.day, row.starts) for row in sessions}
        self.new_until = last
        self.last = max([last, *(row.day for row in sessions)])
        held = Appointment.objects.filter(session__in=[row.pk for row in self.opened.values()])
        held = held.exclude(state=AppointmentState.CANCELLED.value)
        self.booked = Counter(held.values_list("session_id", flat=True))
        self.shut = shut_days(site, today, self.last)

    def rows(self) -> list[RotaRow]:
        """In the order of patterns, then of days."""
        return [row for pattern in patterns_of(self.site) for row in self._of_pattern(pattern)]

    def _of_pattern(self, pattern: SessionPattern) -> Iterator[RotaRow]:
        planned = planned_days(pattern, self.shut, self.today, self.last)
        there = {day for key, day in self.opened if key == pattern.pk and day is not None}
        for day in sorted(planned.keys() | there):
            row = self._of_day(pattern, day, planned.get(day))
            if row is not None:
                yield row

    def _of_day(self, pattern: SessionPattern, day: date, values: dict[str, Any] | None) -> RotaRow | None:
        session = self.opened.get((pattern.pk, day))
        if session is None:
            return self._new(pattern, day, values) if values and day <= self.new_until else None
        if values is None:
            return self._withdrawn(session)
        if session.cancelled:
            return RotaRow(RotaOutcome.REOPENED, session, values=values) if session.withdrawn else None
        differs = {name: value for name, value in values.items() if getattr(session, name) != value}
        return self._changed(session, differs) if differs else None

    def _new(self, pattern: SessionPattern, day: date, values: dict[str, Any]) -> RotaRow | None:
        if (pattern.kind, pattern.title, day, values["starts"]) in self.slots:
            return None
        session = Session(
            site=self.site,
            kind=pattern.kind,
            title=pattern.title,
            day=day,
            pattern=pattern,
            pattern_day=day,
            **values,
        )
        try:
            check_hours(session, self.today)
        except FollowUpError as fault:
            return RotaRow(RotaOutcome.PERSON, session, fault.message)
        return RotaRow(RotaOutcome.OPENED, session)

    def _withdrawn(self, session: Session) -> RotaRow | None:
        if session.cancelled:
            return None
        why = self.shut.get(session.day, "Not in the rota.")
        if booked := self.booked[session.pk]:
            return RotaRow(
                RotaOutcome.PERSON, session, f"{why} {_people(booked)} booked: cancel it, and move them."
            )
        return RotaRow(RotaOutcome.WITHDRAWN, session, why)

    def _changed(self, session: Session, differs: dict[str, Any]) -> RotaRow:
        booked = self.booked[session.pk]
        if booked and differs.keys() & {"starts", "ends"}:
            reason = f"{_people(booked)} booked at the old hours: move them, then open the rota again."
            return RotaRow(RotaOutcome.PERSON, session, reason)
        if differs.get("places", session.places) < booked:
            reason = f"{_people(booked)} booked, more than {differs['places']} places."
            return RotaRow(RotaOutcome.PERSON, session, reason)
        return RotaRow(RotaOutcome.CHANGED, session, values=differs)


def _people(number: int) -> str:
    return "1 person is" if number == 1 else f"{number} people are"
