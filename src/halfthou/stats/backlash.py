"""Backlash of spur gears from centre distance, tooth thickness and temperature; any one unit of length.

jt is circumferential (at the pitch circle), jn normal to the flank: jn = jt cos(alpha).
Check: published area 6.
"""

import math

from halfthou.base.errors import CannotAnswer

ALPHA_RAD = math.radians(20.0)


def tangential(centre_change: float, alpha_rad: float = ALPHA_RAD) -> float:
    """jt = 2 da tan(alpha), linear.

    >>> round(tangential(0.05), 6)
    0.036397
    """
    return 2.0 * centre_change * math.tan(alpha_rad)


def normal(centre_change: float, alpha_rad: float = ALPHA_RAD) -> float:
    """jn = 2 da sin(alpha), linear."""
    return 2.0 * centre_change * math.sin(alpha_rad)


def centre_change_for(backlash: float, alpha_rad: float = ALPHA_RAD) -> float:
    """da = j / (2 tan(alpha)): 1.374 j at 20 degrees, 1.933 j at 14.5."""
    return backlash / (2.0 * math.tan(alpha_rad))


def involute(angle_rad: float) -> float:
    """inv a = tan a - a."""
    return math.tan(angle_rad) - angle_rad


def working_angle_rad(centre_zero: float, centre: float, alpha_rad: float = ALPHA_RAD) -> float:
    """Operating pressure angle acos(a0 cos(alpha) / a)."""
    ratio = centre_zero * math.cos(alpha_rad) / centre
    if not 0.0 < ratio <= 1.0:
        raise CannotAnswer("at this centre distance the flanks cannot touch")
    return math.acos(ratio)


def exact(module: float, z1: int, z2: int, centre_change: float, alpha_rad: float = ALPHA_RAD) -> float:
    """Circumferential backlash of standard gears at an enlarged centre distance: 2 a (inv alpha_w - inv alpha).

    a0 = m (z1 + z2) / 2; no tooth thinning.
    Source: involute geometry.  Check: published area 6, two derivations.
    """
    zero = 0.5 * module * (z1 + z2)
    centre = zero + centre_change
    return 2.0 * centre * (involute(working_angle_rad(zero, centre, alpha_rad)) - involute(alpha_rad))


def least_recommended_mm(centre_mm: float, module_mm: float) -> float:
    """Minimum recommended normal backlash 2/3 (0.06 + 0.0005 a + 0.03 m), mm, medium and coarse pitch.

    Source: ISO/TR 10064-2 (from memory).
    """
    return 2.0 / 3.0 * (0.06 + 0.0005 * centre_mm + 0.03 * module_mm)


def centre_growth(centre: float, alpha_housing: float, alpha_gear: float, rise_k: float) -> float:
    """da = a (alpha_housing - alpha_gear) dT: what temperature adds to the centre distance against the gears."""
    return centre * (alpha_housing - alpha_gear) * rise_k


def backlash_range(
    thinning: float, centre_tolerance: float, play: float = 0.0, alpha_rad: float = ALPHA_RAD
) -> tuple[float, float]:
    """(least, largest) backlash: sum of thinnings ± 2 (centre tolerance + bearing play) tan(alpha)."""
    half = 2.0 * (centre_tolerance + play) * math.tan(alpha_rad)
    return thinning - half, thinning + half
