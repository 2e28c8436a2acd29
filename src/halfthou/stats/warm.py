"""Length and temperature: growth, correction to 20 degC, and the small errors of a tilted or offset scale."""

import math

from halfthou.base.errors import CannotAnswer

REFERENCE_DEGC = 20.0  # ISO 1


def growth_mm(length_mm: float, alpha_per_k: float, rise_k: float) -> float:
    """dL = L alpha dT.

    Source: ISO 1.  Check: published area 3 (100 mm aluminium, 5 K: 11.5 um).
    >>> round(growth_mm(100.0, 23e-6, 5.0), 4)
    0.0115
    """
    return length_mm * alpha_per_k * rise_k


def growth_std_mm(length_mm: float, alpha_per_k: float, rise_k: float, alpha_std: float, rise_std: float) -> float:
    """Standard uncertainty of that growth: L sqrt((dT u_alpha)^2 + (alpha u_T)^2 + (u_alpha u_T)^2).

    The last term matters where dT is near 0 (GUM H.1).
    """
    return length_mm * math.hypot(rise_k * alpha_std, alpha_per_k * rise_std, alpha_std * rise_std)


def at_reference_mm(
    reading_mm: float, alpha_part: float, alpha_scale: float, part_degc: float, scale_degc: float | None = None
) -> float:
    """Length at 20 degC from a reading of a warm scale on a warm part: x (1 + a_s dT_s) / (1 + a_p dT_p).

    Check: published area 3 (80 mm aluminium on steel at 24 degC: 79.99632).
    """
    rise_part = part_degc - REFERENCE_DEGC
    rise_scale = rise_part if scale_degc is None else scale_degc - REFERENCE_DEGC
    below = 1.0 + alpha_part * rise_part
    if below <= 0:
        raise CannotAnswer("impossible temperature or expansion coefficient")
    return reading_mm * (1.0 + alpha_scale * rise_scale) / below


def at_reference_std_mm(
    reading_mm: float, alpha_part: float, alpha_scale: float, rise_k: float,
    alpha_part_std: float, alpha_scale_std: float, rise_std: float,
) -> float:  # fmt: skip
    """Standard uncertainty of it, part and scale at one temperature.

    x sqrt((dT u_ap)^2 + (dT u_as)^2 + ((a_p - a_s) u_T)^2), linearised.
    """
    return abs(reading_mm) * math.hypot(
        rise_k * alpha_part_std, rise_k * alpha_scale_std, (alpha_part - alpha_scale) * rise_std
    )


def cosine_error_mm(length_mm: float, angle_rad: float) -> float:
    """L (1 - cos a): a scale tilted by a reads that much too long."""
    return length_mm * 2.0 * math.sin(0.5 * angle_rad) ** 2


def abbe_error_mm(offset_mm: float, angle_rad: float) -> float:
    """offset tan a: a guide that tilts by a between scale and contact."""
    return offset_mm * math.tan(angle_rad)
