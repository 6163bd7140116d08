"""Recall month by month: told from what is known now, with exact intervals."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from followup.domain.survival.values import NOT_ESTIMABLE
from followup.domain.words import Lane
from followup.models import Eye, PathwayVersion, Site
from followup.queries.reminders import reminder_key
from followup.queries.reports.recall_measures import Month, Overdue, recall_measures
from followup.queries.reports.recall_tables import recall_tables, sheet_rows
from followup.services.pathway import replan_eye
from tests.builders import (
    make_appointment,
    make_attempt,
    make_decision,
    make_exam,
    make_eye,
    make_message,
    make_oil_operation,
    make_operation,
    make_patient,
    make_site,
)

pytestmark = pytest.mark.django_db
TODAY = date(2026, 6, 15)


@pytest.fixture
def site(pathways: list[PathwayVersion]) -> Site:
    return make_site()


def operated(site: Site, on: date, *, oil: bool = False, seen: tuple[date, ...] = ()) -> Eye:
    eye = make_eye(site=site)
    (make_oil_operation if oil else make_operation)(eye=eye, date=on)
    for day in seen:
        make_exam(eye=eye, day=day)
    replan_eye(eye_id=eye.pk)
    return eye


def measures(site: Site) -> dict[str, Month]:
    return {f"{month.ends:%Y-%m}": month for month in recall_measures(site=site, today=TODAY)}


def test_the_present_month_runs_until_today_and_the_others_whole(site: Site) -> None:
    months = recall_measures(site=site, today=TODAY)
    assert [(month.starts, month.ends) for month in months[:2]] == [
        (date(2026, 6, 1), TODAY),
        (date(2026, 5, 1), date(2026, 5, 31)),
    ]
    assert len(months) == 6


def test_overdue_eyes_are_counted_at_each_month_s_end_with_the_days_past_the_window(site: Site) -> None:
    """Gas on 1 April: day 1 closes on the 3rd, so an eye never seen is 27 days past it on the 30th."""
    operated(site, date(2026, 4, 1))
    operated(site, date(2026, 4, 11))
    operated(site, date(2026, 4, 1), seen=(date(2026, 4, 2), date(2026, 4, 8), date(2026, 5, 2)))
    found = {name: month.overdue[0] for name, month in measures(site).items()}
    assert found["2026-03"] == Overdue(Lane.REVIEW, 0, None, None)
    assert found["2026-04"] == Overdue(Lane.REVIEW, 2, 22.0, 27)
    assert found["2026-05"] == Overdue(Lane.REVIEW, 2, 53.0, 58)


def test_a_visit_entered_late_mends_the_months_before(site: Site) -> None:
    eye = operated(site, date(2026, 4, 1))
    assert measures(site)["2026-04"].overdue[0].eyes == 1
    for day in (date(2026, 4, 2), date(2026, 4, 8)):
        make_exam(eye=eye, day=day)
    replan_eye(eye_id=eye.pk)
    assert measures(site)["2026-04"].overdue[0].eyes == 0


def test_where_on_the_ladder_people_are_reached(site: Site) -> None:
    first, third = make_patient(site=site), make_patient(site=site)
    for patient in (first, third):
        make_eye(patient=patient)
    make_attempt(patient=first, day=date(2026, 5, 4), result="will_come")
    make_attempt(patient=third, day=date(2026, 5, 4))
    make_attempt(patient=third, day=date(2026, 5, 6))
    make_attempt(patient=third, day=date(2026, 5, 7), channel="text", result="will_come")
    make_attempt(patient=third, day=date(2026, 5, 20), channel="in_person", result="will_come")
    reached = dict(measures(site)["2026-05"].reached_at)
    assert {step: count for step, count in reached.items() if count} == {
        "Telephone": 1,
        "Message": 1,
        "Another way": 1,
    }


def test_not_attended_with_a_reminder_and_without_one_each_with_its_exact_interval(site: Site) -> None:
    """0 of 1: 0 to 0.975, which is 1 - 0.025; 1 of 2: 0.0126 to 0.9874, by 1 - sqrt(0.975) (exact)."""
    for number, (state, sent) in enumerate([("fulfilled", True), ("noshow", False), ("fulfilled", False)]):
        place = make_appointment(
            patient=make_patient(site=site),
            day=date(2026, 5, 4) + timedelta(days=number),
            state=state,
            reason="work" if state == "noshow" else "",
        )
        if sent:
            make_message(site=site, kind="reminder", state="sent", key=reminder_key(place, 7))
    month = measures(site)["2026-05"]
    assert (month.reminded.events, month.reminded.total) == (0, 1)
    assert (month.reminded.lower, month.reminded.upper) == pytest.approx((0, 0.975))
    assert (month.not_reminded.events, month.not_reminded.total) == (1, 2)
    assert (month.not_reminded.lower, month.not_reminded.upper) == pytest.approx((0.0126, 0.9874), abs=5e-5)
    assert month.reasons == (("Work", 1),)
    assert measures(site)["2026-04"].reminded.share is NOT_ESTIMABLE


def test_oil_out_within_its_limit_by_the_month_in_which_the_limit_fell(site: Site) -> None:
    in_time, late, kept = (operated(site, date(2026, 2, 10), oil=True) for _ in range(3))
    for eye, day in ((in_time, date(2026, 5, 4)), (late, date(2026, 6, 1))):
        make_operation(
            eye=eye,
            date=day,
            indication="tamponade_removal",
            procedures=["oil_removal"],
            tamponade_in="none",
            takes_out=True,
        )
    make_decision(eye=kept, kind="keep_oil", signed_on=date(2026, 5, 5), review_on=date(2026, 9, 1))
    for eye in (in_time, late, kept):
        replan_eye(eye_id=eye.pk)
    found = measures(site)
    assert (found["2026-05"].out_in_time.events, found["2026-05"].out_in_time.total) == (1, 3)
    assert found["2026-05"].kept == 1
    removals = {name: month.overdue[list(Lane).index(Lane.REMOVAL)].eyes for name, month in found.items()}
    assert (removals["2026-04"], removals["2026-05"], removals["2026-06"]) == (0, 1, 0)


def test_the_sheet_holds_every_table_with_a_line_a_month(site: Site) -> None:
    operated(site, date(2026, 4, 1))
    tables = recall_tables(recall_measures(site=site, today=TODAY))
    rows = list(sheet_rows(tables))
    assert [len(table.lines) for table in tables] == [6, 6, 6, 6]
    assert all(len(line.cells) == len(table.head) - 1 for table in tables for line in table.lines)
    assert ["2026-04-30", "1", "27", "27", "0", "none", "none"] in rows


def test_the_measures_cost_the_same_for_one_eye_and_for_five(site: Site) -> None:
    counts = []
    for number in (1, 4):
        for _ in range(number):
            make_attempt(patient=operated(site, date(2026, 4, 1), oil=True).patient)
        with CaptureQueriesContext(connection) as asked:
            recall_measures(site=site, today=TODAY)
        counts.append(len(asked))
    assert counts[0] == counts[1]
