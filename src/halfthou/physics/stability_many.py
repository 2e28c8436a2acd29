"""Zero-order stability limits of many cuts at once: lobes, intervals over uncertain dynamics, charts.

Same method and range as `stability` (there the source), for tools whose tip moves alike in both directions: then the two
eigenvalues are the response G times two constants of the arc and only one complex response is needed. Crossings of the
phase are found on a grid that is dense beside each mode and straightened between grid points: within 0.5 % of
`limit_depth_mm` (tests/laws/test_stability_many.py). Not in it: process damping at low speed, edges that rub, runout.
"""

import math

import numpy as np
from numpy.typing import NDArray

F8 = NDArray[np.float64]
C16 = NDArray[np.complex128]
AT_ONCE = 400_000  # elements of one work array


def frequency_grid(modes: F8) -> F8:
    """Chatter frequencies to look at, rad/s, for modes f8 (k, 3) (Hz, N/mm, damping ratio): dense beside each mode."""
    away = np.concatenate([np.geomspace(1e-4, 0.12, 130), np.linspace(0.13, 2.0, 60)])
    parts = []
    for hertz, _, _ in modes:
        own = 2 * math.pi * hertz
        parts += [own * (1 + away), own, own * (1 - away[away < 0.95])]
    return np.unique(np.hstack(parts))


def constants(ratio: F8, arc: F8) -> C16:
    """The two constants m c16 (n, 2) of arcs f8 (n, 2) rad with radial shares f8 (n,): 1/Λ = m·G.

    Roots of m² + (αxx + αyy)·m + (αxx·αyy − αxy·αyx), the mean directional coefficients of `stability.directions`.
    """

    def at(p: F8) -> tuple[F8, F8, F8, F8]:
        c, s = np.cos(2 * p), np.sin(2 * p)
        return (
            0.5 * (c - 2 * ratio * p + ratio * s), 0.5 * (-s - 2 * p + ratio * c),
            0.5 * (-s + 2 * p + ratio * c), 0.5 * (-c - 2 * ratio * p - ratio * s),
        )  # fmt: skip

    xx, xy, yx, yy = (b - a for a, b in zip(at(arc[:, 0]), at(arc[:, 1]), strict=True))
    total, product = xx + yy, xx * yy - xy * yx
    root = np.sqrt((total * total - 4 * product).astype(np.complex128))
    return np.stack([-0.5 * (total + root), -0.5 * (total - root)], axis=1)


def many_limits(modes: F8, factors: F8, teeth: int, ktc_mpa: F8, ratio: F8, arc: F8, rpm: F8) -> tuple[F8, F8, F8]:
    """(limit depth mm, its chatter frequency Hz, least limit over all speeds mm), each f8 (n,); inf where nothing chatters.

    modes f8 (k, 3): (Hz, N/mm, damping ratio), alike in both directions; factors f8 (n, 3) on each of the three, the same
    for all modes of a cut; ktc_mpa, ratio (Krc/Ktc), rpm f8 (n,); arc f8 (n, 2) from entry to exit, rad.
    """
    n = len(rpm)
    grid = frequency_grid(modes)
    limit, hertz, least = np.full(n, np.inf), np.full(n, np.nan), np.full(n, np.inf)
    both = constants(ratio, arc)
    step = max(1, AT_ONCE // len(grid))
    for first in range(0, n, step):
        some = slice(first, min(first + step, n))
        g = _responses(modes, factors[some], grid)
        omega = grid[None, :] * factors[some, :1]
        period = 60.0 / (teeth * rpm[some])
        for branch in (0, 1):
            gain = g * both[some, branch][:, None]
            soft = -gain.real * (teeth * ktc_mpa[some] / (2 * math.pi))[:, None]  # 1/depth where positive
            least[some] = np.minimum(least[some], 1.0 / np.maximum(soft.max(axis=1), 1e-300))
            phase = math.pi - 2 * np.arctan2(-gain.imag * np.sign(gain.real), np.abs(gain.real))
            lag = np.remainder(omega * period[:, None] - phase + math.pi, 2 * math.pi) - math.pi
            a, b = lag[:, :-1], lag[:, 1:]
            crossing = (a * b <= 0) & (np.abs(a - b) < math.pi) & (soft[:, :-1] > 0) & (soft[:, 1:] > 0)
            share = np.where(crossing, a / np.where(a == b, 1.0, a - b), 0.0)
            there = np.where(crossing, soft[:, :-1] + share * (soft[:, 1:] - soft[:, :-1]), 0.0)
            k = np.argmax(there, axis=1)
            row = np.arange(len(k))
            depth = 1.0 / np.maximum(there[row, k], 1e-300)
            better = (there[row, k] > 0) & (depth < limit[some])
            at = omega[row, k] + share[row, k] * (omega[row, k + 1] - omega[row, k])
            limit[some] = np.where(better, depth, limit[some])
            hertz[some] = np.where(better, at / (2 * math.pi), hertz[some])
    return limit, hertz, np.where(least > 1e290, np.inf, least)


def _responses(modes: F8, factors: F8, grid: F8) -> C16:
    """G c16 (n, grid): the grid scales with each cut's frequency factor, so that it stays dense beside the modes."""
    total = np.zeros((len(factors), len(grid)), dtype=np.complex128)
    for hertz, stiffness, damping in modes:
        r = grid / (2 * math.pi * hertz)
        total += 1.0 / (stiffness * (1 - r * r + 2j * np.outer(factors[:, 2] * damping, r)))
    return np.asarray(total / factors[:, 1:2])


def rayleigh_mass_kg(masses_kg: F8, shape: F8) -> float:
    """Mass that, at the tip, moves like the whole tool: Σ m·(y/y_tip)², shape = deflection under a tip force over the tip's.

    Rayleigh's method with the static shape: the frequency comes out a little high (1.5 % for a plain cantilever).
    """
    return float(np.sum(masses_kg * shape * shape))


def hertz_of(stiffness_n_per_mm: float, mass_kg: float) -> float:
    """Natural frequency of a mass on a spring, Hz."""
    return math.sqrt(stiffness_n_per_mm * 1000.0 / mass_kg) / (2 * math.pi)
