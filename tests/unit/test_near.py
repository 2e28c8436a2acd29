"""Nearest approaches and contacts worked out by hand, each with its arithmetic."""

import math

import numpy as np
import pytest

from halfthou.base.place import Place
from halfthou.geometry.near import FAR, Legs, clearance_at, clearances, foot_distance, piece_distance
from halfthou.geometry.near_chain import convex_pieces, pack_bodies, pack_tools, true_corner
from halfthou.nouns.stock import Prism, box_prism
from halfthou.nouns.tool import Tool, Zone

HERE = Place(file="hand")
C, N, S, H = Zone.CUTTING, Zone.NECK, Zone.SHANK, Zone.HOLDER


def tool(kind, diameter, points, zone, **more):
    return Tool(
        number=1, name="t", kind=kind, diameter_mm=diameter, profile_mm=np.array(points, dtype=float),
        zone=np.array(zone, dtype=np.uint8), place=HERE, **more,
    )  # fmt: skip


def flat():
    """10 mm end mill, 25 mm of cutting edge, 30 mm out of a holder of 40 mm diameter, 50 mm long."""
    return tool(
        "flat", 10.0, [[0, 0], [5, 0], [5, 25], [5, 30], [20, 30], [20, 80]], [C, C, S, H, H], stick_out_mm=30.0
    )


def ball(r=4.0, n=60):
    a = np.linspace(-math.pi / 2, 0, n)
    arc = [[r * math.cos(t), r + r * math.sin(t)] for t in a]
    arc[0][0] = 0.0
    points = [*arc, [r, 20.0], [r, 40.0]]
    return tool("ball", 2 * r, points, [C] * n + [S])


def bull(r=6.0, c=1.0, n=30):
    a = np.linspace(-math.pi / 2, 0, n)
    arc = [[r - c + c * math.cos(t), c + c * math.sin(t)] for t in a]
    return tool("bull", 2 * r, [[0, 0], *arc, [r, 20.0]], [C] * (n + 1), corner_mm=c)


def cone90():
    """90° point of 12 mm diameter, then a 12 mm shank up to 40 mm."""
    return tool("chamfer", 12.0, [[0, 0], [6, 6], [6, 40]], [C, S], point_rad=math.pi / 2)


def box(low, high, may_cut=0.0):
    plain = box_prism("jaw", "fixed jaw", low, high, HERE)
    return Prism(
        name="jaw", kind="fixed jaw", footprint_mm=plain.footprint_mm, low_z_mm=low[2], high_z_mm=high[2],
        may_cut_mm=may_cut, place=HERE,
    )  # fmt: skip


def post(x, y, d, low, high, n=180):
    a = np.arange(n) * 2 * math.pi / n
    r = d / 2 / math.cos(math.pi / n)
    return Prism(
        name="post", kind="clamp", footprint_mm=np.column_stack([x + r * np.cos(a), y + r * np.sin(a)]), low_z_mm=low,
        high_z_mm=high, place=HERE,
    )  # fmt: skip


def leg(start, end, centre=(0, 0, 0), normal=2, sweep=0.0):
    return Legs(
        row=np.zeros(1, dtype=np.int64), path=np.zeros(1, dtype=np.uint8), tool=np.zeros(1, dtype=np.int64),
        from_mm=np.array([start], dtype=float), to_mm=np.array([end], dtype=float),
        centre_mm=np.array([centre], dtype=float), normal=np.array([normal], dtype=np.int64),
        sweep_rad=np.array([sweep], dtype=float),
    )  # fmt: skip


def least(t, zone, body, *path, **more):
    out, _ = clearances(leg(*path, **more), pack_tools([t]), pack_bodies([(body, 0, np.zeros(3))]), keep_mm=1e9)
    return out[0, 0, zone]


TURN = 2 * math.pi
JAW = box((0, -50, -30), (40, 50, 0))  # left face at x = 0, top at z = 0
TALL = box((0, -50, -30), (40, 50, 60))
CASES = [
    # name, tool, zone, body, start, end, arc (centre, normal, sweep), expected
    ("side mill past a jaw: axis at x = -7, radius 5", flat(), C, JAW, (-7, -20, -5), (-7, 20, -5), None, 2.0),
    ("tip 3 above the jaw", flat(), C, JAW, (-20, 0, 3), (60, 0, 3), None, 3.0),
    ("corner to corner: 3 across, 4 up", flat(), C, JAW, (-8, -20, 4), (-8, 20, 4), None, 5.0),
    ("cut 1.5 into the side, 20 deep: out sideways", flat(), C, JAW, (-3.5, -20, -20), (-3.5, 20, -20), None, -1.5),
    ("cut 0.3 deep into the top: out upwards", flat(), C, JAW, (20, -20, -0.3), (20, 20, -0.3), None, -0.3),
    ("holder face 30 above the tip, tip at -29: 1 above the jaw", flat(), H, JAW, (-10, 0, -29), (-6, 0, -29), None, 1.0),
    ("holder 0.8 into the jaw top: tip at -30.8", flat(), H, JAW, (-10, 0, -30.8), (-6, 0, -30.8), None, -0.8),
    ("holder beside a tall jaw: axis -25, radius 20", flat(), H, TALL, (-25, 0, -10), (-25, 9, -10), None, 5.0),
    ("shank beside a jaw that ends below it: 25 - 10 = 15 up", flat(), S, JAW, (20, 0, -10), (20, 5, -10), None, 15.0),
    ("shank 0.2 into a wall: axis -4.8", flat(), S, TALL, (-4.8, -9, 0), (-4.8, 9, 0), None, -0.2),
    # ramp down along x from (-40, 0, 20) to (-6, 0, -14): z = -20 - x; nearest at the end: 6 - 5 = 1
    ("ramp beside the jaw", flat(), C, JAW, (-40, 0, 20), (-6, 0, -14), None, 1.0),
    # z = 10 - (x + 20)/2: at the end x = -5 the rim is just over the edge, 2.5 up; the rim point comes along the line
    # through (0, 2.5) with slope -1/2, whose foot from (0, 0) lies further on (x = 1): so the end counts
    ("ramp that ends over the edge", flat(), C, JAW, (-20, 0, 10), (-5, 0, 2.5), None, 2.5),
    # ball R4 with its centre at (x, 4 + z): over the edge (0, 0) at centre (-3, 4): 5 - 4 = 1
    ("ball over an edge", ball(), C, JAW, (-3, -30, 0), (-3, 30, 0), None, 1.0),
    # at the end the tip is at (4, -4), the centre at (4, 0): on the top face; out by lifting 4
    ("ball across an edge, 45° down", ball(), C, JAW, (-6, 0, 6), (4, 0, -4), None, -4.0),
    # bull R6 c1: corner circle at radius 5, height 1; axis x = -7: circle centre at x = -2, z = 3: √13 - 1
    ("bull corner over an edge", bull(), C, JAW, (-7, 0, 2), (-7, 8, 2), None, math.sqrt(13) - 1),
    # points of the 45° flank lie at (ρ - 4, 2 + ρ): distance² to the edge (0, 0) least at ρ = 1: 9 + 9
    ("cone beside an edge", cone90(), C, JAW, (-4, 0, 2), (-4, 8, 2), None, math.sqrt(18)),
    # arc of radius 30 about the post's axis, tool radius 5, post radius 10: 30 - 5 - 10 = 15
    ("arc round a post", flat(), C, post(0, 0, 20, -30, 30), (30, 0, 0), (30, 0, 0), ((0, 0, 0), 2, TURN), 15.0),
    # arc of radius 30 about (0, 0), post of radius 4 at (22, 0): nearest 30 - 22 - 5 - 4 = -1
    ("arc past a post inside it", flat(), C, post(0, 22, 8, -30, 30), (30, 0, 0), (-30, 0, 0), ((0, 0, 0), 2, math.pi), -1.0),
    # helix about the post: holder (R20, 30 up) on radius 32 round a post of radius 10 and top at 20: the holder is
    # at z ≥ 30 - 8 = 22 at the end: sideways 32 - 20 - 10 = 2, up 2: √8
    ("helix down round a post", flat(), H, post(0, 0, 20, -30, 20), (32, 0, 0), (32, 0, -8), ((0, 0, 0), 2, 2 * TURN), math.sqrt(8)),
    # vertical arc in ZX about (0, 0, 20), radius 15, from (15, 0, 20) through the bottom (z = 5) to (-15, 0, 20);
    # a plate with its top at z = 2 below: 3
    ("arc in the ZX plane over a plate", flat(), C, box((-50, -50, -9), (50, 50, 2)), (15, 0, 20), (-15, 0, 20), ((0, 0, 20), 1, math.pi), 3.0),
    # plunge beside a post: sideways 12 - 5 - 4 = 3
    ("plunge beside a post", flat(), C, post(12, 0, 8, -30, 10), (0, 0, 50), (0, 0, -20), None, 3.0),
    # plunge whose holder (R20) comes down on the post top: 30 - 20 = 10 at the end, top 10.6: 0.6 in
    ("plunge, holder on a post", flat(), H, post(12, 0, 8, -30, 10.6), (0, 0, 50), (0, 0, -20), None, -0.6),
    # a jaw turned by 45°: its corner at x = 0 points at the tool, axis -5.05: 0.05
    ("turned jaw corner", flat(), C, Prism(name="j", kind="clamp", footprint_mm=np.array([[0, 0], [10, -10], [20, 0], [10, 10]]), low_z_mm=-5, high_z_mm=5, place=HERE), (-5.05, -30, 0), (-5.05, 30, 0), None, 0.05),
]  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=[case[0] for case in CASES])
def test_hand_case(case):
    _, t, zone, body, start, end, arc, expected = case
    more = {} if arc is None else {"centre": arc[0], "normal": arc[1], "sweep": arc[2]}
    assert least(t, zone, body, start, end, **more) == pytest.approx(expected, abs=0.003)


def test_the_cutter_may_cut_into_a_soft_jaw_but_the_shank_may_not():
    jaw = box((0, -50, -30), (40, 50, 0), may_cut=4.0)
    assert least(flat(), C, jaw, (20, 0, -3.5), (30, 0, -3.5)) == pytest.approx(0.5, abs=1e-3)  # floor of it at -4
    assert least(flat(), C, jaw, (20, 0, -4.25), (30, 0, -4.25)) == pytest.approx(-0.25, abs=1e-3)
    assert least(flat(), S, jaw, (20, 0, -28), (30, 0, -28)) == pytest.approx(-3.0, abs=1e-3)  # 25 - 28


def test_missing_zones_hold_far():
    assert least(flat(), N, JAW, (0, 0, 0), (1, 0, 0)) == FAR


def test_pruned_entries_are_lower_bounds():
    t, body = pack_tools([flat()]), pack_bodies([(JAW, 0, np.zeros(3))])
    move = leg((-100, -20, -5), (-100, 20, -5))
    exact, _ = clearances(move, t, body, keep_mm=1e9)
    best = np.zeros((2, 6, 1))
    rough, at = clearances(move, t, body, keep_mm=1.0, best_mm=best)
    assert np.all(np.isnan(at)) and rough[0, 0, C] <= exact[0, 0, C] == pytest.approx(95.0)
    assert rough[0, 0, C] > 1.0


def test_pieces_are_split_where_the_profile_turns_inward():
    found = convex_pieces(flat().profile_mm, flat().zone)
    assert [zone for zone, _ in found] == [C, S, H]
    waisted = np.array([[0, 0], [5, 0], [5, 2], [3, 2], [3, 20], [5, 21], [5, 30]], dtype=float)
    found = convex_pieces(waisted, np.array([C] * 6, dtype=np.uint8))
    assert [points.tolist() for _, points in found] == [
        [[5, 0], [5, 2]], [[3, 2], [3, 20]], [[3, 20], [5, 21], [5, 30]],
    ]  # fmt: skip


def test_true_corner_is_seen_only_where_the_profile_means_it():
    assert true_corner(ball()) == 4.0
    assert true_corner(bull()) == 1.0
    assert true_corner(flat()) == 0.0
    assert true_corner(tool("ball", 8.0, [[0, 0], [4, 4], [4, 20]], [C, C])) == 0.0  # a cone called a ball


def test_foot_and_piece_distance_by_hand():
    square = np.array([[0, 0], [10, 0], [10, 10], [0, 10.0]])
    assert foot_distance(13.0, 14.0, square) == pytest.approx(5.0)
    assert foot_distance(4.0, 5.0, square) == pytest.approx(-4.0)
    post_ = np.array([[2.0, 0.0], [2.0, 10.0]])  # radius 2, 10 high
    assert piece_distance(5.0, -3.0, post_, 0.0, 4.0) == pytest.approx(3.0)  # beside: 5 - 2
    assert piece_distance(5.0, -8.0, post_, 0.0, 4.0) == pytest.approx(5.0)  # 3 across, 8 - 4 up
    assert piece_distance(1.5, -3.0, post_, 0.0, 4.0) == pytest.approx(-0.5)  # 2 - 1.5 across, less than 1 up


def test_clearance_at_one_position():
    t, body = pack_tools([flat()]), pack_bodies([(JAW, 0, np.array([1.0, 0, 0]))])
    assert clearance_at(np.array([-7.0, 0, -5]), 0, C, 0, t, body) == pytest.approx(3.0)  # jaw shifted by 1
