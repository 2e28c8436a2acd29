"""The quick periodic limit against the full eigenvalues of `stability_time`, and a check of a limit by its own roots."""

import math

import pytest

from halfthou.physics.stability import Cut, limit_depth_mm, spring_mode
from halfthou.physics.stability_fast import periodic_limit, quick_radius
from halfthou.physics.stability_time import spectral_radius, stepped_radius

CASES = (
    ((math.pi - 0.9, math.pi), 3, 8000.0), ((math.pi - 0.3, math.pi), 2, 14000.0), ((0.0, math.pi), 4, 6000.0),
    ((0.0, 0.8), 1, 18000.0),
)  # fmt: skip


def _cut(arc, teeth, hertz=900.0):
    mode = spring_mode(8000.0, hertz, 0.03)
    return Cut(teeth=teeth, ktc_mpa=1900.0, ratio=0.35, arc=arc, x=(mode,), y=(mode,))


@pytest.mark.parametrize("arc, teeth, rpm", CASES)
def test_same_root_as_all_eigenvalues(arc, teeth, rpm):
    cut = _cut(arc, teeth)
    depth = limit_depth_mm(cut, rpm)[0]
    for share in (0.6, 1.4):
        assert quick_radius(cut, rpm, share * depth, 30) == pytest.approx(
            stepped_radius(cut, rpm, share * depth, 30), rel=1e-5
        )


@pytest.mark.parametrize("arc, teeth, rpm", CASES[:3])
def test_limit_is_where_the_root_passes_one(arc, teeth, rpm):
    cut = _cut(arc, teeth)
    limit = periodic_limit(cut, rpm, limit_depth_mm(cut, rpm)[0]).limit_mm
    root, error = spectral_radius(cut, rpm, limit, 100)
    assert root == pytest.approx(1.0, abs=2e-3 + error)
    assert spectral_radius(cut, rpm, 0.9 * limit, 60)[0] < 1.0 < spectral_radius(cut, rpm, 1.1 * limit, 60)[0]


def test_many_vibrations_a_tooth_are_not_worked_out():
    found = periodic_limit(_cut((0.0, math.pi), 2, 3000.0), 900.0, 1.0)
    assert math.isnan(found.limit_mm) and "vibrations" in found.reason
