"""Sweeps of round tools as closed meshes that surely lie inside, or surely outside, the true sweep.

Independent judge: written from the public documents alone (job file, code pages, removal formulas), by someone who did not read the program,
its other oracles, laws, twins or unit tests. Nothing here imports the program.

Every solid is made twice. The `inside` mesh is a subset of the true one, the `outside` mesh a superset, so that two volumes bracket the truth and
half the gap is a bound on the facet error (the mesh library works in double precision; its rounding, 1e-9 relative, is far below that).

* Profile (tip upwards, radius over height, convex): inside by points on it, outside by tangents.
* Round section: regular polygon of n corners, on the circle or round it (factor 1 / cos(π/n)).
* Straight move: a convex tool without turning sweeps the convex hull of its two end positions: exact for the mesh.
* Level arc about Z: nearest point of an arc is at the same angle, so the sweep is a sector of rings `[R − r(z), R + r(z)]` and the end tools.
* Any other arc: n chords with corners at R (1 + h²/6), h half the step angle; chord and arc are nowhere further apart than R h²/3 in the plane of
  the arc (expanded to h⁴; 10 % added), by which the tool is shrunk or grown in a square of the radial section.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import manifold3d
import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
INSIDE, OUTSIDE = -1, 1


@dataclass(frozen=True)
class Tool:
    """Cutting part of a round tool, mm and degrees; the tip is at height 0."""

    kind: str  # flat, ball, bull, drill, countersink
    diameter: float
    cutting_length: float
    corner: float = 0.0
    point_angle: float = 180.0
    tip_diameter: float = 0.0


@dataclass(frozen=True)
class Line:
    """Straight move of the tip, mm."""

    start: Points
    end: Points


@dataclass(frozen=True)
class Arc:
    """Arc or helix of the tip: angle from `angle` over `sweep` (signed, rad) round `centre` in the plane of unit vectors `first`, `second`."""

    centre: Points  # in the plane of the start point
    first: Points
    second: Points
    radius: float
    angle: float
    sweep: float
    rise: float  # along first × second over the whole sweep

    def at(self, share: float, radius: float | None = None) -> Points:
        """Point at a share 0 … 1 of the sweep, on the arc or at another radius."""
        turn = self.angle + share * self.sweep
        rho = self.radius if radius is None else radius
        along = np.cross(self.first, self.second)
        return (
            self.centre + rho * (math.cos(turn) * self.first + math.sin(turn) * self.second) + share * self.rise * along
        )


def _corner(
    side: int, steps: int, centre: tuple[float, float], radius: float, begin: float, end: float
) -> list[tuple[float, float]]:
    """(height, radius) points on an arc of the profile, or of the tangents round it; angles from straight down."""
    step = (end - begin) / steps
    if side == INSIDE:
        angles, far = [begin + i * step for i in range(steps + 1)], [radius] * (steps + 1)
    else:
        angles = [begin, *[begin + (i + 0.5) * step for i in range(steps)], end]
        far = [radius, *[radius / math.cos(step / 2)] * steps, radius]
    return [(centre[0] - r * math.cos(a), centre[1] + r * math.sin(a)) for a, r in zip(angles, far, strict=True)]


def profile(tool: Tool, side: int, n: int, level: float = 0.0, upright: float = 0.0) -> Points:
    """Corners (height, radius) from the tip upwards, shape (k, 2), of the shrunk (inside) or grown (outside) profile.

    `level` and `upright`: by how much the tool is shrunk or grown, in radius and in height (mm), beyond the facets.
    """
    big, top = tool.diameter / 2, tool.cutting_length
    if tool.kind == "flat":
        corners = [(0.0, 0.0), (0.0, big)]
    elif tool.kind == "ball":
        corners = _corner(side, max(n // 4, 4), (big, 0.0), big, 0.0, math.pi / 2)
    elif tool.kind == "bull":
        corners = [
            (0.0, 0.0),
            *_corner(side, max(n // 4, 4), (tool.corner, big - tool.corner), tool.corner, 0.0, math.pi / 2),
        ]
    elif tool.kind in ("drill", "countersink"):
        tip = tool.tip_diameter / 2
        corners = [(0.0, 0.0), (0.0, tip), ((big - tip) / math.tan(math.radians(tool.point_angle) / 2), big)]
    else:
        raise ValueError(tool.kind)
    corners.append((top, big))
    shape = np.array(corners)
    if side == OUTSIDE:
        shape[:, 0] -= upright
        shape[:, 1] += level
        shape[-1, 0] += 2 * upright
        return np.vstack([[shape[0, 0], 0.0], shape])
    shape[:, 0] += upright
    shape[-1, 0] -= 2 * upright
    shape[:, 1] -= level
    above = shape[:, 1] > 0
    first = int(np.argmax(above))
    if first > 0:  # where the shrunk profile leaves the axis
        (z0, r0), (z1, r1) = shape[first - 1], shape[first]
        shape = np.vstack([[z0 + (z1 - z0) * (-r0) / (r1 - r0) if r1 > r0 else z1, 0.0], shape[first:]])
    return shape


def _round(shape: Points, side: int, n: int) -> Points:
    """Corners of the tool with n-cornered sections, tip at the origin."""
    scale = 1.0 if side == INSIDE else 1.0 / math.cos(math.pi / n)
    turn = np.arange(n) * (2 * math.pi / n) + 0.1234
    rho = shape[:, 1] * scale
    x, y = rho[:, None] * np.cos(turn), rho[:, None] * np.sin(turn)
    z = np.broadcast_to(shape[:, :1], x.shape)
    return np.stack([x, y, z], axis=-1).reshape(-1, 3)


def hull(points: Points) -> manifold3d.Manifold:
    """Convex hull, refused when the library makes nothing of it."""
    solid = manifold3d.Manifold.hull_points(np.ascontiguousarray(points))
    if solid.volume() <= 0:
        raise ValueError("empty hull")
    return solid


def _sector(ring: Points, arc: Arc, side: int, steps: int) -> manifold3d.Manifold:
    """Closed mesh of a section (radius, height) turned through less than one turn about the arc's axis; radius 0 is welded on the axis."""
    half = abs(arc.sweep) / steps / 2
    rho, z = ring[:, 0], ring[:, 1]
    k = len(ring)
    index = np.empty((steps + 1, k), dtype=np.int64)
    points: list[Points] = []
    for i in range(steps + 1):
        turn = arc.angle + arc.sweep * i / steps
        for j in range(k):
            if i and rho[j] == 0.0:
                index[i, j] = index[0, j]
                continue
            index[i, j] = len(points)
            points.append(np.array([rho[j] * math.cos(turn), rho[j] * math.sin(turn), z[j]]))
    faces: list[tuple[int, int, int]] = []
    for i in range(steps):
        for j in range(k):
            a, b, c, d = index[i, j], index[i, (j + 1) % k], index[i + 1, (j + 1) % k], index[i + 1, j]
            faces += [(a, b, c), (a, c, d)]
    for j in range(1, k - 1):
        faces += [(index[0, 0], index[0, j + 1], index[0, j]), (index[-1, 0], index[-1, j], index[-1, j + 1])]
    triangles = np.array([f for f in faces if len(set(f)) == 3], dtype=np.uint64)
    vertices = np.array(points) + arc.centre
    for order in (triangles, triangles[:, ::-1].copy()):
        solid = manifold3d.Manifold(manifold3d.Mesh64(vertices, order))
        if solid.status() == manifold3d.Error.NoError and solid.volume() > 0:
            return solid
    raise ValueError(f"sector is not closed: {solid.status()}, side {side}, half step {half}")


def _section(shape: Points, radius: float, side: int, half: float) -> Points:
    """Ring (radius, height), shape (k, 2), of a level arc's section; the inner wall stops at the axis."""
    outer = radius + shape[:, 1]
    inner = radius - shape[:, 1]
    heights = shape[:, 0]
    crossing = np.flatnonzero((inner[:-1] > 0) & (inner[1:] < 0))
    inner_z = heights
    for at in crossing[::-1]:
        t = inner[at] / (inner[at] - inner[at + 1])
        inner_z = np.insert(inner_z, at + 1, heights[at] + t * (heights[at + 1] - heights[at]))
        inner = np.insert(inner, at + 1, 0.0)
    inner = np.maximum(inner, 0.0)
    if side == INSIDE:
        inner = inner / math.cos(half)
    else:
        outer = outer / math.cos(half)
    ring = [*zip(outer, heights, strict=True), *list(zip(inner, inner_z, strict=True))[::-1]]
    kept: list[tuple[float, float]] = []
    for p in ring:
        if not kept or math.dist(p, kept[-1]) > 1e-12:
            kept.append((float(p[0]), float(p[1])))
    if math.dist(kept[0], kept[-1]) <= 1e-12:
        kept.pop()
    return np.array(kept)


def sweep(tool: Tool, move: Line | Arc, side: int, n: int) -> list[manifold3d.Manifold]:
    """Solids whose union lies inside, or outside, what the cutting part sweeps on the move."""
    if isinstance(move, Line):
        solid = _round(profile(tool, side, n), side, n)
        return [hull(np.vstack([solid + move.start, solid + move.end]))]
    level = abs(move.rise) < 1e-12 and abs(abs(np.cross(move.first, move.second)[2]) - 1) < 1e-12
    if level:
        return _level_arc(tool, move, side, n)
    if tool.kind == "ball" and abs(move.rise) < 1e-12:
        return _standing_arc(tool, move, side, n)
    return _chords(tool, move, side, n)


def _chords(tool: Tool, move: Arc, side: int, n: int) -> list[manifold3d.Manifold]:
    """Hulls of the shrunk or grown tool along chords."""
    reach = tool.diameter / 2
    count = max(8, math.ceil(2.2 * abs(move.sweep) / (2 * math.pi) * n * math.sqrt(move.radius / (1.5 * reach))))
    half = abs(move.sweep) / count / 2
    apart = 1.1 * move.radius * half * half / 3
    flat_plane = abs(abs(np.cross(move.first, move.second)[2]) - 1) < 1e-12
    shape = _round(profile(tool, side, n, apart, 0.0 if flat_plane else apart), side, n)
    far = move.radius * (1 + half * half / 6)
    corners = [move.at(i / count, far) for i in range(count + 1)]
    return [hull(np.vstack([shape + a, shape + b])) for a, b in itertools.pairwise(corners)]


def _standing_arc(tool: Tool, move: Arc, side: int, n: int) -> list[manifold3d.Manifold]:
    """A ball along an arc in an upright plane: a bent tube, a ball at both ends, and the cylinder above the ball along chords."""
    r = tool.diameter / 2
    up = np.array([0.0, 0.0, r])
    circle = np.array(_corner(side, max(n // 2, 8), (0.0, 0.0), r, 0.0, math.pi))
    circle[[0, -1], 1] = 0.0
    steps = max(6, math.ceil(abs(move.sweep) / (2 * math.pi) * n * math.sqrt((move.radius + r) / r)))
    half = abs(move.sweep) / steps / 2
    at_origin = Arc(np.zeros(3), np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), move.radius, move.angle, move.sweep, 0.0)
    tube = _sector(_section(circle, move.radius, side, half), at_origin, side, steps)
    frame = np.stack([move.first, move.second, np.cross(move.first, move.second), move.centre + up], axis=1)
    ends = _round(circle + np.array([r, 0.0]), side, n)
    above = Tool("flat", tool.diameter, tool.cutting_length - r)
    lifted = Arc(move.centre + up, move.first, move.second, move.radius, move.angle, move.sweep, 0.0)
    balls = [hull(ends + move.at(share)) for share in (0.0, 1.0)]
    return [tube.transform(frame), *balls, *_chords(above, lifted, side, n)]


def _level_arc(tool: Tool, move: Arc, side: int, n: int) -> list[manifold3d.Manifold]:
    """Sector of rings in at most half turns, and the tool at both ends."""
    shape = profile(tool, side, n)
    solid = _round(shape, side, n)
    out = [hull(solid + move.at(0.0)), hull(solid + move.at(1.0))]
    up = float(np.cross(move.first, move.second)[2])
    parts = max(1, math.ceil(abs(move.sweep) / math.pi - 1e-9))
    for i in range(parts):
        bit = Arc(
            move.centre,
            move.first,
            move.second,
            move.radius,
            move.angle + i * move.sweep / parts,
            move.sweep / parts,
            0.0,
        )
        begin = math.atan2(*(bit.at(0.0) - bit.centre)[1::-1])
        turned = Arc(move.centre, np.array([1.0, 0, 0]), np.array([0, 1.0, 0]), move.radius, begin, bit.sweep * up, 0.0)
        big = (move.radius + tool.diameter / 2) / (tool.diameter / 2)
        steps = max(6, math.ceil(abs(bit.sweep) / (2 * math.pi) * n * math.sqrt(big)))
        half = abs(bit.sweep) / steps / 2
        out.append(_sector(_section(shape, move.radius, side, half), turned, side, steps))
    return out


def union(solids: list[manifold3d.Manifold]) -> manifold3d.Manifold:
    """Union of all."""
    return manifold3d.Manifold.batch_boolean(solids, manifold3d.OpType.Add)
