"""Points on the design to be compared: spread over every surface, put on its exact form, with the edges between them."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.nouns.part import Part, Surface

F8 = NDArray[np.float64]
I4 = NDArray[np.int32]

GOLDEN = (0.7548776662466927, 0.5698402909980532)  # additive recurrence in two dimensions: even spread, no chance
CLOSEST_MM, WIDEST_MM = 0.5, 2.0  # spacing of the points: about 1/25 of the surface's size, between these
LEAST_POINTS = 12
EDGE_STEP_MM = 0.25
FLUSH = 1e-4  # a neighbour that rises by less than this share of its distance is flush
EDGE_ROUND_MM = 1e-5  # corners of neighbouring faces nearer than this are one corner


@dataclass(frozen=True, slots=True, kw_only=True)
class Samples:
    """Points on the design, design coordinates: point_mm, normal f8 (n,3) outward, surface i4 (n,)."""

    point_mm: F8
    normal: F8
    surface: I4


@dataclass(frozen=True, slots=True, kw_only=True)
class Edges:
    """Points on the edges between two surfaces: point_mm f8 (n,3), normals f8 (n,2,3), along f8 (n,3), surfaces i4 (n,2).

    concave: the two surfaces rise above each other there (an inner corner). rise i1 (n,): +1 inner edge, -1 outer edge,
    0 the two are flush; smooth transitions of meshed roundings count as well (concave leaves them out). step_mm f8 (n,):
    the length of edge that each point stands for.
    """

    point_mm: F8
    normals: F8
    along: F8
    surfaces: I4
    concave: NDArray[np.bool_]
    rise: NDArray[np.int8]
    step_mm: F8


def _triangles(part: Part) -> tuple[F8, F8, F8]:
    """Corners f8 (m,3,3), unit normals f8 (m,3), areas f8 (m,)."""
    corners = part.vertices_mm[part.faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(cross, axis=1)
    return corners, cross / np.maximum(size, 1e-300)[:, None], size / 2


def sample(part: Part, spacing_mm: float | None = None) -> Samples:
    """Points over every surface, by area, about `spacing_mm` apart (None: 1/25 of the surface's size, 0.5 to 2 mm).

    Every surface gets at least a dozen; points of planes, cylinders, cones and spheres lie on the exact form, those of
    other forms on the mesh (chord_mm of the part away at most). The same part always gives the same points.
    """
    corners, normals, areas = _triangles(part)
    points, outward, owner = [], [], []
    for surface in part.surfaces:
        rows = np.flatnonzero((part.face_surface == surface.index) & (areas > 1e-12))
        if not len(rows):
            continue
        total = float(areas[rows].sum())
        step = spacing_mm or min(max(np.sqrt(total) / 25, CLOSEST_MM), WIDEST_MM)
        count = max(LEAST_POINTS, int(np.ceil(total / step**2)))
        at = (np.arange(count) + 0.5) / count * total
        which = rows[np.minimum(np.searchsorted(np.cumsum(areas[rows]), at), len(rows) - 1)]
        k = np.arange(1, count + 1)
        u, v = (k * GOLDEN[0]) % 1.0, (k * GOLDEN[1]) % 1.0
        over = u + v > 1.0
        u, v = np.where(over, 1 - u, u), np.where(over, 1 - v, v)
        a, b, c = corners[which, 0], corners[which, 1], corners[which, 2]
        spot = a + u[:, None] * (b - a) + v[:, None] * (c - a)
        spot, out = on_form(surface, spot, normals[which])
        points.append(spot)
        outward.append(out)
        owner.append(np.full(count, surface.index, dtype=np.int32))
    if not points:
        return Samples(point_mm=np.zeros((0, 3)), normal=np.zeros((0, 3)), surface=np.zeros(0, dtype=np.int32))
    return Samples(point_mm=np.concatenate(points), normal=np.concatenate(outward), surface=np.concatenate(owner))


def on_form(surface: Surface, spot: F8, normal: F8) -> tuple[F8, F8]:
    """The points moved onto the surface's exact form, and its outward normal there (sign as the mesh's)."""
    origin, axis = np.array(surface.origin_mm), np.array(surface.axis)
    size = float(np.linalg.norm(axis))
    if surface.form not in ("plane", "cylinder", "cone", "sphere") or size == 0:
        return spot, normal
    axis = axis / size
    off = spot - origin
    high = off @ axis
    if surface.form == "plane":
        exact = np.broadcast_to(axis, spot.shape)
        moved = spot - high[:, None] * axis
    elif surface.form == "sphere":
        r = np.linalg.norm(off, axis=1)
        exact = off / np.maximum(r, 1e-12)[:, None]
        moved = origin + exact * surface.radius_mm
    else:
        radial = off - high[:, None] * axis
        rho = np.linalg.norm(radial, axis=1)
        out = radial / np.maximum(rho, 1e-12)[:, None]
        slope = np.tan(surface.half_angle_rad) if surface.form == "cone" else 0.0
        want = surface.radius_mm + slope * high
        exact = (out - slope * axis) / np.sqrt(1 + slope**2)
        moved = spot + ((want - rho) / (1 + slope**2))[:, None] * (out - slope * axis)
    sign = np.where((exact * normal).sum(axis=1) < 0, -1.0, 1.0)
    far = np.linalg.norm(moved - spot, axis=1) > 0.5  # a form that does not fit its own mesh is not believed
    return np.where(far[:, None], spot, moved), np.where(far[:, None], normal, exact * sign[:, None])


def edges(part: Part) -> Edges:
    """Points every 0.25 mm along the edges where two surfaces of the mesh meet."""
    corners, normals, areas = _triangles(part)
    keys: dict[tuple[float, ...], int] = {}
    vertex = np.array([
        keys.setdefault(tuple(np.round(p / EDGE_ROUND_MM).tolist()), len(keys)) for p in part.vertices_mm
    ])  # fmt: skip
    sides: dict[tuple[int, int], int] = {}
    spots: list[F8] = []
    two: list[F8] = []
    along: list[F8] = []
    owner: list[I4] = []
    inner: list[NDArray[np.bool_]] = []
    rises: list[NDArray[np.int8]] = []
    lengths: list[F8] = []
    for face in np.flatnonzero(areas > 1e-12):
        for k in range(3):
            i, j = part.faces[face, k], part.faces[face, (k + 1) % 3]
            a, b = int(vertex[i]), int(vertex[j])
            other = sides.pop((b, a), None)
            if other is None:
                sides[(a, b)] = int(face)
                continue
            if part.face_surface[face] == part.face_surface[other]:
                continue
            p, q = part.vertices_mm[i], part.vertices_mm[j]
            length = float(np.linalg.norm(q - p))
            steps = max(1, int(np.ceil(length / EDGE_STEP_MM)))
            t = (np.arange(steps) + 0.5) / steps
            spots.append(p + t[:, None] * (q - p))
            pair = np.array([int(face), other])
            two.append(np.broadcast_to(normals[pair], (steps, 2, 3)))
            along.append(np.broadcast_to((q - p) / max(length, 1e-12), (steps, 3)))
            owner.append(np.broadcast_to(part.face_surface[pair], (steps, 2)))
            beyond = corners[other].mean(axis=0) - p
            rise = float(beyond @ normals[face])
            turn = float(np.linalg.norm(np.cross(normals[face], normals[other])))
            inner.append(np.full(steps, rise > 1e-9 and turn > 0.05))
            flush = abs(rise) < FLUSH * float(np.linalg.norm(beyond))
            lengths.append(np.full(steps, length / steps))
            rises.append(np.full(steps, 0 if flush else np.sign(rise), dtype=np.int8))
    if not spots:
        none = np.zeros((0, 3))
        return Edges(
            point_mm=none,
            normals=np.zeros((0, 2, 3)),
            along=none,
            surfaces=np.zeros((0, 2), dtype=np.int32),
            concave=np.zeros(0, dtype=np.bool_),
            rise=np.zeros(0, dtype=np.int8),
            step_mm=np.zeros(0),
        )
    return Edges(
        point_mm=np.concatenate(spots),
        normals=np.concatenate(two),
        along=np.concatenate(along),
        surfaces=np.concatenate(owner).astype(np.int32),
        concave=np.concatenate(inner),
        rise=np.concatenate(rises),
        step_mm=np.concatenate(lengths),
    )
