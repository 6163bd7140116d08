"""Shares with exact and score intervals, against R and printed tables."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from followup.domain.errors import BadValue
from followup.domain.survival.binomial import (
    Proportion,
    clopper_pearson,
    one_sided_lower,
    one_sided_upper,
    wilson,
)
from followup.domain.survival.values import NOT_ESTIMABLE
from tests.domain.survival.tables import assert_same, expected, number


@pytest.mark.parametrize(
    "case", expected("binomial_ci")["cases"], ids=lambda c: f"{c['x']}/{c['n']} {c['level']}"
)
def test_intervals_agree_with_r(case: dict[str, Any]) -> None:
    for method, key in ((clopper_pearson, "clopper_pearson"), (wilson, "wilson")):
        found = method(case["x"], case["n"], level=case["level"])
        assert_same([number(found.share)], case["estimate"], 1e-12)
        assert_same([number(found.lower), number(found.upper)], case[key], 1e-9)


# Newcombe, Stat Med 1998;17:857-872, table I (from memory, abstract seen).
NEWCOMBE = {
    (81, 263): ("0.2553", "0.3662", "0.2527", "0.3676"),
    (15, 148): ("0.0624", "0.1605", "0.0578", "0.1617"),
    (0, 20): ("0.0000", "0.1611", "0.0000", "0.1684"),
    (1, 29): ("0.0061", "0.1718", "0.0009", "0.1776"),
}


@pytest.mark.parametrize(("counts", "printed"), NEWCOMBE.items())
def test_newcombes_table(counts: tuple[int, int], printed: tuple[str, ...]) -> None:
    score, exact = wilson(*counts), clopper_pearson(*counts)
    found = [number(x) for x in (score.lower, score.upper, exact.lower, exact.upper)]
    assert tuple(f"{value:.4f}" for value in found) == printed


# Redetachment after removal of oil and successes in published series: share and exact interval in per cent.
# The last lower limit is 6.35: printed elsewhere as 6.3.
SERIES = [
    (24, 161, 14.9, 9.8, 21.4),
    (23, 147, 15.6, 10.2, 22.5),
    (20, 115, 17.4, 11.0, 25.6),
    (6, 68, 8.8, 3.3, 18.2),
    (17, 182, 9.3, 5.5, 14.5),
    (12, 99, 12.1, 6.4, 20.2),
    (16, 45, 35.6, 21.9, 51.2),
    (16, 21, 76.2, 52.8, 91.8),
    (23, 254, 9.1, 5.8, 13.3),
    (24, 246, 9.8, 6.4, 14.2),
]


@pytest.mark.parametrize(("events", "total", "share", "lower", "upper"), SERIES)
def test_published_series(events: int, total: int, share: float, lower: float, upper: float) -> None:
    found = clopper_pearson(events, total)
    assert [round(100 * number(x), 1) for x in (found.share, found.lower, found.upper)] == [
        share,
        lower,
        upper,
    ]


def test_all_and_none_still_have_an_interval() -> None:
    """30 of 30: 88.4 % two-sided, 90.5 % one-sided, 88.6 % by score; 20 of 20: 83.2 %."""
    assert round(100 * number(clopper_pearson(30, 30).lower), 1) == 88.4
    assert number(clopper_pearson(30, 30).lower) == pytest.approx(0.025 ** (1 / 30), rel=1e-12)
    assert round(100 * number(one_sided_lower(30, 30)), 1) == 90.5
    assert round(100 * number(wilson(30, 30).lower), 1) == 88.6
    assert round(100 * number(clopper_pearson(20, 20).lower), 1) == 83.2
    assert number(one_sided_upper(0, 4)) == pytest.approx(1 - 0.05**0.25, rel=1e-12)
    # Hanley and Lippman-Hand, JAMA 1983;249:1743-1745: none of n, upper limit about 3 / n.
    assert number(one_sided_upper(0, 100)) == pytest.approx(3 / 100, abs=5e-4)


def test_none_of_nobody_is_no_estimate() -> None:
    for found, method in (
        (clopper_pearson(0, 0, level=0.9), "Clopper-Pearson"),
        (wilson(0, 0, level=0.9), "Wilson"),
    ):
        assert found == Proportion(0, 0, NOT_ESTIMABLE, NOT_ESTIMABLE, NOT_ESTIMABLE, 0.9, method)
    assert one_sided_lower(0, 0) is NOT_ESTIMABLE
    assert one_sided_upper(0, 0) is NOT_ESTIMABLE


def test_an_interval_names_its_method() -> None:
    assert [found(1, 4).method for found in (clopper_pearson, wilson)] == ["Clopper-Pearson", "Wilson"]


def test_one_sided_limits_of_some_among_many_lie_opposite_each_other() -> None:
    """Arithmetic: a limit on the share that failed is one minus the limit on the share that did not."""
    assert number(one_sided_upper(1, 4)) == pytest.approx(1 - number(one_sided_lower(3, 4)), rel=1e-12)
    assert 0.25 < number(one_sided_upper(1, 4)) < 1


@pytest.mark.parametrize(("events", "total"), [(-1, 3), (4, 3), (0, -1)])
def test_impossible_counts_are_refused(events: int, total: int) -> None:
    with pytest.raises(BadValue, match=f"{events} of {total}"):
        clopper_pearson(events, total)


@pytest.mark.parametrize("method", [clopper_pearson, wilson])
@pytest.mark.parametrize("events", [0, 1, 4])
def test_an_interval_carries_what_it_was_asked_of(method: Callable[..., Proportion], events: int) -> None:
    found = method(events, 4, level=0.9)
    assert (found.events, found.total, found.share, found.level) == (events, 4, events / 4, 0.9)
    assert (found.lower == 0, found.upper == 1) == (events == 0, events == 4)
