"""Eyes told apart: the arms of a published trial against R, and how groups are made."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

import pytest

from followup.domain.survival.log_rank import NothingToTest
from followup.domain.survival.values import NOT_ESTIMABLE
from followup.domain.words import Side
from followup.models import Eye, Operation, PathwayVersion, Site
from followup.queries.cohort_choice import Errors, Stratum, Unit
from followup.queries.cohorts import Cohort, read_cohort
from followup.queries.reports.audit_strata import MOST_GROUPS, Strata, groups, strata
from tests.builders import make_eye, make_operation, make_patient, make_site, make_staff
from tests.domain.survival.tables import expected
from tests.interchange.sheets.helpers import SHEETS, saved_map, take_in
from tests.queries.audited import OPERATED, choice_of, make_followed_eyes, people

pytestmark = pytest.mark.django_db

LASER = "diabetic_retinopathy_laser_trial"


def labels(cohort: Cohort) -> dict[str, int]:
    return {part.label: len(part.rows) for part in groups(cohort)}


@pytest.fixture
def trial(pathways: list[PathwayVersion]) -> Site:
    site = make_site()
    take_in(site, (SHEETS / f"{LASER}.csv").read_bytes(), saved_map(LASER))
    return site


def by_arm(site: Site, **asked: object) -> Strata:
    asked = {"lock": date(1985, 1, 1), "horizon": 48, "strata": Stratum.PROCEDURE} | asked
    found = strata(read_cohort(choice_of(site, **asked)), 1)
    assert found is not None
    return found


def test_the_arms_of_the_laser_trial_are_those_of_r(trial: Site) -> None:
    # Huster 1989, R survival. Each eye counts by itself, as in R's curves by arm.
    found = by_arm(trial, errors=Errors.EYES)
    untreated, treated = found.groups
    assert (untreated.count.label, treated.count.label) == ("Other procedure", "Retinal laser (clinic)")
    for group, arm in zip((untreated, treated), expected("km_retinopathy_naive")["by_trt"], strict=True):
        assert (group.count.eyes, group.count.patients, group.events) == (arm["n"], 197, arm["events"])
        falls = [step.survival for step in group.steps if step.events and step.day <= 731]
        there = zip(arm["time"], arm["n_event"], arm["surv"], strict=True)
        assert falls == pytest.approx([s for time, events, s in there if events and time <= 24], abs=1e-9)
        at = {value["time"]: value for value in arm["at"]}
        for mark in group.marks[1:4]:
            limits = at[mark.months]["ci"]["log-log"]
            assert mark.point.at_risk == at[mark.months]["n_risk"]
            assert (mark.point.survival, mark.point.lower, mark.point.upper) == pytest.approx(
                (at[mark.months]["surv"], limits["lower"], limits["upper"]), abs=1e-9
            )


def test_the_log_rank_tests_of_the_laser_trial_are_those_of_r(trial: Site) -> None:
    # Whole days join a few of R's times in months after 26 months, which moves the first test a little.
    found = by_arm(trial)
    paired = expected("retinopathy_paired")
    ignoring, within = paired["logrank_ignoring_pairs"], paired["logrank_stratified_by_patient"]
    assert list(found.test.observed) == ignoring["observed"]
    assert found.test.chi_squared == pytest.approx(ignoring["chisq"], abs=0.01)
    assert found.within is not None
    assert (found.crossing, found.within.degrees) == (197, 1)
    assert found.within.chi_squared == pytest.approx(within["chisq"], abs=1e-9)
    assert found.within.p_value == pytest.approx(within["p"], rel=1e-9)


@pytest.mark.parametrize("months", [6, 12, 24])
def test_the_difference_of_the_arms_keeps_each_patient_together_as_r_does(trial: Site, months: int) -> None:
    wanted = {value["time"]: value for value in expected("retinopathy_paired")["survival_difference"]}[months]
    found = by_arm(trial, horizon=months).difference
    assert found is not None
    assert found.paired
    assert (found.value, found.std_error, found.lower, found.upper) == pytest.approx(
        (wanted["diff"], wanted["se_diff_paired"], wanted["lower95"], wanted["upper95"]), abs=1e-9
    )


def test_one_eye_a_patient_leaves_no_pairs_to_compare(trial: Site) -> None:
    cohort = read_cohort(choice_of(trial, lock=date(1985, 1, 1), strata=Stratum.PROCEDURE, unit=Unit.FIRST))
    assert (len(cohort.rows), cohort.second_eyes) == (197, 197)
    # Both eyes have one nominal day, so the right one counts.
    assert {row.traits.side for row in cohort.rows} == {Side.RIGHT}
    found = strata(cohort, 1)
    assert found is not None
    assert (found.within, found.crossing) == (None, 0)


def test_one_eye_a_patient_is_the_one_operated_on_first() -> None:
    patient = make_patient()
    for side, day in (("right", date(2021, 5, 1)), ("left", date(2020, 5, 1))):
        make_operation(eye=make_eye(patient=patient, side=side), date=day)
    cohort = read_cohort(choice_of(patient.site, unit=Unit.FIRST))
    assert [row.traits.side for row in cohort.rows] == [Side.LEFT]


def test_more_groups_than_six_are_the_five_largest_and_all_others() -> None:
    site = make_site()
    for place, name in enumerate("ABCDEFGH"):
        for _ in range(9 - place):
            make_operation(eye=make_eye(site=site), date=OPERATED, surgeon_name=name)
    found = labels(read_cohort(choice_of(site, strata=Stratum.SURGEON)))
    assert found == {"A": 9, "B": 8, "C": 7, "D": 6, "E": 5, "All others": 9}
    assert len(found) == MOST_GROUPS


def test_years_are_joined_until_six_spans_are_left() -> None:
    site = make_site()
    for year in range(2010, 2023):
        make_operation(eye=make_eye(site=site), date=date(year, 1, 1))
    assert labels(read_cohort(choice_of(site, strata=Stratum.YEAR))) == {
        "2010 to 2012": 3,
        "2013 to 2015": 3,
        "2016 to 2018": 3,
        "2019 to 2021": 3,
        "2022": 1,
    }


@pytest.mark.parametrize(
    ("stratum", "first", "second"),
    [
        (Stratum.SURGEON, "Ada Example", "Not recorded"),
        (Stratum.INDICATION, "Macular-hole detachment in high myopia", "Rhegmatogenous retinal detachment"),
        (Stratum.PROCEDURE, "Pars plana vitrectomy", "Pars plana vitrectomy + Macular buckle"),
        (Stratum.TAMPONADE, "SF6 gas", "Silicone oil 5000 cSt"),
        (Stratum.AXIAL_LENGTH, "26.5 to below 30 mm", "Not recorded"),
        (Stratum.STAPHYLOMA, "Staphyloma: not recorded", "Staphyloma: yes"),
        (Stratum.EXTENT, "Not recorded", "Total"),
        (Stratum.BUCKLE, "Macular buckle", "Without a buckle"),
        (Stratum.ONLY_EYE, "Fellow eye sees", "Only eye"),
        (Stratum.REPEAT, "First operation", "Repeat operation"),
    ],
)
def test_everything_that_can_be_asked_for_tells_eyes_apart(stratum: Stratum, first: str, second: str) -> None:
    site = make_site()
    make_operation(eye=make_eye(site=site), date=OPERATED)
    marked = make_eye(site=site, axial_length_mm=Decimal("29.00"), staphyloma="yes", only_eye=True)
    make_operation(
        eye=marked,
        date=OPERATED,
        indication="mhrd",
        tamponade_in="oil_5000",
        procedures=("macular_buckle", "vitrectomy"),
        repeat="repeat",
        extent="total",
        surgeon=make_staff(role="surgeon", site=site, first_name="Ada", last_name="Example"),
    )
    assert labels(read_cohort(choice_of(site, strata=stratum))) == {first: 1, second: 1}


def test_two_clinics_side_by_side() -> None:
    here, there = make_site(name="Harbour"), make_site(name="Hill")
    for site in (here, there):
        make_followed_eyes(site, people([(100, False)]))
    make_followed_eyes(make_site(name="Elsewhere"), [("X", "right", 100, True)])
    cohort = read_cohort(choice_of(here, other_sites=(there.pk,), strata=Stratum.SITE))
    assert labels(cohort) == {"Harbour": 1, "Hill": 1}
    assert cohort.operated_eyes == 2


def test_one_group_and_no_event_have_no_test() -> None:
    site = make_site()
    make_followed_eyes(site, people([(100, True), (200, False)]))
    found = strata(read_cohort(choice_of(site, strata=Stratum.REPEAT)), 1)
    assert found is not None
    assert (found.test.chi_squared, found.test.nothing) == (NOT_ESTIMABLE, NothingToTest.ONE_GROUP)
    assert found.difference is None
    Operation.objects.filter(eye__in=Eye.objects.order_by("pk")[:1]).update(repeat="repeat")
    again = strata(read_cohort(choice_of(site, strata=Stratum.REPEAT, lock=date(2015, 2, 1))), 1)
    assert again is not None
    assert again.test.nothing is NothingToTest.NO_EVENTS


def test_nobody_has_no_groups() -> None:
    assert strata(read_cohort(choice_of(make_site(), strata=Stratum.REPEAT)), 1) is None
