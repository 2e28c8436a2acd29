"""Deviations where the normal misleads: lost rims, ribs, sharp corners, layers in corners, stock that was never there."""

from dataclasses import dataclass

import manifold3d
import numpy as np
import pytest

from halfthou.base.watch import QUIET
from halfthou.nouns.part import Part, Surface
from halfthou.prove.compare import Comparison
from halfthou.prove.compare_measure import nearest
from tests.unit.remove_scene import cut, flat
from tests.unit.test_compare import BOX, Block, box_part, only, run, tool

SHORT = np.sqrt(2.0) - 1.0


def codes(result: Comparison) -> list[str]:
    return [f.code for f in result.findings]


def table(result: Comparison) -> dict[str, tuple[float, float]]:
    return {name: (gouge, left) for name, gouge, left in result.worst}


def flat_part(mesh: manifold3d.Manifold) -> Part:
    """A part of plane surfaces only, one a plane, named by its number in the order of (normal, height)."""
    got = mesh.to_mesh64()
    vertices, faces = np.asarray(got.vert_properties)[:, :3], np.asarray(got.tri_verts)
    corners = vertices[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    high = (normal * corners[:, 0]).sum(axis=1)
    planes, owner = np.unique(np.round(np.column_stack([normal, high]), 6), axis=0, return_inverse=True)
    surfaces = tuple(
        Surface(index=k, name=name_of(row), form="plane", origin_mm=tuple(row[3] * row[:3]), axis=tuple(row[:3]))
        for k, row in enumerate(planes)
    )
    return Part(
        name="flat", vertices_mm=vertices, faces=faces, face_surface=owner.ravel(), surfaces=surfaces, chord_mm=0.0
    )  # fmt: skip


def name_of(plane: np.ndarray) -> str:
    """Such as "z+ -4" for the plane z = -4 that looks up."""
    axis = int(np.argmax(np.abs(plane[:3])))
    return f"{'xyz'[axis]}{'+' if plane[axis] > 0 else '-'} {plane[3] * np.sign(plane[axis]):g}"


def box(low: tuple[float, ...], high: tuple[float, ...]) -> manifold3d.Manifold:
    return manifold3d.Manifold.cube(tuple(np.subtract(high, low).tolist())).translate(low)


class Stocked(Block):
    """A block that knows the raw stock it was cut from."""

    stock: tuple[tuple[float, ...], tuple[float, ...]] = BOX

    def raw(self, points_mm: np.ndarray) -> np.ndarray:
        low, high = self.stock
        return ((points_mm > low) & (points_mm < high)).all(axis=1)


def test_rims_lost_with_two_faces_belong_to_those_and_the_stock_was_there() -> None:
    """Two walls cut 0.6 too far: 0.6 on each (not 0.85 at their edge), nothing on the top, no missing stock."""
    for block in (Stocked((0.0, 0.0, -10.0), (39.4, 29.4, 0.0)), Block((0.0, 0.0, -10.0), (39.4, 29.4, 0.0))):
        result = run(block, box_part(*BOX))
        assert codes(result) == ["P301"], [f.what for f in result.findings]
        assert only(result, "P301").best == pytest.approx(0.6, abs=2e-3)
        found = table(result)
        assert [found[name][0] for name in ("side 1", "back")] == pytest.approx([0.6, 0.6], abs=2e-3)
        assert max(found[name][0] for name in ("side 0", "side 2", "side 3", "front")) <= 1e-3


@dataclass
class Slope:
    """Material under a plane that rises by `rise` along X from z0 at x = 0, between x 0 … 40, y 0 … 30, above z -20."""

    z0: float
    rise: float

    def inside(self, points_mm: np.ndarray) -> np.ndarray:
        x, y, z = points_mm.T
        return (x > 0) & (x < 40) & (y > 0) & (y < 30) & (z > -20) & (z < self.z0 + self.rise * x)

    def makers(self, points_mm: np.ndarray) -> np.ndarray:
        return np.zeros(len(points_mm), dtype=np.int64)

    def raw(self, points_mm: np.ndarray) -> np.ndarray:
        return ((points_mm > (0, 0, -20)) & (points_mm < (40, 30, 0))).all(axis=1)


@pytest.mark.parametrize(("degrees", "lower"), [(12.0, 0.2), (12.0, 0.9), (3.0, 0.5)])
def test_a_slope_cut_too_low_is_the_slopes_gouge_alone(degrees: float, lower: float) -> None:
    """Its four side faces lose a rim; the surface left is nowhere further from them than the gouge of the slope."""
    rise = float(np.tan(np.radians(degrees)))
    wedge = manifold3d.Manifold.hull_points(
        [(x, y, z) for y in (0, 30) for x, z in ((0, -20), (40, -20), (0, -10), (40, -10 + 40 * rise))]
    )
    part = flat_part(wedge)
    result = run(Slope(-10 - lower, rise), part, gouge_mm=0.02, left_over_mm=0.02)  # type: ignore[arg-type]
    assert codes(result) == ["P301"], [f.what for f in result.findings]
    square = lower * np.cos(np.radians(degrees))  # up to `lower` at the edges, where the foot would lie beside the part
    assert square - 2e-3 <= only(result, "P301").best <= lower + 2e-3
    over = [name for name, (gouge, _) in table(result).items() if gouge > 0.02]
    assert len(over) == 1


def test_a_rib_that_is_gone_is_a_gouge_of_its_own_faces() -> None:
    """No surface is left anywhere near its upper part, and none of its neighbours is wrong."""
    part = flat_part(box((0, 0, -10), (40, 30, -5)) + box((18, 0, -5), (22, 30, 0)))
    result = run(Stocked(*BOX, boxes=(((-1.0, -1.0, -5.0), (41.0, 31.0, 1.0), 0),)), part)
    assert set(codes(result)) == {"P301"}
    found = table(result)
    assert found["z+ 0"][0] == pytest.approx(5.0, abs=1e-3)
    assert found["x- 18"][0] > 3.5
    assert found["x+ 22"][0] > 3.5


@dataclass
class Pocket:
    """The block with a pocket of half sizes a, b about (20, 15), its floor at z, upright corners of radius r."""

    a: float
    b: float
    z: float
    r: float
    off: float = 0.0

    def inside(self, points_mm: np.ndarray) -> np.ndarray:
        x, y = np.abs(points_mm[:, 0] - 20 - self.off), np.abs(points_mm[:, 1] - 15)
        beyond = np.hypot(np.maximum(x - self.a + self.r, 0), np.maximum(y - self.b + self.r, 0))
        hollow = (beyond < self.r) & (points_mm[:, 2] > self.z)
        return ((points_mm > BOX[0]) & (points_mm < BOX[1])).all(axis=1) & ~hollow

    def makers(self, points_mm: np.ndarray) -> np.ndarray:
        return np.zeros(len(points_mm), dtype=np.int64)


def sharp(a: float, b: float, deep: float) -> Part:
    return flat_part(box((0, 0, -10), (40, 30, 0)) - box((20 - a, 15 - b, -deep), (20 + a, 15 + b, 1)))


MILL = {1: tool(1, 6.0)}


def test_sharp_corners_are_measured_across() -> None:
    for a, b in ((12.0, 8.0), (4.5, 4.5), (7.3, 3.6)):
        result = run(Pocket(a, b, -4.0, 3.0), sharp(a, b, 4.0), tools=MILL)  # type: ignore[arg-type]
        assert codes(result) == ["P304"], [f.what for f in result.findings]
        assert only(result, "P304").best == pytest.approx(3 * SHORT, abs=1e-3)
        found = table(result)
        assert found["z+ -4"][1] <= 0.051
        assert found[f"x- {20 + a:g}"][1] == pytest.approx(3 * SHORT, abs=1e-3)


@pytest.mark.parametrize("high", [0.15, 0.6])
def test_a_floor_too_high_between_sharp_corners_is_its_own_height(high: float) -> None:
    result = run(Pocket(12.0, 8.0, -4.0 + high, 3.0), sharp(12.0, 8.0, 4.0), tools=MILL)  # type: ignore[arg-type]
    assert codes(result) == ["P302", "P304"], [f.what for f in result.findings]
    assert only(result, "P302").best == pytest.approx(high, abs=2e-3)
    assert "z+ -4" in result.findings[0].what
    assert only(result, "P304").best == pytest.approx(3 * SHORT, abs=2e-3)


def test_a_wall_too_thick_between_sharp_corners_keeps_its_own_amount() -> None:
    limits = {"gouge_mm": 0.02, "left_over_mm": 0.02}
    result = run(Pocket(4.5, 4.5, -4.0, 3.0, off=-0.1), sharp(4.5, 4.5, 4.0), tools=MILL, **limits)  # type: ignore[arg-type]
    assert only(result, "P302").best == pytest.approx(0.1, abs=2e-3)
    assert only(result, "P301").best == pytest.approx(0.1, abs=2e-3)
    assert "x- 24.5" in next(f.what for f in result.findings if f.code == "P302")


def test_more_than_the_tools_radius_in_a_corner_is_left_over() -> None:
    """Corner radius 4 left by a path, tool radius 3: what exceeds it on the 45 degree line is (√2 - 1)."""
    result = run(Pocket(12.0, 8.0, -4.0, 4.0), sharp(12.0, 8.0, 4.0), tools=MILL)  # type: ignore[arg-type]
    assert "P302" in codes(result)
    worst = max(f.amount.best for f in result.findings if f.code == "P302")  # type: ignore[union-attr]
    assert worst == pytest.approx(SHORT, abs=0.03)


def test_an_unmachined_pocket_is_not_called_a_corner() -> None:
    solid = Block(*BOX)
    result = run(solid, sharp(12.0, 8.0, 4.0), tools=MILL)
    assert "P302" in codes(result)
    assert table(result)["z+ -4"][1] == pytest.approx(4.0, abs=1e-3)
    assert "P304" not in codes(result), [f.what for f in result.findings]


def test_a_surface_keeps_its_own_amount_beside_a_worse_one() -> None:
    part = box_part(*BOX, step=(25.0, -4.0))
    result = run(Block(*BOX, boxes=(((24.9, -1.0, -4.3), (41.0, 31.0, 1.0), 0),)), part)
    assert codes(result) == ["P301", "P301"], [f.what for f in result.findings]
    found = table(result)
    assert found["side 2"][0] == pytest.approx(0.3, abs=2e-3)
    assert found["side 3"][0] == pytest.approx(0.1, abs=2e-3)
    assert max(gouge for name, (gouge, _) in found.items() if name not in ("side 2", "side 3")) <= 1e-3


def inner_fillet(r: float, steps: int = 16) -> Part:
    """The L block with a fillet of radius r drawn between wall x = 25 and floor z = -4."""
    (x0, y0, z0), (x1, y1, z1) = BOX
    turn = np.pi / 2 * np.arange(steps + 1) / steps
    arc = [(25 + r - r * np.cos(t), -4 + r - r * np.sin(t)) for t in turn][::-1]
    rim = [(x0, z0), (x1, z0), (x1, -4.0), *arc, (25.0, z1), (x0, z1)]
    n = len(rim)
    vertices = np.array([(x, y0, z) for x, z in rim] + [(x, y1, z) for x, z in rim])
    surfaces, faces, owner = [], [], []
    fillet = range(3, 3 + steps)
    for k in range(n):
        j = (k + 1) % n
        faces += [(k, k + n, j), (j, k + n, j + n)]
        owner += [3 if k in fillet else k if k < 3 else k - steps + 1] * 2
        if k in fillet and k > 3:
            continue
        (ax, az), (bx, bz) = rim[k], rim[j]
        out = np.array([bz - az, 0.0, -(bx - ax)]) / np.hypot(bz - az, bx - ax)
        plane = Surface(
            index=owner[-1], name=f"side {owner[-1]}", form="plane", origin_mm=(ax, y0, az), axis=tuple(out)
        )
        round_ = Surface(
            index=3, name="fillet", form="cylinder", origin_mm=(25 + r, 0, -4 + r), axis=(0, 1, 0), radius_mm=r, hole=True
        )  # fmt: skip
        surfaces.append(round_ if k == 3 else plane)
    return Part(
        name="filleted", vertices_mm=vertices, faces=np.array(faces), face_surface=np.array(owner),
        surfaces=tuple(surfaces), chord_mm=r * (1 - np.cos(np.pi / 4 / steps)),
    )  # fmt: skip


@pytest.mark.parametrize("r", [0.5, 2.0])
def test_a_fillet_cut_away_is_a_gouge_however_small(r: float) -> None:
    sharp_step = Block(*BOX, boxes=(((25.0, -1.0, -4.0), (41.0, 31.0, 1.0), 0),))
    result = run(sharp_step, inner_fillet(r))
    assert codes(result) == ["P301"], [f.what for f in result.findings]
    assert "fillet" in result.findings[0].what
    assert only(result, "P301").best == pytest.approx(SHORT * r, abs=0.02 * r)


def test_missing_stock_is_said_only_where_the_raw_stock_did_not_reach() -> None:
    low = Stocked(BOX[0], (40.0, 30.0, -1.0))
    low.stock = (BOX[0], (40.0, 30.0, -1.0))
    assert only(run(low, box_part(*BOX)), "P305").best == pytest.approx(1.0, abs=2e-4)
    cut_low = Stocked(BOX[0], (40.0, 30.0, -1.0), maker=-1)  # nobody is known to have made it, yet the stock was there
    assert codes(run(cut_low, box_part(*BOX))) == ["P301"]


def test_raw_stock_is_known_through_a_turn_over() -> None:
    first = cut([flat(10)], [("T", 0), ("G0", -10, 30, 5), ("G0", -10, 30, -5), ("G1", 110, 30, -5)], pitch=1.0)
    second = cut([flat(10)], [("T", 0), ("G0", -10, 30, 5)], before=first, pitch=1.0)
    spots = np.array([[50.0, 30.0, -2.0], [50.0, 30.0, -19.0], [50.0, 30.0, 1.0], [-1.0, 30.0, -2.0]])
    assert first.raw(spots).tolist() == [True, True, False, False]
    assert first.inside(spots).tolist() == [False, True, False, False]
    assert second.raw(spots).tolist() == [True, True, False, False]
    assert second.inside(spots).tolist() == [True, False, False, False]


@dataclass
class Shape:
    """A ball, or all within a corner of three planes, as material or as air."""

    round_: bool
    solid: bool

    def inside(self, points_mm: np.ndarray) -> np.ndarray:
        there = np.linalg.norm(points_mm, axis=1) < 5.0 if self.round_ else (points_mm < 0).all(axis=1)
        return there if self.solid else ~there

    def makers(self, points_mm: np.ndarray) -> np.ndarray:
        return np.zeros(len(points_mm), dtype=np.int64)


@pytest.mark.parametrize("round_", [True, False])
@pytest.mark.parametrize("solid", [True, False])
def test_nearest_surface_of_a_ball_and_of_a_corner(round_: bool, solid: bool) -> None:
    """From outside the shape: |p| - 5, and the distance to the corner's faces, edges and tip."""
    draw = np.random.default_rng(5)
    spot = draw.normal(size=(300, 3))
    spot *= ((5.0 if round_ else 0.0) + draw.uniform(0.1, 6.0, 300))[:, None] / np.linalg.norm(spot, axis=1)[:, None]
    out = np.linalg.norm(spot, axis=1) - 5.0 if round_ else np.linalg.norm(np.maximum(spot, 0), axis=1)
    keep = out > 0.05
    spot, out = spot[keep], out[keep]
    normal = draw.normal(size=spot.shape)
    normal /= np.linalg.norm(normal, axis=1)[:, None]
    sign = np.full(len(spot), -1.0 if solid else 1.0)
    none = np.zeros((len(spot), 0, 3))
    to, end = nearest(Shape(round_, solid), spot, normal, sign, np.full(len(spot), 60.0), none, QUIET)
    assert to == pytest.approx(out, abs=3e-3, rel=None if round_ else 6e-3)
    assert (to >= out - 1.2e-3).all()  # looked for from a point 0.001 off
    assert np.linalg.norm(end - spot, axis=1) == pytest.approx(to, abs=2e-3)
