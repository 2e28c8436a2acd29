"""What swept pieces take off a line of any direction: for a part laid on its side or turned on a rotary axis.

A convex piece swept along a straight leg is convex, so a line meets it in one interval at most. With low and high the
ends of the sweep over a point (x, y), G(t) = max(low − z, z − high) along the line is convex where the line is over the
leg's footprint; its least value is sought by thirds, the two ends by halving. Ends are right to END_MM.
Only straight legs: level arcs must come as chords (`events_of(..., chords=True)`, within CHORD_MM).
Source: own derivation; twin: dense sampling of the same sweeps (tests/laws/test_along.py).
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.geometry.cutting import take_off
from halfthou.geometry.sweep import swept

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

END_MM = 1e-9
UPRIGHT = 1e-12
SLACK_MM = 1e-6  # by which the boxes of a first look are larger


@kernel
def _disc(px: float, py: float, dx: float, dy: float, r: float) -> tuple[float, float]:
    """Stretch of the line p + t·d (level part) inside a disc about 0; empty as (1e300, -1e300)."""
    a = dx * dx + dy * dy
    b = px * dx + py * dy
    c = px * px + py * py - r * r
    left = b * b - a * c
    if left <= 0.0:
        return 1e300, -1e300
    root = math.sqrt(left)
    return (-b - root) / a, (-b + root) / a


@kernel
def over(event: Any, reach: float, ox: float, oy: float, dx: float, dy: float) -> tuple[float, float]:
    """Stretch of a line that is not upright over the footprint of a straight leg; (1e300, -1e300) when none."""
    px = ox - event["x0"]
    py = oy - event["y0"]
    t0, t1 = _disc(px, py, dx, dy, reach)
    length = event["length"]
    if length == 0.0:
        return t0, t1
    a0, a1 = _disc(ox - event["x1"], oy - event["y1"], dx, dy, reach)
    t0 = min(t0, a0)
    t1 = max(t1, a1)
    u = px * event["ux"] + py * event["uy"]
    v = py * event["ux"] - px * event["uy"]
    du = dx * event["ux"] + dy * event["uy"]
    dv = dy * event["ux"] - dx * event["uy"]
    low = -1e300
    high = 1e300
    for axis in range(2):
        at = u if axis == 0 else v
        slope = du if axis == 0 else dv
        from_ = 0.0 if axis == 0 else -reach
        to = length if axis == 0 else reach
        if slope == 0.0:
            if at < from_ or at > to:
                low = 1e300
                high = -1e300
            continue
        a = (from_ - at) / slope
        b = (to - at) / slope
        low = max(low, min(a, b))
        high = min(high, max(a, b))
    if low <= high:
        t0 = min(t0, low)
        t1 = max(t1, high)
    return t0, t1


@kernel
def _deep(event: Any, piece: Any, segments: Any, o: F8, d: F8, t: float) -> float:
    """G(t): below 0 inside the sweep."""
    low, high = swept(event, piece, segments, o[0] + t * d[0], o[1] + t * d[1])
    if low >= high:
        return 1e300
    z = o[2] + t * d[2]
    return float(max(low - z, z - high))


@kernel
def swept_along(event: Any, piece: Any, segments: Any, o: F8, d: F8) -> tuple[float, float]:
    """Interval of t where o + t·d (d of length 1, not upright) lies in the sweep of a straight leg; empty: (1e300, -1e300)."""
    reach = piece["reach"]
    t0, t1 = over(event, reach, o[0], o[1], d[0], d[1])
    if t0 >= t1:
        return 1e300, -1e300
    shrink = 1e-12 * (1.0 + abs(t0) + abs(t1))
    t0 += shrink
    t1 -= shrink
    if t0 >= t1:
        return 1e300, -1e300
    low_z = event["low_z"]
    if d[2] == 0.0 and o[2] <= low_z:
        return 1e300, -1e300
    at0 = _deep(event, piece, segments, o, d, t0)
    at1 = _deep(event, piece, segments, o, d, t1)
    if at0 < 0.0 and at1 < 0.0:
        return t0, t1
    best = t0
    found = at0 < 0.0
    if not found and at1 < 0.0:
        best = t1
        found = True
    if not found:
        a = t0
        b = t1
        for _ in range(80):
            third = (b - a) / 3.0
            m0 = a + third
            m1 = b - third
            g0 = _deep(event, piece, segments, o, d, m0)
            g1 = _deep(event, piece, segments, o, d, m1)
            if g0 < 0.0:
                best = m0
                found = True
                break
            if g1 < 0.0:
                best = m1
                found = True
                break
            if g0 < g1:
                b = m1
            elif g1 < g0:
                a = m0
            else:
                a = m0
                b = m1
            if b - a < END_MM:
                break
    if not found:
        return 1e300, -1e300
    start = t0
    if at0 >= 0.0:
        out = t0
        start = best
        while start - out > END_MM:
            middle = 0.5 * (out + start)
            if _deep(event, piece, segments, o, d, middle) < 0.0:
                start = middle
            else:
                out = middle
    end = t1
    if at1 >= 0.0:
        out = t1
        end = best
        while out - end > END_MM:
            middle = 0.5 * (out + end)
            if _deep(event, piece, segments, o, d, middle) < 0.0:
                end = middle
            else:
                out = middle
    return start, end


@kernel
def reaches(event: Any, piece: Any, o: F8, d: F8, low_t: float, high_t: float) -> bool:
    """Whether the box in height and footprint of a straight leg can meet the stretch low_t..high_t of a line at all."""
    t0, t1 = over(event, piece["reach"], o[0], o[1], d[0], d[1])
    low_z = min(event["z0"], event["z1"]) + piece["bottom"] - SLACK_MM
    high_z = max(event["z0"], event["z1"]) + piece["top"] + SLACK_MM
    if d[2] == 0.0:
        if o[2] < low_z or o[2] > high_z:
            return False
    else:
        a = (low_z - o[2]) / d[2]
        b = (high_z - o[2]) / d[2]
        t0 = max(t0, min(a, b))
        t1 = min(t1, max(a, b))
    return bool(t0 < t1 and t0 < high_t + SLACK_MM and t1 > low_t - SLACK_MM)


@kernel
def lines(
    o: F8, d: F8, tile_of: I8, first: I8, index: I8, box: F8, at: F8, events: Any, pieces: Any, segments: Any, low: F8,
    high: F8, low_move: NDArray[np.int32], high_move: NDArray[np.int32], count: NDArray[np.int32], label: float,
) -> int:  # fmt: skip
    """Run every event that can reach each line o[k] + t·d, in order; 1 when a line is full. State as in cut_tile.

    tile_of i8 (n,): list of the line (-1 none); box f8 (events, 4): extent of each event across the line direction;
    at f8 (n, 2): where the lines stand in the same plane.
    """
    for k in range(o.shape[0]):
        t = tile_of[k]
        if t < 0:
            continue
        for s in range(first[t], first[t + 1]):
            if count[k] == 0:
                break
            e = index[s]
            if at[k, 0] < box[e, 0] or at[k, 0] > box[e, 2] or at[k, 1] < box[e, 1] or at[k, 1] > box[e, 3]:
                continue
            event = events[e]
            if not reaches(event, pieces[event["piece"]], o[k], d, low[k, 0], high[k, count[k] - 1]):
                continue
            cut_low, cut_high = swept_along(event, pieces[event["piece"]], segments, o[k], d)
            if cut_low >= cut_high:
                continue
            left, _removed, _bottom, _top = take_off(
                low[k], high[k], low_move[k], high_move[k], count[k], cut_low, cut_high, event["row"], label
            )
            if left < 0:
                return 1
            count[k] = left
    return 0
