"""Design and stock meshes: STEP, STL and 3MF files into a Part in mm, with its units and closedness checked."""

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from halfthou.base.errors import Complaint, PartError
from halfthou.base.place import Place
from halfthou.base.units import MM_PER_INCH
from halfthou.files.bands import BANDS
from halfthou.files.mesh_step import NotReadable, Solid, merge, solid_of_step, units_of_step
from halfthou.files.mesh_stl import triangles_of_3mf, triangles_of_stl
from halfthou.nouns.part import Part, Surface

F8 = NDArray[np.float64]
I4 = NDArray[np.int32]
Say = Callable[[str, str, str], None]
CREASE_RAD = math.radians(20)
FLAT_MM = 0.001
KINDS = {".step": "STEP", ".stp": "STEP", ".stl": "STL", ".3mf": "3MF"}


def read_part(path: Path, units: str | None = None, threads_as: str = "") -> Part:
    """A design file on its own; raises PartError with every complaint. units: "mm" or "inch", needed for STL."""
    complaints: list[Complaint] = []
    place = Place(file=str(path))
    try:
        raw = path.read_bytes()
    except OSError as error:
        what = f"the file {path} cannot be read: {(error.strerror or 'unknown reason').lower()}"
        raise PartError([Complaint(code="F001", place=place, what=what, do="check the name")]) from error
    part = part_of(path.name, raw, units, place, complaints, threads_as=threads_as)
    if part is None or complaints:
        raise PartError(complaints)
    return part


def part_of(
    name: str, raw: bytes, units: str | None, place: Place, complaints: list[Complaint], *, threads_as: str = ""
) -> Part | None:
    """A mesh file's bytes as a Part in mm; None after a complaint at `place`. The kind goes by the name's ending."""
    ending = "." + name.lower().rsplit(".", 1)[-1]
    kind = KINDS.get(ending, "")

    def say(code: str, what: str, do: str) -> None:
        complaints.append(Complaint(code=code, place=place, what=f"{name}: {what}", do=do))

    if not kind:
        say("F502", f"files ending in {ending} are not read", "export the design as STEP, else as STL or 3MF")
        return None
    try:
        solid = _solid(kind, raw, units, say)
    except NotReadable as error:
        say("F502", f"cannot be read as {kind}: {error}", "export it again as a solid body")
        return None
    if solid is None:
        return None
    vertices, faces = solid.vertices_mm, solid.faces
    gaps = open_edges(faces)
    if gaps:
        say(
            "F503",
            f"the mesh is not closed: {gaps} edges lack their second triangle",
            "export one solid body, without open surfaces or bodies that share a face",
        )
        return None
    surfaces = solid.surfaces
    if volume_mm3(vertices, faces) < 0:
        faces = np.ascontiguousarray(faces[:, ::-1])
        surfaces = tuple(_turned_round(surface) for surface in surfaces)
    _judge_size(vertices, say)
    return Part(
        name=name, vertices_mm=vertices, faces=faces, face_surface=solid.face_surface, surfaces=surfaces,
        chord_mm=solid.chord_mm, threads_as=threads_as,
    )  # fmt: skip


def _turned_round(surface: Surface) -> Surface:
    """A face whose triangles were inside out."""
    x, y, z = surface.axis
    if surface.form == "plane":
        return replace(surface, axis=(-x, -y, -z))
    return replace(surface, hole=not surface.hole) if surface.form in ("cylinder", "cone", "sphere") else surface


def _solid(kind: str, raw: bytes, units: str | None, say: Say) -> Solid | None:
    """The triangles in mm; None after a complaint about units."""
    if kind == "STEP":
        inside = units_of_step(raw)
        if units and inside and units not in inside:
            say(
                "F504",
                f"the STEP file states {' and '.join(inside)}, the job states {units}",
                f"leave units out, or write units = {inside[0]!r} if the file is right",
            )
            return None
        if not inside and units != "mm":
            say("F504", "the STEP file does not state its length unit", 'if it is in mm, write units = "mm"')
            return None
        return solid_of_step(raw)
    if kind == "3MF":
        points, faces, mm = triangles_of_3mf(raw)
        stated = {25.4: "inch", 1.0: "mm"}.get(mm)
        if units and units != stated:
            said = stated or f"a unit of {mm:g} mm"
            say("F504", f"the 3MF file states {said}, the job states {units}", "leave units out")
            return None
        return _grouped(points * mm, faces)
    if units is None:
        say("F504", "an STL file carries no unit", 'write units = "mm" or units = "inch" beside its name')
        return None
    points, faces = triangles_of_stl(raw)
    return _grouped(points * (MM_PER_INCH if units == "inch" else 1.0), faces)


def _judge_size(vertices: F8, say: Say) -> None:
    size = vertices.max(0) - vertices.min(0)
    band = BANDS["stock size"]
    if size.max() < band.low or size.max() > band.high:
        shown = " x ".join(f"{v:.4g}" for v in size)
        say("F504", f"it would be {shown} mm large, outside the plausible {band.range_text()}", "check its units")


def open_edges(faces: NDArray[np.int32]) -> int:
    """How many directed edges of faces (m,3) lack their opposite."""
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).astype(np.int64)
    n = int(faces.max()) + 1 if len(faces) else 1
    there, back = edges[:, 0] * n + edges[:, 1], edges[:, 1] * n + edges[:, 0]
    keys, counts = np.unique(there, return_counts=True)
    backs, back_counts = np.unique(back, return_counts=True)
    at = np.minimum(np.searchsorted(backs, keys), len(backs) - 1)
    good = (backs[at] == keys) & (back_counts[at] == counts)
    return int((~good).sum())


def volume_mm3(vertices: F8, faces: NDArray[np.int32]) -> float:
    """Signed volume of a closed mesh: sum of the tetrahedra to the origin (divergence theorem)."""
    a, b, c = (vertices[faces[:, k]] - vertices.mean(0) for k in range(3))
    return float((a * np.cross(b, c)).sum() / 6)


def _grouped(points: F8, faces: NDArray[np.int64]) -> Solid:
    """Plain triangles with surfaces between creases: planes where flat, else free; the mesh error from its facets."""
    vertices, triangles, _ = merge(points, faces)
    if not len(triangles):
        raise NotReadable("there is no triangle in it that has an area")
    corners = vertices[triangles]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    double = np.linalg.norm(cross, axis=1)
    normals = cross / np.maximum(double, 1e-300)[:, None]
    edges = np.sort(np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(triangles)), 3)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    same = np.flatnonzero((edges[order[1:]] == edges[order[:-1]]).all(axis=1))
    one, two = owner[order[same]], owner[order[same + 1]]
    angle = np.arccos(np.clip((normals[one] * normals[two]).sum(axis=1), -1.0, 1.0))
    smooth = (angle < CREASE_RAD) | (double[one] < 1e-12) | (double[two] < 1e-12)
    length = np.linalg.norm(vertices[edges[order[same], 0]] - vertices[edges[order[same], 1]], axis=1)
    width = np.minimum(double[one], double[two]) / np.maximum(length, 1e-300)
    sag = width * np.tan(angle / 4) / 2  # of a chord seen under this angle (plane geometry); an estimate
    bent = smooth & (angle > 1e-4) & (double[one] > 1e-9) & (double[two] > 1e-9)
    group = _joined(len(triangles), one[smooth], two[smooth])
    surfaces = tuple(_group_surface(k, corners[group == k], cross[group == k]) for k in range(int(group.max()) + 1))
    chord = float(sag[bent].max()) if bent.any() else 0.0
    return Solid(vertices_mm=vertices, faces=triangles, face_surface=group, surfaces=surfaces, chord_mm=chord)


def _joined(n: int, one: NDArray[np.int64], two: NDArray[np.int64]) -> I4:
    """Number of the connected group of each of n things."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    graph = coo_array((np.ones(len(one)), (one, two)), shape=(n, n))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int32)


def _group_surface(index: int, corners: F8, cross: F8) -> Surface:
    way = cross.sum(axis=0)
    size = float(np.linalg.norm(way))
    name = f"face {index + 1}"
    if size > 1e-12:
        way = way / size
        origin = corners.reshape(-1, 3).mean(axis=0)
        if np.abs((corners.reshape(-1, 3) - origin) @ way).max() < FLAT_MM:
            o, w = origin.tolist(), way.tolist()
            return Surface(
                index=index, name=f"{name} (plane)", form="plane", origin_mm=(o[0], o[1], o[2]), axis=(w[0], w[1], w[2])
            )  # fmt: skip
    return Surface(index=index, name=f"{name} (free form)", form="free")


def nearest_surfaces(part: Part, point_mm: tuple[float, float, float]) -> list[tuple[float, int]]:
    """(distance in mm, index) of every surface of the part from a point, nearest first."""
    from trimesh.triangles import closest_point

    corners = part.vertices_mm[part.faces]
    spot = np.broadcast_to(np.array(point_mm, dtype=np.float64), (len(corners), 3))
    away = np.linalg.norm(closest_point(corners, spot) - spot, axis=1)
    best = np.full(len(part.surfaces), np.inf)
    np.minimum.at(best, part.face_surface, away)
    return sorted((float(d), k) for k, d in enumerate(best) if math.isfinite(d))
