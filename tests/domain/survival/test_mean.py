"""A mean and its interval against SciPy and statsmodels, and where there is none."""

from __future__ import annotations

import numpy as np
import pytest
import statsmodels.api as sm
from scipy import stats

from followup.domain.errors import BadValue
from followup.domain.survival.mean import Mean, mean
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
    assert mean([], level=0.9) == Mean(0, 0, *(NOT_ESTIMABLE,) * 4, 0.9)
    one = mean([0.25, 0.75], cluster=["P1", "P1"], level=0.9)
    assert one == Mean(2, 1, 0.5, *(NOT_ESTIMABLE,) * 3, 0.9)


def test_two_people_worked_by_hand() -> None:
    """Values 1 and 3: mean 2, standard error 1; t with one degree at 90 % is tan(0.45 pi) = 6.3138."""
    found = mean([1, 3], level=0.9)
    assert (found.count, found.clusters, found.value, found.std_error) == (2, 2, 2, 1)
    assert (found.lower, found.upper) == (pytest.approx(2 - 6.313752), pytest.approx(2 + 6.313752))
    assert found.level == 0.9


def test_a_mean_is_refused_with_its_fault() -> None:
    with pytest.raises(BadValue, match="2 values but 1 patients") as fault:
        mean([1.0, 2.0], cluster=[1])
    assert fault.value.field == "cluster"
    for level in (0, 1):
        with pytest.raises(BadValue, match="between 0 and 1") as fault:
            mean([1.0], level=level)
        assert fault.value.field == "level"
