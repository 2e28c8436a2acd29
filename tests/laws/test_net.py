"""The net is closed around any nodes at all: random states, where most faces are ambiguous, and all 256 cells."""

import numpy as np
import pytest

from halfthou.geometry.net import LOOP, LOOPS
from halfthou.nouns.cut import SPAN, CutRecord, Grid
from halfthou.nouns.frame import shifted
from halfthou.nouns.mesh import Mesh
from halfthou.prove.surface_mesh import _split_sides, _triangles, heights_of, net_of


def record_of(solid):
    """Depth elements of 1 mm cubes, solid bool (nx, ny, nz)."""
    nx, ny, nz = solid.shape
    first, rows = [0], []
    for column in solid.reshape(nx * ny, nz):
        step = np.diff(np.concatenate([[0], column.astype(int), [0]]))
        rows += [(a, b, -1, -1) for a, b in zip(np.flatnonzero(step == 1), np.flatnonzero(step == -1), strict=True)]
        first.append(len(rows))
    grid = Grid(low_mm=(0.0, 0.0), pitch_mm=1.0, nx=nx, ny=ny, pose=shifted())
    return CutRecord(
        op=0, place=0, grid=grid, first=np.array(first), spans=np.array(rows, dtype=SPAN), after_move=-1, error_mm=0.0
    )


@pytest.mark.parametrize("seed", range(9))
def test_any_nodes_give_a_closed_net_whose_vertices_have_one_fan(seed):
    draw = np.random.default_rng(seed)
    solid = draw.random((9, 8, 10)) < (0.2, 0.5, 0.8)[seed % 3]
    record = record_of(solid)
    net = net_of(record)
    extra, polygons, members = _split_sides(net, int(net.vertex[-1]))
    assert extra > 0 or seed % 3 < 2  # sides joined twice do turn up
    assert all(len(crossings) == 2 for crossings in members)
    points = draw.random((int(net.vertex[-1]) + extra, 3))
    way = np.eye(3)[net.axis] * np.where(net.rising == 1, 1.0, -1.0)[:, None]
    triangles, _owner = _triangles(net, polygons, points, way)
    none = np.full(len(triangles), -1)
    mesh = Mesh(points_mm=points, triangles=triangles, operation=none, tool=none, move=none)
    assert mesh.closed_manifold() == ()
    around = {}
    for a, b, c in triangles.tolist():
        for own, one, two in ((a, b, c), (b, c, a), (c, a, b)):
            around.setdefault(own, {})[one] = two
    for after in around.values():
        start = now = next(iter(after))
        steps = 0
        while steps == 0 or now != start:
            now, steps = after[now], steps + 1
        assert steps == len(after)


def test_cubes_have_the_volume_of_cubes_when_vertices_stand_in_the_cells():
    solid = np.zeros((5, 5, 5), dtype=bool)
    solid[1:4, 1:4, 1:4] = True
    record = record_of(solid)
    net = net_of(record)
    assert len(net.quad) == 6 * 9 and not net.split.any()
    assert np.all(np.diff(heights_of(record)) <= 1.0 + 1e-12)


def test_loops_of_all_cells_are_those_of_their_opposites_where_no_face_is_ambiguous():
    assert LOOPS[0] == LOOPS[255] == 0
    assert LOOPS[1] == LOOPS[254] == 1
    assert LOOPS[0b10000001] == 2  # two corners across the cell: two skins
    assert LOOPS[0b00001001] == 2  # two corners across a face: each cut off alone
    for case in range(256):
        cut = {edge for edge in range(12) if LOOP[case, edge] >= 0}
        for edge in range(12):
            axis, one, two = edge // 4, edge % 4 & 1, edge % 4 >> 1
            low = (one << (axis + 1) % 3) | (two << (axis + 2) % 3)
            differ = (case >> low & 1) != (case >> (low | 1 << axis) & 1)
            assert differ == (edge in cut)
        assert LOOPS[case] == len({int(LOOP[case, edge]) for edge in cut})
