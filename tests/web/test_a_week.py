"""A week of a clinic, day by day through its pages: forty people missed their visits, and none is forgotten.

Only time is moved. Each day the clinic is held, the coordinator empties the telephone list, people say what a
fixed rule makes them say, and the surgeon answers what is asked. In the end every one of the forty was seen,
is booked, waits for a dated step or is signed off, and the history says how.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from datetime import date, datetime, time
from typing import Any

import pytest
import time_machine
from django.test import Client

from followup.domain.words import Lane, Standing
from followup.models import Appointment, Change, ContactAttempt, Decision, Eye, Patient, Session, Site, Staff
from followup.queries.recall import person_rows
from followup.queries.standing import EyeStandingRow, site_standings
from followup.services.pathway import replan_eye
from tests.builders import NOW, TODAY, days, make_appointment, make_exam, make_session, make_staff
from tests.web.stories import gas_eye, oil_eye, text_of

pytestmark = pytest.mark.django_db

PEOPLE, WEEK = 40, 7
ANSWERS = (
    "no_answer",
    "will_come",
    "call_back",
    "refused",
    "symptoms",
    "wrong_number",
    "message_left",
    "no_answer",
)
"""What people say when called, one after another."""
HOW = {
    "seen": {"record_visit"},
    "booked": {"book_appointment"},
    "dated step": {"record_attempt"},
    "signed off": {"sign_decision"},
}
"""What the history of a person must tell for each ending."""


class Week:
    """A clinic with two people who sign in each morning, and the clock that is moved on under them."""

    def __init__(self, site: Site, enter: Callable[[Staff], Client], clock: Any) -> None:
        self.site, self.enter, self.clock = site, enter, clock
        self.staff = [make_staff(role=role, site=site) for role in ("coordinator", "surgeon")]
        self.turn_to(TODAY)

    def turn_to(self, day: date) -> None:
        self.today: date = day
        self.clock.move_to(datetime.combine(day, time(9), tzinfo=NOW.tzinfo))
        self.coordinator, self.surgeon = map(self.enter, self.staff)

    def call_everybody(self) -> None:
        address = self._send(self.coordinator, "/calls/next/")
        while address != "/calls/":
            address = self.call(address)

    def call(self, address: str) -> str:
        """Takes the way that the page proposes, and keeps what came of it."""
        patient = int(re.findall(r"\d+", address)[0])
        made = ContactAttempt.objects.filter(patient=patient).count()
        proposed = re.search(r'<option value="(\w+)" selected>', text_of(self.coordinator.get(address)))
        channel = proposed[1] if proposed else "phone"
        spoken = ANSWERS[(patient + made) % len(ANSWERS)]
        result = spoken if channel in ("phone", "kin") else "sent"
        typed = {"channel": channel, "result": result, "note": "As they said it"}
        following = self._send(self.coordinator, address, **typed)
        if result == "will_come":
            self.book(patient)
        return following

    def book(self, patient: int) -> None:
        """The first list of the kind that is missing: a clinic, or theatre for oil."""
        (row,) = person_rows(Patient.objects.select_related("site").get(pk=patient), self.today)
        kind = "theatre" if row.to_book is Lane.REMOVAL else "clinic"
        session = Session.objects.filter(site=self.site, kind=kind, day__gt=self.today).earliest("day")
        address = f"/eyes/{row.row.eye.pk}/book/?lane={row.to_book.value}"
        self._send(self.coordinator, address, session=session.pk)

    def hold_the_clinic(self) -> None:
        """Every other person comes and is examined; the others stay away."""
        for place in Appointment.objects.filter(day=self.today, state="booked").order_by("pk"):
            if place.patient_id % 2:
                self._send(self.coordinator, f"/appointments/{place.pk}/not-attended/", reason="ill")
                continue
            side = Eye.objects.get(patient=place.patient_id).side
            typed = {"day": self.today, "appointment": place.pk, f"{side}-retina": "attached"}
            self._send(self.coordinator, f"/patients/{place.patient_id}/visits/new/", **typed)

    def answer_what_is_asked(self) -> None:
        asked = text_of(self.surgeon.get("/decisions/"))
        for report in re.findall(r"/symptoms/(\d+)/answer/", asked):
            self._send(self.surgeon, f"/symptoms/{report}/answer/", answer="Seen this afternoon.")
        for row in self.standings():
            if {lane.question for lane in row.standing.questions} & {"refuses", "unreached"}:
                self.sign_off(row)

    def sign_off(self, row: EyeStandingRow) -> None:
        if row.state.holds_oil:
            letter = {"channel": "letter", "result": "sent", "is_warning": "on"}
            self._send(self.coordinator, f"/patients/{row.eye.patient_id}/attempts/new/", **letter)
        typed = {"kind": "refused", "reason": "Refuses after being told of the danger."}
        self._send(self.surgeon, f"/eyes/{row.eye.pk}/decide/", **typed)

    def standings(self) -> list[EyeStandingRow]:
        return site_standings(site=self.site, day=self.today)

    def _send(self, client: Client, address: str, **typed: Any) -> str:
        """Where the page leads; a form that comes back is a fault, and shows its page."""
        answer = client.post(address, typed)
        why = re.findall(r"Nothing was saved.*?</p>", text_of(answer))
        assert answer.status_code == 302, (address, why)
        return answer.headers["Location"]


@pytest.fixture
def week(harbour: Site, enter: Callable[[Staff], Client]) -> Iterator[Week]:
    """Thirty eyes with a review missed, ten with oil past its limit; yesterday nobody came."""
    for number in range(PEOPLE):
        eye = gas_eye(harbour, days(-70)) if number % 4 else oil_eye(harbour, days(-150))
        make_exam(eye=eye, day=days(-63))
        replan_eye(eye_id=eye.pk)
        make_appointment(patient=eye.patient, day=days(-1), state="noshow", reason="not_known")
    for number in range(1, WEEK + 14):
        make_session(site=harbour, day=days(number), places=30)
    make_session(site=harbour, day=days(WEEK + 1), places=PEOPLE, kind="theatre")
    with time_machine.travel(NOW, tick=False) as clock:
        yield Week(harbour, enter, clock)


def fate_of(row: EyeStandingRow, today: date) -> str:
    """What became of one eye, by the facts alone; "forgotten" where it came to no good ending."""
    if row.state.last_seen is not None and row.state.last_seen >= TODAY:
        return "seen"
    if row.standing.standing is Standing.CLOSED:
        return "signed off"
    if row.state.has_place_ahead(today):
        return "booked"
    contact = row.standing.contact
    return "dated step" if contact is not None and contact.due > today else "forgotten"


def test_of_forty_people_who_missed_their_visits_none_is_forgotten(week: Week) -> None:
    assert {row.standing.standing for row in week.standings()} == {Standing.OVERDUE}
    for number in range(WEEK):
        week.turn_to(days(number))
        week.hold_the_clinic()
        week.call_everybody()
        week.answer_what_is_asked()
        assert len(week.standings()) == PEOPLE
    week.call_everybody()
    fates = {row.eye.patient_id: fate_of(row, week.today) for row in week.standings()}
    assert set(fates.values()) == set(HOW), Counter(fates.values())
    for patient, fate in fates.items():
        verbs = set(Change.objects.filter(patient=patient).values_list("verb", flat=True))
        assert verbs >= HOW[fate], (patient, fate, verbs)
    closed = sum(fate == "signed off" for fate in fates.values())
    assert closed == Decision.objects.filter(undone_at=None, kind="refused").count()
