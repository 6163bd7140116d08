"""Quarter by quarter: which eyes are judged, when a quarter is ripe, and what is said of it."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from followup.domain.survival.control import Range
from followup.domain.survival.values import NOT_ESTIMABLE
from followup.models import Eye, Site
from followup.queries.cohort_choice import CohortChoice
from followup.queries.cohorts import read_cohort
from followup.queries.reports.audit_whole import eye_list
from followup.queries.reports.monitoring import Monitoring, Quarter, Signal, key_of, monitoring
from followup.queries.reports.monitoring_tables import monitoring_words
from tests.builders import make_decision, make_exam, make_oil_operation, make_operation
from tests.builders import make_site as any_site

pytestmark = pytest.mark.django_db

LOCK = date(2026, 6, 1)
FIRST, SECOND = Quarter(2025, 1), Quarter(2025, 2)


@pytest.fixture
def site() -> Site:
    return any_site()


def operated(site: Site, day: date, *, seen: tuple[int, ...] = (), lost: int | None = None) -> Eye:
    """Operated on that day; seen attached, and seen detached, so many days later."""
    eye = make_operation(site=site, date=day).eye
    for after in seen:
        make_exam(eye=eye, day=day + timedelta(after), retina="attached")
    if lost is not None:
        make_exam(eye=eye, day=day + timedelta(lost), retina="detached_macula_off")
    return eye


def asked(site: Site, lock: date = LOCK) -> CohortChoice:
    return CohortChoice(site_id=site.pk, lock=lock)


def over_time(site: Site, lock: date = LOCK, expected: float | None = None) -> Monitoring:
    return monitoring(read_cohort(asked(site, lock)), expected_percent=expected)


@pytest.mark.parametrize(
    ("day", "quarter"),
    [
        (date(2025, 1, 1), Quarter(2025, 1)),
        (date(2025, 3, 31), Quarter(2025, 1)),
        (date(2025, 4, 1), Quarter(2025, 2)),
        (date(2025, 12, 31), Quarter(2025, 4)),
    ],
)
def test_a_quarter_runs_from_its_first_day_to_the_day_before_the_next(day: date, quarter: Quarter) -> None:
    assert Quarter.of(day) == quarter
    assert quarter.first <= day <= quarter.last < quarter.next.first


@pytest.mark.parametrize(
    ("seen", "lost", "counted"),
    [
        ((30, 180), None, (0, 1, 0)),
        ((30, 123), None, (0, 1, 0)),
        ((30, 122), None, (0, 0, 1)),
        ((30,), 183, (1, 1, 0)),
        ((30,), 184, (0, 1, 0)),
        ((400,), None, (0, 1, 0)),
    ],
    ids=["free", "just in the window", "a day short", "on the day", "a day later", "much later"],
)
def test_an_eye_is_judged_when_its_six_months_are_known(
    site: Site, seen: tuple[int, ...], lost: int | None, counted: tuple[int, int, int]
) -> None:
    operated(site, date(2025, 2, 3), seen=seen, lost=lost)
    (point,) = over_time(site).recurrence.points
    assert (point.share.events, point.share.total, point.left_out) == counted


def test_a_primary_failure_is_in_no_quarter(site: Site) -> None:
    eye = make_operation(site=site, date=date(2025, 2, 3), attached_at_end="unknown").eye
    make_exam(eye=eye, day=date(2025, 2, 10), retina="detached_macula_off")
    assert over_time(site).recurrence.points == ()


def test_the_centre_is_the_share_of_all_ripe_quarters_and_each_has_limits_for_its_own_number(
    site: Site,
) -> None:
    for number in range(18):
        operated(site, date(2025, 1, 6), seen=(30, 183), lost=None if number else 190)
    operated(site, date(2025, 1, 6), seen=(30,), lost=90)
    operated(site, date(2025, 1, 6), seen=(30,), lost=91)
    for _ in range(3):
        operated(site, date(2025, 5, 5), seen=(30,), lost=60)
    operated(site, date(2026, 5, 4), seen=(20,))
    first, second, *between, young = over_time(site).recurrence.points
    assert over_time(site).recurrence.centre == pytest.approx(5 / 23)
    assert (first.quarter, first.share.events, first.share.total) == (FIRST, 2, 20)
    assert (first.warning, first.signal) == (Range(1, 8), Signal.WITHIN)
    assert (second.quarter, second.share.events, second.share.total) == (SECOND, 3, 3)
    assert (second.warning, second.action, second.signal) == (Range(0, 2), Range(0, 3), Signal.WARNING)
    assert second.reading == "above, outside the 95 % limits"
    assert [point.signal for point in between] == [Signal.NOTHING, Signal.TOO_EARLY, Signal.TOO_EARLY]
    assert (young.signal, young.left_out, young.warning) == (Signal.TOO_EARLY, 1, None)


@pytest.mark.parametrize(("lock", "signal"), [(29, Signal.WITHIN), (28, Signal.TOO_EARLY)])
def test_a_quarter_is_ripe_once_its_last_eye_could_have_come(site: Site, lock: int, signal: Signal) -> None:
    """31 March and 243 days are 29 November."""
    operated(site, date(2025, 1, 6), seen=(30, 183))
    (point,) = over_time(site, date(2025, 11, lock)).recurrence.points
    assert point.signal is signal


def test_oil_belongs_to_the_quarter_of_its_limit_and_oil_kept_by_decision_is_not_judged(site: Site) -> None:
    """Filled on 6 January the window closes on 6 April."""
    filled = [make_oil_operation(site=site, date=date(2025, 1, 6)).eye for _ in range(3)]
    make_operation(
        eye=filled[0],
        date=date(2025, 4, 6),
        indication="tamponade_removal",
        procedures=("oil_removal",),
        tamponade_in="none",
        takes_out=True,
    )
    make_decision(eye=filled[1], kind="keep_oil", signed_on=date(2025, 3, 3), review_on=date(2025, 9, 1))
    (point,) = over_time(site).oil.points
    assert (point.quarter, point.share.events, point.share.total, point.left_out) == (SECOND, 1, 2, 1)
    assert over_time(site).oil.centre == 0.5


def test_the_running_excess_takes_the_judged_eyes_in_the_order_of_their_starts(site: Site) -> None:
    operated(site, date(2025, 3, 3), seen=(30, 183))
    operated(site, date(2025, 1, 6), seen=(30,), lost=60)
    operated(site, date(2025, 2, 3), seen=(30,))
    steps = over_time(site, expected=10.0).excess
    assert [(step.eyes, step.events, round(step.difference, 3)) for step in steps] == [
        (1, 1, 0.9),
        (2, 1, 0.8),
    ]
    assert over_time(site).excess == ()


def test_a_cohort_of_nobody_has_no_quarter_and_no_centre(site: Site) -> None:
    found = over_time(site, expected=10.0)
    assert (found.recurrence.points, found.oil.points, found.excess) == ((), (), ())
    assert found.recurrence.centre is NOT_ESTIMABLE


def test_every_number_opens_the_eyes_behind_it(site: Site) -> None:
    lost = operated(site, date(2025, 1, 6), seen=(30,), lost=60)
    operated(site, date(2025, 1, 6), seen=(30,))
    cohort = read_cohort(asked(site))
    found = eye_list(cohort, key_of("six_months", FIRST, "events"))
    assert found is not None
    assert [row.eye_id for row in found.rows] == [lost.pk]
    words = monitoring_words(monitoring(cohort, expected_percent=None), cohort.choice)
    keys = [cell.key for line in words.recurrence.lines for cell in line.cells if cell.key]
    assert keys == [key_of("six_months", FIRST, part) for part in ("events", "left_out")]
    assert all(eye_list(cohort, key) for key in keys)


def test_the_line_s_end_is_told_with_what_chance_gives(site: Site) -> None:
    for _ in range(4):
        operated(site, date(2025, 1, 6), seen=(30,), lost=60)
    cohort = read_cohort(asked(site))
    told: Any = monitoring_words(monitoring(cohort, expected_percent=25.0), cohort.choice).excess
    assert told == (
        "After 4 eyes: 4 with the event, 1.0 expected at 25.0\N{NO-BREAK SPACE}%; +3.0. "
        "Chance alone gives -1.0 to +2.0 (95 %)."
    )
