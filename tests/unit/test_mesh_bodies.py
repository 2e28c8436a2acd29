"""Vise, jaws and clamps as meshes: clearances worked out by hand, what facets leave open, may_cut, 1,000 placements."""

import math
import secrets

import numpy as np
import pytest

from halfthou.base.finding import Severity
from halfthou.geometry.near import Legs, clearances
from halfthou.geometry.near_chain import pack_bodies, pack_tools
from halfthou.geometry.near_solid import below, volume_of
from halfthou.prove.clash import contacts
from halfthou.prove.probing import in_bodies
from tests.unit.clash_scene import box, drill, end_mill, probe, scene
from tests.unit.mesh_shapes import along_y, body, box_mesh, finer, joined, prism_mesh


def standing(tips, ends=None, tool=0):
    """Legs from tips to ends (standing still if left out)."""
    p = np.atleast_2d(np.array(tips, dtype=float))
    q = p if ends is None else np.atleast_2d(np.array(ends, dtype=float))
    n = len(p)
    return Legs(
        row=np.arange(n), path=np.zeros(n, dtype=np.uint8), tool=np.full(n, tool), from_mm=p, to_mm=q,
        centre_mm=p * 0, normal=np.full(n, 2), sweep_rad=np.zeros(n),
    )  # fmt: skip


def found(tools, path, bodies, **more):
    """The stock lies far away."""
    more = {"low": (300, 300, -20), "high": (350, 350, -10)} | more
    s = scene(tools, path, bodies=bodies, **more)
    return contacts(s.moves, s.sweeps, s.job, 0, (), shifts=s.shifts, rapid_path="straight")


def told(findings):
    return [(f.code, f.severity, f.what, f.do, f.why, f.place.line, f.count, f.point_mm) for f in findings]


SLOPE = math.radians(30)


def slanted(bent=False):
    """A clamp whose upper face rises by 30° to the right from z = 0 at x = 0; bent: with a notch far away below."""
    high = 40 * math.tan(SLOPE)
    outline = [[0, -20], [40, -20], [40, high], [0, 0]]
    if bent:
        outline = [[0, -20], [30, -20], [30, -19], [31, -19], [31, -20], [40, -20], [40, high], [0, 0]]
    return body(along_y(outline, -50, 50), "slanted clamp")


@pytest.mark.parametrize("bent", [False, True])
def test_slanted_clamp_by_hand(bent):
    """Lower rim of a holder over a slope: (h − (x + r)·tan a)·cos a over it; the corner of a shank beside its edge."""
    bodies = pack_bodies([(slanted(bent), 0, np.zeros(3))])
    chains = pack_tools([end_mill(d=10, edge=25, out=30, holder=20, height=50)])
    tips = [[15.0, 0, -5.0], [15.0, 0, -10.0], [15.0, 0, -12.0]]
    out, _ = clearances(standing(tips), chains, bodies, keep_mm=1e9)
    for row, (x, _, z) in enumerate(tips):
        rim = (z + 30 - (x + 10) * math.tan(SLOPE)) * math.cos(SLOPE)
        assert rim > 3
        assert out[row, 0, 3] == pytest.approx(rim, abs=1e-3)
    # the holder's lower face 0.2 mm (square to the slope) too low: so much smaller, or so far up the normal
    z = (10 + 15) * math.tan(SLOPE) - 30 - 0.2 / math.cos(SLOPE)
    out, _ = clearances(standing([[15.0, 0, z]]), chains, bodies, keep_mm=1e9)
    by_shift, smaller = 0.2, 0.2 / (math.cos(SLOPE) + math.sin(SLOPE))  # rim moved in by d both ways: d·(cos + sin)
    assert -out[0, 0, 3] == pytest.approx(smaller if bent else by_shift, abs=1e-3)
    # left of the clamp, level with its edge: plain distance of the cylinder
    out, _ = clearances(standing([[-9.0, 0, -5.0]]), chains, bodies, keep_mm=1e9)
    assert out[0, 0, 0] == pytest.approx(4.0, abs=1e-3)


@pytest.mark.parametrize("at_least", [12, 700])
def test_box_as_mesh_gives_the_same_findings(at_least):
    """Cutter at rapid and feed, shank, holder, a probe move and a tool change, with may_cut, against box and mesh."""
    low, high = (20.0, -30.0, -30.0), (60.0, 10.0, -2.0)
    tools = [end_mill(edge=12, out=20), drill(), probe()]
    path = [
        ("G0", 0, -10, 5), ("G0", 30, -10, -3.5), ("G1", 50, 0, -4), ("G3", 70, 20, -4, 70, 0), ("G1", 70, 0, -24),
        ("G1", 30, 0, -24), ("G0", 30, 0, 60), ("T", 1), ("G0", 40, 0, 10), ("G1", 40, 0, -3.2), ("G0", 40, 0, 60), ("T", 2),
        ("P", 40, 0, -4), ("G0", 40, 0, 20), ("G0", 70, 0, 20), ("G0", 70, 0, -10), ("G0", 45, 0, -10), ("G0", 45, 0, 90),
    ]  # fmt: skip
    plain = box("jaw", low, high, may_cut=1.0)
    mesh = body(finer(*box_mesh(low, high), at_least), "jaw", "fixed jaw", may_cut=1.0)
    one, near_one, said_one = found(tools, path, [plain], first=0)
    two, near_two, said_two = found(tools, path, [mesh], first=0)
    assert {f.code for f in one} >= {"P201", "P202", "P203", "P204", "P206"}
    assert [t[:7] for t in told(one)] == [t[:7] for t in told(two)]
    for a, b in zip(one, two, strict=True):
        assert a.amount is None or abs(a.amount.best - b.amount.best) <= 0.002
    np.testing.assert_allclose(near_one["clearance_mm"], near_two["clearance_mm"], atol=0.002)
    assert sorted(near_one["zone"]) == sorted(near_two["zone"])
    assert said_one == said_two


def test_a_sloped_jaw_corner_a_hundredth_inside_a_holder_is_found():
    """1,000 placements drawn now: a sharp corner 0.0105 mm inside the holder is a contact, 0.0105 mm outside none."""
    seed = secrets.randbelow(10**9)
    print("seed", seed)
    rng = np.random.default_rng(seed)
    chains = pack_tools([end_mill(d=10, edge=25, out=30, holder=40, height=50)])
    for _ in range(1000):
        # a jaw whose end is a sloped wedge with its sharp corner at the origin, pointing to -X
        up, back = rng.uniform(4, 15), rng.uniform(-3, 12)
        outline = [[0, 0], [back + 2, -15], [40, -15], [40, up], [rng.uniform(1, 10) + max(0, back), up]]
        points, faces = along_y(outline, 0, float(rng.uniform(5, 40)))
        points = points @ _about_z(rng.uniform(-0.6, 0.6)).T
        spot = rng.uniform(-100, 100, 3)
        mesh = body((points + spot, faces), "jaw")
        bodies = pack_bodies([(mesh, 0, np.zeros(3))])
        height = float(rng.uniform(2, 48))
        for inside in (0.0105, -0.0105):
            corner = _first_corner(points, inside, 20.0)
            tip = spot + corner - np.array([0, 0, 30 + height])
            start = tip - np.array([rng.uniform(5, 50), 0, rng.uniform(-20, 20) * 0])
            out, at = clearances(standing([start], [tip]), chains, bodies, keep_mm=1.0)
            assert (out[0, 0, 3] < -0.01) == (inside > 0), (seed, out[0, 0, 3])
            assert abs(out[0, 0, 3] + inside) <= 0.001
            assert inside < 0 or at[0, 0] is not None


def _about_z(angle):
    c, s = math.cos(angle), math.sin(angle)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1]])


def _first_corner(points, inside, radius):
    """Where the axis stands (relative to the jaw) when its foremost edge point reaches `inside` mm into the cylinder."""
    # the edge of the wedge is the points with the least X; the cylinder comes from -X with its axis at their Y
    nose = points[np.argmin(points[:, 0])]
    return np.array([nose[0] - radius + inside, nose[1], nose[2]])


def test_depth_of_what_is_wholly_inside_and_nothing_near():
    """A probe stem far inside a block touches no triangle: half its width it would have to be smaller; a block: the way out."""
    bent = joined(*(box_mesh((x, -100, -200), (x + 300, 100, 0)) for x in (-300, 0)))
    notch = along_y([[-300, -200], [300, -200], [300, 0], [260, 0], [250, -10], [240, 0], [-300, 0]], -100, 100)
    chains = pack_tools([probe()])
    legs = standing([[30.0, 0, -150.0]], [[40.0, 0, -150.0]])
    out, at = clearances(legs, chains, pack_bodies([(body(notch), 0, np.zeros(3))]), keep_mm=1.0)
    assert out[0, 0, 5] == pytest.approx(-3.0, abs=1e-3)
    assert np.isfinite(at[0, 0, 5])
    out, _ = clearances(legs, chains, pack_bodies([(body(bent), 0, np.zeros(3))]), keep_mm=1.0)
    assert out[0, 0, 5] == pytest.approx(-43.0, abs=1e-3)  # the block from x = 0: out to the left, radius and way


def test_coarse_facets_leave_a_question():
    """A gap smaller than the facets may be off is CARE with the distance, a larger one is silent, an overlap is STOP."""
    low, high = (20.0, -30.0, -30.0), (60.0, 10.0, -2.0)
    mesh = body(box_mesh(low, high), "jaw", "fixed jaw", error=0.05)
    tools = [end_mill()]
    for gap, code, severity in ((0.03, "P221", Severity.CARE), (0.2, "", None), (-0.02, "P202", Severity.STOP)):
        path = [("G0", 0, 0, 5), ("G0", 0, 0, -2 + gap), ("G0", 80, 0, -2 + gap), ("G0", 80, 0, 50)]
        findings, near, _ = found(tools, path, [mesh])
        assert [(f.code, f.severity) for f in findings if f.code.startswith("P2") and f.body == "jaw"] == (
            [(code, severity)] if code else []
        )
        if code == "P221":
            assert "nearer than 0.080 mm" in findings[0].what
            assert findings[0].amount.best == pytest.approx(gap, abs=0.001)
            assert findings[0].amount.bound == pytest.approx(0.0506, abs=1e-4)
        jaw = near[near["body"] == 0]
        assert jaw["bound_mm"][0] == pytest.approx(0.0506, abs=1e-4)


def test_pointed_tool_just_in_a_bent_mesh_is_no_silence():
    """A drill point 0.0108 mm down in a bent jaw (0.0093 mm smaller would do): asked, not passed over; 0.005 mm: parted."""
    notch = along_y([[-30, -20], [30, -20], [30, 0], [26, 0], [25, -1], [24, 0], [-30, 0]], -30, 30)
    mesh = body(notch, "jaw")
    for down, codes in ((0.0108, ["P221"]), (0.005, []), (0.02, ["P201"])):
        path = [("G0", 0, 0, 5), ("G1", 0, 0, -down), ("G0", 0, 0, 50)]
        findings, _, _ = found([drill()], path, [mesh])
        assert [f.code for f in findings] == codes, (down, told(findings))


def test_cut_level():
    """What is left under a level is closed and has the volume that the outline gives."""
    outline = [[0, -20], [40, -20], [40, 10], [25, 10], [25, 0], [0, 0]]
    points, faces = along_y(outline, -10, 10)
    left = below(points, faces, 5.0)
    assert left is not None
    corners = left[0][left[1]]
    assert volume_of(corners) == pytest.approx((40 * 20 + 15 * 5) * 20)
    assert left[0][:, 2].max() == pytest.approx(5.0)
    none = below(points, faces, -30.0)
    assert none is not None
    assert len(none[1]) == 0


def test_may_cut_counts_for_the_cutter_only():
    mesh = body(along_y([[20, -30], [60, -30], [60, -2], [40, -2], [40, -8], [20, -8]], -30, 10), may_cut=1.0)
    tools = [end_mill(edge=3, out=20)]
    path = [("G0", 0, 0, 5), ("G1", 0, 0, -2.9), ("G1", 70, 0, -2.9), ("G0", 70, 0, 50)]
    assert found(tools, path, [mesh])[0] == ()
    path[1:3] = [("G1", 0, 0, -3.1), ("G1", 70, 0, -3.1)]
    findings, _, _ = found(tools, path, [mesh])
    assert [(f.code, round(f.amount.best, 3)) for f in findings] == [("P201", 0.1)]
    path[1:3] = [("G1", 0, 0, -5.1), ("G1", 70, 0, -5.1)]  # the shank is 3 mm up: 0.1 mm under the top as it is
    findings, _, _ = found(tools, path, [mesh])
    # the cutting part is 3 mm high: made smaller by 1.5 mm nothing of it is left
    assert {(f.code, round(f.amount.best, 3)) for f in findings} == {("P201", 1.5), ("P203", 0.1)}


def test_points_in_bodies_that_are_meshes():
    mesh = body(along_y([[20, -30], [60, -30], [60, -2], [40, -2], [40, -8], [20, -8]], -30, 10))
    points = np.array([[50.0, 0, -5], [30, 0, -5], [30, 0, -9], [50, 11, -5], [50, 0, -31]])
    assert in_bodies([mesh], points).tolist() == [True, False, True, False, False]


def test_round_post_of_many_facets_by_hand():
    """A post of 200 sides: the distance of two upright cylinders, to the chord error of the post."""
    turn = 2 * math.pi * np.arange(200) / 200
    foot = np.column_stack([12 * np.cos(turn), 12 * np.sin(turn)])
    bodies = pack_bodies([(body(prism_mesh(foot, -30, 0)), 0, np.zeros(3))])
    chains = pack_tools([end_mill(d=10)])
    out, _ = clearances(standing([[30.0, -40, -10]], [[30.0, 40, -10]]), chains, bodies, keep_mm=1e9)
    assert out[0, 0, 0] == pytest.approx(30 - 12 - 5, abs=0.002)
    out, _ = clearances(standing([[16.0, -40, -29]], [[16.0, 40, -29]]), chains, bodies, keep_mm=1e9)
    assert out[0, 0, 0] == pytest.approx(-1.0, abs=0.003)
