"""Stock of any origin for the contact search: squares halved where asked, each with what may be and what is material.

A stock that comes from a third operation, from a part laid on its side or turned, or from a mesh has no closed form over
a square. It is kept as a tree of squares: a root per tile of ROOT_MM, four children each where the search asked for
them. A square knows the heights that may hold material anywhere in it (everything else is proven air) and the exact
material on the line through its middle. Proof of air: what a convex piece sweeps along a straight leg is convex, so a
box whose eight corners lie in it lies in it whole; a box on one side of the raw stock is air too. No ray is trusted.
Source: own derivation; twin: dense sampling of the same sweeps (tests/twins/test_cells_twin.py).
"""

import math
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.geometry.sweep import swept

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

ROOT_MM = 4.0  # side of the largest squares: that of the tiles of the contact search
CELLS = 3  # raw shape
NODE = 5  # columns of a node row: first child or -1, first and number of rows of may-be, first and number of exact rows
BOX, ROUND, MESH = 0, 1, 2  # raw stock at the bottom of the chain


class Stages(NamedTuple):
    """What was done before, newest operation first, and the raw stock: the arguments of `may_be` after the squares.

    turn f8 (s+1,3,3), shift f8 (s+1,3): the present table frame to the axes of each stage, last the raw stock's. grid
    f8 (s,5): low x, low y, side, nx, ny of the squares its straight legs (EVENT, form 0) are listed by; base i8 (s,),
    first, listed: the lists. raw f8 (9,): low and high corner, centre and radius. mesh f8 (m,3,3) with its own lists.
    """

    turn: F8
    shift: F8
    grid: F8
    base: I8
    first: I8
    listed: I8
    events: Any
    pieces: Any
    segments: Any
    kind: int
    raw: F8
    mesh: F8
    mesh_first: I8
    mesh_index: I8
    mesh_grid: F8


class Cells(Protocol):
    """The tree: node and interval rows in one table, and a way to let it grow."""

    @property
    def table(self) -> F8:
        """f8 (rows, NODE): node rows as in NODE; interval rows (low, high, …)."""

    def over(self, x: float, y: float) -> F8:
        """A table of one square with its middle at a point, of side ROOT_MM: only its exact rows count."""

    def split(self, asked: F8) -> bool:
        """Give children to nodes: asked f8 (n,4) of (node, x, y, half side). False when the budget is spent."""


@kernel
def cell_at(x: float, y: float, half: float, size: F8, table: F8) -> int:
    """Node over (x, y): the smallest that is not smaller than `half`; for 0 the one with its middle there, else -1."""
    nx = max(1, int(math.ceil((size[2] - size[0]) / 4.0)))
    ny = max(1, int(math.ceil((size[3] - size[1]) / 4.0)))
    a = int(math.floor((x - size[0]) / 4.0))
    b = int(math.floor((y - size[1]) / 4.0))
    if a < 0 or b < 0 or a >= nx or b >= ny:
        return -1
    node = a * ny + b
    cx = size[0] + (a + 0.5) * 4.0
    cy = size[1] + (b + 0.5) * 4.0
    h = 2.0
    while True:
        if half <= 0.0 and abs(x - cx) < 1e-9 and abs(y - cy) < 1e-9:
            return node
        child = int(table[node, 0])
        if child < 0 or (half > 0.0 and h < 1.5 * half):
            return node if half > 0.0 else -1
        h *= 0.5
        k = 0
        if x >= cx:
            k += 1
        if y >= cy:
            k += 2
        cx += h if k & 1 else -h
        cy += h if k & 2 else -h
        node = child + k


@kernel
def cell_under(table: F8, node: int, half: float, z: float) -> float:
    """Highest height up to z that may be (half > 0) or is (half 0) material; -1e30 if there is none."""
    if node < 0:
        return -1e30
    at = 1 if half > 0.0 else 3
    first = int(table[node, at])
    for k in range(first + int(table[node, at + 1]) - 1, first - 1, -1):
        if table[k, 0] < z:
            return float(min(z, table[k, 1]))
    return -1e30


@kernel
def _outside_mesh(low: F8, high: F8, corners: F8, first: I8, index: I8, grid: F8) -> bool:
    """Whether an upright box (low, high of f8 (3,)) is outside closed triangles f8 (m,3,3) listed by squares."""
    nx = int(grid[3])
    ny = int(grid[4])
    side = grid[2]
    a0 = int(math.floor((low[0] - grid[0]) / side))
    b0 = int(math.floor((low[1] - grid[1]) / side))
    a1 = int(math.floor((high[0] - grid[0]) / side))
    b1 = int(math.floor((high[1] - grid[1]) / side))
    for a in range(max(0, a0), min(nx - 1, a1) + 1):
        for b in range(max(0, b0), min(ny - 1, b1) + 1):
            for s in range(first[a * ny + b], first[a * ny + b + 1]):
                t = corners[index[s]]
                apart = False
                for k in range(3):
                    if min(t[0, k], t[1, k], t[2, k]) > high[k] or max(t[0, k], t[1, k], t[2, k]) < low[k]:
                        apart = True
                if apart:
                    continue
                n0 = (t[1, 1] - t[0, 1]) * (t[2, 2] - t[0, 2]) - (t[1, 2] - t[0, 2]) * (t[2, 1] - t[0, 1])
                n1 = (t[1, 2] - t[0, 2]) * (t[2, 0] - t[0, 0]) - (t[1, 0] - t[0, 0]) * (t[2, 2] - t[0, 2])
                n2 = (t[1, 0] - t[0, 0]) * (t[2, 1] - t[0, 1]) - (t[1, 1] - t[0, 1]) * (t[2, 0] - t[0, 0])
                middle = (
                    n0 * (0.5 * (low[0] + high[0]) - t[0, 0])
                    + n1 * (0.5 * (low[1] + high[1]) - t[0, 1])
                    + n2 * (0.5 * (low[2] + high[2]) - t[0, 2])
                )
                wide = 0.5 * (
                    abs(n0) * (high[0] - low[0]) + abs(n1) * (high[1] - low[1]) + abs(n2) * (high[2] - low[2])
                )
                if abs(middle) <= wide:
                    return False
    # no triangle meets the box: it is all in or all out, as is its middle (moved a little off shared edges)
    x = 0.5 * (low[0] + high[0]) + 0.11 * (high[0] - low[0])
    y = 0.5 * (low[1] + high[1]) + 0.07 * (high[1] - low[1])
    z = 0.5 * (low[2] + high[2])
    a = int(math.floor((x - grid[0]) / side))
    b = int(math.floor((y - grid[1]) / side))
    if a < 0 or b < 0 or a >= nx or b >= ny:
        return True
    above = 0
    for s in range(first[a * ny + b], first[a * ny + b + 1]):
        t = corners[index[s]]
        ux = t[1, 0] - t[0, 0]
        uy = t[1, 1] - t[0, 1]
        vx = t[2, 0] - t[0, 0]
        vy = t[2, 1] - t[0, 1]
        area = ux * vy - uy * vx
        if area == 0.0:
            continue
        p = ((x - t[0, 0]) * vy - (y - t[0, 1]) * vx) / area
        q = (ux * (y - t[0, 1]) - uy * (x - t[0, 0])) / area
        height = t[0, 2] + p * (t[1, 2] - t[0, 2]) + q * (t[2, 2] - t[0, 2])
        if p >= 0.0 and q >= 0.0 and p + q <= 1.0 and height > z:
            above += 1
    return above % 2 == 0


@kernel
def _turned(box: F8, turn: F8, shift: F8, out: F8) -> None:
    """Corners f8 (8,3) and middle (row 8) of the box (x, y, half, z0, z1) in other axes."""
    for k in range(9):
        x = box[0]
        y = box[1]
        z = 0.5 * (box[3] + box[4])
        if k < 8:
            x += box[2] if k & 1 else -box[2]
            y += box[2] if k & 2 else -box[2]
            z = box[4] if k & 4 else box[3]
        for i in range(3):
            out[k, i] = turn[i, 0] * x + turn[i, 1] * y + turn[i, 2] * z + shift[i]


@kernel
def _outside_raw(corner: F8, kind: int, raw: F8, mesh: F8, mesh_first: I8, mesh_index: I8, mesh_grid: F8) -> bool:
    """Whether a box (corners f8 (9,3), raw axes) is surely outside the raw stock: raw (low 3, high 3, cx, cy, r)."""
    low = np.empty(3)
    high = np.empty(3)
    for i in range(3):
        low[i] = corner[0, i]
        high[i] = corner[0, i]
        for k in range(1, 8):
            low[i] = min(low[i], corner[k, i])
            high[i] = max(high[i], corner[k, i])
        if high[i] <= raw[i] or low[i] >= raw[3 + i]:
            return True
    if kind == 1:
        dx = corner[8, 0] - raw[6]
        dy = corner[8, 1] - raw[7]
        far = math.sqrt(dx * dx + dy * dy)
        if far > raw[8]:
            least = 1e30
            for k in range(8):
                least = min(least, ((corner[k, 0] - raw[6]) * dx + (corner[k, 1] - raw[7]) * dy) / far)
            return bool(least >= raw[8])
    if kind == 2:
        return bool(_outside_mesh(low, high, mesh, mesh_first, mesh_index, mesh_grid))
    return False


@kernel
def air(
    box: F8, corner: F8, turn: F8, shift: F8, grid: F8, base: I8, first: I8, index: I8, events: Any, pieces: Any,
    segments: Any, kind: int, raw: F8, mesh: F8, mesh_first: I8, mesh_index: I8, mesh_grid: F8,
) -> bool:  # fmt: skip
    """Whether the box (x, y, half, z0, z1) holds no material for sure. turn, shift: now to each stage, last the raw one."""
    stages = turn.shape[0] - 1
    _turned(box, turn[stages], shift[stages], corner)
    if _outside_raw(corner, kind, raw, mesh, mesh_first, mesh_index, mesh_grid):
        return True
    for s in range(stages):
        _turned(box, turn[s], shift[s], corner)
        a = int(math.floor((corner[8, 0] - grid[s, 0]) / grid[s, 2]))
        b = int(math.floor((corner[8, 1] - grid[s, 1]) / grid[s, 2]))
        if a < 0 or b < 0 or a >= grid[s, 3] or b >= grid[s, 4]:
            continue
        t = base[s] + a * int(grid[s, 4]) + b
        for j in range(first[t], first[t + 1]):
            event = events[index[j]]
            whole = True
            for m in range(8):
                k = 7 - m
                x = corner[k, 0]
                y = corner[k, 1]
                z = corner[k, 2]
                if z <= event["low_z"] or x < event["bx0"] or x > event["bx1"] or y < event["by0"] or y > event["by1"]:
                    whole = False
                    break
            if not whole:
                continue
            for k in range(8):
                low, high = swept(event, pieces[event["piece"]], segments, corner[k, 0], corner[k, 1])
                if not low < corner[k, 2] < high:
                    whole = False
                    break
            if whole:
                return True
    return False


@kernel
def may_be(
    cell: F8, old_first: I8, old: F8, exact_first: I8, exact: F8, turn: F8, shift: F8, grid: F8, base: I8, first: I8,
    index: I8, events: Any, pieces: Any, segments: Any, kind: int, raw: F8, mesh: F8, mesh_first: I8,
    mesh_index: I8, mesh_grid: F8, count: I8, out: F8,
) -> None:  # fmt: skip
    """Heights that may hold material over squares cell f8 (n,3) of (x, y, half): count i8 (n,), out f8 (n, room, 2).

    old (CSR): what may be material in a square round it; exact (CSR): the material over its middle. Both ascending.
    """
    box = np.empty(5)
    corner = np.empty((9, 3))
    stack = np.empty((64, 2))
    room = out.shape[1]
    for n in range(cell.shape[0]):
        box[0] = cell[n, 0]
        box[1] = cell[n, 1]
        box[2] = cell[n, 2]
        made = 0
        for i in range(old_first[n], old_first[n + 1]):
            at = old[i, 0]
            j = exact_first[n]
            while at < old[i, 1]:
                while j < exact_first[n + 1] and exact[j, 1] <= at:
                    j += 1
                solid_low = old[i, 1]
                solid_high = old[i, 1]
                if j < exact_first[n + 1] and exact[j, 0] < old[i, 1]:
                    solid_low = max(at, exact[j, 0])
                    solid_high = min(exact[j, 1], old[i, 1])
                roof = solid_low
                if (
                    solid_low == solid_high
                ):  # nothing solid over it: take air off its top as finely as the square is wide
                    step = roof - at
                    while roof > at and step >= 0.5 * box[2]:
                        step = min(step, roof - at)
                        box[3] = roof - step + 1e-6  # ends that lie on the surface of a cut are meant to be air
                        box[4] = roof - 1e-6
                        if step > 4e-6 and air(
                            box, corner, turn, shift, grid, base, first, index, events, pieces, segments, kind, raw,
                            mesh, mesh_first, mesh_index, mesh_grid,
                        ):  # fmt: skip
                            roof -= step
                        else:
                            step *= 0.5
                least = max((roof - at) / 16.0, 0.5 * box[2])  # the rest is halved down to this
                depth = 0
                if roof > at:
                    stack[0, 0] = at
                    stack[0, 1] = roof
                    depth = 1
                while depth > 0:
                    depth -= 1
                    z0 = stack[depth, 0]
                    z1 = stack[depth, 1]
                    box[3] = z0 + 1e-6
                    box[4] = z1 - 1e-6
                    if z1 - z0 > 4e-6 and air(
                        box, corner, turn, shift, grid, base, first, index, events, pieces, segments, kind, raw, mesh,
                        mesh_first, mesh_index, mesh_grid,
                    ):  # fmt: skip
                        continue
                    if z1 - z0 > least:
                        middle = 0.5 * (z0 + z1)
                        stack[depth, 0] = middle
                        stack[depth, 1] = z1
                        stack[depth + 1, 0] = z0
                        stack[depth + 1, 1] = middle
                        depth += 2
                        continue
                    if made and (z0 <= out[n, made - 1, 1] + 1e-9 or made == room):
                        out[n, made - 1, 1] = z1
                    else:
                        out[n, made, 0] = z0
                        out[n, made, 1] = z1
                        made += 1
                if solid_high > solid_low:
                    if made and (solid_low <= out[n, made - 1, 1] + 1e-9 or made == room):
                        out[n, made - 1, 1] = solid_high
                    else:
                        out[n, made, 0] = solid_low
                        out[n, made, 1] = solid_high
                        made += 1
                at = max(solid_high, solid_low)
        count[n] = made
