"""Which eyes a cohort holds, as known on which day, and under which codes."""

from __future__ import annotations

from datetime import date
from decimal import Decimal
from typing import Any

import pytest
from pytest_django import DjangoAssertNumQueries

from followup.domain.errors import BadValue
from followup.domain.outcome import Ending
from followup.domain.words import Clock, Extent, Indication, Repeat, Tamponade, YesNo
from followup.models import Site
from followup.queries.cohort_choice import BuckleChoice, TamponadeGroup, days_of_months
from followup.queries.cohorts import cohort_rows, read_cohort, surgeons_at
from tests.builders import make_exam, make_eye, make_operation, make_site, make_staff
from tests.queries.audited import LOCK, OPERATED, choice_of, make_followed_eyes, people

pytestmark = pytest.mark.django_db

FIRST, SECOND = date(2020, 3, 1), date(2021, 6, 15)


@pytest.fixture
def site() -> Site:
    """A clinic with two eyes that differ in everything a cohort can ask for."""
    site = make_site()
    short = make_eye(site=site, axial_length_mm=Decimal("23.10"), staphyloma="no")
    make_operation(eye=short, date=FIRST, tamponade_in="sf6", surgeon_name="Visiting surgeon")
    long = make_eye(site=site, axial_length_mm=Decimal("29.00"), staphyloma="yes", only_eye=True)
    make_operation(
        eye=long,
        date=SECOND,
        indication="mhrd",
        tamponade_in="oil_5000",
        procedures=("vitrectomy", "macular_buckle"),
        repeat="repeat",
        extent="total",
        surgeon=make_staff(role="surgeon", site=site, first_name="Ada", last_name="Example"),
    )
    return site


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({}, [FIRST, SECOND]),
        ({"operated_from": FIRST, "operated_to": SECOND}, [FIRST, SECOND]),
        ({"operated_from": date(2020, 3, 2)}, [SECOND]),
        ({"operated_to": date(2021, 6, 14)}, [FIRST]),
        ({"indications": (Indication.MHRD, Indication.PVR)}, [SECOND]),
        ({"tamponade": Tamponade.SF6}, [FIRST]),
        ({"tamponade": Tamponade.OIL_1000}, []),
        ({"tamponade": TamponadeGroup.ANY_OIL}, [SECOND]),
        ({"tamponade": TamponadeGroup.ANY_GAS}, [FIRST]),
        ({"surgeon": "name:Visiting surgeon"}, [FIRST]),
        ({"repeat": Repeat.REPEAT}, [SECOND]),
        ({"buckle": BuckleChoice.MACULAR}, [SECOND]),
        ({"buckle": BuckleChoice.SCLERAL}, []),
        ({"buckle": BuckleChoice.WITHOUT}, [FIRST]),
        ({"extent": Extent.TOTAL}, [SECOND]),
        ({"only_eye": True}, [SECOND]),
        ({"only_eye": False}, [FIRST]),
        ({"staphyloma": YesNo.NO}, [FIRST]),
        ({"axial_length_from": Decimal("29")}, [SECOND]),
        ({"axial_length_from": Decimal("29.01")}, []),
        ({"lock": date(2021, 1, 1)}, [FIRST]),
    ],
)
def test_a_cohort_holds_the_eyes_whose_index_operation_is_as_asked(
    site: Site, asked: dict[str, Any], found: list[date]
) -> None:
    rows = cohort_rows(choice_of(site, **asked))
    assert sorted(row.index_date for row in rows) == found


def test_a_later_operation_neither_moves_the_index_nor_brings_an_eye_into_the_dates() -> None:
    operation = make_operation(date=FIRST)
    make_operation(eye=operation.eye, date=SECOND, indication="redetachment", tamponade_in="oil_1000")
    site = operation.eye.patient.site
    assert [row.index_date for row in cohort_rows(choice_of(site))] == [FIRST]
    assert cohort_rows(choice_of(site, operated_from=date(2021, 1, 1))) == ()
    assert cohort_rows(choice_of(site, tamponade=TamponadeGroup.ANY_OIL)) == ()


def test_other_clinics_and_operations_entered_in_error_are_no_part_of_it() -> None:
    make_operation(date=FIRST)
    site = make_operation(date=FIRST, in_error=True).eye.patient.site
    cohort = read_cohort(choice_of(site))
    assert (cohort.rows, cohort.operated_eyes, cohort.operated_patients) == ((), 0, 0)


def test_nothing_after_the_lock_date_is_known() -> None:
    eye = make_operation(date=FIRST).eye
    make_exam(eye=eye, day=date(2020, 9, 1), retina="attached")
    make_exam(eye=eye, day=date(2021, 9, 1), retina="detached_macula_on")
    site = eye.patient.site
    before, after = (
        cohort_rows(choice_of(site, lock=lock))[0] for lock in (date(2021, 8, 31), date(2021, 9, 1))
    )
    assert (before.ending, before.days, before.last_exam) == (Ending.FREE, 184, date(2020, 9, 1))
    assert (after.ending, after.days, after.last_exam) == (Ending.RECURRED, 549, date(2021, 9, 1))


def test_an_eye_not_seen_since_is_counted_to_its_last_exam_and_no_further() -> None:
    # Carried to the lock date it would gain 731 days free of recurrence that nobody saw.
    eye = make_operation(date=date(2022, 1, 10)).eye
    make_exam(eye=eye, day=date(2023, 1, 10), retina="attached")
    row = cohort_rows(choice_of(eye.patient.site, lock=date(2025, 1, 10)))[0]
    assert (row.ending, row.last_well, row.days) == (Ending.FREE, date(2023, 1, 10), 365)


def test_the_second_clock_keeps_the_first_beside_it() -> None:
    eye = make_operation(date=FIRST, tamponade_in="oil_1000").eye
    make_exam(eye=eye, day=date(2020, 5, 1), retina="attached")
    cohort = read_cohort(choice_of(eye.patient.site, clock=Clock.REMOVED))
    assert [row.ending for row in cohort.rows] == [Ending.NEVER_STARTED]
    assert [row.ending for row in cohort.from_index] == [Ending.FREE]


def test_eyes_left_out_for_want_of_an_axial_length_are_counted_if_they_are_in_all_else() -> None:
    site = make_site()
    for indication in ("mhrd", "rrd"):
        make_operation(eye=make_eye(site=site), date=FIRST, indication=indication)
    asked = choice_of(site, indications=(Indication.MHRD,), axial_length_from=Decimal("26.5"))
    cohort = read_cohort(asked)
    assert (len(cohort.rows), cohort.length_unknown, cohort.operated_eyes) == (0, 1, 2)


def test_surgeons_are_offered_by_name_whether_or_not_they_sign_in(site: Site) -> None:
    (ada_key, ada), visiting = surgeons_at(site)
    assert (ada, visiting) == ("Ada Example", ("name:Visiting surgeon", "Visiting surgeon"))
    assert [row.index_date for row in cohort_rows(choice_of(site, surgeon=ada_key))] == [SECOND]


def test_reading_a_cohort_takes_as_many_queries_for_one_eye_as_for_fifty(
    django_assert_num_queries: DjangoAssertNumQueries,
) -> None:
    one, many = make_site(), make_site()
    make_followed_eyes(one, people([(100, False)]))
    make_followed_eyes(many, people([(100 + day, day % 3 == 0) for day in range(50)]))
    for site, eyes in ((one, 1), (many, 50)):
        with django_assert_num_queries(12):
            assert len(read_cohort(choice_of(site)).rows) == eyes


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"operated_from": LOCK, "operated_to": OPERATED}, "Swap them"),
        ({"horizon": 0}, "expected 1 to 360"),
        ({"horizon": 361}, "expected 1 to 360"),
    ],
)
def test_a_question_without_sense_is_refused(asked: dict[str, Any], words: str) -> None:
    with pytest.raises(BadValue, match=words):
        choice_of(Site(pk=1), **asked)


@pytest.mark.parametrize(
    ("months", "days"), [(0, 0), (1, 30), (6, 183), (12, 365), (24, 731), (36, 1096), (60, 1826)]
)
def test_months_are_whole_days_with_halves_up(months: int, days: int) -> None:
    assert days_of_months(months) == days


@pytest.mark.parametrize(
    ("horizon", "marks"), [(3, (3,)), (12, (6, 12)), (24, (6, 12, 24)), (30, (6, 12, 24, 30))]
)
def test_the_last_mark_is_the_horizon(horizon: int, marks: tuple[int, ...]) -> None:
    assert choice_of(Site(pk=1), horizon=horizon).marks == marks
