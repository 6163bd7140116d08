"""Interval-censored survival against printed masses and the conditions of a maximum."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from followup.domain.errors import BadValue
from followup.domain.survival.turnbull import IntervalCurve, IntervalPoint, turnbull
from followup.domain.survival.values import NOT_ESTIMABLE
from tests.domain.survival.tables import expected, number, rows_of

INF = float("inf")


def cosmesis(group: str) -> IntervalCurve:
    rows = rows_of("breast_cosmesis", group=group)
    return turnbull([float(r["left"]) for r in rows], [float(r["right"] or INF) for r in rows])


@pytest.mark.parametrize("wanted", expected("turnbull_refined")["groups"], ids=lambda w: w["group"])
def test_breast_cosmesis_to_eight_decimals(wanted: dict[str, Any]) -> None:
    found = cosmesis(wanted["group"])
    assert (found.left.tolist(), found.right.tolist()) == (wanted["left"], wanted["right"])
    np.testing.assert_allclose(found.mass, wanted["mass"], atol=1e-8)
    assert found.log_likelihood == pytest.approx(wanted["loglik"], abs=1e-9)
    assert found.unique


@pytest.mark.parametrize(("group", "word"), [("RT", "radiation"), ("RCT", "radiation + chemotherapy")])
def test_masses_printed_by_fay_and_shaw(group: str, word: str) -> None:
    """Fay and Shaw, J Stat Softw 2010;36(2):1-34 (seen in the later version of the paper)."""
    examples = {e["example"]: e["values"] for e in expected("published")["examples"]}
    printed = {v["what"]: v["published"] for v in examples[f"Breast cosmesis NPMLE, {word}"]}
    found = cosmesis(group)
    ends = zip(found.left, found.right, found.mass, strict=True)
    assert {f"mass in ({left:g},{right:g}]": f"{mass:.4f}" for left, right, mass in ends} == printed


def test_six_eyes_worked_by_hand() -> None:
    found = turnbull([0, 1, 1, 3, 6, 12], [1, 3, 6, 6, INF, INF])
    assert list(zip(found.left, found.right, strict=True)) == [(0, 1), (1, 3), (3, 6), (12, INF)]
    np.testing.assert_allclose(found.mass, [1 / 6, 1 / 4, 1 / 4, 1 / 3], atol=1e-10)
    assert number(found.at(3).survival) == pytest.approx(0.5833, abs=5e-5)


def test_inside_an_interval_only_bounds_are_known() -> None:
    point = turnbull([0, 1, 1, 3, 6, 12], [1, 3, 6, 6, INF, INF]).at(2)
    assert point.survival is NOT_ESTIMABLE
    assert (point.lowest, point.highest) == (pytest.approx(7 / 12), pytest.approx(5 / 6))


def test_the_right_end_belongs_to_its_interval() -> None:
    found = turnbull([2, 3, 3, 3, 3, 3, 1, 1, 1, 1, 1], [2, 3, 3, 3, 3, 3, 3, 3, 3, 3, 3])
    assert (found.left.tolist(), found.right.tolist()) == ([2, 3], [2, 3])
    np.testing.assert_allclose(found.mass, [1 / 6, 5 / 6], atol=1e-9)
    assert [found.at(t).survival for t in (1, 3)] == [1, 0]


def test_intervals_that_all_overlap_put_their_mass_in_the_common_part() -> None:
    found = turnbull([1, 2, 3], [5, 6, 7])
    assert (found.left.tolist(), found.right.tolist(), found.mass.tolist()) == ([3], [5], [1])


def test_days_known_exactly_give_the_kaplan_meier_steps() -> None:
    found = turnbull([1, 2, 3, 4], [1, 2, INF, 4])
    points = [found.at(t) for t in (1, 2, 3, 4)]
    for figures in ([p.survival for p in points], [p.lowest for p in points], [p.highest for p in points]):
        assert figures == pytest.approx([0.75, 0.5, 0.5, 0])
    assert [p.time for p in points] == [1, 2, 3, 4]


def test_never_seen_again_is_no_estimate_of_an_end() -> None:
    found = turnbull([5, 8], [INF, INF])
    assert (found.left.tolist(), found.right.tolist()) == ([8], [INF])
    assert found.at(8).survival == 1
    assert found.at(9).survival is NOT_ESTIMABLE


def test_nobody() -> None:
    found = turnbull([], [])
    assert found.at(1) == IntervalPoint(1, NOT_ESTIMABLE, 0, 1)
    assert (found.subjects, len(found.mass)) == (0, 0)
    assert (found.log_likelihood, found.gradient, found.unique) == (0, 0, True)


def test_random_intervals_meet_the_conditions_of_a_maximum() -> None:
    """At the maximum every likelihood contribution averages 1 over mass held, and no interval offers more."""
    random = np.random.default_rng(11)
    for _ in range(500):
        size = int(random.integers(1, 30))
        left = random.integers(0, 15, size).astype(float)
        right = np.where(random.random(size) < 0.3, INF, left + random.integers(0, 8, size))
        found = turnbull(left, right)
        assert found.mass.sum() == pytest.approx(1, abs=1e-12)
        assert (found.mass > 0).all()
        assert found.gradient <= 1e-10 * size
        exact_day = left == right
        starts_after = np.where(exact_day[:, None], found.left == left[:, None], found.left >= left[:, None])
        exact_mass = found.left == found.right
        starts_after &= ~exact_mass | exact_day[:, None] | (found.left > left[:, None])
        chance = (starts_after & (found.right <= right[:, None])) @ found.mass
        assert np.log(chance).sum() == pytest.approx(found.log_likelihood, abs=1e-8)


@pytest.mark.parametrize(
    ("left", "right", "message"),
    [
        ([3], [2], r"right\[0\] is 2, before its left end 3"),
        ([-1], [2], r"left\[0\] is -1: .*day and month swapped"),
        ([1, 2], [3], "2 left and 1 right ends"),
        ([1], [float("nan")], r"right\[0\] is nan"),
        ([INF], [INF], r"left\[0\] is inf"),
    ],
)
def test_impossible_intervals_are_refused(left: list[float], right: list[float], message: str) -> None:
    with pytest.raises(BadValue, match=message):
        turnbull(left, right)
