"""Removal on chosen rays against formulas by hand, labels, zones, stocks, and rays with many intervals."""

import math

import numpy as np
import pytest

from halfthou.nouns.cut import BOTTOM, CORNER, FLANK, RAW
from halfthou.nouns.stock import Stock
from tests.unit.remove_scene import ball, bull, cone, cut, flat, heights, tslot


def top(removal, x, y):
    """Highest material over a point."""
    return heights(removal, [(x, y)])[0][-1][1]


def over(path):
    return [("T", 0), ("G0", path[0][0], path[0][1], 30.0), *(("G1", *p) for p in path)]


def test_level_slot_of_a_flat_mill() -> None:
    done = cut([flat(10)], over([(10, 30, -5), (90, 30, -5)]))
    assert top(done, 50, 34.999) == pytest.approx(-5.0, abs=1e-12)
    assert top(done, 50, 35.001) == 0.0
    assert top(done, 94.9, 30) == pytest.approx(-5.0, abs=1e-12)
    assert top(done, 95.1, 30) == 0.0


def test_ball_groove_and_ramp() -> None:
    done = cut([ball(6)], over([(10, 30, -4), (90, 30, -4)]))
    for v in (0.0, 1.0, 2.5):
        assert top(done, 50, 30 + v) == pytest.approx(-4 + 3 - math.sqrt(9 - v * v), abs=1e-9)
    ramp = cut([ball(6)], over([(10, 30, -2), (90, 30, -10)]))
    m = -8 / 80
    for v in (0.0, 1.0, 2.5):  # a cylinder of radius 3 tilted by the slope
        want = (-2 + m * (50 - 10)) + 3 - math.sqrt(9 - v * v) * math.sqrt(1 + m * m)
        assert top(ramp, 50, 30 + v) == pytest.approx(want, abs=1e-9)


def test_bull_nose_level_and_plunge() -> None:
    done = cut([bull(10, 2)], over([(10, 30, -4), (90, 30, -4)]))
    assert top(done, 50, 32.9) == pytest.approx(-4, abs=1e-9)
    assert top(done, 50, 34) == pytest.approx(-4 + 2 - math.sqrt(4 - 1), abs=1e-9)
    plunge = cut([bull(10, 2)], over([(50, 30, 5), (50, 30, -7)]))
    assert top(plunge, 54, 30) == pytest.approx(-7 + 2 - math.sqrt(3), abs=1e-9)


def test_flat_mill_ramping_down_cuts_with_its_trailing_edge() -> None:
    done = cut([flat(10)], over([(20, 30, 0), (80, 30, -6)]))
    # over (50, 30) the lowest disc is the one whose centre is as far ahead as the radius allows
    assert top(done, 50, 30) == pytest.approx(-0.1 * (50 + 5 - 20), abs=1e-9)
    assert top(done, 50, 34) == pytest.approx(-0.1 * (50 + 3 - 20), abs=1e-9)


def test_cone_plunge_and_ramp() -> None:
    done = cut([cone(12, 90)], over([(50, 30, 5), (50, 30, -4)]))
    assert top(done, 52, 30) == pytest.approx(-4 + 2, abs=1e-9)
    ramp = cut([cone(12, 90)], over([(20, 30, -1), (80, 30, -4)]))
    m, v, k = 0.05, 1.5, 1.0
    d = v * m / math.sqrt(k * k - m * m)
    want = -1 - m * (50 + d - 20) + math.hypot(v, d)
    assert top(ramp, 50, 31.5) == pytest.approx(want, abs=1e-9)


def test_arc_level_and_helix() -> None:
    path = [("T", 0), ("G0", 70, 30, 30), ("G1", 70, 30, -3), ("G3", 70, 30, -3, 50, 30, 1)]
    done = cut([flat(6)], path)
    assert top(done, 50 + 22.99, 30) == pytest.approx(-3, abs=1e-9)
    assert top(done, 50, 30 + 17.01) == pytest.approx(-3, abs=1e-9)
    assert top(done, 50, 30) == 0.0
    assert top(done, 50 + 23.01 * math.cos(1), 30 + 23.01 * math.sin(1)) == 0.0
    helix = cut([ball(6)], [("T", 0), ("G0", 70, 30, 30), ("G1", 70, 30, 0), ("G3", 70, 30, -8, 50, 30, 1)])
    assert helix.record.error_mm > 0
    x, y = 50 + 20 * math.cos(3.0), 30 + 20 * math.sin(3.0)
    slope = 8 / (2 * math.pi * 20)
    want = -8 * 3.0 / (2 * math.pi) + 3 - 3 * math.sqrt(1 + slope**2)
    assert top(helix, x, y) == pytest.approx(want, abs=0.003)


def test_tslot_leaves_a_roof() -> None:
    done = cut([tslot(20, 8, 4)], over([(-20, 30, -12), (120, 30, -12)]))
    assert heights(done, [(50, 37)])[0] == [(-20.0, -12.0), (-8.0, 0.0)]
    assert heights(done, [(50, 31)])[0] == [(-20.0, -12.0), (-8.0, 0.0)]  # the neck does not cut: it is a contact


def test_labels_deepest_move_keeps_the_surface() -> None:
    again = [("G0", 10, 30, 30), ("G1", 10, 30, -5.000005), ("G1", 90, 30, -5.000005)]
    path = [*over([(10, 30, -5), (90, 30, -5)]), *again]
    done = cut([flat(10)], path)
    spot = np.array([[50.0, 30.0, -5.0]])
    assert done.makers(spot).tolist() == [3]
    point = done.surface_points(spot)
    assert point.points["move"].tolist() == [3]
    assert [int(m) for m in point.makers["move"]] == [6]
    assert point.makers["gap_mm"][0] == pytest.approx(5e-6, abs=1e-9)


def test_zones_and_normals() -> None:
    done = cut([bull(10, 2)], over([(10, 30, -6), (90, 30, -6)]))
    spots = np.array([[50.0, 31.0, -6.0], [50.0, 34.0, -5.7], [5.0, 50.0, 0.0]])
    rows = done.surface_points(spots).points
    assert rows["zone"].tolist() == [BOTTOM, CORNER, RAW]
    angle = math.asin(0.5)
    assert rows["normal"][1] == pytest.approx([0, -math.sin(angle), math.cos(angle)], abs=1e-4)
    assert FLANK not in rows["zone"].tolist()


def test_many_slots_across_a_ray_lose_nothing() -> None:
    path = [("T", 0)]
    for k in range(9):
        path += [("G0", -30, 30, 30), ("G0", -30, 30, -19 + 2 * k), ("G1", 130, 30, -19 + 2 * k), ("G0", 130, 30, 30)]
    done = cut([tslot(20, 8, 1)], path)
    own = heights(done, [(50, 38)])[0]
    assert len(own) == 10
    assert sum(b - a for a, b in own) == pytest.approx(20 - 9)
    assert np.diff(done.record.first).max() == 10


def test_cylinder_and_mesh_stock() -> None:
    round_ = cut(
        [flat(10)],
        over([(-60, 0, -3), (60, 0, -3)]),
        stock=Stock(kind="cylinder", centre_mm=(0, 0), diameter_mm=40, low_mm=(0, 0, -30), high_mm=(0, 0, 0)),
    )
    assert heights(round_, [(0, 19.9)])[0] == [(-30.0, 0.0)]
    assert heights(round_, [(0, 20.1)])[0] == []
    assert heights(round_, [(10, 2)])[0] == [(-30.0, pytest.approx(-3.0))]
    corners = np.array([[x, y, z] for x in (0, 100) for y in (0, 60) for z in (-20, 0)], dtype=float)
    faces = np.array([[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1], [2, 3, 7], [2, 7, 6], [0, 2, 6],
                      [0, 6, 4], [1, 5, 7], [1, 7, 3]], dtype=np.int32)  # fmt: skip
    path = over([(10, 30, -5), (90, 30, -5)])
    mesh = cut([flat(10)], path, stock=Stock(kind="mesh", vertices_mm=corners, faces=faces))
    box = cut([flat(10)], path)
    assert np.array_equal(mesh.record.first, box.record.first)
    assert np.allclose(mesh.record.spans["high_mm"], box.record.spans["high_mm"], atol=1e-9)


def test_turned_over_part_is_the_stock_of_the_next_operation() -> None:
    first = cut([flat(10)], over([(10, 20, -5), (90, 20, -5)]))
    second = cut([flat(6)], over([(50, 20, 5), (50, 20, -4)]), before=first)
    # program 2: y = 60 - y1, z = -20 - z1: the slot is now below, at y 35..45, z -20..-15
    assert heights(second, [(50.0, 40.0)])[0] == [(pytest.approx(-15.0), pytest.approx(0.0))]
    assert heights(second, [(50.0, 20.0)])[0] == [(-20.0, pytest.approx(-4.0))]
    makers = second.makers(np.array([[50.0, 40.0, -15.0], [50.0, 20.0, -4.0]]))
    assert makers.tolist() == [3, len(first.moves.moves) + 3]
    assert second.inside(np.array([[50.0, 40.0, -16.0], [50.0, 40.0, -14.0]])).tolist() == [False, True]
