"""Stored rows are what the planner says, whatever happens to an eye."""

from __future__ import annotations

from datetime import date, timedelta
from pathlib import Path

import pytest
from django.conf import settings

from followup.domain.words import Standing
from followup.models import Course, Fill, Milestone, PathwayVersion
from followup.queries.standing import site_standings, sum_of_standings
from followup.services import pathway
from tests.builders import make_eye, make_operation, make_site

pytestmark = pytest.mark.django_db
FOLDER = Path(settings.BASE_DIR) / "fixtures" / "pathways"


@pytest.fixture
def pathways() -> list[PathwayVersion]:
    return pathway.load_pathways(folder=FOLDER)


def test_every_shipped_pathway_is_accepted_once(pathways: list[PathwayVersion]) -> None:
    again = pathway.load_pathways(folder=FOLDER)
    assert [row.pk for row in again] == [row.pk for row in pathways]
    assert set(PathwayVersion.objects.values_list("key", flat=True)) == {
        "after-gas",
        "after-oil-removal",
        "buckle",
        "heavy-liquid",
        "high-myopia",
        "oil-in-place",
    }


def test_an_oil_fill_gets_its_course_windows_and_fill(pathways: list[PathwayVersion]) -> None:
    eye = make_eye()
    make_operation(eye=eye, date=date(2024, 1, 31), tamponade_in="oil_1000")
    pathway.replan_eye(eye_id=eye.pk)
    removal = Milestone.objects.get(course__eye=eye, lane="removal")
    assert (removal.opens, removal.closes) == (date(2024, 3, 31), date(2024, 4, 30))
    assert Fill.objects.get(eye=eye).ended_on is None
    assert Course.objects.get(eye=eye).pathway.key == "oil-in-place"


def test_an_edited_pathway_becomes_the_next_version_and_courses_keep_theirs(
    pathways: list[PathwayVersion], tmp_path: Path
) -> None:
    eye, other = make_eye(), make_eye()
    make_operation(eye=eye, date=date(2024, 1, 31), tamponade_in="sf6")
    pathway.replan_eye(eye_id=eye.pk)
    for path in FOLDER.glob("*.toml"):
        text = (
            path.read_text().replace('late = "P4D"', 'late = "P3D"')
            if path.stem == "after-gas"
            else path.read_text()
        )
        (tmp_path / path.name).write_text(text)
    pathway.load_pathways(folder=tmp_path)
    make_operation(eye=other, date=date(2024, 1, 31), tamponade_in="sf6")
    pathway.replan_eyes(eye_ids=[eye.pk, other.pk])
    closes = Milestone.objects.filter(key="W1").order_by("course__eye_id").values_list("closes", flat=True)
    assert list(closes) == [date(2024, 2, 11), date(2024, 2, 10)]


def test_verify_names_an_eye_whose_rows_were_changed_by_hand(pathways: list[PathwayVersion]) -> None:
    eye = make_eye()
    make_operation(eye=eye, date=date(2024, 1, 31), tamponade_in="sf6")
    pathway.replan_eye(eye_id=eye.pk)
    assert list(pathway.verify()) == []
    Milestone.objects.filter(key="M1").update(closes=date(2024, 12, 31))
    assert [(found.eye_id, found.what) for found in pathway.verify()] == [(eye.pk, "course 1")]


@pytest.mark.parametrize("eyes", [1, 6])
def test_replanning_and_reading_take_the_same_queries_for_one_eye_and_for_six(
    pathways: list[PathwayVersion], eyes: int, django_assert_num_queries
) -> None:
    site = make_site()
    made = [make_eye(site=site) for _ in range(eyes)]
    for eye in made:
        make_operation(eye=eye, date=date(2024, 1, 31), tamponade_in="oil_1000")
    with django_assert_num_queries(22):
        pathway.replan_eyes(eye_ids=[eye.pk for eye in made])
    day = date(2024, 2, 1) + timedelta(days=200)
    with django_assert_num_queries(13):
        rows = site_standings(site=site, day=day)
    assert sum_of_standings(rows)[Standing.OVERDUE] == eyes


def test_whole_histories_are_planned_once_at_the_end(pathways: list[PathwayVersion]) -> None:
    eye = make_eye()
    with pathway.planned_together():
        make_operation(eye=eye, date=date(2024, 1, 31), tamponade_in="oil_1000")
        pathway.replan_eye(eye_id=eye.pk)
        assert not Course.objects.filter(eye=eye).exists()
    assert Course.objects.get(eye=eye).anchor == date(2024, 1, 31)
    assert list(pathway.verify()) == []


def test_a_history_that_fails_half_way_leaves_nothing_and_planning_goes_on(
    pathways: list[PathwayVersion],
) -> None:
    eye = make_eye()

    def fail_half_way() -> None:
        with pathway.planned_together():
            make_operation(eye=eye, date=date(2024, 1, 31), tamponade_in="oil_1000")
            pathway.replan_eye(eye_id=eye.pk)
            raise ValueError("stop")

    with pytest.raises(ValueError, match="stop"):
        fail_half_way()
    assert not eye.operations.exists()
    make_operation(eye=eye, date=date(2024, 2, 1), tamponade_in="sf6")
    pathway.replan_eye(eye_id=eye.pk)
    assert Course.objects.get(eye=eye).anchor == date(2024, 2, 1)
