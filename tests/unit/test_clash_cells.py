"""Contacts against the stock of a third operation, a part on its side and a mesh: as exact as against a box."""

import numpy as np
import pytest

from halfthou.nouns.stock import Stock
from halfthou.prove.clash_raw import EarlierOp
from tests.unit.clash_chain import BACK_UP, BLOCK, HALF_TURN_X, ON_SIDE, STRAIGHT_ON, asked, chain, operation
from tests.unit.clash_scene import end_mill
from tests.unit.remove_scene import ball, flat


def same(one, two, deep_mm=0.02):
    """Same findings with the same depths, same approaches."""
    a, b = ([(f.code, f.move, f.count, f.part) for f in got[0]] for got in (one, two))
    assert a == b
    for f, g in zip(one[0], two[0], strict=True):
        assert f.amount.best == pytest.approx(g.amount.best, abs=deep_mm)
    near = [{(int(r["zone"]), int(r["body"])): float(r["clearance_mm"]) for r in got[1]} for got in (one, two)]
    assert near[0].keys() == near[1].keys()
    for key, gap in near[0].items():
        assert near[1][key] == pytest.approx(gap, abs=deep_mm)
    assert not any("known to" in line for line in one[2])


CUT_A = [
    ("G0", 20, -10, 5), ("G0", 20, -10, -6.3), ("G1", 20, 70, -6.3), ("G0", 20, 70, 5), ("G0", 60, 30, 5),
    ("G1", 60, 30, -4.1), ("G1", 72.3, 30, -4.1), ("G3", 60, 42.3, -4.1, 60, 30), ("G0", 60, 42.3, 20),
]  # fmt: skip
NOTHING = [("G0", 0, 0, 90)]
TOOLS = [flat(8), end_mill(2, d=6.0, edge=10.0, out=12.0, shank=8.0, holder=30.0), ball(6, number=3)]


@pytest.mark.parametrize(
    "path",
    [
        [("T", 1), ("G0", -30, 20, -0.2), ("G0", 130, 20, -0.2)],  # rapid 0.2 through both rims of the slot
        [("T", 1), ("G0", -30, 20, 0.13), ("G0", 130, 20, 0.13)],  # 0.13 over it
        [("T", 1), ("G0", 20, -30, -6.2), ("G0", 20, 90, -6.2)],  # along the slot, 0.1 over its floor, 1 off its walls
        [("T", 1), ("G0", 21.15, -30, -6.2), ("G0", 21.15, 90, -6.2)],  # 0.15 into its wall
        [("T", 1), ("G0", 66, 30, 20), ("G0", 66, 30, -4.05), ("G0", 66, 30, 20)],  # down into the slot of the ring
        [("T", 1), ("G0", 66, 40, 20), ("G1", 66, 40, -14), ("G0", 66, 40, 20)],  # shank and holder
        [("T", 2), ("G0", 20, -30, -3.2), ("G0", 71, 60, -3.2)],
        [("T", 1), ("G1", 20, -30, -8), ("G1", 20, 90, -8), ("G0", 20, 90, 9), ("G0", 20, 30, 9), ("G0", 20, 30, -7.9)],
    ],
)
def test_turned_over_twice_is_as_given_at_once(path):
    a, _ = operation(TOOLS, CUT_A, BLOCK)
    made, left = chain(TOOLS, [(None, CUT_A), (HALF_TURN_X, NOTHING), (HALF_TURN_X, path)])
    exact = EarlierOp(sweeps=a.sweeps, shift_mm=np.zeros(3), stock=BLOCK, turn=STRAIGHT_ON)
    same(asked(made, left), asked(made, None, [exact]))
    made, left = chain(TOOLS, [(None, CUT_A), (ON_SIDE, NOTHING), (BACK_UP, path)])
    same(asked(made, left), asked(made, None, [exact]))


def block_mesh(low, high, cut=0.0):
    """A box as closed triangles; cut > 0: its upper edge at x = high is broken by a 45° flat of that size."""
    (x0, y0, z0), (x1, y1, z1) = low, high
    side = (
        [[x0, z0], [x1, z0], [x1, z1 - cut], [x1 - cut, z1], [x0, z1]]
        if cut
        else [[x0, z0], [x1, z0], [x1, z1], [x0, z1]]
    )
    n = len(side)
    points = np.array([[x, y, z] for y in (y0, y1) for x, z in side])
    faces = [[0, k, k + 1] for k in range(1, n - 1)] + [[n, n + k + 1, n + k] for k in range(1, n - 1)]
    for k in range(n):
        m = (k + 1) % n
        faces += [[k, n + k, n + m], [k, n + m, m]]
    return Stock(kind="mesh", vertices_mm=points, faces=np.array(faces, dtype=np.int32))


def test_a_mesh_is_as_the_box_it_shows():
    path = [("T", 1), ("G0", -30, 20, -0.2), ("G0", 130, 20, -0.2), ("G0", 130, 20, 0.13), ("G0", -30, 20, 0.13)]
    mesh = block_mesh(BLOCK.low_mm, BLOCK.high_mm)
    one, two = (operation(TOOLS, path, stock) for stock in (mesh, BLOCK))
    same(asked(*one), asked(*two))
    path = [("T", 1), ("G0", 50, -3.12, 20), ("G0", 50, -3.12, -5), ("G0", 50, -2.9, -5), ("G0", 50, -2.9, 20)]
    one, two = (operation(TOOLS, path, stock) for stock in (mesh, BLOCK))
    same(asked(*one), asked(*two))
    assert [f.code for f in asked(*one)[0]] == ["P211"]


def test_a_broken_edge_of_a_mesh_turned_over_twice():
    # flat from (95, 0) down to (100, -5); the corner of the tool at (103 - 3 - aside, -3) has the flat at x = 98
    mesh = block_mesh(BLOCK.low_mm, BLOCK.high_mm, cut=5.0)
    gaps = {}
    for x in (100.86, 101.2):
        path = [("T", 1), ("G0", x, 30, 20), ("G0", x, 30, -3), ("G0", x, 31, -3), ("G0", x, 31, 20)]
        found, near, _ = asked(*chain(TOOLS, [(None, NOTHING), (HALF_TURN_X, NOTHING), (HALF_TURN_X, path)], mesh))
        gaps[x] = [f.code for f in found], [r for r in near if r["zone"] == 0]
    assert gaps[100.86][0] == ["P211"]
    assert gaps[101.2][0] == []
    least, bound = (float(gaps[101.2][1][0][name]) for name in ("clearance_mm", "bound_mm"))
    assert least - 0.001 <= 0.2 / np.sqrt(2) <= least + bound and bound < 0.02  # by hand
