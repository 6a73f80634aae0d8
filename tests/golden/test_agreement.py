"""Agreement statistics against a worked example and a general-purpose ANOVA."""

import numpy as np
import pandas as pd
import pytest
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm

from hipwright.engines.outcomes.agreement import agreement, detectable, differences, mean_squares

WORKED = np.array(
    [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]],
    dtype=np.float64,
)
"""Six subjects, four judges: the worked example of Shrout & Fleiss 1979 [table and result from
memory; see authorities/shrout_fleiss_1979.md]."""


def test_icc_of_the_worked_example_of_shrout_and_fleiss() -> None:
    found = agreement(WORKED)
    assert found.icc.value == pytest.approx(0.29, abs=0.005)
    # The interval as general-purpose software prints it for this table, from memory: 0.02 to 0.76.
    assert (found.icc.low, found.icc.high) == pytest.approx((0.02, 0.76), abs=0.005)


@pytest.mark.parametrize("seed", range(3))
def test_mean_squares_are_those_of_statsmodels_anova(seed: int) -> None:
    drawn = np.random.default_rng(seed)
    ratings = drawn.normal(30, 6, (9, 1)) + drawn.normal(0, 1, (1, 3)) + drawn.normal(0, 2, (9, 3))
    rows = [
        {"subject": f"s{i}", "reader": f"r{j}", "value": ratings[i, j]}
        for i in range(9)
        for j in range(3)
    ]
    fitted = ols("value ~ C(subject) + C(reader)", data=pd.DataFrame(rows)).fit()
    table = anova_lm(fitted)
    expected = (table["sum_sq"] / table["df"])[["C(subject)", "C(reader)", "Residual"]]
    assert mean_squares(ratings) == pytest.approx(tuple(expected))
    between, readers, error = expected
    icc = (between - error) / (between + 2 * error + 3 * (readers - error) / 9)
    assert agreement(ratings).icc.value == pytest.approx(icc)


def test_sem_recovers_the_error_that_was_put_in() -> None:
    drawn = np.random.default_rng(4)
    offsets, error = np.array([-1.0, 0.0, 1.0]), 2.0
    ratings = drawn.normal(30, 6, (4000, 1)) + offsets + drawn.normal(0, error, (4000, 3))
    expected = np.sqrt(error**2 + offsets.var(ddof=1))
    found = agreement(ratings)
    assert found.sem == pytest.approx(expected, rel=0.02)  # 4,000 subjects: about 1 %
    assert found.smallest_detectable_change == detectable(found.sem)


def test_icc_interval_covers_in_about_95_of_100_studies() -> None:
    drawn = np.random.default_rng(5)
    subject_sd, reader_sd, error_sd = 5.0, 1.0, 2.0
    truth = subject_sd**2 / (subject_sd**2 + reader_sd**2 + error_sd**2)
    hits = 0
    for _ in range(400):
        ratings = (
            drawn.normal(0, subject_sd, (20, 1))
            + drawn.normal(0, reader_sd, (1, 4))
            + drawn.normal(0, error_sd, (20, 4))
        )
        icc = agreement(ratings).icc
        hits += icc.low <= truth <= icc.high
    assert 0.92 <= hits / 400 <= 0.98


def test_bland_altman_is_bias_and_196_standard_deviations() -> None:
    first = np.array([25.0, 31.0, 18.5, 40.0, 22.0])
    second = np.array([26.5, 30.0, 20.0, 41.5, 24.0])
    found = differences(first, second)
    gaps = second - first
    assert found.bias.value == pytest.approx(gaps.mean())
    assert found.upper.value == pytest.approx(gaps.mean() + 1.959964 * gaps.std(ddof=1))
    assert found.lower.value == pytest.approx(gaps.mean() - 1.959964 * gaps.std(ddof=1))
    interval = stats.ttest_1samp(gaps, 0).confidence_interval(0.95)
    assert (found.bias.low, found.bias.high) == pytest.approx((interval.low, interval.high))
    assert found.pairs == 5


def test_limits_of_agreement_cover_their_truth_in_about_95_of_100_studies() -> None:
    drawn = np.random.default_rng(6)
    truth = 0.5 + 1.959964 * 2.0
    hits = 0
    for _ in range(400):
        gaps = drawn.normal(0.5, 2.0, 30)
        upper = differences(np.zeros(30), gaps).upper
        hits += upper.low <= truth <= upper.high
    assert 0.91 <= hits / 400 <= 0.99  # the formula is an approximation
