"""The log-rank test against R, printed results and a count in exact integers."""

from __future__ import annotations

import re
from fractions import Fraction
from typing import Any

import numpy as np
import pytest

from followup.domain.errors import BadValue
from followup.domain.survival.log_rank import LogRank, NothingToTest, log_rank
from followup.domain.survival.values import NOT_ESTIMABLE
from tests.domain.survival.tables import assert_same, expected, number, read_csv, rows_of, times_and_events

LOGRANK = expected("logrank")
CASES = [case for part in ("two_groups", "k_groups", "stratified") for case in LOGRANK[part]]


def from_formula(case: dict[str, Any]) -> LogRank:
    """Runs 'Surv(time, status) ~ sex + strata(ph.ecog)'."""
    name = case["dataset"].removesuffix(".csv")
    found = re.fullmatch(r"Surv\(.*\) ~ ([\w.]+)(?: \+ strata\(([\w.]+)\))?", case["formula"])
    assert found is not None
    group, stratum = found.groups()
    rows = [row for row in rows_of(name) if row[group] and (not stratum or row[stratum])]
    strata = [row[stratum] for row in rows] if stratum else None
    return log_rank(*times_and_events(name, rows), [row[group] for row in rows], stratum=strata)


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case['dataset']} {case['formula']}")
def test_published_data_give_the_test_of_r(case: dict[str, Any]) -> None:
    found = from_formula(case)
    order = [found.groups.index(label.split("=", 1)[1]) for label in case["groups"]]
    assert_same(found.subjects[order], case["n"], 0)
    assert_same(found.observed[order], case["observed"], 0)
    assert_same(found.expected[order], case["expected"], 1e-9)
    np.testing.assert_allclose(found.variance[np.ix_(order, order)], case["var"], rtol=1e-9, atol=1e-9)
    assert_same([number(found.chi_squared)], case["chisq"], 1e-9)
    assert_same([number(found.p_value)], case["p"], 1e-9)
    assert (found.degrees, found.nothing) == (case["df"], None)


@pytest.mark.parametrize("case", LOGRANK["trend"], ids=lambda case: case["dataset"])
def test_trend_over_scored_groups(case: dict[str, Any]) -> None:
    z, p = from_formula(case).trend(case["scores"])
    assert_same([abs(number(z)), number(p)], [case["z"], case["p"]], 1e-9)


@pytest.mark.parametrize(("index", "entry", "exit_", "event", "group"), [
    (0, "ageentry", "age", "death", "gender"),
    (1, "start", "stop", "event", "transplant"),
])  # fmt: skip
def test_late_entries(index: int, entry: str, exit_: str, event: str, group: str) -> None:
    # Klein and Moeschberger 2003, example 7.3, print 3.33 for the first (from memory); the public copy of
    # its data gives 3.376 with (entry, exit].
    wanted = LOGRANK["delayed_entry"][index]
    rows = rows_of(wanted["dataset"].removesuffix(".csv"))
    found = log_rank(
        [float(row[exit_]) for row in rows],
        [int(row[event]) for row in rows],
        [row[group] for row in rows],
        entry=[float(row[entry]) for row in rows],
    )
    assert_same([number(found.chi_squared), number(found.p_value)], [wanted["chisq"], wanted["p"]], 1e-8)


EDGE = {case["name"]: case for case in expected("edge_cases")["logrank"]}
NOTHING = {
    "no_events_at_all": NothingToTest.NO_EVENTS,
    "all_tied_all_events": NothingToTest.NEVER_COMPARED,
    "one_group_only": NothingToTest.ONE_GROUP,
    "group_gone_before_first_event": NothingToTest.NEVER_COMPARED,
}


@pytest.mark.parametrize("name", [name for name in EDGE if name not in NOTHING])
def test_small_sets_agree_with_r(name: str) -> None:
    given, wanted = EDGE[name]["input"], EDGE[name]["R"]
    found = log_rank(given["time"], given["event"], given["group"], stratum=given["stratum"])
    assert_same(found.observed, wanted["observed"], 0)
    assert_same(found.expected, wanted["expected"], 1e-9)
    np.testing.assert_allclose(found.variance, wanted["var"], atol=1e-9)
    figures = [number(found.chi_squared), found.degrees, number(found.p_value)]
    assert_same(figures, [wanted[key] for key in ("chisq", "df", "p")], 1e-9)


@pytest.mark.parametrize(("name", "reason"), NOTHING.items())
def test_nothing_to_test_is_said_and_not_a_p_value(name: str, reason: NothingToTest) -> None:
    given = EDGE[name]["input"]
    found = log_rank(given["time"], given["event"], given["group"])
    assert found.nothing is reason
    assert (found.chi_squared, found.degrees, found.p_value) == (NOT_ESTIMABLE, 0, NOT_ESTIMABLE)


def test_nobody_is_nothing_to_test() -> None:
    assert log_rank([], [], []).nothing is NothingToTest.ONE_GROUP


def test_large_ties_do_not_overflow() -> None:
    """Two groups of 60,000: a product of counts in 64-bit integers gives 329.32 here."""
    time = np.repeat([1, 2, 3, 1, 2, 3], [30000, 15000, 15000, 29400, 15000, 15600])
    event = np.repeat([1, 1, 0, 1, 1, 0], [30000, 15000, 15000, 29400, 15000, 15600])
    found = log_rank(time, event, np.repeat([1, 2], 60000))
    assert number(found.chi_squared) == pytest.approx(17.824137097425481, rel=1e-12)
    assert number(found.p_value) == pytest.approx(2.4229010517605834e-05, rel=1e-9)


def test_a_million_rows_equal_a_count_in_unbounded_integers() -> None:
    random = np.random.default_rng(7)
    size = 1_000_000
    time, event, group = (random.integers(0, top, size) for top in (30, 2, 2))
    excess, variance = Fraction(0), Fraction(0)
    for day in range(30):
        here, there = time == day, time >= day
        d, n = int((here & (event == 1)).sum()), int(there.sum())
        d1, n1 = int((here & (event == 1) & (group == 1)).sum()), int((there & (group == 1)).sum())
        excess += d1 - Fraction(d * n1, n)
        variance += Fraction(d * n1 * (n - n1) * (n - d), n * n * (n - 1))
    exact = float(excess * excess / variance)
    assert number(log_rank(time, event, group).chi_squared) == pytest.approx(exact, rel=1e-9)


PRINTED = {
    e["example"]: {v["what"]: v["published"] for v in e["values"]} for e in expected("published")["examples"]
}


@pytest.mark.parametrize(
    ("example", "index", "printed"),
    [
        ("6-MP log-rank", 0, {"chi-squared": 2}),
        ("AML log-rank", 1, {"chi-squared": 1, "p": 2}),
        ("Lung medians with log-type limits", 2, {"log-rank chi-squared by sex": 1, "p": 3}),
        ("Kidney dialysis catheters log-rank", 5, {"chi-squared": 2, "p": 3}),
        ("Veteran log-rank by cell type", 8, {"chi-squared, 3 df": 1}),
        ("Larynx cancer, four stages", 9, {"log-rank chi-squared, 3 df": 2}),
    ],
)
def test_printed_results_to_the_printed_digits(example: str, index: int, printed: dict[str, int]) -> None:
    found = from_formula(CASES[index])
    for what, digits in printed.items():
        value = number(found.p_value if what == "p" else found.chi_squared)
        assert f"{value:.{digits}f}" == PRINTED[example][what]


def test_the_simple_sum_of_a_printed_table_is_smaller_than_the_test() -> None:
    """Bland and Altman, BMJ 2004;328:1073 (from memory) sum (O - E)^2 / E: 6.88 against 7.50 here."""
    found = from_formula(CASES[7])
    assert f"{((found.observed - found.expected) ** 2 / found.expected).sum():.2f}" == "6.88"
    assert [f"{e:.2f}" for e in found.expected] == ["22.48", "19.52"]
    assert number(found.chi_squared) == pytest.approx(7.4966, abs=5e-5)


def test_eyes_of_one_patient_compared_within_the_patient() -> None:
    wanted = expected("retinopathy_paired")["logrank_stratified_by_patient"]
    rows = rows_of("retinopathy")
    found = log_rank(
        *times_and_events("retinopathy", rows),
        [row["trt"] for row in rows],
        stratum=[row["id"] for row in rows],
    )
    assert_same([number(found.chi_squared), number(found.p_value)], [wanted["chisq"], wanted["p"]], 1e-9)


def test_early_laser_in_the_open_series_of_eyes() -> None:
    wanted = next(row for row in read_csv("eyes/logrank") if row["dataset"].startswith("paired"))
    rows = read_csv("eyes/paired_eyes_time_to_visual_loss")
    found = log_rank(
        [float(row[f"x{arm}"]) for arm in "12" for row in rows],
        [int(row[f"delta{arm}"]) for arm in "12" for row in rows],
        [arm for arm in "12" for _ in rows],
    )
    assert_same(
        [number(found.chi_squared), number(found.p_value)], [float(wanted["chisq"]), float(wanted["p"])], 1e-9
    )


def test_a_trend_needs_a_score_for_each_group() -> None:
    found = log_rank([1, 2, 3], [1, 1, 1], ["a", "b", "b"])
    with pytest.raises(BadValue, match="one score for each of the 2 groups"):
        found.trend([1, 2, 3])
    assert log_rank([1, 2], [0, 0], ["a", "b"]).trend([1, 2]) == (NOT_ESTIMABLE, NOT_ESTIMABLE)
