"""Time of a pass and of single moves in closed form: approach lengths, book profiles, corner rules.

The engine's own motion law is drive.py; here are the book forms it is compared with, and pass times for planning.
"""

import math

from halfthou.physics.drive import ramp_mm, ramp_s


def side_approach_mm(depth_mm: float, diameter_mm: float) -> float:
    """Approach of a peripheral cut of depth d: √(d·(D − d)), mm; D/2 at d ≥ D/2. By plane geometry."""
    depth = min(depth_mm, 0.5 * diameter_mm)
    return math.sqrt(depth * (diameter_mm - depth))


def side_approach_long_mm(depth_mm: float, diameter_mm: float) -> float:
    """Approach of a peripheral cut as some books print it: √(D·d), mm, an upper bound for d ≪ D."""
    return math.sqrt(diameter_mm * depth_mm)


def face_approach_mm(width_mm: float, diameter_mm: float) -> float:
    """Approach of a face mill centred on a strip of width w until its whole width cuts: (D − √(D² − w²))/2, mm.

    Handbooks take D/2 (centred) or the full D (offset) instead; both are longer.
    """
    return 0.5 * (diameter_mm - math.sqrt(max(0.0, diameter_mm**2 - width_mm**2)))


def pass_s(length_mm: float, approach_mm: float, feed_mm_per_s: float) -> float:
    """Time of a pass (L + A)/vf, s; feed constant, ramps left out."""
    return (length_mm + approach_mm) / feed_mm_per_s


def feed_mm_per_s(speed_rpm: float, teeth: float, feed_mm: float) -> float:
    """Feed speed n·z·fz, mm/s."""
    return speed_rpm * teeth * feed_mm / 60.0


def speed_rpm(cutting_mm_per_s: float, diameter_mm: float) -> float:
    """Speed from cutting speed: vc/(π·D), rpm."""
    return 60.0 * cutting_mm_per_s / (math.pi * diameter_mm)


def cutting_mm_per_s(speed: float, diameter_mm: float) -> float:
    """Cutting speed π·D·n, mm/s; n in rpm."""
    return math.pi * diameter_mm * speed / 60.0


def trapezoid_peak_mm_per_s(h: float, v0: float, v1: float, most: float, a: float) -> float:
    """Highest speed of an acceleration-limited move: min(vmax, √(a·h + (v0² + v1²)/2)), mm/s.

    Source: L. Biagiotti, C. Melchiorri (2008), ch. 3. Range: the move must be long enough for |v1² − v0²| ≤ 2·a·h.
    """
    return min(most, math.sqrt(a * h + 0.5 * (v0 * v0 + v1 * v1)))


def trapezoid_s(h: float, v0: float, v1: float, most: float, a: float) -> float:
    """Time of an acceleration-limited move: (2vp − v0 − v1)/a + (h − (2vp² − v0² − v1²)/(2a))/vp, s. Same source."""
    peak = trapezoid_peak_mm_per_s(h, v0, v1, most, a)
    return (2 * peak - v0 - v1) / a + (h - (2 * peak**2 - v0**2 - v1**2) / (2 * a)) / peak


def jerk_rest_to_rest_s(h: float, jerk: float) -> float:
    """Time of a move of h from rest to rest limited by jerk alone: 4·(h/(2j))^(1/3), s. Derived."""
    return 4.0 * float((h / (2.0 * jerk)) ** (1.0 / 3.0))


def thirds_speed(h: float, time_s: float) -> float:
    """Peak speed of a move in thirds (speed up, hold, slow down): 1.5·h/t. Drive-sizing rule of thirds."""
    return 1.5 * h / time_s


def thirds_accel(h: float, time_s: float) -> float:
    """Acceleration of a move in thirds: 4.5·h/t². Drive-sizing rule of thirds."""
    return 4.5 * h / (time_s * time_s)


def ramp_speed(a: float, jerk: float, hold_s: float) -> float:
    """Speed gained by jerk up to a, a held, jerk down: a²/j + a·hold, mm/s."""
    return a * a / jerk + a * hold_s


def corner_radius_mm(tolerance_mm: float, between_rad: float) -> float:
    """Radius of the arc that touches both legs and misses the corner by d: d·sin(t/2)/(1 − sin(t/2)), mm.

    t the angle between the legs, π = straight on. By plane geometry; one open script prints ten times this.
    """
    half = math.sin(0.5 * between_rad)
    return math.inf if half >= 1.0 else tolerance_mm * half / (1.0 - half)


def jerk_arc_mm_per_s(jerk: float, radius_mm: float) -> float:
    """Highest speed on a circle at jerk j: (j·r²)^(1/3), mm/s (normal acceleration v²/r turns at rate v/r). Derived."""
    return float((jerk * radius_mm**2) ** (1.0 / 3.0))


def chord_radius_mm(length_mm: float, error_mm: float) -> float:
    """Radius of a circle whose chords of length L stand e off it: L²/(8e), mm; for e ≪ L."""
    return length_mm * length_mm / (8.0 * error_mm)


def chord_error_mm(length_mm: float, radius_mm: float) -> float:
    """How far a chord of length L stands off its circle: R − √(R² − L²/4), mm, exact."""
    return 0.25 * length_mm**2 / (radius_mm + math.sqrt(radius_mm**2 - 0.25 * length_mm**2))


def book_double_s(h: float, v0: float, v1: float, most: float, a: float, j: float) -> tuple[float, float, float, float]:
    """Double-S by the book's rule: (time speeding up, holding, slowing down, peak speed).

    If the limit speed is reached, as drive.py. Else a is multiplied by 0.99 until both ramps reach it; the move is then
    up to 9 % longer than the time-optimal one. Source: Biagiotti, Melchiorri (2008), 3.4 (numbers of its examples from
    memory, reproduced). Range: v0, v1 ≥ 0.
    """
    if ramp_mm(v0, most, a, j) + ramp_mm(most, v1, a, j) <= h:
        up, down = ramp_s(most - v0, a, j), ramp_s(most - v1, a, j)
        return up, (h - ramp_mm(v0, most, a, j) - ramp_mm(most, v1, a, j)) / most, down, most
    for _ in range(5000):
        rise = a / j
        root = math.sqrt(a**4 / j**2 + 2 * (v0**2 + v1**2) + a * (4 * h - 2 * rise * (v0 + v1)))
        up = (a * rise - 2 * v0 + root) / (2 * a)
        down = (a * rise - 2 * v1 + root) / (2 * a)
        if up < 0.0 and v0 > v1:  # only slowing down
            down = 2 * h / (v0 + v1)
            return 0.0, 0.0, down, v0
        if down < 0.0 and v1 > v0:
            return 2 * h / (v0 + v1), 0.0, 0.0, v1
        if up >= 2 * rise and down >= 2 * rise:
            return up, 0.0, down, v0 + (up - rise) * a
        a *= 0.99
    return math.nan, math.nan, math.nan, math.nan
