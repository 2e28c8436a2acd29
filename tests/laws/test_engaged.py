"""Laws of engagement: closed forms to 0.1°, volumes that add up, turned and mirrored scenes."""

import math

import numpy as np
import pytest

from halfthou.geometry.engage import arc_exit_rad, straight_exit_rad
from halfthou.prove.engaged import engagement
from tests.unit.remove_scene import ball, bull, cut, flat, random_path

TENTH = math.radians(0.1)


def span(removal, move, share=0.5, height=1.0):
    return [(a, b) for a, b in engagement(removal, move, share=share, height_mm=height).arcs_rad]


def test_published_concave_corner():
    """C5 of the shared checks (brute force of another program): r 5, ae 1 -> 36.87, then 51.68, 69.51, 95.74 degrees."""
    assert math.degrees(straight_exit_rad(1.0, 5.0)) == pytest.approx(36.87, abs=0.005)
    for rho, degrees in ((5.0, 51.68), (2.0, 69.51), (1.0, 95.74)):
        assert math.degrees(arc_exit_rad(1.0, 5.0, rho)) == pytest.approx(degrees, abs=0.005)


@pytest.mark.parametrize("ae", [0.11, 1.0, 3.37, 7.3])
@pytest.mark.parametrize("degrees", [0.0, 33.0, 200.0])
def test_straight_wall(ae, degrees):
    """A 10 mm flat end mill along a straight wall, stock on its right: from −90° over acos(1 − ae/R)."""
    turn = math.radians(degrees)
    ux, uy = math.cos(turn), math.sin(turn)
    r = 5.0
    start, end = (50 - 15 * ux, 30 - 15 * uy), (50 + 15 * ux, 30 + 15 * uy)
    free = 2 * r - ae  # the first pass clears `free` of the width on the left
    shift = (-uy * ae, ux * ae)
    first = [("G0", start[0] - 9 * ux + shift[0], start[1] - 9 * uy + shift[1], 5.0),
             ("G1", start[0] - 9 * ux + shift[0], start[1] - 9 * uy + shift[1], -4.0),
             ("G1", end[0] + 9 * ux + shift[0], end[1] + 9 * uy + shift[1], -4.0),
             ("G0", end[0], end[1], 5.0), ("G0", start[0], start[1], 5.0), ("G1", start[0], start[1], -4.0),
             ("G1", end[0], end[1], -4.0)]  # fmt: skip
    removal = cut([flat(10)], [("T", 0), *first], pitch=0.5)
    assert free > 0
    (low, high), = span(removal, int(removal.events["row"].max()))  # fmt: skip
    assert low == pytest.approx(-math.pi / 2, abs=TENTH)
    assert high - low == pytest.approx(straight_exit_rad(ae, r), abs=TENTH)


def test_slot_is_half_the_tool_and_first_contact_grows():
    """Slot: −90° to 90°. Entering a face square on at distance e past it: ±acos((R − e)/R)."""
    path = [("T", 0), ("G0", -20, 30, 5.0), ("G1", -20, 30, -4.0), ("G1", 60, 30, -4.0)]
    removal = cut([flat(10)], path, pitch=0.5)
    row = int(removal.events["row"].max())
    (low, high), = span(removal, row, share=0.9)  # fmt: skip
    assert (low, high) == pytest.approx((-math.pi / 2, math.pi / 2), abs=TENTH)
    for e in (0.05, 0.6, 2.5):
        (low, high), = span(removal, row, share=(15 + e) / 80)  # fmt: skip
        assert high == pytest.approx(math.acos((5 - e) / 5), abs=TENTH) and low == pytest.approx(-high, abs=TENTH)
    assert span(removal, row, share=10 / 80) == []


@pytest.mark.parametrize("rho", [1.0, 2.0, 5.0, 40.0])
@pytest.mark.parametrize("way", ["G2", "G3"])
def test_corner_arc(rho, way):
    """The tool round an inside corner arc, the stock a ring of ae left by the same tool one step inside."""
    r, ae, cx, cy = 5.0, 1.0, 50.0, 30.0
    if rho - ae > 0:
        inner = [
            ("G0", cx + rho - ae, cy, 5.0),
            ("G1", cx + rho - ae, cy, -4.0),
            ("G3", cx + rho - ae, cy, -4.0, cx, cy, 1),
        ]
    else:
        inner = [("G0", cx, cy, 5.0), ("G1", cx, cy, -4.0)]
    back = [("G0", cx + rho - ae, cy, 5.0), ("G0", cx, cy + rho, 5.0), ("G1", cx, cy + rho, -4.0)]
    side = 1.0 if way == "G3" else -1.0
    arc = [(way, cx - side * rho, cy, -4.0, cx, cy)]
    removal = cut([flat(10)], [("T", 0), *inner, *back, *arc], low=(-20, -50, -20), high=(120, 110, 0), pitch=0.5)
    row = int(removal.events["row"].max())
    arcs = span(removal, row, share=0.9 if rho > 2 else 0.97)
    (low, high), = arcs  # fmt: skip
    wall = -side * math.pi / 2  # the wall is on the outside of the arc
    assert (low if side > 0 else high) == pytest.approx(wall, abs=TENTH)
    assert high - low == pytest.approx(arc_exit_rad(ae, r, rho), abs=TENTH)


def test_two_arcs_at_a_rib_and_heights_of_a_ball():
    """A tool wider than a rib's gap meets stock on both sides; a ball's radius grows with the height."""
    path = [("T", 0), ("G0", -20, 30, 5.0), ("G1", -20, 30, -4.0), ("G1", 120, 30, -4.0), ("T", 1), ("G0", -20, 30, 5.0),
            ("G1", -20, 30, -4.0), ("G1", 60, 30, -4.0)]  # fmt: skip
    removal = cut([flat(6), flat(10, number=2)], path, pitch=0.5)
    arcs = span(removal, int(removal.events["row"].max()), share=0.9)
    edge = math.asin(3.0 / 5.0)
    assert arcs == [pytest.approx((-math.pi / 2, -edge), abs=TENTH), pytest.approx((edge, math.pi / 2), abs=TENTH)]
    removal = cut([ball(10)], [("T", 0), ("G0", -20, 30, 5.0), ("G1", -20, 30, -3.0), ("G1", 60, 30, -3.0)], pitch=0.5)
    found = engagement(removal, int(removal.events["row"].max()), share=0.9, height_mm=2.0)
    assert found.radius_mm == pytest.approx(4.0, abs=1e-9)
    assert found.arcs_rad[0] == pytest.approx((-math.pi / 2, math.pi / 2), abs=TENTH)


@pytest.mark.parametrize("seed", [3, 4, 5])
def test_stretches_add_up_to_the_moves(seed):
    """Strips, stretches and moves hold the same volume; fronts lie within the tool."""
    draw = np.random.default_rng(seed)
    removal = cut([[flat(8)], [ball(7)], [bull(12, 2)]][seed - 3], random_path(draw, 40), pitch=0.5)
    engaged = removal.engaged
    by_move = np.zeros(len(removal.removed))
    np.add.at(by_move, engaged["move"] - removal.first_row, engaged["strips"].sum(axis=1, dtype=np.float64))
    assert by_move == pytest.approx(removal.removed["mm3"], rel=1e-5, abs=1e-6)
    assert engaged["mm3"] == pytest.approx(engaged["strips"].sum(axis=1), rel=1e-5)
    assert np.all(np.diff(engaged["move"]) >= 0) and np.all(engaged["from_share"] < engaged["to_share"])
    level = engaged[engaged["plunge"] == 0]
    assert level["left"].max() <= 1.0 and level["right"].min() >= -1.0 and np.all(level["right"] <= level["left"])


def test_strips_of_a_side_cut():
    """ae 3 of D 10, ap 4 on the right: 12 mm² of chip section, spread evenly over 0.6 of the front on the right."""
    path = [("T", 0), ("G0", -20, 37, 5.0), ("G1", -20, 37, -4.0), ("G1", 120, 37, -4.0), ("G0", 120, 37, 5.0),
            ("G0", -20, 34, 5.0), ("G1", -20, 34, -4.0), ("G1", 120, 34, -4.0)]  # fmt: skip
    removal = cut([flat(10)], path, pitch=0.25)
    own = removal.engaged[removal.engaged["move"] == removal.events["row"].max()]
    inside = own[(own["from_share"] * 140 > 27) & (own["to_share"] * 140 < 113)]
    stretch = (inside["to_share"] - inside["from_share"]) * 140
    assert (inside["mm3"] / stretch).mean() == pytest.approx(12.0, rel=0.01)
    assert inside["axial_mm"] == pytest.approx(4.0, abs=1e-5)
    assert inside["right"].min() == pytest.approx(-1.0, abs=0.05) and inside["left"].max() == pytest.approx(
        -0.4, abs=0.05
    )
    assert inside["strips"][:, 5:].sum() == 0.0 and np.all(inside["strips"][:, :4].sum(axis=0) > 0)


def test_arc_strips_are_mirrored_with_the_way_round():
    """The same full circle cut the other way round swaps left and right."""
    found = []
    for way in ("G2", "G3"):
        path = [("T", 0), ("G0", 70, 30, 5.0), ("G1", 70, 30, -4.0), (way, 70, 30, -4.0, 50, 30, 1)]
        removal = cut([flat(10)], path, pitch=0.25)
        own = removal.engaged[removal.engaged["move"] == removal.events["row"].max()]
        found.append(own["strips"].sum(axis=0))
    assert found[0].sum() > 4000
    assert found[0][::-1] == pytest.approx(found[1], rel=0.02, abs=3.0)
