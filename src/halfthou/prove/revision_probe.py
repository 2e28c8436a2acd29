"""Points on the finished surface of a revision, with the way out of the material: on rays, walls, the design, changed moves."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows
from halfthou.base.watch import QUIET, Watch
from halfthou.nouns.frame import Pose
from halfthou.nouns.moves import Kind
from halfthou.nouns.tool import Tool
from halfthou.prove.remove import Removal

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

RAYS = 3600  # vertical rays over a part, about
LEVELS = 12  # heights at which walls are looked for
SAMPLED_MOVES = 400  # changed moves whose own surface is sampled
OWN_MM = 1e-5  # a wall point lies on its own surface within this
OFF_GRID = 0.0137  # share of a step: rays do not stand on round numbers, where walls stand
FLOOR_MM = 0.01  # heights nearer than this are one floor
CHUNK = 4000


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A removal looked at from the coordinates of another job: x_own = turn · x + shift_mm."""

    removal: Removal
    pose: Pose

    def inside(self, points_mm: F8) -> NDArray[np.bool_]:
        """Which points (coordinates of this job, f8 (n,3)) are material."""
        return self.removal.inside(self.own(points_mm))

    def makers(self, points_mm: F8) -> I8:
        """The job-wide row of the move that made the surface at each point, -1 raw."""
        return self.removal.makers(self.own(points_mm))

    def own(self, points_mm: F8) -> F8:
        """Points in the removal's own program coordinates."""
        out: F8 = np.ascontiguousarray(points_mm @ self.pose.turn.T + self.pose.shift_mm)
        return out

    def out(self, points_mm: F8, ways: F8) -> tuple[F8, F8]:
        """Points and ways from the removal's own program coordinates."""
        return (points_mm - self.pose.shift_mm) @ self.pose.turn, ways @ self.pose.turn


@dataclass(frozen=True, slots=True, kw_only=True)
class Spots:
    """Points on a surface, f8 (n,3), and the unit way out of the material there; program coordinates of this job."""

    point_mm: F8
    way: F8

    @staticmethod
    def joined(many: Sequence["Spots"]) -> "Spots":
        """All of them in order."""
        none = np.zeros((0, 3))
        return Spots(
            point_mm=np.concatenate([none, *(s.point_mm for s in many)]),
            way=np.concatenate([none, *(s.way for s in many)]),
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Surface:
    """What was sampled of one removal: points, the step of the rays, the heights of the walls."""

    spots: Spots
    step_mm: float
    levels: int


def surface_of(seen: Seen, near_moves: Spots, extra_xy_mm: F8, watch: Watch = QUIET) -> Surface:
    """Points on the finished surface: ends of vertical rays, walls met along X and Y, and those given by changed moves.

    extra_xy_mm f8 (m,2): further rays, program coordinates of the removal; near_moves: wall points, the same coordinates.
    """
    removal = seen.removal
    grid = removal.record.grid
    wide, deep = grid.nx * grid.pitch_mm, grid.ny * grid.pitch_mm
    step = max(np.sqrt(wide * deep / RAYS), min(grid.pitch_mm, wide / 8, deep / 8))
    nx, ny = max(2, int(np.ceil(wide / step))), max(2, int(np.ceil(deep / step)))
    xs = grid.low_mm[0] + (np.arange(nx) + 0.5 + OFF_GRID) * wide / nx
    ys = grid.low_mm[1] + (np.arange(ny) + 0.5 - OFF_GRID) * deep / ny
    x, y = (a.ravel() for a in np.meshgrid(xs, ys, indexing="ij"))
    more = extra_xy_mm - removal.shift_mm[:2]
    keep = (
        (more[:, 0] > grid.low_mm[0]) & (more[:, 0] < grid.low_mm[0] + wide)
        & (more[:, 1] > grid.low_mm[1]) & (more[:, 1] < grid.low_mm[1] + deep)
    )  # fmt: skip
    more = more[keep]
    found: list[Spots] = []
    all_x, all_y = np.concatenate([x, more[:, 0]]), np.concatenate([y, more[:, 1]])
    rays: list[I8] = []
    parts: list[Rows] = []
    for a in range(0, len(all_x), CHUNK):
        watch.step("sampling the surface", a, len(all_x))
        own_x, own_y = all_x[a : a + CHUNK], all_y[a : a + CHUNK]
        first, spans = removal.columns(np.ascontiguousarray(own_x), np.ascontiguousarray(own_y))
        rays.append(np.repeat(np.arange(len(own_x)), np.diff(first)) + a)
        parts.append(spans)
    ray, spans = np.concatenate(rays), np.concatenate(parts)
    for name, up in (("low_mm", -1.0), ("high_mm", 1.0)):
        points = np.column_stack([all_x[ray], all_y[ray], spans[name]]) + removal.shift_mm
        found.append(Spots(point_mm=points, way=np.tile([0.0, 0.0, up], (len(points), 1))))
    heights = _levels(spans)
    for k, z in enumerate(heights):
        watch.step("sampling the walls", k, len(heights))
        own = ray < nx * ny
        solid = np.zeros(nx * ny, dtype=np.bool_)
        solid[ray[own & (spans["low_mm"] < z) & (spans["high_mm"] > z)]] = True
        found.append(_walls(removal, xs, ys, float(z), solid.reshape(nx, ny)))
    found.append(near_moves)
    together = Spots.joined(found)
    points, ways = seen.out(together.point_mm, together.way)
    return Surface(spots=Spots(point_mm=points, way=ways), step_mm=float(step), levels=len(heights))


def _levels(spans: Rows) -> F8:
    """Heights half-way between the floors and ceilings of the part, at most LEVELS, grid axes."""
    ends = np.concatenate([spans["low_mm"], spans["high_mm"]])
    if not len(ends):
        return np.zeros(0)
    values, counts = np.unique(np.round(ends / FLOOR_MM), return_counts=True)
    enough = values[counts >= max(2, len(ends) // 1000)] * FLOOR_MM
    enough = np.unique(np.concatenate([enough, [float(ends.min()), float(ends.max())]]))
    gaps = np.diff(enough)
    middles: F8 = (enough[:-1] + enough[1:])[gaps > 2 * FLOOR_MM] / 2
    if len(middles) <= LEVELS:
        return middles
    chosen: F8 = middles[np.unique(np.linspace(0, len(middles) - 1, LEVELS).round().astype(int))]
    return chosen


def _walls(removal: Removal, xs: F8, ys: F8, z: float, solid: NDArray[np.bool_]) -> Spots:
    """Walls met along X and along Y at one height: exact to OWN_MM on lines between neighbouring rays."""
    wide = np.concatenate([[2 * xs[0] - xs[1]], xs, [2 * xs[-1] - xs[-2]]])
    deep = np.concatenate([[2 * ys[0] - ys[1]], ys, [2 * ys[-1] - ys[-2]]])
    full = np.pad(solid, 1)
    low: list[F8] = []
    high: list[F8] = []
    for axis in (0, 1):
        step = np.diff(full.astype(np.int8), axis=axis)
        i, j = np.nonzero(step)
        ni, nj = (i + 1, j) if axis == 0 else (i, j + 1)
        here = np.column_stack([wide[i], deep[j], np.full(len(i), z)])
        there = np.column_stack([wide[ni], deep[nj], np.full(len(i), z)])
        into = (step[i, j] > 0)[:, None]  # air first, then material
        low.append(np.where(into, there, here))
        high.append(np.where(into, here, there))
    material, air = np.concatenate(low) + removal.shift_mm, np.concatenate(high) + removal.shift_mm
    return refine(removal, material, air)


def refine(removal: Removal, material: F8, air: F8) -> Spots:
    """Where material ends on the lines from `material` to `air` (f8 (n,3) each); lines that do not start and end so are left out."""
    if not len(material):
        return Spots(point_mm=np.zeros((0, 3)), way=np.zeros((0, 3)))
    right = removal.inside(material) & ~removal.inside(air)
    a, b = material[right].copy(), air[right].copy()
    way = (b - a) / np.maximum(np.linalg.norm(b - a, axis=1), 1e-300)[:, None]
    while len(a) and float(np.abs(b - a).max()) > OWN_MM:
        middle = (a + b) / 2
        solid = removal.inside(middle)[:, None]
        a, b = np.where(solid, middle, a), np.where(solid, b, middle)
    return Spots(point_mm=(a + b) / 2, way=way)


def near_moves(
    removal: Removal, sweeps: Rows, rows: I8, shift_mm: F8, tools: Sequence[Tool]
) -> tuple[Spots, F8, int]:  # fmt: skip
    """Where changed moves cut: wall points at their flanks, rays under them, and how many moves were sampled.

    sweeps: SWEEP of the operation, table frame; rows: the changed ones; shift_mm: program to table frame of the place.
    """
    cuts = rows[np.isin(sweeps["kind"][rows], (Kind.RAPID, Kind.LINE, Kind.ARC)) & (sweeps["tool"][rows] >= 0)]
    if len(cuts) > SAMPLED_MOVES:
        cuts = cuts[np.unique(np.linspace(0, len(cuts) - 1, SAMPLED_MOVES).round().astype(int))]
    inner: list[F8] = []
    outer: list[F8] = []
    of_row: list[int] = []  # of each of those
    rays: list[F8] = [np.zeros((0, 2))]
    for row in cuts.tolist():
        move = sweeps[row]
        tool = tools[int(move["tool"])]
        for share in (0.08, 0.37, 0.63, 0.92, 1.0):
            tip, way = _along(move, share)
            tip = tip - shift_mm
            level = way[:2]
            size = float(np.hypot(level[0], level[1]))
            turned = (
                [np.array([-level[1], level[0]]) / size]
                if size > 1e-9
                else [np.array([1.0, 0.0]), np.array([0.0, 1.0])]
            )
            sides = [side * s for side in turned for s in (1.0, -1.0)]
            radius = tool.diameter_mm / 2
            under = np.array([tip, *(tip + 0.6 * radius * np.array([*side, 0.0]) for side in sides)])
            rays.append(removal.at_rest(under, np.full(len(under), removal.first_row + row))[:, :2])
            for height in (0.05, 0.3 * tool.cutting_mm, 0.7 * tool.cutting_mm):
                wide = float(np.interp(height, tool.profile_mm[:, 1], tool.profile_mm[:, 0]))
                if wide <= 0.05:
                    continue
                for side in sides:
                    spot = np.array([tip[0], tip[1], tip[2] + height])
                    out = np.array([side[0], side[1], 0.0])
                    inner.append(spot + (wide + 0.1) * out)
                    outer.append(spot + (wide - min(0.1, wide / 2)) * out)
                    of_row.append(removal.first_row + row)
    which = np.array(of_row, dtype=np.int64)
    material, air = (removal.at_rest(np.array(side).reshape(-1, 3), which) for side in (inner, outer))
    walls = refine(removal, material, air)
    return walls, np.concatenate(rays), len(cuts)


def _along(move: Rows, share: float) -> tuple[F8, F8]:
    """Tip and direction of travel at a share of a move, table frame."""
    a, b = np.array(move["from_mm"]), np.array(move["to_mm"])
    sweep = float(move["sweep_rad"])
    if int(move["kind"]) != Kind.ARC or sweep == 0:
        return a + share * (b - a), b - a
    n = int(move["normal"])
    i, j = (n + 1) % 3, (n + 2) % 3
    c = np.array(move["centre_mm"])
    r0, r1 = float(np.hypot(a[i] - c[i], a[j] - c[j])), float(np.hypot(b[i] - c[i], b[j] - c[j]))
    angle = float(np.arctan2(a[j] - c[j], a[i] - c[i])) + share * sweep
    radius = r0 + (r1 - r0) * share
    tip = a + share * (b - a)
    tip[i], tip[j] = c[i] + radius * np.cos(angle), c[j] + radius * np.sin(angle)
    way = np.zeros(3)
    way[i], way[j], way[n] = -np.sin(angle) * radius * sweep, np.cos(angle) * radius * sweep, b[n] - a[n]
    return tip, way
