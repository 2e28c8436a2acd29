"""Laws and numerical traps of chip thickness, forces, hole tools, deflection and the spindle."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from halfthou.physics import chip, deflect, edge_force, hole_force, specific_force, spindle
from halfthou.physics.edge_force import COEFFICIENTS, EdgeCoefficients

K = COEFFICIENTS[1]  # Al7075-T6, all six given
share = st.floats(0.01, 0.99)


def sliced(
    k: EdgeCoefficients, teeth: int, a: float, c: float, d: float, helix: float, arc: chip.Arc, slices: int
) -> float:
    """Peak in-plane force by adding thin slices: the plain way, an independent check of the closed form."""
    z = (np.arange(slices) + 0.5) * a / slices
    best = 0.0
    for turn in np.linspace(0, 2 * math.pi / teeth, 361):
        fx = fy = 0.0
        for j in range(teeth):
            phi = np.mod(turn + 2 * math.pi * j / teeth - 2 * math.tan(helix) / d * z, 2 * math.pi)
            on = (phi >= arc[0]) & (phi <= arc[1])
            h = c * np.sin(phi)
            ft, fr = (k.ktc_mpa * h + k.kte_n_per_mm) * on, (k.krc_mpa * h + k.kre_n_per_mm) * on
            fx += float(np.sum(-ft * np.cos(phi) - fr * np.sin(phi))) * a / slices
            fy += float(np.sum(ft * np.sin(phi) - fr * np.cos(phi))) * a / slices
        best = max(best, math.hypot(fx, fy))
    return best


def test_helix_in_closed_form_needs_no_slices() -> None:
    """Trap: 45° helix at 5 % radial depth — 400 slices are off, 3000 agree; ours does not depend on any slice."""
    arc = chip.down_arc_rad(0.5, 10.0)
    exact = edge_force.largest(K, 3, 10.0, 0.05, 10.0, math.radians(45), [arc])["fxy"]
    fine = sliced(K, 3, 10.0, 0.05, 10.0, math.radians(45), arc, 6000)
    assert fine == pytest.approx(exact, rel=0.004)
    assert fine <= exact * 1.001


@given(ae=share, c=st.floats(0.01, 0.3), helix=st.floats(0.0, 55.0), up=st.booleans(), teeth=st.integers(1, 6))
@settings(max_examples=40, deadline=None)
def test_mean_force_does_not_depend_on_the_helix(ae: float, c: float, helix: float, up: bool, teeth: int) -> None:
    arc = (chip.up_arc_rad if up else chip.down_arc_rad)(10 * ae, 10.0)
    turns = (np.arange(4000) + 0.5) * 2 * math.pi / 4000
    rows = edge_force.forces_n(K, teeth, 4.0, c, 10.0, math.radians(helix), [arc], turns)
    mean = edge_force.mean_force_n(K, teeth, 4.0, c, [arc])
    room = 0.002 * teeth * 4.0 * (K.ktc_mpa * c + K.kte_n_per_mm)
    assert rows[:, :3].mean(axis=0) == pytest.approx(mean, abs=room)
    torque = edge_force.mean_torque_n_mm(K, teeth, 4.0, c, 10.0, [arc])
    assert rows[:, 3].mean() == pytest.approx(torque, abs=5 * room)


def test_a_small_helix_is_the_limit_of_none() -> None:
    arc = chip.up_arc_rad(4.0, 10.0)
    turns = np.array([0.3, 0.7, 1.1])
    none = edge_force.forces_n(K, 2, 3.0, 0.1, 10.0, 0.0, [arc], turns)
    for helix in (1e-12, 1e-9, 1e-7, 1e-6, 1e-5):
        assert edge_force.forces_n(K, 2, 3.0, 0.1, 10.0, helix, [arc], turns) == pytest.approx(none, rel=1e-4)


def test_slot_means_are_the_short_forms() -> None:
    fx, fy, fz = edge_force.mean_force_n(K, 3, 2.0, 0.1, [(0.0, math.pi)])
    na = 3 * 2.0
    assert fx == pytest.approx(-na / 4 * K.krc_mpa * 0.1 - na / math.pi * K.kre_n_per_mm)
    assert fy == pytest.approx(na / 4 * K.ktc_mpa * 0.1 + na / math.pi * K.kte_n_per_mm)
    assert fz == pytest.approx(na / math.pi * K.kac_mpa * 0.1 + na / 2 * K.kae_n_per_mm)


def test_two_arcs_add_and_a_split_arc_changes_nothing() -> None:
    turns = np.linspace(0, 6, 50)
    whole = edge_force.forces_n(K, 4, 6.0, 0.1, 12.0, 0.5, [(0.2, 2.0)], turns)
    split = edge_force.forces_n(K, 4, 6.0, 0.1, 12.0, 0.5, [(0.2, 1.1), (1.1, 2.0)], turns)
    assert split == pytest.approx(whole, rel=1e-9, abs=1e-9)


def test_flute_longer_than_a_turn_meets_the_arc_again() -> None:
    """A long helical flute wraps: its mean over a turn still is the closed form."""
    arc = (1.0, 1.4)
    turns = (np.arange(3000) + 0.5) * 2 * math.pi / 3000
    rows = edge_force.forces_n(K, 1, 60.0, 0.1, 6.0, math.radians(45), [arc], turns)
    assert rows[:, 1].mean() == pytest.approx(edge_force.mean_force_n(K, 1, 60.0, 0.1, [arc])[1], rel=1e-3)


def test_coefficients_are_found_again_from_mean_forces() -> None:
    feeds = np.array([0.05, 0.1, 0.15, 0.2])
    means = np.array([edge_force.mean_force_n(K, 2, 3.0, c, [(0.0, math.pi)]) for c in feeds])
    found = edge_force.identify(means, feeds, 2, 3.0, (0.0, math.pi))
    assert found.ktc_mpa == pytest.approx(K.ktc_mpa, rel=1e-9)
    assert found.kre_n_per_mm == pytest.approx(K.kre_n_per_mm, rel=1e-9)
    with pytest.raises(np.linalg.LinAlgError):
        edge_force.identify(means[:1], feeds[:1], 2, 3.0, (0.0, math.pi))


def test_one_alloy_spreads_by_two_and_the_band_says_so() -> None:
    """Trap: published sets of one alloy differ by a factor 2, so a force carries at least ±30 %."""
    sets = [k.ktc_mpa for k in COEFFICIENTS if "7075" in k.name]
    assert max(sets) / min(sets) > 2.0
    assert all(k.band >= 0.30 for k in COEFFICIENTS)
    assert specific_force.FORCE_BAND >= 0.30


def test_axial_coefficients_that_no_one_gave_give_no_axial_force() -> None:
    bare = next(k for k in COEFFICIENTS if math.isnan(k.kac_mpa))
    force = edge_force.mean_force_n(bare, 3, 2.0, 0.1, [(0.0, math.pi)])
    assert math.isnan(force[2]) and not math.isnan(force[0])


def test_shortcut_of_the_mean_chip_lies_above_the_integral() -> None:
    """Trap: kc(hm)·Q is about 4 % high for mc 0.25; equal for mc 0."""
    arc = chip.up_arc_rad(2.0, 10.0)
    removal = specific_force.removal_mm3_per_s(5.0, 2.0, 0.08 * 3 * 200)
    for mc, low, high in ((0.25, 1.03, 1.05), (0.0, 1 - 1e-6, 1 + 1e-6)):
        integral = specific_force.milling_mean_power_w(700, mc, 0.08, 5.0, 10.0, arc, 3, 12000)
        short = specific_force.power_w(specific_force.kc_mpa(700, mc, chip.mean_chip_mm(0.08, 2, 10)), removal)
        assert low < short / integral < high


def test_power_of_two_units_and_the_9550_rule() -> None:
    assert specific_force.unit_power_w(1000 * 2.02, 1000.0) == pytest.approx(2020.0)
    for inch, si in ((row[3], row[4]) for row in specific_force.UNIT_POWERS):
        assert inch * specific_force.HP_W / (25.4**3 / 60) == pytest.approx(si, rel=0.004)
    assert pytest.approx(specific_force.torque_n_mm(7500, 100) / 1000, rel=1e-4) == 9550 * 7.5 / 100


@given(rake=st.floats(-0.3, 0.5), friction=st.floats(0.1, 0.8))
@settings(max_examples=40, deadline=None)
def test_shear_forces_close(rake: float, friction: float) -> None:
    s = specific_force.orthogonal(rake, friction, 0.2, 2.0, 400.0)
    assert math.hypot(s.cutting_n, s.thrust_n) == pytest.approx(s.resultant_n)
    assert math.hypot(s.shear_n, s.normal_n) == pytest.approx(s.resultant_n)
    assert math.hypot(s.friction_n, s.rake_normal_n) == pytest.approx(s.resultant_n)


def test_oblique_without_obliquity_is_orthogonal() -> None:
    s = specific_force.orthogonal(0.1, 0.4, 1.0, 1.0, 600.0, 0.5)
    kt, kr, ka = specific_force.oblique_mpa(600.0, 0.5, 0.4, 0.1, 0.0)
    assert (kt, kr, ka) == pytest.approx((s.cutting_n, s.thrust_n, 0.0), rel=1e-12, abs=1e-9)


def test_titanium_from_orthogonal_data_is_near_the_measured_set() -> None:
    """The book's oblique set (Ktc 1825 at helix 30°) lies within a fifth of the transformation at h 0.05."""
    kt, kr, _ = specific_force.titanium_oblique_mpa(0.05, math.radians(12), math.radians(30))
    assert kt == pytest.approx(1825, rel=0.2) and 0 < kr < kt


@given(x=st.floats(0.001, 1.0))
@settings(max_examples=40, deadline=None)
def test_thickest_chip(x: float) -> None:
    """Trap: 2·√(x − x²) falls again beyond half immersion, the true largest chip does not."""
    arc = chip.up_arc_rad(x, 1.0)
    true = max(math.sin(phi) for phi in np.linspace(*arc, 2001))
    assert chip.thickest(x) == pytest.approx(true, abs=1e-5)
    assert chip.feed_for_chip_mm(0.05, x) * chip.thickest(x) == pytest.approx(0.05)


@given(x=st.floats(0.001, 0.3))
@settings(max_examples=40, deadline=None)
def test_handbook_mean_chip_is_a_little_high(x: float) -> None:
    exact, handbook = chip.mean_chip_mm(1.0, x, 1.0), chip.mean_chip_handbook_mm(1.0, x, 1.0)
    assert 1.0 < handbook / exact < 1.06
    assert chip.mean_chip_arc_mm(1.0, chip.up_arc_rad(x, 1.0)) == pytest.approx(exact)
    assert chip.mean_chip_arc_mm(1.0, chip.down_arc_rad(x, 1.0)) == pytest.approx(exact, rel=1e-6)


@given(r=st.floats(0.1, 20.0), part=st.floats(1e-6, 1.99))
@settings(max_examples=40, deadline=None)
def test_cusp_and_step_undo_each_other(r: float, part: float) -> None:
    """Trap: R − √(R² − s²/4) loses all digits for small steps; ours keeps them."""
    height = chip.cusp_mm(r, part * r)
    assert chip.cusp_step_mm(r, height) == pytest.approx(part * r, rel=1e-9)
    if part < 1e-2:
        assert height == pytest.approx((part * r) ** 2 / (8 * r), rel=1e-4)


def test_cusp_without_overlap_is_no_number_and_a_flat_has_none() -> None:
    assert math.isnan(chip.cusp_mm(1.0, 2.1))
    assert chip.bull_cusp_mm(12.0, 2.0, 8.0) == 0.0
    assert chip.bull_cusp_mm(12.0, 2.0, 8.5) == chip.cusp_mm(2.0, 0.5)


def test_mean_roughness_of_a_parabola() -> None:
    """Trap: books print f²/(32r); about the mean line it is 0.0321 f²/r."""
    x = np.linspace(-0.5, 0.5, 200_001)
    y = x * x / 2
    assert float(np.mean(np.abs(y - y.mean()))) == pytest.approx(chip.turned_mean_mm(1.0, 1.0), rel=1e-4)
    assert chip.turned_mean_handbook_mm(1.0, 1.0) / chip.turned_mean_mm(1.0, 1.0) == pytest.approx(0.974, abs=0.001)


def test_peak_forms_agree_for_small_feeds() -> None:
    assert chip.turned_peak_mm(0.1, 0.8) == pytest.approx(chip.cusp_mm(0.8, 0.1), rel=2e-3)
    assert chip.cusp_mm(0.7, 0.125) > chip.turned_peak_mm(0.125, 0.7)


def test_ball_diameter_at_full_depth_and_tilt() -> None:
    assert chip.ball_diameter_mm(10.0, 5.0) == chip.ball_diameter_mm(10.0, 7.0) == 10.0
    assert chip.tilted_ball_diameter_mm(10.0, 0.5, 0.0) == pytest.approx(chip.ball_diameter_mm(10.0, 0.5))


def test_tap_forms_agree_within_an_eighth() -> None:
    short = hole_force.tap_torque_n_mm(2600, 1.5, 10)
    long = hole_force.tap_triangle_n_mm(3900, 1.15, 10, 8.5)
    assert short == pytest.approx(long, rel=0.12)


def test_drill_forms() -> None:
    """The kc form is the limit of a core drill, the unit-power form in inches is the same; tables give NaN outside."""
    assert hole_force.core_drill_torque_n_mm(2000, 0.2, 10, 0) == hole_force.drill_torque_n_mm(2000, 0.2, 10)
    inch = 0.01 * 0.25 * 1.0 * 49500  # in·lbf
    up = specific_force.HP_W * 1000 / (25.4**3 / 60)  # 1 hp/(in³/min) in MPa
    assert hole_force.unit_drill_torque_n_mm(up, 0.254, 12.7) / (4.4482216152605 * 25.4) == pytest.approx(inch)
    assert math.isnan(hole_force.feed_factor(0.05)) and math.isnan(hole_force.diameter_factors(25.0)[0])
    assert hole_force.feed_factor(0.2) == pytest.approx(0.276)


def test_stepped_tool() -> None:
    """One step is the rod, two are the closed form, a force away from the tip is the textbook formula, and a = s swaps."""
    e = 600e3
    rod = [deflect.Step(length_mm=30, diameter_mm=8, e_mpa=e)]
    assert deflect.stepped_mm(rod, 150, 22, 30) == pytest.approx(deflect.rod_tip_mm(150, 22, 30, 8, e))
    two = [deflect.Step(length_mm=20, diameter_mm=12, e_mpa=e), deflect.Step(length_mm=30, diameter_mm=9.6, e_mpa=e)]
    assert deflect.stepped_mm(two, 200, 50, 50) == pytest.approx(deflect.two_step_tip_mm(200, 20, 12, 30, 9.6, e))
    assert deflect.stepped_mm(two, 200, 35, 50) == pytest.approx(deflect.stepped_mm(two, 200, 50, 35))
    assert pytest.approx(0.41, abs=0.001) == deflect.FLUTE_SHARE**4


def test_wall_error_of_straight_flutes_is_the_force_where_the_wall_is_made() -> None:
    arc = chip.down_arc_rad(2.0, 10.0)
    heights = np.array([0.5, 2.0])
    error = deflect.wall_error_mm(K, 1, 4.0, 0.1, 10.0, 0.0, arc, 10_000.0, heights, up=False)
    # at φ = π only the edge forces act (h = 0): Fy = a·Kre
    assert error.y_mm == pytest.approx(4.0 * K.kre_n_per_mm / 10_000, rel=1e-6)
    assert (error.into_wall_mm == -error.y_mm).all()


def test_wall_error_with_helix_differs_along_the_height() -> None:
    """Trap: different heights see different phases of the force; one number for the wall hides it."""
    arc = chip.down_arc_rad(2.0, 10.0)
    heights = np.linspace(0.0, 8.0, 41)
    y = deflect.wall_error_mm(K, 2, 8.0, 0.1, 10.0, math.radians(30), arc, 10_000.0, heights, up=False).y_mm
    assert np.ptp(y) > 0.3 * np.abs(y).max()


def test_torque_is_flat_below_base_speed_and_power_above() -> None:
    """Trap: below base speed power is not constant."""
    at = spindle.available_torque_n_mm
    assert at(5600, 1500, 500) == at(5600, 1500, 1500) == pytest.approx(2 * at(5600, 1500, 3000))
    assert spindle.available_power_w(5600, 1500, 750) == pytest.approx(2800)
    curve = ((500.0, 35.65, 1867.0), (1500.0, 35.65, 5600.0), (6000.0, 8.91, 5600.0))
    torque, power = spindle.curve_at(curve, 3000.0)
    assert torque == pytest.approx(at(5600, 1500, 3000), rel=1e-3) and power == pytest.approx(5600, rel=1e-3)
    assert math.isnan(spindle.curve_at(curve, 7000.0)[0])


def test_series_is_softer_than_its_softest() -> None:
    assert spindle.series_stiffness([20.0, 30.0]) == pytest.approx(12.0)
    assert spindle.nose_stiffness_n_per_mm(2e5, 2e5, 200.0, 100.0) < 2e5
    assert spindle.effective_torque_n_mm([5.0], [3.0]) == pytest.approx(5.0)
