"""STEP, STL and 3MF files as designs: exact forms, volumes worked out by hand, units, broken files."""

import math
import random
import re
from pathlib import Path

import numpy as np
import pytest

from halfthou.base.errors import PartError
from halfthou.files.mesh import nearest_surfaces, open_edges, read_part, volume_mm3
from halfthou.files.mesh_step import units_of_step
from halfthou.nouns.part import Part
from halfthou.prove.compare_points import edges, on_form, sample
from tests.unit.files_scene import BLOCK, box_triangles, stl, stl_text, three_mf

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
PLATE = (EXAMPLES / "ice-core-plate" / "design.step").read_bytes()
DATA = Path(__file__).resolve().parent / "test_files_data"
COUPLING = EXAMPLES / "soil-auger-coupling" / "design.step"


def read(tmp_path: Path, name: str, raw: bytes, units: str | None = None) -> Part:
    (tmp_path / name).write_bytes(raw)
    return read_part(tmp_path / name, units)


def refused(tmp_path: Path, name: str, raw: bytes, units: str | None = None) -> str:
    with pytest.raises(PartError) as caught:
        read(tmp_path, name, raw, units)
    assert len(caught.value.complaints) == 1
    return caught.value.complaints[0].code + " " + caught.value.complaints[0].what


@pytest.fixture(scope="module")
def plate() -> Part:
    return read_part(EXAMPLES / "ice-core-plate" / "design.step")


def holes(part: Part, radius_mm: float) -> list[tuple[float, float]]:
    return sorted(
        {
            (round(s.origin_mm[0], 4), round(s.origin_mm[1], 4))
            for s in part.surfaces
            if s.form == "cylinder" and s.hole and abs(s.radius_mm - radius_mm) < 1e-6
        }
    )


def test_plate_has_the_holes_it_was_made_with(plate: Part) -> None:
    """Sizes and places from examples/making/ice_core_plate.py."""
    m4 = [(8, 8), (132, 8), (132, 45), (132, 82), (100, 82), (40, 82), (8, 82), (8, 45)]
    caps = [(x, 90 - y) for x, y in ((22, 24), (22, 45), (22, 66), (118, 66), (118, 45), (118, 24))]
    assert holes(plate, 1.65) == sorted(m4)
    assert holes(plate, 2.0) == [(8, 26), (8, 64), (132, 26), (132, 64)]
    assert holes(plate, 1.7) == sorted(caps)
    assert holes(plate, 3.25) == sorted(caps)
    assert holes(plate, 13.0) == [(45, 45)]
    corners = [s for s in plate.surfaces if s.form == "cylinder" and not s.hole and abs(s.radius_mm - 6) < 1e-9]
    assert len(corners) == 4
    assert [s.index for s in plate.surfaces] == list(range(len(plate.surfaces)))
    assert set(plate.face_surface.tolist()) == set(range(len(plate.surfaces)))


def test_plate_volume_by_hand(plate: Part) -> None:
    """Rounded box less two chamfered edges, bores, holes, counterbores and the slot-shaped groove."""
    b, pi = 0.3, math.pi
    area, around = 140 * 90 - (4 - pi) * 36, 2 * (128 + 78) + 2 * pi * 6
    volume = 14 * area - 2 * (around * b**2 / 2 - pi * b**3 / 3)  # inset outline: A - P t + π t²
    for r, deep in ((13.0, 9.0), (17.5, 11.0)):
        volume -= pi * r**2 * (deep - b) + pi * b / 3 * (r**2 + r * (r + b) + (r + b) ** 2)
    volume -= 14 * pi * (8 * 1.65**2 + 4 * 2.0**2 + 6 * 1.7**2) + 6 * 3.4 * pi * (3.25**2 - 1.7**2)
    volume -= 1.45 * (20 * 42.4 + pi * 21.2**2 - 20 * 37.6 - pi * 18.8**2)
    got = volume_mm3(plate.vertices_mm, plate.faces)
    assert got == pytest.approx(volume, rel=1e-4)
    assert 0 < plate.chord_mm <= 0.0101


@pytest.mark.parametrize("name", ["ice-core-plate", "valve-body", "soil-auger-coupling", "winch-side-frame"])
def test_example_designs_are_closed_and_lie_on_their_forms(name: str) -> None:
    part = read_part(EXAMPLES / name / "design.step")
    assert open_edges(part.faces) == 0
    assert volume_mm3(part.vertices_mm, part.faces) > 0
    for surface in part.surfaces:
        corners = part.vertices_mm[part.faces[part.face_surface == surface.index]]
        normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        size = np.linalg.norm(normals, axis=1)
        good = size > 1e-9
        middle = corners[good].mean(axis=1)
        moved, outward = on_form(surface, middle, normals[good] / size[good, None])
        assert np.linalg.norm(moved - middle, axis=1).max(initial=0) <= part.chord_mm + 1e-6, surface.name
        assert (outward * normals[good] / size[good, None]).sum(axis=1).min(initial=1) > 0.9, surface.name
        assert surface.form != "free", surface.name
        if surface.form == "plane":
            assert (normals[good] @ surface.axis).min() > 0, "a plane's axis is its outward normal"
    rims = edges(part)
    assert {tuple(sorted(pair)) for pair in rims.surfaces.tolist()}
    assert len(sample(part).point_mm) > 500


def test_cones_are_measured_from_their_apex() -> None:
    """The coupling's countersinks: 45° half angle, apex SINK above the lower face (examples/making)."""
    part = read_part(COUPLING)
    cones = [s for s in part.surfaces if s.form == "cone" and s.hole]
    assert cones
    for cone in cones:
        assert math.degrees(cone.half_angle_rad) == pytest.approx(45)
        assert cone.radius_mm == 0
        own = part.vertices_mm[part.faces[part.face_surface == cone.index]].reshape(-1, 3)
        off = own - cone.origin_mm
        high = off @ cone.axis
        rho = np.linalg.norm(off - high[:, None] * np.array(cone.axis), axis=1)
        assert np.abs(rho - high).max() < 1e-4


def test_inch_step_is_converted(tmp_path: Path) -> None:
    """The same file with its length unit declared as inch is 25.4 times as large."""
    text = COUPLING.read_text()
    number = re.search(r"(#\d+) = \( LENGTH_UNIT\(\) NAMED_UNIT\(\*\) SI_UNIT\(\.MILLI\.,\.METRE\.\) \);", text)
    assert number is not None
    inch = (
        f"{number.group(1)} = ( CONVERSION_BASED_UNIT('INCH',#90001) LENGTH_UNIT() NAMED_UNIT(#90003) );\n"
        "#90001 = LENGTH_MEASURE_WITH_UNIT(LENGTH_MEASURE(25.4),#90002);\n"
        "#90002 = ( LENGTH_UNIT() NAMED_UNIT(*) SI_UNIT(.MILLI.,.METRE.) );\n"
        "#90003 = DIMENSIONAL_EXPONENTS(1.,0.,0.,0.,0.,0.,0.);"
    )
    changed = text.replace(number.group(0), inch).encode()
    assert units_of_step(changed) == ("inch",)
    part = read(tmp_path, "inch.step", changed)
    plain = read_part(COUPLING)
    size, same = (np.ptp(p.vertices_mm, axis=0) for p in (part, plain))
    assert np.allclose(size, 25.4 * same, rtol=1e-3)  # the mesh is finer on the larger part
    assert size[2] == pytest.approx(25.4 * 32, rel=1e-6)
    assert refused(tmp_path, "inch.step", changed, "mm").startswith("F504")
    assert read(tmp_path, "inch.step", changed, "inch").chord_mm < 0.0101


def test_units_of_a_step_file() -> None:
    assert units_of_step(PLATE) == ("mm",)
    assert units_of_step(PLATE.replace(b"SI_UNIT(.MILLI.,.METRE.)", b"SI_UNIT($,.METRE.)")) == ("metre",)
    assert units_of_step(PLATE.replace(b"GLOBAL_UNIT_ASSIGNED_CONTEXT", b"GLOBAL")) == ()


@pytest.mark.parametrize(
    ("name", "raw"),
    [("a.stl", stl(BLOCK)), ("a.STL", stl_text(BLOCK)), ("a.3mf", three_mf(BLOCK)),
     ("a.3mf", three_mf(BLOCK / 25.4, "inch")), ("a.3mf", three_mf(BLOCK / 10, "centimeter"))],
)  # fmt: skip
def test_a_box_as_stl_and_3mf(name: str, raw: bytes, tmp_path: Path) -> None:
    part = read(tmp_path, name, raw, "mm" if name.lower().endswith("stl") else None)
    assert volume_mm3(part.vertices_mm, part.faces) == pytest.approx(12000, rel=1e-6)
    assert [s.form for s in part.surfaces] == ["plane"] * 6
    assert len(part.vertices_mm) == 8
    assert part.chord_mm == 0
    axes = sorted(tuple(np.round(s.axis).tolist()) for s in part.surfaces)
    assert axes == sorted([(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)])


def test_inside_out_mesh_is_turned(tmp_path: Path) -> None:
    part = read(tmp_path, "a.stl", stl(BLOCK[:, ::-1]), "inch")
    assert volume_mm3(part.vertices_mm, part.faces) == pytest.approx(12000 * 25.4**3, rel=1e-6)
    top = next(s for s in part.surfaces if abs(s.axis[2]) > 0.9 and abs(s.origin_mm[2]) < 1e-9)
    assert top.axis[2] == pytest.approx(1)


def test_3mf_transform_places_the_item(tmp_path: Path) -> None:
    """Row vectors times a 4x3 matrix: a quarter turn about Z that takes X to Y, then a shift."""
    raw = three_mf(BLOCK, transform="0 1 0 -1 0 0 0 0 1 100 200 300")
    part = read(tmp_path, "a.3mf", raw)
    assert part.vertices_mm.min(0).tolist() == [70, 200, 290]
    assert part.vertices_mm.max(0).tolist() == [100, 240, 300]


def test_error_of_a_plain_mesh_is_estimated_from_its_facets(tmp_path: Path) -> None:
    """A 24-sided prism round a 10 mm cylinder: sagitta r (1 - cos(π/24)); one smooth wall, two planes."""
    angles = 2 * math.pi * np.arange(24) / 24
    ring = np.column_stack([10 * np.cos(angles), 10 * np.sin(angles)])
    three = []
    for k in range(24):
        (x0, y0), (x1, y1) = ring[k], ring[(k + 1) % 24]
        three += [[(x0, y0, 0), (x1, y1, 0), (x1, y1, 20)], [(x0, y0, 0), (x1, y1, 20), (x0, y0, 20)]]
        three += [[(0, 0, 20), (x0, y0, 20), (x1, y1, 20)], [(0, 0, 0), (x1, y1, 0), (x0, y0, 0)]]
    part = read(tmp_path, "a.stl", stl(np.array(three, dtype=float)), "mm")
    assert sorted(s.form for s in part.surfaces) == ["free", "plane", "plane"]
    assert part.chord_mm == pytest.approx(10 * (1 - math.cos(math.pi / 24)), rel=0.02)


def test_nearest_surface(plate: Part) -> None:
    away, index = nearest_surfaces(plate, (25.0, 80.0, 0.0))[0]
    top = plate.surfaces[index]
    assert away < 1e-6
    assert (top.form, top.axis) == ("plane", (0.0, 0.0, 1.0))


def test_units_are_asked_and_contradictions_refused(tmp_path: Path) -> None:
    assert refused(tmp_path, "a.stl", stl(BLOCK)).startswith("F504")
    assert refused(tmp_path, "a.3mf", three_mf(BLOCK), "inch").startswith("F504")
    assert refused(tmp_path, "a.step", PLATE, "inch").startswith("F504")
    assert refused(tmp_path, "a.step", PLATE.replace(b"GLOBAL_UNIT_ASSIGNED_CONTEXT", b"GLOBAL")).startswith("F504")
    assert refused(tmp_path, "a.stl", stl(BLOCK / 1000), "mm").startswith("F504")


def test_open_and_broken_meshes(tmp_path: Path) -> None:
    assert refused(tmp_path, "a.stl", stl(BLOCK[:-1]), "mm") == (
        "F503 a.stl: the mesh is not closed: 3 edges lack their second triangle"
    )
    doubled = np.concatenate([BLOCK, BLOCK[:1]])
    assert refused(tmp_path, "a.stl", stl(doubled), "mm").startswith("F503")
    nan = BLOCK.copy()
    nan[0, 0, 0] = math.nan
    assert refused(tmp_path, "a.stl", stl(nan), "mm").startswith("F502")
    assert refused(tmp_path, "a.stl", stl(BLOCK[:0]), "mm").startswith("F502")
    assert refused(tmp_path, "a.stl", b"", "mm").startswith("F502")
    assert refused(tmp_path, "a.stl", stl_text(BLOCK).replace(b"4.0", b"4,0"), "mm").startswith("F502")
    assert refused(tmp_path, "a.stl", stl_text(BLOCK)[:-100], "mm").startswith("F502")
    assert refused(tmp_path, "a.obj", b"v 0 0 0", "mm").startswith("F502")
    assert refused(tmp_path, "a.3mf", b"PK nothing").startswith("F502")
    assert refused(tmp_path, "a.3mf", three_mf(BLOCK, "cubit")).startswith("F502")
    assert refused(tmp_path, "a.3mf", three_mf(BLOCK, transform="1 0 0")).startswith("F502")
    assert refused(tmp_path, "a.step", b"solid").startswith("F504")
    assert refused(tmp_path, "a.step", b"solid", "mm").startswith("F502")
    assert refused(tmp_path, "a.step", PLATE[: len(PLATE) // 2]).startswith("F50")
    with pytest.raises(PartError, match="F001"):
        read_part(tmp_path / "none.step")


def test_two_bodies_that_touch_along_an_edge_are_still_closed(tmp_path: Path) -> None:
    both = np.concatenate([BLOCK, box_triangles((40.0, 30.0, -10.0), (50.0, 40.0, 0.0))])
    part = read(tmp_path, "a.stl", stl(both), "mm")
    assert volume_mm3(part.vertices_mm, part.faces) == pytest.approx(13000, rel=1e-6)


def changed(raw: bytes, seed: int) -> bytes:
    pick = random.Random(seed)
    data = bytearray(raw)
    for _ in range(pick.choice((1, 1, 3, 10))):
        at, way = pick.randrange(len(data)), pick.randrange(3)
        if way == 0:
            data[at] = pick.randrange(256)
        elif way == 1:
            del data[at : at + pick.randrange(1, 80)]
        else:
            data[at:at] = data[pick.randrange(len(data)) :][: pick.randrange(1, 80)]
    return bytes(data)


@pytest.mark.parametrize("kind", ["stl", "text.stl", "3mf"])
def test_changed_meshes_are_a_part_or_complaints(kind: str, tmp_path: Path) -> None:
    raw = {"stl": stl(BLOCK), "text.stl": stl_text(BLOCK), "3mf": three_mf(BLOCK)}[kind]
    for seed in range(150):
        try:
            part = read(tmp_path, f"a.{kind}", changed(raw, seed), None if kind == "3mf" else "mm")
        except PartError as error:
            assert all(c.code.startswith("F50") for c in error.complaints), f"seed {seed}"
        else:
            assert open_edges(part.faces) == 0, f"seed {seed}"


def test_a_step_file_that_crashes_its_reader_is_a_complaint(tmp_path: Path) -> None:
    """The foreign reader breaks down over some changed files: it must not take us with it."""
    raw = COUPLING.read_bytes()
    for seed in range(6):
        try:
            part = read(tmp_path, "a.step", changed(raw, seed))
        except PartError as error:
            assert all(c.code.startswith("F50") for c in error.complaints), f"seed {seed}"
        else:
            assert open_edges(part.faces) == 0, f"seed {seed}"


def test_every_form_of_a_step_file() -> None:
    """Sizes from test_files_data/making.py; the spline wall is free form and sets the error bound."""
    part = read_part(DATA / "forms.step")
    assert sorted(s.form for s in part.surfaces) == ["cylinder"] * 2 + ["free"] + ["plane"] * 9 + ["sphere", "torus"]
    by = {s.form: s for s in part.surfaces}
    assert by["sphere"].radius_mm == pytest.approx(8)
    assert by["sphere"].origin_mm == pytest.approx((-15, 0, 5))
    assert not by["sphere"].hole
    assert by["torus"].radius_mm == pytest.approx(2)
    assert by["torus"].origin_mm == pytest.approx((12, 0, 13))
    assert {(s.radius_mm, s.hole) for s in part.surfaces if s.form == "cylinder"} == {(2.0, True), (6.0, False)}
    assert part.chord_mm == 0.02
    ball = part.vertices_mm[part.faces[part.face_surface == by["sphere"].index]].mean(axis=1)
    assert np.abs(np.linalg.norm(ball - (-15, 0, 5), axis=1) - 8).max() < part.chord_mm
    assert open_edges(part.faces) == 0
    # volume of the exact solid as its maker states it (no mesh): 26143.852 mm³
    assert volume_mm3(part.vertices_mm, part.faces) == pytest.approx(26143.852, rel=2e-4)


def test_bodies_of_an_assembly_lie_where_it_puts_them() -> None:
    """A box turned by 90° at X100 and a bar along Y: worked by hand."""
    part = read_part(DATA / "assembly.step")
    assert len(part.surfaces) == 9
    corners = part.vertices_mm[part.faces]
    box = corners[corners[:, :, 0].min(axis=1) > 50].reshape(-1, 3)
    assert box.min(0) == pytest.approx((90, -5, -15), abs=2e-5)
    assert box.max(0) == pytest.approx((110, 5, 15), abs=2e-5)
    bar = next(s for s in part.surfaces if s.form == "cylinder")
    assert abs(bar.axis[1]) == pytest.approx(1)
    assert (bar.origin_mm[0], bar.origin_mm[2]) == pytest.approx((0, 7), abs=1e-5)
    own = part.vertices_mm[part.faces[part.face_surface == bar.index]].reshape(-1, 3)
    assert (own[:, 1].min(), own[:, 1].max()) == pytest.approx((44, 56), abs=1e-4)
    volume = 10 * 20 * 30 + math.pi * 25 * 12
    assert volume_mm3(part.vertices_mm, part.faces) == pytest.approx(volume, rel=3e-4)
