"""Laws of the surface mesh on random scenes: closed, on the exact surface, of the right volume, rightly labelled."""

import numpy as np
import pytest

from halfthou.prove.remove_volume import volume_of
from halfthou.prove.surface_mesh import surface_mesh
from tests.unit.remove_scene import HALF_TURN_X, ball, bull, cone, cut, flat, random_path, tslot

_ = HALF_TURN_X
TOOLS = [flat(10), ball(6, 2), bull(12, 2, 3), cone(10, 90, 0, number=4), tslot(20, 8, 4, 5)]
BOX = {"low": (0, 0, -20), "high": (100, 60, 0)}


def random_scene(seed, pitch=1.0):
    draw = np.random.default_rng(seed)
    path = random_path(draw, int(draw.integers(3, 12)))
    return cut(TOOLS, [("T", int(draw.integers(5))), *path[1:]], pitch=pitch)


@pytest.mark.parametrize("seed", range(6))
def test_volume_and_closed(seed):
    removal = random_scene(seed)
    mesh = surface_mesh(removal)
    assert mesh.closed_manifold() == ()
    volume = volume_of(removal)[0]
    assert abs(mesh.volume_mm3() - volume.best) <= volume.bound
