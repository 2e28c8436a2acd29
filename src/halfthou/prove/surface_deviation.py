"""How far points of the machined surface lie from the design: the shortest way to it, onto the exact form of its faces.

Unlike `compare_measure`, which goes from the design along its normal, this goes from the machined surface to the nearest
face; on a surface that follows the design both are the same number. Error: that of the point, and chord_mm of the design
where a face has no form of its own (torus, free).
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.watch import QUIET, Watch
from halfthou.geometry.closest import cells_of, closest
from halfthou.nouns.mesh import Mesh
from halfthou.nouns.part import Part
from halfthou.prove.compare_points import on_form
from halfthou.prove.surface_solid import in_chunks

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

CELL_MM = 2.0
RINGS = 3
NEAREST_MM = CELL_MM * RINGS
"""A point farther than this from the design has no deviation (NaN): raw stock, not a machined face of it."""
EXACT = ("plane", "cylinder", "cone", "sphere")  # forms `on_form` knows
TURNS = 3  # a form in place of its mesh: each turn squares the error of the angle
ON_RIM_MM = 1e-7


def deviations_of(
    points_mm: F8, part: Part, turn: F8, shift_mm: F8, threads: int | None = None, watch: Watch = QUIET
) -> F8:
    """Signed distance f8 (n,) of points (program coordinates) from the design at x_program = turn · x_design + shift_mm.

    + outside the design (left over), - inside (gouge), NaN beyond NEAREST_MM.
    """
    return Faces.of(part).feet(np.ascontiguousarray((points_mm - shift_mm) @ turn), threads, watch)[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class Faces:
    """The faces of a part made ready: triangles f8 (m,3,3), their normals, the grid they are found by, the edges of faces.

    rim bool (m,3): which sides of a triangle lie between two faces. corner bool: which vertices are ends of such.
    """

    part: Part
    corners: F8
    normal: F8
    grid: tuple[F8, tuple[int, int, int], I8, I8]
    rim: NDArray[np.bool_]
    corner: NDArray[np.bool_]

    @staticmethod
    def of(part: Part) -> "Faces":
        """Make the faces of a part ready."""
        corners = np.ascontiguousarray(part.vertices_mm[part.faces], dtype=np.float64)
        if not len(corners):
            none = np.zeros(0, dtype=np.int64)
            grid, rim, corner = (np.zeros(3), (0, 0, 0), none, none), np.zeros((0, 3), dtype=bool), none.astype(bool)
        else:
            grid, (rim, corner) = cells_of(corners, CELL_MM), _rims(part)
        cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normal = cross / np.maximum(np.linalg.norm(cross, axis=1), 1e-300)[:, None]
        return Faces(part=part, corners=corners, normal=normal, grid=grid, rim=rim, corner=corner)

    def feet(self, points: F8, threads: int | None = None, watch: Watch = QUIET) -> tuple[F8, I8, F8]:
        """Signed distance f8 (n,) of points (design coordinates), the nearest face i8 (n,), and its point f8 (n,3).

        NaN, -1 and NaN beyond NEAREST_MM.
        """
        out, face = np.full(len(points), np.nan), np.full(len(points), -1, dtype=np.int64)
        feet = np.full((len(points), 3), np.nan)
        if not len(self.corners) or not len(points):
            return out, face, feet
        low, n, first, index = self.grid
        foot, which = np.zeros_like(points), np.full(len(points), -1, dtype=np.int64)

        def work(a: int, b: int) -> None:
            closest(
                points[a:b], self.corners, self.normal, low, CELL_MM, *n, first, index, RINGS, foot[a:b], which[a:b]
            )  # fmt: skip

        in_chunks(len(points), work, threads, watch, "distance from the design")
        at_rim = self._at_rim(foot, which)
        for number in np.unique(self.part.face_surface[which[which >= 0]]).tolist():
            surface = next(s for s in self.part.surfaces if s.index == number)
            rows = np.flatnonzero((which >= 0) & (self.part.face_surface[which] == number))
            spot, way = on_form(surface, foot[rows], self.normal[which[rows]])
            off = points[rows] - spot
            high = (off * way).sum(axis=1)
            beside = np.copysign(np.linalg.norm(off, axis=1), high)
            for _ in range(
                TURNS if surface.form in EXACT else 0
            ):  # from the point of the mesh to the point of the form right under
                spot, way = on_form(surface, spot + off - high[:, None] * way, way)
                off = points[rows] - spot
                high = (off * way).sum(axis=1)
            to_mesh = at_rim[rows] | (surface.form not in EXACT)
            out[rows] = np.where(to_mesh, beside, high)
            face[rows] = number
            feet[rows] = np.where(to_mesh[:, None], foot[rows], spot)
        return out, face, feet

    def _at_rim(self, foot: F8, which: I8) -> NDArray[np.bool_]:
        """Which nearest points lie on the edge between two faces: the way to them need not be square to the face."""
        out = np.zeros(len(foot), dtype=np.bool_)
        rows = np.flatnonzero(which >= 0)
        faces = self.part.faces.astype(np.int64)
        for k in range(3):
            a, b = self.corners[which[rows], k], self.corners[which[rows], (k + 1) % 3]
            way = (b - a) / np.maximum(np.linalg.norm(b - a, axis=1), 1e-300)[:, None]
            beside = np.linalg.norm(np.cross(foot[rows] - a, way), axis=1) < ON_RIM_MM
            at = np.linalg.norm(foot[rows] - a, axis=1) < ON_RIM_MM
            out[rows] |= (self.rim[which[rows], k] & beside) | (self.corner[faces[which[rows], k]] & at)
        return out


def _rims(part: Part) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """(rim, corner) of `Faces`; faces that share no points end there, too."""
    faces = part.faces.astype(np.int64)
    there = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]])
    keys = there.min(axis=1) * len(part.vertices_mm) + there.max(axis=1)
    owner = np.tile(part.face_surface, 3)
    _, inverse = np.unique(keys, return_inverse=True)
    low, high = np.full(inverse.max() + 1, 2**31 - 1), np.full(inverse.max() + 1, -1)
    np.minimum.at(low, inverse, owner)
    np.maximum.at(high, inverse, owner)
    rim = ((low != high) | (np.bincount(inverse) == 1))[inverse]
    corner = np.zeros(len(part.vertices_mm), dtype=np.bool_)
    corner[there[rim].ravel()] = True
    return rim.reshape(3, -1).T, corner


def with_deviation(
    mesh: Mesh, part: Part, turn: F8, shift_mm: F8, threads: int | None = None, watch: Watch = QUIET
) -> Mesh:
    """The mesh with the deviation of each of its points."""
    found = deviations_of(mesh.points_mm, part, turn, shift_mm, threads, watch)
    return replace(mesh, deviation_mm=found)
