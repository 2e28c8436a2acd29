"""Where along a move, and where on the tool's front, a bit of stock is met; closed forms of the engagement angle.

Convention: angles are measured on the tool, seen from above, from the direction of travel; positive to the left of it.
The front of the tool runs from −90° (right) to +90° (left). On an arc the direction of travel is the tangent.
Front position of a ray: on a straight leg its distance v to the left of the line is R·sin θ; on an arc of radius r
about a centre, far = distance of the ray from the centre: far² = r² + R² ∓ 2·r·R·sin θ (− counter-clockwise, the
centre on the left). Source: law of cosines, own derivation; the concave corner agrees with the shared check C5.
"""

import math
from typing import Any

from halfthou.base.jit import kernel

BINS = 16
"""Strips across the front of the tool, equal in sin θ, from the right edge to the left one."""


@kernel
def radius_at(segments: Any, first: int, last: int, reach: float, height: float) -> float:
    """Radius of a lower side at a height above the tip, at most the reach."""
    for k in range(first, last):
        seg = segments[k]
        if seg["form"] == 0:
            if seg["slope"] > 0.0 and height < seg["ha"] + seg["slope"] * (seg["rb"] - seg["ra"]):
                return float(min(reach, max(seg["ra"], seg["ra"] + (height - seg["ha"]) / seg["slope"])))
        else:
            low = seg["ch"] - height
            if low > 0.0:
                return float(min(reach, seg["cr"] + math.sqrt(max(0.0, seg["rad"] * seg["rad"] - low * low))))
    return reach


@kernel
def met_at(event: Any, piece: Any, segments: Any, x: float, y: float, top: float) -> tuple[float, float, float]:
    """(share of the leg 0..1, front position −1..1, height over the tip) where the tool first meets a ray.

    The ray at (x, y) holds stock up to `top`. A leg without level travel answers (0, distance/reach, height).
    """
    reach = piece["reach"]
    first = piece["low_first"]
    last = piece["low_last"]
    if event["form"] == 1:
        vx = x - event["cx"]
        vy = y - event["cy"]
        far = math.sqrt(vx * vx + vy * vy)
        size = abs(event["sweep"])
        r = event["arc_r"]
        height = top - event["z0"]
        rho = radius_at(segments, first, last, reach, height)
        if rho <= 0.0 or r <= 0.0:
            return 0.0, 0.0, height
        sine = (r * r + rho * rho - far * far) / (2.0 * r * rho)
        sine = min(1.0, max(-1.0, sine))
        cosine = math.sqrt(1.0 - sine * sine)
        lead = math.atan2(rho * cosine, r - rho * sine)
        turn = math.atan2(vy, vx) - event["angle0"]
        if event["sweep"] < 0.0:
            turn = -turn
        two = 2.0 * math.pi
        turn = (turn - lead) % two
        if turn > size:  # met from a standing start or behind the end: the nearer end of the arc
            turn = 0.0 if turn - size > two - turn else size
        front = sine * rho / reach
        if event["sweep"] < 0.0:
            front = -front
        return turn / size, front, height
    px = x - event["x0"]
    py = y - event["y0"]
    if event["length"] == 0.0:
        return 0.0, min(1.0, math.sqrt(px * px + py * py) / reach), top - min(event["z0"], event["z1"])
    u = px * event["ux"] + py * event["uy"]
    v = py * event["ux"] - px * event["uy"]
    s = min(max(u, 0.0), event["length"])
    height = top - (event["z0"] + event["slope"] * s)
    rho = radius_at(segments, first, last, reach, height)
    s = u - math.sqrt(max(0.0, rho * rho - v * v))
    s = min(max(s, 0.0), event["length"])
    return s / event["length"], min(1.0, max(-1.0, v / reach)), height


def straight_exit_rad(radial_mm: float, radius_mm: float) -> float:
    """Angle from the wall side to where the cut begins, straight wall: acos(1 − ae/R). ae 0..2R."""
    return math.acos(1.0 - radial_mm / radius_mm)


def arc_exit_rad(radial_mm: float, radius_mm: float, path_radius_mm: float, *, concave: bool = True) -> float:
    """The same with the tool centre on an arc: concave (inside corner) widens it, convex narrows it.

    With ρ the path radius and R the tool radius the stock ends at the circle ρ + R − ae (concave; ρ − R + ae convex)
    round the arc centre: cos φ = ±((ρ ± R ∓ ae)² − ρ² − R²)/(2·ρ·R). Raises ValueError for a path radius ≤ 0.
    """
    if path_radius_mm <= 0:
        raise ValueError("path radius must be positive")
    rho, r = path_radius_mm, radius_mm
    edge = rho + r - radial_mm if concave else rho - r + radial_mm
    cosine = (edge * edge - rho * rho - r * r) / (2.0 * rho * r)
    return math.acos(max(-1.0, min(1.0, cosine if concave else -cosine)))
