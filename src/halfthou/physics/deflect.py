"""Bending of slender tools: cantilever, stepped tool, load away from the tip, series stiffness, form error of a wall.

Range: small deflection, tool clamped rigidly at its holder; holder and spindle add in series (spindle.py). E of carbide
580 … 620 GPa, high-speed steel 200 … 210 GPa (from memory); a fluted part bends like a rod of 0.8·D (Kops & Vo, CIRP
Annals 39 (1990), abstract read), which makes it 0.41 times as stiff as the full rod: ±20 % by flute form.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.physics.chip import Arc
from halfthou.physics.edge_force import EdgeCoefficients, forces_n

F8 = NDArray[np.float64]
CARBIDE_MPA = 600e3
STEEL_MPA = 205e3
FLUTE_SHARE = 0.8


def inertia_mm4(diameter_mm: float, bore_mm: float = 0.0) -> float:
    """Second moment of area of a round section: π·(d⁴ − b⁴)/64, mm⁴."""
    return math.pi * (diameter_mm**4 - bore_mm**4) / 64.0


def fluted_mm(diameter_mm: float, share: float = FLUTE_SHARE) -> float:
    """Diameter of the rod that bends like the fluted part: 0.8·D for 2 and 4 flutes (Kops & Vo)."""
    return share * diameter_mm


def rod_stiffness_n_per_mm(diameter_mm: float, length_mm: float, e_mpa: float) -> float:
    """Tip stiffness of a clamped rod: 3·E·I/L³, N/mm."""
    return 3.0 * e_mpa * inertia_mm4(diameter_mm) / length_mm**3


def rod_tip_mm(force_n: float, at_mm: float, length_mm: float, diameter_mm: float, e_mpa: float) -> float:
    """Tip deflection of a clamped rod of length L with the force at distance a from the clamp: F·a²·(3L − a)/(6EI)."""
    return force_n * at_mm**2 * (3.0 * length_mm - at_mm) / (6.0 * e_mpa * inertia_mm4(diameter_mm))


def two_step_tip_mm(
    force_n: float, shank_mm: float, shank_diameter_mm: float, flute_mm: float, flute_diameter_mm: float, e_mpa: float
) -> float:
    """Tip deflection of shank (at the clamp) and flutes (at the tip), mm: F/(3E)·[((L1 + L2)³ − L2³)/I1 + L2³/I2]."""
    whole, tip = (shank_mm + flute_mm) ** 3, flute_mm**3
    stiff, soft = inertia_mm4(shank_diameter_mm), inertia_mm4(flute_diameter_mm)
    return force_n / (3.0 * e_mpa) * ((whole - tip) / stiff + tip / soft)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """A piece of the tool from the clamp outwards: length, bending diameter (0.8·D where fluted), E of its material."""

    length_mm: float
    diameter_mm: float
    e_mpa: float
    bore_mm: float = 0.0


def stepped_mm(steps: Sequence[Step], force_n: float, at_mm: float, seen_mm: float) -> float:
    """Deflection at `seen_mm` from the clamp under a force at `at_mm`, mm: unit-load integral over any steps.

    Each piece: F/(EI)·∫(a − x)·(s − x) dx up to min(a, s), a polynomial, taken exactly. Symmetric in a and s.
    """
    end = min(at_mm, seen_mm)
    total, x = 0.0, 0.0
    for step in steps:
        low, high = x, min(x + step.length_mm, end)
        x += step.length_mm
        if high <= low:
            continue

        def whole(z: float) -> float:
            return at_mm * seen_mm * z - 0.5 * (at_mm + seen_mm) * z * z + z**3 / 3.0

        total += (whole(high) - whole(low)) / (step.e_mpa * inertia_mm4(step.diameter_mm, step.bore_mm))
    return force_n * total


def stepped_stiffness_n_per_mm(steps: Sequence[Step]) -> float:
    """Tip stiffness of a stepped tool, N/mm."""
    length = sum(step.length_mm for step in steps)
    return 1.0 / stepped_mm(steps, 1.0, length, length)


def overhang_factor(ratio: float) -> float:
    """How deflection grows with the overhang: ratio³ (plain rod, same force at the tip)."""
    return ratio**3


@dataclass(frozen=True, slots=True, kw_only=True)
class FormError:
    """Form error of a milled wall along the tool: height, deflection in y (mm), and the part of it into the wall."""

    height_mm: F8
    y_mm: F8
    into_wall_mm: F8


def wall_error_mm(
    k: EdgeCoefficients, teeth: int, depth_mm: float, feed_mm: float, diameter_mm: float, helix_rad: float,
    arc: Arc, stiffness_n_per_mm: float, heights_mm: F8, up: bool,
) -> FormError:  # fmt: skip
    """Static form error of a wall left by peripheral milling: y force over stiffness when each height is generated.

    The point of a flute at height z makes the wall when its local angle is 0 (up-milling) or π (down-milling); the
    spindle then stands at that angle plus (2·tan β/D)·z, so with a helix every height sees another phase of the force.
    `into_wall_mm` > 0 cuts too deep. Derived (theory of Kline and of Budak, from memory; no open numeric table found).
    """
    wall = 0.0 if up else math.pi
    lag = 2.0 * math.tan(abs(helix_rad)) / diameter_mm
    # just inside the cut: at the wall angle itself the tooth is at the end of its arc
    inside = wall + (1e-9 if up else -1e-9)
    rows = forces_n(k, teeth, depth_mm, feed_mm, diameter_mm, helix_rad, [arc], inside + lag * heights_mm)
    y = rows[:, 1] / stiffness_n_per_mm
    return FormError(height_mm=heights_mm, y_mm=y, into_wall_mm=y if up else -y)
