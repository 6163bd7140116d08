"""The audit against published figures, another program, cases worked by hand, and the ends of the scale."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta
from decimal import Decimal
from math import floor

import pytest
from lifelines import KaplanMeierFitter

from followup.domain.survival.values import NOT_ESTIMABLE, NOT_REACHED
from followup.domain.words import Clock
from followup.models import Patient
from followup.queries.cohort_choice import Errors
from followup.queries.cohorts import read_cohort
from followup.queries.reports.audit import AuditReport, audit
from followup.queries.reports.audit_cautions import cautions
from followup.queries.reports.audit_counts import Share
from tests.builders import make_exam, make_eye, make_oil_operation, make_operation, make_site
from tests.domain.survival.tables import expected, rows_of
from tests.queries.audited import OPERATED, choice_of, make_followed_eyes, people

pytestmark = pytest.mark.django_db


def report_on(times: Iterable[tuple[int, bool]], *, minimum_at_risk: int = 5, **asked: object) -> AuditReport:
    """The audit of eyes of as many people, each with its days and whether it recurred."""
    site = make_site()
    make_followed_eyes(site, people(times))
    return audit(read_cohort(choice_of(site, **asked)), minimum_at_risk=minimum_at_risk)


# Ten eyes worked by hand, months as days: an event comes before a censoring of the same day.
TEN = [(1, 1), (2, 1), (3, 1), (3, 0), (6, 1), (6, 0), (9, 0), (12, 1), (12, 0), (24, 0)]
TEN_STEPS = [
    (1, 10, 0.90000, 0.4730, 0.9853),
    (2, 9, 0.80000, 0.4087, 0.9459),
    (3, 8, 0.70000, 0.3287, 0.8919),
    (6, 6, 0.58333, 0.2298, 0.8207),
    (12, 3, 0.38889, 0.0724, 0.7120),
]


def test_ten_eyes_worked_by_hand() -> None:
    report = report_on([(days, bool(event)) for days, event in TEN])
    found = [
        (step.day, step.at_risk, round(step.survival, 5), round(step.lower, 4), round(step.upper, 4))
        for step in report.steps
        if step.events
    ]
    assert found == TEN_STEPS
    assert (report.median_free.time, report.median_follow_up.time) == (12, 12)
    assert (report.events, report.in_curve.eyes, report.in_curve.patients) == (5, 10, 10)
    assert report.drawn_until == 6
    assert report.is_cut_short


def test_completeness_of_ten_eyes_worked_by_hand() -> None:
    # Closing day 24 for all and a death at 9 (Clark's C: 78 of 129 months, an event or death ends the time).
    site = make_site()
    make_followed_eyes(site, people((days, bool(event)) for days, event in TEN))
    Patient.objects.filter(record_number="N6").update(died_on=OPERATED + timedelta(9))
    report = audit(read_cohort(choice_of(site, lock=OPERATED + timedelta(24))), minimum_at_risk=1)
    to_lock = report.follow_up[1].completeness
    assert (to_lock.observed, to_lock.potential) == (78, 129)
    assert to_lock.clark == pytest.approx(0.6047, abs=5e-5)
    assert report.deaths == 1


@pytest.mark.parametrize(("stratum", "arm"), [("overall", None), ("trt=0", "0"), ("trt=1", "1")])
def test_the_laser_trial_eyes_give_what_r_gives_at_6_12_and_24_months(stratum: str, arm: str | None) -> None:
    # Huster 1989, R survival. As whole days no two of these times join before 26 months, nor cross a mark.
    rows = rows_of("retinopathy", **({"trt": arm} if arm else {}))
    report = _laser_trial(rows)
    groups = expected("km_retinopathy_naive")
    wanted = next(group for group in [*groups["overall"], *groups["by_trt"]] if group["stratum"] == stratum)
    at = {value["time"]: value for value in wanted["at"]}
    for mark in report.marks[1:4]:
        point, value = mark.point, at[mark.months]
        assert point.at_risk == value["n_risk"]
        limits = value["ci"]["log-log"]
        assert (point.survival, point.lower, point.upper) == pytest.approx(
            (value["surv"], limits["lower"], limits["upper"]), abs=1e-9
        )
    assert report.events == wanted["events"]


def test_the_whole_laser_trial_curve_is_that_of_lifelines_on_the_same_days() -> None:
    rows = rows_of("retinopathy")
    report = _laser_trial(rows, horizon=84)
    fitted = KaplanMeierFitter().fit(
        [_days(row) for row in rows], [int(row["status"]) for row in rows], label="S"
    )
    days = [step.day for step in report.steps]
    assert days == [int(day) for day in fitted.event_table.index if day > 0]
    survival = fitted.survival_function_at_times(days).to_numpy()
    limits = fitted.confidence_interval_.loc[days].to_numpy()
    assert [step.survival for step in report.steps] == pytest.approx(list(survival), abs=1e-9)
    assert [step.lower for step in report.steps] == pytest.approx(list(limits[:, 0]), abs=1e-9)
    assert [step.upper for step in report.steps] == pytest.approx(list(limits[:, 1]), abs=1e-9)
    assert [step.at_risk for step in report.steps] == list(fitted.event_table.at_risk.loc[days])


def test_limits_by_patient_are_those_of_r_for_both_eyes_of_each_person() -> None:
    rows = rows_of("retinopathy")
    report = _laser_trial(rows, errors=Errors.PATIENTS)
    wanted = {value["time"]: value for value in expected("km_retinopathy_cluster")["overall"][0]["at"]}
    assert (report.in_curve.eyes, report.in_curve.patients, report.pairs) == (394, 197, 197)
    for mark in report.marks[1:4]:
        assert mark.point.std_error == pytest.approx(wanted[mark.months]["se_surv"], abs=1e-9)


def _laser_trial(rows: list[dict[str, str]], *, errors: Errors = Errors.EYES, **asked: object) -> AuditReport:
    """The trial's eyes as operated eyes; `eye` is the treated one on both rows of a person."""
    site = make_site()
    fellow = {"right": "left", "left": "right"}
    make_followed_eyes(
        site,
        [
            (
                row["id"],
                row["eye"] if row["trt"] == "1" else fellow[row["eye"]],
                _days(row),
                row["status"] == "1",
            )
            for row in rows
        ],
    )
    return audit(read_cohort(choice_of(site, errors=errors, **asked)), minimum_at_risk=5)


def _days(row: dict[str, str]) -> int:
    return floor(float(row["futime"]) * 30.4375 + 0.5)


# Published series of eyes after oil removal: redetached of all, and the exact interval in per cent.
# Gisquet 2024 (10.1186/s12886-024-03618-z), Korean J Ophthalmol 2024;38:284, Br J Ophthalmol 2001;85(11),
# BMC Ophthalmol 2015 (10.1186/s12886-015-0154-4: 16 of 21 attached after one operation).
SERIES = [(24, 161, 9.8, 21.4), (23, 147, 10.2, 22.5), (20, 115, 11.0, 25.6), (5, 21, 8.2, 47.2)]


@pytest.mark.parametrize(("recurred", "eyes", "lower", "upper"), SERIES)
def test_shares_of_published_series_have_their_exact_intervals(
    recurred: int, eyes: int, lower: float, upper: float
) -> None:
    report = report_on((90, place < recurred) for place in range(eyes))
    attached, under_oil, failed = (share.proportion for share in report.anatomy.primary)
    assert (attached.events, under_oil.events, failed.events) == (eyes - recurred, 0, recurred)
    assert attached.total == under_oil.total == failed.total == eyes
    assert [round(100 * failed.lower, 1), round(100 * failed.upper, 1)] == [lower, upper]


def test_attached_under_oil_is_never_added_to_attached_without() -> None:
    site = make_site()
    for make in (make_oil_operation, make_operation, make_operation):
        eye = make_eye(site=site)
        make(eye=eye, date=OPERATED, attached_at_end="unknown")
        make_exam(eye=eye, day=OPERATED + timedelta(40), retina="attached")
    make_operation(eye=make_eye(site=site), date=OPERATED, attached_at_end="unknown")
    report = audit(read_cohort(choice_of(site)), minimum_at_risk=5)
    assert _events(report.anatomy.primary) == [2, 1, 0]
    assert _events(report.anatomy.final) == [2, 1, 0]
    assert {share.proportion.total for share in (*report.anatomy.primary, *report.anatomy.final)} == {3}
    assert report.anatomy.not_seen == 1


def _events(shares: Iterable[Share]) -> list[int]:
    return [share.proportion.events for share in shares]


def test_the_flow_accounts_for_every_eye_operated_on() -> None:
    site = make_site()
    make_followed_eyes(site, people([(100, True), (200, False)]))
    failed = make_eye(site=site)
    make_operation(eye=failed, date=OPERATED, attached_at_end="no")
    make_exam(eye=failed, day=OPERATED + timedelta(3), retina="detached_macula_on")
    make_oil_operation(eye=make_eye(site=site), date=OPERATED)
    by_clock = {
        clock: audit(read_cohort(choice_of(site, clock=clock)), minimum_at_risk=5).flow for clock in Clock
    }
    assert [count.eyes for count in by_clock[Clock.INDEX]] == [4, 4, 1, 0, 3, 1, 1, 2, 0]
    assert [count.eyes for count in by_clock[Clock.REMOVED]] == [4, 4, 1, 1, 2, 0, 1, 1, 0]


def test_the_second_clock_shows_the_first_beside_it() -> None:
    site = make_site()
    make_followed_eyes(site, people([(400, False), (500, True)]))
    held = make_oil_operation(eye=make_eye(site=site), date=OPERATED).eye
    make_exam(eye=held, day=OPERATED + timedelta(100), retina="detached_macula_off")
    report = audit(read_cohort(choice_of(site, clock=Clock.REMOVED, horizon=12)), minimum_at_risk=1)
    assert [mark.point.survival for mark in report.marks] == [1, 1, 1]
    assert [mark.point.survival for mark in report.on_index_clock] == pytest.approx([2 / 3, 2 / 3])
    assert any("flatters" in caution for caution in cautions(report))


def test_a_day_of_loss_counts_as_at_risk_that_day() -> None:
    report = report_on([(5, True), (5, False), (8, True), (10, False), (10, True), (12, False)])
    survival = {step.day: step.survival for step in report.steps if step.events}
    assert survival == pytest.approx({5: 5 / 6, 8: 0.625, 10: 0.625 * 2 / 3})


def test_nobody_matches() -> None:
    report = report_on([])
    assert [count.eyes for count in report.flow] == [0] * 9
    assert (report.steps, report.drawn_until, report.is_cut_short) == ((), None, False)
    assert {mark.point.survival for mark in report.marks} == {NOT_ESTIMABLE}
    assert {share.proportion.share for share in (*report.anatomy.primary, *report.anatomy.final)} == {
        NOT_ESTIMABLE
    }
    assert report.follow_up[0].completeness.clark is NOT_ESTIMABLE
    assert (report.median_free.time, report.median_follow_up.time) == (NOT_REACHED, NOT_REACHED)
    assert cautions(report) == ()


def test_one_eye() -> None:
    report = report_on([(400, False)])
    six, twelve, two_years = (mark.point for mark in report.marks[1:])
    assert (six.survival, six.lower, six.at_risk) == (1, NOT_ESTIMABLE, 1)
    assert six.exact is not None
    assert six.exact.lower == pytest.approx(0.025)
    assert (twelve.survival, two_years.survival, two_years.at_risk) == (1, NOT_ESTIMABLE, 0)
    assert report.drawn_until is None


def test_every_eye_lost_after_the_operation() -> None:
    site = make_site()
    for _ in range(6):
        make_operation(eye=make_eye(site=site), date=OPERATED, attached_at_end="unknown")
    report = audit(read_cohort(choice_of(site)), minimum_at_risk=5)
    assert (report.in_curve.eyes, report.flow[5].eyes, report.anatomy.not_seen) == (6, 6, 6)
    assert {mark.point.survival for mark in report.marks[1:]} == {NOT_ESTIMABLE}
    assert report.follow_up[0].completeness.clark == 0
    assert report.bounds.lost == 6
    assert (report.bounds.all_recurred.survival, report.bounds.none_recurred.survival) == (0, 1)
    assert {share.proportion.share for share in report.anatomy.final} == {NOT_ESTIMABLE}


def test_every_eye_recurred_on_day_one() -> None:
    report = report_on([(1, True)] * 8)
    after = [mark.point for mark in report.marks[1:]]
    assert [(point.survival, point.lower, point.at_risk) for point in after] == [(0, NOT_ESTIMABLE, 0)] * 3
    assert (report.median_free.time, report.events, report.drawn_until) == (1, 8, 1)
    assert not report.is_cut_short


def test_a_median_from_a_tail_of_four_eyes_is_flagged_and_not_drawn() -> None:
    # Four events at 6 months of 26 eyes, 18 lost at 12, events at 24 and 30, two followed to 36 and 40.
    months = [(6, True)] * 4 + [(12, False)] * 18 + [(24, True), (30, True), (36, False), (40, False)]
    report = report_on(((floor(month * 30.4375 + 0.5), event) for month, event in months), horizon=48)
    assert (report.median_free.time, report.median_free.at_risk) == (913, 3)
    assert (report.drawn_until, report.is_cut_short) == (365, True)
    assert "The median time free of the event rests on 3 eyes still at risk." in cautions(report)


def test_death_ends_the_time_at_risk_in_the_competing_curve_alone() -> None:
    # Recurrences at 1, 3, 5, deaths at 2, 4, one eye seen at 6: incidence 0.5, one minus the curve 0.6875.
    site = make_site()
    days = [(1, True), (2, False), (3, True), (4, False), (5, True), (6, False)]
    make_followed_eyes(site, people((30 * day, event) for day, event in days))
    for number, day in (("N1", 2), ("N3", 4)):
        Patient.objects.filter(record_number=number).update(died_on=OPERATED + timedelta(30 * day))
    report = audit(read_cohort(choice_of(site, horizon=5)), minimum_at_risk=1)
    assert report.incidence[0].incidence == pytest.approx(0.5)
    assert report.marks[-1].point.survival == pytest.approx(1 - 0.6875)


def test_the_gap_before_each_recurrence_is_told() -> None:
    report = report_on([(100, True), (300, True), (400, False)])
    assert report.gap is not None
    assert (report.gap.eyes, report.gap.median, report.gap.longest) == (2, 200, 300)


def test_eyes_left_out_are_told_even_where_nobody_is_left() -> None:
    site = make_site()
    make_operation(eye=make_eye(site=site), date=OPERATED)
    report = audit(read_cohort(choice_of(site, axial_length_from=Decimal(26))), minimum_at_risk=5)
    assert cautions(report) == ("Left out because no axial length is on record: 1 eye.",)


def test_operations_without_a_known_day_are_pointed_out() -> None:
    site = make_site()
    make_operation(eye=make_eye(site=site), date=OPERATED, date_precision="nominal")
    report = audit(read_cohort(choice_of(site)), minimum_at_risk=5)
    assert report.inexact_dates == 1
    assert any("the day is not on record: 1 eye." in caution for caution in cautions(report))
