"""Laws of the strip forces: against the closed forms of the linear-edge model, power balance, mirrored cuts."""

import itertools
import math

import numpy as np
import pytest

from halfthou.physics.chip import down_arc_rad, up_arc_rad
from halfthou.physics.deflect import wall_error_mm
from halfthou.physics.edge_force import EdgeCoefficients, forces_n, mean_torque_n_mm
from halfthou.physics.strip_force import ball_lead, strip_forces


def one(low, high, a=3.0, fz=0.1, reach=5.0, helix=0.0, teeth=2, kc=800.0, mc=0.0, ratio=0.3, wall=0, strips=400):
    """A flat tool whose front meets depth a between the front positions low and high (−1 … 1)."""
    edge = -1 + 2 * (np.arange(strips) + 0.5) / strips
    depth = np.where((edge >= low) & (edge <= high), a, 0.0)[None, :]
    out = np.zeros((1, 4))
    lag = np.array([2 * a * math.tan(helix) / (2 * reach)])
    strip_forces(
        depth, np.array([fz]), np.array([1.0]), np.array([reach]), lag, np.array([wall]), kc, mc, ratio, teeth, out
    )
    return out[0]


@pytest.mark.parametrize("helix", [0.0, 30.0, 45.0])
@pytest.mark.parametrize("ae", [1.0, 4.0, 10.0])
@pytest.mark.parametrize("teeth", [2, 4])
def test_linear_edge_model_with_the_same_numbers(helix, ae, teeth):
    """mc = 0 and no edge force is the linear-edge model: mean torque, peak torque, peak force agree (down milling)."""
    k = EdgeCoefficients(ktc_mpa=800.0, krc_mpa=240.0)
    arc = down_arc_rad(ae, 10.0)
    found = one(-1.0, ae / 5.0 - 1.0, helix=math.radians(helix), teeth=teeth)
    turn = np.linspace(0, 2 * math.pi, 720, endpoint=False)
    rows = forces_n(k, teeth, 3.0, 0.1, 10.0, math.radians(helix), [arc], turn)
    assert found[0] == pytest.approx(mean_torque_n_mm(k, teeth, 3.0, 0.1, 10.0, [arc]), rel=0.01)
    assert found[0] == pytest.approx(rows[:, 3].mean(), rel=0.01)
    assert found[1] == pytest.approx(rows[:, 3].max(), rel=0.08)
    assert found[2] == pytest.approx(np.hypot(rows[:, 0], rows[:, 1]).max(), rel=0.08)


def test_up_and_down_share_the_torque_and_differ_at_the_wall():
    """Stock on the right is climb milling: the tool is pushed off the wall; on the left it is pulled into it or off by mc."""
    climb, conventional = one(-1, -0.8, wall=-1, mc=0.25), one(0.8, 1, wall=1, mc=0.25)
    assert climb[0] == pytest.approx(conventional[0], rel=1e-9)
    k = EdgeCoefficients(ktc_mpa=800.0, krc_mpa=240.0)
    heights = np.linspace(0.0, 3.0, 301)
    for arc, low, high, wall in ((down_arc_rad(1.0, 10.0), -1.0, -0.8, -1), (up_arc_rad(1.0, 10.0), 0.8, 1.0, 1)):
        for helix in (0.0, 20.0, 35.0):
            turned = math.radians(helix)
            y = wall_error_mm(k, 2, 3.0, 0.1, 10.0, turned, arc, 1.0, heights, wall == 1).y_mm
            side = one(low, high, helix=turned, wall=wall)[3]
            assert abs(side) == pytest.approx(
                np.abs(y).max(), rel=0.1, abs=1.0 if helix else 5.0
            )  # half a degree of flute at least


@pytest.mark.parametrize("mc", [0.0, 0.14, 0.3])
def test_power_is_kc_times_what_is_removed(mc):
    """Mean torque times speed is the sum over strips of kc(h)·area·feed."""
    fz, teeth, a, reach, kc = 0.08, 3, 4.0, 6.0, 700.0
    torque = one(-1, 0.3, a=a, fz=fz, reach=reach, teeth=teeth, kc=kc, mc=mc)[0]
    s = -1 + 1.3 * (np.arange(4000) + 0.5) / 4000
    h = np.maximum(0.002, fz * np.sqrt(1 - s * s))
    area = a * reach * 1.3 / 4000
    per_turn = (kc * h ** (-mc) * area).sum() * fz * teeth  # N·mm a turn
    assert torque * 2 * math.pi == pytest.approx(per_turn, rel=0.005)


def test_more_helix_never_raises_the_peak_and_more_teeth_never_lower_the_mean():
    peaks = [one(-1, -0.5, helix=math.radians(b), a=12.0)[1] for b in (0, 20, 40, 50)]
    assert all(b <= a * 1.001 for a, b in itertools.pairwise(peaks))
    means = [one(-1, -0.5, teeth=z)[0] for z in (1, 2, 4)]
    assert means[1] == pytest.approx(2 * means[0]) and means[2] == pytest.approx(4 * means[0])


def test_ball_lead_is_the_mean_of_sin_kappa():
    for a, r in ((0.1, 3.0), (2.0, 3.0), (3.0, 3.0), (5.0, 3.0), (1.0, 0.5)):
        z = (np.arange(200000) + 0.5) / 200000 * a
        exact = np.where(z < r, np.sqrt(np.maximum(0, 1 - (1 - np.minimum(z, r) / r) ** 2)), 1.0).mean()
        assert ball_lead(np.array([a]), r)[0] == pytest.approx(exact, rel=1e-4)
    assert ball_lead(np.array([1.0]), 0.0)[0] == 1.0
