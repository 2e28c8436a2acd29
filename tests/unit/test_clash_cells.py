"""Contacts against the stock of a third operation, a part on its side and a mesh: as exact as against a box."""

import numpy as np
import pytest

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
