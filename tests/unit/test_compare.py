"""Gouge and left-over against the design, on blocks whose deviations can be worked out by hand."""

from dataclasses import dataclass

import numpy as np
import pytest

from halfthou.base.finding import Severity
from halfthou.base.place import Place
from halfthou.base.table import empty
from halfthou.base.value import Value
from halfthou.nouns.moves import CALL, FRAME, MOVE, STATE, MoveList
from halfthou.nouns.part import Part, Surface
from halfthou.nouns.program import Program
from halfthou.nouns.tool import Tool
from halfthou.prove.compare import Comparison, compare
from halfthou.prove.compare_points import edges, sample

BOX = ((0.0, 0.0, -10.0), (40.0, 30.0, 0.0))


@dataclass
class Block:
    """A box of material less upright holes with flat floors and less boxes: exact, and it knows who made what."""

    low: tuple[float, float, float]
    high: tuple[float, float, float]
    holes: tuple[tuple[float, float, float, float, int], ...] = ()  # x, y, r, floor z, move
    boxes: tuple[tuple[tuple[float, ...], tuple[float, ...], int], ...] = ()
    maker: int = 0

    def inside(self, points_mm: np.ndarray) -> np.ndarray:
        solid = ((points_mm > self.low) & (points_mm < self.high)).all(axis=1)
        for x, y, r, floor, _ in self.holes:
            solid &= ~((np.hypot(points_mm[:, 0] - x, points_mm[:, 1] - y) < r) & (points_mm[:, 2] > floor))
        for low, high, _ in self.boxes:
            solid &= ~((points_mm > low) & (points_mm < high)).all(axis=1)
        return solid

    def makers(self, points_mm: np.ndarray) -> np.ndarray:
        made = np.full(len(points_mm), self.maker)
        for x, y, r, floor, move in self.holes:
            near = np.hypot(points_mm[:, 0] - x, points_mm[:, 1] - y) < r + 0.001
            made[near & (points_mm[:, 2] > floor - 0.001)] = move
        return made


def box_part(
    low: tuple[float, float, float], high: tuple[float, float, float], step: tuple[float, float] | None = None
) -> Part:
    """A box of six planes; with step = (x, z) an L: the top beyond x lies at z."""
    (x0, y0, z0), (x1, y1, z1) = low, high
    if step is None:
        rim = [(x0, z0), (x1, z0), (x1, z1), (x0, z1)]
        cap = [(0, 1, 2), (0, 2, 3)]
    else:
        xs, zs = step
        rim = [(x0, z0), (x1, z0), (x1, zs), (xs, zs), (xs, z1), (x0, z1)]
        cap = [(0, 1, 2), (0, 2, 3), (0, 3, 5), (3, 4, 5)]
    n = len(rim)
    vertices = [(x, y0, z) for x, z in rim] + [(x, y1, z) for x, z in rim]
    faces, owner = [], []
    for a, b, c in cap:
        faces += [(a, b, c), (a + n, c + n, b + n)]
        owner += [n, n + 1]
    surfaces = []
    for k in range(n):
        j = (k + 1) % n
        faces += [(k, k + n, j), (j, k + n, j + n)]
        owner += [k, k]
        (ax, az), (bx, bz) = rim[k], rim[j]
        normal = np.array([bz - az, 0.0, -(bx - ax)])
        normal /= np.linalg.norm(normal)
        surfaces.append(Surface(index=k, name=f"side {k}", form="plane", origin_mm=(ax, y0, az), axis=tuple(normal)))
    surfaces.append(Surface(index=n, name="front", form="plane", origin_mm=(x0, y0, z0), axis=(0, -1, 0)))
    surfaces.append(Surface(index=n + 1, name="back", form="plane", origin_mm=(x0, y1, z0), axis=(0, 1, 0)))
    return Part(
        name="box",
        vertices_mm=np.array(vertices),
        faces=np.array(faces),
        face_surface=np.array(owner),
        surfaces=tuple(surfaces),
        chord_mm=0.0,
    )


def moves(*tools: int) -> MoveList:
    rows = empty(MOVE, len(tools))
    rows["tool"] = tools
    rows["line"] = np.arange(len(tools)) + 10
    program = Program(name="op1", file="op1.nc", sha256="", raw=b"", lines=tuple(f"N{k}" for k in range(60)))
    return MoveList(moves=rows, frames=empty(FRAME), states=empty(STATE), calls=empty(CALL), programs=(program,))


def tool(number: int, diameter: float, kind: str = "flat") -> Tool:
    return Tool(
        number=number,
        name=f"T{number}",
        kind=kind,
        diameter_mm=diameter,
        profile_mm=np.array([[0.0, 0.0], [diameter / 2, 0.0], [diameter / 2, 50.0]]),
        zone=np.array([0, 0]),
        place=Place(file=""),
    )


def run(material: Block, part: Part, **more: object) -> Comparison:
    settings: dict[str, object] = {
        "turn": np.eye(3),
        "shift_mm": np.zeros(3),
        "moves": moves(1, 2, 3),
        "tools": {1: tool(1, 10.0), 2: tool(2, 6.0, "drill"), 3: tool(3, 4.0, "tap")},
    }
    return compare(material, part, **{**settings, **more})  # type: ignore[arg-type]


def only(result: Comparison, code: str) -> Value:
    hits = [f for f in result.findings if f.code == code]
    assert len(hits) == 1, [f.what for f in result.findings]
    amount = hits[0].amount
    assert isinstance(amount, Value)
    return amount


def test_a_true_block_has_no_finding_and_a_table_of_zeros() -> None:
    result = run(Block(*BOX), box_part(*BOX))
    assert result.findings == ()
    assert {name for name, _, _ in result.worst} == {"side 0", "side 1", "side 2", "side 3", "front", "back"}
    assert all(g <= 1e-4 and left <= 1e-4 for _, g, left in result.worst)
    assert result.points > 500


@pytest.mark.parametrize(("z", "code", "mm"), [(0.13, "P302", 0.13), (-0.21, "P301", 0.21), (2.5, "P302", 2.5)])
def test_top_cut_to_a_known_height(z: float, code: str, mm: float) -> None:
    result = run(Block(BOX[0], (40.0, 30.0, z)), box_part(*BOX))
    amount = only(result, code)
    assert amount.best == pytest.approx(mm, abs=2e-4)
    assert amount.bound > 0
    assert {f.code for f in result.findings} == {code}
    found = result.findings[0]
    assert (found.tool, found.place.line) == (1, 10)
    assert found.severity is (Severity.STOP if code == "P301" else Severity.CARE)


def test_a_wall_off_by_a_tenth_is_one_finding_on_that_wall() -> None:
    result = run(Block(BOX[0], (40.1, 30.0, 0.0)), box_part(*BOX))
    assert only(result, "P302").best == pytest.approx(0.1, abs=2e-4)
    assert "side 1" in result.findings[0].what
    assert {n: left for n, _, left in result.worst}["side 2"] <= 1e-4


def test_limits_are_per_surface() -> None:
    part = box_part(*BOX)
    wide = [s if s.name != "side 1" else Surface(**{**_fields(s), "left_over_mm": 0.2}) for s in part.surfaces]
    part = Part(
        name="box",
        vertices_mm=part.vertices_mm,
        faces=part.faces,
        face_surface=part.face_surface,
        surfaces=tuple(wide),
        chord_mm=0.0,
    )
    result = run(Block(BOX[0], (40.1, 30.0, 0.0)), part)
    assert result.findings == ()
    assert {n: left for n, _, left in result.worst}["side 1"] == pytest.approx(0.1, abs=2e-4)


def _fields(surface: Surface) -> dict[str, object]:
    return {name: getattr(surface, name) for name in Surface.__dataclass_fields__}


def test_a_hole_where_none_is_drawn_is_gouge_of_its_depth_and_names_the_drill() -> None:
    result = run(Block(*BOX, holes=((20.0, 15.0, 3.0, -4.3, 1),)), box_part(*BOX))
    amount = only(result, "P301")
    assert amount.best == pytest.approx(4.3, abs=2e-4)
    assert (result.findings[0].tool, result.findings[0].place.line) == (2, 11)


def test_floor_too_deep_and_step_wall_off() -> None:
    part = box_part(*BOX, step=(25.0, -4.0))
    true = Block(*BOX, boxes=(((25.0, -1.0, -4.0), (41.0, 31.0, 1.0), 0),))
    assert run(true, part).findings == ()
    deep = Block(*BOX, boxes=(((25.0, -1.0, -4.2), (41.0, 31.0, 1.0), 0),))
    result = run(deep, part)
    assert [f.code for f in result.findings] == ["P301"]
    assert only(result, "P301").best == pytest.approx(0.2, abs=2e-4)
    short = Block(*BOX, boxes=(((25.1, -1.0, -4.0), (41.0, 31.0, 1.0), 0),))
    result = run(short, part)
    assert [f.code for f in result.findings] == ["P302"], [f.what for f in result.findings]
    assert only(result, "P302").best == pytest.approx(0.1, abs=2e-4)


def test_turned_over_and_shifted() -> None:
    turn = np.diag([1.0, -1.0, -1.0])
    shift = np.array([0.0, 30.0, -10.0])
    result = run(Block(BOX[0], (40.0, 30.0, 0.3)), box_part(*BOX), turn=turn, shift_mm=shift)
    assert only(result, "P302").best == pytest.approx(0.3, abs=2e-4)
    assert result.findings[0].point_mm is not None
    assert result.findings[0].point_mm[2] == pytest.approx(0.0, abs=1e-9)


def test_in_between_only_gouge_is_judged() -> None:
    raw = Block((0.0, 0.0, -10.0), (40.0, 30.0, 5.0))
    assert run(raw, box_part(*BOX), final=False).findings == ()
    deep = Block((0.0, 0.0, -10.0), (40.0, 30.0, -0.4))
    assert only(run(deep, box_part(*BOX), final=False), "P301").best == pytest.approx(0.4, abs=2e-4)


def test_raw_surface_is_one_finding_of_its_own() -> None:
    raw = Block(BOX[0], (40.0, 30.0, 5.0), maker=-1)
    result = run(raw, box_part(*BOX))
    assert only(result, "P303").best == pytest.approx(5.0, abs=2e-4)


def test_blank_smaller_than_the_design() -> None:
    result = run(Block(BOX[0], (40.0, 30.0, -1.0), maker=-1), box_part(*BOX))
    assert only(result, "P305").best == pytest.approx(1.0, abs=2e-4)


class Filleted(Block):
    """The L block with the tool radius r left along the upright inner corner (turned so that the corner stands)."""

    def inside(self, points_mm: np.ndarray) -> np.ndarray:
        x, z = points_mm[:, 0], points_mm[:, 2]
        r = 3.0
        solid = super().inside(points_mm)
        near = (x > 25.0) & (x < 25.0 + r) & (z > -4.0) & (z < -4.0 + r)
        fillet = near & (np.hypot(x - 25.0 - r, z + 4.0 - r) > r)
        box = ((points_mm > self.low) & (points_mm < self.high)).all(axis=1)
        return solid | (fillet & box)


def test_corner_radius_is_grouped_and_not_left_over() -> None:
    part = box_part(*BOX, step=(25.0, -4.0))
    material = Filleted(*BOX, boxes=(((25.0, -1.0, -4.0), (41.0, 31.0, 1.0), 0),))
    upright = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])  # the edge along Y stands along Z

    class Turned:
        def inside(self, p: np.ndarray) -> np.ndarray:
            return material.inside(p @ upright)

        def makers(self, p: np.ndarray) -> np.ndarray:
            return np.ones(len(p), dtype=np.int64)

    end_mill = {2: tool(2, 6.0)}
    result = run(Turned(), part, turn=upright, tools=end_mill)  # type: ignore[arg-type]
    assert [f.code for f in result.findings] == ["P304"], [f.what for f in result.findings]
    assert 0.5 < only(result, "P304").best < 3.0
    small = {2: tool(2, 2.0)}  # a 2 mm tool would not have left this: it is left-over
    result = run(Turned(), part, turn=upright, tools=small)  # type: ignore[arg-type]
    assert "P302" in {f.code for f in result.findings}


def test_points_are_even_inside_and_the_same_every_time() -> None:
    part = box_part(*BOX)
    one, two = sample(part), sample(part)
    assert np.array_equal(one.point_mm, two.point_mm)
    top = one.point_mm[one.surface == 2]
    assert np.allclose(top[:, 2], 0.0)
    assert (top[:, 0] > 0).all()
    assert (top[:, 0] < 40).all()
    cells = np.unique(np.floor(top[:, :2] / 5.0), axis=0)
    assert len(cells) == 8 * 6
    rims = edges(part)
    assert not rims.concave.any()
    assert edges(box_part(*BOX, step=(25.0, -4.0))).concave.sum() == 120


def wall(r: float, deep: float, thread: bool = False) -> Part:
    """A part of one surface: the wall of a hole at X20 Y15, from Z0 down."""
    n = 96
    angles = 2 * np.pi * np.arange(n) / n
    ring = np.column_stack([20 + r * np.cos(angles), 15 + r * np.sin(angles)])
    vertices = np.vstack([np.column_stack([ring, np.full(n, z)]) for z in (-deep, 0.0)])
    faces = []
    for k in range(n):
        j = (k + 1) % n
        faces += [(k, k + n, j), (j, k + n, j + n)]  # normals point to the axis
    surface = Surface(
        index=0, name="hole", form="cylinder", origin_mm=(20, 15, 0), radius_mm=r, hole=True, thread=thread
    )
    return Part(
        name="hole",
        vertices_mm=vertices,
        faces=np.array(faces),
        face_surface=np.zeros(2 * n),
        surfaces=(surface,),
        chord_mm=r * (1 - np.cos(np.pi / n)),
        threads_as="core",
    )


def test_points_of_a_hole_lie_on_the_exact_cylinder_and_point_to_its_axis() -> None:
    points = sample(wall(1.65, 8.0))
    off = points.point_mm[:, :2] - (20, 15)
    assert np.hypot(*off.T) == pytest.approx(1.65, abs=1e-12)
    assert (points.normal[:, :2] * off).sum(axis=1) == pytest.approx(-1.65, abs=1e-9)


def test_a_tap_in_its_core_hole_is_no_gouge_but_a_drill_too_large_is() -> None:
    tapped = run(Block(*BOX, holes=((20.0, 15.0, 2.0, -8.5, 2),)), wall(1.65, 8.0))
    assert tapped.findings == ()
    assert any("threads" in words for words in tapped.not_checked)
    drilled = run(Block(*BOX, holes=((20.0, 15.0, 2.0, -8.5, 1),)), wall(1.65, 8.0))
    assert only(drilled, "P301").best == pytest.approx(0.35, abs=2e-4)
    assert not any("threads" in words for words in drilled.not_checked)


def test_a_hole_too_small_keeps_left_over() -> None:
    result = run(Block(*BOX, holes=((20.0, 15.0, 1.5, -8.5, 1),)), wall(1.65, 8.0))
    assert only(result, "P302").best == pytest.approx(0.15, abs=2e-4)


def test_an_edge_break_that_nobody_cut_is_one_note() -> None:
    """A box whose upper right edge is broken 0.3 x 45 degrees in the design only: 0.3 / sqrt(2) stands proud."""
    (x0, y0, z0), (x1, y1, z1) = BOX
    rim = [(x0, z0), (x1, z0), (x1, z1 - 0.3), (x1 - 0.3, z1), (x0, z1)]
    vertices = [(x, y0, z) for x, z in rim] + [(x, y1, z) for x, z in rim]
    faces = [(0, 1, 2), (0, 2, 3), (0, 3, 4), (5, 7, 6), (5, 8, 7), (5, 9, 8)]
    owner = [5, 5, 5, 6, 6, 6]
    surfaces = []
    for k in range(5):
        j = (k + 1) % 5
        faces += [(k, k + 5, j), (j, k + 5, j + 5)]
        owner += [k, k]
        (ax, az), (bx, bz) = rim[k], rim[j]
        out = np.array([bz - az, 0.0, -(bx - ax)]) / np.hypot(bz - az, bx - ax)
        surfaces.append(Surface(index=k, name=f"side {k}", form="plane", origin_mm=(ax, y0, az), axis=tuple(out)))
    surfaces.append(Surface(index=5, name="front", form="plane", origin_mm=(x0, y0, z0), axis=(0, -1, 0)))
    surfaces.append(Surface(index=6, name="back", form="plane", origin_mm=(x0, y1, z0), axis=(0, 1, 0)))
    part = Part(
        name="broken edge",
        vertices_mm=np.array(vertices),
        faces=np.array(faces),
        face_surface=np.array(owner),
        surfaces=tuple(surfaces),
        chord_mm=0.0,
    )
    result = run(Block(*BOX), part)
    assert [f.code for f in result.findings] == ["P306"], [f.what for f in result.findings]
    assert only(result, "P306").best == pytest.approx(0.3 / np.sqrt(2), abs=2e-3)  # at the middle of the break
