"""Whom to call first, and which eyes hold oil longest past their limit."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from followup.domain.words import Lane, Standing
from followup.models import Eye, PathwayVersion, Site
from followup.queries.home import day_at_a_glance
from followup.queries.oil import tamponade_in_place
from followup.queries.recall import TO_DO, Wanted, questions, recall_list, surgeons_of
from followup.services.pathway import replan_eye
from tests.builders import (
    TODAY,
    days,
    make_appointment,
    make_attempt,
    make_decision,
    make_exam,
    make_eye,
    make_oil_operation,
    make_operation,
    make_session,
    make_site,
    make_staff,
)


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site()


def operated(site: Site, day: int, *, oil: bool = False, seen: int | None = None, **fields: object) -> Eye:
    eye = make_eye(site=site, only_eye=bool(fields.pop("only_eye", False)))
    make = make_oil_operation if oil else make_operation
    make(eye=eye, date=days(day), **fields)
    if seen is not None:
        make_exam(eye=eye, day=days(seen))
    replan_eye(eye_id=eye.pk)
    return eye


def listed(site: Site, **wanted: object) -> list[Eye]:
    return [row.row.eye for row in recall_list(site=site, day=TODAY, wanted=Wanted(**wanted))]


def test_oil_past_its_limit_comes_before_an_only_eye_before_days_past_the_window(site: Site) -> None:
    late = operated(site, -70, seen=-60)
    only = operated(site, -10, only_eye=True)
    oil = operated(site, -100, oil=True, seen=-10)
    assert listed(site, standings=TO_DO) == [oil, only, late]


def test_the_list_is_narrowed_by_what_is_wanted(site: Site) -> None:
    surgeon = make_staff(role="surgeon", site=site, first_name="Robin", last_name="Sands")
    oil = operated(site, -100, oil=True, seen=-10, surgeon=surgeon)
    late = operated(site, -70, seen=-60, surgeon_name="Dr Visiting")
    assert listed(site, lane=Lane.REMOVAL) == [oil]
    assert listed(site, surgeon="Dr Visiting") == [late]
    assert surgeons_of(site) == ["Dr Visiting", "Robin Sands"]
    make_attempt(patient=late.patient, next_step_on=TODAY)
    make_attempt(patient=oil.patient, next_step_on=days(1))
    assert listed(site, call_due=True) == [late]


def test_the_last_attempt_is_the_one_that_counts(site: Site) -> None:
    eye = operated(site, -70)
    make_attempt(patient=eye.patient, day=days(-5), next_step_on=days(-3))
    make_attempt(patient=eye.patient, day=days(-3), next_step_on=days(4))
    (row,) = recall_list(site=site, day=TODAY, wanted=Wanted())
    assert row.last_attempt is not None
    assert row.last_attempt.day == days(-3)
    assert listed(site, call_due=True) == []


def test_a_question_says_what_contradicts_what(site: Site) -> None:
    eye = operated(site, -40, oil=True)
    make_exam(eye=eye, day=days(-5), tamponade_seen="none")
    (row,) = questions(site=site, day=TODAY)
    assert (
        "No oil was seen on 25 Feb 2026, but no operation on record took it out."
        in row.row.standing.next_step
    )


def test_every_open_fill_of_oil_is_listed_with_its_decision_and_theatre_date(site: Site) -> None:
    within, past, kept = (operated(site, day, oil=True, seen=-1) for day in (-30, -120, -200))
    operated(site, -20)
    make_decision(eye=kept, kind="keep_oil", review_on=days(30), reason="Low pressure")
    theatre = make_session(site=site, day=days(3), kind="theatre")
    make_appointment(patient=past.patient, session=theatre, eye=past)
    rows = tamponade_in_place(site=site, day=TODAY)
    assert [row.row.eye for row in rows] == [past, within, kept]
    assert [row.days_in_eye for row in rows] == [120, 30, 200]
    assert rows[0].days_past_limit == 28
    assert rows[0].theatre is not None
    assert rows[0].theatre.day == days(3)
    assert (rows[2].is_kept, rows[2].kept_because) == (True, "Low pressure")
    later = tamponade_in_place(site=site, day=days(31))
    assert later[0].row.eye == kept
    assert later[0].is_past_review


def test_an_exchange_shows_both_clocks(site: Site) -> None:
    eye = make_eye(site=site)
    make_oil_operation(eye=eye, date=days(-100))
    make_oil_operation(eye=eye, date=days(-20), takes_out=True, procedures=["oil_exchange"])
    replan_eye(eye_id=eye.pk)
    (row,) = tamponade_in_place(site=site, day=TODAY)
    assert (row.days_in_eye, row.days_since_first, row.was_exchanged) == (20, 100, True)


def test_the_day_at_a_glance_counts_every_operated_eye_once(site: Site) -> None:
    operated(site, -100, oil=True, seen=-10)
    operated(site, -70, seen=-60)
    eye = operated(site, -10, seen=-9)
    make_appointment(patient=eye.patient, day=days(-4))
    make_eye(site=site)
    operated(make_site(), -10)
    glance = day_at_a_glance(site, TODAY)
    assert glance.operated == 3
    assert glance.adds_up
    assert glance.standings[Standing.OVERDUE] == 2
    assert (glance.overdue_removals, glance.without_outcome) == (1, 1)


def test_the_lists_cost_the_same_for_one_eye_and_for_five(site: Site) -> None:
    counts = []
    for number in (1, 4):
        for _ in range(number):
            make_attempt(patient=operated(site, -100, oil=True).patient)
        with CaptureQueriesContext(connection) as asked:
            recall_list(site=site, day=TODAY, wanted=Wanted())
            tamponade_in_place(site=site, day=TODAY)
            day_at_a_glance(site, TODAY)
        counts.append(len(asked))
    assert counts[0] == counts[1]
