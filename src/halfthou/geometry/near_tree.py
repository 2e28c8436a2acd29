"""Triangles of a closed mesh in a tree of boxes: what is near a moving piece, and whether a point is inside."""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

LEAF = 4  # triangles a leaf


def tree(corners: F8) -> tuple[I8, F8, F8, I8, I8, I8]:
    """Tree over triangles f8 (n,3,3): (order, low, high, child, first, count).

    order i8 (n,) sorts the triangles; node k has the box low[k] … high[k] f8 (N,3); child[k] is its first child, the
    other is the next row; a leaf (child -1) owns first[k] … first[k] + count[k] of the sorted triangles.
    """
    n = len(corners)
    low, high = corners.min(axis=1), corners.max(axis=1)
    middle = 0.5 * (low + high)
    order = np.arange(n)
    rows: list[list[int]] = [[-1, 0, n]]  # child, first, count
    boxes: list[tuple[F8, F8]] = []
    at = 0
    while at < len(rows):
        _, first, count = rows[at]
        mine = order[first : first + count]
        boxes.append((low[mine].min(axis=0), high[mine].max(axis=0)))
        if count > LEAF:
            spread = middle[mine]
            axis = int(np.argmax(spread.max(axis=0) - spread.min(axis=0)))
            half = count // 2
            order[first : first + count] = mine[np.argpartition(spread[:, axis], half)]
            rows[at][0] = len(rows)
            rows.append([-1, first, half])
            rows.append([-1, first + half, count - half])
        at += 1
    table = np.array(rows, dtype=np.int64)
    lows, highs = np.array([b[0] for b in boxes]), np.array([b[1] for b in boxes])
    child, first_of, count_of = (np.ascontiguousarray(table[:, k]) for k in range(3))
    return order.astype(np.int64), lows, highs, child, first_of, count_of


@kernel
def box_gap(p: F8, q: F8, wide: float, h0: float, h1: float, low: F8, high: F8) -> float:
    """Lower bound of the signed clearance to a box of a piece (radius wide, h0 … h1 over its tip) going from p to q.

    Negative where they may meet: then no point of the box is deeper in the piece than that.
    """
    s = _segment_gap(p[0], p[1], q[0], q[1], low[0], low[1], high[0], high[1]) - wide
    z = max(low[2] - max(p[2], q[2]) - h1, min(p[2], q[2]) + h0 - high[2])
    if s > 0.0 and z > 0.0:
        return math.sqrt(s * s + z * z)
    return float(max(s, z))


@kernel
def _segment_gap(
    ax: float, ay: float, bx: float, by: float, x0: float, y0: float, x1: float, y1: float
) -> float:  # fmt: skip
    """Distance of a segment to a rectangle in the plane, 0 if they meet."""
    dx = bx - ax
    dy = by - ay
    low = 0.0
    high = 1.0
    for k in range(2):
        d = dx if k == 0 else dy
        a = ax if k == 0 else ay
        lo = x0 if k == 0 else y0
        hi = x1 if k == 0 else y1
        if d == 0.0:
            if a < lo or a > hi:
                high = -1.0
            continue
        t0 = (lo - a) / d
        t1 = (hi - a) / d
        low = max(low, min(t0, t1))
        high = min(high, max(t0, t1))
    if low <= high:
        return 0.0
    best = 1e300
    for k in range(2):
        px = ax if k == 0 else bx
        py = ay if k == 0 else by
        ex = max(x0 - px, max(px - x1, 0.0))
        ey = max(y0 - py, max(py - y1, 0.0))
        best = min(best, ex * ex + ey * ey)
    length2 = dx * dx + dy * dy
    if length2 > 0.0:
        for k in range(4):
            cx = x0 if k & 1 else x1
            cy = y0 if k & 2 else y1
            t = min(1.0, max(0.0, ((cx - ax) * dx + (cy - ay) * dy) / length2))
            ex = cx - ax - t * dx
            ey = cy - ay - t * dy
            best = min(best, ex * ex + ey * ey)
    return math.sqrt(best)


@kernel
def winding(
    x: float, y: float, z: float, corners: F8, low: F8, high: F8, child: I8, first: I8, count: I8, root: int
) -> int:
    """How often the skin goes round a point: the signed crossings of the ray straight up (0 outside, 1 inside).

    Edges are decided by the half-open rule with their ends in one order, so a ray through an edge or a corner counts
    once.
    """
    turns = 0
    stack = np.empty(128, dtype=np.int64)
    stack[0] = root
    top = 1
    while top > 0:
        top -= 1
        k = stack[top]
        if x < low[k, 0] or x > high[k, 0] or y < low[k, 1] or y > high[k, 1] or z > high[k, 2]:
            continue
        if child[k] >= 0:
            stack[top] = child[k]
            stack[top + 1] = child[k] + 1
            top += 2
            continue
        for i in range(first[k], first[k] + count[k]):
            around = 0
            for e in range(3):
                around += _passes(corners[i, e], corners[i, (e + 1) % 3], x, y)
            if around != 0 and _height(corners[i], x, y) > z:
                turns += around
    return turns


@kernel
def _passes(a: F8, b: F8, x: float, y: float) -> int:
    """Signed crossing of the edge a→b with the level ray to the right of (x, y), seen from above."""
    if (a[1] > y) == (b[1] > y):
        return 0
    up = b[1] > a[1]
    x0 = a[0] if up else b[0]
    y0 = a[1] if up else b[1]
    x1 = b[0] if up else a[0]
    y1 = b[1] if up else a[1]
    if x0 + (y - y0) / (y1 - y0) * (x1 - x0) <= x:
        return 0
    return 1 if up else -1


@kernel
def _height(three: F8, x: float, y: float) -> float:
    """Height of a triangle's plane over a point of its outline, kept between its corners."""
    ux = three[1, 0] - three[0, 0]
    uy = three[1, 1] - three[0, 1]
    uz = three[1, 2] - three[0, 2]
    vx = three[2, 0] - three[0, 0]
    vy = three[2, 1] - three[0, 1]
    vz = three[2, 2] - three[0, 2]
    nx = uy * vz - uz * vy
    ny = uz * vx - ux * vz
    nz = ux * vy - uy * vx
    low = min(three[0, 2], min(three[1, 2], three[2, 2]))
    high = max(three[0, 2], max(three[1, 2], three[2, 2]))
    if nz == 0.0:
        return float(0.5 * (low + high))
    height = three[0, 2] - (nx * (x - three[0, 0]) + ny * (y - three[0, 1])) / nz
    return float(min(high, max(low, height)))
