"""Specific cutting force, unit power, shear-plane forces, and the torque and power that follow from them.

kc of the chip-thickness power law: Kienzle, values recalled (from memory) and compared with printed tables.
Every kc value scatters: maker tables of one alloy differ by a factor of about 1.3, so a force from them carries ±30 %.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

#: Relative band that a force from handbook coefficients carries at least (spread of published sets is a factor 2).
FORCE_BAND = 0.30
#: One horsepower (550 ft·lbf/s) in watts.
HP_W = 745.699871582


@dataclass(frozen=True, slots=True, kw_only=True)
class SpecificForce:
    """kc1.1 (MPa, at h = 1 mm) and exponent mc of kc = kc1.1·h^(−mc), with the band of kc1.1 and its source."""

    name: str
    kc11_mpa: float
    mc: float
    low_mpa: float
    high_mpa: float
    source: str


_MEMORY = "common table of kc1.1 and mc, from memory"
_CHECKED = "common table of kc1.1 and mc, from memory; agrees within 4 % with a chuck maker's printed table (p. 43)"
_MAKERS = "tool makers' group values, from memory"


def _row(name: str, low: float, high: float, mc: float, source: str) -> SpecificForce:
    return SpecificForce(name=name, kc11_mpa=0.5 * (low + high), mc=mc, low_mpa=low, high_mpa=high, source=source)


#: Chips 0.05 … 2.5 mm; positive rake about 6°, vc about 100 m/min (steel), sharp edge.
SPECIFIC_FORCES: tuple[SpecificForce, ...] = (
    _row("E295", 1990, 1990, 0.26, _CHECKED),
    _row("E335", 2110, 2110, 0.17, _CHECKED),
    _row("C45", 2220, 2220, 0.14, _MEMORY),
    _row("C60", 2130, 2130, 0.18, _MEMORY),
    _row("16MnCr5", 2100, 2100, 0.26, _CHECKED),
    _row("18CrNi8", 2260, 2260, 0.30, _CHECKED),
    _row("42CrMo4", 2500, 2500, 0.26, _CHECKED),
    _row("austenitic stainless 304/316", 1800, 2350, 0.21, _MEMORY),
    _row("GG25", 1160, 1160, 0.26, _MEMORY),
    _row("aluminium 6061", 600, 700, 0.25, _MAKERS),
    _row("aluminium 7075", 750, 850, 0.25, _MAKERS),
    _row("Ti-6Al-4V", 1400, 1500, 0.22, _MEMORY),
    _row("brass CuZn39Pb3", 500, 780, 0.18, _MEMORY),
)


def kc_mpa(kc11_mpa: float, mc: float, chip_mm: float) -> float:
    """Specific cutting force kc1.1·h^(−mc), MPa; h chip thickness in mm (the law needs mm). Kienzle, from memory."""
    return kc11_mpa * float(chip_mm ** (-mc))


def edge_force_n(kc11_mpa: float, mc: float, width_mm: float, chip_mm: float) -> float:
    """Cutting force of one edge kc1.1·b·h^(1−mc), N; b chip width, h chip thickness, mm. Kienzle, from memory."""
    return kc11_mpa * width_mm * float(chip_mm ** (1.0 - mc))


def kienzle_fit(chip_mm: Sequence[float], kc: Sequence[float]) -> tuple[float, float]:
    """(kc1.1 MPa, mc) by least squares of log kc on log h; at least two different h, all positive."""
    slope, level = np.polyfit(np.log(np.asarray(chip_mm)), np.log(np.asarray(kc)), 1)
    return float(math.exp(level)), float(-slope)


def rake_factor(rake_rad: float, reference_rad: float = 0.0, per_degree: float = 0.015) -> float:
    """Change of kc with rake: 1 − 1…1.5 % per degree above the reference rake (handbook practice, from memory)."""
    return 1.0 - per_degree * math.degrees(rake_rad - reference_rad)


def milling_mean_power_w(
    kc11_mpa: float, mc: float, feed_mm: float, depth_mm: float, diameter_mm: float, arc: tuple[float, float],
    teeth: int, speed_rpm: float,
) -> float:  # fmt: skip
    """Mean cutting power of side milling by integrating kc1.1·ap·h^(1−mc) over the contact arc, W (straight edge).

    P = z·ω/(2π)·(D/2)·kc1.1·ap·fz^(1−mc)·∫ sin^(1−mc) φ dφ. The shortcut kc(hm)·Q lies about 4 % above (mc 0.25).
    """
    start, end = arc
    nodes, weights = np.polynomial.legendre.leggauss(200)
    # φ = start + (end − start)·(1 − cos πu)/2 makes the ends smooth, where sin^(1−mc) is not
    u = 0.5 * (nodes + 1.0)
    angle = start + (end - start) * 0.5 * (1.0 - np.cos(math.pi * u))
    pace = (end - start) * 0.5 * math.pi * np.sin(math.pi * u)
    integral = float(np.sum(0.5 * weights * pace * np.abs(np.sin(angle)) ** (1.0 - mc)))
    force_mm = kc11_mpa * depth_mm * float(feed_mm ** (1.0 - mc)) * integral * 0.5 * diameter_mm
    return teeth * speed_rpm / 60.0 * force_mm / 1000.0


def removal_mm3_per_s(depth_mm: float, width_mm: float, feed_mm_per_s: float) -> float:
    """Removal rate of milling ap·ae·vf, mm³/s."""
    return depth_mm * width_mm * feed_mm_per_s


def turning_removal_mm3_per_s(outer_mm: float, inner_mm: float, feed_mm: float, speed_rpm: float) -> float:
    """Removal rate of turning from diameter Do to Df: π/4·(Do² − Df²)·f·n, mm³/s (f mm per turn)."""
    return 0.25 * math.pi * (outer_mm**2 - inner_mm**2) * feed_mm * speed_rpm / 60.0


def drilling_removal_mm3_per_s(diameter_mm: float, feed_mm: float, speed_rpm: float) -> float:
    """Removal rate of a drill into the solid: π/4·D²·f·n, mm³/s (f mm per turn)."""
    return turning_removal_mm3_per_s(diameter_mm, 0.0, feed_mm, speed_rpm)


def power_w(kc: float, removal: float) -> float:
    """Cutting power kc·Q, W; kc MPa (= W·s/cm³ = 1e-3 W·s/mm³), Q mm³/s. Book form P[kW] = kc·Q[mm³/min]/60e6."""
    return kc * removal / 1000.0


def motor_power_w(cutting_w: float, efficiency: float) -> float:
    """Power at the motor P/η, W; η 0.80 … 0.90 for direct and geared drives (from memory)."""
    return cutting_w / efficiency


def torque_n_mm(power: float, speed_rpm: float) -> float:
    """Torque from power (W) and speed: M = 60·P/(2π·n), N·mm; P[kW] = M[N·m]·n/9550 is this rounded."""
    return 1000.0 * power * 60.0 / (2.0 * math.pi * speed_rpm)


def power_from_torque_w(torque: float, speed_rpm: float) -> float:
    """Power of a torque (N·mm) at a speed, W."""
    return torque * 2.0 * math.pi * speed_rpm / 60.0 / 1000.0


def force_from_torque_n(torque: float, diameter_mm: float) -> float:
    """Tangential force of a torque (N·mm) at a diameter: 2M/D, N."""
    return 2.0 * torque / diameter_mm


def unit_power_w(kp_mpa: float, removal: float, feed_factor: float = 1.0, wear_factor: float = 1.0) -> float:
    """Power at the cutter Pc = Kp·C·Q·W, W; Kp in MPa (1 kW/(cm³/s) = 1000 MPa), Q mm³/s.

    Source: Machinery's Handbook 31, p. 1147; C 1.00 at 0.3 mm feed, larger for thinner chips; W 1.0 sharp, 1.10
    finish milling and turning, 1.30 drilling, 1.50 … 2.00 heavy (C, W from memory).
    """
    return kp_mpa * feed_factor * wear_factor * removal / 1000.0


#: Kp of Machinery's Handbook 31, p. 1147, sharp tools: (work, HB low, HB high, hp/(in³/min), kW/(cm³/s)).
UNIT_POWERS: tuple[tuple[str, int, int, float, float], ...] = (
    ("plain carbon steel", 80, 100, 0.63, 1.72),
    ("plain carbon steel", 140, 160, 0.74, 2.02),
    ("plain carbon steel", 200, 220, 0.85, 2.32),
    ("free-machining steel", 100, 120, 0.41, 1.12),
    ("free-machining steel", 180, 200, 0.50, 1.36),
    ("alloy steel", 200, 220, 0.72, 1.97),
    ("alloy steel", 280, 300, 0.87, 2.38),
    ("alloy steel", 340, 360, 1.00, 2.73),
)


def energy_law_mpa(level_mpa: float, exponent: float, chip_mm: float) -> float:
    """Specific energy u = U0·t^(−λ), MPa (= 1e-3 J/mm³), t in mm; steel U0 1400 MPa, λ 0.4.

    Source: Ghosh & Mallik, Manufacturing Science, 4.16–4.18 (there P[W] = ν·B·t·vf·1e-4/(6·t1^λ), vf mm/min).
    """
    return level_mpa * float(chip_mm ** (-exponent))


@dataclass(frozen=True, slots=True, kw_only=True)
class Shear:
    """Forces of orthogonal cutting: along the speed, thrust, on the shear plane, resultant (N), shear angle (rad)."""

    cutting_n: float
    thrust_n: float
    shear_n: float
    normal_n: float
    resultant_n: float
    friction_n: float
    rake_normal_n: float
    shear_rad: float
    friction_rad: float


def merchant_rad(rake_rad: float, friction_rad: float) -> float:
    """Shear angle by 2φ + λ − α = 90°, radians. Source: Ghosh & Mallik, Manufacturing Science, 4.3."""
    return 0.5 * (0.5 * math.pi - friction_rad + rake_rad)


def lee_shaffer_rad(rake_rad: float, friction_rad: float) -> float:
    """Shear angle by φ + λ − α = 45°, radians (slip-line solution, from memory)."""
    return 0.25 * math.pi - friction_rad + rake_rad


def ratio_shear_rad(ratio: float, rake_rad: float) -> float:
    """Shear angle from the chip ratio r = t1/t2: tan φ = r·cos α/(1 − r·sin α), radians."""
    return math.atan2(ratio * math.cos(rake_rad), 1.0 - ratio * math.sin(rake_rad))


def shear_strain(shear_rad: float, rake_rad: float) -> float:
    """Shear strain of the chip cot φ + tan(φ − α)."""
    return 1.0 / math.tan(shear_rad) + math.tan(shear_rad - rake_rad)


def orthogonal(
    rake_rad: float, friction_rad: float, chip_mm: float, width_mm: float, shear_mpa: float,
    shear_rad: float | None = None,
) -> Shear:  # fmt: skip
    """Forces of orthogonal cutting from the shear stress on one plane (shear angle by Merchant unless given).

    Fs = w·t·τ/sin φ; R = Fs/cos(φ + λ − α); Fc = R·cos(λ − α); Ft = R·sin(λ − α).
    Source: Ghosh & Mallik, Manufacturing Science, 4.3. Range: sharp edge, continuous chip, one shear plane.
    """
    angle = merchant_rad(rake_rad, friction_rad) if shear_rad is None else shear_rad
    on_plane = width_mm * chip_mm * shear_mpa / math.sin(angle)
    tilt = angle + friction_rad - rake_rad
    resultant = on_plane / math.cos(tilt)
    return Shear(
        cutting_n=resultant * math.cos(friction_rad - rake_rad), thrust_n=resultant * math.sin(friction_rad - rake_rad),
        shear_n=on_plane, normal_n=resultant * math.sin(tilt), resultant_n=resultant,
        friction_n=resultant * math.sin(friction_rad), rake_normal_n=resultant * math.cos(friction_rad),
        shear_rad=angle, friction_rad=friction_rad,
    )  # fmt: skip


def oblique_mpa(
    shear_mpa: float, shear_rad: float, friction_rad: float, rake_rad: float, helix_rad: float,
    flow_rad: float | None = None,
) -> tuple[float, float, float]:  # fmt: skip
    """(Ktc, Krc, Kac) MPa of an oblique edge from orthogonal data; chip flow angle = obliquity unless given (Stabler).

    Armarego's transformation (Budak, Altintas, Armarego, J. Manuf. Sci. Eng. 118 (1996), from memory): with
    c = √(cos²(φ + β − α) + tan²η·sin²β): Ktc = τ/sin φ·(cos(β − α) + tan i·tan η·sin β)/c,
    Krc = τ/(sin φ·cos i)·sin(β − α)/c, Kac = τ/sin φ·(cos(β − α)·tan i − tan η·sin β)/c. For i = 0 it is `orthogonal`.
    """
    flow = helix_rad if flow_rad is None else flow_rad
    bend = shear_rad + friction_rad - rake_rad
    under = math.sqrt(math.cos(bend) ** 2 + (math.tan(flow) * math.sin(friction_rad)) ** 2)
    scale = shear_mpa / (math.sin(shear_rad) * under)
    lean, slip = friction_rad - rake_rad, math.tan(flow) * math.sin(friction_rad)
    tangential = scale * (math.cos(lean) + math.tan(helix_rad) * slip)
    radial = scale * math.sin(lean) / math.cos(helix_rad)
    axial = scale * (math.cos(lean) * math.tan(helix_rad) - slip)
    return tangential, radial, axial


def titanium_oblique_mpa(chip_mm: float, rake_rad: float, helix_rad: float) -> tuple[float, float, float]:
    """(Ktc, Krc, Kac) MPa of Ti-6Al-4V from its orthogonal data at chip thickness h (mm).

    τ 613 MPa, friction angle 19.1° + 0.29·rake°, chip ratio r0·h^a, r0 = 1.755 − 0.028·rake°, a = 0.331 − 0.0082·rake°;
    edge 24 and 43 N/mm. Source: Budak, Altintas, Armarego 1996, from memory. Range: rake 0 … 20°, h 0.01 … 0.1 mm.
    """
    rake = math.degrees(rake_rad)
    friction = math.radians(19.1 + 0.29 * rake)
    ratio = (1.755 - 0.028 * rake) * chip_mm ** (0.331 - 0.0082 * rake)
    return oblique_mpa(613.0, ratio_shear_rad(ratio, rake_rad), friction, rake_rad, helix_rad)
