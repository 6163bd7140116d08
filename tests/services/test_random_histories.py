"""Whatever the clinic does, stored equals derived and every operated eye is in exactly one standing."""

from __future__ import annotations

import random
from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path

from django.conf import settings
from hypothesis import HealthCheck, given
from hypothesis import settings as tries
from hypothesis import strategies as st
from hypothesis.extra.django import TestCase

from followup.domain.acuity.notation import Notation
from followup.domain.errors import FollowUpError
from followup.domain.facts import ALWAYS, EyeHistory
from followup.domain.pathway.planner import plan_eye
from followup.domain.standing import standing_on, state_of
from followup.domain.words import (
    Channel,
    ContactResult,
    Indication,
    Procedure,
    Retina,
    Tamponade,
    TamponadeSeen,
)
from followup.models import (
    Appointment,
    Decision,
    Eye,
    Operation,
    PathwayVersion,
    Patient,
    Session,
    Site,
    Staff,
    SymptomReport,
    Visit,
)
from followup.queries.facts import eye_histories, pathway_book
from followup.queries.record import eye_records
from followup.queries.standing import limits_of, operated_eyes, site_standings, sum_of_standings
from followup.services import (
    booking,
    cancel_session,
    decisions,
    operations,
    pathway,
    recall,
    symptoms,
    visits,
)
from followup.services.exams import AcuityEntry, ExamEntry
from tests.builders import make_eye, make_patient, make_site, make_staff

START = date(2024, 1, 1)


class Clinic:
    """A site that does one thing after another, each on a day not before the last."""

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.today = START
        self.site: Site = make_site(bare_acuity="decimal")
        self.surgeon: Staff = make_staff(role="surgeon", site=self.site)
        self.second: Staff = make_staff(site=self.site)
        self.patients: list[Patient] = [make_patient(site=self.site) for _ in range(3)]
        self.eyes: list[Eye] = [
            make_eye(patient=patient, side=side) for patient in self.patients for side in ("right", "left")
        ]
        self.actions: list[Callable[[], object]] = [
            self.operate, self.operate, self.see, self.see, self.see, self.book, self.book, self.turn_up,
            self.cancel, self.move, self.cancel_session, self.sign, self.undo, self.call, self.die,
            self.correct_operation, self.operation_in_error, self.visit_in_error, self.open_session,
            self.confirm_death, self.tell_symptoms, self.answer_symptoms,
        ]  # fmt: skip

    @property
    def now(self) -> datetime:
        return datetime.combine(self.today, time(9), tzinfo=UTC)

    def step(self) -> None:
        self.today += timedelta(days=self.random.choice([0, 0, 1, 3, 10, 40, 90]))
        with suppress(FollowUpError):
            self.random.choice(self.actions)()

    def any(self, rows: object) -> object:
        found = list(rows)
        if not found:
            raise FollowUpError("There is none yet.")
        return self.random.choice(found)

    def _who(self) -> dict[str, object]:
        return {"by": self.surgeon, "now": self.now}

    def operate(self) -> None:
        operations.record_operation(
            **self._who(),
            today=self.today,
            eye=self.any(self.eyes),
            date=self.today - timedelta(days=self.random.choice([0, 0, 0, 20])),
            indication=self.random.choice(list(Indication)),
            procedures=self.random.sample(list(Procedure), self.random.choice([1, 2])),
            tamponade_in=self.random.choice(list(Tamponade)),
            takes_out=self.random.random() < 0.4,
        )

    def see(self) -> None:
        patient = self.any(self.patients)
        exams = [
            ExamEntry(
                side=side,
                retina=self.random.choice(list(Retina)),
                tamponade_seen=self.random.choice(list(TamponadeSeen)),
                acuities=[AcuityEntry(self.random.choice(["6/9", "0.5", "CF 1m", "HM"]))],
            )
            for side in self.random.choice([["right"], ["left"], ["right", "left"]])
        ]
        visits.record_visit(
            **self._who(),
            today=self.today,
            patient=patient,
            day=self.today,
            exams=exams,
            bare_acuity=Notation.DECIMAL,
        )

    def open_session(self) -> None:
        booking.open_session(
            **self._who(),
            site=self.site,
            kind=self.random.choice(["clinic", "theatre"]),
            title="List",
            day=self.today + timedelta(days=self.random.randrange(1, 90)),
            starts=time(9),
            ends=time(12),
            places=2,
        )

    def book(self) -> None:
        session = self.any(Session.objects.filter(day__gte=self.today, cancelled=False))
        patient = self.any(self.patients)
        eye = self.any(patient.eyes.all()) if session.kind == "theatre" else None
        booking.book_appointment(
            **self._who(), today=self.today, patient=patient, session=session,
            lane="removal" if eye else "review", eye=eye,
        )  # fmt: skip

    def turn_up(self) -> None:
        appointment = self.any(Appointment.objects.filter(day__lte=self.today, state="booked"))
        mark = self.random.choice([booking.mark_arrived, booking.mark_attended, booking.mark_not_attended])
        mark(**self._who(), today=self.today, appointment=appointment)

    def cancel(self) -> None:
        appointment = self.any(Appointment.objects.exclude(state="cancelled"))
        booking.cancel_appointment(
            **self._who(), appointment=appointment, cancelled_by="patient", reason="Ill"
        )

    def move(self) -> None:
        booking.move_appointment(
            **self._who(), today=self.today, appointment=self.any(Appointment.objects.all()),
            session=self.any(Session.objects.filter(day__gte=self.today)),
        )  # fmt: skip

    def cancel_session(self) -> None:
        session = self.any(Session.objects.filter(cancelled=False))
        cancel_session.cancel_session(**self._who(), session=session, reason="No anaesthetist")

    def sign(self) -> None:
        decisions.sign_decision(
            **self._who(),
            today=self.today,
            eye=self.any(self.eyes),
            kind=self.random.choice(
                [
                    "keep_oil",
                    "see_again",
                    "plan",
                    "discharge",
                    "transfer",
                    "lost",
                    "refused",
                    "change_pathway",
                ]
            ),
            reason="As discussed",
            review_on=self.today + timedelta(days=self.random.randrange(5, 200)),
            to_whom="Harbour Eye Unit",
            pathway=self.any(PathwayVersion.objects.all()),
        )

    def undo(self) -> None:
        decision = self.any(Decision.objects.filter(undone_at=None))
        decisions.undo_decision(
            **self._who(), today=self.today, decision=decision, reason="Signed for the wrong eye"
        )

    def call(self) -> None:
        recall.record_attempt(
            **self._who(), today=self.today, patient=self.any(self.patients),
            channel=self.random.choice(list(Channel)), result=self.random.choice(list(ContactResult)),
        )  # fmt: skip

    def die(self) -> None:
        if self.random.random() < 0.2:
            decisions.record_death(
                **self._who(),
                today=self.today,
                patient=self.any(self.patients),
                died_on=self.today,
                source="Family",
            )

    def confirm_death(self) -> None:
        decisions.confirm_death(
            by=self.second,
            now=self.now,
            patient=self.any(Patient.objects.filter(death_to_confirm=True)),
        )

    def tell_symptoms(self) -> None:
        symptoms.report_symptoms(
            **self._who(), today=self.today, patient=self.any(self.patients), note="A curtain"
        )

    def answer_symptoms(self) -> None:
        symptoms.answer_report(
            **self._who(),
            today=self.today,
            report=self.any(SymptomReport.objects.filter(answered_at=None)),
            answer="Seen today",
        )

    def correct_operation(self) -> None:
        operations.correct_operation(
            **self._who(), today=self.today, operation=self.any(Operation.objects.filter(in_error=False)),
            tamponade_in=self.random.choice(list(Tamponade)),
        )  # fmt: skip

    def operation_in_error(self) -> None:
        operation = self.any(Operation.objects.filter(in_error=False))
        operations.mark_operation_in_error(**self._who(), operation=operation, reason="Wrong eye")

    def visit_in_error(self) -> None:
        visit = self.any(Visit.objects.filter(in_error=False))
        visits.mark_visit_in_error(**self._who(), visit=visit, reason="Wrong person")


def derived_standing(history: EyeHistory, site: Site, day: date) -> object:
    state = state_of(history, plan_eye(history, pathway_book()))
    assert state is not None
    return standing_on(state, day, limits_of(site))


def without_known(history: EyeHistory) -> tuple[object, ...]:
    """What the rules see of a history."""
    facts = (
        *history.operations,
        *history.exams,
        *history.appointments,
        *history.decisions,
        *history.attempts,
        *history.reports,
    )
    return replace(history.traits, known=ALWAYS), {replace(fact, known=ALWAYS) for fact in facts}


class WhateverTheClinicDoes(TestCase):
    @tries(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
    @given(seed=st.integers(0, 2**32), steps=st.integers(5, 60))
    def test_stored_equals_derived_and_the_standings_add_up(self, seed: int, steps: int) -> None:
        pathway.load_pathways(folder=Path(settings.BASE_DIR) / "fixtures" / "pathways")
        clinic = Clinic(seed)
        for _ in range(steps):
            clinic.step()
        assert list(pathway.verify()) == []
        day = clinic.today + timedelta(days=clinic.random.choice([0, 1, 30, 400]))
        rows = site_standings(site=clinic.site, day=day)
        operated = operated_eyes(clinic.site).count()
        assert operated == Operation.objects.filter(in_error=False).values("eye_id").distinct().count()
        assert sum(sum_of_standings(rows).values()) == len(rows) == operated
        histories = eye_histories([row.eye.pk for row in rows])
        records = eye_records(list(histories))
        for row in rows:
            assert row.standing == derived_standing(histories[row.eye.pk], clinic.site, day)
            known = records[row.eye.pk].known_now()
            assert without_known(known) == without_known(histories[row.eye.pk])

    @tries(max_examples=5, deadline=None, suppress_health_check=list(HealthCheck))
    @given(seed=st.integers(0, 2**32))
    def test_what_was_known_on_a_day_is_told_the_same_for_ever(self, seed: int) -> None:
        pathway.load_pathways(folder=Path(settings.BASE_DIR) / "fixtures" / "pathways")
        clinic = Clinic(seed)
        eyes = [eye.pk for eye in clinic.eyes]
        for _ in range(20):
            clinic.step()
        asked = clinic.today
        told = {pk: without_known(history.until(asked)) for pk, history in eye_histories(eyes).items()}
        clinic.today += timedelta(days=1)
        for _ in range(20):
            clinic.step()
        records = eye_records(eyes)
        assert {pk: without_known(records[pk].known_on(asked)) for pk in eyes} == told
