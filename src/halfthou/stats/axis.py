"""Positioning tests of a machine axis (ISO 230-2) and what makes up their uncertainty."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import Vec


@dataclass(frozen=True, slots=True, kw_only=True)
class Positioning:
    """Results of a bidirectional positioning test, all in the unit of the deviations; the letters of the standard."""

    reversal: Vec  # B_i, signed, at each position
    mean_up: Vec
    mean_down: Vec
    s_up: Vec
    s_down: Vec
    b: float  # largest |B_i|
    b_mean: float  # mean B_i
    m: float  # range of the mean bidirectional deviation
    e: float  # systematic deviation, both directions
    e_up: float
    e_down: float
    r: float  # bidirectional repeatability
    r_up: float  # 4 s, largest
    r_down: float
    a: float  # accuracy, both directions
    a_up: float
    a_down: float


def positioning(up: ArrayLike, down: ArrayLike) -> Positioning:
    """Evaluate deviations of m positions by n runs in each direction.

    R_i = max(2 s_up + 2 s_down + |B_i|, 4 s_up, 4 s_down); A = max(mean + 2 s) - min(mean - 2 s).

    up, down    (m, n) deviations, n >= 2 (the standard asks for 5)
    Source: ISO 230-2:2014 (from memory).  Check: published area 3, made data evaluated by independent code.
    """
    x, y = np.asarray(up, dtype=np.float64), np.asarray(down, dtype=np.float64)
    if x.ndim != 2 or y.ndim != 2 or x.shape[0] != y.shape[0] or min(x.shape[1], y.shape[1]) < 2:
        raise CannotAnswer("a positioning test needs two or more runs in each direction at the same positions")
    xm, ym, xs, ys = x.mean(axis=1), y.mean(axis=1), x.std(axis=1, ddof=1), y.std(axis=1, ddof=1)
    b = xm - ym
    middle = 0.5 * (xm + ym)
    both = np.concatenate([xm, ym])
    r_i = np.max([2 * xs + 2 * ys + np.abs(b), 4 * xs, 4 * ys], axis=0)
    high, low = np.concatenate([xm + 2 * xs, ym + 2 * ys]), np.concatenate([xm - 2 * xs, ym - 2 * ys])
    return Positioning(
        reversal=b, mean_up=xm, mean_down=ym, s_up=xs, s_down=ys,
        b=float(np.max(np.abs(b))), b_mean=float(b.mean()), m=float(np.ptp(middle)), e=float(np.ptp(both)),
        e_up=float(np.ptp(xm)), e_down=float(np.ptp(ym)), r=float(r_i.max()), r_up=float(4 * xs.max()),
        r_down=float(4 * ys.max()), a=float(high.max() - low.min()),
        a_up=float((xm + 2 * xs).max() - (xm - 2 * xs).min()), a_down=float((ym + 2 * ys).max() - (ym - 2 * ys).min()),
    )  # fmt: skip


def setup_expanded(contributions: ArrayLike, k: float = 2.0) -> float:
    """U = k sqrt(sum u^2) of the test itself: device, misalignment, temperature, drift of the surroundings.

    Source: ISO/TR 230-9 (from memory).
    """
    return k * math.sqrt(float(np.sum(np.asarray(contributions, dtype=np.float64) ** 2)))
