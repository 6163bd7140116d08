"""An eye's timeline tells operations, fills, visits, milestones and decisions by their days."""

from __future__ import annotations

from datetime import date

import pytest

from followup.models import Eye, PathwayVersion
from followup.queries.eyes import eye_page
from followup.queries.timeline import TimelineRow, timeline
from followup.services.pathway import replan_eye
from tests.builders import make_acuity, make_decision, make_exam, make_eye, make_oil_operation, make_operation

pytestmark = pytest.mark.django_db


@pytest.fixture
def eye(pathways: list[PathwayVersion]) -> Eye:
    """Oil in on 31 January 2024, seen on day 1 and late in the week after, out on 20 April."""
    eye = make_eye()
    make_oil_operation(eye=eye, date=date(2024, 1, 31))
    make_acuity(exam=make_exam(eye=eye, day=date(2024, 2, 1), pressure_mmhg=21), as_written="CF 1m")
    make_exam(eye=eye, day=date(2024, 2, 14), retina="detached_macula_on")
    make_operation(
        eye=eye,
        date=date(2024, 4, 20),
        procedures=["oil_removal"],
        indication="tamponade_removal",
        tamponade_in="none",
        takes_out=True,
    )
    make_operation(eye=eye, date=date(2024, 4, 1), in_error=True)
    make_decision(eye=eye, kind="plan", signed_on=date(2024, 2, 14), reason="Oil out in April")
    replan_eye(eye_id=eye.pk)
    return eye


def told(eye: Eye, day: date) -> list[tuple[str, str, str]]:
    return [(str(row.day), row.kind, row.words) for row in timeline(eye_page(eye, day), day)]


def test_everything_stands_on_its_day_the_last_first(eye: Eye) -> None:
    assert told(eye, date(2024, 4, 21)) == [
        ("2024-04-25", "Milestone", "Week 1: opens in 4 days"),
        ("2024-04-21", "Milestone", "Day 1: due now, 1 day left"),
        ("2024-04-20", "Operation", "Silicone oil removal, for planned removal of tamponade"),
        ("2024-04-20", "Fill", "Silicone oil 1000 cSt taken out after 80 days"),
        ("2024-04-20", "Milestone", "Oil removal: met on 20 Apr 2024"),
        ("2024-03-14", "Milestone", "Month 1: missed"),
        ("2024-02-14", "Visit", "retina: detached, macula on"),
        ("2024-02-14", "Milestone", "Week 1: met late, on 14 Feb 2024"),
        ("2024-02-14", "Decision", "Plan made: Oil out in April"),
        ("2024-02-01", "Visit", "acuity CF 1m, 21 mmHg, retina: attached"),
        ("2024-02-01", "Milestone", "Day 1: met on 1 Feb 2024"),
        (
            "2024-01-31",
            "Operation",
            "Pars plana vitrectomy, Silicone oil insertion, for rhegmatogenous retinal detachment",
        ),
        ("2024-01-31", "Fill", "Silicone oil 1000 cSt put in"),
    ]


def test_what_presses_is_marked(eye: Eye) -> None:
    day = date(2024, 4, 23)
    pressing = [row for row in timeline(eye_page(eye, day), day) if row.is_pressing]
    assert [(str(row.day), row.words) for row in pressing] == [
        ("2024-04-22", "Day 1: overdue 1 day"),
        ("2024-03-14", "Month 1: missed"),
        ("2024-02-14", "retina: detached, macula on"),
    ]


def test_an_eye_without_an_operation_has_no_timeline(pathways: list[PathwayVersion]) -> None:
    rows: tuple[TimelineRow, ...] = timeline(eye_page(make_eye(), date(2024, 4, 21)), date(2024, 4, 21))
    assert rows == ()
