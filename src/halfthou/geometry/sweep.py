"""What one move takes off a ray: lower and upper end of a convex turned piece swept along a line or a level arc.

Over a point the underside of a piece whose tip stands at z is z + h(ρ), ρ the distance of the point from the axis.
Along a straight move with s from 0 to L, ρ² = v² + (s − u)² and the height is f(s) = z0 + m·s + h(ρ), convex because h
is convex and rising. Its least value lies where h′(ρ)·d/ρ = |m|, d = |s − u| towards the low end of the move, clamped
to the stretch where ρ ≤ reach. The left side grows with d, so the first segment whose end passes |m| holds the
answer: cone d = v·|m|/√(k² − m²), ball d = |m|·√(R² − v²)/√(1 + m²), torus by bisection. The upper end is the same on
the mirrored piece. Level arcs: ρ is the distance to the nearest point of the arc.
Source: own derivation; the cone, ball and level forms agree with the table of formulas the project was given.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.base.table import dtype

F8 = NDArray[np.float64]

#: One swept piece: a straight leg (form 0) or a level arc (form 1) of one move with one piece of its tool, grid axes.
#: closed 1: nothing of the stock can stand above it. bound_mm: how far its path may be from the true one. stations: into how
#: many stretches it is split when what it meets is noted; from_share, to_share: which part of the move it is.
EVENT = dtype(
    ("x0", "f8"), ("y0", "f8"), ("z0", "f8"), ("x1", "f8"), ("y1", "f8"), ("z1", "f8"), ("ux", "f8"), ("uy", "f8"),
    ("length", "f8"), ("slope", "f8"), ("cx", "f8"), ("cy", "f8"), ("arc_r", "f8"), ("grow_r", "f8"), ("sweep", "f8"),
    ("angle0", "f8"), ("low_z", "f8"), ("bx0", "f8"), ("by0", "f8"), ("bx1", "f8"), ("by1", "f8"), ("bound_mm", "f8"),
    ("row", "i4"), ("piece", "i4"), ("form", "i4"), ("closed", "i4"), ("stations", "i4"), ("from_share", "f8"),
    ("to_share", "f8"),
)  # fmt: skip

NONE = 1e300  # no ray end: not touched


@kernel
def side_height(segments: Any, first: int, last: int, rho: float) -> float:
    """Height of a side at ρ (clamped to its reach)."""
    k = first
    while k < last - 1 and rho > segments[k]["rb"]:
        k += 1
    seg = segments[k]
    r = min(rho, seg["rb"])
    if seg["form"] == 0:
        return float(seg["ha"] + seg["slope"] * max(r - seg["ra"], 0.0))
    off = max(r - seg["cr"], 0.0)
    return float(seg["ch"] - math.sqrt(max(seg["rad"] * seg["rad"] - off * off, 0.0)))


@kernel
def _torus_lean(cr: float, rad: float, v2: float, d: float) -> float:
    """h′(ρ)·d/ρ of an arc, at most 1e12 where it stands upright."""
    rho = math.sqrt(v2 + d * d)
    if rho <= 0.0:
        return 0.0
    off = max(rho - cr, 0.0)
    left = rad * rad - off * off
    if left <= off * off * 1e-24:
        return 1e12 if d > 0.0 else 0.0
    return off / math.sqrt(left) * d / rho


@kernel
def rest(segments: Any, first: int, last: int, v2: float, m: float) -> float:
    """Least d ≥ 0 with h′(ρ)·d/ρ ≥ m > 0, ρ² = v² + d²; the reach if there is none."""
    d_end = 0.0
    for k in range(first, last):
        seg = segments[k]
        rb = seg["rb"]
        if rb * rb <= v2:
            continue
        ra = seg["ra"]
        d_start = math.sqrt(max(ra * ra - v2, 0.0))
        d_end = math.sqrt(rb * rb - v2)
        if seg["form"] == 0:
            slope = seg["slope"]
            if slope <= m or slope * d_end < m * rb:
                continue
            return float(max(d_start, math.sqrt(v2) * m / math.sqrt(slope * slope - m * m)))
        cr = seg["cr"]
        rad = seg["rad"]
        if cr == 0.0:
            d = m * math.sqrt(max(rad * rad - v2, 0.0) / (1.0 + m * m))
            if d > d_end:
                continue
            return float(max(d_start, d))
        if _torus_lean(cr, rad, v2, d_end) < m:
            continue
        low = d_start
        high = d_end
        if _torus_lean(cr, rad, v2, low) >= m:
            return low
        for _ in range(48):
            middle = 0.5 * (low + high)
            if _torus_lean(cr, rad, v2, middle) < m:
                low = middle
            else:
                high = middle
        return 0.5 * (low + high)
    return d_end


@kernel
def nearest_on_arc(event: Any, x: float, y: float) -> float:
    """Distance in XY from a point to a level arc whose radius goes linearly with the angle (grow_r in all)."""
    vx = x - event["cx"]
    vy = y - event["cy"]
    a = (x - event["x0"]) ** 2 + (y - event["y0"]) ** 2
    b = (x - event["x1"]) ** 2 + (y - event["y1"]) ** 2
    rho = math.sqrt(min(a, b))
    sweep = event["sweep"]
    turn = math.atan2(vy, vx) - event["angle0"]
    two = 2.0 * math.pi
    turn = turn % two if sweep > 0.0 else (-turn) % two
    size = abs(sweep)
    r0 = event["arc_r"]
    far = math.sqrt(vx * vx + vy * vy)
    while turn <= size:
        rho = min(rho, abs(far - (r0 + event["grow_r"] * turn / size)))
        turn += two
    return rho


@kernel
def line_end(
    segments: Any, first: int, last: int, reach: float, z0: float, m: float, length: float, u: float, v2: float
) -> float:
    """Least z0 + m·s + h(ρ(s)) over 0 ≤ s ≤ length, ρ ≤ reach; NONE if the piece never is over the ray."""
    a2 = reach * reach - v2
    if a2 < 0.0:
        return 1e300
    a = math.sqrt(a2)
    s0 = max(0.0, u - a)
    s1 = min(length, u + a)
    if s0 > s1:
        return 1e300
    if m == 0.0:
        s = u
    elif m > 0.0:
        s = u - rest(segments, first, last, v2, m)
    else:
        s = u + rest(segments, first, last, v2, -m)
    s = min(max(s, s0), s1)
    rho = math.sqrt(v2 + (s - u) * (s - u))
    return z0 + m * s + side_height(segments, first, last, rho)


@kernel
def swept_low(event: Any, piece: Any, segments: Any, x: float, y: float) -> float:
    """Lower end of what one event sweeps on the ray at (x, y); NONE if it does not get there."""
    reach = piece["reach"]
    first = piece["low_first"]
    last = piece["low_last"]
    px = x - event["x0"]
    py = y - event["y0"]
    length = event["length"]
    if event["form"] == 1 or length == 0.0:
        rho = nearest_on_arc(event, x, y) if event["form"] == 1 else math.sqrt(px * px + py * py)
        if rho > reach:
            return 1e300
        return float(min(event["z0"], event["z1"]) + side_height(segments, first, last, rho))
    u = px * event["ux"] + py * event["uy"]
    v = py * event["ux"] - px * event["uy"]
    v2 = v * v
    if v2 > reach * reach:
        return 1e300
    m = event["slope"]
    if m == 0.0 and u >= 0.0 and u <= length:
        return float(event["z0"] + side_height(segments, first, last, abs(v)))
    return line_end(segments, first, last, reach, event["z0"], m, length, u, v2)


@kernel
def swept_high(event: Any, piece: Any, segments: Any, x: float, y: float) -> float:
    """Upper end of what one event sweeps on a ray it reaches (`swept_low` gave a height)."""
    reach = piece["reach"]
    first = piece["up_first"]
    last = piece["up_last"]
    if event["closed"] == 1:
        return 1e300
    px = x - event["x0"]
    py = y - event["y0"]
    if event["form"] == 1 or event["length"] == 0.0:
        rho = nearest_on_arc(event, x, y) if event["form"] == 1 else math.sqrt(px * px + py * py)
        return float(max(event["z0"], event["z1"]) - side_height(segments, first, last, rho))
    u = px * event["ux"] + py * event["uy"]
    v = py * event["ux"] - px * event["uy"]
    return -line_end(segments, first, last, reach, -event["z0"], -event["slope"], event["length"], u, v * v)


@kernel
def swept(event: Any, piece: Any, segments: Any, x: float, y: float) -> tuple[float, float]:
    """(low, high) of what one event sweeps on the ray at (x, y); (NONE, -NONE) if it does not get there.

    high is NONE for a closed event: everything above is free of stock anyway.
    """
    low = swept_low(event, piece, segments, x, y)
    if low == 1e300:
        return 1e300, -1e300
    return low, swept_high(event, piece, segments, x, y)
