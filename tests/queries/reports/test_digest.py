"""What the morning digest counts."""

from __future__ import annotations

from datetime import date, time
from pathlib import Path

import pytest
from django.conf import settings

from followup.domain.words import Standing
from followup.models import Site
from followup.queries.reports.digest import Digest, digest_of
from followup.services.pathway import load_pathways, replan_eyes
from tests.builders import make_appointment, make_oil_operation, make_operation, make_patient, make_site

pytestmark = pytest.mark.django_db

OPERATED = date(2026, 1, 30)
"""Day 1 closes on 1 February: the eye is overdue from 2 February. Oil is past its limit from 1 May."""


@pytest.fixture
def site() -> Site:
    load_pathways(folder=Path(settings.BASE_DIR) / "fixtures" / "pathways")
    return make_site()


def operate(site: Site, make=make_operation) -> None:
    operation = make(site=site, date=OPERATED)
    replan_eyes(eye_ids=[operation.eye_id])


def digest(site: Site, day: date, since: date) -> Digest:
    return digest_of(site=site, day=day, since=since)


@pytest.mark.parametrize(
    ("day", "since", "newly_overdue", "overdue"),
    [
        (date(2026, 2, 1), date(2026, 1, 31), 0, 0),
        (date(2026, 2, 2), date(2026, 2, 1), 1, 1),
        (date(2026, 2, 3), date(2026, 2, 2), 0, 1),
        (date(2026, 2, 4), date(2026, 1, 30), 1, 1),
    ],
    ids=["last day of the window", "the day after", "no longer new", "after days without a digest"],
)
def test_an_eye_is_newly_overdue_in_one_digest(
    site: Site, day: date, since: date, newly_overdue: int, overdue: int
) -> None:
    operate(site)
    counted = digest(site, day, since)
    assert (counted.newly_overdue, counted.standings[Standing.OVERDUE]) == (newly_overdue, overdue)


@pytest.mark.parametrize(
    ("day", "past_limit"), [(date(2026, 4, 30), 0), (date(2026, 5, 1), 1)], ids=["last day", "a day past it"]
)
def test_oil_is_counted_from_the_day_after_its_limit(site: Site, day: date, past_limit: int) -> None:
    operate(site, make_oil_operation)
    assert digest(site, day, day).oil_past_limit == past_limit


def test_past_appointments_without_an_outcome_are_counted(site: Site) -> None:
    day = date(2026, 3, 2)
    for state in ["booked", "arrived", "fulfilled", "noshow"]:
        make_appointment(patient=make_patient(site=site), day=date(2026, 3, 1), state=state)
    make_appointment(patient=make_patient(site=site), day=day, local_time=time(9))
    make_appointment(day=date(2026, 3, 1))
    assert digest(site, day, day).without_outcome == 2


def test_the_standings_add_up_to_the_operated_eyes_of_the_site(site: Site) -> None:
    for _ in range(3):
        operate(site)
    make_operation()
    assert digest(site, date(2026, 2, 2), date(2026, 2, 1)).operated == 3
