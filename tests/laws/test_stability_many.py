"""Many stability limits at once against the one-by-one method, which has published checks of its own."""

import math

import numpy as np
import pytest

from halfthou.physics.stability import Cut, least_depth_mm, limit_depth_mm, spring_mode
from halfthou.physics.stability_many import hertz_of, many_limits, rayleigh_mass_kg

ARCS = ((0.0, math.pi), (math.pi - 0.9, math.pi), (0.0, 1.3), (0.5, 2.4))


def _one(modes, teeth, ktc, ratio, arc, rpm):
    own = tuple(spring_mode(k, hz, z) for hz, k, z in modes)
    return Cut(teeth=teeth, ktc_mpa=ktc, ratio=ratio, arc=arc, x=own, y=own)


@pytest.mark.parametrize("modes", [((900.0, 8000.0, 0.03),), ((700.0, 12000.0, 0.04), (1650.0, 9000.0, 0.02))])
def test_same_as_one_by_one(modes):
    rpms = (2500.0, 5300.0, 8100.0, 13000.0)
    cases = [(arc, rpm) for arc in ARCS for rpm in rpms]
    n = len(cases)
    limit, hertz, least = many_limits(
        np.tile(np.array(modes), (n, 1, 1)), 3, np.full(n, 1900.0), np.full(n, 0.35), np.array([a for a, _ in cases]),
        np.array([r for _, r in cases]),
    )  # fmt: skip
    for k, (arc, rpm) in enumerate(cases):
        cut = _one(modes, 3, 1900.0, 0.35, arc, rpm)
        depth, at = limit_depth_mm(cut, rpm, step_hz=0.1)
        assert limit[k] == pytest.approx(depth, rel=5e-3), (arc, rpm)
        assert hertz[k] == pytest.approx(at, rel=2e-3), (arc, rpm)
        assert least[k] == pytest.approx(least_depth_mm(cut, step_hz=0.5)[0], rel=2e-3)


def test_each_cut_has_its_own_modes():
    """Stiffness scales the limit exactly; a cut beside others gives what it gives alone."""
    modes = np.array([[[1100.0, 6000.0, 0.025]], [[1320.0, 6000.0, 0.05]], [[1100.0, 15000.0, 0.025]]])
    arc, one = np.array([[0.2, 2.0]] * 3), np.ones(3)
    limit, _, _ = many_limits(modes, 2, 800.0 * one, 0.3 * one, arc, 9000.0 * one)
    alone, _, _ = many_limits(modes[1:2], 2, one[:1] * 800, one[:1] * 0.3, arc[:1], one[:1] * 9000)
    assert limit[1] == pytest.approx(alone[0], rel=1e-12)
    assert limit[2] == pytest.approx(2.5 * limit[0], rel=1e-9)
    assert limit[1] != pytest.approx(limit[0], rel=0.1)


def test_mass_of_a_cantilever():
    """33/140 of a plain cantilever's mass (textbook), and its first frequency 1.5 % above 3.516/2π·√(EI/(m·L³))."""
    x = (np.arange(4000) + 0.5) / 4000
    mass = rayleigh_mass_kg(np.full(4000, 1.0 / 4000), x * x * (3 - x) / 2)
    assert mass == pytest.approx(33 / 140, rel=1e-5)
    exact = 3.51602 / (2 * math.pi) * math.sqrt(1000.0 / 3.0)  # EI/L³ = k/3 with k = 1 N/mm and m = 1 kg
    assert hertz_of(1.0, mass) / exact == pytest.approx(1.0148, abs=2e-3)
