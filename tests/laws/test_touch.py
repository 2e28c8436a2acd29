"""Sides of sweeps against differences of `swept`: distance zero on the surface, normals by the slope of the ends."""

import numpy as np
import pytest

from halfthou.geometry.sweep import swept
from halfthou.geometry.touch import FLANK, HIGH, LOW, nearest_side, side_of_sweep
from tests.unit.remove_scene import ball, bull, cone, cut, flat, tslot

TOOLS = [flat(10), ball(6, 2), bull(12, 2, 3), cone(10, 90, 2, number=4), tslot(20, 8, 4, 5)]
PATHS = [
    [("G0", 20, 20, 5), ("G1", 50, 30, -8)],  # steep ramp
    [("G0", 20, 20, -4), ("G1", 60, 35, -4)],  # level
    [("G0", 30, 20, 5), ("G1", 30, 20, -6)],  # plunge
    [("G0", 30, 20, -5), ("G3", 40, 30, -5, 30, 30)],  # level arc of three quarters
]
STEP = 1e-6


@pytest.mark.parametrize("path", range(len(PATHS)))
@pytest.mark.parametrize("number", range(len(TOOLS)))
def test_sides_follow_the_ends(number, path):
    removal = cut(TOOLS, [("T", number), *PATHS[path]], pitch=2.0)
    event = removal.events[-1]
    piece, segments = removal.body.pieces[event["piece"]], removal.body.segments
    draw = np.random.default_rng(number * 10 + path)
    checked = 0
    for x, y in draw.uniform((event["bx0"], event["by0"]), (event["bx1"], event["by1"]), (80, 2)).tolist():
        spots = [(x, y), (x + STEP, y), (x - STEP, y), (x, y + STEP), (x, y - STEP)]
        ends = np.array([swept(event, piece, segments, *spot) for spot in spots])
        if not (ends[:, 0] < ends[:, 1]).all():
            continue
        for kind, column in ((LOW, 0), (HIGH, 1)):
            if kind == HIGH and event["closed"] == 1:
                continue
            z, slope = ends[0, column], (ends[[1, 3], column] - ends[[2, 4], column]) / (2 * STEP)
            ahead = (ends[[1, 3], column] - z) / STEP
            if np.abs(slope).max() > 50 or np.abs(ahead - slope).max() > 1e-3:  # upright, or on a kink
                continue
            away, *way = side_of_sweep(event, piece, segments, kind, x, y, z)
            up = -1.0 if kind == LOW else 1.0
            expected = np.array([-up * slope[0], -up * slope[1], up]) / np.sqrt(1 + (slope**2).sum())
            assert abs(away) < 1e-9
            assert np.abs(np.array(way) - expected).max() < 1e-4
            lifted = side_of_sweep(event, piece, segments, kind, x, y, z + 0.01 * up)[0]
            assert lifted == pytest.approx(0.01 / np.sqrt(1 + (slope**2).sum()), rel=1e-5)
            checked += 1
    assert checked >= 20


def test_walls_are_told_from_floors():
    removal = cut(TOOLS, [("T", 0), *PATHS[1]], pitch=2.0)
    event = removal.events[-1]
    piece, segments = removal.body.pieces[event["piece"]], removal.body.segments
    across = np.array([-event["uy"], event["ux"]])
    middle = np.array([40.0, 27.5])
    wall = middle + 5.0 * across
    assert nearest_side(event, piece, segments, *wall.tolist(), -2.0) == FLANK
    away, *way = side_of_sweep(event, piece, segments, FLANK, *wall.tolist(), -2.0)
    assert abs(away) < 1e-12 and np.allclose(way, [*across, 0.0])
    assert nearest_side(event, piece, segments, *middle.tolist(), -4.0) == LOW
