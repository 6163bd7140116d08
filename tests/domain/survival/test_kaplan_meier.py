"""The survival curve against R, published tables and cases worked by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from followup.domain.errors import BadValue
from followup.domain.survival.kaplan_meier import Curve, kaplan_meier
from followup.domain.survival.values import NOT_ESTIMABLE, NOT_REACHED
from tests.domain.survival.tables import (
    assert_same,
    expected,
    number,
    numbers,
    read_csv,
    rows_of,
    stratum,
    times_and_events,
)

LIMITS = ("log-log", "log", "plain")

# Ten eyes, months; + is last seen attached: 1, 2, 3, 3+, 6, 6+, 9+, 12, 12+, 24+. Worked by hand.
TEN_TIMES = [1, 2, 3, 3, 6, 6, 9, 12, 12, 24]
TEN_EVENTS = [1, 1, 1, 0, 1, 0, 0, 1, 0, 0]


def fit(name: str, label: str, limits: Any) -> Curve:
    return kaplan_meier(*times_and_events(name, rows_of(name, **stratum(label))), limits=limits)


def assert_curve(curves: dict[str, Curve], wanted: dict[str, Any]) -> None:
    """Counts and S to 1e-12; standard errors and limits to 1e-9; limits at S = 1 are [1, 1]."""
    curve = curves["log"]
    assert_same(curve.time, wanted["time"], 1e-12)
    assert_same(curve.at_risk, wanted["n_risk"], 0)
    assert_same(curve.events, wanted["n_event"], 0)
    assert_same(curve.censored, wanted["n_censor"], 0)
    assert_same(curve.survival, wanted["surv"], 1e-12)
    assert_same(curve.std_error, wanted["se_surv"], 1e-9)
    for kind, drawn in curves.items():
        for end, found in (("lower", drawn.lower), ("upper", drawn.upper)):
            limit = numbers(wanted["ci"][kind][end])
            assert_same(found, np.where(numbers(wanted["surv"]) == 1, 1.0, limit).tolist(), 1e-9, kind)


def assert_quantiles(curve: Curve, wanted: dict[str, Any]) -> None:
    found = [curve.quantile(p) for p in wanted["probs"]]
    assert_same([number(q.time) for q in found], wanted["time"], 1e-9)
    assert_same([number(q.lower) for q in found], wanted["lower"], 1e-9)
    assert_same([number(q.upper) for q in found], wanted["upper"], 1e-9)


def assert_points(curve: Curve, wanted: list[dict[str, Any]], kind: str) -> None:
    for at in wanted:
        point = curve.at(at["time"])
        assert point.at_risk == at["n_risk"]
        if at["beyond_last_time"]:
            assert point.survival in (NOT_ESTIMABLE, 0.0)
            continue
        assert_same([number(point.survival)], at["surv"], 1e-12)
        if at["surv"] not in (0, 1):
            assert_same([number(point.std_error)], at["se_surv"], 1e-9)
            assert_same([number(point.lower)], at["ci"][kind]["lower"], 1e-9)
            assert_same([number(point.upper)], at["ci"][kind]["upper"], 1e-9)


STRATA = [
    (file, name, part, index)
    for file, name, part, size in [
        ("km_aml", "aml", "overall", 1),
        ("km_aml", "aml", "by_x", 2),
        ("km_gehan_6mp", "gehan_6mp", "overall", 1),
        ("km_gehan_6mp", "gehan_6mp", "by_group", 2),
        ("km_kidney_catheter", "kidney_catheter_km", "by_type", 2),
        ("km_larynx", "larynx", "by_stage", 4),
        ("km_lung", "lung", "overall", 1),
        ("km_lung", "lung", "by_sex", 2),
        ("km_veteran", "veteran", "overall", 1),
        ("km_veteran", "veteran", "by_trt", 2),
        ("km_veteran", "veteran", "by_celltype", 4),
        ("km_mgus2_death", "mgus2", "overall", 1),
        ("km_mgus2_death", "mgus2", "by_sex", 2),
    ]
    for index in range(size)
]


@pytest.mark.parametrize(("file", "name", "part", "index"), STRATA)
def test_published_data_give_the_curves_of_r(file: str, name: str, part: str, index: int) -> None:
    wanted = expected(file)[part][index]
    curves = {kind: fit(name, wanted["stratum"], kind) for kind in LIMITS}
    assert curves["log"].subjects == wanted["n"]
    assert_curve(curves, wanted)
    for kind, curve in curves.items():
        assert_quantiles(curve, wanted["quantiles"][kind])
        assert_points(curve, wanted["at"], kind)


@pytest.mark.parametrize(("part", "index"), [("overall", 0), ("by_trt", 0), ("by_trt", 1)])
def test_two_eyes_of_a_patient_are_kept_together(part: str, index: int) -> None:
    wanted = expected("km_retinopathy_cluster")[part][index]
    rows = rows_of("retinopathy", **stratum(wanted["stratum"]))
    times, events = times_and_events("retinopathy", rows)
    patients = [row["id"] for row in rows]
    curves = {kind: kaplan_meier(times, events, cluster=patients, limits=kind) for kind in LIMITS}
    assert curves["log"].clusters == 197
    assert curves["log"].robust
    assert_curve(curves, wanted)
    for kind, curve in curves.items():
        assert_quantiles(curve, wanted["quantiles"][kind])
        assert_points(curve, wanted["at"], kind)


def delayed(name: str, label: str, alive_at: float = 0) -> tuple[list[float], list[int], list[float]]:
    """Exits, events and entries; given alive at an age, only those still followed at it."""
    entry, exit_, event = {
        "heart": ("start", "stop", "event"),
        "channing": ("ageentry", "age", "death"),
    }[name]
    rows = [row for row in rows_of(name, **stratum(label)) if float(row[exit_]) >= alive_at]
    return (
        [float(row[exit_]) for row in rows],
        [int(row[event]) for row in rows],
        [float(row[entry]) for row in rows],
    )


@pytest.mark.parametrize(
    ("name", "part", "index", "alive_at"),
    [
        ("heart", "overall", 0, 0),
        ("heart", "by_transplant", 0, 0),
        ("heart", "by_transplant", 1, 0),
        ("channing", "overall", 0, 0),
        ("channing", "by_gender", 0, 0),
        ("channing", "by_gender", 1, 0),
        ("channing", "by_gender_given_alive_at_68y", 0, 816),
        ("channing", "by_gender_given_alive_at_68y", 1, 816),
        ("channing", "by_gender_given_alive_at_80y", 0, 960),
        ("channing", "by_gender_given_alive_at_80y", 1, 960),
    ],
)
def test_late_entries_count_from_after_their_entry(name: str, part: str, index: int, alive_at: float) -> None:
    wanted = expected("km_delayed_entry")[name][part][index]
    times, events, entries = delayed(name, wanted["stratum"], alive_at)
    curves = {kind: kaplan_meier(times, events, entry=entries, limits=kind) for kind in LIMITS}
    assert_curve(curves, wanted)
    for kind, curve in curves.items():
        assert_quantiles(curve, wanted["quantiles"][kind])


@pytest.mark.parametrize(("name", "column"), [("heart", "transplant"), ("channing", "gender")])
def test_numbers_at_risk_between_events_count_late_entries(name: str, column: str) -> None:
    wanted = expected("km_delayed_entry")[name]["n_at_risk_direct"]
    for label, counts in wanted["groups"].items():
        times, events, entries = delayed(name, f"{column}={label}")
        curve = kaplan_meier(times, events, entry=entries)
        asked = [(t, n) for t, n in zip(wanted["times"], counts, strict=True) if t > 0]
        assert curve.at_risk_at([t for t, _ in asked]).tolist() == [n for _, n in asked]
        assert curve.at_risk_at([0]).tolist() == [sum(entry <= 0 for entry in entries)]


def test_rows_without_time_at_risk_are_left_out_and_counted() -> None:
    times, events, entries = delayed("channing", "overall")
    curve = kaplan_meier(times, events, entry=entries)
    assert (curve.subjects, curve.left_out) == (458, expected("km_delayed_entry")["channing"]["n_dropped"])


EDGE = {case["name"]: case for case in expected("edge_cases")["km"]}
REFUSED = {
    "negative_time": r"time\[0\] is -1",
    "na_time": r"time\[1\] is nan",
    "na_event": r"event\[1\] is nan",
    "infinite_time": r"time\[2\] is nan",
    "status_1_2": r"event\[0\] is 2: expected 0",
    "entry_after_exit": r"time\[0\] is 3.*before its entry at 4",
}
# R merges times within 1.5e-8 of their mean; ours merge only what rounding made: a second is a second.
R_MERGES_TOO_MUCH = {"big_times", "tiny_times"}
# An eye carries no weight here: each counts as one.
WEIGHTED = {"duplicates_weighted", "zero_weight", "fractional_weights"}


@pytest.mark.parametrize(
    "name", [n for n in EDGE if n not in {*REFUSED, *R_MERGES_TOO_MUCH, *WEIGHTED, "empty"}]
)
def test_small_sets_agree_with_r(name: str) -> None:
    given, wanted = EDGE[name]["input"], EDGE[name]["R"]
    curves = {
        kind: kaplan_meier(given["time"], given["event"], entry=given["entry"], limits=kind)
        for kind in LIMITS
    }
    assert_curve(curves, wanted)
    for kind, curve in curves.items():
        median = curve.median
        found = [number(median.time), number(median.lower), number(median.upper)]
        assert_same(found, [wanted["median"][kind][key] for key in ("median", "lower", "upper")], 1e-9)


@pytest.mark.parametrize(("name", "message"), REFUSED.items())
def test_input_that_r_drops_or_guesses_is_refused(name: str, message: str) -> None:
    given = EDGE[name]["input"]
    with pytest.raises(BadValue, match=message):
        kaplan_meier(given["time"], given["event"], entry=given["entry"])


@pytest.mark.parametrize("name", sorted(R_MERGES_TOO_MUCH))
def test_distinct_times_stay_apart_however_large_or_small(name: str) -> None:
    given = EDGE[name]["input"]
    curve = kaplan_meier(given["time"], given["event"])
    assert curve.time.tolist() == given["time"]
    np.testing.assert_allclose(curve.survival, [2 / 3, 1 / 3, 1 / 3], rtol=1e-12)


@pytest.mark.parametrize("name", sorted(WEIGHTED - {"fractional_weights"}))
def test_a_weight_is_that_many_eyes(name: str) -> None:
    given, wanted = EDGE[name]["input"], EDGE[name]["R"]
    repeated = [np.repeat(given[key], given["weights"]) for key in ("time", "event")]
    curve = kaplan_meier(*repeated)
    steps = np.isin(wanted["time"], curve.time)
    assert_same(curve.survival, numbers(wanted["surv"])[steps].tolist(), 1e-12)


def test_nobody_gives_an_empty_curve_that_says_so() -> None:
    curve = kaplan_meier([], [])
    assert curve.empty
    assert (curve.subjects, curve.clusters, len(curve.time)) == (0, 0, 0)
    assert curve.median.time is NOT_REACHED
    assert curve.at(30).survival is NOT_ESTIMABLE
    assert curve.at(30).at_risk == 0
    assert curve.last_time is NOT_ESTIMABLE
    assert kaplan_meier([], [], entry=[], cluster=[]).empty


@pytest.mark.parametrize(
    ("time", "at_risk", "survival", "error", "lower", "upper"),
    [
        (1, 10, 0.90000, 0.09487, 0.4730, 0.9853),
        (2, 9, 0.80000, 0.12649, 0.4087, 0.9459),
        (3, 8, 0.70000, 0.14491, 0.3287, 0.8919),
        (6, 6, 0.58333, 0.16102, 0.2298, 0.8207),
        (12, 3, 0.38889, 0.19165, 0.0724, 0.7120),
    ],
)
def test_ten_eyes_worked_by_hand(
    time: int, at_risk: int, survival: float, error: float, lower: float, upper: float
) -> None:
    point = kaplan_meier(TEN_TIMES, TEN_EVENTS).at(time)
    assert point.at_risk == at_risk
    assert number(point.survival) == pytest.approx(survival, abs=5e-6)
    assert number(point.std_error) == pytest.approx(error, abs=5e-6)
    assert number(point.lower) == pytest.approx(lower, abs=5e-5)
    assert number(point.upper) == pytest.approx(upper, abs=5e-5)


@pytest.mark.parametrize(("limits", "lower"), [("log-log", 1), ("log", 3), ("plain", 3)])
def test_the_interval_of_the_median_depends_on_the_kind_of_limits(limits: Any, lower: int) -> None:
    median = kaplan_meier(TEN_TIMES, TEN_EVENTS, limits=limits).median
    assert (median.time, median.lower, median.upper) == (12, lower, NOT_REACHED)


def test_log_limits_are_cut_at_one() -> None:
    point = kaplan_meier(TEN_TIMES, TEN_EVENTS, limits="log").at(6)
    assert (round(number(point.lower), 3), point.upper) == (0.340, 1)


def test_an_event_and_a_censoring_on_one_day_share_the_number_at_risk() -> None:
    curve = kaplan_meier([5, 5, 8, 10, 10, 12], [1, 0, 1, 0, 1, 0])
    np.testing.assert_allclose(curve.survival_at([5, 8, 10]), [5 / 6, 0.625, 5 / 12], rtol=1e-12)


def test_an_event_on_day_zero_counts_even_when_entries_are_given() -> None:
    for entry in (None, [0, 0, 0, 0]):
        curve = kaplan_meier([0, 10, 20, 30], [1, 1, 0, 0], entry=entry)
        assert curve.survival_at([0, 10]).tolist() == [0.75, 0.5]


def test_nobody_with_the_event_has_an_exact_limit_and_no_interval_of_one_to_one() -> None:
    curve = kaplan_meier([11, 45, 90, 181], [0, 0, 0, 0])
    assert str(curve.median.time) == "not reached"
    point = curve.at(0)
    assert (point.survival, point.lower, point.upper) == (1, NOT_ESTIMABLE, NOT_ESTIMABLE)
    assert point.exact is not None
    assert (point.exact.events, point.exact.total) == (4, 4)
    assert number(point.exact.lower) == pytest.approx(0.025**0.25)


def test_times_equal_but_for_rounding_are_one_step() -> None:
    curve = kaplan_meier([0.1 + 0.2, 0.3, 1, 2], [1, 1, 0, 1])
    assert (curve.events.tolist(), curve.survival.tolist()) == ([2, 0, 1], [0.5, 0.5, 0.0])


def test_a_median_from_a_tail_of_few_eyes_shows_how_few() -> None:
    curve = kaplan_meier([6] * 4 + [12] * 18 + [24, 30, 36, 40], [1] * 4 + [0] * 18 + [1, 1, 0, 0])
    median = curve.median
    assert (median.time, median.at_risk) == (30, 3)
    assert curve.at_risk_at([12.5]).tolist() == [4]
    assert [curve.drawn_until(fewest) for fewest in (1, 2, 5, 22, 23, 26, 27)] == [40, 36, 12, 12, 6, 6, 0]


def test_beyond_the_last_follow_up_nothing_is_known() -> None:
    curve = kaplan_meier([10, 20, 55], [0, 1, 0])
    assert curve.at(55).survival == 0.5
    assert curve.at(60).survival is NOT_ESTIMABLE
    assert kaplan_meier([10, 20], [1, 1]).at(60).survival == 0


def test_limits_are_not_estimable_where_the_curve_is_zero() -> None:
    point = kaplan_meier([1, 2], [1, 1]).at(2)
    assert (point.survival, point.std_error, point.lower, point.upper) == (0, *[NOT_ESTIMABLE] * 3)


BUGS = {idea["id"]: idea for idea in expected("bug_ideas")["ideas"]}


@pytest.mark.parametrize(
    "name", ["entry_tie_1", "entry_equals_exit", "last_censored_no_drop", "near_ties", "risk_table_instant"]
)
def test_faults_reported_elsewhere_do_not_occur_here(name: str) -> None:
    given, right = BUGS[name]["input"], BUGS[name]["right"]
    curve = kaplan_meier(given["time"], given["event"], entry=given.get("entry"))
    known = [(t, s) for t, s in zip(right["at"], right["surv"], strict=True) if t <= curve.last_time]
    assert_same(curve.survival_at([t for t, _ in known]), [s for _, s in known], 1e-12)
    # R tells the time of a merged step a hair late; the number at risk is then asked just before it.
    if name != "near_ties":
        assert curve.at_risk_at(right["at"]).tolist() == right["n_risk"]
    assert curve.subjects == right["n_used"]


def test_numbers_at_risk_rise_and_fall_with_late_entries() -> None:
    given, right = BUGS["risk_table_late_entry"]["input"], BUGS["risk_table_late_entry"]["right"]
    curve = kaplan_meier(given["time"], given["event"], entry=given["entry"])
    assert curve.at_risk_at(right["at"]).tolist() == right["n_risk"]


@pytest.mark.parametrize(("name", "median"), [("median_half", 2.5), ("median_half_flat", 3.0)])
def test_a_median_on_a_flat_part_is_its_middle(name: str, median: float) -> None:
    curve = kaplan_meier(BUGS[name]["input"]["time"], BUGS[name]["input"]["event"])
    assert curve.median.time == median == BUGS[name]["right"]["r_quantile"]


def test_the_limits_of_a_median_are_read_from_the_band() -> None:
    median = fit("gehan_6mp", "group=placebo", "log-log").median
    right = BUGS["median_ci"]["right"]
    assert (median.time, median.lower, median.upper) == (right["median"], right["lower"], right["upper"])


PRINTED = {
    e["example"]: {v["what"]: v["published"] for v in e["values"]} for e in expected("published")["examples"]
}


@pytest.mark.parametrize(
    ("example", "name", "label", "read"),
    [
        ("6-MP Kaplan-Meier, 6-MP arm", "gehan_6mp", "group=6-MP", "survival"),
        ("6-MP Greenwood standard errors, 6-MP arm", "gehan_6mp", "group=6-MP", "std_error"),
        ("AML maintained Kaplan-Meier", "aml", "x=Maintained", "survival"),
    ],
)
def test_printed_tables_to_the_printed_digits(example: str, name: str, label: str, read: str) -> None:
    curve = fit(name, label, "log")
    for what, printed in PRINTED[example].items():
        time = float(what.split("(")[1].rstrip(")"))
        digits = len(printed.split(".")[1])
        assert f"{number(getattr(curve.at(time), read)):.{digits}f}" == printed


@pytest.mark.parametrize(
    ("example", "what", "name", "label"),
    [
        ("6-MP medians", "{}", "gehan_6mp", "group=placebo"),
        ("6-MP medians", "{}", "gehan_6mp", "group=6-MP"),
        ("Lung medians with log-type limits", "all median", "lung", "overall"),
        ("Lung medians with log-type limits", "male median", "lung", "sex=1"),
        ("Lung medians with log-type limits", "female median", "lung", "sex=2"),
    ],
)
def test_printed_medians(example: str, what: str, name: str, label: str) -> None:
    median = fit(name, label, "log").median
    printed = PRINTED[example]
    if what == "{}":
        assert str(int(number(median.time))) == printed[label.split("=")[1]]
        return
    group = what.split()[0]
    found = {"median": median.time, "lower": median.lower, "upper": median.upper}
    for key, value in found.items():
        assert str(int(number(value))) == printed[f"{group} {key}"]


def assert_printed(curve: Curve, rows: list[dict[str, str]]) -> None:
    """A table of R with eight decimals; blank limits there are [1, 1] at S = 1 and unknown at S = 0."""
    assert curve.time.tolist() == [float(row["time"]) for row in rows]
    assert curve.at_risk.tolist() == [int(row["n_risk"]) for row in rows]
    assert curve.events.tolist() == [int(row["n_event"]) for row in rows]
    assert curve.censored.tolist() == [int(row["n_censor"]) for row in rows]
    np.testing.assert_allclose(curve.survival, [float(row["survival"]) for row in rows], atol=6e-9)
    for key, band in (("lower95", curve.lower), ("upper95", curve.upper)):
        wanted = [float(row[key] or (1 if float(row["survival"]) else "nan")) for row in rows]
        np.testing.assert_allclose(band, wanted, atol=6e-9)


@pytest.mark.parametrize("dataset", sorted({row["dataset"] for row in read_csv("eyes/edge_cases_input")}))
def test_small_sets_of_eyes(dataset: str) -> None:
    given = [row for row in read_csv("eyes/edge_cases_input") if row["dataset"] == dataset]
    curve = kaplan_meier(
        [int(row["time"]) for row in given],
        [int(row["status"]) for row in given],
        entry=[int(row["entry"]) for row in given],
    )
    assert_printed(curve, [row for row in read_csv("eyes/edge_cases_expected") if row["dataset"] == dataset])


@pytest.mark.parametrize("name", ["macular_hole_15_letter_gain", "nv_amd_10_years_fellow_eye"])
def test_open_series_of_eyes(name: str) -> None:
    given = read_csv(f"eyes/{name}_input")
    curve = kaplan_meier([float(row["time"]) for row in given], [int(row["status"]) for row in given])
    assert_printed(curve, list(read_csv(f"eyes/{name}_loglog")))


@pytest.mark.parametrize("arm", ["1", "2"])
def test_both_eyes_of_a_trial_of_early_laser(arm: str) -> None:
    given = read_csv("eyes/paired_eyes_time_to_visual_loss")
    curve = kaplan_meier([float(row[f"x{arm}"]) for row in given], [int(row[f"delta{arm}"]) for row in given])
    wanted = [row for row in read_csv("eyes/paired_eyes_by_arm_loglog") if row["group"] == f"trt{arm}"]
    assert_printed(curve, wanted)


@pytest.mark.parametrize(("kind", "file"), [("log-log", "loglog"), ("log", "log"), ("plain", "plain")])
@pytest.mark.parametrize("arm", ["0", "1"])
def test_a_trial_of_laser_by_kind_of_limits(kind: str, file: str, arm: str) -> None:
    wanted = [row for row in read_csv(f"eyes/laser_trial_by_trt_{file}") if row["group"] == arm]
    assert_printed(fit("retinopathy", f"trt={arm}", kind), wanted)


def test_medians_of_the_open_series() -> None:
    wanted = {row["dataset"]: row for row in read_csv("eyes/summaries") if row["group"] == "all"}
    for name in ("nv_amd_10_years_fellow_eye", "macular_hole_15_letter_gain"):
        given = read_csv(f"eyes/{name}_input")
        median = kaplan_meier([float(r["time"]) for r in given], [int(r["status"]) for r in given]).median
        row = next(row for dataset, row in wanted.items() if dataset.startswith(name[:10]))
        assert [median.time, median.lower, median.upper] == [
            float(row[key]) for key in ("median", "median_lcl", "median_ucl")
        ]


@pytest.mark.parametrize("level", [0.0, 1.0, 1.5])
def test_a_level_outside_zero_and_one_is_refused(level: float) -> None:
    with pytest.raises(BadValue, match="confidence level"):
        kaplan_meier([1], [1], level=level)


def test_an_unknown_kind_of_limits_is_refused() -> None:
    kind: Any = "loglog"
    with pytest.raises(BadValue, match="choose log-log, log or plain"):
        kaplan_meier([1], [1], limits=kind)


@pytest.mark.parametrize("p", [0, 1, -0.5])
def test_a_share_outside_zero_and_one_is_refused(p: float) -> None:
    with pytest.raises(BadValue, match="share"):
        kaplan_meier([1], [1]).quantile(p)


@pytest.mark.parametrize("time", [-1, float("nan")])
def test_a_curve_is_not_read_before_its_start(time: float) -> None:
    with pytest.raises(BadValue, match="from 0 on"):
        kaplan_meier([1], [1]).at(time)


def test_a_point_carries_its_time_and_before_the_first_event_the_exact_interval_alone() -> None:
    """By hand: 4 eyes, the first event on day 5; 0 of 4 failed has the exact lower limit (0.05 / 2)^(1/4)."""
    before, on = kaplan_meier([5, 9, 9, 9], [1, 0, 0, 0], level=0.95).points([3, 5])
    assert (before.time, before.survival, before.at_risk) == (3, 1, 4)
    assert (before.std_error, before.lower, before.upper) == (NOT_ESTIMABLE,) * 3
    assert before.exact is not None
    assert number(before.exact.lower) == pytest.approx(0.025**0.25)
    assert (on.time, on.survival, on.at_risk, on.exact) == (5, 0.75, 4, None)
    wide = kaplan_meier([5, 9, 9, 9], [1, 0, 0, 0], level=0.9).at(3).exact
    assert wide is not None
    assert number(wide.lower) == pytest.approx(0.05**0.25)


@pytest.mark.parametrize("limits", LIMITS)
def test_a_curve_says_which_limits_it_carries(limits: Any) -> None:
    assert kaplan_meier([5, 9], [1, 0], limits=limits).limits == limits
