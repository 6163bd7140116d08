"""Cumulative incidence with competing ends against four R packages and cases worked by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from followup.domain.errors import BadValue
from followup.domain.survival.aalen_johansen import Incidence, aalen_johansen
from followup.domain.survival.kaplan_meier import kaplan_meier
from followup.domain.survival.values import NOT_ESTIMABLE
from tests.domain.survival.tables import assert_same, expected, number, numbers, rows_of, stratum

REFERENCE = expected("aalen_johansen_mgus2")
CAUSES = ("progression", "death")


def fit(label: str, limits: Any = "log-log") -> Incidence:
    rows = rows_of("mgus2", **stratum(label))
    return aalen_johansen([int(r["etime"]) for r in rows], [int(r["cause"]) for r in rows], limits=limits)


@pytest.mark.parametrize("wanted", [*REFERENCE["overall"], *REFERENCE["by_sex"]], ids=lambda w: w["stratum"])
def test_progression_and_death_agree_with_r(wanted: dict[str, Any]) -> None:
    for kind in ("log-log", "log", "plain"):
        found = fit(wanted["stratum"], kind)
        assert_same(found.time, wanted["time"], 0)
        assert_same(found.at_risk, wanted["n_risk_event_free"], 0)
        assert_same(found.event_free, wanted["pstate"]["(s0)"], 1e-12)
        for k, cause in enumerate(CAUSES):
            assert_same(found.events[k], wanted["n_event"][cause], 0)
            assert_same(found.incidence[k], wanted["pstate"][cause], 1e-12)
            assert_same(found.std_error[k], wanted["se"][cause], 1e-9)
            for end, band in (("lower", found.lower), ("upper", found.upper)):
                # At incidence 0 the reference leaves log limits out; its later version has [0, 0].
                limit = np.nan_to_num(numbers(wanted["ci"][kind][cause][end]), nan=0.0)
                assert_same(band[k], limit.tolist(), 1e-9)


@pytest.mark.parametrize("package", ["prodlim", "etm", "cmprsk"])
def test_other_packages_give_the_same_incidence(package: str) -> None:
    wanted = REFERENCE[package]
    found = fit("overall")
    for k, cause in enumerate(CAUSES, start=1):
        points = found.points(wanted["times"], k)
        key = "est" if package == "cmprsk" else "cif"
        assert_same([number(p.incidence) for p in points], wanted[f"{key}_{cause}"], 1e-12)
        if package != "cmprsk":  # cmprsk takes a larger variance, 6 % so at the end.
            assert_same([number(p.std_error) for p in points], wanted[f"se_{cause}"], 1e-9)


SMALL = {
    **{case["name"]: (case["input"], case["R"]) for case in expected("edge_cases")["aalen_johansen"]},
    **{
        idea["id"]: (idea["input"], idea["right"])
        for idea in expected("bug_ideas")["ideas"]
        if idea["id"].startswith("aj_")
    },
}


@pytest.mark.parametrize("name", SMALL)
def test_small_sets_agree_with_r(name: str) -> None:
    given, wanted = SMALL[name]
    found = aalen_johansen(given["time"], given["cause"])
    patients = aalen_johansen(given["time"], given["cause"], cluster=range(len(given["time"])))
    np.testing.assert_allclose(found.std_error, patients.std_error, atol=1e-9)
    np.testing.assert_allclose(found.event_free + found.incidence.sum(axis=0), 1, rtol=1e-12)
    for k in (1, 2):
        if "pstate" in wanted:
            assert_same(found.incidence[k - 1], wanted["pstate"][f"c{k}"], 1e-12)
            assert_same(found.std_error[k - 1], wanted["se"][f"c{k}"], 1e-9)
        elif f"cif{k}" in wanted:
            points = found.points(wanted["at"], k)
            assert_same([number(p.incidence) for p in points], wanted[f"cif{k}"], 1e-12)
            errors = [0.0 if p.incidence == 0 else number(p.std_error) for p in points]
            assert_same(errors, wanted[f"se{k}"], 1e-9)


def test_ten_eyes_with_a_death_worked_by_hand() -> None:
    found = aalen_johansen([1, 2, 3, 3, 6, 6, 9, 12, 12, 24], [1, 1, 1, 0, 1, 0, 2, 1, 0, 0])
    assert number(found.at(12, 1).incidence) == pytest.approx(0.56250, abs=1e-12)
    assert number(found.at(12, 2).incidence) == pytest.approx(0.14583, abs=5e-6)
    assert found.event_free[-1] == pytest.approx(0.29167, abs=5e-6)


def test_deaths_taken_as_censorings_overstate_recurrence() -> None:
    times, causes = [1, 2, 3, 4, 5, 6], [1, 2, 1, 2, 1, 0]
    assert number(aalen_johansen(times, causes).at(6, 1).incidence) == pytest.approx(0.5)
    curve = kaplan_meier(times, [int(cause == 1) for cause in causes])
    assert 1 - number(curve.at(6).survival) == pytest.approx(0.6875)


def test_before_the_first_event_of_a_cause_it_has_no_limits() -> None:
    point = aalen_johansen([1, 2, 3], [2, 2, 0]).at(2, 1)
    assert (point.incidence, point.lower, point.upper, point.at_risk) == (0, NOT_ESTIMABLE, NOT_ESTIMABLE, 2)


def test_beyond_the_last_follow_up_nothing_is_known() -> None:
    assert aalen_johansen([1, 2], [1, 0]).at(3, 1).incidence is NOT_ESTIMABLE
    assert aalen_johansen([1, 2], [1, 2]).at(3, 1).incidence == 0.5


def test_nobody_and_unknown_causes() -> None:
    nobody = aalen_johansen([], [])
    assert (nobody.subjects, nobody.incidence.shape) == (0, (2, 0))
    assert nobody.at(1, 1).incidence is NOT_ESTIMABLE
    assert aalen_johansen([], [], entry=[], cluster=[]).clusters == 0
    with pytest.raises(BadValue, match="Cause 3 is not one of"):
        nobody.at(1, 3)


def test_late_entries_and_patients_without_competing_ends_equal_the_curve() -> None:
    random = np.random.default_rng(3)
    entry = random.integers(0, 20, 200)
    time = entry + random.integers(1, 30, 200)
    event, patient = random.integers(0, 2, 200), random.integers(0, 90, 200)
    curve = kaplan_meier(time, event, entry=entry, cluster=patient)
    found = aalen_johansen(time, event, entry=entry, cluster=patient)
    known = curve.survival > 0
    np.testing.assert_allclose(found.incidence[0], 1 - curve.survival, rtol=1e-12)
    np.testing.assert_allclose(found.std_error[0][known], curve.std_error[known], rtol=1e-9)


def test_an_incidence_says_what_it_was_computed_from() -> None:
    """Five eyes, one never at risk, since it came on the day it ended; two ends, two last seen free."""
    times, causes, entries = [5, 7, 9, 9, 6], [1, 2, 0, 0, 1], [0, 0, 0, 0, 6]
    found = aalen_johansen(times, causes, entry=entries, limits="plain", level=0.9)
    assert (found.subjects, found.left_out, found.limits, found.level) == (4, 1, "plain", 0.9)
    assert found.censored.tolist() == [0, 0, 2]
    point = found.at(7, 2)
    assert (point.time, point.cause, point.incidence, point.at_risk) == (7, 2, pytest.approx(0.25), 3)


def test_beyond_the_last_follow_up_an_incidence_is_known_only_where_nobody_is_left_free() -> None:
    assert aalen_johansen([5, 7], [1, 0]).at(8, 1).incidence is NOT_ESTIMABLE
    assert aalen_johansen([5, 7], [1, 2]).at(8, 1).incidence == pytest.approx(0.5)
