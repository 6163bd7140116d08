"""A session's list: who, which eye, how long after which operation, and what to look at."""

from __future__ import annotations

from datetime import time

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from followup.models import Eye, PathwayVersion, Site
from followup.queries.day_sheet import EyeLine, day_sheet, sessions_left_open
from followup.services.pathway import replan_eyes
from tests.builders import (
    TODAY,
    days,
    make_appointment,
    make_exam,
    make_eye,
    make_oil_operation,
    make_operation,
    make_patient,
    make_session,
    make_site,
)


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site()


def on_list(eye: Eye, day: int = 7) -> EyeLine:
    """The line of this eye, booked into a clinic on that day."""
    replan_eyes(eye_ids=[eye.pk])
    session = make_session(site=eye.patient.site, day=days(day))
    make_appointment(session=session, patient=eye.patient)
    return next(line for line in day_sheet(session, TODAY)[0].eyes if line.eye == eye)


def test_an_eye_says_how_long_after_which_operation_it_is_seen(site: Site) -> None:
    line = on_list(make_operation(site=site, date=days(-28), procedures=["vitrectomy", "endolaser"]).eye)
    assert (line.since, line.operation) == (
        "month 1 (day 35)",
        "2 Feb 2026: Endolaser, Pars plana vitrectomy",
    )


def test_the_first_month_is_told_in_days(site: Site) -> None:
    assert on_list(make_operation(site=site, date=days(-1)).eye, day=0).since == "day 1"


@pytest.mark.parametrize(
    ("agent", "told", "asked"),
    [
        ("oil_1000", "Silicone oil 1000 cSt, 35 days", "Pressure. Oil: emulsified, or in front of the iris?"),
        ("sf6", "SF6 gas, 35 days", "Is the bubble gone?"),
        ("unknown", "Unknown, check, 35 days", "Which tamponade is in the eye? It is not recorded."),
        ("none", "", None),
    ],
)
def test_what_is_in_the_eye_says_what_to_look_at(
    site: Site, agent: str, told: str, asked: str | None
) -> None:
    line = on_list(make_operation(site=site, date=days(-28), tamponade_in=agent).eye)
    assert line.tamponade == told
    assert line.look_at[-1:] == ((asked,) if asked else ("Month 1",))


def test_the_planned_review_stands_first_and_says_if_it_is_late(site: Site) -> None:
    eye = make_operation(site=site, date=days(-28), tamponade_in="none").eye
    make_exam(eye=eye, day=days(-21))
    assert on_list(eye).look_at == ("Month 1",)
    assert on_list(eye, day=20).look_at == ("Month 1, 6 days after its window",)


def test_an_open_question_to_the_clinician_is_on_the_list(site: Site) -> None:
    eye = make_operation(site=site, date=days(-28), tamponade_in="none").eye
    make_exam(eye=eye, day=days(-21), retina="detached_macula_on")
    assert on_list(eye).look_at == (
        "Month 1",
        "To decide: Retina detached when seen on 9 Feb 2026, and no plan is signed.",
    )


def test_both_eyes_stand_right_before_left_in_a_clinic_and_one_alone_in_theatre(site: Site) -> None:
    patient = make_patient(site=site)
    left, right = make_eye(patient=patient, side="left"), make_eye(patient=patient)
    for eye in (left, right):
        make_oil_operation(eye=eye, date=days(-70))
    replan_eyes(eye_ids=[left.pk, right.pk])
    clinic = make_session(site=site)
    theatre = make_session(site=site, kind="theatre")
    make_appointment(session=clinic, patient=patient)
    make_appointment(session=theatre, patient=patient, eye=left)
    assert [line.side.label for line in day_sheet(clinic, TODAY)[0].eyes] == ["RIGHT", "LEFT"]
    (line,) = day_sheet(theatre, TODAY)[0].eyes
    assert (line.side.label, line.look_at[0]) == ("LEFT", "Oil removal")


def test_a_past_list_shows_the_eye_as_it_came_to_theatre(site: Site) -> None:
    eye = make_oil_operation(site=site, date=days(-80)).eye
    theatre = make_session(site=site, kind="theatre", day=days(-10))
    make_appointment(session=theatre, eye=eye, state="fulfilled")
    make_operation(
        eye=eye, date=days(-10), tamponade_in="none", takes_out=True, procedures=["vitrectomy", "oil_removal"]
    )
    replan_eyes(eye_ids=[eye.pk])
    (line,) = day_sheet(theatre, TODAY)[0].eyes
    assert (line.since, line.tamponade) == ("month 2 (day 70)", "Silicone oil 1000 cSt, 70 days")


def test_the_places_are_in_the_order_of_time_with_cancelled_ones_last(site: Site) -> None:
    session = make_session(site=site)
    called_off = make_appointment(
        session=session, site=site, local_time=time(9), state="cancelled", cancelled_by="clinic"
    )
    late, early = (
        make_appointment(session=session, site=site, local_time=at, state=state)
        for at, state in ((time(11), "booked"), (time(10), "fulfilled"))
    )
    lines = day_sheet(session, TODAY)
    assert [line.appointment for line in lines] == [early, late, called_off]
    assert [line.is_open for line in lines] == [False, True, False]


def test_a_long_list_takes_no_more_queries_than_a_short_one(site: Site) -> None:
    session = make_session(site=site, places=20)
    counts = []
    for _ in range(2):
        eye = make_oil_operation(site=site, date=days(-70)).eye
        replan_eyes(eye_ids=[eye.pk])
        make_appointment(session=session, patient=eye.patient)
        with CaptureQueriesContext(
            connection,
        ) as queries:
            day_sheet(session, TODAY)
        counts.append(len(queries))
    assert counts[0] == counts[1]


def test_sessions_left_open_are_told_with_their_people_the_longest_ago_first(site: Site) -> None:
    recent, old = make_session(site=site, day=days(-1)), make_session(site=site, day=days(-5))
    places = [make_appointment(site=site, session=session) for session in (recent, old, recent)]
    assert [(row.session, row.open_lines) for row in sessions_left_open(places)] == [(old, 1), (recent, 2)]
