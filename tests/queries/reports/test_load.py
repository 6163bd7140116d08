"""What falls due, which places there are and who comes, read from the records of a site."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from followup.models import PathwayVersion, Site
from followup.queries.reports.load import LoadReport, load_ahead
from followup.services.pathway import replan_eyes
from tests.builders import (
    TODAY,
    days,
    make_appointment,
    make_exam,
    make_exception,
    make_eye,
    make_oil_operation,
    make_operation,
    make_patient,
    make_pattern,
    make_session,
    make_site,
)


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site()


def told(site: Site) -> tuple[LoadReport, LoadReport]:
    reviews, removals = load_ahead(site=site, day=TODAY, seed=1)
    return reviews, removals


def test_reviews_fall_due_in_the_week_of_their_target_once_a_person(site: Site) -> None:
    patient = make_patient(site=site)
    for side in ("right", "left"):
        eye = make_eye(patient=patient, side=side)
        make_operation(eye=eye, date=days(-21))
        make_exam(eye=eye, day=days(-14))
        replan_eyes(eye_ids=[eye.pk])
    reviews, removals = told(site)
    # Month 1 is due on 9 March and month 3 on 9 May 2026: weeks 1 and 9.
    assert [week for week, number in enumerate(reviews.load.due) if number][:2] == [1, 9]
    assert set(reviews.load.due) == {0, 1}
    assert (reviews.load.waiting, removals.load.due) == (0, (0,) * 26)


def test_what_is_overdue_waits_already_and_what_is_booked_falls_due_where_it_is_booked(site: Site) -> None:
    make_eyes = [make_operation(site=site, date=days(-60)).eye for _ in range(2)]
    replan_eyes(eye_ids=[eye.pk for eye in make_eyes])
    make_appointment(patient=make_eyes[0].patient, day=days(15))
    reviews, _ = told(site)
    assert reviews.load.waiting == 1
    assert reviews.load.due[2] == 1


def test_a_removal_falls_due_in_theatre_unless_the_oil_is_kept(site: Site) -> None:
    eye = make_oil_operation(site=site, date=days(-21)).eye
    replan_eyes(eye_ids=[eye.pk])
    _, removals = told(site)
    target = eye.courses.get().milestones.get(lane="removal").target
    assert removals.load.due.index(1) == (target - TODAY).days // 7
    assert sum(removals.load.due) == 1


def test_places_are_those_of_open_sessions_and_of_the_rota_beyond_them(site: Site) -> None:
    pattern = make_pattern(site=site, places=6)
    make_session(site=site, day=days(0), places=4, pattern=pattern, pattern_day=days(0))
    make_session(site=site, day=days(1), places=3)
    make_session(site=site, day=days(2), places=9, cancelled=True)
    make_exception(pattern=pattern, day=days(14))
    make_pattern(site=site, kind="theatre", places=2, weekday=3, every_weeks=2)
    reviews, removals = told(site)
    assert reviews.load.places[:4] == (7, 6, 0, 6)
    assert removals.load.places[:4] == (2, 0, 2, 0)


def test_attendance_is_that_of_the_last_year(site: Site) -> None:
    for day, state in (
        (-1, "fulfilled"),
        (-300, "fulfilled"),
        (-2, "noshow"),
        (-400, "noshow"),
        (-3, "booked"),
    ):
        make_appointment(site=site, day=days(day), state=state)
    reviews, removals = told(site)
    assert (reviews.load.came, reviews.load.missed, reviews.attendance) == (2, 1, pytest.approx(2 / 3))
    assert removals.attendance is None


def test_new_operations_bring_what_the_last_half_year_s_brought(site: Site) -> None:
    eyes = [make_operation(site=site, date=days(day)).eye for day in (-1, -200)]
    replan_eyes(eye_ids=[eye.pk for eye in eyes])
    reviews, _ = told(site)
    assert reviews.load.operations == pytest.approx(1 / 26)
    # Reviews on day 1, in week 1, then in months 1 and 3.
    ((*weeks,),) = reviews.load.brings
    assert weeks[:4] == [0, 1, 4, 13]


def test_the_week_that_falls_behind_is_told_and_what_one_more_session_would_do(site: Site) -> None:
    for _ in range(3):
        eye = make_operation(site=site, date=days(-21)).eye
        make_exam(eye=eye, day=days(-14))
        replan_eyes(eye_ids=[eye.pk])
    for week in range(26):
        make_session(site=site, day=days(7 * week), places=1)
    past = make_session(site=site, day=days(-30), places=1)
    for _ in range(40):
        make_appointment(site=site, session=past, state="fulfilled")
    reviews, _ = told(site)
    assert reviews.falls_behind is not None
    assert (reviews.falls_behind.label, reviews.extra) == ("2026-W11", 1)
    assert all(each.with_one_more.left_over <= each.ahead.left_over for each in reviews.weeks[:3])


def test_more_eyes_take_no_more_queries(site: Site) -> None:
    make_pattern(site=site)
    counts = []
    for _ in range(2):
        eye = make_oil_operation(site=site, date=days(-28)).eye
        replan_eyes(eye_ids=[eye.pk])
        with CaptureQueriesContext(connection) as asked:
            told(site)
        counts.append(len(asked))
    assert counts[0] == counts[1]
