"""Top of the stock over a point or a small square, before a row, in closed form from raw shape and earlier cuts.

A part turned over keeps what the operation before it did: `Earlier` holds that operation's cuts and how its table frame
follows from the present one. Turned bottom up, its cuts are the underside of the present stock: where a cut of the
present operation goes below it, nothing is left. Stock of any other origin comes as cells (`near_cells.py`).
"""

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.geometry.near_cells import cell_at, cell_under
from halfthou.geometry.near_under import low_arc, low_straight

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
LAST_ROW = 2**31 - 1


class Earlier(NamedTuple):
    """The operation before: x_before = turn · x_now + shift in XY, z_before = up · z_now + lift; its raw and its cuts."""

    on: int
    turn: F8
    shift: F8
    up: float
    lift: float
    shape: int
    size: F8
    raw_low: float
    raw_high: float
    cut_row: I8
    cut_piece: I8
    cut_from: F8
    cut_to: F8
    cut_centre: F8
    cut_sweep: F8
    low: F8
    nx: int
    ny: int
    first: I8
    listed: I8


def no_earlier() -> Earlier:
    """Nothing was done to the stock before."""
    none, whole = np.zeros((0, 3)), np.zeros(0, dtype=np.int64)
    return Earlier(
        0, np.eye(2), np.zeros(2), 1.0, 0.0, 0, np.zeros(4), 0.0, 0.0, whole, whole, none, none, none, np.zeros(0),
        np.zeros(2), 1, 1, np.zeros(2, dtype=np.int64), whole,
    )  # fmt: skip


@kernel
def raw_top(x: float, y: float, half: float, shape: int, size: F8, high: float, pitch: float, field: F8) -> float:
    """Highest raw material in a square; FIELD: for a point the lowest of the rays round it (certain), else the highest."""
    if shape == 0:
        if x + half < size[0] or x - half > size[2] or y + half < size[1] or y - half > size[3]:
            return -1e30
        return high
    if shape == 1:
        dx = max(abs(x - size[0]) - half, 0.0)
        dy = max(abs(y - size[1]) - half, 0.0)
        return high if dx * dx + dy * dy <= size[2] * size[2] else -1e30
    grown = half if half > 0.0 else 0.0
    i0 = int(math.floor((x - grown - size[0]) / pitch - 0.5))
    i1 = int(math.floor((x + grown - size[0]) / pitch - 0.5)) + 1
    j0 = int(math.floor((y - grown - size[1]) / pitch - 0.5))
    j1 = int(math.floor((y + grown - size[1]) / pitch - 0.5)) + 1
    most = -1e30
    least = 1e30
    for i in range(i0, i1 + 1):
        for j in range(j0, j1 + 1):
            value = -1e30
            if 0 <= i < field.shape[0] and 0 <= j < field.shape[1]:
                value = field[i, j]
            most = max(most, value)
            least = min(least, value)
    return most if half > 0.0 else least


@kernel
def top_of(
    x: float, y: float, half: float, row: int, floor: float, cut_row: I8, cut_piece: I8, cut_from: F8, cut_to: F8,
    cut_centre: F8, cut_sweep: F8, low: F8, nx: int, ny: int, first: I8, index: I8, first_point: I8, chain: F8,
    wide: I8, grow: F8, opens: F8, shape: int, size: F8, raw_low: float, raw_high: float, pitch: float, field: F8,
) -> float:  # fmt: skip
    """Top of the stock before `row` in a square; a value at or under `floor` only says that it is not above it."""
    node = -1
    if shape == 3:
        node = cell_at(x, y, half, size, field)
        top = cell_under(field, node, half, 1e30)
    else:
        top = raw_top(x, y, half, shape, size, raw_high, pitch, field)
    if top <= floor:
        return top
    a = int((x - low[0]) / 4.0)
    b = int((y - low[1]) / 4.0)
    a = min(nx - 1, max(0, a))
    b = min(ny - 1, max(0, b))
    more = half * 1.4142135623730951
    start = first[a * ny + b]
    stop = first[a * ny + b + 1]
    roofed = False
    least = top
    # the last cuts first: any one that goes under the floor and opens all the way up settles it
    for j in range(stop - 1, start - 1, -1):
        i = index[j]
        if cut_row[i] >= row:
            continue
        g = cut_piece[i]
        line = chain[first_point[g] : first_point[g + 1]]
        if cut_sweep[i] == 0.0:
            under, up = low_straight(cut_from[i], cut_to[i], x, y, more, line, wide[g], grow[g])
        else:
            under, up = low_arc(cut_from[i], cut_to[i], cut_centre[i], cut_sweep[i], x, y, more, line, wide[g], grow[g])
        if under >= 1e29:
            continue
        if up + opens[g] >= top - 1e-9:
            if under <= floor or under <= raw_low:
                return -1e30
            least = min(least, under)
        else:
            roofed = True
    if not roofed:
        return least if shape != 3 or least == top else cell_under(field, node, half, least)
    for j in range(start, stop):
        i = index[j]
        if cut_row[i] >= row:
            break
        g = cut_piece[i]
        line = chain[first_point[g] : first_point[g + 1]]
        if cut_sweep[i] == 0.0:
            under, up = low_straight(cut_from[i], cut_to[i], x, y, more, line, wide[g], grow[g])
        else:
            under, up = low_arc(cut_from[i], cut_to[i], cut_centre[i], cut_sweep[i], x, y, more, line, wide[g], grow[g])
        if under < top and up + opens[g] >= top - 1e-9:
            top = under if shape != 3 else cell_under(field, node, half, under)
            if top <= floor or top <= raw_low:
                return -1e30
    return top


@kernel
def top(
    x: float, y: float, half: float, row: int, floor: float, cut_row: I8, cut_piece: I8, cut_from: F8, cut_to: F8,
    cut_centre: F8, cut_sweep: F8, low: F8, nx: int, ny: int, first: I8, index: I8, first_point: I8, chain: F8,
    wide: I8, grow: F8, opens: F8, shape: int, size: F8, raw_low: float, raw_high: float, pitch: float, field: F8,
    earlier: Earlier,
) -> float:  # fmt: skip
    """As `top_of`, with what the operation before left of the stock."""
    here = top_of(
        x, y, half, row, floor, cut_row, cut_piece, cut_from, cut_to, cut_centre, cut_sweep, low, nx, ny, first, index,
        first_point, chain, wide, grow, opens, shape, size, raw_low, raw_high, pitch, field,
    )  # fmt: skip
    if earlier.on == 0 or here <= floor or here < -1e29:
        return here
    turn = earlier.turn
    x1 = turn[0, 0] * x + turn[0, 1] * y + earlier.shift[0]
    y1 = turn[1, 0] * x + turn[1, 1] * y + earlier.shift[1]
    before = top_of(
        x1, y1, half, 2147483647, -1e30, earlier.cut_row, earlier.cut_piece, earlier.cut_from, earlier.cut_to,
        earlier.cut_centre, earlier.cut_sweep, earlier.low, earlier.nx, earlier.ny, earlier.first, earlier.listed,
        first_point, chain, wide, grow, opens, earlier.shape, earlier.size, earlier.raw_low, earlier.raw_high, pitch,
        field,
    )  # fmt: skip
    if before < -1e29:
        return -1e30
    same = (before - earlier.lift) / earlier.up
    if earlier.up > 0.0:
        return min(here, same)
    if here <= same:
        return -1e30
    return here
