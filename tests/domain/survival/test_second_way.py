"""A few thousand small random data sets, computed again in exact fractions, row by row."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

import numpy as np
import pytest

from followup.domain.survival.aalen_johansen import aalen_johansen
from followup.domain.survival.kaplan_meier import kaplan_meier
from followup.domain.survival.log_rank import log_rank
from followup.domain.survival.restricted_mean import restricted_mean
from tests.domain.survival import plain
from tests.domain.survival.tables import number

Row = tuple[int, int, int]


def small_sets(seed: int, count: int, causes: int = 1) -> Iterator[tuple[list[Row], list[int]]]:
    """Rows and patients; few days, so ties, empty rows and risk sets of one are common."""
    random = np.random.default_rng(seed)
    for _ in range(count):
        size = int(random.integers(1, 14))
        exits = random.integers(0, 9, size)
        entries = np.where(random.random(size) < 0.6, 0, np.minimum(random.integers(0, 9, size), exits))
        ends = random.integers(0, causes + 1, size)
        rows = list(zip(entries.tolist(), exits.tolist(), ends.tolist(), strict=True))
        yield rows, random.integers(0, size, size).tolist()


def columns(rows: list[Row]) -> tuple[list[int], list[int], list[int]]:
    return [r[0] for r in rows], [r[1] for r in rows], [r[2] for r in rows]


def test_curves_and_numbers_at_risk() -> None:
    for given, _ in small_sets(1, 2000):
        entry, time, event = columns(given)
        curve = kaplan_meier(time, event, entry=entry)
        rows = plain.usable(given)
        assert (curve.subjects, curve.left_out) == (len(rows), len(given) - len(rows))
        assert curve.time.tolist() == sorted({row[1] for row in rows})
        for day, found in zip(curve.time, curve.survival, strict=True):
            assert found == pytest.approx(float(plain.survival(rows, int(day))), abs=1e-12)
        for day in range(10):
            assert curve.at_risk_at([day])[0] == sum(plain.at_risk(row, day) for row in rows)


def test_standard_errors_are_derivatives_by_patient() -> None:
    for given, patients in small_sets(2, 250):
        entry, time, event = columns(given)
        curve = kaplan_meier(time, event, entry=entry, cluster=patients)
        kept = [(r, p) for r, p in zip(given, patients, strict=True) if r in plain.usable([r])]
        rows, whose = [r for r, _ in kept], [p for _, p in kept]
        assert curve.clusters == len(set(whose))
        for day, height, error in zip(curve.time, curve.survival, curve.std_error, strict=True):
            if height > 0:
                wanted = plain.jackknife_error(plain.survival, rows, whose, int(day))
                assert error == pytest.approx(wanted, abs=1e-9)


def test_incidences_and_their_standard_errors() -> None:
    for given, patients in small_sets(3, 150, causes=2):
        entry, time, cause = columns(given)
        found = aalen_johansen(time, cause, entry=entry, cluster=patients)
        kept = [(r, p) for r, p in zip(given, patients, strict=True) if r in plain.usable([r])]
        rows, whose = [r for r, _ in kept], [p for _, p in kept]
        for place, day in enumerate(found.time):
            value = float(plain.incidence(rows, 1, int(day)))
            assert found.incidence[0, place] == pytest.approx(value, abs=1e-12)
            wanted = plain.jackknife_error(plain.incidence, rows, whose, 1, int(day))
            assert found.std_error[0, place] == pytest.approx(wanted, abs=1e-7)


def test_log_rank_in_strata() -> None:
    random = np.random.default_rng(4)
    for given, strata in small_sets(4, 1000):
        entry, time, event = columns(given)
        group = random.integers(0, 2, len(given)).tolist()
        found = log_rank(time, event, group, stratum=strata, entry=entry)
        kept = [(r, g, s) for r, g, s in zip(given, group, strata, strict=True) if r in plain.usable([r])]
        excess, variance = plain.log_rank(*([k[i] for k in kept] for i in range(3)))
        if variance == 0:
            assert found.nothing is not None
            continue
        assert found.groups == (0, 1)
        assert number(found.chi_squared) == pytest.approx(float(excess**2 / variance), abs=1e-9)


def test_restricted_means_are_sums_of_daily_heights() -> None:
    for given, _ in small_sets(5, 500):
        entry, time, event = columns(given)
        rows = plain.usable(given)
        if rows:
            days = sum(float(plain.survival(rows, day)) for day in range(6))
            assert number(restricted_mean(kaplan_meier(time, event, entry=entry), 6).mean) == pytest.approx(
                days
            )


def test_errors_of_restricted_means_are_derivatives_by_patient() -> None:
    def days_free(rows: list[Row], end: int, weights: list[Fraction] | None = None) -> Fraction:
        return sum((plain.survival(rows, day, weights) for day in range(end)), Fraction(0))

    for given, patients in small_sets(8, 150):
        entry, time, event = columns(given)
        kept = [(r, p) for r, p in zip(given, patients, strict=True) if r in plain.usable([r])]
        rows, whose = [r for r, _ in kept], [p for _, p in kept]
        if rows:
            found = restricted_mean(kaplan_meier(time, event, entry=entry, cluster=patients), 6)
            wanted = plain.jackknife_error(days_free, rows, whose, 6)
            assert number(found.std_error) == pytest.approx(wanted, abs=1e-9)


def test_the_order_of_rows_does_not_matter() -> None:
    random = np.random.default_rng(6)
    for given, patients in small_sets(6, 200):
        order = random.permutation(len(given))
        entry, time, event = (np.array(column) for column in columns(given))
        whose = np.array(patients)
        one = kaplan_meier(time, event, entry=entry, cluster=whose)
        two = kaplan_meier(time[order], event[order], entry=entry[order], cluster=whose[order])
        np.testing.assert_array_equal(one.survival, two.survival)
        np.testing.assert_allclose(one.std_error, two.std_error, atol=1e-12)


def test_fractions_of_days_take_the_sorting_road_to_the_same_place() -> None:
    for given, patients in small_sets(7, 300):
        entry, time, event = (np.array(column) for column in columns(given))
        whole = kaplan_meier(time, event, entry=entry, cluster=patients)
        halved = kaplan_meier(time / 2 + 0.0, event, entry=entry / 2, cluster=patients)
        np.testing.assert_array_equal(whole.survival, halved.survival)
        np.testing.assert_array_equal(whole.at_risk, halved.at_risk)
        np.testing.assert_allclose(whole.std_error, halved.std_error, atol=1e-12)
