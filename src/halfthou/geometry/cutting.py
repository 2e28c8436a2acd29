"""Taking swept pieces off vertical rays: a tile of rays, one column, or single points.

A ray holds disjoint intervals of material, bottom to top, each end labelled with the move that made it. A cut must go
LABEL deeper than the surface there is to take it over. Nothing overflows silently: a full ray is reported.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.geometry.engage import BINS, met_at
from halfthou.geometry.rows import form_of, low_row
from halfthou.geometry.sweep import swept, swept_high, swept_low

F8 = NDArray[np.float64]
I4 = NDArray[np.int32]
I8 = NDArray[np.int64]

THIN = 1e-9  # an interval thinner than this is rounding, not material


@kernel
def take_off(
    low: F8, high: F8, low_move: I4, high_move: I4, n: int, cut_low: float, cut_high: float, row: int, label: float
) -> tuple[int, float, float, float]:
    """Take [cut_low, cut_high] off one ray; (intervals left or -1 when full, removed length, lowest, highest removed).

    low, high f8 (cap,), low_move, high_move i4 (cap,), n intervals in use; changed in place.
    """
    removed = 0.0
    lowest = 1e300
    highest = -1e300
    k = 0
    while k < n:
        a = low[k]
        b = high[k]
        if cut_high <= a or cut_low >= b:
            k += 1
            continue
        under = cut_low - a
        over = b - cut_high
        if under <= label and over <= label:
            removed += b - a
            lowest = min(lowest, a)
            highest = max(highest, b)
            for j in range(k, n - 1):
                low[j] = low[j + 1]
                high[j] = high[j + 1]
                low_move[j] = low_move[j + 1]
                high_move[j] = high_move[j + 1]
            n -= 1
            continue
        if under > label and over > label:
            if n >= low.shape[0]:
                return -1, removed, lowest, highest
            for j in range(n, k, -1):
                low[j] = low[j - 1]
                high[j] = high[j - 1]
                low_move[j] = low_move[j - 1]
                high_move[j] = high_move[j - 1]
            n += 1
            high[k] = cut_low
            high_move[k] = row
            low[k + 1] = cut_high
            low_move[k + 1] = row
            removed += cut_high - cut_low
            lowest = min(lowest, cut_low)
            highest = max(highest, cut_high)
            k += 2
            continue
        if under > label:  # cuts the top off
            if b - cut_low > label:
                removed += b - cut_low
                lowest = min(lowest, cut_low)
                highest = max(highest, b)
                high[k] = cut_low
                high_move[k] = row
        else:  # cuts the bottom off
            if cut_high - a > label:
                removed += cut_high - a
                lowest = min(lowest, a)
                highest = max(highest, cut_high)
                low[k] = cut_high
                low_move[k] = row
        k += 1
    return n, removed, lowest, highest


@kernel
def cut_tile(
    events: Any, which: I8, pieces: Any, segments: Any, low_x: float, low_y: float, pitch: float, i0: int, i1: int,
    j0: int, j1: int, low: F8, high: F8, low_move: I4, high_move: I4, count: I4, first_row: int, label: float,
    mm: F8, deepest: F8, rays: I8, where: F8, lowest: F8, scale: float, first_station: I8, strips: F8, front: F8,
) -> int:  # fmt: skip
    """Run the events `which` over the rays i0..i1, j0..j1 of a tile; 1 when a ray is full, else 0.

    low, high f8 (rays, cap); ray (i, j) of the tile is row (i − i0)·(j1 − j0) + (j − j0). mm … lowest: one entry an
    event of `which`: removed volume, longest removed piece, rays changed, first point changed, lowest removed height.
    strips f8 (stations, BINS): removed volume by station along the event and strip across the front of the tool; front
    f8 (stations, 3): highest stock met over the tip, right- and leftmost front position (−1..1). Stations of
    `which[w]` are first_station[w]:first_station[w + 1].
    """
    wide = j1 - j0
    tops = np.empty(low.shape[0])
    for r in range(low.shape[0]):
        tops[r] = high[r, count[r] - 1] if count[r] > 0 else -1e300
    ys = np.empty(wide)
    for j in range(wide):
        ys[j] = low_y + (j0 + j + 0.5) * pitch
    lows = np.empty(wide)
    form = np.empty(6)
    for w in range(which.shape[0]):
        event = events[which[w]]
        piece = pieces[event["piece"]]
        row = event["row"] + first_row
        a0 = max(i0, int(np.ceil((event["bx0"] - low_x) / pitch - 0.5)))
        a1 = min(i1, int(np.floor((event["bx1"] - low_x) / pitch - 0.5)) + 1)
        b0 = max(j0, int(np.ceil((event["by0"] - low_y) / pitch - 0.5)))
        b1 = min(j1, int(np.floor((event["by1"] - low_y) / pitch - 0.5)) + 1)
        if b0 >= b1:
            continue
        free = min(event["z0"], event["z1"]) + piece["opens"]  # nothing of the piece's upper side is below this
        kind = form_of(event, piece, segments, form)
        ux = event["ux"] if event["length"] > 0.0 else 1.0  # a plunge has no direction: any will do
        ends = lows[: b1 - b0]
        row_y = ys[b0 - j0 : b1 - j0]
        for i in range(a0, a1):
            x = low_x + (i + 0.5) * pitch
            r0 = (i - i0) * wide + (b0 - j0)
            ray_tops = tops[r0 : r0 + b1 - b0]
            if kind > 0:
                low_row(
                    kind, form, x - event["x0"], row_y, event["y0"], ux, event["uy"], event["length"], event["slope"],
                    ends,
                )  # fmt: skip
            else:
                _slow_row(event, piece, segments, x, row_y, ray_tops, ends)
            for k in range(b1 - b0):
                if ends[k] >= ray_tops[k]:
                    continue
                r = r0 + k
                n = count[r]
                at_y = row_y[k]
                cut_high = 1e300
                if free < ray_tops[k]:
                    cut_high = swept_high(event, piece, segments, x, at_y)
                    if cut_high <= low[r, 0]:
                        continue
                if cut_high >= ray_tops[k] and ends[k] > low[r, n - 1] + label:  # only the topmost end is lowered
                    top = ray_tops[k]
                    bottom = ends[k]
                    removed = top - bottom
                    if removed <= label:
                        continue
                    high[r, n - 1] = bottom
                    high_move[r, n - 1] = row
                    ray_tops[k] = bottom
                else:
                    left, removed, bottom, top = take_off(
                        low[r], high[r], low_move[r], high_move[r], n, ends[k], cut_high, row, label
                    )
                    if left < 0:
                        return 1
                    count[r] = left
                    ray_tops[k] = high[r, left - 1] if left > 0 else -1e300
                if removed > 0.0:
                    if rays[w] == 0:
                        where[w, 0] = x
                        where[w, 1] = at_y
                        where[w, 2] = bottom
                    rays[w] += 1
                    mm[w] += removed * scale
                    deepest[w] = max(deepest[w], removed)
                    lowest[w] = min(lowest[w], bottom)
                    share, side, height = met_at(event, piece, segments, x, at_y, top)
                    stations = first_station[w + 1] - first_station[w]
                    at = first_station[w] + min(stations - 1, int(share * stations))
                    strips[at, min(BINS - 1, int((side + 1.0) * 0.5 * BINS))] += removed * scale
                    if height > front[at, 0]:
                        front[at, 0] = height
                    if side < front[at, 1]:
                        front[at, 1] = side
                    if side > front[at, 2]:
                        front[at, 2] = side
    return 0


@kernel
def _slow_row(event: Any, piece: Any, segments: Any, x: float, y: F8, tops: F8, out: F8) -> None:
    """Lower ends ray by ray; rays that end below the whole leg are left out."""
    floor = event["low_z"]
    for k in range(out.shape[0]):
        out[k] = swept_low(event, piece, segments, x, y[k]) if tops[k] > floor else 1e300


@kernel
def columns(
    x: F8, y: F8, first: I8, index: I8, tile_low_x: float, tile_low_y: float, tile: float, tiles_x: int, tiles_y: int,
    events: Any, pieces: Any, segments: Any, low: F8, high: F8, low_move: I4, high_move: I4, count: I4, label: float,
) -> int:  # fmt: skip
    """Run every event that can reach each column (x, y), in order; 1 when a column is full. State as in cut_tile."""
    form = np.empty(6)
    end = np.empty(1)
    for k in range(x.shape[0]):
        a = int(np.floor((x[k] - tile_low_x) / tile))
        b = int(np.floor((y[k] - tile_low_y) / tile))
        if a < 0 or b < 0 or a >= tiles_x or b >= tiles_y:
            continue
        t = a * tiles_y + b
        for s in range(first[t], first[t + 1]):
            if count[k] == 0:
                break
            event = events[index[s]]
            if x[k] < event["bx0"] or x[k] > event["bx1"] or y[k] < event["by0"] or y[k] > event["by1"]:
                continue
            piece = pieces[event["piece"]]
            kind = form_of(event, piece, segments, form)
            if kind > 0:  # as the rays of a tile are cut, to the last bit
                low_row(
                    kind, form, x[k] - event["x0"], y[k : k + 1], event["y0"],
                    event["ux"] if event["length"] > 0.0 else 1.0, event["uy"], event["length"], event["slope"], end,
                )  # fmt: skip
                cut_low = end[0]
            else:
                cut_low = swept_low(event, piece, segments, x[k], y[k])
            if cut_low == 1e300:
                continue
            cut_high = swept_high(event, piece, segments, x[k], y[k])
            if cut_low >= cut_high:
                continue
            left, _removed, _bottom, _top = take_off(
                low[k], high[k], low_move[k], high_move[k], count[k], cut_low, cut_high, event["row"], label
            )
            if left < 0:
                return 1
            count[k] = left
    return 0


@kernel
def covered(
    points: F8, first: I8, index: I8, tile_low_x: float, tile_low_y: float, tile: float, tiles_x: int, tiles_y: int,
    events: Any, pieces: Any, segments: Any, row: I8,
) -> None:  # fmt: skip
    """row i8 (n,): the first move (row) whose swept body holds each point strictly inside, -1 where none does."""
    for k in range(points.shape[0]):
        row[k] = -1
        x = points[k, 0]
        y = points[k, 1]
        z = points[k, 2]
        a = int(np.floor((x - tile_low_x) / tile))
        b = int(np.floor((y - tile_low_y) / tile))
        if a < 0 or b < 0 or a >= tiles_x or b >= tiles_y:
            continue
        t = a * tiles_y + b
        for s in range(first[t], first[t + 1]):
            event = events[index[s]]
            if z <= event["low_z"]:
                continue
            if x < event["bx0"] or x > event["bx1"] or y < event["by0"] or y > event["by1"]:
                continue
            cut_low, cut_high = swept(event, pieces[event["piece"]], segments, x, y)
            if cut_low < z < cut_high:
                row[k] = event["row"]
                break


def tiles_of(events: Any, low_x: float, low_y: float, tile: float, nx: int, ny: int) -> tuple[I8, I8]:
    """CSR lists (first i8 (nx·ny+1), index i8) of the events over each square tile, in event order."""
    a0 = np.clip(np.floor((events["bx0"] - low_x) / tile).astype(np.int64), 0, nx)
    a1 = np.clip(np.floor((events["bx1"] - low_x) / tile).astype(np.int64) + 1, 0, nx)
    b0 = np.clip(np.floor((events["by0"] - low_y) / tile).astype(np.int64), 0, ny)
    b1 = np.clip(np.floor((events["by1"] - low_y) / tile).astype(np.int64) + 1, 0, ny)
    wide, deep = np.maximum(a1 - a0, 0), np.maximum(b1 - b0, 0)
    n = wide * deep
    total = int(n.sum())
    event = np.repeat(np.arange(len(events), dtype=np.int64), n)
    offset = np.arange(total, dtype=np.int64) - np.repeat(np.cumsum(n) - n, n)
    deep_of = deep[event]
    t = (a0[event] + offset // np.maximum(deep_of, 1)) * ny + b0[event] + offset % np.maximum(deep_of, 1)
    order = np.argsort(t, kind="stable")
    first = np.zeros(nx * ny + 1, dtype=np.int64)
    np.cumsum(np.bincount(t, minlength=nx * ny), out=first[1:])
    return first, event[order]
