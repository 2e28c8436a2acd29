"""Mesh files read back: closed, same volume, same labels, same bytes; and what is refused."""

import csv
import io
import json
import zipfile
from pathlib import Path

import numpy as np
import pytest
import trimesh

from halfthou.base.errors import Cancelled, InputError
from halfthou.base.watch import Watch
from halfthou.files import out_3mf
from halfthou.files.mesh import part_of
from halfthou.files.out_3mf import DEVIATION_PART, LABELS_PART, threemf_of, write_3mf
from halfthou.files.out_colour import AT, INSIDE, NOT_KNOWN, OUTSIDE, linear, palette, scale_of
from halfthou.files.out_glb import glb_of, write_glb
from halfthou.files.out_stl import stl_of, write_stl
from halfthou.nouns.mesh import LABELS, Mesh

SEED = 20261125


def ball(deviation: bool = False, most_move: int = 400) -> Mesh:
    """A closed lump off the origin with random labels; mirrored volume and ordering mistakes would show."""
    rng = np.random.default_rng(SEED)
    lump = trimesh.creation.icosphere(subdivisions=2, radius=1.0)
    points = np.asarray(lump.vertices) * [31.7, 12.3, 7.9] + [100.1, -55.5, 3.3]
    m = len(lump.faces)
    away = rng.normal(0, 0.02, len(points)) if deviation else None
    if away is not None:
        away[3] = np.nan
    return Mesh(
        points_mm=points, triangles=np.asarray(lump.faces, dtype=np.int32), operation=rng.integers(-1, 2, m),
        tool=rng.integers(-1, 13, m), move=rng.integers(-1, most_move, m), deviation_mm=away, name="lump <&\"'\x01",
    )  # fmt: skip


def volume_mm3(mesh: Mesh) -> float:
    return float(trimesh.Trimesh(mesh.points_mm, mesh.triangles, process=False).volume)


def read(data: bytes, kind: str) -> trimesh.Trimesh:
    return trimesh.load(io.BytesIO(data), file_type=kind, force="mesh")


def label_rows(mesh: Mesh) -> np.ndarray:
    return np.stack([getattr(mesh, name) for name in LABELS], axis=1)


def stl_labels(data: bytes) -> tuple[np.ndarray, list[str]]:
    """Own reader of the attribute field by what the header says."""
    layout = [word.split(":") for word in data[:80].decode("ascii").split("attribute")[1].split()]
    m = int.from_bytes(data[80:84], "little")
    field = [int.from_bytes(data[84 + 50 * k + 48 : 84 + 50 * k + 50], "little") for k in range(m)]
    columns = []
    for _, bits in reversed(layout):
        columns.append([value % 2 ** int(bits) - 1 for value in field])
        field = [value // 2 ** int(bits) for value in field]
    assert not any(field)
    return np.array(columns[::-1]).T, [name for name, _ in layout]


def test_stl_is_closed_with_volume_and_labels() -> None:
    mesh = ball(most_move=400)
    out = stl_of(mesh)
    back = read(out.data, "stl")
    assert back.is_watertight and len(back.faces) == len(mesh.triangles)
    assert back.volume == pytest.approx(volume_mm3(mesh), rel=1e-5)  # 32-bit corners
    assert not out.data.startswith(b"solid")
    labels, names = stl_labels(out.data)
    assert names == ["op", "tool", "move"]
    np.testing.assert_array_equal(labels, label_rows(mesh))
    assert any("32-bit" in line for line in out.said)
    reread = part_of("lump.stl", out.data, "mm", None, [])  # type: ignore[arg-type]
    assert reread is not None and len(reread.faces) == len(mesh.triangles)


def test_stl_labels_that_do_not_fit_are_left_out_and_said() -> None:
    mesh = ball(most_move=60_000)
    out = stl_of(mesh)
    attribute = np.frombuffer(out.data[84:], dtype=np.uint8).reshape(-1, 50)[:, 48:]
    assert not attribute.any() and b"attribute" not in out.data[:80]
    assert any("no label is written" in line for line in out.said)
    alone = stl_of(mesh, labels=["move"])
    labels, names = stl_labels(alone.data)
    assert names == ["move"] and not any("no label" in line for line in alone.said)
    np.testing.assert_array_equal(labels[:, 0], mesh.move)


def test_points_that_fall_together_as_32_bit_floats_are_said() -> None:
    mesh = ball()
    far = Mesh(**{**fields(mesh), "points_mm": mesh.points_mm * 1e-3 + [1e5, 0, 0]})  # type: ignore[arg-type]
    flat = Mesh(**{**fields(mesh), "points_mm": far.points_mm * [1, 0, 0]})  # type: ignore[arg-type]
    assert any("fell on others" in line for line in stl_of(flat).said)
    assert not any("fell on others" in line for line in stl_of(mesh).said)
    exact = threemf_of(far)
    assert read(exact.data, "3mf").is_watertight and not any("32-bit" in line for line in exact.said)


def test_stl_normals_point_outward() -> None:
    mesh = ball()
    rows = np.frombuffer(stl_of(mesh).data[84:], dtype=np.uint8).reshape(-1, 50)[:, :48].copy().view("<f4")
    middle = rows[:, 3:].reshape(-1, 3, 3).mean(axis=1)
    assert ((middle - mesh.points_mm.mean(axis=0)) * rows[:, :3]).sum(axis=1).min() > 0


def test_3mf_is_exact() -> None:
    mesh = ball(deviation=True)
    out = threemf_of(mesh, limit_mm=0.03)
    back = read(out.data, "3mf")
    assert back.is_watertight
    assert back.volume == pytest.approx(volume_mm3(mesh), rel=1e-12)
    complaints: list = []  # type: ignore[type-arg]
    reread = part_of("lump.3mf", out.data, None, None, complaints)  # type: ignore[arg-type]
    assert reread is not None and not complaints
    assert {tuple(p) for p in reread.vertices_mm} == {tuple(p) for p in mesh.points_mm}  # bit for bit
    with zipfile.ZipFile(io.BytesIO(out.data)) as box:
        assert box.testzip() is None
        rows = list(csv.reader(io.StringIO(box.read(LABELS_PART).decode())))
        away = box.read(DEVIATION_PART).decode().split("\n")[1:-1]
        model = box.read("3D/3dmodel.model").decode()
        assert {info.date_time for info in box.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    assert tuple(rows[0]) == LABELS
    np.testing.assert_array_equal(np.array(rows[1:], dtype=np.int64), label_rows(mesh))
    np.testing.assert_array_equal([float(v or "nan") for v in away], mesh.deviation_mm)
    assert 'type="model"' in model and "at +0.03 mm and above" in model


def test_3mf_in_blocks_is_the_same_and_stops_when_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    mesh = ball(deviation=True)
    whole = threemf_of(mesh).data
    monkeypatch.setattr(out_3mf, "BLOCK", 7)

    def parts(data: bytes) -> list[bytes]:
        with zipfile.ZipFile(io.BytesIO(data)) as box:
            return [box.read(name) for name in box.namelist()]

    assert parts(threemf_of(mesh).data) == parts(whole)
    with pytest.raises(Cancelled):
        threemf_of(mesh, None, Watch(asked_to_stop=lambda: True))


def glb_parts(data: bytes) -> tuple[dict, dict[str, np.ndarray], np.ndarray]:  # type: ignore[type-arg]
    """Own reader: (scene, attributes, triangles)."""
    assert data[:4] == b"glTF" and int.from_bytes(data[8:12], "little") == len(data)
    size = int.from_bytes(data[12:16], "little")
    scene = json.loads(data[20 : 20 + size])
    body = data[28 + size :]

    def rows(k: int) -> np.ndarray:
        entry = scene["accessors"][k]
        view = scene["bufferViews"][entry["bufferView"]]
        assert view["byteOffset"] % 4 == 0
        kind = {5126: "<f4", 5125: "<u4", 5123: "<u2"}[entry["componentType"]]
        raw = body[view["byteOffset"] : view["byteOffset"] + view["byteLength"]]
        return np.frombuffer(raw, dtype=kind).reshape(entry["count"], -1)

    first = scene["meshes"][0]["primitives"][0]
    return scene, {name: rows(k) for name, k in first["attributes"].items()}, rows(first["indices"]).reshape(-1, 3)


def test_glb_labels_are_those_of_the_triangles() -> None:
    mesh = ball(deviation=True, most_move=2**24)
    out = glb_of(mesh)
    scene, attributes, triangles = glb_parts(out.data)
    for name, label in (("_MOVE", mesh.move), ("_TOOL", mesh.tool), ("_OPERATION", mesh.operation)):
        corners = attributes[name][triangles][:, :, 0]
        np.testing.assert_array_equal(corners, np.repeat(label[:, None], 3, axis=1))
    np.testing.assert_array_equal(attributes["POSITION"][triangles], mesh.points_mm.astype("f4")[mesh.triangles])
    known = attributes["_DEVIATION_KNOWN"][triangles][:, :, 0] == 1
    away = mesh.deviation_mm[mesh.triangles]  # type: ignore[index]
    np.testing.assert_array_equal(known, ~np.isnan(away))
    np.testing.assert_array_equal(attributes["_DEVIATION_MM"][triangles][:, :, 0][known], away[known].astype("f4"))
    assert "orange" in scene["meshes"][0]["extras"]["deviation"]
    assert {"min", "max"} <= set(scene["accessors"][0])


def test_glb_is_closed_in_metres_with_y_up() -> None:
    mesh = ball(deviation=True)
    back = read(glb_of(mesh).data, "glb")
    back = trimesh.Trimesh(back.vertices, back.faces, process=False)
    back.merge_vertices(merge_tex=True, merge_norm=True)
    assert back.is_watertight
    assert back.volume == pytest.approx(volume_mm3(mesh) * 1e-9, rel=1e-5)
    low, high = mesh.points_mm.min(axis=0), mesh.points_mm.max(axis=0)
    want = np.array([[low[0], low[2], -high[1]], [high[0], high[2], -low[1]]]) / 1000
    np.testing.assert_allclose(back.bounds, want, atol=1e-6)


def test_glb_label_beyond_a_float_is_left_out_and_said() -> None:
    mesh = ball()
    move = mesh.move.copy()
    move[0] = 2**24 + 1
    out = glb_of(Mesh(**{**fields(mesh), "move": move}))
    _, attributes, _ = glb_parts(out.data)
    assert "_MOVE" not in attributes and "_TOOL" in attributes
    assert any(line.startswith("move goes beyond") for line in out.said)


def fields(mesh: Mesh) -> dict[str, object]:
    return {name: getattr(mesh, name) for name in Mesh.__dataclass_fields__}


def test_equal_meshes_give_equal_bytes_and_other_labels_other_bytes() -> None:
    one, two = ball(deviation=True), ball(deviation=True)
    other = Mesh(**{**fields(one), "tool": one.tool + 1})  # type: ignore[arg-type]
    minus = Mesh(**{**fields(one), "points_mm": one.points_mm * [1, 1, 0]})  # type: ignore[arg-type]
    zero = Mesh(**{**fields(one), "points_mm": one.points_mm * [1, 1, -0.0]})  # type: ignore[arg-type]
    for write in (stl_of, threemf_of, glb_of):
        assert write(one).data == write(two).data != write(other).data
        assert write(minus).data == write(zero).data  # -0.0 is 0.0


def test_written_files_are_whole_or_not_there(tmp_path: Path) -> None:
    mesh = ball()
    for write, name in ((write_stl, "a.stl"), (write_3mf, "a.3mf"), (write_glb, "a.glb")):
        said = write(mesh, tmp_path / name)
        assert isinstance(said, tuple) and (tmp_path / name).stat().st_size > 1000
        with pytest.raises(InputError) as caught:
            write(mesh, tmp_path / "missing" / name)
        assert [c.code for c in caught.value.complaints] == ["F591"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.3mf", "a.glb", "a.stl"]


@pytest.mark.parametrize("write", [stl_of, threemf_of, glb_of])
def test_empty_mesh_is_refused(write) -> None:  # type: ignore[no-untyped-def]
    none = np.zeros(0, dtype=np.int32)
    empty = Mesh(points_mm=np.zeros((0, 3)), triangles=none.reshape(0, 3), operation=none, tool=none, move=none)
    assert empty.closed_manifold() == ("there is no triangle in it",)
    with pytest.raises(ValueError, match="no triangle to write"):
        write(empty)


def test_an_open_mesh_is_written_and_said() -> None:
    mesh = ball()
    torn = Mesh(**{**fields(mesh), **{n: getattr(mesh, n)[1:] for n in ("triangles", *LABELS)}})  # type: ignore[arg-type]
    for write in (stl_of, threemf_of, glb_of):
        assert any("not closed" in line for line in write(torn).said)
        assert not any("not closed" in line for line in write(mesh).said)
    with zipfile.ZipFile(io.BytesIO(threemf_of(torn).data)) as box:
        assert b'type="surface"' in box.read("3D/3dmodel.model")


@pytest.mark.parametrize("limit", [0.0, -1.0, float("nan"), float("inf")])
def test_a_scale_without_a_limit_is_refused(limit: float) -> None:
    for write in (threemf_of, glb_of):
        with pytest.raises(ValueError, match="above 0"):
            write(ball(deviation=True), limit)


def test_unknown_label_is_refused() -> None:
    for labels in (["pass"], ["move", "move"]):
        with pytest.raises(ValueError, match="labels are"):
            stl_of(ball(), labels=labels)


def test_scale_saturates_is_symmetric_and_marks_what_is_not_known() -> None:
    scale = scale_of(np.array([0.01, np.nan, -0.2]))
    assert scale.limit_mm == 0.2
    step = scale.step_of(np.array([-9.0, -0.2, 0.0, 0.2, 9.0, np.nan]))
    np.testing.assert_allclose(palette()[step], [INSIDE, INSIDE, AT, OUTSIDE, OUTSIDE, NOT_KNOWN], atol=1e-12)
    assert scale_of(np.array([np.nan])).limit_mm == 1.0


#: Dichromat model in linear light: G. M. Machado et al. 2009, severity 1 (from memory; rows sum to 1).
DICHROMATS = {
    "red": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "green": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "blue": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def lab(light: np.ndarray) -> np.ndarray:
    """CIE L*a*b* of linear sRGB light, D65 (CIE 15, IEC 61966-2-1; from memory)."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    part = (light @ to_xyz.T) / to_xyz.sum(axis=1)
    f = np.where(part > 216 / 24389, np.cbrt(part), (24389 / 27 * part + 16) / 116)
    return np.stack([116 * f[:, 1] - 16, 500 * (f[:, 0] - f[:, 1]), 200 * (f[:, 1] - f[:, 2])], axis=1)


@pytest.mark.parametrize("eye", [None, *DICHROMATS])
def test_scale_reads_for_every_eye(eye: str | None) -> None:
    light = linear(palette()[:-1])
    if eye:
        matrix = np.array(DICHROMATS[eye])
        np.testing.assert_allclose(matrix.sum(axis=1), 1.0, atol=2e-6)
        light = np.clip(light @ matrix.T, 0, 1)
    seen = lab(light)
    half = len(seen) // 2
    assert np.linalg.norm(seen[0] - seen[-1]) > 40  # the ends are told apart (just noticeable: about 2)
    assert np.linalg.norm(seen[half // 2] - seen[half + half // 2]) > 20
    assert (np.diff(seen[: half + 1, 0]) > 0).all() and (np.diff(seen[half:, 0]) < 0).all()  # darker away from zero
