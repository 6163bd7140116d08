"""Oil: time in the eye, removal in time, and what followed, in short stories."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from followup.domain.survival.values import NOT_REACHED
from followup.models import Eye, Patient, Site
from followup.queries.cohorts import read_cohort
from followup.queries.reports.audit_oil import OilReport, lists, oil
from tests.builders import (
    NOW,
    make_course,
    make_decision,
    make_exam,
    make_milestone,
    make_oil_operation,
    make_operation,
    make_staff,
)
from tests.builders import make_site as any_site
from tests.queries.audited import LOCK, OPERATED, choice_of

pytestmark = pytest.mark.django_db


def on(day: int) -> date:
    return OPERATED + timedelta(day)


@pytest.fixture
def site() -> Site:
    return any_site()


def filled(site: Site, *, out: int | None = None, seen: tuple[int, ...] = (), lost: int | None = None) -> Eye:
    """Filled on the day; taken out, seen attached and seen detached on these days after it."""
    eye = make_oil_operation(site=site, date=OPERATED).eye
    if out is not None:
        make_operation(
            eye=eye,
            date=on(out),
            indication="tamponade_removal",
            procedures=("oil_removal",),
            tamponade_in="none",
            takes_out=True,
        )
    for day in seen:
        make_exam(eye=eye, day=on(day), retina="attached")
    if lost is not None:
        make_exam(eye=eye, day=on(lost), retina="detached_macula_off")
    return eye


def report(site: Site, **asked: object) -> OilReport:
    found = oil(read_cohort(choice_of(site, **asked)))
    assert found is not None
    return found


def counted(site: Site, **asked: object) -> dict[str, int]:
    return {part.key: len(part.rows) for part in lists(read_cohort(choice_of(site, **asked)))}


def test_ten_eyes_of_which_six_in_time(site: Site) -> None:
    for out in (60, 70, 80, 85, 88, 90, 91, 120, None, None):
        filled(site, out=out, seen=(50,))
    found = report(site)
    # Filled on 5 January: three calendar months end on 5 April, day 90.
    assert (found.in_time.proportion.events, found.in_time.proportion.total, found.due) == (6, 10, 10)
    assert (found.in_time.proportion.lower, found.in_time.proportion.upper) == pytest.approx(
        (0.2624, 0.8784), abs=5e-5
    )
    assert (found.filled.eyes, found.removed.eyes) == (10, 8)


def test_the_curve_to_removal_counts_an_eye_until_it_was_last_looked_at(site: Site) -> None:
    for out, seen in ((60, ()), (None, (70,)), (80, ()), (None, (100,))):
        filled(site, out=out, seen=seen)
    found = report(site)
    assert [mark.point.at_risk for mark in found.still_in] == [3, 1, 0, 0]
    assert [mark.point.survival for mark in found.still_in[:2]] == pytest.approx([0.75, 0.375])
    assert found.median_days.time == 80


def test_redetachment_after_removal_is_told_apart_from_detachment_before_it(site: Site) -> None:
    filled(site, out=80, seen=(60, 200))
    filled(site, out=80, seen=(60,), lost=150)
    eye = filled(site, out=80, seen=(40,))
    make_exam(eye=eye, day=on(70), retina="detached_macula_on")
    found = report(site)
    assert [(share.proportion.events, share.proportion.total) for share in found.after] == [(1, 3), (1, 3)]
    three_months = found.free_after[0].point
    assert (three_months.at_risk, three_months.survival) == (1, 0.5)


def test_an_exchange_does_not_end_the_stay(site: Site) -> None:
    eye = filled(site, out=200, seen=(50,))
    make_oil_operation(eye=eye, date=on(80), takes_out=True)
    assert report(site).median_days.time == 200


def test_the_window_that_a_pathway_planned_outweighs_three_months(site: Site) -> None:
    eye = filled(site, out=120)
    course = make_course(operation=eye.operations.order_by("date").first())
    make_milestone(course=course, lane="removal", target=on(120))
    assert report(site).in_time.proportion.events == 1


@pytest.mark.parametrize(("died", "due"), [(80, 0), (100, 1)])
def test_a_death_before_the_window_closed_is_not_held_against_it(site: Site, died: int, due: int) -> None:
    filled(site)
    Patient.objects.update(died_on=on(died))
    assert report(site).due == due


@pytest.mark.parametrize(
    ("signed", "until", "out", "in_time", "late", "kept"),
    [
        (60, 200, None, 0, 0, 1),
        (60, 90, None, 0, 0, 1),  # in force on the last day of the window, day 90
        (60, 89, None, 0, 1, 0),
        (91, 200, None, 0, 1, 0),
        (60, 200, 150, 0, 0, 1),
        (60, 200, 85, 1, 0, 0),
    ],
    ids=["in force", "on the last day", "run out", "signed too late", "kept, then out", "out in time"],
)
def test_oil_kept_by_a_decision_stands_beside_those_judged_by_the_window(
    site: Site, signed: int, until: int, out: int | None, in_time: int, late: int, kept: int
) -> None:
    eye = filled(site, out=out, seen=(50,))
    make_decision(eye=eye, kind="keep_oil", signed_on=on(signed), review_on=on(until))
    found = counted(site)
    assert (found["oil_in_time"], found["oil_late"], found["oil_kept"]) == (in_time, late, kept)
    assert (report(site).due, report(site).kept.eyes) == (in_time + late, kept)


def test_the_last_decision_to_keep_it_counts_and_one_undone_does_not(site: Site) -> None:
    shortened, undone = filled(site), filled(site)
    make_decision(eye=shortened, kind="keep_oil", signed_on=on(40), review_on=on(300))
    make_decision(eye=shortened, kind="keep_oil", signed_on=on(50), review_on=on(80))
    make_decision(
        eye=undone,
        kind="keep_oil",
        signed_on=on(40),
        review_on=on(300),
        undone_at=NOW,
        undone_by=make_staff(role="surgeon", site=site),
        undone_reason="Wrong eye",
    )
    assert (report(site).due, report(site).kept.eyes) == (2, 0)


def test_a_window_that_is_still_open_is_not_counted(site: Site) -> None:
    filled(site)
    found = report(site, lock=on(60))
    assert (found.due, found.median_days.time) == (0, NOT_REACHED)


def test_every_filled_eye_is_out_or_still_in(site: Site) -> None:
    for out in (60, None, 300):
        filled(site, out=out)
    make_operation(site=site, date=OPERATED)
    found = counted(site)
    assert found["oil"] == found["oil_out"] + found["oil_still_in"] == 3
    assert found["oil_in_time"] + found["oil_late"] == 3


def test_no_oil_has_no_report(site: Site) -> None:
    make_operation(site=site, date=OPERATED)
    assert oil(read_cohort(choice_of(site, lock=LOCK))) is None
