"""What the people of a site need, and which free place each is proposed."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from followup.domain.words import Lane
from followup.models import Eye, PathwayVersion, Patient, Site
from followup.queries.proposal.lines import proposal
from followup.queries.proposal.wants import needs_of, open_needs
from followup.services.pathway import replan_eyes
from followup.services.symptoms import answer_report
from tests.builders import (
    NOW,
    TODAY,
    days,
    make_appointment,
    make_exam,
    make_eye,
    make_oil_operation,
    make_operation,
    make_patient,
    make_report,
    make_session,
    make_site,
    make_staff,
    make_unavailable,
)


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site()


def due_eye(patient: Patient, side: str = "right", operated: int = -28, **fields: object) -> Eye:
    """Seen in week 1; operated on 28 days ago, month 1 is open from 23 Feb to 16 Mar 2026."""
    eye = make_eye(patient=patient, side=side, **fields)
    make_operation(eye=eye, date=days(operated))
    make_exam(eye=eye, day=days(operated + 7))
    replan_eyes(eye_ids=[eye.pk])
    return eye


def test_both_eyes_of_a_person_need_one_place(site: Site) -> None:
    patient = make_patient(site=site)
    due_eye(patient)
    due_eye(patient, "left", operated=-21)
    (need,) = needs_of(site, TODAY)
    assert (need.lane, len(need.eyes), len(need.want.dues)) == (Lane.REVIEW, 2, 2)
    assert need.want.opens == days(0)


def test_a_removal_is_a_need_of_its_own_in_theatre(site: Site) -> None:
    eye = make_oil_operation(site=site, date=days(-70)).eye
    replan_eyes(eye_ids=[eye.pk])
    needs = needs_of(site, TODAY)
    assert {(need.lane, need.want.kind, need.eye) for need in needs} == {
        (Lane.REMOVAL, "theatre", eye),
        (Lane.REVIEW, "clinic", None),
    }


@pytest.mark.parametrize(
    ("operated", "fields", "weight"), [(-28, {}, 1), (-28, {"only_eye": True}, 8), (-400, {}, 4)]
)
def test_what_makes_an_eye_pressing_weighs(
    site: Site, operated: int, fields: dict[str, bool], weight: int
) -> None:
    due_eye(make_patient(site=site), operated=operated, **fields)
    (need,) = needs_of(site, TODAY)
    assert need.want.weight == weight


def test_oil_past_its_limit_weighs_most(site: Site) -> None:
    eye = make_oil_operation(site=site, date=days(-120)).eye
    make_exam(eye=eye, day=days(-1))
    replan_eyes(eye_ids=[eye.pk])
    weights = {need.lane: need.want.weight for need in needs_of(site, TODAY)}
    assert weights[Lane.REMOVAL] == 16


def test_nobody_with_new_symptoms_is_offered_a_routine_place(site: Site) -> None:
    patient = make_patient(site=site)
    due_eye(patient)
    report = make_report(patient=patient)
    assert needs_of(site, TODAY) == []
    surgeon = make_staff(role="surgeon", site=site)
    answer_report(by=surgeon, now=NOW, today=TODAY, report=report, answer="Seen; no new tear.")
    assert len(needs_of(site, TODAY)) == 1


def test_whoever_is_booked_or_waiting_needs_nothing(site: Site) -> None:
    booked, waiting = make_patient(site=site), make_patient(site=site)
    due_eye(booked)
    make_appointment(patient=booked, day=days(7))
    eye = due_eye(waiting)
    make_exam(eye=eye, day=days(-1))
    replan_eyes(eye_ids=[eye.pk])
    assert needs_of(site, TODAY) == []
    assert open_needs(site, TODAY, [booked.pk, waiting.pk]) == set()


def test_an_overdue_eye_counts_its_delay_from_the_first_window_that_closed(site: Site) -> None:
    due_eye(make_patient(site=site), operated=-60)
    make_session(site=site, day=days(1))
    (line,) = proposal(site, TODAY)
    since = line.need.want.dues[0].closes
    assert line.session is not None
    assert line.delay == (line.session.day - since).days > 0


def test_the_place_proposed_is_in_the_window_and_the_choices_are_in_the_order_of_time(site: Site) -> None:
    due_eye(make_patient(site=site))
    late, good = make_session(site=site, day=days(30)), make_session(site=site, day=days(1))
    make_session(site=site, day=days(1), places=1, urgent_places=1)
    make_session(site=site, day=days(1), kind="theatre")
    make_session(day=days(1))
    (line,) = proposal(site, TODAY)
    assert (line.session, line.delay, line.choices) == (good, 0, (good, late))


def test_a_day_when_the_person_cannot_come_is_not_proposed(site: Site) -> None:
    patient = make_patient(site=site)
    due_eye(patient)
    make_session(site=site, day=days(1))
    make_unavailable(patient=patient, first_day=days(0), last_day=days(2))
    (line,) = proposal(site, TODAY)
    assert (line.session, line.choices) == (None, ())


def test_more_people_take_no_more_queries(site: Site) -> None:
    counts = []
    for _ in range(2):
        due_eye(make_patient(site=site))
        make_session(site=site, day=days(7))
        with CaptureQueriesContext(connection) as asked:
            proposal(site, TODAY)
        counts.append(len(asked))
    assert counts[0] == counts[1]
