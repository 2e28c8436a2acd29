"""Torque and thrust of hole tools: drills, core drills, reamers, boring bars, countersinks, taps.

Handbook forms with their tables, and the specific-force forms. Every coefficient scatters: ±30 % unless measured.
No open table of tap breaking torques was found, so none is given.
"""

import math
from dataclasses import dataclass

import numpy as np

from halfthou.physics.specific_force import kc_mpa, lee_shaffer_rad, orthogonal


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillPoint:
    """Chisel-edge factors A (torque), B, J (thrust) for a chisel edge of c/d. Machinery's Handbook 31, p. 1152."""

    chisel_ratio: float
    a: float
    b: float
    j: float


STANDARD_POINT = DrillPoint(chisel_ratio=0.18, a=1.085, b=1.355, j=0.030)
SPLIT_POINT = DrillPoint(chisel_ratio=0.03, a=1.000, b=1.100, j=0.001)
#: Feed factor Ff by feed (mm per turn), SI. Machinery's Handbook 31, p. 1152.
FEED_FACTOR = ((0.10, 0.158), (0.15, 0.219), (0.20, 0.276), (0.25, 0.330), (0.30, 0.382))
#: (diameter mm, FT thrust factor, FM torque factor), SI. Machinery's Handbook 31, p. 1152.
DIAMETER_FACTORS = (
    (3.2, 2.54, 8.12), (6.4, 4.42, 28.26), (9.5, 6.06, 57.53), (12.5, 7.54, 94.28), (16.0, 9.19, 147.0),
)  # fmt: skip


def feed_factor(feed_mm: float) -> float:
    """Ff between the printed feeds 0.10 … 0.30 mm per turn, by a straight line in log-log; NaN outside the table."""
    return _log_table(feed_mm, [row[0] for row in FEED_FACTOR], [row[1] for row in FEED_FACTOR])


def diameter_factors(diameter_mm: float) -> tuple[float, float]:
    """(FT, FM) between the printed diameters 3.2 … 16 mm, by a straight line in log-log; NaN outside the table."""
    at = [row[0] for row in DIAMETER_FACTORS]
    return (
        _log_table(diameter_mm, at, [row[1] for row in DIAMETER_FACTORS]),
        _log_table(diameter_mm, at, [row[2] for row in DIAMETER_FACTORS]),
    )


def _log_table(x: float, at: list[float], value: list[float]) -> float:
    if not at[0] <= x <= at[-1]:
        return math.nan
    return float(math.exp(np.interp(math.log(x), np.log(at), np.log(value))))


def handbook_thrust_inch(kd: float, ff: float, ft: float, b: float, wear: float, diameter_in: float, j: float) -> float:
    """Drill thrust, lbf: 2·Kd·Ff·FT·B·W + Kd·D²·J·W. Kd 24000 for steel of 200 HB (from memory).

    Source: Machinery's Handbook 31, p. 1152. The W factor of the second term counts too.
    """
    return 2.0 * kd * ff * ft * b * wear + kd * diameter_in**2 * j * wear


def handbook_torque_inch(kd: float, ff: float, fm: float, a: float, wear: float) -> float:
    """Drill torque, in·lbf: Kd·Ff·FM·A·W. Source: Machinery's Handbook 31, p. 1152."""
    return kd * ff * fm * a * wear


def handbook_thrust_n(kd: float, ff: float, ft: float, b: float, wear: float, diameter_mm: float, j: float) -> float:
    """Drill thrust in SI, N: 0.05·Kd·Ff·FT·B·W + 0.007·Kd·D²·J·W. Source: Machinery's Handbook 31, p. 1152."""
    return 0.05 * kd * ff * ft * b * wear + 0.007 * kd * diameter_mm**2 * j * wear


def handbook_torque_n_mm(kd: float, ff: float, fm: float, a: float, wear: float) -> float:
    """Drill torque in SI, N·mm: Kd·Ff·FM·A·W/40 (the book: N·m, /40000). Source: Machinery's Handbook 31, p. 1152."""
    return kd * ff * fm * a * wear / 40.0


def drill_torque_n_mm(kc: float, feed_mm: float, diameter_mm: float) -> float:
    """Drill torque kc·f·D²/8, N·mm (kc MPa, f mm per turn): full cone of two lips, force at D/4. Derived."""
    return kc * feed_mm * diameter_mm**2 / 8.0


def core_drill_torque_n_mm(kc: float, feed_mm: float, diameter_mm: float, hole_mm: float) -> float:
    """Torque of opening a hole from d to D: kc·f·(D² − d²)/8, N·mm. Derived; d = 0 is `drill_torque_n_mm`."""
    return kc * feed_mm * (diameter_mm**2 - hole_mm**2) / 8.0


def drill_kc_mpa(kc11_mpa: float, mc: float, feed_mm: float, lips: int, half_point_rad: float) -> float:
    """kc at the chip thickness of a lip h = f/z·sin(half point angle), MPa."""
    return kc_mpa(kc11_mpa, mc, feed_mm / lips * math.sin(half_point_rad))


def drill_thrust_n(kc: float, feed_mm: float, diameter_mm: float, half_point_rad: float) -> float:
    """Thrust of the lips 0.5·kc·f·D·sin(half point angle), N.

    Common practice, from memory; the chisel edge can add as much again, so treat as a lower bound.
    """
    return 0.5 * kc * feed_mm * diameter_mm * math.sin(half_point_rad)


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillShear:
    """Torque (N·mm), thrust (N) and the lip forces (N) of the two-lip shear model."""

    torque_n_mm: float
    thrust_n: float
    cutting_n: float
    lip_thrust_n: float


def drill_shear(
    diameter_mm: float, feed_mm: float, shear_mpa: float, friction_rad: float, half_point_rad: float, helix_rad: float
) -> DrillShear:
    """Two-lip shear model: M = 0.6·Fc·D, thrust = 5·Ft·sin(half point), each lip an orthogonal edge.

    Rake at mid-radius: tan α = ½·tan(helix)/sin(half point); t1 = f/2, w = (D/2)/sin(half point); shear angle by
    φ + λ − α = 45°. Source: Ghosh & Mallik, Manufacturing Science, 4.14 (p. 230): the book rounds angles and prints
    18.2 N·m for its example, full precision (and its open companion program) gives 17.92. The area t1·w is 1/sin(half
    point) larger than the true f·D/4 per lip; kept as the source has it.
    """
    rake = math.atan(0.5 * math.tan(helix_rad) / math.sin(half_point_rad))
    width = 0.5 * diameter_mm / math.sin(half_point_rad)
    lip = orthogonal(rake, friction_rad, 0.5 * feed_mm, width, shear_mpa, lee_shaffer_rad(rake, friction_rad))
    return DrillShear(
        torque_n_mm=0.6 * lip.cutting_n * diameter_mm, thrust_n=5.0 * lip.thrust_n * math.sin(half_point_rad),
        cutting_n=lip.cutting_n, lip_thrust_n=lip.thrust_n,
    )  # fmt: skip


def unit_drill_torque_n_mm(unit_power_mpa: float, feed_mm: float, diameter_mm: float) -> float:
    """Drill torque from unit power: M[in·lbf] = f·D²·up·49500, up in hp/(in³/min) — the same as up·f·D²/8, N·mm.

    Source: a clamp maker's manual; 396000 in·lbf/min per hp over 8 is 49500.
    """
    return unit_power_mpa * feed_mm * diameter_mm**2 / 8.0


def unit_force_n(unit_power_mpa: float, depth_mm: float, feed_mm: float) -> float:
    """Cutting force from unit power: F[lbf] = d·f·up·396000 = up·d·f, N. Source: a clamp maker's manual."""
    return unit_power_mpa * depth_mm * feed_mm


def countersink_torque_n_mm(
    kc11_mpa: float, mc: float, teeth: int, feed_mm: float, depth_mm: float, half_angle_rad: float, hole_mm: float
) -> float:
    """Torque of a countersink: z·kc·w·h·r_mean, N·mm, with w = depth/cos(half angle), h = f/z·sin(half angle).

    The cone cuts between radius hole/2 and hole/2 + depth·tan(half angle); r_mean is their mean. Derived; no published
    numbers found. Thrust is about 0.5 … 0.8 of the cutting force.
    """
    width = depth_mm / math.cos(half_angle_rad)
    chip = feed_mm / teeth * math.sin(half_angle_rad)
    mean = 0.5 * hole_mm + 0.5 * depth_mm * math.tan(half_angle_rad)
    return teeth * kc_mpa(kc11_mpa, mc, chip) * width * chip * mean


def countersink_thrust_n(cutting_n: float) -> tuple[float, float]:
    """(low, high) thrust of a countersink, 0.5 … 0.8 of its cutting force, N. Derived, no published numbers found."""
    return 0.5 * cutting_n, 0.8 * cutting_n


def bore_force_n(kc11_mpa: float, mc: float, depth_mm: float, feed_mm: float, lead_rad: float = 0.5 * math.pi) -> float:
    """Cutting force of a boring edge: kc1.1·b·h^(1−mc), b = ap/sin κ, h = f·sin κ, N. Range: ap > nose radius."""
    chip = feed_mm * math.sin(lead_rad)
    return kc_mpa(kc11_mpa, mc, chip) * depth_mm * feed_mm


def ream_torque_n_mm(
    kc11_mpa: float, mc: float, teeth: int, feed_mm: float, diameter_mm: float, hole_mm: float
) -> float:
    """Torque of a reamer as a core drill with chip f/z: kc(f/z)·f·(D² − d²)/8, N·mm. Derived.

    Lower bound: margins rub, and the chips are thinner than the range of kc1.1 (h < 0.05 mm).
    """
    return core_drill_torque_n_mm(kc_mpa(kc11_mpa, mc, feed_mm / teeth), feed_mm, diameter_mm, hole_mm)


def tap_torque_n_mm(kc: float, pitch_mm: float, diameter_mm: float) -> float:
    """Cutting tap, short form kc·P²·d/8, N·mm (kc 2600 tempered steel, 3200 austenitic, 800/680 aluminium).

    Source: a tap maker's page. kc also 1100/720 for copper alloys, long/short chip. Agrees with `tap_triangle_n_mm`
    within 12 % for M10 in steel.
    """
    return kc * pitch_mm**2 * diameter_mm / 8.0


def tap_triangle_n_mm(
    kc: float, factor: float, diameter_mm: float, hole_mm: float, flank_rad: float = math.radians(30.0)
) -> float:
    """Cutting tap, triangle form tan(flank)·kc·K·(D − Do)²·(D + 2·Do)/24, N·mm; Do the tapping hole.

    kc Ck45 3900, 42CrMo4 3600, X6CrNi18-10 4200, CuZn40 2300, AlSi8Cu3 1300; K spiral flute 1.15 steel, 1.05 aluminium,
    spiral point 0.95/0.80. Source: a tap maker's catalogue, p. 640.
    """
    return math.tan(flank_rad) * kc * factor * (diameter_mm - hole_mm) ** 2 * (diameter_mm + 2.0 * hole_mm) / 24.0


def form_tap_torque_n_mm(cutting_tap: float) -> tuple[float, float]:
    """(low, high) torque of a form tap: 2 … 3 times the cutting tap, N·mm. Source: a tap maker's catalogue."""
    return 2.0 * cutting_tap, 3.0 * cutting_tap
