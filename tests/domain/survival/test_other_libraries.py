"""Live comparison with lifelines, SciPy and statsmodels; where they differ the cause is stated and pinned."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from lifelines import AalenJohansenFitter, KaplanMeierFitter
from lifelines.statistics import multivariate_logrank_test
from lifelines.utils import restricted_mean_survival_time
from scipy import stats
from statsmodels.duration.survfunc import CumIncidenceRight, SurvfuncRight, survdiff
from statsmodels.stats.proportion import proportion_confint

from followup.domain.survival.aalen_johansen import aalen_johansen
from followup.domain.survival.binomial import clopper_pearson, wilson
from followup.domain.survival.kaplan_meier import kaplan_meier
from followup.domain.survival.log_rank import log_rank
from followup.domain.survival.restricted_mean import restricted_mean
from followup.domain.survival.values import NOT_ESTIMABLE
from tests.domain.survival.tables import number, rows_of, times_and_events

DATA = ["aml", "gehan_6mp", "lung", "veteran", "mgus2", "retinopathy", "larynx", "kidney_catheter_km"]


def columns(name: str) -> tuple[np.ndarray, np.ndarray]:
    times, events = times_and_events(name, rows_of(name))
    return np.array(times), np.array(events)


@pytest.mark.parametrize("name", DATA)
def test_curves_of_three_libraries(name: str) -> None:
    time, event = columns(name)
    curve = kaplan_meier(time, event)
    theirs = KaplanMeierFitter().fit(time, event)
    np.testing.assert_allclose(theirs.survival_function_at_times(curve.time), curve.survival, rtol=1e-12)
    band = theirs.confidence_interval_.loc[curve.time].to_numpy()
    # At S = 0 lifelines draws [0, 0]; nothing can be said there.
    known = curve.survival > 0
    np.testing.assert_allclose(band[known], np.stack([curve.lower, curve.upper], axis=1)[known], atol=1e-9)
    scipys = stats.ecdf(stats.CensoredData.right_censored(time, event == 0)).sf
    steps = np.searchsorted(curve.time, scipys.quantiles)
    np.testing.assert_allclose(scipys.probabilities, curve.survival[steps], rtol=1e-12)
    models = SurvfuncRight(time, event)
    at_events = np.searchsorted(curve.time, models.surv_times)
    np.testing.assert_allclose(models.surv_prob, curve.survival[at_events], rtol=1e-12)
    above = models.surv_prob > 0
    np.testing.assert_allclose(models.surv_prob_se[above], curve.std_error[at_events][above], atol=1e-9)


def test_a_median_at_exactly_one_half_is_a_choice() -> None:
    """Events at 1, 2, 3, 4: R takes the middle of the flat part, others its start or its end."""
    assert kaplan_meier([1, 2, 3, 4], [1, 1, 1, 1]).median.time == 2.5
    assert KaplanMeierFitter().fit([1, 2, 3, 4]).median_survival_time_ == 2
    assert SurvfuncRight([1, 2, 3, 4], [1, 1, 1, 1]).quantile(0.5) == 3


def test_late_entries() -> None:
    rows = rows_of("channing", gender="female")
    entry, exit_, event = ([float(row[key]) for row in rows] for key in ("ageentry", "age", "death"))
    kept = [place for place in range(len(rows)) if entry[place] < exit_[place]]
    entry, exit_, event = ([column[place] for place in kept] for column in (entry, exit_, event))
    curve = kaplan_meier(exit_, event, entry=entry)
    theirs = KaplanMeierFitter().fit(exit_, event, entry=entry)
    np.testing.assert_allclose(theirs.survival_function_at_times(curve.time), curve.survival, rtol=1e-12)
    # lifelines lists an eye that enters at t as at risk at t; it is at risk only after t.
    listed = theirs.event_table.loc[curve.time, "at_risk"].to_numpy()
    entering = np.array([entry.count(t) for t in curve.time])
    np.testing.assert_array_equal(listed - entering, curve.at_risk)


@pytest.mark.parametrize(
    ("name", "column"), [("gehan_6mp", "group"), ("lung", "sex"), ("veteran", "celltype")]
)
def test_log_rank_of_three_libraries(name: str, column: str) -> None:
    rows = rows_of(name)
    time, event = columns(name)
    group = np.array([row[column] for row in rows])
    found = log_rank(time, event, group)
    theirs = multivariate_logrank_test(time, group, event)
    assert number(found.chi_squared) == pytest.approx(theirs.test_statistic, rel=1e-9)
    chi_squared, p_value = survdiff(time, event, group)
    assert (number(found.chi_squared), number(found.p_value)) == pytest.approx(
        (chi_squared, p_value), rel=1e-9
    )
    if len(found.groups) == 2:
        parts = [
            stats.CensoredData.right_censored(time[group == g], event[group == g] == 0) for g in found.groups
        ]
        assert number(found.chi_squared) == pytest.approx(stats.logrank(*parts).statistic ** 2, rel=1e-9)


def test_a_product_of_counts_overflows_in_scipy() -> None:
    """SciPy multiplies n1 n2 d (n - d) in 64-bit integers: 329 where exact arithmetic gives 17.8."""
    time = np.repeat([1, 2, 3, 1, 2, 3], [30000, 15000, 15000, 29400, 15000, 15600])
    event = np.repeat([1, 1, 0, 1, 1, 0], [30000, 15000, 15000, 29400, 15000, 15600])
    parts = [
        stats.CensoredData.right_censored(time[s], event[s] == 0) for s in (slice(60000), slice(60000, None))
    ]
    assert stats.logrank(*parts).statistic ** 2 > 300
    assert number(log_rank(time, event, np.repeat([1, 2], 60000)).chi_squared) == pytest.approx(
        17.8241, abs=5e-5
    )


def test_nothing_to_test_has_no_statistic() -> None:
    """lifelines answers 0 with p = 1 where no event was seen; that is no evidence of equality."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = multivariate_logrank_test([1, 2, 3, 4], [1, 1, 2, 2], [0, 0, 0, 0])
    assert theirs.test_statistic == 0
    assert log_rank([1, 2, 3, 4], [0, 0, 0, 0], [1, 1, 2, 2]).chi_squared is NOT_ESTIMABLE


def test_cumulative_incidence_of_statsmodels() -> None:
    rows = rows_of("mgus2")
    time, cause = (np.array([int(row[key]) for row in rows]) for key in ("etime", "cause"))
    found = aalen_johansen(time, cause)
    theirs = CumIncidenceRight(time, cause)
    places = np.searchsorted(found.time, theirs.times)
    for k in (0, 1):
        np.testing.assert_allclose(theirs.cinc[k], found.incidence[k, places], rtol=1e-9)
        # statsmodels gives nan once nobody is left.
        known = np.isfinite(theirs.cinc_se[k])
        assert known.mean() > 0.9
        np.testing.assert_allclose(theirs.cinc_se[k][known], found.std_error[k, places][known], atol=1e-9)


def test_ties_are_moved_apart_at_random_in_lifelines() -> None:
    """lifelines jitters tied times: near, never equal; all causes on a day share one number at risk here."""
    rows = rows_of("mgus2")
    time, cause = (np.array([int(row[key]) for row in rows]) for key in ("etime", "cause"))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = AalenJohansenFitter(seed=1, calculate_variance=False).fit(time, cause, event_of_interest=1)
    last = float(theirs.cumulative_density_.iloc[-1, 0])
    assert last == pytest.approx(aalen_johansen(time, cause).incidence[0, -1], abs=5e-3)


def test_the_variance_lifelines_gives_beside_a_mean_is_of_single_times() -> None:
    rows = rows_of("gehan_6mp", group="6-MP")
    time, event = times_and_events("gehan_6mp", rows)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its numerical integration of a step function complains
        mean, variance = restricted_mean_survival_time(
            KaplanMeierFitter().fit(time, event), t=23, return_variance=True
        )
    found = restricted_mean(kaplan_meier(time, event), 23)
    assert number(found.mean) == pytest.approx(mean, rel=1e-9)
    assert (round(variance**0.5, 2), round(number(found.std_error), 3)) == (6.84, 1.553)


@pytest.mark.parametrize(("events", "total"), [(0, 10), (1, 29), (15, 148), (81, 263), (30, 30)])
def test_shares(events: int, total: int) -> None:
    exact, score = clopper_pearson(events, total), wilson(events, total)
    theirs = stats.binomtest(events, total)
    for ours, method, name in ((exact, "exact", "beta"), (score, "wilson", "wilson")):
        limits = (number(ours.lower), number(ours.upper))
        assert limits == pytest.approx(tuple(theirs.proportion_ci(method=method)), abs=1e-12)
        assert limits == pytest.approx(proportion_confint(events, total, method=name), abs=1e-12)
