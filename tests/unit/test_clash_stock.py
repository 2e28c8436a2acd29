"""Contacts with what is left of the stock, and the spindle while it cuts: hand-made jobs with known answers."""

import numpy as np
import pytest

from halfthou.base.finding import Severity
from halfthou.prove.clash import approaches, contacts
from tests.unit.clash_scene import C, H, N, S, drill, end_mill, probe, scene, tool


def run(s):
    return contacts(s.moves, s.sweeps, s.job, 0, (), shifts=s.shifts, rapid_path=s.job.machine.control.rapid_path)


def codes(s):
    return [f.code for f in run(s)[0]]


# the stock is 100 × 60 × 20, top at 0
SLOT = [("G0", -10, 30, 5), ("G0", -10, 30, -6), ("G1", 110, 30, -6), ("G0", 110, 30, 20)]


def test_a_slot_and_the_rapid_back_along_it_touch_nothing():
    assert codes(scene([end_mill()], [*SLOT[:3], ("G0", -10, 30, -6), ("G0", -10, 30, 20)])) == []


@pytest.mark.parametrize(("lower", "found"), [(0.0, []), (0.005, []), (0.02, ["P211"]), (0.05, ["P211"])])
def test_a_rapid_back_a_little_lower_runs_through_material(lower, found):
    s = scene([end_mill()], [*SLOT[:3], ("G0", 110, 30, -6 - lower), ("G0", -10, 30, -6 - lower)])
    assert codes(s) == found


@pytest.mark.parametrize(("aside", "found"), [(0.005, []), (0.02, ["P211"]), (0.05, ["P211"])])
def test_a_rapid_back_a_little_aside_runs_through_the_wall(aside, found):
    s = scene([end_mill()], [*SLOT[:3], ("G0", 110, 30 + aside, -6), ("G0", -10, 30 + aside, -6)])
    assert codes(s) == found


def test_rapid_through_material_says_how_deep_and_what_to_do():
    (found,) = run(scene([end_mill()], [("G0", -10, 30, 5), ("G0", -10, 30, -3), ("G0", 110, 30, -3)]))[0]
    assert (found.code, found.severity, found.place.line, found.body) == ("P211", Severity.STOP, 3, "stock")
    assert found.amount.best == pytest.approx(3.0, rel=0.02)  # 3 deep under the top; sideways it would be 5


def test_peck_drilling_with_rapids_in_the_hole_is_clean():
    path = [("G0", 50, 30, 20), ("G0", 50, 30, 2)]
    for z in (-4, -8, -12, -16):
        path += [("G0", 50, 30, min(2, z + 4.3)), ("G1", 50, 30, z), ("G0", 50, 30, 2)]
    assert codes(scene([drill()], path)) == []
    path[-2:] = [("G0", 50, 30, -12.05), ("G1", 50, 30, -16), ("G0", 50, 30, 2)]  # back down past the last peck
    assert codes(scene([drill()], path)) == ["P211"]


def test_contact_on_one_rapid_path_only():
    # from beside the stock up over it: X arrives first, so the dog-leg comes in below the top
    path = [("G0", -20, 30, -8), ("G0", 60, 30, 72)]
    both = scene([end_mill()], path, start=(-20, 30, 20), rapid_path=None, rapid=(400.0, 400.0, 100.0))
    straight = scene([end_mill()], path, start=(-20, 30, 20), rapid=(400.0, 400.0, 100.0))
    bent = scene([end_mill()], path, start=(-20, 30, 20), rapid_path="dog-leg", rapid=(400.0, 400.0, 100.0))
    # in a straight line the rim is over the edge (x = 0) with the axis at -5: z = -8 + 15 = 7
    assert codes(straight) == [] and codes(bent) == ["P211"]
    (found,) = run(both)[0]
    assert found.code == "P211" and "dog-leg" in found.why


def test_shank_as_wide_as_the_cutter_along_a_wall_it_has_cut_is_no_contact():
    deep = end_mill(edge=8, out=40)
    # 18 deep in three passes along the edge, each 6 deep: the wall stands 18 high beside an 8 mm edge
    path = [("G0", -10, 1, 20)]
    for z in (-6, -12, -18):
        path += [("G0", -10, 1, z), ("G1", 110, 1, z), ("G0", 110, 1, 20), ("G0", -10, 1, 20)]
    assert codes(scene([deep], path)) == []


def test_shank_against_material_above_the_cutting_length():
    short = end_mill(edge=8, out=40)
    path = [("G0", -10, 1, 20), ("G0", -10, 1, -12), ("G1", 110, 1, -12), ("G0", 110, 1, 20)]
    (found,) = run(scene([short], path))[0]
    assert (found.code, found.part, found.place.line) == ("P212", "shank", 3)
    assert found.amount.best == pytest.approx(4.0, rel=0.02)  # 12 deep, 8 of edge: 4 up; 6 sideways


def test_neck_thinner_than_the_cutter_has_room():
    points = [[0, 0], [5, 0], [5, 8], [4.9, 8], [4.9, 20], [5, 20], [5, 40], [20, 40], [20, 90]]
    necked = tool(1, "flat", 10.0, points, [C, C, N, N, S, S, H, H], cutting_mm=8, stick_out_mm=40)
    path = [("G0", -10, 1, 20)]
    for z in (-6, -12, -18):
        path += [("G0", -10, 1, z), ("G1", 110, 1, z), ("G0", 110, 1, 20), ("G0", -10, 1, 20)]
    assert codes(scene([necked], path)) == []


@pytest.mark.parametrize(("depth", "found"), [(15.0, []), (14.96, []), (15.05, ["P213"]), (15.8, ["P213"])])
def test_holder_over_the_stock_beside_a_deep_slot(depth, found):
    stub = end_mill(d=10, edge=12, out=15, holder=40)
    path = [("G0", -30, 30, 20)]
    for z in (-8, -depth):
        path += [("G0", -30, 30, z), ("G1", 40, 30, z), ("G0", 40, 30, 20), ("G0", -30, 30, 20)]
    got = run(scene([stub], path))[0]
    assert [f.code for f in got] == found
    if found:
        assert got[0].amount.best == pytest.approx(depth - 15, abs=0.015)


def test_holder_in_a_plunge_counts_only_what_the_cutter_does_not_open():
    stub = end_mill(d=10, edge=12, out=15, holder=12)
    path = [("G0", 50, 30, 20), ("G1", 50, 30, -15.5), ("G0", 50, 30, 20)]
    (found,) = run(scene([stub], path))[0]
    assert found.code == "P213" and found.amount.best == pytest.approx(0.5, abs=0.015)


def test_spindle_stopped_or_turning_the_wrong_way():
    assert codes(scene([end_mill()], [("M", 0), *SLOT])) == ["P215"]
    assert codes(scene([end_mill()], [("M", -3000), *SLOT])) == ["P216"]
    assert codes(scene([end_mill(left_hand=True)], [("M", -3000), *SLOT])) == []
    assert codes(scene([end_mill(left_hand=True)], [("M", 3000), *SLOT])) == ["P216"]


def test_probe_into_the_stock_outside_a_probe_move():
    path = [("M", 0), ("G0", 50, 30, 30), ("G1", 50, 30, -1), ("G0", 50, 30, 30)]
    assert codes(scene([probe()], path)) == ["P217"]
    path[2] = ("P", 50, 30, -1)
    assert codes(scene([probe()], path)) == []


def test_drill_deeper_than_its_cutting_length():
    short = drill(flute=15, out=40)
    (found,) = run(scene([short], [("G0", 50, 30, 5), ("G1", 50, 30, -18), ("G0", 50, 30, 5)]))[0]
    assert (found.code, found.severity) == ("P220", Severity.CARE)
    assert found.amount.best == pytest.approx(3.0, abs=0.001)  # 18 - 15
    assert codes(scene([drill(flute=20, out=40)], [("G0", 50, 30, 5), ("G1", 50, 30, -18), ("G0", 50, 30, 5)])) == []


def test_nearest_approach_of_a_holder_to_the_stock():
    stub = end_mill(d=10, edge=12, out=15, holder=40)
    path = [("G0", -30, 30, 20), ("G0", -30, 30, -12), ("G1", 40, 30, -12), ("G0", 40, 30, 20)]
    s = scene([stub], path)
    found, nearest, _ = run(s)
    near = {(a.part, a.body): a for a in approaches(nearest, s.moves, s.sweeps, s.job, 0, shifts=s.shifts)}
    assert found == ()
    assert near["holder", "stock"].clearance_mm == pytest.approx(3.0, abs=0.005)  # 15 - 12
    assert near["holder", "stock"].line == 3


def test_pocket_by_arcs_and_the_way_out_is_clean():
    # helix down to -5 round (50, 30) on radius 4, a ring on radius 10, out straight up at the finished wall
    path = [("G0", 54, 30, 20), ("G0", 54, 30, 1), ("G3", 54, 30, -5, 50, 30, 3), ("G1", 60, 30, -5)]
    path += [("G3", 60, 30, -5, 50, 30, 1), ("G0", 60, 30, 20)]
    assert codes(scene([end_mill()], path)) == []
    through = [*path[:-1], ("G0", 65.1, 30, -5), ("G0", 65.1, 30, 20)]
    assert codes(scene([end_mill()], through)) == ["P211"]


def test_shifted_offset_changes_nothing():
    path = [("G0", -10, 30, 5), ("G0", -10, 30, -3), ("G0", 110, 30, -3)]
    (found,) = run(scene([end_mill()], path, at=(-312.0, -205.0, -371.0)))[0]
    assert found.code == "P211" and found.amount.best == pytest.approx(3.0, rel=0.02)
    assert np.all(np.abs(np.array(found.point_mm) - [50, 30, -3]) < [70, 30, 5])


def t_slot():
    """Head of 16 mm diameter and 4 mm height on a neck of 8 mm, 20 long, then a holder of 30 mm."""
    points = [[0, 0], [8, 0], [8, 4], [4, 4], [4, 24], [15, 24], [15, 60]]
    return tool(3, "tslot", 16.0, points, [C, C, N, N, H, H], cutting_mm=4, stick_out_mm=24)


T_SLOT = [
    *SLOT[:3], ("G0", 110, 30, 20), ("G0", -10, 30, 20), ("G0", -10, 30, -10), ("G1", 110, 30, -10), ("G0", 110, 30, 20),
    ("T", 1), ("G0", -20, 30, 20), ("G0", -20, 30, -12), ("G1", 120, 30, -12),
]  # fmt: skip


def test_a_t_slot_leaves_a_roof_that_still_counts():
    # slot 10 wide and 10 deep, then the head cuts 16 wide from -12 to -8: lips 3 wide hang over it from -8 up
    assert codes(scene([end_mill(edge=12), t_slot()], [*T_SLOT, ("G0", 120, 30, 20)])) == []
    back = [*T_SLOT, ("G0", -20, 30, -12), ("G0", -20, 30, 20)]
    assert codes(scene([end_mill(edge=12), t_slot()], back)) == []
    over = [*T_SLOT, ("G0", 120, 30, 20), ("T", 0), ("G0", 120, 32, 30), ("G0", 120, 32, -5), ("G0", -20, 32, -5)]
    assert codes(scene([end_mill(edge=12), t_slot()], over)) == ["P211"]  # 2 into the lip
    up = [*T_SLOT[:-1], ("G1", 50, 30, -12), ("G0", 50, 30, 20)]
    assert codes(scene([end_mill(edge=12), t_slot()], up)) == ["P211"]  # the head through the lips
