"""What became of each milestone, in words, and the numbers behind an eye's figure."""

from __future__ import annotations

from datetime import date

import pytest

from followup.domain.pathway.milestones import Milestone
from followup.domain.words import Lane, Mark
from followup.models import Eye, PathwayVersion
from followup.queries.eye_series import Band, Point, eye_series
from followup.queries.eyes import eye_page, milestone_row
from followup.services.pathway import replan_eye
from tests.builders import make_acuity, make_exam, make_eye, make_oil_operation, make_operation, make_site

M1 = Milestone(
    key="M1",
    title="Month 1",
    lane=Lane.REVIEW,
    opens=date(2026, 2, 21),
    target=date(2026, 2, 28),
    closes=date(2026, 3, 14),
    period_ends=date(2026, 4, 9),
)


@pytest.mark.parametrize(
    ("day", "said"),
    [
        (date(2026, 2, 20), "Opens in 1 day"),
        (date(2026, 2, 21), "Due now, 21 days left"),
        (date(2026, 3, 14), "Due now, 0 days left"),
        (date(2026, 3, 15), "Overdue 1 day"),
        (date(2026, 4, 9), "Overdue 26 days"),
        (date(2026, 4, 10), "Missed"),
    ],
)
def test_an_unmet_milestone_depends_on_the_day(day: date, said: str) -> None:
    assert milestone_row(M1, day).state == said


@pytest.mark.parametrize(
    ("mark", "said"),
    [
        (Mark.MET, "Met on 1 Mar 2026"),
        (Mark.MET_LATE, "Met late, on 1 Mar 2026"),
        (Mark.SIGNED, "Met by the visit of 1 Mar 2026, as a clinician signed"),
        (Mark.SUPERSEDED, "Superseded"),
    ],
)
def test_a_marked_milestone_says_so_on_any_day(mark: Mark, said: str) -> None:
    row = milestone_row(M1.met(date(2026, 3, 1), mark), date(2026, 5, 1))
    assert (row.state, row.is_pressing) == (said, False)


@pytest.fixture
def eye(pathways: list[PathwayVersion]) -> Eye:
    eye = make_eye(site=make_site())
    make_oil_operation(eye=eye, date=date(2025, 1, 10))
    make_acuity(exam=make_exam(eye=eye, day=date(2025, 2, 10), pressure_mmhg=21), correction="unaided")
    exam = make_exam(eye=eye, day=date(2025, 3, 10), pressure_mmhg=None, pressure_text="soft")
    make_acuity(exam=exam, as_written="HM", logmar=None, category="hand_movements", correction="best")
    make_acuity(exam=exam, as_written="6/60", logmar="1.0", correction="unaided")
    make_operation(
        eye=eye, date=date(2025, 4, 1), takes_out=True, tamponade_in="none", procedures=["oil_removal"]
    )
    replan_eye(eye_id=eye.pk)
    return eye


def test_the_figure_prefers_the_best_corrected_reading_of_each_visit(eye: Eye) -> None:
    series = eye_series(eye, date(2025, 6, 1))
    assert series.acuity == (
        Point(date(2025, 2, 10), 0.301, corrected=False),
        Point(date(2025, 3, 10), None, "HM", corrected=True),
    )
    assert series.pressure == ((date(2025, 2, 10), 21),)
    assert series.fills == (
        Band("Silicone oil 1000 cSt", date(2025, 1, 10), date(2025, 4, 1), is_open=False),
    )
    assert series.operations == (date(2025, 1, 10), date(2025, 4, 1))
    assert (series.first, series.last) == (date(2025, 1, 10), date(2025, 6, 1))


def test_the_page_keeps_the_superseded_course_beside_the_present_one(eye: Eye) -> None:
    page = eye_page(Eye.objects.select_related("patient__site").get(pk=eye.pk), date(2025, 6, 1))
    now, before = page.courses
    assert (now.course.pathway.key, before.course.pathway.key) == ("after-oil-removal", "oil-in-place")
    assert before.course.superseded_on == date(2025, 4, 1)
    states = {row.milestone.title: row.state for row in before.milestones}
    assert states["Day 1"] == "Missed"
    assert states["Month 6"] == "Superseded"
    assert states["Oil removal"] == "Met on 1 Apr 2025"
    assert [row.day for row in page.exams] == [date(2025, 3, 10), date(2025, 2, 10)]
    assert [reading.meaning for reading in page.exams[0].acuities] == ["hand movements", "logMAR 1.00"]
    assert [row.pressure for row in page.exams] == ["soft", "21 mmHg"]
    assert [caution.urgent for caution in page.cautions] == [True]
