"""Tolerance stacks: worst case, root sum square and its inflated forms, nonlinear stacks, allocation, fits as chances.

A stack is y = sum a_i x_i; each part has a tolerance ±t_i and a sensitivity a_i (±1 in a plain chain).
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import Vec, positive, vec

BENDER_RATIO = 1.5  # Bender 1962


def _weighted(tolerances: ArrayLike, sensitivities: ArrayLike | None) -> Vec:
    """a_i t_i; sensitivities default to 1."""
    t = vec(tolerances)
    a = np.ones(t.size) if sensitivities is None else vec(sensitivities)
    if a.size != t.size:
        raise CannotAnswer("every tolerance needs its sensitivity")
    if np.any(t < 0):
        raise CannotAnswer("a tolerance cannot be below zero")
    return a * t


def worst(tolerances: ArrayLike, sensitivities: ArrayLike | None = None) -> float:
    """Sum |a_i| t_i: nothing lies beyond, if every part is good.

    >>> round(worst([0.1] * 10), 9)
    1.0
    """
    return float(np.sum(np.abs(_weighted(tolerances, sensitivities))))


def rss(tolerances: ArrayLike, sensitivities: ArrayLike | None = None) -> float:
    """sqrt(sum (a_i t_i)^2): parts independent, centred, all with the same Cp; the stack then has that Cp too."""
    return float(np.linalg.norm(_weighted(tolerances, sensitivities)))


def inflated(tolerances: ArrayLike, sensitivities: ArrayLike | None = None, factor: float = BENDER_RATIO) -> float:
    """factor * RSS, 1.5 by custom for parts that drift.

    Source: Bender 1962.  Check: published area 6 (0.2194).
    """
    return factor * rss(tolerances, sensitivities)


def mean_shift(tolerances: ArrayLike, shift_ratio: ArrayLike, sensitivities: ArrayLike | None = None) -> float:
    """Sum f a t + sqrt(sum ((1 - f) a t)^2): f of each tolerance may be used up by an off-centre mean.

    shift_ratio    f, one number or one a part, 0 (RSS) ... 1 (worst case)
    Source: Greenwood & Chase 1987.
    """
    w = np.abs(_weighted(tolerances, sensitivities))
    f = np.broadcast_to(np.asarray(shift_ratio, dtype=np.float64), w.shape)
    if np.any((f < 0) | (f > 1)):
        raise CannotAnswer("the shift must lie in 0 ... 1 of the tolerance")
    return float(np.sum(f * w) + np.linalg.norm((1.0 - f) * w))


def nominal(lengths: ArrayLike, signs: ArrayLike | None = None) -> float:
    """Sum of signed nominal lengths."""
    x = vec(lengths)
    return float(x.sum() if signs is None else x @ vec(signs))


def derivatives(model: Callable[[Vec], float], at: ArrayLike, step_ratio: float = 1e-4) -> Vec:
    """Sensitivities of a nonlinear stack: central differences over h and h / 2, (4 D(h/2) - D(h)) / 3.

    step_ratio    h over the size of the input; the error falls with h^4
    """
    x = vec(at)
    out = np.empty(x.size)
    for i in range(x.size):
        h = step_ratio * max(abs(float(x[i])), 1e-3)
        wide, fine = (_slope(model, x, i, step) for step in (h, 0.5 * h))
        out[i] = (4.0 * fine - wide) / 3.0
    return out


def _slope(model: Callable[[Vec], float], x: Vec, i: int, h: float) -> float:
    """Central difference in one input."""
    up, down = x.copy(), x.copy()
    up[i] += h
    down[i] -= h
    return float((model(up) - model(down)) / (up[i] - down[i]))


def clutch_angle_rad(hub_half: float, roller_radius: float, ring_radius: float) -> float:
    """Contact angle of a one-way roller clutch: acos((a + c) / (e - c)), a nonlinear stack for checks.

    Source: Fortini 1967; Chase (from memory).  Check: published area 6 (7.018 deg).
    """
    ratio = (hub_half + roller_radius) / (ring_radius - roller_radius)
    if abs(ratio) > 1.0:
        raise CannotAnswer("the roller does not touch hub and ring at once")
    return math.acos(ratio)


def allocation_scale(tolerances: ArrayLike, target: float, sensitivities: ArrayLike | None = None) -> float:
    """Factor on all tolerances that makes their RSS equal the target (equal precision)."""
    return positive(target, "target") / positive(rss(tolerances, sensitivities), "stack")


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Normal law of a clearance: unit of the inputs; negative is interference."""

    mean: float
    std: float

    def below(self, limit: float) -> float:
        """Chance of a clearance below a limit; below(0) is the chance of interference."""
        return float(special.ndtr((limit - self.mean) / self.std))


def gap(hole_mean: float, hole_std: float, shaft_mean: float, shaft_std: float) -> Gap:
    """Clearance of hole and shaft drawn independently: P(interference) = Phi((mu_s - mu_h) / sqrt(s_h^2 + s_s^2))."""
    return Gap(mean=hole_mean - shaft_mean, std=positive(math.hypot(hole_std, shaft_std), "spread"))


def gap_of_zones(
    hole_low: float, hole_high: float, shaft_low: float, shaft_high: float, cp: float = 1.0
) -> Gap:  # fmt: skip
    """The same with both parts centred in their zones, sigma = width / (6 Cp).

    Check: published area 6 (25 H7/g6: 24.0 and 4.116 µm), simulation.
    """
    six = 6.0 * positive(cp, "Cp")
    return gap(
        0.5 * (hole_low + hole_high), (hole_high - hole_low) / six,
        0.5 * (shaft_low + shaft_high), (shaft_high - shaft_low) / six,
    )  # fmt: skip


def centre_distance(position_dia: float, bores: int = 2) -> tuple[float, float]:
    """(worst, RSS) ± tolerance of the distance of bores that each may lie anywhere within a position zone.

    Each axis may move ± half the zone along the line of centres.
    """
    half = 0.5 * position_dia
    return bores * half, math.sqrt(bores) * half
