"""STEP files as triangles that know which face of the model they belong to, and the exact form of each face."""

import io
import math
import re
import subprocess
import sys
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfthou.base.errors import OurFault
from halfthou.nouns.part import Surface

F8 = NDArray[np.float64]
DEFLECTION_MM = 0.01
"""Linear deflection asked of the mesher. It keeps it nearly: 0.0113 mm was measured on a ball of 4 mm diameter."""
FREE_MM = 2 * DEFLECTION_MM
"""Error bound of the mesh where the exact form is not known: twice what was asked, a margin without a source."""
ANGLE_RAD = 0.15
LONGEST_S = 600
NO_READER = 3
_CHILD = """
import os, sys
out = os.dup(1)
os.dup2(2, 1)
raw = sys.stdin.buffer.read()
try:
    from cascadio import to_glb_bytes
except ImportError:
    sys.exit(3)
try:
    glb = to_glb_bytes(raw, tol_linear=float(sys.argv[1]), tol_angular=float(sys.argv[2]), include_brep=True)
except Exception:
    sys.exit(2)
with os.fdopen(out, "wb") as pipe:
    pipe.write(glb)
"""
FITS_MM = 0.005  # corners of a face's triangles lie this near to its stated form, or the form is not believed
FORMS = {"Plane": "plane", "Cylinder": "cylinder", "Cone": "cone", "Sphere": "sphere", "Torus": "torus"}
_ENTITY = re.compile(r"#(\d+)\s*=\s*(.*?);", re.DOTALL)
_CONTEXT = re.compile(r"GLOBAL_UNIT_ASSIGNED_CONTEXT\s*\(\s*\(([^()]*)\)")


class NotReadable(Exception):
    """A mesh file cannot be read; the text says why."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Solid:
    """Triangles in mm: vertices f8 (n,3), faces i4 (m,3), face_surface i4 (m,). chord_mm: error bound of the mesh."""

    vertices_mm: F8
    faces: NDArray[np.int32]
    face_surface: NDArray[np.int32]
    surfaces: tuple[Surface, ...]
    chord_mm: float


def units_of_step(raw: bytes) -> tuple[str, ...]:
    """The length units the file's contexts state: "mm", "inch", or another name in lower case; () when none."""
    text = re.sub(r"/\*.*?\*/", "", raw.decode("latin-1"), flags=re.DOTALL)
    entities = dict(_ENTITY.findall(text))
    found = []
    for body in entities.values():
        for group in _CONTEXT.findall(body):
            for number in re.findall(r"#(\d+)", group):
                unit = entities.get(number, "")
                if "LENGTH_UNIT" in unit:
                    found.append(_unit_name(unit))
    return tuple(sorted(set(found)))


def _unit_name(entity: str) -> str:
    named = re.search(r"CONVERSION_BASED_UNIT\s*\(\s*'([^']*)'", entity)
    if named:
        name = named.group(1).strip().lower()
        return {"inch": "inch", "inches": "inch", "in": "inch", "millimetre": "mm", "millimeter": "mm"}.get(name, name)
    prefix = re.search(r"SI_UNIT\s*\(\s*(?:\.(\w+)\.|\$)\s*,\s*\.METRE\.", entity)
    if not prefix:
        return "not known"
    return {"MILLI": "mm", None: "metre"}.get(prefix.group(1), f"{prefix.group(1)}metre".lower())


def solid_of_step(raw: bytes) -> Solid:
    """The bodies of a STEP file, meshed; raises NotReadable.

    The reader gives metres in single precision: coordinates are good to about 1e-5 mm per 100 mm.
    """
    if not raw.lstrip()[:13].startswith(b"ISO-10303-21"):
        raise NotReadable("it does not begin with ISO-10303-21, so it is no STEP file")
    if b"END-ISO-10303-21" not in raw:
        raise NotReadable("its last line END-ISO-10303-21 is missing: it was cut off")
    scene = _scene(raw)
    points, faces, owner = [], [], []
    surfaces: list[Surface] = []
    chord = 0.0
    n_points = 0
    for node in sorted(scene.graph.nodes_geometry):
        pose, name = scene.graph[node]
        mesh = scene.geometry[name]
        pose = np.array(pose, dtype=np.float64)
        vertices = (np.asarray(mesh.vertices, dtype=np.float64) @ pose[:3, :3].T + pose[:3, 3]) * 1000.0
        corners = np.asarray(mesh.faces, dtype=np.int64)
        number = np.asarray(mesh.face_attributes["brep_index"], dtype=np.int64).ravel()
        forms = {p.face_index: p for p in mesh.metadata["cascadio"]["brep_primitives"] if p is not None}
        for index in np.unique(number):
            own = np.flatnonzero(number == index)
            surface, error = _surface(forms.get(int(index)), pose, vertices[corners[own]], len(surfaces))
            surfaces.append(surface)
            chord = max(chord, error)
            faces.append(corners[own] + n_points)
            owner.append(np.full(len(own), surface.index, dtype=np.int32))
        points.append(vertices)
        n_points += len(vertices)
    if not faces:
        raise NotReadable("there is no solid body in it")
    merged, triangles, kept = merge(np.concatenate(points), np.concatenate(faces))
    return Solid(
        vertices_mm=merged, faces=triangles, face_surface=np.concatenate(owner)[kept], surfaces=tuple(surfaces),
        chord_mm=chord,
    )  # fmt: skip


def _scene(raw: bytes) -> Any:
    """The meshed bodies. The reader runs as a process of its own: broken files make it crash, and it prints."""
    import trimesh

    job = [sys.executable, "-c", _CHILD, str(DEFLECTION_MM), str(ANGLE_RAD)]
    try:
        done = subprocess.run(job, input=raw, capture_output=True, check=False, timeout=LONGEST_S)
    except subprocess.TimeoutExpired as error:
        raise NotReadable(f"the STEP reader did not come to an end in {LONGEST_S} s") from error
    if done.returncode == NO_READER:
        raise OurFault("the STEP reader (package cascadio) cannot be loaded")
    if done.returncode < 0 or done.returncode > NO_READER:
        raise NotReadable("the STEP reader broke down over it")
    if done.returncode or not done.stdout:
        raise NotReadable("no body could be read from it")
    try:
        return trimesh.load_scene(io.BytesIO(done.stdout), file_type="glb", process=False)
    except Exception as error:  # foreign code: whatever it raises means that this file cannot be used
        raise NotReadable(f"the STEP reader gave up ({type(error).__name__})") from error


def merge(points: F8, faces: NDArray[Any]) -> tuple[F8, NDArray[np.int32], NDArray[np.int64]]:
    """Equal corners become one; triangles that lose a corner go. Returns points, faces, rows of the faces kept."""
    unique, where = np.unique(points + 0.0, axis=0, return_inverse=True)
    triangles = where.reshape(-1)[faces]
    a, b, c = triangles.T
    kept = np.flatnonzero((a != b) & (b != c) & (c != a))
    return unique, triangles[kept].astype(np.int32), kept


def _surface(form: Any, pose: F8, corners: F8, index: int) -> tuple[Surface, float]:
    """The face's exact form in mm, and how far its triangles (m,3,3) stand off it."""
    number = index + 1
    free = Surface(index=index, name=f"face {number} (free form)", form="free")
    kind = FORMS.get(type(form).__name__, "free")
    if kind == "free":
        return free, FREE_MM
    where = next(getattr(form, key) for key in ("apex", "origin", "center") if hasattr(form, key))
    way = next((getattr(form, key) for key in ("normal", "axis") if hasattr(form, key)), (0.0, 0.0, 1.0))
    origin = (np.array(where, dtype=np.float64) @ pose[:3, :3].T + pose[:3, 3]) * 1000.0
    axis = np.array(way, dtype=np.float64) @ pose[:3, :3].T
    axis = axis / max(float(np.linalg.norm(axis)), 1e-300)
    radius = 1000.0 * float(getattr(form, "radius", getattr(form, "minor_radius", 0.0)))
    half = abs(float(getattr(form, "semi_angle", 0.0)))
    ring = 1000.0 * float(getattr(form, "major_radius", 0.0))
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    if kind == "cone" and ((corners.reshape(-1, 3) - origin) @ axis).mean() < 0:
        axis = -axis
    if kind == "plane" and (normals @ axis).sum() < 0:
        axis = -axis
    off = _standoff(kind, origin, axis, radius, half, ring, corners.reshape(-1, 3))
    if not np.isfinite(off).all() or np.abs(off).max() > FITS_MM:
        return free, FREE_MM
    hole = _hollow(kind, origin, axis, corners.mean(axis=1), normals)
    middles = np.concatenate([corners.mean(axis=1), *(corners[:, [k, (k + 1) % 3]].mean(axis=1) for k in range(3))])
    error = float(np.abs(_standoff(kind, origin, axis, radius, half, ring, middles)).max())
    surface = Surface(
        index=index, name=f"face {number} ({_word(kind, hole)})", form=kind, origin_mm=_three(origin),
        axis=_three(axis), radius_mm=radius, half_angle_rad=half, hole=hole,
    )  # fmt: skip
    return surface, error


def _word(kind: str, hole: bool) -> str:
    words = {"cylinder": ("round", "hole"), "cone": ("cone", "countersink"), "sphere": ("ball", "hollow ball")}
    return words.get(kind, (kind, kind))[int(hole)]


def _three(v: F8) -> tuple[float, float, float]:
    return (float(v[0]), float(v[1]), float(v[2]))


def _standoff(kind: str, origin: F8, axis: F8, radius: float, half: float, ring: float, points: F8) -> F8:
    """Signed distance of points (n,3) from the exact form (plane geometry of each form; cone: origin = apex)."""
    off = points - origin
    high: F8 = off @ axis
    rho: F8 = np.linalg.norm(off - high[:, None] * axis, axis=1)
    if kind == "plane":
        return high
    if kind == "sphere":
        return np.asarray(np.linalg.norm(off, axis=1) - radius)
    if kind == "torus":
        return np.asarray(np.hypot(rho - ring, high) - radius)
    if kind == "cone":
        return np.asarray((rho - math.tan(half) * high) * math.cos(half))
    return np.asarray(rho - radius)


def _hollow(kind: str, origin: F8, axis: F8, middles: F8, normals: F8) -> bool:
    """Whether the material is outside: the triangles look towards the axis."""
    if kind not in ("cylinder", "cone", "sphere"):
        return False
    off = middles - origin
    radial = off if kind == "sphere" else off - (off @ axis)[:, None] * axis
    return bool((radial * normals).sum() < 0)
