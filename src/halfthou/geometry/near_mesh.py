"""Clearance between a moving tool and closed meshes, with a sign and a bound.

Along a straight leg a triangle seen from the tip sweeps the hull of six points, so its clearance to a convex turned
piece is one convex problem (`near_gap`), sign included: apart it is the distance; inside it is how much smaller all
round the piece would have to be to clear the triangle. The clearance to the skin is the least over the triangles
(found in a tree of boxes), and a piece that meets no triangle lies wholly in or wholly out: the winding of the skin
round one point of it tells. Where a closed skin is convex, the depth is the shortest parting shift instead
(`near_shift`), as it is for upright bodies. Curved legs: chords; the clearance never changes faster than the
position, so a chord decides its stretch of the curve but for its sag (of level arcs and upright helices: a chord with a piece
wider by the sag), and it is halved until that is below SAG.
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.geometry.near_gap import TOUCH_MM, gap, inner_depth, shrunk, smaller
from halfthou.geometry.near_path import bend_of, on_path
from halfthou.geometry.near_shift import deepest, most_shift
from halfthou.geometry.near_tree import box_gap, winding

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
U1 = NDArray[np.uint8]

FINE_MM = 2e-5  # a deeper place is looked for only when it is deeper by this
BOTH, CUTTER, REST = 0, 1, 2  # Solids.only: zones that a solid counts for


class Solids(NamedTuple):
    """Closed skins of standing bodies, packed. One row a skin: body, only, convex, root (its tree's first node).

    hull_first, face_first i8 (s+1): rows of hull f8 (·,3), its corners, and faces f8 (·,3), its outward unit normals;
    none where it is not convex. corners f8 (t,3,3) and the rest: see `near_tree.tree`.
    """

    body: I8
    only: I8
    convex: I8
    root: I8
    hull_first: I8
    face_first: I8
    hull: F8
    faces: F8
    corners: F8
    low: F8
    high: F8
    child: I8
    first: I8
    many: I8


class Piece(NamedTuple):
    """One convex turned piece and room to work in: chain f8 (m,2); inner, middle as `inner_depth` gives them."""

    chain: F8
    inner: float
    middle: float
    rings: F8
    spare: F8
    points: F8
    wide: float
    stack: I8
    bound: F8
    box: F8
    grown: F8


@kernel
def clear_meshes(
    tool: I8, start: F8, end: F8, centre: F8, normal: I8, sweep: F8, first_piece: I8, first_point: I8, chain: F8,
    zone: U1, grow: F8, solids: Solids, keep_mm: float, sag_mm: float, step_mm: float, best: F8, out: F8, at: F8,
) -> None:  # fmt: skip
    """As `near._clear_legs`, for the bodies that are meshes: lowers out, at (n, b, zones) and best (tools, zones, b)."""
    n = zone.shape[0]
    inner = np.zeros(n)
    middle = np.zeros(n)
    most = 0
    for g in range(n):
        inner[g], middle[g] = inner_depth(chain[first_point[g] : first_point[g + 1]])
        most = max(most, first_point[g + 1] - first_point[g])
    rings = np.empty((2 * most + 8, 2))
    spare = np.empty((2 * most + 8, 2))
    points = np.empty((6, 3))
    stack = np.empty(128, dtype=np.int64)
    bound = np.empty(128)
    box = np.empty((2, 3))
    grown = np.empty((most, 2))
    wide = np.zeros(n)
    for g in range(n):
        for j in range(first_point[g], first_point[g + 1]):
            wide[g] = max(wide[g], chain[j, 0])
    for i in range(tool.shape[0]):
        k = tool[i] if tool[i] >= 0 else first_piece.shape[0] - 2
        for s in range(solids.body.shape[0]):
            b = solids.body[s]
            for g in range(first_piece[k], first_piece[k + 1]):
                w = zone[g]
                if (solids.only[s] == 1 and w != 0) or (solids.only[s] == 2 and w == 0):
                    continue
                piece = Piece(
                    chain[first_point[g] : first_point[g + 1]], inner[g], middle[g], rings, spare, points, wide[g],
                    stack, bound, box, grown,
                )  # fmt: skip
                give_up = min(max(keep_mm, best[k, w, b]), out[i, b, w]) + grow[g]
                if sweep[i] == 0.0:
                    value, where = straight_leg(start[i], end[i], piece, solids, s, give_up, step_mm)
                else:
                    value, where = curved_leg(
                        start[i], end[i], centre[i], normal[i], sweep[i], piece, solids, s, give_up, sag_mm, step_mm
                    )
                value -= grow[g]
                if value < out[i, b, w]:
                    out[i, b, w] = value
                    at[i, b, w] = where
                if where == where and value < best[k, w, b]:
                    best[k, w, b] = value


@kernel
def straight_leg(
    p: F8, q: F8, piece: Piece, solids: Solids, s: int, level: float, step_mm: float
) -> tuple[float, float]:
    """(least clearance of a piece going from p to q to skin s, share of the way); (level, NaN): it is not below level."""
    root = solids.root[s]
    chain = piece.chain
    # a parting shift may be larger than the piece can be made smaller: only a gap rules it out
    bar = level if solids.convex[s] == 0 else max(level, 2.0 * TOUCH_MM)
    if box_gap(p, q, piece.wide, chain[0, 1], chain[-1, 1], solids.low[root], solids.high[root]) >= bar:
        return level, math.nan
    x = p[0]
    y = p[1]
    z = p[2] + piece.middle
    low = solids.low
    high = solids.high
    inside = (
        low[root, 0] <= x <= high[root, 0] and low[root, 1] <= y <= high[root, 1] and low[root, 2] <= z <= high[root, 2]
    )
    if inside:
        inside = winding(x, y, z, solids.corners, low, high, solids.child, solids.first, solids.many, root) > 0
    if solids.convex[s] == 0:
        if inside:
            return (-piece.inner, 0.0) if -piece.inner < level else (level, math.nan)
        return _skin(p, q, piece, solids, root, level, False)
    share = 0.0
    if not inside:
        value, share = _skin(p, q, piece, solids, root, bar, True)
        if share != share or (value > 0.0 and value >= level):
            return level, math.nan
        if value > 0.0:
            return value, share
    value, share = _shift(p, q, piece, solids, s, share, level, step_mm)
    return (value, share) if value < level else (level, math.nan)


@kernel
def _skin(p: F8, q: F8, piece: Piece, solids: Solids, root: int, level: float, stop: bool) -> tuple[float, float]:
    """Least clearance to the triangles of one tree, share of the way; NaN: not below level. stop: a touch (0) ends it."""
    chain = piece.chain
    m = chain.shape[0]
    wide = piece.wide
    h0 = chain[0, 1]
    h1 = chain[m - 1, 1]
    still = p[0] == q[0] and p[1] == q[1] and p[2] == q[2]
    count = 3 if still else 6
    where = math.nan
    points = piece.points
    stack = piece.stack
    bound = piece.bound
    box = piece.box
    stack[0] = root
    bound[0] = box_gap(p, q, wide, h0, h1, solids.low[root], solids.high[root])
    top = 1
    while top > 0:
        top -= 1
        if bound[top] >= level:
            continue
        k = stack[top]
        if solids.child[k] >= 0:
            a = solids.child[k]
            ga = box_gap(p, q, wide, h0, h1, solids.low[a], solids.high[a])
            gb = box_gap(p, q, wide, h0, h1, solids.low[a + 1], solids.high[a + 1])
            near = a if ga <= gb else a + 1
            stack[top] = a + 1 if ga <= gb else a
            bound[top] = max(ga, gb)
            stack[top + 1] = near
            bound[top + 1] = min(ga, gb)
            top += 2
            continue
        for i in range(solids.first[k], solids.first[k] + solids.many[k]):
            three = solids.corners[i]
            for j in range(3):
                box[0, j] = min(three[0, j], three[1, j], three[2, j])
                box[1, j] = max(three[0, j], three[1, j], three[2, j])
            if box_gap(p, q, wide, h0, h1, box[0], box[1]) >= level:
                continue
            for c in range(3):
                for j in range(3):
                    points[c, j] = three[c, j] - p[j]
                    points[3 + c, j] = three[c, j] - q[j]
            if level > 0.0:
                d, share = gap(points, count, 3, chain, m, level)
                if d >= level:
                    continue
                level = d
                where = share
                if d > 0.0:
                    continue
                if stop:
                    return 0.0, where
            if -level >= piece.inner - FINE_MM:
                return level, where
            rings = shrunk(chain, FINE_MM - level, piece.rings, piece.spare)
            if rings == 0:
                continue
            d, share = gap(points, count, 3, piece.rings, rings, TOUCH_MM)
            if d > 0.0:
                continue
            where = share
            deep, share = smaller(points, count, 3, chain, piece.inner, FINE_MM - level, piece.rings, piece.spare)
            level = -deep
            if share >= 0.0:
                where = share
    return level, where


@kernel
def _meets(x: float, y: float, z: float, hull: F8, seen: F8, chain: F8) -> bool:
    """Whether a piece with its tip there meets the hull."""
    for k in range(hull.shape[0]):
        seen[k, 0] = hull[k, 0] - x
        seen[k, 1] = hull[k, 1] - y
        seen[k, 2] = hull[k, 2] - z
    d, _ = gap(seen, hull.shape[0], hull.shape[0], chain, chain.shape[0], TOUCH_MM)
    return d <= 0.0


@kernel
def _shift(
    p: F8, q: F8, piece: Piece, solids: Solids, s: int, share: float, level: float, step_mm: float
) -> tuple[float, float]:
    """(minus the largest of the shortest parting shifts on the leg, share of the way); at `share` they meet."""
    hull = solids.hull[solids.hull_first[s] : solids.hull_first[s + 1]]
    faces = solids.faces[solids.face_first[s] : solids.face_first[s + 1]]
    if level < 0.0 and -most_shift(p, q, hull, faces, piece.chain) >= level:
        return level, math.nan
    seen = np.empty((hull.shape[0], 3))
    ends = np.empty(2)
    length = math.sqrt((q[0] - p[0]) ** 2 + (q[1] - p[1]) ** 2 + (q[2] - p[2]) ** 2)
    for side in range(2):
        good = share
        bad = float(side)
        if length * abs(bad - good) > step_mm and not _meets(
            p[0] + bad * (q[0] - p[0]), p[1] + bad * (q[1] - p[1]), p[2] + bad * (q[2] - p[2]), hull, seen, piece.chain
        ):
            while length * abs(bad - good) > step_mm:
                t = 0.5 * (good + bad)
                if _meets(
                    p[0] + t * (q[0] - p[0]),
                    p[1] + t * (q[1] - p[1]),
                    p[2] + t * (q[2] - p[2]),
                    hull,
                    seen,
                    piece.chain,
                ):
                    good = t
                else:
                    bad = t
        ends[side] = bad
    a = p + ends[0] * (q - p)
    b = p + ends[1] * (q - p)
    deep, at = deepest(a, b, hull, faces, piece.chain, step_mm)
    return -deep, ends[0] + at * (ends[1] - ends[0])


@kernel
def curved_leg(
    p: F8, q: F8, c: F8, normal: int, sweep: float, piece: Piece, solids: Solids, s: int, level: float, sag_mm: float,
    step_mm: float,
) -> tuple[float, float]:  # fmt: skip
    """As `straight_leg`, for a curved leg."""
    bend, speed = bend_of(p, q, c, normal, sweep)
    a = np.empty(3)
    a[0], a[1], a[2] = on_path(p, q, c, normal, sweep, 0.5)
    root = solids.root[s]
    chain = piece.chain
    here = box_gap(a, a, piece.wide, chain[0, 1], chain[-1, 1], solids.low[root], solids.high[root])
    if here - 0.5 * speed >= (level if solids.convex[s] == 0 else max(level, 2.0 * TOUCH_MM)):
        return level, math.nan
    parts = max(1, int(math.ceil(abs(sweep))))
    where = math.nan
    stack = np.empty((128 + parts, 2))
    b = np.empty(3)
    for k in range(parts):
        stack[k, 0] = k / parts
        stack[k, 1] = 1.0 / parts
    top = parts
    while top > 0:
        top -= 1
        t = stack[top, 0]
        dt = stack[top, 1]
        sag = bend * dt * dt * 0.125
        least = level - 0.5 * step_mm
        a[0], a[1], a[2] = on_path(p, q, c, normal, sweep, t)
        b[0], b[1], b[2] = on_path(p, q, c, normal, sweep, t + dt)
        if normal == 2:  # the curve leaves the chord sideways only
            value, share = straight_leg(a, b, _wider(piece, sag), solids, s, least, step_mm)
        else:
            value, share = straight_leg(a, b, piece, solids, s, least + sag, step_mm)
            value -= sag
        if share != share:
            continue
        if sag <= sag_mm:
            level = value
            where = t + share * dt
            continue
        at = t + share * dt
        a[0], a[1], a[2] = on_path(p, q, c, normal, sweep, at)
        value, there = straight_leg(a, a, piece, solids, s, level, step_mm)
        if there == there:
            level = value
            where = at
        for k in range(2):
            stack[top, 0] = t if (k == 1) == (share <= 0.5) else t + 0.5 * dt
            stack[top, 1] = 0.5 * dt
            top += 1
    return level, where


@kernel
def _wider(piece: Piece, by_mm: float) -> Piece:
    """The piece with all radii by_mm larger."""
    m = piece.chain.shape[0]
    for k in range(m):
        piece.grown[k, 0] = piece.chain[k, 0] + by_mm
        piece.grown[k, 1] = piece.chain[k, 1]
    return Piece(
        piece.grown[:m], piece.inner + by_mm, piece.middle, piece.rings, piece.spare, piece.points, piece.wide + by_mm,
        piece.stack, piece.bound, piece.box, piece.grown,
    )  # fmt: skip
