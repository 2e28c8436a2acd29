"""The nearest point of a triangle mesh to many points, through a grid of the cells its triangles pass through.

Sign and normal come from that of the equally near triangles whose plane the point is farthest from: on the edges and
corners of a closed mesh that one tells inside from outside.
Source: nearest point of a triangle by its Voronoi regions (from memory); twin: all triangles tried (tests/laws/test_closest.py).
"""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

SAME_MM = 1e-9  # two triangles are equally near within this
AT_ONCE = 500_000  # cells looked at together


def cells_of(corners: F8, size: float) -> tuple[F8, tuple[int, int, int], I8, I8]:
    """(low corner, cells along each axis, first i8 (cells + 1), index i8): triangles f8 (m,3,3) by the cells of their boxes."""
    low = corners.reshape(-1, 3).min(axis=0) - size
    n = np.floor((corners.reshape(-1, 3).max(axis=0) - low) / size).astype(np.int64) + 2
    a = np.floor((corners.min(axis=1) - low) / size).astype(np.int64)
    b = np.floor((corners.max(axis=1) - low) / size).astype(np.int64) + 1
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    normal = normal / np.maximum(length, 1e-300)[:, None]
    owner: list[I8] = []
    cell: list[I8] = []
    rows = np.flatnonzero(length > 0)
    wide = b[rows] - a[rows]
    total = np.cumsum(wide.prod(axis=1))
    cuts = np.unique(np.searchsorted(total, np.arange(0, total[-1] if len(total) else 0, AT_ONCE), side="left"))
    for p, q in zip(cuts.tolist(), [*cuts[1:].tolist(), len(rows)][: len(cuts)], strict=True):
        count = wide[p:q].prod(axis=1)
        m = np.repeat(np.arange(p, q), count)
        inner = np.arange(len(m)) - np.repeat(np.cumsum(count) - count, count)
        over, inner = np.divmod(inner, wide[m, 1] * wide[m, 2])
        spots = a[rows[m]] + np.stack([over, inner // wide[m, 2], inner % wide[m, 2]], axis=1)
        middle = low + (spots + 0.5) * size
        m = rows[m]
        high = np.abs(((middle - corners[m, 0]) * normal[m]).sum(axis=1))
        near = high <= 0.5 * size * np.abs(normal[m]).sum(axis=1) + 1e-9
        spots = spots[near]
        cell.append((spots[:, 0] * n[1] + spots[:, 1]) * n[2] + spots[:, 2])
        owner.append(m[near])
    cells = np.concatenate(cell) if cell else np.zeros(0, dtype=np.int64)
    order = np.argsort(cells, kind="stable")
    first = np.zeros(int(n.prod()) + 1, dtype=np.int64)
    np.cumsum(np.bincount(cells, minlength=len(first) - 1), out=first[1:])
    index = np.concatenate(owner)[order] if owner else np.zeros(0, dtype=np.int64)
    return low, (int(n[0]), int(n[1]), int(n[2])), first, index


@kernel
def near_triangle(corners: F8, m: int, p: F8, out: F8) -> float:
    """out f8 (3,): the point of triangle m nearest to p; returns the squared distance."""
    ab = np.zeros(3)
    ac = np.zeros(3)
    d1 = 0.0
    d2 = 0.0
    d3 = 0.0
    d4 = 0.0
    d5 = 0.0
    d6 = 0.0
    for q in range(3):
        ab[q] = corners[m, 1, q] - corners[m, 0, q]
        ac[q] = corners[m, 2, q] - corners[m, 0, q]
        d1 += ab[q] * (p[q] - corners[m, 0, q])
        d2 += ac[q] * (p[q] - corners[m, 0, q])
        d3 += ab[q] * (p[q] - corners[m, 1, q])
        d4 += ac[q] * (p[q] - corners[m, 1, q])
        d5 += ab[q] * (p[q] - corners[m, 2, q])
        d6 += ac[q] * (p[q] - corners[m, 2, q])
    v = 0.0
    w = 0.0
    va = d3 * d6 - d5 * d4
    vb = d5 * d2 - d1 * d6
    vc = d1 * d4 - d3 * d2
    if d1 <= 0.0 and d2 <= 0.0:
        v = 0.0
    elif d3 >= 0.0 and d4 <= d3:
        v = 1.0
    elif d6 >= 0.0 and d5 <= d6:
        w = 1.0
    elif vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        v = d1 / (d1 - d3)
    elif vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        w = d2 / (d2 - d6)
    elif va <= 0.0 and d4 - d3 >= 0.0 and d5 - d6 >= 0.0:
        w = (d4 - d3) / ((d4 - d3) + (d5 - d6))
        v = 1.0 - w
    else:
        v = vb / (va + vb + vc)
        w = vc / (va + vb + vc)
    square = 0.0
    for q in range(3):
        out[q] = corners[m, 0, q] + v * ab[q] + w * ac[q]
        square += (p[q] - out[q]) ** 2
    return square


@kernel
def closest(
    points: F8, corners: F8, normal: F8, low: F8, size: float, nx: int, ny: int, nz: int, first: I8, index: I8, rings: int,
    foot: F8, which: I8,
) -> None:  # fmt: skip
    """foot f8 (n,3) and which i8 (n,): nearest point and its triangle, −1 where none is within rings · size.

    normal f8 (m,3): unit normals of the triangles.
    """
    spot = np.zeros(3)
    for n in range(points.shape[0]):
        which[n] = -1
        best = 1e300
        tall = -1.0
        i = int(math.floor((points[n, 0] - low[0]) / size))
        j = int(math.floor((points[n, 1] - low[1]) / size))
        k = int(math.floor((points[n, 2] - low[2]) / size))
        for ring in range(rings + 1):
            for a in range(max(0, i - ring), min(nx, i + ring + 1)):
                for b in range(max(0, j - ring), min(ny, j + ring + 1)):
                    whole = abs(a - i) == ring or abs(b - j) == ring
                    step = 1 if whole or ring == 0 else 2 * ring
                    for c in range(k - ring, k + ring + 1, step):
                        if c < 0 or c >= nz:
                            continue
                        gap = 0.0  # squared distance of the cell
                        for q in range(3):
                            cell = a if q == 0 else b if q == 1 else c
                            over = max(low[q] + cell * size - points[n, q], points[n, q] - low[q] - (cell + 1) * size)
                            gap += max(over, 0.0) ** 2
                        if math.sqrt(gap) > best + 1e-9:
                            continue
                        cell = (a * ny + b) * nz + c
                        for s in range(first[cell], first[cell + 1]):
                            m = index[s]
                            high = 0.0
                            for q in range(3):
                                high += normal[m, q] * (points[n, q] - corners[m, 0, q])
                            if abs(high) > best + 1e-9:
                                continue
                            away = math.sqrt(near_triangle(corners, m, points[n], spot))
                            if away > best + 1e-9:
                                continue
                            if away < best - 1e-9 or abs(high) > tall + 1e-9:
                                tall = abs(high)
                                which[n] = m
                                for q in range(3):
                                    foot[n, q] = spot[q]
                            best = min(best, away)
            wall = 1e300  # nothing unseen is nearer than this
            for q in range(3):
                cell = i if q == 0 else j if q == 1 else k
                inner = points[n, q] - low[q] - cell * size
                wall = min(wall, inner, size - inner)
            if best <= ring * size + wall:
                break
        if best > rings * size:
            which[n] = -1
