"""Growth with temperature: parts, scales, spindles, and the uncertainty of a length correction.

Coefficients: C. D. Swyt, J. Res. NIST 99 (1994) for aluminium, steel, silicon (read); brass, austenitic steel and
titanium from a trade article. A coefficient from a table carries about ±10 % for one alloy.
"""

import math

#: Linear expansion, 1/K.
EXPANSION_PER_K = {
    "aluminium": 23.1e-6, "steel": 11.5e-6, "silicon": 2.6e-6, "brass": 19e-6, "austenitic steel": 16e-6,
    "titanium": 8.6e-6,
}  # fmt: skip


def growth_mm(alpha_per_k: float, length_mm: float, warmer_k: float) -> float:
    """Growth α·L·ΔT, mm."""
    return alpha_per_k * length_mm * warmer_k


def scale_error_mm(
    length_mm: float, part_alpha_per_k: float, part_warmer_k: float, scale_alpha_per_k: float, scale_warmer_k: float
) -> float:
    """How much longer a warm part reads on a warm scale than at 20 °C: L·(αp·ΔTp − αs·ΔTs), mm."""
    return length_mm * (part_alpha_per_k * part_warmer_k - scale_alpha_per_k * scale_warmer_k)


def rectangular_u(half_width: float) -> float:
    """Standard uncertainty of a value known within ± half_width, all alike: half_width/√3."""
    return half_width / math.sqrt(3.0)


def correction_u_mm(
    length_mm: float, alpha_per_k: float, alpha_u_per_k: float, warmer_k: float, warmer_u_k: float
) -> float:
    """Standard uncertainty of α·L·ΔT: L·√((ΔT·uα)² + (α·uT)²), mm. Law of propagation, first order."""
    return length_mm * math.hypot(warmer_k * alpha_u_per_k, alpha_per_k * warmer_u_k)


def spindle_growth_mm(final_mm: float, time_constant_s: float, time_s: float) -> float:
    """Spindle growth z∞·(1 − exp(−t/τ)), mm: one time constant, constant speed. Shop figures 15 … 40 µm, 15 … 30 min
    (trade articles, not measured data); ISO 230-3 is the test (from memory)."""
    return final_mm * -math.expm1(-time_s / time_constant_s)


def warm_up_s(final_mm: float, time_constant_s: float, limit_mm: float) -> float:
    """Time until the growth still to come is below `limit_mm`: τ·ln(z∞/limit), s; 0 if it is at once."""
    return max(0.0, time_constant_s * math.log(final_mm / limit_mm))


def time_constant_s(final_mm: float, grown_mm: float, time_s: float) -> float:
    """Time constant from a reading: −t/ln(1 − z/z∞), s; 0 < z < z∞."""
    return -time_s / math.log1p(-grown_mm / final_mm)


def chip_heat_k(power_w: float, share: float, time_s: float, mass_kg: float, heat_j_per_kg_k: float) -> float:
    """Upper bound of a part's warming: share·P·t/(m·c), K, no heat lost. Share to the part 5 … 10 % (from memory)."""
    return share * power_w * time_s / (mass_kg * heat_j_per_kg_k)
