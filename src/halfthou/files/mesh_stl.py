"""STL and 3MF files as plain triangles; their unit is not in an STL, and is in a 3MF."""

import io
import re
import zipfile
from typing import Any
from xml.etree import ElementTree

import numpy as np
from numpy.typing import NDArray

from halfthou.files.mesh_step import NotReadable

F8 = NDArray[np.float64]
Mesh = tuple[F8, NDArray[np.int64]]
_VERTEX = re.compile(r"vertex\s+(\S+)\s+(\S+)\s+(\S+)", re.IGNORECASE)
_RECORD = np.dtype([("normal", "<f4", (3,)), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
#: 3MF Core Specification, "model" element, attribute unit.
UNITS_3MF = {
    "micron": 0.001, "millimeter": 1.0, "centimeter": 10.0, "inch": 25.4, "foot": 304.8, "meter": 1000.0,
}  # fmt: skip
MOST_BYTES = 500_000_000  # unpacked size of a 3MF model that is still read
DEEPEST = 20


def triangles_of_stl(raw: bytes) -> Mesh:
    """Points (3m,3) and faces (m,3) in the file's own unit; raises NotReadable."""
    if len(raw) >= 84:
        count = int.from_bytes(raw[80:84], "little")
        if len(raw) == 84 + 50 * count and count:
            corners = np.frombuffer(raw, dtype=_RECORD, count=count, offset=84)["corners"]
            return _soup(corners.astype(np.float64).reshape(-1, 3))
    if raw.lstrip()[:5].lower() != b"solid":
        if len(raw) < 84:
            raise NotReadable("it is too short for an STL file")
        count = int.from_bytes(raw[80:84], "little")
        raise NotReadable(f"it should hold {count} triangles in {84 + 50 * count} bytes and has {len(raw)} bytes")
    text = raw.decode("latin-1")
    found = _VERTEX.findall(text)
    facets = len(re.findall(r"\bfacet\s+normal\b", text, re.IGNORECASE))
    if not found or len(found) != 3 * facets:
        raise NotReadable(f"{facets} facets with {len(found)} corners: each facet needs three")
    if not re.search(r"endsolid", text, re.IGNORECASE):
        raise NotReadable("its last line endsolid is missing: it was cut off")
    try:
        return _soup(np.array(found, dtype=np.float64))
    except ValueError as error:
        raise NotReadable("a corner has a coordinate that is no number") from error


def _soup(points: F8) -> Mesh:
    if not np.isfinite(points).all():
        raise NotReadable("a corner has a coordinate that is no number")
    return points, np.arange(len(points)).reshape(-1, 3)


def triangles_of_3mf(raw: bytes) -> tuple[F8, NDArray[np.int64], float]:
    """Points, faces and mm per unit of the file; raises NotReadable."""
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as box:
            name = _model_name(box)
            if box.getinfo(name).file_size > MOST_BYTES:
                raise NotReadable("its model is too large")
            root = ElementTree.fromstring(box.read(name))
    except NotReadable:
        raise
    except Exception as error:  # zip and XML have a dozen ways to be broken; all mean the same
        raise NotReadable(f"it is no whole 3MF package ({type(error).__name__})") from error
    unit = root.get("unit", "millimeter")
    if unit not in UNITS_3MF:
        raise NotReadable(f"its unit {unit!r} is not one of {', '.join(UNITS_3MF)}")
    objects = {one.get("id", ""): one for one in _all(root, "object")}
    points: list[F8] = []
    faces: list[NDArray[np.int64]] = []
    try:
        for item in _all(root, "item"):
            _add(objects, item, np.eye(4), points, faces, 0)
    except (ValueError, TypeError, IndexError, OverflowError) as error:
        raise NotReadable("a corner, triangle or transform in it is no number") from error
    if not faces:
        raise NotReadable("nothing to build is in it")
    every = np.concatenate(points)
    if not np.isfinite(every).all():
        raise NotReadable("a corner has a coordinate that is no number")
    return every, np.concatenate(faces), UNITS_3MF[unit]


def _model_name(box: zipfile.ZipFile) -> str:
    names = box.namelist()
    if "_rels/.rels" in names:
        for one in ElementTree.fromstring(box.read("_rels/.rels")).iter():
            target = one.get("Target", "").lstrip("/")
            if one.get("Type", "").endswith("/3dmodel") and target in names:
                return target
    models = [name for name in names if name.lower().endswith(".model")]
    if not models:
        raise NotReadable("there is no model in the package")
    return models[0]


def _all(root: Any, name: str) -> list[Any]:
    return [one for one in root.iter() if one.tag.rsplit("}", 1)[-1] == name]


def _add(
    objects: dict[str, Any], use: Any, pose: F8, points: list[F8], faces: list[NDArray[np.int64]], deep: int
) -> None:
    """One build item or component: its object's mesh or components, placed."""
    if deep > DEEPEST:
        raise NotReadable("its components hold each other")
    if any(key.rsplit("}", 1)[-1] == "path" for key in list(use.attrib)):
        raise NotReadable("it is spread over several model files, which is not read")
    thing = objects.get(use.get("objectid", ""))
    if thing is None:
        raise NotReadable(f"object {use.get('objectid')!r} is named but not there")
    placed = pose @ _transform(use.get("transform"))
    for component in _all(thing, "component"):
        _add(objects, component, placed, points, faces, deep + 1)
    for mesh in _all(thing, "mesh"):
        own = np.array([[float(v.get(k)) for k in "xyz"] for v in _all(mesh, "vertex")], dtype=np.float64)
        rows = [[int(t.get(k)) for k in ("v1", "v2", "v3")] for t in _all(mesh, "triangle")]
        three = np.array(rows, dtype=np.int64).reshape(-1, 3)
        if not len(own) or not len(three) or three.min() < 0 or three.max() >= len(own):
            raise NotReadable("a triangle names a corner that is not there")
        start = sum(len(p) for p in points)
        points.append(own @ placed[:3, :3].T + placed[:3, 3])
        faces.append(three + start)


def _transform(text: str | None) -> F8:
    """`m00 m01 m02 m10 … m32`: row vectors times a 4x3 matrix (3MF Core Specification, 3.3)."""
    pose = np.eye(4)
    if text:
        rows = np.array([float(v) for v in text.split()]).reshape(4, 3)
        pose[:3, :] = rows.T
    return pose
