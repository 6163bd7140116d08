"""Restricted means and differences against R, a printed example and a paired analysis."""

from __future__ import annotations

from typing import Any

import pytest

from followup.domain.errors import BadValue
from followup.domain.survival.comparison import Difference
from followup.domain.survival.kaplan_meier import Curve, kaplan_meier
from followup.domain.survival.restricted_mean import (
    restricted_mean,
    restricted_mean_difference,
    survival_difference,
)
from followup.domain.survival.values import NOT_ESTIMABLE
from tests.domain.survival.tables import assert_same, expected, number, rows_of, stratum, times_and_events


@pytest.mark.parametrize(
    ("file", "name", "parts"),
    [
        ("km_aml", "aml", ["overall", "by_x"]),
        ("km_gehan_6mp", "gehan_6mp", ["overall", "by_group"]),
        ("km_kidney_catheter", "kidney_catheter_km", ["by_type"]),
        ("km_larynx", "larynx", ["by_stage"]),
        ("km_lung", "lung", ["overall", "by_sex"]),
        ("km_veteran", "veteran", ["overall", "by_trt", "by_celltype"]),
        ("km_mgus2_death", "mgus2", ["overall", "by_sex"]),
    ],
)
def test_areas_under_the_curve_agree_with_r(file: str, name: str, parts: list[str]) -> None:
    for wanted in (entry for part in parts for entry in expected(file)[part]):
        curve = kaplan_meier(*times_and_events(name, rows_of(name, **stratum(wanted["stratum"]))))
        for at in wanted["rmst"]:
            found = restricted_mean(curve, at["tau"])
            assert_same([number(found.mean)], at["rmst"], 1e-9)
            assert_same([number(found.std_error)], at["se"], 1e-9)
            beyond = at["tau_beyond_last_time"] and wanted["surv"][-1] > 0
            assert found.beyond_follow_up == beyond


def by_arm(name: str, column: str, value: str, scale: float = 1, cluster: bool = False) -> Curve:
    rows = rows_of(name, **{column: value})
    times, events = times_and_events(name, rows)
    return kaplan_meier(
        [t / scale for t in times], events, cluster=[r["id"] for r in rows] if cluster else None
    )


def test_two_arms_of_the_biliary_cirrhosis_trial() -> None:
    wanted = expected("rmst_pbc")
    placebo, treated = by_arm("pbc312", "trt", "2", 365.25), by_arm("pbc312", "trt", "1", 365.25)
    for curve, arm in ((placebo, "arm0"), (treated, "arm1")):
        found = restricted_mean(curve, 10)
        assert_same([number(found.mean), number(found.std_error)], list(wanted[arm].values()), 1e-9)
    found = restricted_mean_difference(placebo, treated, 10)
    figures = [number(x) for x in (found.value, found.std_error, found.lower, found.upper, found.p_value)]
    assert_same(figures, [wanted[key] for key in ("diff", "se_diff", "lower95", "upper95", "p")], 1e-9)
    assert not found.paired
    # Uno et al., J Clin Oncol 2014;32:2380-2385 and the worked example after it, from memory.
    printed = {e["example"]: e["values"] for e in expected("published")["examples"]}
    last = {v["what"]: v["published"] for v in printed["RMST primary biliary cirrhosis, tau 10 years"]}
    assert [f"{x:.3f}" for x in (figures[0], *figures[2:])] == [
        last[key] for key in ("difference", "lower", "upper", "p")
    ]


def test_one_eye_treated_and_one_not_are_compared_within_the_patient() -> None:
    wanted = expected("retinopathy_paired")
    control, treated = (by_arm("retinopathy", "trt", arm, cluster=True) for arm in "01")
    for at in wanted["survival_difference"]:
        found = survival_difference(control, treated, at["time"])
        assert found.paired
        figures = [found.value, found.std_error, found.lower, found.upper, found.p_value]
        keys = ("diff", "se_diff_paired", "lower95", "upper95", "p")
        assert_same([number(x) for x in figures], [at[key] for key in keys], 1e-9)
    for at in wanted["rmst"]:
        for curve, arm in ((control, "control"), (treated, "treated")):
            mean = restricted_mean(curve, at["tau"])
            assert_same([number(mean.mean), number(mean.std_error)], [at[arm], at[f"se_{arm}_cluster"]], 1e-9)
        found = restricted_mean_difference(control, treated, at["tau"])
        assert_same([number(found.value), number(found.std_error)], [at["diff"], at["se_diff_paired"]], 1e-9)


def test_the_error_is_of_the_mean_and_not_of_single_times() -> None:
    # A library reports the variance of min(T, tau) here: its root is 6.84.
    found = restricted_mean(by_arm("gehan_6mp", "group", "6-MP"), 23)
    assert number(found.mean) == pytest.approx(17.909243697478988, abs=1e-12)
    assert number(found.std_error) == pytest.approx(1.5531899782483796, abs=1e-12)


def test_means_of_the_open_series_of_eyes() -> None:
    # Months to 72.0: printed by R beside the curves, with its own last time as the end of the area.
    for arm, mean in (("0", 43.541519), ("1", 57.827025)):
        curve = by_arm("retinopathy", "trt", arm)
        last = max(by_arm("retinopathy", "trt", each).time[-1] for each in "01")
        assert number(restricted_mean(curve, float(last)).mean) == pytest.approx(mean, abs=5e-7)


def test_nobody_has_no_mean_and_no_difference() -> None:
    nobody, somebody = kaplan_meier([], []), kaplan_meier([1, 2, 3], [1, 0, 1])
    assert restricted_mean(nobody, 10).mean is NOT_ESTIMABLE
    found = restricted_mean_difference(nobody, somebody, 10)
    assert found == Difference(*(NOT_ESTIMABLE,) * 5, 0.95, paired=False)


def test_a_difference_is_not_estimable_where_a_curve_has_ended() -> None:
    short, long = kaplan_meier([5, 10], [1, 0]), kaplan_meier([5, 10, 20], [0, 1, 0])
    assert survival_difference(short, long, 15).value is NOT_ESTIMABLE
    assert survival_difference(long, long, 2).lower is NOT_ESTIMABLE
    ended = kaplan_meier([5, 10], [1, 1])
    found = survival_difference(ended, long, 10)
    assert (found.value, found.std_error, found.p_value) == (0.5, NOT_ESTIMABLE, NOT_ESTIMABLE)


def test_a_difference_on_the_day_of_an_event_has_the_drop_behind_it() -> None:
    """By hand: 1/2 after 2 of 4 against 3/4 after 1 of 4; Greenwood errors 1/4 and sqrt(3)/8."""
    first, second = kaplan_meier([5, 5, 9, 9], [1, 1, 0, 0]), kaplan_meier([5, 9, 9, 9], [1, 0, 0, 0])
    found = survival_difference(first, second, 5)
    assert (found.value, found.level, found.paired) == (0.25, 0.95, False)
    assert found.std_error == pytest.approx((1 / 16 + 3 / 64) ** 0.5)


def test_patients_known_on_one_side_only_count_as_independent() -> None:
    known = kaplan_meier([5, 5, 9, 9], [1, 1, 0, 0], cluster=["p", "p", "q", "r"])
    unknown = kaplan_meier([5, 9, 9, 9], [1, 0, 0, 0])
    for pair in ((known, unknown), (unknown, known)):
        found = survival_difference(*pair, 5)
        assert not found.paired
        errors = (known.at(5).std_error, unknown.at(5).std_error)
        assert found.std_error == pytest.approx(sum(number(error) ** 2 for error in errors) ** 0.5)


def test_a_paired_difference_of_a_curve_with_itself_has_no_error_left() -> None:
    curve = kaplan_meier([1, 2, 3, 4], [1, 0, 1, 1], cluster=["p", "p", "q", "r"])
    found = restricted_mean_difference(curve, curve, 3)
    assert (found.value, found.std_error, found.lower) == (0, NOT_ESTIMABLE, NOT_ESTIMABLE)


@pytest.mark.parametrize("tau", [0, -3, float("inf"), float("nan")])
def test_the_mean_needs_an_end(tau: Any) -> None:
    with pytest.raises(BadValue, match="expected a number above 0"):
        restricted_mean(kaplan_meier([1], [1]), tau)


@pytest.mark.parametrize(("level", "quantile"), [(0.95, 1.959964), (0.90, 1.644854)])
def test_a_restricted_mean_lies_amid_its_limits(level: float, quantile: float) -> None:
    """By hand, four eyes: S falls to 3/4 on day 5, so that 9 days hold 5 + 4 * 3/4 = 8 free of the event.

    Greenwood's term on day 5 is 1 / (4 * 3), and the area after it 3: the error is 3 / sqrt(12). Normal
    quantiles from printed tables.
    """
    found = restricted_mean(kaplan_meier([5, 9, 9, 9], [1, 0, 0, 0], level=level), 9)
    error = 3 / 12**0.5
    assert (found.tau, found.mean, found.level, found.beyond_follow_up) == (9, 8, level, False)
    assert number(found.std_error) == pytest.approx(error)
    assert number(found.lower) == pytest.approx(8 - quantile * error, abs=1e-5)
    assert number(found.upper) == pytest.approx(8 + quantile * error, abs=1e-5)


@pytest.mark.parametrize(
    ("events", "tau", "beyond"), [([1, 0], 9, False), ([1, 0], 9.5, True), ([1, 1], 9.5, False)]
)
def test_a_mean_past_the_last_follow_up_says_so_unless_all_have_ended(
    events: list[int], tau: float, beyond: bool
) -> None:
    assert restricted_mean(kaplan_meier([5, 9], events), tau).beyond_follow_up is beyond
