"""Short-run charts: the Q values are standard normal, and see shifts as often as the reference study says."""

import math

import numpy as np
import pytest
from scipy import stats as oracle

from halfthou.base.errors import CannotAnswer
from halfthou.stats import short


@pytest.mark.parametrize(("mean", "sigma", "first"), [(None, None, 2), (5.0, None, 1), (None, 2.0, 1), (5.0, 2.0, 0)])
def test_q_values_are_standard_normal(mean: float | None, sigma: float | None, first: int) -> None:
    rng = np.random.default_rng(21)
    q = np.asarray([short.q_values(rng.normal(5.0, 2.0, 6), mean, sigma) for _ in range(3000)])
    assert np.isnan(q[:, :first]).all() and not np.isnan(q[:, first:]).any()
    for column in q[:, first:].T:
        assert oracle.kstest(column, "norm").pvalue > 1e-4
    assert abs(np.corrcoef(q[:, 4], q[:, 5])[0, 1]) < 0.08


def test_share_of_shifts_seen() -> None:
    """Shift of 1.5 sigma after 5 good parts, seen within 10 (reference study: 3 % single points, 24 % EWMA of Q)."""
    rng = np.random.default_rng(22)
    single = average = clean_single = clean_average = 0
    for _ in range(3000):
        x = rng.normal(size=15)
        x[5:] += 1.5
        q = short.q_values(x)
        beyond = np.flatnonzero(np.abs(np.nan_to_num(q)) > 3.0)
        smooth = np.asarray(short.ewma_signals(q, 0.2, 2.7))
        if not np.any(beyond < 5):
            clean_single += 1
            single += bool(beyond.size)
        if not np.any(smooth < 5):
            clean_average += 1
            average += bool(smooth.size)
    assert single / clean_single == pytest.approx(0.03, abs=0.015)
    assert average / clean_average == pytest.approx(0.24, abs=0.03)


def test_different_parts_on_one_chart() -> None:
    assert short.from_nominal([10.01, 5.02], [10.0, 5.0]) == pytest.approx([0.01, 0.02])
    assert short.standardised([10.01, 5.02], [10.0, 5.0], [0.01, 0.02]) == pytest.approx([1.0, 1.0])
    assert math.isnan(short.q_values([1.0, 1.0, 1.0])[2])  # no spread yet: nothing to say
    with pytest.raises(CannotAnswer):
        short.standardised([1.0, 2.0], [1.0], [0.0])
