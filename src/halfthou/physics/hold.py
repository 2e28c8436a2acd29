"""Holding the part: friction grip, tipping, screws and bolts, vacuum, squeeze of the part.

Friction is the weak number: dry static aluminium on aluminium 1.05 … 1.35, aluminium on mild steel 0.61 (sliding 0.47)
(university notes); with coolant use 0.15 … 0.25, serrated jaws 0.3 … 0.5 (from memory). Take the low end.
"""

import math

#: (surfaces, low, high, source) of the friction coefficient to hold by.
FRICTION: tuple[tuple[str, float, float, str], ...] = (
    ("smooth jaws, coolant", 0.15, 0.25, "common practice, from memory"),
    ("serrated or knurled jaws", 0.3, 0.5, "common practice, from memory"),
    ("aluminium on mild steel, dry, static", 0.61, 0.61, "university notes"),
    ("aluminium on mild steel, dry, sliding", 0.47, 0.47, "university notes"),
    ("aluminium on aluminium, dry, static", 1.05, 1.35, "university notes"),
)
#: Nut factor K by state of the thread: printed values.
NUT_FACTOR = {"dry or gritty": 0.3, "as received": 0.2, "oiled": 0.15, "extreme-pressure lubricant": 0.10}


def jaw_force_n(along_n: float, up_n: float, friction: float, factor: float = 2.0) -> float:
    """Clamp force against loads in the plane of two jaws: SF·√(F∥² + F↑²)/(2·μ), N; SF 2 … 3 typical (from memory)."""
    return factor * math.hypot(along_n, up_n) / (2.0 * friction)


def held_n(clamp_n: float, friction: float, faces: int = 2) -> float:
    """Load in the plane of the jaws at which the part slips: faces·μ·N, N."""
    return faces * friction * clamp_n


def strap_force_n(load_n: float, friction: float, factor: float = 1.0) -> float:
    """Clamp force of straps on one friction face: SF·F/μ, N. Source: a clamp maker's manual."""
    return factor * load_n / friction


def tipping_force_n(load_n: float, height_mm: float, grip_mm: float, factor: float = 2.0) -> float:
    """Clamp force against tipping out of the jaws: N·g/2 ≥ SF·F·(h + g/2), N.

    g grip depth, h height of the force above the jaws, mm. Derived; the clamp force acts at mid-grip and moves to the edge.
    """
    return factor * load_n * (height_mm + 0.5 * grip_mm) / (0.5 * grip_mm)


def lead_rad(lead_mm: float, mean_mm: float) -> float:
    """Lead angle of a screw: atan(l/(π·dm)), radians."""
    return math.atan2(lead_mm, math.pi * mean_mm)


def friction_rad(friction: float, half_thread_rad: float = 0.0) -> float:
    """Friction angle of a thread: atan(μ/cos(half thread angle)); 0 square, 15° trapezoid, 30° V."""
    return math.atan(friction / math.cos(half_thread_rad))


def screw_torque_n_mm(
    load_n: float, mean_mm: float, lead_mm: float, friction: float, half_thread_rad: float = 0.0,
    collar_friction: float = 0.0, collar_mm: float = 0.0, lower: bool = False,
) -> float:  # fmt: skip
    """Torque to raise (or lower) a load: W·dm/2·tan(φ ± α) + μc·W·rc, N·mm; `collar_mm` is the collar's mean radius.

    Lowering: the load term is W·dm/2·tan(φ − α) and may be negative (the load then helps); the collar term never is.
    Source: Bhandari, Design of Machine Elements, 6.1–6.9; Shigley 8-1 (from memory).
    """
    alpha, phi = lead_rad(lead_mm, mean_mm), friction_rad(friction, half_thread_rad)
    turn = math.tan(phi - alpha) if lower else math.tan(phi + alpha)
    return load_n * 0.5 * mean_mm * turn + collar_friction * load_n * collar_mm


def shigley_torque_n_mm(
    load_n: float, mean_mm: float, lead_mm: float, friction: float, half_thread_rad: float = 0.0,
    collar_friction: float = 0.0, collar_mm: float = 0.0, lower: bool = False,
) -> float:  # fmt: skip
    """The same in Shigley's form, with μ·sec only beside the friction: equal to `screw_torque_n_mm`."""
    rough = friction / math.cos(half_thread_rad)
    if lower:
        turn = (math.pi * rough * mean_mm - lead_mm) / (math.pi * mean_mm + rough * lead_mm)
    else:
        turn = (lead_mm + math.pi * rough * mean_mm) / (math.pi * mean_mm - rough * lead_mm)
    return load_n * 0.5 * mean_mm * turn + collar_friction * load_n * collar_mm


def screw_force_n(
    torque_n_mm: float, mean_mm: float, lead_mm: float, friction: float, half_thread_rad: float = 0.0,
    collar_friction: float = 0.0, collar_mm: float = 0.0,
) -> float:  # fmt: skip
    """Clamp force from the torque on a screw, N: the reverse of `screw_torque_n_mm` (Hibbeler 8-76)."""
    per_newton = screw_torque_n_mm(1.0, mean_mm, lead_mm, friction, half_thread_rad, collar_friction, collar_mm)
    return torque_n_mm / per_newton


def screw_efficiency(load_n: float, lead_mm: float, torque_n_mm: float) -> float:
    """Efficiency of a screw: W·l/(2π·M)."""
    return load_n * lead_mm / (2.0 * math.pi * torque_n_mm)


def locks_itself(mean_mm: float, lead_mm: float, friction: float, half_thread_rad: float = 0.0) -> bool:
    """Whether the screw stays without torque: friction angle > lead angle (collar left out)."""
    return friction_rad(friction, half_thread_rad) > lead_rad(lead_mm, mean_mm)


def collar_radius_mm(outer_mm: float, inner_mm: float, worn: bool = True) -> float:
    """Mean friction radius of a collar from its diameters: (Do + Di)/4 worn in, (Do³ − Di³)/(3(Do² − Di²)) new, mm."""
    if worn:
        return 0.25 * (outer_mm + inner_mm)
    return (outer_mm**3 - inner_mm**3) / (outer_mm**2 - inner_mm**2) / 3.0


def bolt_torque_n_mm(nut_factor: float, preload_n: float, diameter_mm: float) -> float:
    """Tightening torque K·F·d, N·mm; K see NUT_FACTOR. Scatter of the preload ±25 … 30 % (common practice, from memory)."""
    return nut_factor * preload_n * diameter_mm


def stress_area_mm2(diameter_mm: float, pitch_mm: float) -> float:
    """Stress area of a metric thread: π/4·(d − 0.9382·P)², mm². ISO 898-1."""
    return 0.25 * math.pi * (diameter_mm - 0.9382 * pitch_mm) ** 2


def preload_n(area_mm2: float, proof_mpa: float, share: float = 0.7) -> float:
    """Preload at a share of the proof stress (0.70 … 0.75): share·Sp·At, N."""
    return share * proof_mpa * area_mm2


def joint_share(bolt_n_per_mm: float, joint_n_per_mm: float) -> float:
    """Share of an outer load that the bolt takes: kb/(kb + kc). Source: Bhandari 7.17."""
    return bolt_n_per_mm / (bolt_n_per_mm + joint_n_per_mm)


def bolt_load_n(preload: float, outer_n: float, share: float) -> float:
    """Load in the bolt under an outer load: Fi + C·P, N; holds until the joint opens at Fi/(1 − C)."""
    return preload + share * outer_n


def opening_n(preload: float, share: float) -> float:
    """Outer load at which the joint opens: Fi/(1 − C), N."""
    return preload / (1.0 - share)


def strap_lever_n(screw_n: float, to_part_mm: float, to_heel_mm: float) -> float:
    """Force on the part of a strap clamp: screw force·heel arm/(heel arm + part arm), N (arms from the screw). Statics."""
    return screw_n * to_heel_mm / (to_heel_mm + to_part_mm)


def squeeze_mm(force_n: float, length_mm: float, area_mm2: float, e_mpa: float) -> float:
    """Squeeze of a block between jaws N·L/(A·E), mm: an upper bound of the spring-back. Source: university notes."""
    return force_n * length_mm / (area_mm2 * e_mpa)


def pressure_mpa(force_n: float, area_mm2: float) -> float:
    """Contact pressure N/A, MPa; keep below a third of the yield stress (common practice, from memory)."""
    return force_n / area_mm2


def vacuum_n(area_mm2: float, pressure_drop_mpa: float) -> float:
    """Holding force of a vacuum Δp·A, N; Δp at most 0.1 MPa at sea level (common practice 0.07 … 0.09, from memory)."""
    return area_mm2 * pressure_drop_mpa


def vacuum_side_n(area_mm2: float, pressure_drop_mpa: float, friction: float, weight_n: float = 0.0) -> float:
    """Side load a vacuum plate holds by friction: μ·(Δp·A + weight), N, without stops."""
    return friction * (vacuum_n(area_mm2, pressure_drop_mpa) + weight_n)


def wheel_radius_mm(torque_n_mm: float, hand_n: float, hands: int = 1) -> float:
    """Radius of a hand wheel (or length of a lever) for a torque: M/(hands·F), mm. Bhandari 6.8."""
    return torque_n_mm / (hands * hand_n)
