"""Laws and numerical traps of stability, time, tool life, holding, heat and reliability."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfthou.physics import drive, feed_time, hold, reliability, stability, stability_time, thermal, wear
from halfthou.physics.stability import Cut

SLOT = (0.0, math.pi)
ONE = stability.mass_mode(0.03993, 922.0, 0.011)
BENCH = Cut(teeth=2, ktc_mpa=600.0, ratio=1 / 3, arc=SLOT, x=(ONE,))
TWO = Cut(
    teeth=2, ktc_mpa=1319.4, ratio=788.8 / 1319.4, arc=(math.pi / 2, math.pi),
    x=(stability.residue_mode(452.77, 0.123718, 1000 * (9.202966e-5 - 1.862195e-4j)),
       stability.residue_mode(1448.53, 0.01651, 1000 * (-4.181562e-5 - 3.043618e-4j))),
    y=(stability.residue_mode(516.17, 0.0243, 1000 * (-2.3929e-6 - 1.721539e-4j)),
       stability.residue_mode(1407.64, 0.0324, 1000 * (4.055052e-5 - 3.618808e-4j))),
)  # fmt: skip


def test_directions_against_quadrature() -> None:
    """The closed brackets against the mean of the directional force over the arc."""
    phi = np.linspace(0.4, 2.3, 200_001)
    kr = 0.35
    fx, fy = -(np.cos(phi) + kr * np.sin(phi)), np.sin(phi) - kr * np.cos(phi)
    want = [np.trapezoid(2 * f * g, phi) for f in (fx, fy) for g in (np.sin(phi), np.cos(phi))]
    assert stability.directions(kr, (0.4, 2.3)) == pytest.approx(tuple(want), rel=1e-8)


def test_residue_mode_is_its_pole_pair() -> None:
    mode, r = stability.residue_mode(500.0, 0.05, 3e-4 - 2e-3j), 3e-4 - 2e-3j
    w = 2 * math.pi * 500.0
    pole = -0.05 * w + 1j * w * math.sqrt(1 - 0.05**2)
    s = 1j * np.array([1000.0, 3100.0, 5000.0])
    want = r / (s - pole) + np.conj(r) / (s - np.conj(pole))
    assert stability.response([mode], s.imag) == pytest.approx(want, rel=1e-12)


@pytest.mark.parametrize("speed", [9500.0, 14000.0])
def test_lobes_against_the_count_of_unstable_roots(speed: float) -> None:
    """Trap: nearest-speed lookup on a coarse grid is 5 % wrong in a lobe. A Nyquist count must change at our limit."""
    limit, _ = stability.limit_depth_mm(TWO, speed)
    assert stability.unstable_roots(TWO, speed, 0.99 * limit) == 0
    assert stability.unstable_roots(TWO, speed, 1.01 * limit) > 0


def test_limit_does_not_depend_on_the_grid() -> None:
    fine, _ = stability.limit_depth_mm(TWO, 14000.0, step_hz=0.1)
    coarse, _ = stability.limit_depth_mm(TWO, 14000.0, step_hz=1.0)
    assert coarse == pytest.approx(fine, rel=1e-6)
    assert stability.least_depth_mm(TWO)[0] < fine


def test_least_depth_is_met_at_a_speed_and_counts_there() -> None:
    """At the speed whose lobe passes the lowest point, the limit is the least depth, and the root count agrees."""
    least, hertz = stability.least_depth_mm(TWO)
    depth, phase = stability.limits(TWO, np.array([2 * math.pi * hertz]))
    branch = int(np.nanargmin(np.abs(depth[0] - least)))
    speed = 60 * 2 * math.pi * hertz / (2 * (float(phase[0, branch]) + 2 * math.pi * 3))
    assert stability.limit_depth_mm(TWO, speed)[0] == pytest.approx(least, rel=1e-5)
    assert stability.unstable_roots(TWO, speed, 0.99 * least) == 0
    assert stability.unstable_roots(TWO, speed, 1.01 * least) > 0


def test_one_direction_has_the_closed_minimum() -> None:
    """One mode in x only: a_min = 8π·k·ζ(1 + ζ)/(2·N·Kt·|αxx|), and one eigenvalue only."""
    k = 0.03993 * (2 * math.pi * 922) ** 2 / 1000
    axx = stability.directions(1 / 3, SLOT)[0]
    want = 4 * math.pi * 2 * k * 0.011 * 1.011 / (2 * 2 * 600 * abs(axx)) * 2
    assert stability.least_depth_mm(BENCH)[0] == pytest.approx(want, rel=1e-6)
    assert np.isnan(stability.limits(BENCH, np.array([5800.0]))[0]).sum() == 1


def test_step_of_semi_discretisation_converges_by_its_square() -> None:
    """Trap: 40 steps are 3 … 8 % low; the extrapolated value moves by less than a thousandth from 120 to 240 steps."""
    radius = [stability_time.stepped_radius(BENCH, 5000.0, 0.7, k) for k in (40, 80, 160)]
    best = stability_time.spectral_radius(BENCH, 5000.0, 0.7, 240)[0]
    assert 0.02 < 1 - radius[0] / best < 0.09
    ratio = (best - radius[1]) / (best - radius[2])
    assert 3.3 < ratio < 4.7
    assert stability_time.spectral_radius(BENCH, 5000.0, 0.7, 120)[0] == pytest.approx(best, rel=1e-3)


def test_force_matrix_mean_is_that_of_its_samples() -> None:
    low = np.array([0.1, 1.4])
    high = low + 0.5
    cut = Cut(teeth=3, ktc_mpa=700.0, ratio=0.3, arc=(0.3, 1.6), x=(ONE,))
    mean = stability_time.mean_force_matrix(cut, low, high)
    for k in range(2):
        samples = low[k] + (np.arange(20000) + 0.5) * 0.5 / 20000
        assert stability_time.force_matrix(cut, samples).mean(axis=0) == pytest.approx(mean[k], abs=0.1)


def test_both_methods_are_shown_and_agree_in_a_slot_with_many_teeth() -> None:
    """A slot with even tooth engagement (4 teeth) has a constant direction matrix: both methods must agree there."""
    cut = Cut(teeth=4, ktc_mpa=600.0, ratio=1 / 3, arc=SLOT, x=(ONE,), y=(ONE,))
    both = stability_time.both_limits(cut, 8000.0, 40)
    assert both.periodic_mm == pytest.approx(both.zero_order_mm, rel=0.02)


def test_single_edge() -> None:
    mode = stability.spring_mode(20_000.0, 300.0, 0.03)
    least, hertz = stability.edge_least_of_modes_mm([(mode, 1.0)], 1500.0)
    assert least == pytest.approx(stability.edge_least_mm(20_000.0, 0.03, 1500.0), rel=1e-9)
    assert hertz == pytest.approx(300 * math.sqrt(1.06), rel=1e-6)
    assert stability.edge_limit_mm(1500.0, 0.001) == math.inf


# ---- time -------------------------------------------------------------------------------------------------


@given(h=st.floats(0.01, 100), v0=st.floats(0, 5), v1=st.floats(0, 5), most=st.floats(6, 50), a=st.floats(20, 500))
@settings(max_examples=40, deadline=None)
def test_closed_trapezoid_is_the_motion_law(h: float, v0: float, v1: float, most: float, a: float) -> None:
    if abs(v1 * v1 - v0 * v0) <= 2 * a * h:
        assert feed_time.trapezoid_s(h, v0, v1, most, a) == pytest.approx(
            drive.move_s(h, v0, v1, most, a, 0.0), rel=1e-9
        )


def test_corner_is_geometry_and_not_ten_times_that() -> None:
    """Trap: an open script prints a corner speed ten times too high (39.5 for 3.96 mm/s)."""
    radius = feed_time.corner_radius_mm(0.013, math.pi / 2)
    # the arc touches both legs, so its middle lies r·√2 from the corner and misses it by r·(√2 − 1)
    assert radius * (math.sqrt(2) - 1) == pytest.approx(0.013)
    assert (
        drive.corner_mm_per_s(500.0, 0.013, 0.0)
        == pytest.approx(math.sqrt(500 * radius))
        == pytest.approx(3.96, abs=0.01)
    )


def test_book_profile_is_slower_than_time_optimal_but_equal_when_the_limit_is_reached() -> None:
    """Trap: the book multiplies a by 0.99 until both ramps reach it: up to 9 % slower; say which rule a planner uses."""
    book = sum(feed_time.book_double_s(10, 7, 0, 10, 10, 30)[:3])
    best = drive.move_s(10, 7, 0, 10, 10, 30)
    assert 1.05 < book / best < 1.10
    assert sum(feed_time.book_double_s(10, 1, 0, 5, 10, 30)[:3]) == pytest.approx(drive.move_s(10, 1, 0, 5, 10, 30))


def test_jerk_alone_rest_to_rest() -> None:
    assert feed_time.jerk_rest_to_rest_s(2.0, 30.0) == pytest.approx(drive.move_s(2.0, 0, 0, 1e9, 1e9, 30.0), rel=1e-9)


def test_approach_lengths() -> None:
    assert feed_time.side_approach_mm(9, 60) < feed_time.side_approach_long_mm(9, 60)
    assert feed_time.side_approach_mm(40, 60) == 30.0
    assert feed_time.face_approach_mm(60, 60) == 30.0
    assert feed_time.chord_error_mm(0.1, 5.0) == pytest.approx(0.1**2 / 40, rel=1e-4)


# ---- life -------------------------------------------------------------------------------------------------


@given(n=st.floats(0.08, 0.7), c=st.floats(50, 800), v=st.floats(20, 600))
@settings(max_examples=40, deadline=None)
def test_taylor_and_back(n: float, c: float, v: float) -> None:
    life = wear.life_min(v, c, n)
    if 1e-6 < life < 1e9:
        assert wear.speed_m_per_min(life, c, n) == pytest.approx(v)
        assert wear.taylor_fit([v, 2 * v], [life, wear.life_min(2 * v, c, n)]) == pytest.approx((n, c), rel=1e-6)


def test_cost_life_is_the_cheapest() -> None:
    """The closed optimum against a scan of the cost itself, each tool with its own exponent."""
    e = wear.Economy(fixed=3, rate_per_min=0.25, handling_min=1, change_min=1, edge_cost=2)
    for n, c in ((0.16, 76.0), (0.25, 40.0)):
        speeds = np.linspace(0.3 * c, 1.2 * c, 20_001)
        cheapest = float(speeds[int(np.argmin([wear.piece_cost(v, 100.0, c, n, e) for v in speeds]))])
        best = wear.speed_m_per_min(wear.cost_life_min(n, 1, 2, 0.25), c, n)
        assert cheapest == pytest.approx(best, rel=1e-3)
        fastest = wear.speed_m_per_min(wear.output_life_min(n, 1), c, n)
        assert fastest > best
        assert wear.piece_time_min(fastest, 100.0, c, n, e) <= wear.piece_time_min(best, 100.0, c, n, e)


def test_parts_are_whole() -> None:
    assert wear.parts_per_edge(10.0, 3.0) == 3
    assert wear.parts_per_edge(0.3, 0.1) == 3  # 0.3/0.1 is below 3 in floating point


# ---- holding ----------------------------------------------------------------------------------------------


@given(
    w=st.floats(100, 1e5), dm=st.floats(4, 60), lead=st.floats(0.5, 12), mu=st.floats(0.05, 0.3),
    thread=st.floats(0, 0.5), lower=st.booleans(),
)  # fmt: skip
@settings(max_examples=40, deadline=None)
def test_screw_forms_agree(w: float, dm: float, lead: float, mu: float, thread: float, lower: bool) -> None:
    args = (w, dm, lead, mu, thread, 0.1, 10.0, lower)
    assert hold.screw_torque_n_mm(*args) == pytest.approx(hold.shigley_torque_n_mm(*args), rel=1e-9, abs=1e-6)


def test_lowering_a_steep_screw_needs_holding_back() -> None:
    """Trap: the load term of lowering turns negative below the friction angle; the collar term never does."""
    assert not hold.locks_itself(20.0, 12.0, 0.1)
    assert hold.screw_torque_n_mm(1000, 20, 12, 0.1, lower=True) < 0
    assert hold.screw_torque_n_mm(1000, 20, 12, 0.1, collar_friction=0.2, collar_mm=15, lower=True) > 0
    assert hold.locks_itself(20.0, 4.0, 0.1)


@given(f=st.floats(10, 1e4), mu=st.floats(0.1, 1.0))
@settings(max_examples=40, deadline=None)
def test_grip_and_slip_meet(f: float, mu: float) -> None:
    assert hold.held_n(hold.jaw_force_n(f, 0, mu, 1.0), mu) == pytest.approx(f)
    assert hold.jaw_force_n(3 * f, 4 * f, mu, 1.0) == pytest.approx(5 * hold.jaw_force_n(f, 0, mu, 1.0))


def test_tipping_can_ask_for_more_than_slipping() -> None:
    assert hold.tipping_force_n(500, 30, 5, 1) > hold.jaw_force_n(500, 0, 0.2, 1)


def test_joint_opens_where_its_pressure_ends() -> None:
    share = hold.joint_share(1.0, 4.0)
    outer = hold.opening_n(1000.0, share)
    assert hold.bolt_load_n(1000.0, outer, share) == pytest.approx(outer)


# ---- heat and reliability ---------------------------------------------------------------------------------


def test_growth_and_warm_up_fit_together() -> None:
    t = thermal.warm_up_s(0.03, 1500.0, 0.003)
    assert 0.03 - thermal.spindle_growth_mm(0.03, 1500.0, t) == pytest.approx(0.003)
    assert thermal.time_constant_s(0.03, thermal.spindle_growth_mm(0.03, 1500.0, 400.0), 400.0) == pytest.approx(1500.0)
    assert thermal.warm_up_s(0.03, 1500.0, 0.05) == 0.0


def test_part_and_scale_of_one_material_cancel() -> None:
    assert thermal.scale_error_mm(500, 11.5e-6, 5, 11.5e-6, 5) == pytest.approx(0.0, abs=1e-15)


@given(b=st.floats(0.6, 6.0), eta=st.floats(1.0, 1000.0))
@settings(max_examples=40, deadline=None)
def test_weibull(b: float, eta: float) -> None:
    t = reliability.change_time(eta, b, 0.9)
    assert reliability.survival(t, eta, b) == pytest.approx(0.9)
    assert reliability.alive_time(100 * eta, eta, b) == pytest.approx(reliability.mean_life(eta, b), rel=1e-3)
    step = 1e-5 * eta
    slope = (reliability.survival(t - step, eta, b) - reliability.survival(t + step, eta, b)) / (2 * step)
    assert reliability.hazard(t, eta, b) == pytest.approx(slope / 0.9, rel=1e-3)


def test_age_optimum_is_the_cheapest_and_random_failures_have_none() -> None:
    best = reliability.age_optimum(1000, 2.5, 1, 5)
    ages = np.linspace(400, 600, 401)
    costs = [reliability.age_cost(t, 1000, 2.5, 1, 5) for t in ages]
    assert float(ages[int(np.argmin(costs))]) == pytest.approx(best, abs=1.0)
    assert reliability.age_optimum(1000, 1.0, 1, 5) == math.inf
    assert reliability.age_optimum(1000, 3.0, 5, 5) == math.inf


@given(rate=st.floats(1e-5, 0.1), check=st.floats(0.01, 2.0), loss=st.floats(0.1, 10.0))
@settings(max_examples=40, deadline=None)
def test_check_interval_is_the_cheapest(rate: float, check: float, loss: float) -> None:
    """The equation against the cost itself; the square-root rule always lies above."""
    best = reliability.check_interval(rate, check, loss)
    at = reliability.check_cost(best, rate, check, loss)
    for factor in (0.9, 1.1):
        assert reliability.check_cost(factor * best, rate, check, loss) >= at * (1 - 1e-9) - 1e-9
    assert reliability.check_interval_short(rate, check, loss) >= best * (1 - 1e-6)


def test_checks_of_a_wearing_tool() -> None:
    times = reliability.check_times(45, 60, 3.5, 0.4, 3)
    assert len(times) == math.floor(reliability.check_count(45, 60, 3.5, 0.4, 3))
    assert all(b - a > c - b for a, b, c in zip(times, times[1:], times[2:], strict=False))  # ever closer
    grid = np.linspace(0, 45, 100_001)[1:]
    counted = float(np.sum([reliability.check_density(t, 60, 3.5, 0.4, 3) for t in grid[::10]])) * 45 / 10_000
    assert counted == pytest.approx(reliability.check_count(45, 60, 3.5, 0.4, 3), rel=1e-3)
