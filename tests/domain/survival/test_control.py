"""Control limits of a share and the running excess, against exact fractions and a handbook's example."""

from __future__ import annotations

from fractions import Fraction
from math import comb

import pytest
from hypothesis import given
from hypothesis import strategies as st

from followup.domain.errors import BadValue
from followup.domain.survival.control import ACTION, WARNING, Range, expected_range, running_excess


def _range_in_fractions(total: int, share: Fraction, level: Fraction) -> Range:
    """By adding up the binomial terms themselves."""
    terms = [comb(total, k) * share**k * (1 - share) ** (total - k) for k in range(total + 1)]
    tail = (1 - level) / 2
    lower = max(k for k in range(total + 1) if sum(terms[:k], Fraction(0)) <= tail)
    upper = min(k for k in range(total + 1) if sum(terms[k + 1 :], Fraction(0)) <= tail)
    return Range(lower, upper)


@given(st.integers(1, 60), st.integers(1, 99), st.sampled_from([(WARNING, "19/20"), (ACTION, "499/500")]))
def test_the_limits_are_those_of_the_binomial_terms_added_up(
    total: int, percent: int, level: tuple[float, str]
) -> None:
    exact = _range_in_fractions(total, Fraction(percent, 100), Fraction(level[1]))
    assert expected_range(total, percent / 100, level=level[0]) == exact


def test_the_handbook_s_wafers_by_the_binomial_itself() -> None:
    """NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2: 50 chips a wafer, mean 0.2313, limits of
    three standard deviations 0.0524 and 0.4101: from 2.6 to 20.5 chips. The normal reaches too far down:
    fewer than four defective chips come by chance as seldom (0.00128) as three deviations say (0.00135)."""
    assert expected_range(50, 0.2313, level=0.9973) == Range(4, 21)


@pytest.mark.parametrize(
    ("total", "share", "expected"),
    [
        (0, 0.2, Range(0, 0)),
        (10, 0.0, Range(0, 0)),
        (10, 1.0, Range(10, 10)),
        (1, 0.5, Range(0, 1)),
        (10, 0.1, Range(0, 3)),  # binomial tables: P(X > 3) = 0.0128, P(X > 2) = 0.0702
        (20, 0.5, Range(6, 14)),  # binomial tables: P(X < 6) = 0.0207, P(X < 7) = 0.0577
    ],
)
def test_limits_worked_out_by_hand(total: int, share: float, expected: Range) -> None:
    assert expected_range(total, share) == expected


@pytest.mark.parametrize(("total", "share", "level"), [(-1, 0.1, 0.95), (5, 1.1, 0.95), (5, 0.1, 1.0)])
def test_a_share_or_level_beyond_its_bounds_is_refused(total: int, share: float, level: float) -> None:
    with pytest.raises(BadValue, match="No control limits"):
        expected_range(total, share, level=level)


def test_each_eye_adds_what_was_seen_less_what_was_expected() -> None:
    steps = running_excess([False, True, False, True], 0.25)
    assert [(step.eyes, step.events) for step in steps] == [(1, 0), (2, 1), (3, 1), (4, 2)]
    assert [step.difference for step in steps] == [-0.25, 0.5, 0.25, 1.0]
    assert [(step.lower, step.upper) for step in steps] == [
        (-0.25, 0.75),
        (-0.5, 1.5),
        (-0.75, 1.25),
        (-1, 2),
    ]


def test_without_eyes_there_is_no_line() -> None:
    assert running_excess([], 0.1) == ()


@given(st.lists(st.booleans(), max_size=40), st.integers(0, 100))
def test_the_line_ends_at_all_events_less_all_expected(events: list[bool], percent: int) -> None:
    steps = running_excess(events, percent / 100)
    assert len(steps) == len(events)
    if steps:
        assert steps[-1].difference == sum(events) - len(events) * (percent / 100)
