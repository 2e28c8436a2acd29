"""The rest of the laws of number, against another library, simulation or printed values."""

import math
import warnings

import numpy as np
import pytest
from scipy import stats as oracle

from halfthou.base.errors import CannotAnswer
from halfthou.stats import anova, capability, chart, draw, few, fit_circle, fit_plane, gauge, limits


def test_intervals_against_another_library() -> None:
    assert few.mean_bounds(10.0, 2.0, 9, 0.95) == pytest.approx(oracle.t.interval(0.95, 8, 10.0, 2.0 / 3.0))
    rng = np.random.default_rng(31)
    s = rng.normal(0, 1, (20_000, 6)).std(axis=1, ddof=1)
    low, high = few.sd_bounds(1.0, 6, 0.9)
    assert np.mean((s * low <= 1.0) & (s * high >= 1.0)) == pytest.approx(0.9, abs=0.01)
    assert few.count_bounds(0, 0.95) == pytest.approx((0.0, 3.6889), abs=1e-4)  # printed in tables of the Poisson law
    assert few.count_bounds(10, 0.95) == pytest.approx((4.7954, 18.3904), abs=1e-3)  # the same
    x = rng.normal(0, 1, (20_000, 8))
    held = [
        few.prediction_limits(m, d, 7, 0.9)
        for m, d in zip(x[:, :7].mean(axis=1), x[:, :7].std(axis=1, ddof=1), strict=True)
    ]
    inside = np.mean([a <= v <= b for (a, b), v in zip(held, x[:, 7], strict=True)])
    assert inside == pytest.approx(0.9, abs=0.01)


def test_sampling_plans_and_sizes() -> None:
    assert few.accept_chance(52, 3, 0.03) == pytest.approx(0.930, abs=1e-3)  # e-Handbook 6.2.3.2: n = 52, c = 3
    assert few.accept_chance(10, 1, 0.1, lot=40) == pytest.approx(oracle.hypergeom.cdf(1, 40, 4, 10))
    n = few.size_for_spread(0.8, 0.95)
    assert capability.spread_lower(1.0, n, 0.95) >= 0.8 > capability.spread_lower(1.0, n - 1, 0.95)
    assert few.size_for_mean(1.0, 0.5, 0.95) == 16
    for wrong in ((0, 0), (5, 6), (5, -1)):
        with pytest.raises(CannotAnswer):
            few.proved_share(*wrong, 0.95)


def test_normal_check_against_another_library() -> None:
    x = np.random.default_rng(32).normal(size=40)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", FutureWarning)
        known = oracle.anderson(x, "norm").statistic
    a2, p = anova.normal_check(x)
    assert a2 == pytest.approx(known) and 0.0 < p < 1.0
    assert anova.normal_check(np.exp(3 * x))[1] < 1e-3


def test_gauge_line_and_standard() -> None:
    ref = np.repeat([2.0, 4.0, 6.0, 8.0], 5)
    got = ref + 0.1 - 0.02 * ref + np.random.default_rng(33).normal(0, 0.01, 20)
    line, known = gauge.linearity(ref, got), oracle.linregress(ref, got - ref)
    assert (line.slope, line.intercept, line.slope_p_ratio) == pytest.approx(
        (known.slope, known.intercept, known.pvalue), rel=1e-6
    )
    mean, s, low, high = gauge.check_standard([1.0, 2.0, 3.0])
    assert (mean, s, low, high) == (2.0, 1.0, -1.0, 5.0)
    with pytest.raises(CannotAnswer):
        gauge.crossed([[[1.0], [2.0]], [[1.0], [2.0]]])


def test_target_index_interval_covers() -> None:
    x = np.random.default_rng(34).normal(0.5, 1.0, (4000, 30))
    true = capability.about_target(0.5, 1.0, -3.0, 3.0, 0.0).spread
    held = 0
    for row in x:
        seen = capability.about_target(float(row.mean()), float(row.std()), -3.0, 3.0, 0.0).spread
        low, high = capability.target_bounds(seen, 30, 0.9, float(row.mean() / row.std(ddof=1)))
        held += low <= true <= high
    assert held / 4000 == pytest.approx(0.9, abs=0.02)


def test_one_open_limit_and_both_open() -> None:
    one = capability.index(0.01, 0.005, None, 0.05)
    assert math.isnan(one.spread) and one.worst == pytest.approx(0.04 / 0.015)
    with pytest.raises(CannotAnswer):
        capability.index(0.0, 1.0, None, None)
    with pytest.raises(CannotAnswer):
        capability.index(0.0, 0.0, -1.0, 1.0)
    assert few.next_in_limits(0.0, 1.0, 5, None, None) == 1.0
    assert chart.width_for(chart.false_alarm_share(3.0)) == pytest.approx(3.0)
    assert chart.width_for(0.002) == pytest.approx(3.09, abs=1e-3)


def test_shapes_and_shares() -> None:
    tilted = [[0.0, 0.0, z] for z in (0.0, 10.0)] + [[0.01, 0.0, 20.0]]
    assert fit_plane.square_axis_zone(tilted, [0, 0, 1]) == pytest.approx(0.01)
    assert fit_plane.parallel_zone([[0, 0, 1.0], [5, 5, 1.2]], [0, 0, 2]) == pytest.approx(0.2)
    assert fit_circle.centre_by_touches(12.0, -11.8, 5.0, -5.2, 2.0) == pytest.approx((0.1, -0.1, 25.8, 12.2))
    values = draw.propagate(lambda c: c[0], [draw.normal(0, 1)], trials=100_000, seed=1).values
    assert draw.share_outside(values, -1.96, 1.96) == pytest.approx(0.05, abs=0.003)
    low, high = draw.Drawn(mean=0, u=1, values=values, seed=1, trials=values.size).shortest(0.95)
    assert high - low == pytest.approx(3.92, abs=0.05)
    kinds = [limits.fit(limits.zone("H7", 25), limits.zone(z, 25)).kind for z in ("g6", "k6", "p6")]
    assert kinds == ["clearance", "transition", "interference"]
    assert limits.zone("s6", 25).memory and not limits.zone("p6", 25).memory


def test_inscribed_and_circumscribed_against_every_pair_and_triple() -> None:
    rng = np.random.default_rng(35)
    for n in (3, 5, 9, 25):
        t = (np.arange(n) + rng.uniform(-0.2, 0.2, n)) * 2 * np.pi / n
        r = 10 + rng.normal(0, 0.05, n)
        p = np.column_stack([r * np.cos(t), r * np.sin(t)])
        low = np.linspace(-0.5, 0.5, 41)
        grid = np.stack(np.meshgrid(low, low), axis=-1).reshape(-1, 2) + fit_circle.geometric(p).centre
        far = np.linalg.norm(p[:, None] - grid[None], axis=2)
        outer, inner = fit_circle.circumscribed(p), fit_circle.inscribed(p)
        assert outer.radius <= far.max(axis=0).min() + 1e-9 and outer.residuals.max() <= 1e-9
        assert inner.radius >= far.min(axis=0).max() - 1e-9 and inner.residuals.min() >= -1e-9
    assert fit_circle.circumscribed([[0, 0], [0, 0], [2, 0]]).radius == 1.0
    with pytest.raises(CannotAnswer, match="go round"):
        fit_circle.inscribed([[math.cos(a), math.sin(a)] for a in (0.0, 0.3, 0.6, 0.9)])
