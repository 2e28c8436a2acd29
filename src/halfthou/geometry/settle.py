"""Vertices of a net put where the surfaces of their cell meet: least squares over the surfaces' own tangent planes.

A vertex starts at the middle of its crossings. Each round takes the tangent plane of each of its surfaces at the vertex
itself and makes the shortest step that brings it nearest to all of them; directions in which the surfaces hardly differ
(by less than 2.3 degrees: tan² of half of it is 4e-4) are left alone, and the vertex stays in its cell: a coordinate that would leave it is held at the wall. On one smooth surface that is Newton's step straight onto it; on the
edge or corner of two or three surfaces it converges on their intersection. One surface that turns by more than 18 degrees in a
cell (the line left by a pointed tool, a corner of its profile) counts as several: its tangent planes at the crossings.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.geometry.exits import plane_at

F8 = NDArray[np.float64]
I1 = NDArray[np.int8]
I8 = NDArray[np.int64]


@kernel
def eigen3(m: F8, vectors: F8) -> None:
    """Jacobi turns: the symmetric m f8 (3,3) becomes diagonal, its eigenvectors the columns of `vectors`."""
    for r in range(3):
        for c in range(3):
            vectors[r, c] = 1.0 if r == c else 0.0
    for _ in range(12):
        off = abs(m[0, 1]) + abs(m[0, 2]) + abs(m[1, 2])
        if off < 1e-15:
            break
        for pair in range(3):
            p = 0 if pair < 2 else 1
            q = 1 if pair == 0 else 2
            if abs(m[p, q]) < 1e-300:
                continue
            theta = (m[q, q] - m[p, p]) / (2.0 * m[p, q])
            t = 1.0 / (abs(theta) + math.sqrt(theta * theta + 1.0))
            if theta < 0.0:
                t = -t
            cos = 1.0 / math.sqrt(t * t + 1.0)
            sin = t * cos
            for r in range(3):
                a = m[r, p]
                b = m[r, q]
                m[r, p] = cos * a - sin * b
                m[r, q] = sin * a + cos * b
            for r in range(3):
                a = m[p, r]
                b = m[q, r]
                m[p, r] = cos * a - sin * b
                m[q, r] = sin * a + cos * b
            for r in range(3):
                a = vectors[r, p]
                b = vectors[r, q]
                vectors[r, p] = cos * a - sin * b
                vectors[r, q] = sin * a + cos * b


@kernel
def settle(
    v0: int, v1: int, first: I8, member: I8, at: F8, surface: I8, kind: I1, way: F8, low: F8, high: F8, turn: F8, shift: F8,
    side: I8, events: Any, pieces: Any, segments: Any, raw: F8, raw_form: I1, points: F8, normal: F8, several: I1,
) -> None:  # fmt: skip
    """Vertices v0 … v1: crossings of vertex v are member[first[v]:first[v + 1]] (rows of at, surface, kind, way).

    low, high f8 (n,3): the cell. Filled: points f8 (n,3), normal f8 (n,3) mean way into the air, several i1: number of
    different surfaces (0 when none is known).
    """
    own = np.zeros(12, dtype=np.int64)
    own_kind = np.zeros(12, dtype=np.int64)
    spot = np.zeros(12, dtype=np.int64)
    bent = np.zeros(12, dtype=np.int64)
    x = np.zeros(3)
    plane = np.zeros(4)
    m = np.zeros((3, 3))
    vectors = np.zeros((3, 3))
    rhs = np.zeros(3)
    step = np.zeros(3)
    held = np.zeros(3, dtype=np.int64)
    for v in range(v0, v1):
        count = 0
        n = first[v + 1] - first[v]
        for q in range(3):
            x[q] = 0.0
            normal[v, q] = 0.0
        for k in range(first[v], first[v + 1]):
            e = member[k]
            for q in range(3):
                x[q] += at[e, q] / n
                normal[v, q] += way[e, q]
            if surface[e] == -1_000_000_000:
                continue
            new = True
            again = False
            for c in range(count):
                if own[c] == surface[e] and own_kind[c] == kind[e]:
                    again = True
                    f = spot[c]
                    if way[e, 0] * way[f, 0] + way[e, 1] * way[f, 1] + way[e, 2] * way[f, 2] > 0.95:
                        new = False
            if new and count < 12:
                own[count] = surface[e]
                own_kind[count] = kind[e]
                spot[count] = e
                bent[count] = 0
                count += 1
                if again:
                    for c in range(count):
                        if own[c] == surface[e] and own_kind[c] == kind[e]:
                            bent[c] = 1
        size = math.sqrt(normal[v, 0] ** 2 + normal[v, 1] ** 2 + normal[v, 2] ** 2)
        for q in range(3):
            normal[v, q] = normal[v, q] / size if size > 1e-9 else 0.0
        for q in range(3):
            held[q] = 0
        for _ in range(12):
            if count == 0:
                break
            for r in range(3):
                rhs[r] = 0.0
                for c in range(3):
                    m[r, c] = 0.0
            for c in range(count):
                if bent[c] == 1:
                    e = spot[c]
                    plane[0] = 0.0
                    for q in range(3):
                        plane[1 + q] = way[e, q]
                        plane[0] += way[e, q] * (x[q] - at[e, q])
                else:
                    plane_at(own[c], own_kind[c], x, turn, shift, side, events, pieces, segments, raw, raw_form, plane)
                for q in range(3):
                    if held[q] == 1:
                        plane[1 + q] = 0.0
                for r in range(3):
                    rhs[r] -= plane[0] * plane[1 + r]
                    for q in range(3):
                        m[r, q] += plane[1 + r] * plane[1 + q]
            eigen3(m, vectors)
            top = max(m[0, 0], m[1, 1], m[2, 2])
            for r in range(3):
                step[r] = 0.0
            for c in range(3):
                if m[c, c] > 4e-4 * top:
                    along = (vectors[0, c] * rhs[0] + vectors[1, c] * rhs[1] + vectors[2, c] * rhs[2]) / m[c, c]
                    for r in range(3):
                        step[r] += along * vectors[r, c]
            moved = 0.0
            for r in range(3):
                if held[r] == 1:
                    continue
                new_x = min(max(x[r] + step[r], low[v, r]), high[v, r])
                if new_x != x[r] + step[r]:
                    held[r] = 1
                moved = max(moved, abs(new_x - x[r]))
                x[r] = new_x
            if moved < 1e-11:
                break
        for q in range(3):
            points[v, q] = x[q]
        several[v] = count
