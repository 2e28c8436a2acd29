"""The spindle: torque and power against speed, load over a cycle, and stiffness seen at the tool tip.

Range: steady running; run-up, belts and the maker's short-time (S6) duty are given by separate curves of the maker.
"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

F8 = NDArray[np.float64]
Curve = Sequence[tuple[float, float, float]]


def base_torque_n_mm(power_w: float, base_rpm: float) -> float:
    """Torque limit below base speed: P/ω_base, N·mm. Derived from P = T·ω."""
    return 1000.0 * power_w * 60.0 / (2.0 * math.pi * base_rpm)


def available_torque_n_mm(power_w: float, base_rpm: float, speed_rpm: float) -> float:
    """Torque at a speed: flat P/ω_base up to base speed, P/ω above, N·mm. Below base speed power is *not* constant."""
    return base_torque_n_mm(power_w, max(base_rpm, speed_rpm))


def available_power_w(power_w: float, base_rpm: float, speed_rpm: float) -> float:
    """Power at a speed: rises with the speed up to base speed, flat above, W."""
    return power_w * min(1.0, speed_rpm / base_rpm)


def base_speed_rpm(power_w: float, torque_n_mm: float) -> float:
    """Speed at which full torque and full power meet, rpm."""
    return 1000.0 * power_w * 60.0 / (2.0 * math.pi * torque_n_mm)


def curve_at(curve: Curve, speed_rpm: float) -> tuple[float, float]:
    """(torque N·mm, power W) of a measured or printed curve of rows (rpm, N·m, W) at a speed.

    Torque and power are each interpolated on a straight line and the smaller torque counts, with its power; NaN
    outside the curve. Continuous and short-time curves are different curves: check each of them.
    """
    rows = sorted(curve)
    if not rows or not rows[0][0] <= speed_rpm <= rows[-1][0]:
        return math.nan, math.nan
    at = [row[0] for row in rows]
    torque = 1000.0 * float(np.interp(speed_rpm, at, [row[1] for row in rows]))
    power = float(np.interp(speed_rpm, at, [row[2] for row in rows]))
    by_power = 1000.0 * power * 60.0 / (2.0 * math.pi * speed_rpm) if speed_rpm > 0.0 else math.inf
    least = min(torque, by_power)
    return least, least * 2.0 * math.pi * speed_rpm / 60000.0


def load(torque_n_mm: float, available_n_mm: float) -> float:
    """Share of the available torque in use; above 1 the spindle stalls. Use the peak of the cut, not its mean."""
    return torque_n_mm / available_n_mm


def effective_torque_n_mm(torque_n_mm: Sequence[float], time_s: Sequence[float]) -> float:
    """Root mean square of the torque over a cycle, idle time included, N·mm: what heats the motor. Derived."""
    torque, time = np.asarray(torque_n_mm, dtype=float), np.asarray(time_s, dtype=float)
    return float(math.sqrt(np.sum(torque * torque * time) / np.sum(time)))


def series_stiffness(stiffness_n_per_mm: Sequence[float]) -> float:
    """Stiffness of parts in series (spindle, holder, tool), N/mm: 1/Σ(1/k). All at the same point and direction."""
    return 1.0 / sum(1.0 / k for k in stiffness_n_per_mm)


def nose_stiffness_n_per_mm(
    front_n_per_mm: float, rear_n_per_mm: float, span_mm: float, overhang_mm: float, bending_n_mm2: float = math.inf
) -> float:
    """Radial stiffness of a spindle on two springs at its overhang, N/mm.

    1/k = (1 + a/l)²/kf + (a/l)²/kr + a²·(l + a)/(3·E·I); l bearing span, a overhang, E·I of the shaft. Beam on two
    springs, derived. Range: constant shaft section, no moment stiffness of the bearings.
    """
    lever = overhang_mm / span_mm
    soft = (1.0 + lever) ** 2 / front_n_per_mm + lever * lever / rear_n_per_mm
    return 1.0 / (soft + overhang_mm * overhang_mm * (span_mm + overhang_mm) / (3.0 * bending_n_mm2))


def bearing_life_s(dynamic_n: float, load_n: float, speed_rpm: float, exponent: float = 3.0) -> float:
    """Basic rating life L10 = (C/P)^p·10⁶ turns in seconds; p 3 ball, 10/3 roller. ISO 281, from memory.

    One bearing in ten fails earlier; lubrication, preload and dirt are not in it.
    """
    return float((dynamic_n / load_n) ** exponent) * 1e6 / speed_rpm * 60.0
