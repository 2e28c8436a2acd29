"""How far a point is from one side of one swept piece, and which way that side faces.

A sweep has three sides: LOW (what the undersides of the piece sweep), HIGH (the uppersides) and FLANK (the widest radius).
The gradient of the least height over the path is the slope of the profile at the place s of the least height, along the
way from the path to the point. At an end of the move that slope is h′(ρ); between the ends it is |m|·ρ/|s − u|, which is
h′(ρ) on a smooth profile and also right where a kink or the rim of the tool decides (there h′ has a range and the minimum
picks from it). Sides are continued by their tangent plane outside the footprint.
Source: own derivation; twin: differences of `swept` (tests/laws/test_touch.py).
"""

import math
from typing import Any

from halfthou.base.jit import kernel
from halfthou.geometry.sweep import rest, side_height

LOW, HIGH, FLANK = 0, 1, 2
STEEPEST = 1e7  # slope that stands for upright
INNER = 1.0 - 1e-9  # points outside the footprint are looked at this far inside its rim


@kernel
def nearest_spot(event: Any, x: float, y: float) -> tuple[float, float]:
    """Nearest point in XY of the path of an event."""
    px = x - event["x0"]
    py = y - event["y0"]
    if event["form"] == 0:
        u = min(max(px * event["ux"] + py * event["uy"], 0.0), event["length"])
        return event["x0"] + u * event["ux"], event["y0"] + u * event["uy"]
    qx = event["x0"]
    qy = event["y0"]
    best = math.sqrt(px * px + py * py)
    off = math.sqrt((x - event["x1"]) ** 2 + (y - event["y1"]) ** 2)
    if off < best:
        best = off
        qx = event["x1"]
        qy = event["y1"]
    vx = x - event["cx"]
    vy = y - event["cy"]
    far = math.sqrt(vx * vx + vy * vy)
    if far <= 0.0:
        return qx, qy
    two = 2.0 * math.pi
    turn = math.atan2(vy, vx) - event["angle0"]
    turn = turn % two if event["sweep"] > 0.0 else (-turn) % two
    size = abs(event["sweep"])
    while turn <= size:
        r = event["arc_r"] + event["grow_r"] * turn / size
        if abs(far - r) < best:
            best = abs(far - r)
            qx = event["cx"] + r * vx / far
            qy = event["cy"] + r * vy / far
        turn += two
    return qx, qy


@kernel
def side_slope(segments: Any, first: int, last: int, rho: float) -> float:
    """Slope dh/dρ of a side at ρ (clamped to its reach), at most STEEPEST."""
    k = first
    while k < last - 1 and rho > segments[k]["rb"]:
        k += 1
    seg = segments[k]
    if seg["form"] == 0:
        return float(min(seg["slope"], 1e7))
    off = max(min(rho, seg["rb"]) - seg["cr"], 0.0)
    left = seg["rad"] * seg["rad"] - off * off
    if left <= 1e-14 * off * off:
        return 1e7 if off > 0.0 else 0.0
    return float(off / math.sqrt(left))


@kernel
def _least(
    segments: Any, first: int, last: int, reach: float, z0: float, m: float, event: Any, x: float, y: float
) -> tuple[float, float, float]:
    """(height, slope in x, in y) of the least z0 + m·s + h(ρ) over a straight leg; the point is over the footprint."""
    px = x - event["x0"]
    py = y - event["y0"]
    ux = event["ux"]
    uy = event["uy"]
    length = event["length"]
    u = px * ux + py * uy
    v = py * ux - px * uy
    a = math.sqrt(max(reach * reach - v * v, 0.0))
    s = u
    if m > 0.0:
        s = u - rest(segments, first, last, v * v, m)
    elif m < 0.0:
        s = u + rest(segments, first, last, v * v, -m)
    s = min(max(s, u - a), u + a)
    free = 0.0 < s < length
    s = min(max(s, 0.0), length)
    dx = px - s * ux
    dy = py - s * uy
    rho = math.sqrt(dx * dx + dy * dy)
    height = z0 + m * s + side_height(segments, first, last, rho)
    if rho <= 1e-12:
        return height, 0.0, 0.0
    lean = side_slope(segments, first, last, rho)
    if free and m != 0.0:
        lean = min(abs(m) * rho / max(abs(s - u), 1e-300), 1e7)
    return height, lean * dx / rho, lean * dy / rho


@kernel
def side_of_sweep(
    event: Any, piece: Any, segments: Any, kind: int, x: float, y: float, z: float
) -> tuple[float, float, float, float]:
    """(distance, outward normal of the sweep): how far a point is outside one side, to first order.

    kind LOW, HIGH or FLANK. (1e300, 0, 0, 1) for the upper side of a sweep that has none.
    """
    qx, qy = nearest_spot(event, x, y)
    dx = x - qx
    dy = y - qy
    away = math.sqrt(dx * dx + dy * dy)
    reach = piece["reach"]
    if kind == 2:
        if away <= 1e-12:
            return -reach, 1.0, 0.0, 0.0
        return away - reach, dx / away, dy / away, 0.0
    if kind == 1 and event["closed"] == 1:
        return 1e300, 0.0, 0.0, 1.0
    first = piece["low_first"] if kind == 0 else piece["up_first"]
    last = piece["low_last"] if kind == 0 else piece["up_last"]
    sign = 1.0 if kind == 0 else -1.0
    ix = x
    iy = y
    inner = reach * (1.0 - 1e-9)
    if away > inner:
        ix = qx + dx * inner / away
        iy = qy + dy * inner / away
    if event["form"] == 1 or event["length"] == 0.0:
        foot = min(event["z0"], event["z1"]) if kind == 0 else -max(event["z0"], event["z1"])
        rho = min(away, inner)
        height = foot + side_height(segments, first, last, rho)
        lean = side_slope(segments, first, last, rho)
        gx = lean * dx / away if away > 1e-12 else 0.0
        gy = lean * dy / away if away > 1e-12 else 0.0
    else:
        height, gx, gy = _least(segments, first, last, reach, sign * event["z0"], sign * event["slope"], event, ix, iy)
    height += gx * (x - ix) + gy * (y - iy)
    size = math.sqrt(gx * gx + gy * gy + 1.0)
    return (height - sign * z) / size, gx / size, gy / size, -sign / size


@kernel
def nearest_side(event: Any, piece: Any, segments: Any, x: float, y: float, z: float) -> int:
    """Which side a point on the rim of a sweep lies on: the one it is farthest outside of."""
    low, _a, _b, _c = side_of_sweep(event, piece, segments, 0, x, y, z)
    high, _a, _b, _c = side_of_sweep(event, piece, segments, 1, x, y, z)
    flank, _a, _b, _c = side_of_sweep(event, piece, segments, 2, x, y, z)
    if event["closed"] == 1:
        high = -1e300
    if low >= high and low >= flank:
        return 0
    return 1 if high >= flank else 2
