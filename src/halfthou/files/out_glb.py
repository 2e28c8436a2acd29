"""A mesh as GLB (binary glTF 2.0): labels as _MOVE, _TOOL, _OPERATION at the points, deviations as COLOR_0."""

import json
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfthou.files.out_colour import linear, palette, scale_of
from halfthou.files.out_mesh import OutFile, not_closed, not_empty, put, single
from halfthou.nouns.mesh import Mesh

#: Constants of the open glTF 2.0 specification, Khronos Group (from memory).
MAGIC, VERSION, JSON_CHUNK, BIN_CHUNK = 0x46546C67, 2, 0x4E4F534A, 0x004E4942
UNSIGNED_SHORT, UNSIGNED_INT, FLOAT = 5123, 5125, 5126
VERTEX_BUFFER, INDEX_BUFFER, TRIANGLES = 34962, 34963, 4
#: A label is a float there (own attributes may not be 32-bit whole numbers): every whole number to 2^24 is exact.
MOST_LABEL = 2**24
ATTRIBUTES = {"move": "_MOVE", "tool": "_TOOL", "operation": "_OPERATION"}
#: glTF counts in metres with Y up, the part in mm with Z up: x, y, z → x, z, -y, column by column.
TO_GLTF = [0.001, 0, 0, 0, 0, 0, -0.001, 0, 0, 0.001, 0, 0, 0, 0, 0, 1]


def glb_of(mesh: Mesh, limit_mm: float | None = None) -> OutFile:
    """The mesh as GLB. A node brings it to metres with Y up; the stored points are mm with Z up.

    glTF labels points, not triangles: a point between triangles of different labels is written once for each, and the
    labels of a triangle are those of any corner. Deviations: `_DEVIATION_MM` with `_DEVIATION_KNOWN` (0 = not known),
    and COLOR_0 with full colour at ± limit_mm (None: the largest one). Raises ValueError for an empty mesh or a limit
    not above 0.
    """
    not_empty(mesh, "GLB")
    points, rounded = single(mesh)
    said = list(rounded)
    names = [name for name in ATTRIBUTES if int(getattr(mesh, name).max()) <= MOST_LABEL]
    said += [f"{n} goes beyond {MOST_LABEL}, too large for GLB: not written" for n in ATTRIBUTES if n not in names]
    source, corner, labels = _split(mesh, names)
    build = _Build()
    attributes = {"POSITION": build.add(points[source], "VEC3", FLOAT, VERTEX_BUFFER, limits=True)}
    for k, name in enumerate(names):
        attributes[ATTRIBUTES[name]] = build.add(labels[:, k].astype(np.float32), "SCALAR", FLOAT, VERTEX_BUFFER)
    extras: dict[str, Any] = {"unit": "mm", "labels": "-1 = raw stock or not known"}
    if mesh.deviation_mm is not None:
        scale = scale_of(mesh.deviation_mm, limit_mm)
        away = mesh.deviation_mm[source]
        known = ~np.isnan(away)
        attributes["COLOR_0"] = build.add(_colours(scale.step_of(away)), "VEC4", UNSIGNED_SHORT, VERTEX_BUFFER)
        plain = np.where(known, away, 0.0).astype(np.float32) + np.float32(0.0)
        attributes["_DEVIATION_MM"] = build.add(plain, "SCALAR", FLOAT, VERTEX_BUFFER)
        attributes["_DEVIATION_KNOWN"] = build.add(known.astype(np.float32), "SCALAR", FLOAT, VERTEX_BUFFER)
        extras["deviation"] = scale.words()
        said.append(scale.words())
    indices = build.add(corner.astype(np.uint32).reshape(-1), "SCALAR", UNSIGNED_INT, INDEX_BUFFER)
    primitive = {"attributes": attributes, "indices": indices, "material": 0, "mode": TRIANGLES}
    data = build.glb(mesh.name, primitive, extras)
    return OutFile(data=data, said=(*said, *not_closed(mesh)))


def write_glb(mesh: Mesh, path: Path, limit_mm: float | None = None) -> tuple[str, ...]:
    """Write it; returns what is to be said about the file. Raises as `glb_of`, and InputError (F591)."""
    return put(path, glb_of(mesh, limit_mm))


def _split(mesh: Mesh, names: list[str]) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
    """(point of each written vertex, vertices of each triangle (m,3), labels of each written vertex (v, names))."""
    point = mesh.triangles.astype(np.int64).reshape(-1, 1)
    own = [np.repeat(getattr(mesh, name).astype(np.int64), 3)[:, None] for name in names]
    keys, corner = np.unique(np.concatenate([point, *own], axis=1), axis=0, return_inverse=True)
    return keys[:, 0], corner.reshape(-1, 3), keys[:, 1:]


def _colours(step: NDArray[np.int64]) -> NDArray[np.uint16]:
    """Linear colours with full opacity, 0 … 65535, as COLOR_0 wants them."""
    table = np.concatenate([linear(palette()), np.ones((len(palette()), 1))], axis=1)
    colours: NDArray[np.uint16] = np.round(table * 65535).astype(np.uint16)[step]
    return colours


class _Build:
    """Buffer, views and accessors while they grow."""

    def __init__(self) -> None:
        self.parts: list[bytes] = []
        self.views: list[dict[str, Any]] = []
        self.accessors: list[dict[str, Any]] = []
        self.size = 0

    def add(self, rows: NDArray[Any], kind: str, component: int, target: int, limits: bool = False) -> int:
        """The number of a new accessor over these rows; every row here is a multiple of 4 bytes, as glTF asks."""
        raw = np.ascontiguousarray(rows, dtype=rows.dtype.newbyteorder("<")).tobytes()
        self.views.append({"buffer": 0, "byteOffset": self.size, "byteLength": len(raw), "target": target})
        entry: dict[str, Any] = {
            "bufferView": len(self.views) - 1, "componentType": component, "count": len(rows), "type": kind
        }  # fmt: skip
        if component == UNSIGNED_SHORT:
            entry["normalized"] = True
        if limits:
            entry |= {"min": rows.min(axis=0).tolist(), "max": rows.max(axis=0).tolist()}
        self.parts.append(raw)
        self.accessors.append(entry)
        self.size += len(raw)
        return len(self.accessors) - 1

    def glb(self, name: str, primitive: dict[str, Any], extras: dict[str, Any]) -> bytes:
        """The whole file."""
        scene = {
            "asset": {"version": "2.0", "generator": "halfthou"},
            "scene": 0,
            "scenes": [{"nodes": [0]}],
            "nodes": [{"mesh": 0, "name": name, "matrix": TO_GLTF}],
            "meshes": [{"name": name, "primitives": [primitive], "extras": extras}],
            "materials": [{"pbrMetallicRoughness": {"metallicFactor": 0, "roughnessFactor": 0.9}}],
            "buffers": [{"byteLength": self.size}],
            "bufferViews": self.views,
            "accessors": self.accessors,
        }
        text = json.dumps(scene, ensure_ascii=False, separators=(",", ":")).encode("utf-8")
        text += b" " * (-len(text) % 4)
        body = b"".join(self.parts)
        whole = 12 + 8 + len(text) + 8 + len(body)
        return _words(MAGIC, VERSION, whole, len(text), JSON_CHUNK) + text + _words(len(body), BIN_CHUNK) + body


def _words(*numbers: int) -> bytes:
    """32-bit numbers, low byte first."""
    return b"".join(number.to_bytes(4, "little") for number in numbers)
