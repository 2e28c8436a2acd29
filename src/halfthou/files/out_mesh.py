"""What the three mesh writers share: the file's bytes with what is to be said about them, rounding, putting it on disk."""

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from halfthou.base.errors import Complaint, InputError
from halfthou.base.place import Place
from halfthou.nouns.mesh import Mesh

F4 = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class OutFile:
    """A file as bytes, and a sentence for everything the format could not carry. Equal meshes give equal bytes."""

    data: bytes
    said: tuple[str, ...]


def not_empty(mesh: Mesh, kind: str) -> None:
    """Raises ValueError for a mesh without triangles: no reader takes such a file for a part."""
    if not len(mesh.triangles):
        raise ValueError(f"{mesh.name}: there is no triangle to write as {kind}")


def single(mesh: Mesh) -> tuple[F4, tuple[str, ...]]:
    """The points as 32-bit floats (n,3), with how far that moved them. Raises ValueError past the range of a float."""
    with np.errstate(over="ignore"):
        points = mesh.points_mm.astype(np.float32) + np.float32(0.0)  # no -0.0: it would be another byte
    if not np.isfinite(points).all():
        raise ValueError(f"{mesh.name}: a coordinate is too large for a 32-bit float")
    moved = float(np.abs(points.astype(np.float64) - mesh.points_mm).max()) if len(points) else 0.0
    said = [f"coordinates are 32-bit floats: no point moved by more than {moved:.2g} mm per axis"] if moved else []
    used = np.unique(mesh.triangles)
    before, after = (len(np.unique(one[used], axis=0)) for one in (mesh.points_mm, points))
    if after < before:
        said.append(f"{before - after} points fell on others by this rounding; thin triangles there have no area")
    return points, tuple(said)


def not_closed(mesh: Mesh) -> tuple[str, ...]:
    """One sentence if the mesh is not closed."""
    wrong = mesh.closed_manifold()
    return (f"the mesh is not closed: {'; '.join(wrong)}",) if wrong else ()


def put(path: Path, out: OutFile) -> tuple[str, ...]:
    """Write the file whole or not at all; returns what is to be said. Raises InputError (F591)."""
    half = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        half.write_bytes(out.data)
        os.replace(half, path)
    except (OSError, ValueError) as error:
        why = (getattr(error, "strerror", None) or "it is no file name").lower()
        what, do = f"the mesh cannot be written to {path}: {why}", "name a file in a folder that is there"
        raise InputError([Complaint(code="F591", place=Place(file=str(path)), what=what, do=do)]) from error
    finally:
        try:
            half.unlink(missing_ok=True)
        except (OSError, ValueError):
            half = path  # the part file could not even be named
    return out.said
