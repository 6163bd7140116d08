"""A week of a clinic, day by day in the browser: forty people missed their visits, and none is forgotten.

Only time is moved. Each day the clinic is held, the coordinator empties the telephone list by keys, people
say what a fixed rule makes them say, and the surgeon answers what is asked. In the end every one of the
forty was seen, is booked, waits for a dated step or is signed off, and the history says how.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from datetime import date, datetime, time
from typing import Any

import pytest
from playwright.sync_api import Browser, Locator, Page
from pytest_django.live_server_helper import LiveServer

from followup.domain.words import Lane, Standing
from followup.models import (
    Appointment,
    Change,
    ContactAttempt,
    Decision,
    Eye,
    PathwayVersion,
    Patient,
    Session,
    Site,
)
from followup.queries.recall import person_rows
from followup.queries.standing import EyeStandingRow, site_standings
from followup.services.pathway import replan_eye
from followup.web.kit import clock
from tests.browser.conftest import sign_in_to
from tests.builders import NOW, TODAY, days, make_appointment, make_exam, make_session, make_site, make_staff
from tests.web.stories import gas_eye, oil_eye

pytestmark = pytest.mark.django_db(transaction=True)

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
    """A clinic with two people at their browsers, and the clock that is moved on under them."""

    def __init__(self, site: Site, coordinator: Page, surgeon: Page) -> None:
        self.site, self.coordinator, self.surgeon = site, coordinator, surgeon
        self.today: date = TODAY
        people = Patient.objects.filter(site=site).order_by("pk").values_list("pk", flat=True)
        self.place_of = {patient: place for place, patient in enumerate(people)}
        """Each person's place among the forty: what they do goes by it, not by a key of the database."""

    def now(self) -> datetime:
        """Nine in the morning."""
        return datetime.combine(self.today, time(9), tzinfo=NOW.tzinfo)

    def call_everybody(self) -> None:
        """The key n takes the first call; each answer is one key, and leads to the next call."""
        page = self.coordinator
        page.goto("/calls/")
        if page.get_by_role("button", name="Call the next person").count():
            with page.expect_navigation():
                page.keyboard.press("n")
        while at_a_call := re.search(r"/calls/(\d+)/", page.url):
            self.answer(int(at_a_call[1]))

    def answer(self, patient: int) -> None:
        """Takes the way that the page proposes, and keeps what came of it."""
        page = self.coordinator
        made = ContactAttempt.objects.filter(patient=patient).count()
        spoken = ANSWERS[(self.place_of[patient] + made) % len(ANSWERS)]
        result = spoken if page.locator("[name=channel]").input_value() in ("phone", "kin") else "sent"
        page.locator("[name=note]").fill("As they said it")
        key = page.locator(f"button[name=result][value={result}]").get_attribute("data-key")
        page.locator("h1").click()
        with page.expect_navigation():
            page.keyboard.press(key or "")
        assert ContactAttempt.objects.filter(patient=patient).count() == made + 1
        if result == "will_come":
            following = page.url
            self.book(patient)
            page.goto(following)

    def book(self, patient: int) -> None:
        """The first list of the kind that is missing: a clinic, or theatre for oil."""
        (row,) = person_rows(Patient.objects.select_related("site").get(pk=patient), self.today)
        kind = "theatre" if row.to_book is Lane.REMOVAL else "clinic"
        session = Session.objects.filter(site=self.site, kind=kind, day__gt=self.today).earliest("day")
        address = f"/eyes/{row.row.eye.pk}/book/?lane={row.to_book.value}"
        self._send(self.coordinator, address, session=session.pk)

    def hold_the_clinic(self) -> None:
        """Of every sixteen people the first eight come and are examined; the others stay away."""
        for place in Appointment.objects.filter(day=self.today, state="booked").order_by("pk"):
            if self.place_of[place.patient_id] // len(ANSWERS) % 2:
                self._send(self.coordinator, f"/appointments/{place.pk}/not-attended/", reason="ill")
                continue
            side = Eye.objects.get(patient=place.patient_id).side
            typed = {"day": self.today, "appointment": place.pk, f"{side}-retina": "attached"}
            self._send(self.coordinator, f"/patients/{place.patient_id}/visits/new/", **typed)

    def answer_what_is_asked(self) -> None:
        self.surgeon.goto("/decisions/")
        for report in sorted(set(re.findall(r"/symptoms/(\d+)/answer/", self.surgeon.content()))):
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

    def _send(self, page: Page, address: str, **typed: Any) -> None:
        """Fills in the form at the address; one that comes back is a fault, and shows why."""
        page.goto(address)
        for name, value in typed.items():
            fill_in(page.locator(f'main [name="{name}"]'), str(value))
        with page.expect_navigation():
            page.locator("main button.primary").press("Enter")
        assert page.locator(".faulty, .faults").all_inner_texts() == [], address


def fill_in(boxes: Locator, value: str) -> None:
    kind = boxes.first.evaluate("box => box.tagName == 'SELECT' ? 'select' : box.type")
    if kind == "select":
        boxes.select_option(value)
    elif kind == "radio":
        boxes.and_(boxes.page.locator(f'[value="{value}"]')).check()
    elif kind == "checkbox":
        boxes.check()
    else:
        boxes.fill(value)


@pytest.fixture
def harbour(pathways: list[PathwayVersion]) -> Site:
    """Thirty eyes with a review missed, ten with oil past its limit; yesterday nobody came."""
    site = make_site(name="Harbour Eye Clinic", phone="555 0100", urgent_phone="555 0199")
    for number in range(PEOPLE):
        eye = gas_eye(site, days(-70)) if number % 4 else oil_eye(site, days(-150))
        make_exam(eye=eye, day=days(-63))
        replan_eye(eye_id=eye.pk)
        make_appointment(patient=eye.patient, day=days(-1), state="noshow", reason="not_known")
    for number in range(1, WEEK + 14):
        make_session(site=site, day=days(number), places=30)
    make_session(site=site, day=days(WEEK + 1), places=PEOPLE, kind="theatre")
    return site


@pytest.fixture
def week(
    harbour: Site, browser: Browser, live_server: LiveServer, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Week]:
    contexts = [browser.new_context(base_url=live_server.url, locale="en-GB") for _ in range(2)]
    for context, role in zip(contexts, ("coordinator", "surgeon"), strict=True):
        sign_in_to(context, live_server, make_staff(role=role, site=harbour))
    week = Week(harbour, *(context.new_page() for context in contexts))
    monkeypatch.setattr(clock, "now", week.now)
    yield week
    for context in contexts:
        context.close()


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
        week.today = days(number)
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
