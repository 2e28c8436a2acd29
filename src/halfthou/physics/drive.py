"""Acceleration-limited motion along a path: ramps, single moves, corners, and look-ahead over many blocks.

Sources: L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and Robots (2008), ch. 3 (trapezoid and
double-S profiles); corner and chord formulas by plane geometry. Range: straight or circular blocks, constant limits
inside a block; the controller's own smoothing and following error are not modelled.
"""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel

F8 = NDArray[np.float64]
ENDLESS = 1e18


@kernel
def ramp_s(dv: float, a: float, j: float) -> float:
    """Time of a speed change dv ≥ 0 mm/s at acceleration a mm/s² and jerk j mm/s³ (j ≤ 0: not limited)."""
    if dv <= 0.0:
        return 0.0
    if j <= 0.0:
        return dv / a
    if dv * j >= a * a:
        return a / j + dv / a
    return 2.0 * math.sqrt(dv / j)


@kernel
def ramp_mm(v0: float, v1: float, a: float, j: float) -> float:
    """Distance of a ramp from v0 to v1 (both ≥ 0): mean speed times time, the ramp being symmetric."""
    return 0.5 * (v0 + v1) * ramp_s(abs(v1 - v0), a, j)


@kernel
def peak_mm_per_s(h: float, v0: float, v1: float, most: float, a: float, j: float) -> float:
    """Highest speed reached over h mm from v0 to v1 under `most`."""
    top = max(most, v0, v1)
    if j <= 0.0:
        return max(v0, v1, min(top, math.sqrt(a * h + 0.5 * (v0 * v0 + v1 * v1))))
    if ramp_mm(v0, top, a, j) + ramp_mm(top, v1, a, j) <= h:
        return top
    low = max(v0, v1)
    high = top
    for _ in range(60):
        middle = 0.5 * (low + high)
        if ramp_mm(v0, middle, a, j) + ramp_mm(middle, v1, a, j) <= h:
            low = middle
        else:
            high = middle
    return low


@kernel
def move_s(h: float, v0: float, v1: float, most: float, a: float, j: float) -> float:
    """Time for h mm from speed v0 to v1 under speed `most`, acceleration a, jerk j (mm, s; j ≤ 0: not limited)."""
    if h <= 0.0:
        return 0.0
    peak = peak_mm_per_s(h, v0, v1, most, a, j)
    up = ramp_mm(v0, peak, a, j)
    down = ramp_mm(peak, v1, a, j)
    cruise = max(0.0, h - up - down)
    total = ramp_s(abs(peak - v0), a, j) + ramp_s(abs(peak - v1), a, j)
    if peak > 0.0:
        total += cruise / peak
    return total


@kernel
def corner_mm_per_s(a: float, tolerance: float, cosine: float, room: float = 1e18) -> float:
    """Speed through a corner rounded within `tolerance`; cosine of the turn between the two directions (1 = straight).

    v² = a·R, R = d·sin(t/2)/(1 − sin(t/2)), t the angle between the segments (π = straight on); a is the acceleration
    towards the middle of the rounding. The rounding begins R·cot(t/2) before the corner: no more than `room` mm, half
    of the shorter neighbour, so that short chords of a curve of radius r are not run faster than √(a·r).
    """
    half = math.sqrt(max(0.0, 0.5 * (1.0 + cosine)))  # sin(t/2): t = π − turn
    if half >= 1.0 - 1e-12:
        return 1e18
    radius = min(tolerance * half / (1.0 - half), room * half / math.sqrt(1.0 - half * half))
    return math.sqrt(a * radius)


@kernel
def arc_mm_per_s(a: float, radius: float) -> float:
    """Highest speed on a circle at normal acceleration a."""
    return math.sqrt(a * radius)


@kernel
def chord_mm_per_s(a: float, length: float, error: float) -> float:
    """Speed over chords of `length` that stand `error` off their circle: v = √(a·R), R = L²/(8e)."""
    return math.sqrt(a * length * length / (8.0 * error))


@kernel
def look_ahead(h: F8, most: F8, a: F8, j: F8, corner: F8, out_s: F8, out_peak: F8, out_speed: F8) -> None:
    """Times of a chain of blocks with full look-ahead.

    h, most, a, j f8 (n,): length, speed limit, acceleration, jerk of each block; corner f8 (n+1,): speed limit at its
    ends (0 = stop). Results: out_s f8 (n,) time, out_peak f8 (n,), out_speed f8 (n+1,) speed at the block ends.
    """
    n = h.shape[0]
    speed = out_speed
    speed[n] = corner[n]
    for k in range(n - 1, -1, -1):
        limit = corner[k]
        if k > 0:
            limit = min(limit, most[k - 1])
        limit = min(limit, most[k])
        speed[k] = min(limit, _reach(speed[k + 1], h[k], a[k], j[k], limit))
    for k in range(n):
        top = min(speed[k + 1], most[k])
        speed[k + 1] = min(top, _reach(speed[k], h[k], a[k], j[k], top))
        out_peak[k] = peak_mm_per_s(h[k], speed[k], speed[k + 1], most[k], a[k], j[k])
        out_s[k] = move_s(h[k], speed[k], speed[k + 1], most[k], a[k], j[k])


@kernel
def _reach(v: float, h: float, a: float, j: float, limit: float) -> float:
    """Highest speed, up to `limit`, that can be reached from v over h."""
    if limit <= v:
        return limit
    if j <= 0.0:
        return math.sqrt(v * v + 2.0 * a * h)
    if ramp_mm(v, limit, a, j) <= h:
        return limit
    low = v
    high = limit
    for _ in range(60):
        middle = 0.5 * (low + high)
        if ramp_mm(v, middle, a, j) <= h:
            low = middle
        else:
            high = middle
    return low
