"""No eye leaves the sum: whatever is done through the services, the standings add up to the operated eyes."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from followup.domain.errors import FollowUpError
from followup.models import Appointment, Decision, Eye, Operation, Patient, Session, Visit
from followup.queries.standing import site_standings, sum_of_standings
from followup.services import booking, cancel_session, decisions, operations, pathway, recall, visits
from tests.builders import NOW, TODAY, days, make_appointment, make_eye, make_session
from tests.services.conftest import Clinic


def operated() -> int:
    return Operation.objects.filter(in_error=False).values("eye_id").distinct().count()


def total(clinic: Clinic, day: date = TODAY) -> int:
    return sum(sum_of_standings(site_standings(site=clinic.site, day=day)).values())


@pytest.mark.parametrize("route", ["cancel", "cancel the session", "delete the row", "move", "do not attend"])
def test_whatever_becomes_of_a_place_its_eye_stays_in_the_sum(clinic: Clinic, route: str) -> None:
    eye = clinic.eye(date=days(-20))
    place = make_appointment(patient=eye.patient, day=TODAY)
    by = {"by": clinic.coordinator, "now": NOW}
    match route:
        case "cancel":
            booking.cancel_appointment(**by, appointment=place, cancelled_by="patient", reason="")
        case "cancel the session":
            cancel_session.cancel_session(**by, session=place.session, reason="flood")
        case "delete the row":
            place.delete()
        case "move":
            later = make_session(site=clinic.site, day=days(30))
            booking.move_appointment(**by, today=TODAY, appointment=place, session=later)
        case "do not attend":
            booking.mark_not_attended(**by, today=TODAY, appointment=place)
    assert total(clinic) == operated() == 1


class NothingYet(Exception):
    """There is no such record to act on yet."""


class Story:
    """Draws what happens next in a small clinic; the services refuse what cannot be."""

    def __init__(self, clinic: Clinic, seed: int) -> None:
        self.clinic = clinic
        self.draw = random.Random(seed)
        self.by = {"by": clinic.surgeon, "now": NOW}
        people = [clinic.patient() for _ in range(2)]
        self.eyes = [
            clinic.oil_eye(patient=people[0]),
            clinic.eye(patient=people[0], side="left"),
            clinic.eye(patient=people[1], side="left"),
            make_eye(patient=people[1]),
        ]
        for kind, day in (("clinic", 0), ("clinic", 20), ("theatre", 10), ("clinic", 60)):
            make_session(site=clinic.site, kind=kind, day=days(day))

    def some(self, model: Any) -> Any:
        there = list(model.objects.order_by("id"))
        if not there:
            raise NothingYet
        return self.draw.choice(there)

    def past(self) -> date:
        return TODAY - timedelta(days=self.draw.randrange(0, 500))

    def operate(self) -> None:
        tamponade = self.draw.choice(["none", "sf6", "oil_1000", "oil_5000", "heavy_liquid", "unknown"])
        operations.record_operation(
            **self.by,
            today=TODAY,
            eye=self.draw.choice(self.eyes),
            date=self.past(),
            indication=self.draw.choice(["rrd", "mhrd", "macular_hole", "tamponade_removal"]),
            procedures=[self.draw.choice(["vitrectomy", "scleral_buckle", "retinal_laser"])],
            tamponade_in=tamponade,
            takes_out=self.draw.random() < 0.4,
        )

    def correct_operation(self) -> None:
        operations.correct_operation(**self.by, today=TODAY, operation=self.some(Operation), date=self.past())

    def undo_operation(self) -> None:
        operations.mark_operation_in_error(**self.by, operation=self.some(Operation), reason="wrong")

    def see(self) -> None:
        exams = [
            visits.ExamEntry(
                side=side,
                retina=self.draw.choice(["attached", "detached_macula_off", "not_visible"]),
                tamponade_seen=self.draw.choice(["none", "bubble", "oil", "not_examined"]),
            )
            for side in self.draw.sample(["right", "left"], self.draw.randrange(1, 3))
        ]
        visits.record_visit(
            **self.by, today=TODAY, patient=self.some(Patient), day=self.past(), exams=exams, bare_acuity=None
        )

    def undo_visit(self) -> None:
        visits.mark_visit_in_error(**self.by, visit=self.some(Visit), reason="wrong")

    def book(self) -> None:
        eye, session = self.draw.choice(self.eyes), self.some(Session)
        removal = session.kind == "theatre"
        booking.book_appointment(
            **self.by,
            today=TODAY,
            patient=eye.patient,
            session=session,
            lane="removal" if removal else "review",
            eye=eye if removal else None,
        )

    def cancel(self) -> None:
        booking.cancel_appointment(
            **self.by, appointment=self.some(Appointment), cancelled_by="clinic", reason=""
        )

    def delete_a_place(self) -> None:
        self.some(Appointment).delete()

    def call(self) -> None:
        recall.record_attempt(
            **self.by,
            today=TODAY,
            patient=self.some(Patient),
            channel="phone",
            result=self.draw.choice(["no_answer", "refused", "will_come"]),
        )

    def sign(self) -> None:
        decisions.sign_decision(
            **self.by,
            today=TODAY,
            eye=self.draw.choice(self.eyes),
            kind=self.draw.choice(["keep_oil", "see_again", "plan", "discharge", "transfer", "lost"]),
            reason="drawn",
            review_on=days(self.draw.randrange(1, 300)),
            to_whom="Hill Hospital",
            signed_on=self.draw.choice([TODAY, TODAY, self.past()]),
        )

    def undo_decision(self) -> None:
        decisions.undo_decision(**self.by, today=TODAY, decision=self.some(Decision), reason="drawn")

    def die(self) -> None:
        decisions.record_death(
            **self.by, today=TODAY, patient=self.some(Patient), died_on=TODAY, source="drawn"
        )

    def steps(self) -> list[Callable[[], None]]:
        often = [self.operate, self.see, self.sign]
        return [
            *often * 3,
            self.correct_operation,
            self.undo_operation,
            self.undo_visit,
            self.book,
            self.cancel,
            self.delete_a_place,
            self.call,
            self.undo_decision,
            self.die,
        ]

    def go_on(self) -> None:
        try:
            self.draw.choice(self.steps())()
        except (FollowUpError, NothingYet):
            # Refused, or nothing to act on: nothing happened, and the story goes on.
            return


@settings(
    max_examples=12,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(seed=st.integers(0, 10**6))
def test_any_story_adds_up_and_what_is_stored_is_what_is_derived(clinic: Clinic, seed: int) -> None:
    with transaction.atomic():
        story = Story(clinic, seed)
        for _ in range(25):
            story.go_on()
        for day in (days(-400), TODAY, days(45), days(800)):
            assert total(clinic, day) == operated()
        assert list(pathway.verify(eye_ids=list(Eye.objects.values_list("pk", flat=True)))) == []
        transaction.set_rollback(True)
