"""Raw stock, vise, jaws and clamps as solids in a frame."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from halfthou.base.place import Place
from halfthou.base.table import lock
from halfthou.nouns.frame import TurnOver

BODY_KINDS = (
    "fixed jaw", "moving jaw", "soft jaw", "vise bed", "parallel", "stop", "clamp", "sub-plate", "table", "setter",
    "other",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BodyMesh:
    """A standing body as closed triangles: vertices_mm f8 (n,3), faces i4 (m,3) outward, in coordinates of its place.

    error_mm: how far the true faces may lie off the triangles. exact: whether that is a bound or only an estimate.
    """

    vertices_mm: NDArray[np.float64]
    faces: NDArray[np.int32]
    error_mm: float = 0.0
    exact: bool = True
    file: str = ""

    def __post_init__(self) -> None:
        """Copy and lock the arrays."""
        object.__setattr__(self, "vertices_mm", lock(np.array(self.vertices_mm, dtype=np.float64)))
        object.__setattr__(self, "faces", lock(np.array(self.faces, dtype=np.int32)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Prism:
    """An upright solid: a convex footprint from low_z to high_z, in program coordinates of its place.

    footprint_mm f8 (k,2), counter-clockwise. A box is a prism; a round post is a many-sided one, drawn outside the
    circle by no more than the stated chord error. A body with a step or a pocket is given as several prisms,
    or as a mesh: then the footprint is the box round it, and only a first guess.
    """

    name: str
    kind: str
    footprint_mm: NDArray[np.float64]
    low_z_mm: float
    high_z_mm: float
    may_cut_mm: float = 0.0  # "may be cut to depth d" from its top
    place: Place = field(default_factory=lambda: Place(file=""))
    mesh: BodyMesh | None = None
    turns: bool | None = None  # with the rotary axis; None = by its kind (prove/turning.py)

    def __post_init__(self) -> None:
        """Copy and lock the footprint."""
        object.__setattr__(self, "footprint_mm", lock(np.array(self.footprint_mm, dtype=np.float64)))


def box_prism(
    name: str,
    kind: str,
    low_mm: tuple[float, float, float],
    high_mm: tuple[float, float, float],
    place: Place,
) -> Prism:
    """A box as a prism."""
    (x0, y0, z0), (x1, y1, z1) = low_mm, high_mm
    foot = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    return Prism(name=name, kind=kind, footprint_mm=foot, low_z_mm=z0, high_z_mm=z1, place=place)


def mesh_prism(name: str, kind: str, mesh: BodyMesh, place: Place, may_cut_mm: float = 0.0) -> Prism:
    """A mesh as a body, with the box round it."""
    low, high = mesh.vertices_mm.min(axis=0), mesh.vertices_mm.max(axis=0)
    foot = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    return Prism(
        name=name, kind=kind, footprint_mm=foot, low_z_mm=float(low[2]), high_z_mm=float(high[2]),
        may_cut_mm=may_cut_mm, place=place, mesh=mesh,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Stock:
    """What lies in the vise before the operation.

    kind "box": low_mm, high_mm. kind "cylinder": upright, centre_mm (x, y), diameter_mm, low/high Z in low_mm[2],
    high_mm[2]. kind "mesh": vertices f8 (n,3) and faces i4 (m,3), closed, in program coordinates. kind "from": the
    result of operation `from_op` (index) at place `from_place`, turned over. Sizes vary: `plus_mm`/`minus_mm` are
    how much larger or smaller each of the six sides (x-, x+, y-, y+, z-, z+) may come from the saw.
    """

    kind: str
    low_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    high_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    centre_mm: tuple[float, float] = (0.0, 0.0)
    diameter_mm: float = 0.0
    vertices_mm: NDArray[np.float64] | None = None
    faces: NDArray[np.int32] | None = None
    from_op: int = -1
    from_place: int = -1
    turn_over: TurnOver | None = None
    plus_mm: tuple[float, float, float, float, float, float] = (0.0,) * 6
    minus_mm: tuple[float, float, float, float, float, float] = (0.0,) * 6
    place: Place = field(default_factory=lambda: Place(file=""))
