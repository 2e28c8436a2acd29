"""A mesh as binary STL; the labels of a triangle go into its 16-bit attribute field if they fit, and the header says how."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from halfthou.files.out_mesh import OutFile, not_closed, not_empty, put, single
from halfthou.nouns.mesh import LABELS, Mesh

#: 80 bytes of header, a count, then 50 bytes a triangle: the usual binary form (common practice, no standard behind it).
RECORD = np.dtype([("normal", "<f4", (3,)), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
ATTRIBUTE_BITS = 16
#: Short names in the header, which has 80 bytes.
SHORT = {"operation": "op", "tool": "tool", "move": "move"}


def stl_of(mesh: Mesh, labels: Sequence[str] = LABELS) -> OutFile:
    """The mesh as STL in mm, with these labels in the attribute field if all of them fit together into 16 bits.

    labels: any of "operation", "tool", "move"; () for none. The field holds label + 1 of each (0 = raw stock), the first
    one in the highest bits; the header gives the bits of each, for example `halfthou mm attribute op:1 tool:5 move:10`.
    Raises ValueError for an empty mesh or an unknown label.
    """
    unknown = [name for name in labels if name not in LABELS]
    if unknown or len(set(labels)) < len(labels):
        raise ValueError(f"labels are {', '.join(LABELS)}, each at most once; not {', '.join(labels)}")
    not_empty(mesh, "STL")
    points, said = single(mesh)
    rows = np.zeros(len(mesh.triangles), dtype=RECORD)
    corners = points[mesh.triangles]
    rows["corners"] = corners
    rows["normal"] = _normals(corners.astype(np.float64))
    head, attribute, more = _attribute(mesh, labels)
    rows["attribute"] = attribute
    if mesh.deviation_mm is not None:
        more = (*more, "an STL has no place for deviations: none is written; 3MF and GLB carry them")
    count = len(rows).to_bytes(4, "little")
    header = head.encode("ascii").ljust(80)
    told = ("an STL does not say its unit: it is mm", *said, *more, *not_closed(mesh))
    return OutFile(data=header + count + rows.tobytes(), said=told)


def write_stl(mesh: Mesh, path: Path, labels: Sequence[str] = LABELS) -> tuple[str, ...]:
    """Write it; returns what is to be said about the file. Raises as `stl_of`, and InputError (F591)."""
    return put(path, stl_of(mesh, labels))


def _attribute(mesh: Mesh, labels: Sequence[str]) -> tuple[str, NDArray[np.uint16], tuple[str, ...]]:
    """(header, field of each triangle, what is to be said)."""
    none = np.zeros(len(mesh.triangles), dtype=np.uint16)
    if not labels:
        return "halfthou mm", none, ("no label was asked for",)
    values = [getattr(mesh, name).astype(np.int64) + 1 for name in labels]
    bits = [int(value.max()).bit_length() for value in values]
    layout = [f"{SHORT[name]}:{width}" for name, width in zip(labels, bits, strict=True)]
    if sum(bits) > ATTRIBUTE_BITS:
        what = (
            f"the labels need {sum(bits)} bits ({' '.join(layout)}) and a triangle of an STL has {ATTRIBUTE_BITS}: "
            "no label is written; ask for fewer of them, or write 3MF or GLB"
        )
        return "halfthou mm", none, (what,)
    packed = np.zeros(len(none), dtype=np.int64)
    for value, width in zip(values, bits, strict=True):
        packed = (packed << width) | value
    what = "the attribute field of a triangle carries its labels (see the header); some viewers show it as a colour"
    return f"halfthou mm attribute {' '.join(layout)}", packed.astype(np.uint16), (what,)


def _normals(corners: NDArray[np.float64]) -> NDArray[np.float64]:
    """Unit normals by the right-hand rule, zero where a triangle has no area."""
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(cross, axis=1, keepdims=True)
    unit: NDArray[np.float64] = np.divide(cross, size, out=np.zeros_like(cross), where=size > 0) + 0.0
    return unit
