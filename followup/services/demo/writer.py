"""Writes what happened to invented people through the services, each event on its own day."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time

from followup.domain.acuity.notation import Notation
from followup.domain.dates.zones import localise
from followup.domain.fills import derive_fills, open_fill
from followup.models import Appointment, Decision, Eye, Patient, Session, Site, Staff, Visit
from followup.queries.facts import eye_histories
from followup.services import booking, decisions, operations, people, recall, visits
from followup.services.demo.events import (
    Accepted,
    Booked,
    Called,
    Cancelled,
    Died,
    EnteredInError,
    Event,
    Missed,
    Moved,
    Operated,
    Person,
    Seen,
    Signed,
)

_STREETS = (
    "Lantern Quay",
    "Ropewalk",
    "Chandler Row",
    "Saltpan Lane",
    "Beacon Steps",
    "Netloft Street",
    "Tidewater Road",
)


@dataclass(slots=True)
class Writer:
    """Needs the events in order of days. Keeps the rows that later events refer to, by record number."""

    site: Site
    staff: dict[str, list[Staff]]
    now: datetime
    sessions: dict[tuple[date, str], Session] = field(default_factory=dict)
    """By day and kind."""
    patients: dict[str, Patient] = field(default_factory=dict)
    eyes: dict[tuple[str, str], Eye] = field(default_factory=dict)
    visits: dict[tuple[str, date], Visit] = field(default_factory=dict)
    transfers: dict[tuple[str, str], Decision] = field(default_factory=dict)
    places: dict[tuple[str, date], Appointment] = field(default_factory=dict)

    @property
    def coordinator(self) -> Staff:
        return self.staff["coordinator"][0]

    def at(self, day: date, hour: int) -> datetime:
        """About that hour at the site, and never later than now."""
        return min(localise(day, time(hour, 20), self.site.time_zone), self.now)

    def write(self, person: Person, event: Event) -> None:
        key = person.record_number
        if key not in self.patients:
            self._register(person, event.day)
        match event:
            case Operated():
                self._operate(key, event)
            case Seen():
                self._see(key, event)
            case Booked():
                self._book(key, event)
            case Moved() | Cancelled() | Missed():
                self._change_place(key, event)
            case Called():
                self._call(key, event)
            case Signed() | Accepted():
                self._sign(key, event)
            case Died():
                decisions.record_death(
                    by=self.coordinator,
                    now=self.at(event.day, 11),
                    today=event.day,
                    patient=self.patients[key],
                    died_on=event.died_on,
                    source=event.source,
                )
                decisions.confirm_death(
                    by=self.staff["surgeon"][0],
                    now=self.at(event.day, 16),
                    patient=self.patients[key],
                )
            case EnteredInError():
                visits.mark_visit_in_error(
                    by=self.coordinator,
                    now=self.at(event.day, 10),
                    visit=self.visits[key, event.visit_day],
                    reason=event.reason,
                )

    def _register(self, person: Person, day: date) -> None:
        now = self.at(day, 8)
        patient = people.register_patient(
            by=self.coordinator,
            now=now,
            site=self.site,
            record_number=person.record_number,
            family_name=person.family_name,
            given_name=person.given_name,
            birth_date=person.birth_date,
            sex=person.sex,
            phone=person.phone,
            email=person.email,
            language=person.language,
            contact_note=person.contact_note,
            postal_address=_address(int(person.record_number.removeprefix("VB"))),
        )
        self.patients[person.record_number] = patient
        for side, traits in person.eyes.items():
            eye = people.ensure_eye(patient=patient, side=side)
            self.eyes[person.record_number, side] = people.change_eye(
                by=self.coordinator,
                now=now,
                today=day,
                eye=eye,
                axial_length_mm=traits.axial_length_mm,
                staphyloma=traits.staphyloma,
                only_eye=traits.only_eye,
            )

    def _operate(self, key: str, event: Operated) -> None:
        surgeon = self.staff["surgeon"][event.surgeon]
        operations.record_operation(
            by=surgeon,
            now=self.at(event.day, 17),
            today=event.day,
            eye=self.eyes[key, event.side],
            date=event.day,
            indication=event.indication,
            procedures=event.procedures,
            tamponade_in=event.tamponade_in,
            takes_out=event.takes_out,
            tamponade_percent=event.tamponade_percent,
            repeat=event.repeat,
            extent=event.extent,
            attached_at_end=event.attached_at_end,
            surgeon=surgeon,
            note=event.note,
            appointment=self.places.get((key, event.day)),
        )

    def _see(self, key: str, event: Seen) -> None:
        self.visits[key, event.day] = visits.record_visit(
            by=self.staff["surgeon"][event.surgeon],
            now=self.at(event.day, 12),
            today=event.day,
            patient=self.patients[key],
            day=event.day,
            exams=event.exams,
            appointment=self.places.get((key, event.day)),
            note=event.note,
            bare_acuity=Notation(self.site.bare_acuity),
        )

    def _book(self, key: str, event: Booked) -> None:
        self.places[key, event.on] = booking.book_appointment(
            by=self.coordinator,
            now=self.at(event.day, 15),
            today=event.day,
            patient=self.patients[key],
            session=self._session(event.on, event.lane),
            lane=event.lane,
            eye=self.eyes[key, event.side] if event.side else None,
            note=event.note,
        )

    def _change_place(self, key: str, event: Moved | Cancelled | Missed) -> None:
        match event:
            case Moved():
                self.places[key, event.on] = booking.move_appointment(
                    by=self.coordinator,
                    now=self.at(event.day, 11),
                    today=event.day,
                    appointment=self.places.pop((key, event.held)),
                    session=self._session(event.on, "review"),
                )
            case Cancelled():
                booking.cancel_appointment(
                    by=self.coordinator,
                    now=self.at(event.day, 11),
                    appointment=self.places.pop((key, event.held)),
                    cancelled_by=event.by,
                    reason=event.reason,
                )
            case Missed():
                booking.mark_not_attended(
                    by=self.coordinator,
                    now=self.at(event.day, 13),
                    today=event.day,
                    appointment=self.places[key, event.day],
                    reason=event.reason,
                )

    def _session(self, day: date, lane: str) -> Session:
        return self.sessions[day, "theatre" if lane == "removal" else "clinic"]

    def _call(self, key: str, event: Called) -> None:
        patient = self.patients[key]
        recall.record_attempt(
            by=self.coordinator,
            now=self.at(event.day, 10),
            today=event.day,
            patient=patient,
            channel=event.channel,
            result=event.result,
            number_used=patient.phone if event.channel in ("phone", "text") else "",
            reason=event.reason,
            note=event.note,
        )

    def _warn(self, key: str, event: Signed) -> None:
        """An only eye, or one with oil in it, is given up only after a letter."""
        pk = self.eyes[key, event.side].pk
        history = eye_histories([pk])[pk]
        fill = open_fill(derive_fills(history.operations, history.exams))
        if history.traits.only_eye or (fill is not None and fill.must_come_out):
            recall.record_attempt(
                by=self.coordinator,
                now=self.at(event.day, 15),
                today=event.day,
                patient=self.patients[key],
                channel="letter",
                result="sent",
                is_warning=True,
                note="What is at stake, the signs of danger and whom to call.",
            )

    def _sign(self, key: str, event: Signed | Accepted) -> None:
        if isinstance(event, Accepted):
            decisions.accept_transfer(
                by=self.staff["surgeon"][0],
                now=self.at(event.day, 16),
                decision=self.transfers[key, event.side],
                accepted_on=event.day,
            )
            return
        if event.kind in ("discharge", "lost", "refused"):
            self._warn(key, event)
        decision = decisions.sign_decision(
            by=self.staff["surgeon"][event.surgeon],
            now=self.at(event.day, 16),
            today=event.day,
            eye=self.eyes[key, event.side],
            kind=event.kind,
            reason=event.reason,
            review_on=event.review_on,
            to_whom=event.to_whom,
        )
        if event.kind == "transfer":
            self.transfers[key, event.side] = decision


def _address(number: int) -> str:
    """An invented street for each person; one in twelve is not known."""
    if number % 12 == 0:
        return ""
    return f"{1 + number % 89} {_STREETS[number % len(_STREETS)]}\nVeldamar Bay"
