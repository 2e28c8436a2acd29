"""Quick answers before and during the search for a contact with the stock: gone there before, and points all along."""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.geometry.near_top import Earlier, top
from halfthou.geometry.near_under import low_arc, low_straight

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

TRIES = 17  # places along a leg, nine points each


@kernel
def low_leg(
    p: F8, q: F8, c: F8, sweep: float, x: float, y: float, more: float, line: F8, wide: int, grow: float
) -> float:
    """Underside of a piece over a point along a leg; `more` is how much nearer the point counts."""
    if sweep == 0.0:
        under, _ = low_straight(p, q, x, y, more, line, wide, grow)
    else:
        under, _ = low_arc(p, q, c, sweep, x, y, more, line, wide, grow)
    return under


@kernel
def went_before(
    p: F8, q: F8, g: int, before: int, shrink: float, raw_high: float, cut_row: I8, cut_piece: I8, cut_from: F8,
    cut_to: F8, cut_centre: F8, cut_sweep: F8, low: F8, nx: int, ny: int, first: I8, index: I8, opens: F8,
) -> bool:  # fmt: skip
    """Whether one earlier cut of the same piece went along this straight leg, as low or lower: then nothing is left.

    Both ends lie within 0.7·shrink of points of that cut that are no more than 0.2·shrink higher. If cut and leg are
    straight the same holds in between (take the points between in proportion); an arc only serves an upright leg. So
    the piece made smaller by `shrink` stays inside what the cut opened, if that is open upwards.
    """
    a = min(nx - 1, max(0, int((p[0] - low[0]) / 4.0)))
    b = min(ny - 1, max(0, int((p[1] - low[1]) / 4.0)))
    upright = (p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2 <= 1e-18
    level = abs(p[2] - q[2]) <= 1e-9
    slack = 0.2 * shrink
    spot = np.empty((1, 2))
    spot[0, 0] = 0.7 * shrink
    spot[0, 1] = 0.0
    z0 = min(p[2], q[2]) if upright else p[2]
    z1 = min(p[2], q[2]) if upright else q[2]
    for j in range(first[a * ny + b + 1] - 1, first[a * ny + b] - 1, -1):
        i = index[j]
        if cut_row[i] >= before or cut_piece[i] != g:
            continue
        if cut_sweep[i] == 0.0:
            one, up = low_straight(cut_from[i], cut_to[i], p[0], p[1], 0.0, spot, 0, 0.0)
            if one > z0 + slack:
                continue
            two, other = low_straight(cut_from[i], cut_to[i], q[0], q[1], 0.0, spot, 0, 0.0)
        else:
            if not upright:
                continue
            one, up = low_arc(cut_from[i], cut_to[i], cut_centre[i], cut_sweep[i], p[0], p[1], 0.0, spot, 0, 0.0)
            two, other = one, up
        if one > z0 + slack or two > z1 + slack:
            continue
        if (min(up, other) if upright else min(one, two)) + opens[g] >= raw_high:
            return True
        # a roof stands over that cut: only the same heights again are sure to be free
        same = upright or (level and abs(cut_from[i, 2] - cut_to[i, 2]) <= 1e-9)
        if same and max(p[2], q[2]) <= min(up, other) + slack:
            return True
    return False


@kernel
def look_along(
    p: F8, q: F8, c: F8, sweep: float, shrink: float, line: F8, wide_at: int, grow_by: float, reach: float, x0: float,
    x1: float, y0: float, y1: float, before: int, cut_row: I8, cut_piece: I8, cut_from: F8, cut_to: F8, cut_centre: F8,
    cut_sweep: F8, low: F8, nx: int, ny: int, first: I8, index: I8, first_point: I8, chain: F8, wide: I8, grow: F8,
    opens: F8, shape: int, size: F8, raw_low: float, raw_high: float, pitch: float, field: F8, earlier: Earlier,
    point: F8,
) -> bool:  # fmt: skip
    """Whether some point of a coarse set along the leg lies in the stock; it is put into `point`.

    A piece that stands in a hole of its own size makes the search halve cells along the whole rim; material further
    along the leg is met at once by trying.
    """
    for k in range(9 * TRIES):
        t = (k // 9) / (TRIES - 1.0)
        x = p[0] + t * (q[0] - p[0])
        y = p[1] + t * (q[1] - p[1])
        if sweep != 0.0:
            turn = t * sweep
            x = c[0] + (p[0] - c[0]) * math.cos(turn) - (p[1] - c[1]) * math.sin(turn)
            y = c[1] + (p[0] - c[0]) * math.sin(turn) + (p[1] - c[1]) * math.cos(turn)
        x += 0.6 * reach * (k % 3 - 1)
        y += 0.6 * reach * (k // 3 % 3 - 1)
        if x < x0 or x > x1 or y < y0 or y > y1:
            continue
        here = low_leg(p, q, c, sweep, x, y, shrink, line, wide_at, grow_by)
        if here >= 1e29:
            continue
        here += shrink
        over = top(
            x, y, 0.0, before, here, cut_row, cut_piece, cut_from, cut_to, cut_centre, cut_sweep, low, nx, ny, first,
            index, first_point, chain, wide, grow, opens, shape, size, raw_low, raw_high, pitch, field, earlier,
        )  # fmt: skip
        if over > here:
            point[0] = x
            point[1] = y
            point[2] = here
            return True
    return False


@kernel
def box_of_leg(p: F8, q: F8, c: F8, sweep: float, reach: float, box: F8) -> tuple[float, float, float, float]:
    """(x0, x1, y0, y1) of what a piece of that reach sweeps along a leg, inside `box` f8 (4,) x0, y0, x1, y1."""
    x0 = min(p[0], q[0])
    x1 = max(p[0], q[0])
    y0 = min(p[1], q[1])
    y1 = max(p[1], q[1])
    if sweep != 0.0:
        r = math.sqrt((p[0] - c[0]) ** 2 + (p[1] - c[1]) ** 2)
        x0 = c[0] - r
        x1 = c[0] + r
        y0 = c[1] - r
        y1 = c[1] + r
    return max(x0 - reach, box[0]), min(x1 + reach, box[2]), max(y0 - reach, box[1]), min(y1 + reach, box[3])
