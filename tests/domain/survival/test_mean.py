"""A mean and its interval against SciPy and statsmodels, and where there is none."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from followup.domain.errors import BadValue
from followup.domain.survival.mean import mean
from followup.domain.survival.values import NOT_ESTIMABLE

GAINS = [0.3, 0.1, -0.2, 0.5, 0.0, 0.24]


def test_eyes_on_their_own_have_student_s_interval() -> None:
    found = mean(GAINS)
    wanted = stats.ttest_1samp(GAINS, 0).confidence_interval(0.95)
    assert (found.count, found.clusters) == (6, 6)
    assert (found.lower, found.upper) == pytest.approx((wanted.low, wanted.high), abs=1e-12)


def test_two_eyes_of_one_person_are_kept_together_as_in_a_regression_on_a_constant() -> None:
    patients = [1, 1, 2, 2, 3, 4]
    fitted = sm.OLS(GAINS, np.ones(6)).fit(
        cov_type="cluster", cov_kwds={"groups": patients, "use_correction": True, "df_correction": True}
    )
    assert mean(GAINS, cluster=patients).std_error == pytest.approx(float(fitted.bse[0]), abs=1e-12)


def test_nobody_and_one_person_have_no_interval() -> None:
    assert mean([]).value is NOT_ESTIMABLE
    one = mean([0.2, 0.4], cluster=["P1", "P1"])
    assert one.value == pytest.approx(0.3)
    assert (one.lower, one.upper, one.std_error) == (NOT_ESTIMABLE,) * 3


def test_a_mean_is_refused_with_its_fault() -> None:
    with pytest.raises(BadValue, match="2 values but 1 patients"):
        mean([1.0, 2.0], cluster=[1])
    with pytest.raises(BadValue, match="between 0 and 1"):
        mean([1.0], level=1)
