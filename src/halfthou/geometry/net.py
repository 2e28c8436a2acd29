"""A closed net of faces around the inside nodes of a grid: which cells the surface runs through, and how they join.

Nodes of a grid are inside or outside. Every grid edge between an inside and an outside node gets one four-sided face,
whose corners are vertices of the four cells around it. A cell has one vertex for each loop in which the surface crosses
its faces; on a face with two inside nodes across from each other, each of them is cut off alone, so both cells that share the
face see the same loops. A pair of vertices joined across such a face by both of its lines would get an edge with four
faces; those sides are named in `split`, and a point of its own is put on each of the two lines.
So every edge has two faces and every vertex one fan of faces, whatever the nodes say.
Source: own derivation; the loops are those of the published cube tables with a fixed choice at ambiguous faces.
"""

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel

F8 = NDArray[np.float64]
I1 = NDArray[np.int8]
I4 = NDArray[np.int32]
I8 = NDArray[np.int64]
U1 = NDArray[np.uint8]


def _edge(axis: int, corner: int) -> int:
    """Number of the edge along `axis` that holds a corner: axis · 4 + offsets across it."""
    one, two = (axis + 1) % 3, (axis + 2) % 3
    return axis * 4 + ((corner >> one) & 1) + 2 * ((corner >> two) & 1)


def _tables() -> tuple[I1, I1, U1]:
    """(loop of each edge i1 (256,12), loops i1 (256,), faces crossed twice by one loop, bits u1 (256,))."""
    loop = np.full((256, 12), -1, dtype=np.int8)
    loops = np.zeros(256, dtype=np.int8)
    twice = np.zeros(256, dtype=np.uint8)
    for case in range(256):
        inside = [(case >> c) & 1 == 1 for c in range(8)]
        lines: list[tuple[int, int, int]] = []  # (face, edge, edge)
        for face in range(6):
            axis, side = face // 2, face % 2
            corners = [c for c in range(8) if (c >> axis) & 1 == side]
            cut = sorted(
                {
                    _edge(other, c)
                    for c in corners
                    for other in range(3)
                    if other != axis and inside[c] != inside[c ^ (1 << other)]
                }
            )
            if len(cut) == 2:
                lines.append((face, cut[0], cut[1]))
            elif len(cut) == 4:
                for c in corners:
                    if inside[c]:
                        one, two = (_edge(other, c) for other in range(3) if other != axis)
                        lines.append((face, one, two))
        name = {edge: edge for _, one, two in lines for edge in (one, two)}
        for _ in range(12):
            for _face, one, two in lines:
                name[one] = name[two] = min(name[one], name[two])
        order = {root: k for k, root in enumerate(sorted(set(name.values())))}
        for edge, root in name.items():
            loop[case, edge] = order[root]
        loops[case] = len(order)
        for face in range(6):
            own = [name[one] for f, one, _two in lines if f == face]
            if len(own) == 2 and own[0] == own[1]:
                twice[case] |= 1 << face
    return loop, loops, twice


LOOP, LOOPS, TWICE = _tables()


@kernel
def count_cells(first: I8, from_k: I4, to_k: I4, nx: int, ny: int, fill: int, start: I8, cell_k: I4, case: U1) -> None:
    """Cells the surface runs through. Column (i, j) of nodes has the inside stretches first[i·ny + j] …

    fill 0: start[c + 1] gets the number of cells over column cell c = i·(ny − 1) + j; fill 1: start i8 holds where the
    cells of c begin, cell_k and case (bit x + 2y + 4z of the inside corners) are filled.
    """
    run = np.zeros(4, dtype=np.int64)
    end = np.zeros(4, dtype=np.int64)
    for i in range(nx - 1):
        for j in range(ny - 1):
            c = i * (ny - 1) + j
            low = 2147483647
            high = -1
            for q in range(4):
                col = (i + (q & 1)) * ny + j + (q >> 1)
                run[q] = first[col]
                end[q] = first[col + 1]
                if run[q] < end[q]:
                    low = min(low, from_k[run[q]])
                    high = max(high, to_k[end[q] - 1])
            n = 0
            at = start[c]
            below = 0
            for k in range(low, high + 1):
                here = 0
                for q in range(4):
                    while run[q] < end[q] and to_k[run[q]] <= k:
                        run[q] += 1
                    if run[q] < end[q] and from_k[run[q]] <= k:
                        here |= 1 << q
                both = below | (here << 4)
                if both != 0 and both != 255:
                    if fill == 1:
                        cell_k[at + n] = k - 1
                        case[at + n] = both
                    n += 1
                below = here
            if fill == 0:
                start[c + 1] = n


@kernel
def find_cell(start: I8, cell_k: I4, ny: int, i: int, j: int, k: int) -> int:
    """Row of cell (i, j, k), -1 if the surface does not run through it."""
    if i < 0 or j < 0 or j >= ny - 1 or i * (ny - 1) + j >= start.shape[0] - 1:
        return -1
    a = start[i * (ny - 1) + j]
    b = start[i * (ny - 1) + j + 1]
    stop = b
    while a < b:
        m = (a + b) // 2
        if cell_k[m] < k:
            a = m + 1
        else:
            b = m
    if a < stop and cell_k[a] == k:
        return int(a)
    return -1


@kernel
def faces_of(
    start: I8, cell_k: I4, case: U1, vertex: I8, loop: I1, twice: U1, ny: int, c0: int, c1: int, at: int,
    node: I4, axis: I1, rising: I1, quad: I8, split: U1,
) -> int:  # fmt: skip
    """Faces of the grid edges owned by the column cells c0 … c1 (edges at the low corner of a cell), from row `at` on.

    vertex i8: first vertex of each cell. Filled: node i4 (m,3) low end of the edge, axis, rising 1 = outward along +axis,
    quad i8 (m,4) counter-clockwise seen from outside, split: bit s = side s (corner s to s + 1) is shared four times.
    Returns the row after the last.
    """
    # cells around the edge, counter-clockwise seen from +axis: offsets along the two other axes, own edge, face to the next
    for c in range(c0, c1):
        i = c // (ny - 1)
        j = c % (ny - 1)
        for n in range(start[c], start[c + 1]):
            k = cell_k[n]
            bits = case[n]
            for a in range(3):
                low_in = bits & 1
                high_in = (bits >> (1 << a)) & 1
                if low_in == high_in:
                    continue
                one = (a + 1) % 3
                two = (a + 2) % 3
                node[at, 0] = i
                node[at, 1] = j
                node[at, 2] = k
                axis[at] = a
                rising[at] = low_in
                mask = 0
                for s in range(4):
                    d1 = -1 if s == 0 or s == 3 else 0
                    d2 = -1 if s == 0 or s == 1 else 0
                    di = (d1 if one == 0 else 0) + (d2 if two == 0 else 0)
                    dj = (d1 if one == 1 else 0) + (d2 if two == 1 else 0)
                    dk = (d1 if one == 2 else 0) + (d2 if two == 2 else 0)
                    m = find_cell(start, cell_k, ny, i + di, j + dj, k + dk)
                    own = a * 4 - d1 - 2 * d2
                    quad[at, s] = vertex[m] + loop[case[m], own]
                    # face to the next cell round: +one, +two, -one, -two
                    across = one if s % 2 == 0 else two
                    side = 1 if s < 2 else 0
                    if twice[case[m]] >> (2 * across + side) & 1:
                        e1 = -1 if s == 2 or s == 3 else 0
                        e2 = -1 if s == 0 or s == 3 else 0
                        ei = (e1 if one == 0 else 0) + (e2 if two == 0 else 0)
                        ej = (e1 if one == 1 else 0) + (e2 if two == 1 else 0)
                        ek = (e1 if one == 2 else 0) + (e2 if two == 2 else 0)
                        other = find_cell(start, cell_k, ny, i + ei, j + ej, k + ek)
                        if twice[case[other]] >> (2 * across + 1 - side) & 1:
                            mask |= 1 << s
                if low_in == 0:  # outward along -axis: the other way round; side s becomes side 2 - s
                    swap = quad[at, 1]
                    quad[at, 1] = quad[at, 3]
                    quad[at, 3] = swap
                    mask = (mask >> 3 & 1) | (mask >> 2 & 1) << 1 | (mask >> 1 & 1) << 2 | (mask & 1) << 3
                split[at] = mask
                at += 1
    return at


@kernel
def triangles_of(quad: I8, points: F8, normal: F8, out: I8) -> None:
    """Two triangles a face, out i8 (2m,3): the diagonal whose triangles face more like the normal; else the shorter one."""
    lean = np.zeros(2)
    size = np.zeros(2)
    for n in range(quad.shape[0]):
        for d in range(2):
            p = quad[n, d]
            q = quad[n, (d + 2) % 4]
            worst = 1e300
            for side in range(2):
                r = quad[n, (d + 1) % 4] if side == 0 else quad[n, (d + 3) % 4]
                ax = points[q, 0] - points[p, 0]
                ay = points[q, 1] - points[p, 1]
                az = points[q, 2] - points[p, 2]
                bx = points[r, 0] - points[p, 0]
                by = points[r, 1] - points[p, 1]
                bz = points[r, 2] - points[p, 2]
                sign = -1.0 if side == 0 else 1.0
                cx = sign * (ay * bz - az * by)
                cy = sign * (az * bx - ax * bz)
                cz = sign * (ax * by - ay * bx)
                length = np.sqrt(cx * cx + cy * cy + cz * cz)
                if length > 0.0:
                    along = cx * normal[n, 0] + cy * normal[n, 1] + cz * normal[n, 2]
                    worst = min(worst, along / length)
                else:
                    worst = min(worst, 0.0)
                if side == 0:
                    size[d] = ax * ax + ay * ay + az * az
            lean[d] = worst
        d = 0
        if lean[1] > lean[0] + 1e-3 or (lean[1] > lean[0] - 1e-3 and size[1] < size[0] - 1e-12):
            d = 1
        for c in range(3):
            out[2 * n, c] = quad[n, (d + c) % 4]
            out[2 * n + 1, c] = quad[n, (d + (c + 2) % 4) % 4]
