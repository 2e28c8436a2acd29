"""Meshes of vise, jaws, clamps, chuck, sub-plate, setter: closed solids with the error of their facets."""

import numpy as np
from numpy.typing import NDArray

from halfthou.base.errors import Complaint
from halfthou.base.place import Place
from halfthou.files.mesh import part_of
from halfthou.geometry.near_solid import outside_in, skins, volume_of
from halfthou.nouns.stock import BodyMesh

LEAST_MM3 = 1e-3  # less than this is no body
SINGLE = 2.0**-23  # step of single precision: what readers of STEP and binary STL leave of a coordinate


def body_mesh_of(
    name: str, raw: bytes, units: str | None, place: Place, complaints: list[Complaint]
) -> BodyMesh | None:
    """A mesh file's bytes as a body in mm, in its own coordinates; None after a complaint (F206 if it is not closed).

    error_mm: the largest distance of the facets from the true faces, and the rounding of the coordinates. Exact where
    the file states the form of every face that is not flat; of an STL or 3MF it is an estimate from the facets.
    """
    said: list[Complaint] = []
    part = part_of(name, raw, units, place, said)
    for one in said:
        code = "F206" if one.code == "F503" else one.code
        complaints.append(Complaint(code=code, place=one.place, what=one.what, why=one.why, do=one.do))
    if part is None or said:
        return None
    wrong = _wrong(part.vertices_mm, np.array(part.faces))
    if wrong:
        do = "export solid bodies with all faces outward; mend the mesh"
        complaints.append(
            Complaint(code="F206", place=place, what=f"{name}: the mesh is no closed solid: {wrong}", do=do)
        )
        return None
    rounding = SINGLE * float(np.abs(part.vertices_mm).max())
    return BodyMesh(
        vertices_mm=part.vertices_mm, faces=part.faces, error_mm=part.chord_mm + rounding,
        exact=name.lower().endswith((".step", ".stp")), file=name,
    )  # fmt: skip


def _wrong(vertices: NDArray[np.float64], faces: NDArray[np.int32]) -> str:
    """What keeps closed triangles from being a solid; empty if nothing does."""
    whole = skins(vertices, faces)
    if sum(volume_of(skin) for skin in whole) <= LEAST_MM3:
        return "it bounds no volume"
    spot = outside_in(vertices, faces)
    if spot is not None:
        x, y, z = (f"{v:.6g}" for v in spot)
        return f"a part of it at ({x}, {y}, {z}) is inside out"
    return ""
