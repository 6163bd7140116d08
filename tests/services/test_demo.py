"""The demo shows everything that can happen, on whatever day it is loaded, and its records hold together."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from django.conf import settings
from django.core.management import call_command
from pytest_django import DjangoDbBlocker

from followup.domain.dates.workdays import age_on
from followup.domain.facts import EyeHistory
from followup.domain.outcome import Ending, FinalState, outcome_of
from followup.domain.roles import Role
from followup.domain.words import DecisionKind, Lane, Mark, Standing
from followup.models import (
    AcuityReading,
    Appointment,
    Change,
    Consent,
    ContactAttempt,
    Course,
    Decision,
    Exam,
    ExamComplication,
    Eye,
    Fill,
    Milestone,
    Operation,
    OutboxMessage,
    Patient,
    Session,
    Site,
    Staff,
    Visit,
)
from followup.queries.facts import eye_histories
from followup.queries.standing import EyeStandingRow, operated_eyes, site_standings, sum_of_standings
from followup.services import pathway
from followup.services.demo import DemoSummary, load_demo
from followup.services.demo.facts import read_facts
from tests.builders import NOW, TODAY

pytestmark = pytest.mark.django_db
FACTS = read_facts()


@dataclass(frozen=True)
class Loaded:
    summary: DemoSummary
    site: Site
    rows: list[EyeStandingRow]
    histories: dict[int, EyeHistory]


@pytest.fixture(scope="module")
def clinic(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Loaded]:
    """Loaded once, since that takes seconds; no test below leaves anything changed."""
    with django_db_blocker.unblock():
        pathway.load_pathways(folder=Path(settings.BASE_DIR) / "fixtures" / "pathways")
        summary = load_demo(today=TODAY, now=NOW)
        site = Site.objects.get(name=FACTS.clinic.site["name"])
        rows = site_standings(site=site, day=TODAY)
        yield Loaded(summary, site, rows, eye_histories([row.eye.pk for row in rows]))
        call_command("flush", interactive=False)


def test_it_is_as_large_as_a_small_service(clinic: Loaded) -> None:
    assert clinic.summary.loaded
    assert clinic.summary.patients >= 120
    assert clinic.summary.operated_eyes >= 150
    assert clinic.summary.patients == Patient.objects.filter(site=clinic.site).count()
    first = Operation.objects.order_by("date").first()
    assert first is not None
    assert timedelta(days=1000) < TODAY - first.date < timedelta(days=3 * 366)


def test_the_standings_add_up_and_each_of_them_occurs(clinic: Loaded) -> None:
    counted = sum_of_standings(clinic.rows)
    assert sum(counted.values()) == operated_eyes(clinic.site).count() == clinic.summary.operated_eyes
    assert {standing: count >= 8 for standing, count in counted.items()} == dict.fromkeys(Standing, True)


def test_what_is_stored_is_what_the_facts_say(clinic: Loaded) -> None:
    assert list(pathway.verify()) == []


def test_a_second_load_writes_nothing_and_tells_the_sign_ins_again(clinic: Loaded) -> None:
    changes = Change.objects.count()
    again = load_demo(today=TODAY + timedelta(days=1), now=NOW + timedelta(days=1))
    assert not again.loaded
    assert again.sign_ins == clinic.summary.sign_ins
    assert Change.objects.count() == changes


def test_every_role_can_sign_in_with_a_password_that_says_demo_only(clinic: Loaded) -> None:
    assert {sign_in.role for sign_in in clinic.summary.sign_ins} == set(Role)
    for role, username, password in clinic.summary.sign_ins:
        member = Staff.objects.get(username=username)
        assert member.role == role
        assert member.check_password(password)
        assert password.startswith("demo-only-")


def test_history_tells_each_event_on_its_own_day(clinic: Loaded) -> None:
    """One row for each of these, written on the day it happened and never after now."""
    assert not Change.objects.filter(at__gt=NOW).exists()
    visits = Change.objects.filter(verb="record_visit")
    assert visits.count() == Visit.objects.count()
    days = {row.subject_id: row.at.date() for row in visits}
    assert all(days[visit.pk] == visit.day for visit in Visit.objects.all())


def lane_in(row: EyeStandingRow, lane: Lane, standing: Standing) -> bool:
    return any(part.lane is lane and part.standing is standing for part in row.standing.lanes)


def is_oil_overdue(row: EyeStandingRow) -> bool:
    return lane_in(row, Lane.REMOVAL, Standing.OVERDUE)


def asks(row: EyeStandingRow, words: str) -> bool:
    asked = row.standing.standing is Standing.NEEDS_DECISION
    return asked and any(words in part.next_step for part in row.standing.lanes)


def closed_by(row: EyeStandingRow, kind: DecisionKind) -> bool:
    return row.standing.standing is Standing.CLOSED and row.standing.next_step.startswith(kind.label)


EYES: dict[str, tuple[int, Callable[[EyeStandingRow], bool]]] = {
    "oil past its limit": (4, is_oil_overdue),
    "oil past its limit in an only eye": (1, lambda row: is_oil_overdue(row) and row.eye.only_eye),
    "oil past its limit with a theatre place beside it": (
        1,
        lambda row: is_oil_overdue(row) and row.appointment is not None,
    ),
    "oil kept, decision still good": (
        1,
        lambda row: any(
            part.lane is Lane.REMOVAL and part.standing is Standing.WAITING and part.review_on is not None
            for part in row.standing.lanes
        ),
    ),
    "oil kept past its review": (1, lambda row: asks(row, "The decision to keep the oil")),
    "removal in time, in theatre": (3, lambda row: lane_in(row, Lane.REMOVAL, Standing.BOOKED)),
    "removal to book": (2, lambda row: lane_in(row, Lane.REMOVAL, Standing.TO_BOOK)),
    "review to book": (10, lambda row: lane_in(row, Lane.REVIEW, Standing.TO_BOOK)),
    "review booked": (10, lambda row: lane_in(row, Lane.REVIEW, Standing.BOOKED)),
    "review overdue": (5, lambda row: lane_in(row, Lane.REVIEW, Standing.OVERDUE)),
    "review booked too late": (1, lambda row: any(part.booked_late for part in row.standing.lanes)),
    "detached, no plan": (3, lambda row: asks(row, "Retina detached when seen")),
    "attempts exhausted": (1, lambda row: asks(row, "contact attempts without an answer")),
    "no oil seen, none taken out": (1, lambda row: asks(row, "No oil was seen")),
    "oil seen, none put in": (1, lambda row: asks(row, "Silicone oil was seen")),
    "tamponade unknown": (1, lambda row: asks(row, "is not recorded: unknown, check")),
    "all reviews done": (1, lambda row: asks(row, "All planned reviews are done")),
    "missed twice": (1, lambda row: row.standing.missed >= 2),
    "child": (2, lambda row: age_on(row.eye.patient.birth_date, TODAY) < 18),
    "only eye": (3, lambda row: row.eye.only_eye),
    "highly myopic with staphyloma": (
        8,
        lambda row: row.eye.staphyloma == "yes" and (row.eye.axial_length_mm or 0) >= 26,
    ),
    "discharged": (10, lambda row: closed_by(row, DecisionKind.DISCHARGE)),
    "transferred": (1, lambda row: closed_by(row, DecisionKind.TRANSFER)),
    "lost after review": (1, lambda row: closed_by(row, DecisionKind.LOST)),
    "refused": (1, lambda row: closed_by(row, DecisionKind.REFUSED)),
    "died": (3, lambda row: closed_by(row, DecisionKind.DIED)),
}


@pytest.mark.parametrize("state", EYES)
def test_every_state_of_an_eye_is_there_to_be_seen(clinic: Loaded, state: str) -> None:
    at_least, holds = EYES[state]
    assert sum(map(holds, clinic.rows)) >= at_least


RECORDS: dict[str, tuple[int, Callable[[], int]]] = {
    "exchanges that keep the first insertion": (
        2,
        lambda: sum(fill.first_placed_on < fill.placed_on for fill in Fill.objects.all()),
    ),
    "removals of oil": (
        20,
        lambda: Milestone.objects.filter(lane="removal", mark__in=["met", "met_late"]).count(),
    ),
    "removals after the limit": (
        1,
        lambda: Milestone.objects.filter(mark=Mark.MET_LATE, lane="removal").count(),
    ),
    "visits that were late": (1, lambda: Milestone.objects.filter(mark=Mark.MET_LATE, lane="review").count()),
    "courses ended by another operation": (20, lambda: Course.objects.exclude(superseded_on=None).count()),
    "people with both eyes operated on": (
        10,
        lambda: sum(
            count == 2 for count in Counter(Eye.objects.values_list("patient_id", flat=True)).values()
        ),
    ),
    "macular-hole detachments": (8, lambda: Operation.objects.filter(indication="mhrd").count()),
    "buckles": (8, lambda: Operation.objects.filter(procedure_rows__procedure="scleral_buckle").count()),
    "macular buckles": (
        2,
        lambda: Operation.objects.filter(procedure_rows__procedure="macular_buckle").count(),
    ),
    "heavy liquid": (1, lambda: Operation.objects.filter(tamponade_in="heavy_liquid").count()),
    "transfers that wait for acceptance": (
        1,
        lambda: Decision.objects.filter(kind="transfer", accepted_on=None).count(),
    ),
    "plans signed": (1, lambda: Decision.objects.filter(kind="plan").count()),
    "days to see an eye again": (2, lambda: Decision.objects.filter(kind="see_again").count()),
    "past places without an outcome": (
        3,
        lambda: Appointment.objects.filter(day__lt=TODAY, state__in=["booked", "arrived"]).count(),
    ),
    "places ahead": (20, lambda: Appointment.objects.filter(day__gte=TODAY, state="booked").count()),
    "people who arrived today": (2, lambda: Appointment.objects.filter(day=TODAY, state="arrived").count()),
    "places booked too late": (
        1,
        lambda: Appointment.objects.filter(booked_late=True, state="booked").count(),
    ),
    "places attended": (60, lambda: Appointment.objects.filter(state="fulfilled").count()),
    "places not attended": (5, lambda: Appointment.objects.filter(state="noshow").count()),
    "places that the clinic cancelled": (
        1,
        lambda: Appointment.objects.filter(cancelled_by="clinic").count(),
    ),
    "places that a death cancelled": (1, lambda: Appointment.objects.filter(cancelled_by="death").count()),
    "places moved": (1, lambda: Change.objects.filter(verb="move_appointment").count()),
    "lists cancelled": (1, lambda: Session.objects.filter(cancelled=True).count()),
    "contact attempts": (20, lambda: ContactAttempt.objects.count()),
    "new symptoms told": (1, lambda: ContactAttempt.objects.filter(result="symptoms").count()),
    "visits entered in error": (1, lambda: Visit.objects.filter(in_error=True).count()),
    "consents": (30, lambda: Consent.objects.filter(withdrawn_on=None).count()),
    "visits of which somebody was reminded": (
        40,
        lambda: OutboxMessage.objects.filter(kind="reminder", state="sent").count(),
    ),
    "booked people who cannot come": (1, lambda: Appointment.objects.filter(reply="declined").count()),
    "visits to which somebody was invited": (
        10,
        lambda: Appointment.objects.filter(invited_sequence__isnull=False).count(),
    ),
    "raised pressures": (15, lambda: Exam.objects.filter(pressure_mmhg__gt=25).count()),
    "holes closed": (20, lambda: Exam.objects.filter(hole="closed").count()),
    "holes open": (2, lambda: Exam.objects.filter(hole__in=["open", "flat_open"]).count()),
}


@pytest.mark.parametrize("what", RECORDS)
def test_every_kind_of_record_is_there_to_be_seen(clinic: Loaded, what: str) -> None:
    at_least, count = RECORDS[what]
    assert count() >= at_least


def test_acuity_is_written_in_many_ways(clinic: Loaded) -> None:
    notations = Counter(AcuityReading.objects.values_list("notation", flat=True))
    for notation in ("snellen_metre", "snellen_foot", "decimal", "logmar", "letters", "category"):
        assert notations[notation] >= 20, notation
    categories = set(AcuityReading.objects.exclude(category="").values_list("category", flat=True))
    assert {"counting_fingers", "hand_movements", "light_perception"} <= categories


def test_complications_of_oil_and_of_surgery_occur(clinic: Loaded) -> None:
    there = set(ExamComplication.objects.values_list("complication", flat=True))
    assert there >= {
        "raised_pressure",
        "emulsification",
        "oil_in_front",
        "keratopathy",
        "cataract",
        "epiretinal_membrane",
        "pvr",
        "unexplained_loss",
    }


def test_lists_are_held_every_week_and_have_free_places(clinic: Loaded) -> None:
    for kind in ("clinic", "theatre"):
        sessions = Session.objects.filter(kind=kind, cancelled=False)
        weeks = {session.day.isocalendar()[:2] for session in sessions}
        ahead = {(TODAY + timedelta(weeks=number)).isocalendar()[:2] for number in range(-16, 13)}
        assert ahead <= weeks | {(TODAY + timedelta(weeks=12)).isocalendar()[:2]}
        for session in sessions.filter(day__gt=TODAY):
            assert session.appointments.exclude(state="cancelled").count() < session.places


def test_the_recurrence_free_curve_is_believable(clinic: Loaded) -> None:
    outcomes = [outcome for history in clinic.histories.values() if (outcome := outcome_of(history))]
    endings = Counter(outcome.ending for outcome in outcomes)
    assert endings[Ending.RECURRED] >= 12
    assert endings[Ending.PRIMARY_FAILURE] == 3
    finals = Counter(outcome.final for outcome in outcomes)
    assert finals[FinalState.DETACHED] >= 3
    assert finals[FinalState.ATTACHED_UNDER_OIL] >= 10
    free, two_years = 1.0, 730
    times = [(outcome.days, outcome.recurred) for outcome in outcomes if outcome.days is not None]
    for day in sorted({days for days, recurred in times if recurred and days <= two_years}):
        at_risk = sum(days >= day for days, _ in times)
        free *= 1 - times.count((day, True)) / at_risk
    assert 0.12 <= 1 - free <= 0.20
    assert sum(days >= two_years for days, _ in times) >= 20


def test_now_is_later_than_every_record(clinic: Loaded) -> None:
    assert datetime(2026, 3, 2, 9, tzinfo=UTC) == NOW
    assert not Visit.objects.filter(day__gte=TODAY).exists()
    assert not Operation.objects.filter(date__gte=TODAY).exists()
