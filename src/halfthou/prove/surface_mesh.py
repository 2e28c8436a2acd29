"""A closed, labelled triangle mesh of what is left of the stock after any move, with its vertices on the exact surface.

Nodes stand on the rays, at heights between the level surfaces of the part; which are inside comes from the depth
elements. Every grid edge between an inside and an outside node is followed to the exact end of the material; vertices are
put where the surfaces of their cell meet. Promise: closed, every edge between two triangles, whatever was cut; a vertex on
one smooth surface lies on it to VERTEX_MM plus the record's error. Not promised: what is thinner than the pitch (across the
rays) may be missing; skins nearer than the pitch may cut through each other.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows
from halfthou.base.watch import QUIET, Watch
from halfthou.geometry.net import LOOP, LOOPS, TWICE, count_cells, faces_of, triangles_of
from halfthou.nouns.cut import CutRecord
from halfthou.nouns.mesh import Mesh
from halfthou.prove.remove import Removal
from halfthou.prove.remove_raw import ray_lines
from halfthou.prove.surface_solid import Ends, Solid, cut_off, leave, leave_nodes, settled, solid_of, ways

F8 = NDArray[np.float64]
I1 = NDArray[np.int8]
I4 = NDArray[np.int32]
I8 = NDArray[np.int64]
U1 = NDArray[np.uint8]

VERTEX_MM = 1e-6
"""A vertex of one smooth surface is this near to it (besides the chords the record counts with)."""
LEVEL_SHARE = 5e-4  # a height shared by this share of all ray ends is a level surface that nodes stand clear of
LARGE_SHARE = 1e-2  # and by this share: one that keeps no distance from others (ramps share heights, too)
MOST_LEVELS, MOST_TRIED = 64, 2000
THINNEST_MM = 1e-4  # level surfaces nearer than this are one
SHORT = (0.01, 0.1, 0.5)  # of the pitch: how far from a vertex the exact surface is looked for
MOST_MORE, FEWEST, LEAST_MM = 32, 4, 0.002  # heights added for thin stretches, rays that need one, thinnest looked at
APART_MM = 2e-5  # two steps of a 32-bit float at 100 mm
TASK = "surface mesh"


@dataclass(frozen=True, slots=True, kw_only=True)
class Net:
    """Faces round the grid edges where material ends. Node (i, j, k) stands at (x[i], y[j], z[k]), grid axes."""

    x: F8
    y: F8
    z: F8
    cell: I4  # (cells,3) low node
    vertex: I8  # (cells + 1,) first vertex of each cell
    node: I4  # (faces,3) low end of the grid edge
    axis: I1
    rising: I1
    quad: I8  # (faces,4)
    split: U1


def surface_mesh(
    removal: Removal, *, after_move: int | None = None, name: str = "part", threads: int | None = None,
    watch: Watch = QUIET,
) -> Mesh:  # fmt: skip
    """What is left after row `after_move` (job-wide; None: after the operation), in program coordinates of its place.

    A move of an earlier operation gives the part as it lay there. Labels: operation, tool (T number), move. An empty mesh
    if nothing is left. Raises Cancelled.
    """
    if after_move is not None:
        removal = cut_off(removal, after_move)
    solid = solid_of(removal)
    net = net_of(removal.record, watch)
    at, ends, way = _crossings(net, solid, threads, watch)
    polygons, points = _vertices(net, solid, at, ends, way, threads, watch)
    triangles, owner = _triangles(net, polygons, points, way)
    row = _labels(solid, points, triangles, owner, ends, threads, watch)
    move, tool, op = _words(removal, row)
    used, triangles = np.unique(triangles, return_inverse=True)
    triangles = triangles.reshape(-1, 3)
    return Mesh(
        points_mm=_apart(points[used] + removal.shift_mm, triangles), triangles=triangles.astype(np.int32), operation=op,
        tool=tool, move=move, name=name,
    )  # fmt: skip


# -- the net ---------------------------------------------------------------------------------------------------


def heights_of(record: CutRecord) -> F8:
    """Heights of the nodes: evenly between the level surfaces, nowhere farther apart than the pitch."""
    pitch = record.grid.pitch_mm
    spans = record.spans
    ends = np.concatenate([spans["low_mm"], spans["high_mm"]])
    low, high = float(ends.min()), float(ends.max())
    value, count = np.unique(np.round(ends / THINNEST_MM).astype(np.int64), return_counts=True)
    taken: list[int] = []
    for k in np.argsort(-count, kind="stable")[:MOST_TRIED].tolist():
        if count[k] < max(8, LEVEL_SHARE * len(ends)) or len(taken) >= MOST_LEVELS:
            break
        apart = 1.5 if count[k] >= LARGE_SHARE * len(ends) else pitch / 4 / THINNEST_MM
        if all(abs(int(value[k]) - other) > apart for other in taken):
            taken.append(int(value[k]))
    levels = np.unique(np.concatenate([[low], np.array(taken) * THINNEST_MM, [high]]))
    levels = levels[np.concatenate([[True], np.diff(levels) > 1.5 * THINNEST_MM])]
    z = [[low - pitch / 2]]
    for a, b in zip(levels[:-1].tolist(), levels[1:].tolist(), strict=True):
        n = max(1, int(np.ceil((b - a) / pitch)))
        z.append((a + (np.arange(n) + 0.5) * (b - a) / n).tolist())
    nodes = np.concatenate([*z, [high + pitch / 2]])
    inner = np.ones(len(spans), dtype=np.bool_)  # gaps: between two spans of one ray
    inner[record.first[:-1][np.diff(record.first) > 0]] = False
    upper = np.flatnonzero(inner)
    return _through_thin(
        nodes, np.concatenate([spans["low_mm"], spans["high_mm"][upper - 1]]),
        np.concatenate([spans["high_mm"], spans["low_mm"][upper]]),
    )  # fmt: skip


def _through_thin(z: F8, low: F8, high: F8) -> F8:
    """Further heights through stretches of material or air that no node is in, those that hold most of them first."""
    for _ in range(MOST_MORE):
        missed = np.searchsorted(z, low, side="right") >= np.searchsorted(z, high, side="left")
        missed &= high - low > LEAST_MM
        if missed.sum() < FEWEST:
            break
        a, b = np.sort(low[missed]), np.sort(high[missed])
        share = (high - low)[missed]
        weight_a = np.concatenate([[0.0], np.cumsum(share[np.argsort(low[missed])])])
        weight_b = np.concatenate([[0.0], np.cumsum(share[np.argsort(high[missed])])])
        middle = (low + high)[missed] / 2
        tried = np.quantile(middle, np.linspace(0, 1, 65), method="nearest")
        held = weight_a[np.searchsorted(a, tried, side="left")] - weight_b[np.searchsorted(b, tried, side="right")]
        z = np.sort(np.append(z, tried[int(np.argmax(held))]))
    return z


def net_of(record: CutRecord, watch: Watch = QUIET) -> Net:
    """The net around the nodes inside the material of a record."""
    grid = record.grid
    x, y = ray_lines(grid)
    x, y = (np.concatenate([[v[0] - grid.pitch_mm], v, [v[-1] + grid.pitch_mm]]) for v in (x, y))
    z = heights_of(record) if len(record.spans) else np.zeros(2)
    watch.step(TASK, 0, 1)
    first, from_k, to_k = _runs(record, z, len(y))
    nx, ny = len(x), len(y)
    start = np.zeros((nx - 1) * (ny - 1) + 1, dtype=np.int64)
    none = np.zeros(0, dtype=np.int32)
    count_cells(first, from_k, to_k, nx, ny, 0, start, none, np.zeros(0, dtype=np.uint8))
    np.cumsum(start, out=start)
    cell_k, case = np.zeros(int(start[-1]), dtype=np.int32), np.zeros(int(start[-1]), dtype=np.uint8)
    count_cells(first, from_k, to_k, nx, ny, 1, start, cell_k, case)
    vertex = np.zeros(len(case) + 1, dtype=np.int64)
    np.cumsum(LOOPS[case], out=vertex[1:])
    bits = [(case >> c) & 1 for c in range(8)]
    n = int(sum(int((bits[0] != bits[c]).sum()) for c in (1, 2, 4)))
    node, axis, rising = np.zeros((n, 3), dtype=np.int32), np.zeros(n, dtype=np.int8), np.zeros(n, dtype=np.int8)
    quad, split = np.zeros((n, 4), dtype=np.int64), np.zeros(n, dtype=np.uint8)
    at, rows = 0, max(1, 200_000 // max(1, ny - 1)) * (ny - 1)
    for c0 in range(0, len(start) - 1, rows):
        watch.step(TASK, c0, len(start))
        c1 = min(len(start) - 1, c0 + rows)
        at = faces_of(start, cell_k, case, vertex, LOOP, TWICE, ny, c0, c1, at, node, axis, rising, quad, split)
    column = np.repeat(np.arange(len(start) - 1), np.diff(start))
    cell = np.stack([column // (ny - 1), column % (ny - 1), cell_k], axis=1).astype(np.int32)
    return Net(x=x, y=y, z=z, cell=cell, vertex=vertex, node=node, axis=axis, rising=rising, quad=quad, split=split)


def _runs(record: CutRecord, z: F8, ny: int) -> tuple[I8, I4, I4]:
    """Inside stretches from_k ≤ k < to_k of every column of nodes, a rim of empty ones around."""
    grid = record.grid
    a = np.searchsorted(z, record.spans["low_mm"], side="right").astype(np.int32)
    b = np.searchsorted(z, record.spans["high_mm"], side="left").astype(np.int32)
    ray = np.repeat(np.arange(grid.nx * grid.ny), np.diff(record.first))
    keep = a < b
    column = (ray[keep] // grid.ny + 1) * ny + ray[keep] % grid.ny + 1
    first = np.zeros((grid.nx + 2) * ny + 1, dtype=np.int64)
    np.cumsum(np.bincount(column, minlength=len(first) - 1), out=first[1:])
    return first, a[keep], b[keep]


# -- exact places ----------------------------------------------------------------------------------------------


def _nodes(net: Net, node: I4) -> F8:
    return np.stack([net.x[node[:, 0]], net.y[node[:, 1]], net.z[node[:, 2]]], axis=1)


def _crossings(net: Net, solid: Solid, threads: int | None, watch: Watch) -> tuple[F8, Ends, F8]:
    """(points, surfaces, ways into the air) where the material ends on the grid edges."""
    one = np.eye(3, dtype=np.int32)[net.axis]
    low, high = _nodes(net, net.node), _nodes(net, net.node + one)
    up = net.rising[:, None] == 1
    a, b = np.where(up, low, high), np.where(up, high, low)
    ends = leave_nodes(solid, a, b, threads, watch, TASK)
    at = a + ends.t[:, None] * (b - a)
    way = ways(solid, at, ends, threads, watch, TASK)
    lost = ~way.any(axis=1)
    way[lost] = ((b - a) / np.linalg.norm(b - a, axis=1)[:, None])[lost]
    return at, ends, way


def _vertices(
    net: Net, solid: Solid, at: F8, ends: Ends, way: F8, threads: int | None, watch: Watch
) -> tuple[list[I8], F8]:
    """(face and corners of each face with split sides, points): vertices of cells, then of split sides."""
    n = int(net.vertex[-1])
    extra, polygons, members = _split_sides(net, n)
    pairs = [(net.quad.ravel(), np.repeat(np.arange(len(net.quad)), 4))]
    if extra:
        pairs.append((np.repeat(np.arange(n, n + extra), [len(m) for m in members]), np.concatenate(members)))
    vertex, crossing = np.concatenate([p[0] for p in pairs]), np.concatenate([p[1] for p in pairs])
    order = np.argsort(vertex, kind="stable")
    first = np.zeros(n + extra + 1, dtype=np.int64)
    np.cumsum(np.bincount(vertex, minlength=n + extra), out=first[1:])
    owner = np.repeat(np.arange(len(net.cell)), np.diff(net.vertex))
    low, high = _nodes(net, net.cell[owner]), _nodes(net, net.cell[owner] + 1)
    member = crossing[order]
    if extra:
        spots = [at[m] for m in members]
        low = np.concatenate([low, [s.min(axis=0) - 1e-3 for s in spots]])
        high = np.concatenate([high, [s.max(axis=0) + 1e-3 for s in spots]])
    points, mean, _ = settled(solid, first, member, at, ends, way, low, high, threads, watch, TASK)
    points = _put_on(solid, points, mean, at, first, member, float(net.x[1] - net.x[0]), threads, watch)
    return polygons, points


def _put_on(
    solid: Solid, points: F8, mean: F8, at: F8, first: I8, member: I8, pitch: float, threads: int | None, watch: Watch
) -> F8:
    """Every vertex moved along its way onto the exact surface; onto a crossing of its cell where none is found near."""
    points = points.copy()
    open_ = np.flatnonzero(mean.any(axis=1))
    lost = np.flatnonzero(~mean.any(axis=1))
    for share in SHORT:
        if not len(open_):
            break
        a, b = points[open_] - share * pitch * mean[open_], points[open_] + share * pitch * mean[open_]
        ends = leave(solid, a, b, threads, watch, TASK)
        good = ends.known() & (ends.t * 2 * share * pitch > 1e-8)
        rows = open_[good]
        points[rows] = (a + ends.t[:, None] * (b - a))[good]
        open_ = open_[~good]
    open_ = np.concatenate([open_, lost])
    if len(open_):
        longest = int(np.diff(first)[open_].max())
        best, near = np.full(len(open_), np.inf), points[open_].copy()
        for k in range(longest):
            row = np.minimum(first[open_] + k, first[open_ + 1] - 1)
            off = np.linalg.norm(at[member[row]] - points[open_], axis=1)
            nearer = off < best
            best[nearer], near[nearer] = off[nearer], at[member[row]][nearer]
        points[open_] = near
    return points


def _split_sides(net: Net, n: int) -> tuple[int, list[I8], list[I8]]:
    """(number of points on split sides, corners of faces with such sides, crossings of each point)."""
    names: dict[tuple[int, int, tuple[int, int, int]], int] = {}
    members: list[list[int]] = []
    polygons: list[I8] = []
    for f in np.flatnonzero(net.split).tolist():
        inside = net.node[f].astype(int)
        if not net.rising[f]:
            inside[net.axis[f]] += 1
        i, j, k = inside.tolist()
        corners: list[int] = []
        for s in range(4):
            one, two = int(net.quad[f, s]), int(net.quad[f, (s + 1) % 4])
            corners.append(one)
            if net.split[f] >> s & 1:
                key = (min(one, two), max(one, two), (i, j, k))
                if key not in names:
                    names[key] = len(members)
                    members.append([])
                members[names[key]].append(f)
                corners.append(n + names[key])
        polygons.append(np.array([f, *corners], dtype=np.int64))
    return len(members), polygons, [np.array(m, dtype=np.int64) for m in members]


# -- triangles and labels --------------------------------------------------------------------------------------


def _triangles(net: Net, polygons: list[I8], points: F8, way: F8) -> tuple[I8, I8]:
    """(triangles i8 (m,3), face of each i8 (m,))."""
    plain = np.flatnonzero(net.split == 0)
    out = np.zeros((2 * len(plain), 3), dtype=np.int64)
    triangles_of(net.quad[plain], points, way[plain], out)
    owner = np.repeat(plain, 2)
    n = int(net.vertex[-1])
    more: list[list[int]] = []
    whose: list[int] = []
    for polygon in polygons:
        corners = polygon[1:].tolist()
        k = next(c for c, corner in enumerate(corners) if corner >= n)  # a point of a split side: fan from there
        corners = corners[k:] + corners[:k]
        for one, two in pairwise(corners[1:]):
            more.append([corners[0], one, two])
            whose.append(int(polygon[0]))
    if more:
        out, owner = np.concatenate([out, np.array(more)]), np.concatenate([owner, np.array(whose)])
    return out, owner


def _labels(
    solid: Solid,
    points: F8,
    triangles: I8,
    owner: I8,
    ends: Ends,
    threads: int | None,
    watch: Watch,
) -> I8:
    """Row of the move that made the surface at the middle of each triangle, -1 raw."""
    event = ends.surface
    row = np.full(len(event), -1, dtype=np.int64)
    row[event >= 0] = solid.events["row"][event[event >= 0]]
    out = row[owner]
    a, b, c = (points[triangles[:, k]] for k in range(3))
    middle, cross = (a + b + c) / 3, np.cross(b - a, c - a)
    size = np.linalg.norm(cross, axis=1)
    low, high = np.full(len(points), np.iinfo(np.int64).max), np.full(len(points), -2, dtype=np.int64)
    for k in range(3):
        np.minimum.at(low, triangles[:, k], out)
        np.maximum.at(high, triangles[:, k], out)
    mixed = (low[triangles].min(axis=1) != high[triangles].max(axis=1)) & (size > 0)
    rows = np.flatnonzero(mixed)
    for away in (0.003, 0.03):
        if not len(rows):
            break
        n = cross[rows] / size[rows, None]
        found = leave(solid, middle[rows] - away * n, middle[rows] + away * n, threads, watch, TASK)
        good = found.known() & (found.t * 2 * away > 1e-8)
        hit = found.surface[good]
        out[rows[good]] = np.where(hit >= 0, solid.events["row"][np.maximum(hit, 0)] if len(solid.events) else -1, -1)
        rows = rows[~good]
    return out


def _apart(points: F8, triangles: I8) -> F8:
    """No two points are one as 32-bit floats: those that are go APART_MM and more towards their neighbours.

    Formats without point numbers are read by joining equal points; joined skins would no longer be closed.
    """
    size = APART_MM * max(1.0, float(np.abs(points).max(initial=0.0)) / 100.0)
    for k in range(1, 6):
        bits = (points.astype(np.float32) + np.float32(0.0)).view(np.uint32).astype(np.uint64)
        key = bits @ np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], dtype=np.uint64)
        _, which, count = np.unique(key, return_inverse=True, return_counts=True)
        twin = count[which] > 1
        if not twin.any():
            break
        if k == 1:
            points = points.copy()
        own = triangles[twin[triangles].any(axis=1)]
        middle, n = np.zeros_like(points), np.zeros(len(points))
        for a, b in ((0, 1), (1, 2), (2, 0), (1, 0), (2, 1), (0, 2)):
            np.add.at(middle, own[:, a], points[own[:, b]])
            np.add.at(n, own[:, a], 1.0)
        rows = np.flatnonzero(twin & (n > 0))
        way = middle[rows] / n[rows, None] - points[rows]
        points[rows] += k * size * way / np.maximum(np.linalg.norm(way, axis=1), 1e-12)[:, None]
    return points


def _words(removal: Removal, row: I8) -> tuple[I4, I4, I4]:
    """(move, tool, operation) of rows of the job-wide table."""
    op, tool = np.full(len(row), -1, dtype=np.int32), np.full(len(row), -1, dtype=np.int32)
    own: Removal | None = removal
    while own is not None:
        moves: Rows = own.moves.moves
        mine = (row >= own.first_row) & (row < own.first_row + len(moves))
        op[mine], tool[mine] = own.op, moves["tool"][row[mine] - own.first_row]
        own = own.before
    return row.astype(np.int32), tool, op
