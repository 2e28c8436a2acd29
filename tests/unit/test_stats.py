"""Laws of number against slow independent routes: brute force, simulation, formulas of the standards, other libraries."""

import csv
import math
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from scipy import stats as oracle

from halfthou.base.errors import CannotAnswer
from halfthou.stats import (
    adjust,
    anova,
    arl,
    axis,
    backlash,
    belief,
    budget,
    capability,
    chart,
    constants,
    decide,
    draw,
    few,
    fit_circle,
    fit_line,
    fit_plane,
    fit_solid,
    gauge,
    general,
    limits,
    lsq,
    position,
    register,
    stack,
    thread,
    tolerance,
    warm,
)

DATA = Path(__file__).parents[1] / "published" / "data"


def test_range_constants_against_exact_values_for_two_and_simulation() -> None:
    d2, d3 = constants.range_moments(2)
    assert d2 == pytest.approx(2 / math.sqrt(math.pi), abs=1e-9)
    assert d3 == pytest.approx(math.sqrt(2 - 4 / math.pi), abs=1e-9)
    drawn = np.ptp(np.random.default_rng(1).normal(size=(200_000, 7)), axis=1)
    assert constants.range_moments(7) == pytest.approx((drawn.mean(), drawn.std()), abs=0.006)


def test_run_lengths_against_simulation() -> None:
    rng, left = np.random.default_rng(2), np.zeros(20_000)
    steps, walk = np.zeros(20_000), np.zeros(20_000)
    alive = np.ones(20_000, dtype=bool)
    while alive.any():
        walk[alive] = np.maximum(0.0, walk[alive] + rng.normal(1.0, 1.0, alive.sum()) - 0.5)
        steps[alive] += 1
        alive &= walk <= 4.0
    assert arl.cusum_one_side(1.0, 0.5, 4.0) == pytest.approx(steps.mean(), rel=0.02)
    steps[:], alive = 0, np.ones(20_000, dtype=bool)
    while alive.any():
        left[alive] = 0.9 * left[alive] + 0.1 * rng.normal(1.0, 1.0, alive.sum())
        steps[alive] += 1
        alive &= np.abs(left) <= 2.814 * math.sqrt(0.1 / 1.9)
    assert arl.ewma(1.0, 0.1, 2.814) == pytest.approx(steps.mean(), rel=0.02)
    head = arl.cusum(0.0, 0.5, 4.0, 2.0)  # Lucas & Crosier 1982 print 149 (from memory)
    assert head == pytest.approx(149, abs=1)


def test_charts_on_the_limit_is_no_signal_and_no_spread_is_no_answer() -> None:
    assert chart.count_limits(16.0).outside([28.0, 4.0, 28.1]) == (2,)
    with pytest.raises(CannotAnswer):
        chart.zone_signals([1.0, 2.0], 0.0, 0.0)
    with pytest.raises(CannotAnswer):
        chart.groups_by_range([[1.0, 2.0], [1.0, 2.0, 3.0]])
    with pytest.raises(CannotAnswer):
        chart.individuals([1.0])


def test_tests_of_means_and_variances_against_another_library() -> None:
    rng = np.random.default_rng(3)
    a, b, c = rng.normal(0, 1, 12), rng.normal(0.5, 2, 9), rng.normal(0, 1, 15)
    f = anova.one_way([a, b, c])[0]
    assert (f.f_ratio, f.p_ratio) == pytest.approx(tuple(oracle.f_oneway(a, b, c)), rel=1e-9)
    assert anova.bartlett([a, b, c]) == pytest.approx(tuple(oracle.bartlett(a, b, c)), rel=1e-9)
    assert anova.levene([a, b, c]) == pytest.approx(tuple(oracle.levene(a, b, c)), rel=1e-9)
    welch = anova.two_means(a, b)
    assert (welch.t_ratio, welch.p_ratio) == pytest.approx(tuple(oracle.ttest_ind(a, b, equal_var=False)), rel=1e-9)
    pooled = anova.two_means(a, b, pooled=True)
    assert pooled.p_ratio == pytest.approx(oracle.ttest_ind(a, b).pvalue, rel=1e-9)
    assert anova.mean_against(a, 0.3).p_ratio == pytest.approx(oracle.ttest_1samp(a, 0.3).pvalue, rel=1e-9)
    with pytest.raises(CannotAnswer):
        anova.factorial([1, 2, 3, 4, 5], {"f": ["a", "a", "b", "b", "b"]})


def test_tolerance_factors_hold_what_they_promise() -> None:
    rng, n = np.random.default_rng(4), 6
    x = rng.normal(size=(40_000, n))
    mean, s = x.mean(axis=1), x.std(axis=1, ddof=1)
    k2, k1 = tolerance.two_side_factor(n, 0.9, 0.95), tolerance.one_side_factor(n, 0.9, 0.95)
    held = oracle.norm.cdf(mean + k2 * s) - oracle.norm.cdf(mean - k2 * s)
    assert np.mean(held >= 0.9) == pytest.approx(0.95, abs=0.005)
    assert np.mean(oracle.norm.cdf(mean + k1 * s) >= 0.9) == pytest.approx(0.95, abs=0.005)
    assert tolerance.free_size(0.95, 0.95, two_sided=False) == few.zero_failure_size(0.95, 0.95) == 59


def test_gauge_study_finds_the_components_it_was_made_of() -> None:
    rng = np.random.default_rng(5)
    o, p, r = 40, 60, 3
    y = (
        rng.normal(0, 0.5, (o, 1, 1))
        + rng.normal(0, 2, (1, p, 1))
        + rng.normal(0, 0.3, (o, p, 1))
        + rng.normal(0, 0.2, (o, p, r))
    )
    study = gauge.crossed(y)
    assert not study.pooled
    found = (study.repeatability, study.interaction, study.operator, study.part)
    assert found == pytest.approx((0.2, 0.3, 0.5, 2.0), rel=0.3)
    assert study.gauge == pytest.approx(math.hypot(study.repeatability, study.reproducibility))
    ranges = gauge.average_range(y).study
    assert ranges.repeatability == pytest.approx(0.2, rel=0.05)
    nest = rng.normal(0, 1, (30, 1, 1)) + rng.normal(0, 0.5, (30, 20, 1)) + rng.normal(0, 0.1, (30, 20, 2))
    found_nest = gauge.nested(nest)
    assert (found_nest.repeatability, found_nest.part, found_nest.operator) == pytest.approx((0.1, 0.5, 1.0), rel=0.35)


def test_capability_bounds_cover() -> None:
    rng, n = np.random.default_rng(6), 8
    x = rng.normal(0, 1, (20_000, n))
    seen = (4.5 - x.mean(axis=1)) / (3 * x.std(axis=1, ddof=1))  # true one-sided index 1.5
    needed = capability.one_side_needed(1.5, n, 0.95)
    assert np.mean(seen > needed) == pytest.approx(0.05, abs=0.005)
    assert capability.one_side_lower(needed, n, 0.95) == pytest.approx(1.5, abs=1e-9)
    assert capability.worst_lower(needed, n, 0.95) > 1.5  # the approximation is optimistic for few parts
    assert capability.true_behind_gauge(capability.seen_through_gauge(2.0, 0.3), 0.3) == pytest.approx(2.0)
    low, high = few.bad_share_bounds(20, 0, 0.95)
    assert (low, high) == pytest.approx((0.0, 1 - 0.025 ** (1 / 20)))
    exact = oracle.binomtest(3, 50).proportion_ci(0.9, "exact")
    assert few.bad_share_bounds(50, 3, 0.9) == pytest.approx((exact.low, exact.high))
    score = oracle.binomtest(3, 50).proportion_ci(0.9, "wilson")
    assert few.score_bounds(50, 3, 0.9) == pytest.approx((score.low, score.high))
    n_two = few.failure_size(0.95, 0.9, 2)
    assert oracle.binom.cdf(2, n_two, 0.05) <= 0.1 < oracle.binom.cdf(2, n_two - 1, 0.05)


def test_budget_and_drawing_agree() -> None:
    def model(x: np.ndarray) -> float:
        return float(x[0] * x[1] + x[2] ** 2)

    best, u = [2.0, 3.0, 0.0], [0.05, 0.02, 0.3]
    drawn = draw.propagate(
        lambda c: c[0] * c[1] + c[2] ** 2,
        [draw.normal(b, s) for b, s in zip(best, u, strict=True)],
        trials=400_000,
        seed=7,
    )
    assert budget.second_order(model, best, u) == pytest.approx(drawn.u, rel=0.01)
    assert budget.propagate(model, best, u)[1] == pytest.approx(math.hypot(3 * 0.05, 2 * 0.02), rel=1e-6)
    again = draw.propagate(lambda c: c[0], [draw.normal(0, 1)], trials=1000, seed=3)
    assert again.mean == draw.propagate(lambda c: c[0], [draw.normal(0, 1)], trials=1000, seed=3).mean
    full = budget.combine([budget.Part(name="a", u=1.0), budget.Part(name="b", u=1.0)], [[1, 1], [1, 1]])
    assert full.u == pytest.approx(2.0)
    with pytest.raises(CannotAnswer):
        budget.combine([budget.Part(name="a", u=1.0)], [[2.0]])


@pytest.mark.parametrize(
    ("law", "u"),
    [
        (draw.rectangular(-1, 1), belief.rectangular(1)), (draw.triangular(-1, 1), belief.triangular(1)),
        (draw.u_shaped(-1, 1), belief.u_shaped(1)), (draw.trapezoidal(-1, 1, 0.4), belief.trapezoidal(1, 0.4)),
        (draw.curved_trapezoid(-1, 1, 0.3), belief.curved_trapezoid(-1, 1, 0.3)),
    ],
)  # fmt: skip
def test_drawn_laws_have_the_stated_uncertainty(law: draw.Draw, u: float) -> None:
    assert draw.propagate(lambda c: c[0], [law], trials=200_000, seed=8).u == pytest.approx(u, rel=0.01)


def test_sum_of_rectangular_values_against_drawing() -> None:
    a = [1.0, 0.5, 3.0]
    drawn = draw.propagate(draw.total, [draw.rectangular(-v, v) for v in a], trials=400_000, seed=9)
    assert belief.rectangular_sum_half_width(a, 0.95) == pytest.approx(drawn.symmetric(0.95)[1], abs=0.01)


def test_risks_against_drawing() -> None:
    rng = np.random.default_rng(10)
    x = rng.normal(0.2, 0.6, 1_000_000)
    y = x + rng.normal(0, 0.15, x.size)
    good, passed = np.abs(x) <= 1, (y >= -0.9) & (y <= 0.9)
    found = decide.risks(0.2, 0.6, 0.15, -1.0, 1.0, 0.1)
    assert found.false_accept_ratio == pytest.approx(np.mean(~good & passed), abs=3e-4)
    assert found.false_reject_ratio == pytest.approx(np.mean(good & ~passed), abs=1e-3)
    assert found.accept_ratio == pytest.approx(np.mean(passed), abs=1.5e-3)
    assert decide.decide(10.0, 9.9, 10.1, 0.02) is decide.Decision.CONFORMS
    assert decide.decide(10.09, 9.9, 10.1, 0.02) is decide.Decision.UNDECIDED
    assert decide.decide(10.13, None, 10.1, 0.02) is decide.Decision.FAILS
    assert decide.acceptance_zone(9.9, 10.1, 0.2).empty


def test_minimum_zone_plane_against_all_faces_and_edges_of_the_hull() -> None:
    from scipy.spatial import ConvexHull

    rng = np.random.default_rng(11)
    for _ in range(4):
        p = np.column_stack([rng.uniform(0, 80, 14), rng.uniform(0, 40, 14), rng.normal(0, 0.004, 14)])
        p = p @ np.linalg.qr(rng.normal(size=(3, 3)))[0]
        hull = ConvexHull(p)
        normals = [e[:3] for e in hull.equations]
        edges = {tuple(sorted(pair)) for s in hull.simplices for pair in combinations(s, 2)}
        for (a, b), (c, d) in combinations(edges, 2):
            n = np.cross(p[b] - p[a], p[d] - p[c])
            if np.linalg.norm(n) > 1e-9:
                normals.append(n / np.linalg.norm(n))
        best = min(float(np.ptp(p @ n)) for n in normals)
        assert fit_plane.minimum_zone(p).zone == pytest.approx(best, abs=1e-9)
        assert fit_plane.least_squares(p).zone >= best


def test_minimum_zone_circle_both_ways() -> None:
    rng = np.random.default_rng(12)
    for _ in range(4):
        t, r = rng.uniform(0, 2 * np.pi, 11), 10 + rng.normal(0, 0.01, 11)
        p = np.column_stack([3 + r * np.cos(t), 4 + r * np.sin(t)])
        few_points, many = fit_circle.minimum_zone(p), fit_circle.minimum_zone(p, exhaustive=0)
        assert few_points.zone == pytest.approx(many.zone, abs=1e-9)
        assert few_points.zone <= fit_circle.geometric(p).zone
        outer, inner = fit_circle.circumscribed(p), fit_circle.inscribed(p)
        assert outer.residuals.max() <= 1e-9 and inner.residuals.min() >= -1e-9
        assert outer.radius >= inner.radius


def test_narrowest_strip_against_a_sweep() -> None:
    rng = np.random.default_rng(13)
    for scale in (1.0, 1e-4):
        p = np.column_stack([rng.uniform(0, 50, 9), scale * rng.normal(size=9)])
        angle = np.linspace(0, np.pi, 200_001)
        sweep = min(np.ptp(p @ np.stack([np.cos(a), np.sin(a)]), axis=0).min() for a in np.array_split(angle, 20))
        width, normal = fit_line.narrowest(p)
        assert width <= sweep + 1e-12
        assert float(np.ptp(p @ normal)) == pytest.approx(width, abs=1e-12)


def test_cylinder_and_sphere_come_back() -> None:
    rng = np.random.default_rng(14)
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    t, z = rng.uniform(0, 2 * np.pi, 60), rng.uniform(-20, 5, 60)
    p = np.column_stack([7 * np.cos(t), 7 * np.sin(t), z]) @ turn + [1, 2, 3]
    fit = fit_solid.cylinder(p)
    assert fit.radius == pytest.approx(7, abs=1e-8) and fit.zone < 1e-8
    assert abs(fit.direction @ turn[2]) == pytest.approx(1, abs=1e-12)
    q = rng.normal(size=(30, 3))
    ball = fit_solid.sphere(5 * q / np.linalg.norm(q, axis=1)[:, None] + [1, 2, 3])
    assert ball.centre == pytest.approx([1, 2, 3], abs=1e-9) and ball.radius == pytest.approx(5, abs=1e-9)
    with pytest.raises(CannotAnswer):
        fit_circle.geometric([[0, 0], [1, 1], [2, 2]])


def test_circle_uncertainty_against_drawing() -> None:
    rng = np.random.default_rng(15)
    t = np.linspace(-math.pi / 4, math.pi / 4, 9)
    found = []
    for _ in range(1500):
        r = 10 + rng.normal(0, 1e-3, 9)
        fit = fit_circle.geometric(np.column_stack([r * np.cos(t), r * np.sin(t)]))
        found.append([*fit.centre, fit.radius])
    want = fit_circle.arc_std(math.pi / 2, 9, 1e-3)
    assert np.std(found, axis=0) == pytest.approx(want, rel=0.06)


def test_registration_never_mirrors() -> None:
    rng = np.random.default_rng(16)
    a = rng.normal(size=(6, 3))
    found = register.register(a, a * [1, 1, -1])
    assert np.linalg.det(found.turn) == pytest.approx(1.0)
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    turn *= np.linalg.det(turn)
    back = register.register(a, 2.5 * a @ turn.T + [1, 2, 3], scaled=True)
    assert back.turn == pytest.approx(turn) and back.scale == pytest.approx(2.5) and back.mean_square < 1e-20


def test_every_row_of_the_compared_limits_table() -> None:
    lines = [v for v in (DATA / "iso286_limits_um.csv").read_text(encoding="utf-8").splitlines() if v[0] != "#"]
    rows = list(csv.DictReader(lines))
    assert len(rows) == 350
    for row in rows:
        for size in (float(row["up_to_mm"]), 0.5 * (float(row["over_mm"]) + float(row["up_to_mm"]))):
            z = limits.zone(row["zone"], size)
            assert 1e3 * z.lower_mm == pytest.approx(float(row["lower_um"]), abs=1e-9), row
            assert 1e3 * z.upper_mm == pytest.approx(float(row["upper_um"]), abs=1e-9), row
            assert not z.memory


def test_recalled_limits_stay_near_the_formulas_of_the_standard() -> None:
    """Rows a, b, c, r, s, t, u from memory against the formulas of ISO 286-1 (rounding of the tables: within 16 %)."""
    low = 1
    for i, top in enumerate(limits.FINE_MM):
        d, at = math.sqrt(low * top), next(k for k, end in enumerate(limits.MAIN_MM) if top <= end)
        it7, it8, p = limits.GRADES_UM[7][at], limits.GRADES_UM[8][at], limits.SHAFT_UM["p"][at]
        s = it8 + 1 + 3 * i / 8 if d < 50 else it7 + 0.4 * d
        formulas = {
            "a": -(265 + 1.3 * d) if d <= 120 else -3.5 * d, "b": -(140 + 0.85 * d) if d <= 160 else -1.8 * d,
            "c": -52 * d**0.2 if d <= 40 else -(95 + 0.8 * d), "s": s, "t": it7 + 0.63 * d,
            "r": math.sqrt((p or 0) * (limits.SHAFT_UM["s"][i] or 0)), "u": it7 + d,
        }  # fmt: skip
        for letter, value in formulas.items():
            have = limits.SHAFT_UM[letter][i]
            if have is not None and not (letter == "u" and d < 10):
                assert have == pytest.approx(value, rel=0.16), (letter, top)
        low = top
    for name, size in (("H7", 600.0), ("H99", 10.0), ("q6", 10.0), ("t6", 10.0), ("seven", 10.0)):
        with pytest.raises(CannotAnswer):
            limits.zone(name, size)


def test_general_tolerances_end_where_the_standard_ends() -> None:
    assert general.linear_mm("m", 6.0) == 0.1 and general.linear_mm("m", 6.01) == 0.2
    assert general.angle_rad("m", 10.0) == pytest.approx(math.radians(1))
    assert general.flat_mm("K", 100.0) == 0.2 and general.square_mm("H", 100.0) == 0.2
    for size in (0.4, 4001.0, math.nan):
        with pytest.raises(CannotAnswer):
            general.linear_mm("m", size)


def test_threads_by_another_path() -> None:
    d, p = 10.0, 1.5
    h = p / (2 * math.tan(math.radians(30)))
    assert thread.pitch_diameter(d, p) == pytest.approx(d - 2 * 3 / 8 * h)
    assert thread.pitch_diameter_from_wires(thread.over_wires(9.026, p, 0.9), p, 0.9) == pytest.approx(9.026)
    assert thread.percent_of_thread(d, thread.drill_for_percent(d, p, 75), p) == pytest.approx(75)
    assert thread.stress_area(10.0, 1.5) == pytest.approx(58.0, abs=0.05)  # ISO 898-1 prints 58.0
    wide = thread.countersink_diameter(thread.countersink_depth(12.6, 6.4, 1.4), 6.4, 1.4)
    assert wide == pytest.approx(12.6)


def test_stacks_keep_their_order() -> None:
    t = [0.1, 0.05, 0.02]
    assert stack.rss(t) < stack.mean_shift(t, 0.3) < stack.worst(t)
    assert stack.mean_shift(t, 0.0) == pytest.approx(stack.rss(t)) and stack.mean_shift(t, 1.0) == pytest.approx(
        stack.worst(t)
    )
    assert stack.rss([stack.allocation_scale(t, 0.08) * v for v in t]) == pytest.approx(0.08)
    slope = stack.derivatives(lambda x: stack.clutch_angle_rad(x[0], x[1], x[2]), [27.645, 11.43, 50.8])
    angle = stack.clutch_angle_rad(27.645, 11.43, 50.8)
    assert slope[0] == pytest.approx(-1 / (math.sin(angle) * (50.8 - 11.43)), rel=1e-7)


def test_backlash_exact_and_linear_meet() -> None:
    for da in (1e-2, 1e-3):
        exact, line = backlash.exact(2.0, 20, 40, da), backlash.tangential(da)
        assert exact == pytest.approx(line, rel=da)
    assert backlash.normal(0.05) == pytest.approx(backlash.tangential(0.05) * math.cos(backlash.ALPHA_RAD))


def test_adjustment_against_simulation() -> None:
    noise = np.random.default_rng(17).normal(size=200_000)
    for gain, weight in ((0.3, 0.0), (0.4, 0.2), (0.25, 0.25)):
        ran = adjust.simulate(noise, gain, weight)
        assert ran.var() == pytest.approx(adjust.drifting_ratio(gain, weight), rel=0.02)
    assert adjust.tampering_ratio(0.3) == pytest.approx(adjust.drifting_ratio(0.3, 0.0))
    rng = np.random.default_rng(18)
    setting, true = np.zeros(40_000), rng.normal(0, 2.0, 40_000)
    for n in range(1, 6):
        seen = true + setting + rng.normal(0, 1.0, true.size)
        setting = setting - adjust.setup_gain(2.0, 1.0, n) * seen
    assert np.std(true + setting) == pytest.approx(adjust.setup_left(2.0, 1.0, 5), rel=0.02)
    assert adjust.worth_it(0.01, 0.002, 0.001).apply and not adjust.worth_it(0.003, 0.002, 0.001).apply
    assert np.var(adjust.funnel(noise, 2)) == pytest.approx(2 * np.var(noise), rel=0.02)
    with pytest.raises(CannotAnswer):
        adjust.parts_between(0.01, 0.001, 0.002)


def test_least_squares_says_when_it_cannot_tell() -> None:
    with pytest.raises(CannotAnswer, match="only 1 of 2"):
        lsq.solve([[1, 2], [2, 4], [3, 6]], [1, 2, 3])
    x = np.arange(12.0)
    y = 0.3 * x + 1 + np.random.default_rng(19).normal(0, 0.1, 12)
    line, known = lsq.line(x, y), oracle.linregress(x, y)
    assert (line.slope, line.intercept, line.slope_std, line.intercept_std) == pytest.approx(
        (known.slope, known.intercept, known.stderr, known.intercept_stderr)
    )


def test_small_things() -> None:
    assert position.virtual_condition(6.5, 0.2, hole=True) == pytest.approx(6.3)
    assert position.bonus(9.9, 10.0, hole=True) == 0.0
    assert position.fixed_fastener(6.5, 6.0) == 0.25 == position.floating_fastener(6.5, 6.0) / 2
    assert warm.at_reference_mm(100.0, 23e-6, 0.0, 25.0) == pytest.approx(
        100.0 - warm.growth_mm(100.0, 23e-6, 5.0), abs=2e-6
    )
    rows = np.asarray([[1.0, 1.2, 0.8], [2.0, 2.1, 1.9]])
    same = axis.positioning(rows, rows)
    assert same.b == 0.0 and same.a == pytest.approx(same.a_up)
    with pytest.raises(CannotAnswer):
        axis.positioning([[1.0]], [[1.0]])
