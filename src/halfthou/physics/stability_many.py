"""Zero-order stability limits of many cuts at once: lobes, intervals over uncertain dynamics, charts.

Same method and range as `stability` (there the source), for tools whose tip moves alike in both directions: then the two
eigenvalues are the response G times two constants of the arc and only one complex response is needed. Crossings of the
phase are found on a grid that is dense beside each mode and straightened between grid points: within 0.5 % of
`limit_depth_mm` (tests/laws/test_stability_many.py). Not in it: process damping at low speed, edges that rub, runout.
"""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel

F8 = NDArray[np.float64]
C16 = NDArray[np.complex128]
_AWAY = np.concatenate([np.geomspace(2e-4, 0.12, 90), np.linspace(0.135, 2.0, 40)])
_AROUND = np.sort(np.concatenate([1.0 - _AWAY[_AWAY < 0.95], [1.0], 1.0 + _AWAY]))  # frequencies over a mode's own


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


def many_limits(modes: F8, teeth: int, ktc_mpa: F8, ratio: F8, arc: F8, rpm: F8) -> tuple[F8, F8, F8]:
    """(limit depth mm, its chatter frequency Hz, least limit over all speeds mm), each f8 (n,); inf where nothing chatters.

    modes f8 (n, k, 3): (Hz, N/mm, damping ratio) of each cut, alike in both directions; ktc_mpa, ratio (Krc/Ktc), rpm
    f8 (n,); arc f8 (n, 2) from entry to exit, rad.
    """
    out = np.zeros((len(rpm), 3))
    both = constants(ratio, arc)
    _limits(
        np.ascontiguousarray(modes, dtype=np.float64),
        _AROUND,
        teeth,
        ktc_mpa,
        both.real.copy(),
        both.imag.copy(),
        rpm,
        out,
    )
    return out[:, 0], out[:, 1], out[:, 2]


@kernel
def _limits(modes: F8, around: F8, teeth: int, ktc: F8, real: F8, imag: F8, rpm: F8, out: F8) -> None:
    """Rows of out (n, 3): limit, its Hz, least; real and imag (n, 2): the two constants of each arc."""
    count = modes.shape[1]
    grid = np.empty(count * around.shape[0])
    two = 2.0 * math.pi
    for n in range(rpm.shape[0]):
        for k in range(count):
            for j in range(around.shape[0]):
                grid[k * around.shape[0] + j] = two * modes[n, k, 0] * around[j]
        if count > 1:
            grid.sort()
        period = 60.0 / (teeth * rpm[n])
        scale = teeth * ktc[n] / two
        softest = np.zeros(2)
        lag0 = np.zeros(2)
        soft0 = np.zeros(2)
        most = 0.0
        at = np.nan
        for i in range(grid.shape[0]):
            w = grid[i]
            gr = 0.0
            gi = 0.0
            for k in range(count):
                r = w / (two * modes[n, k, 0])
                a = 1.0 - r * r
                b = 2.0 * modes[n, k, 2] * r
                under = modes[n, k, 1] * (a * a + b * b)
                gr += a / under
                gi -= b / under
            for branch in range(2):
                x = gr * real[n, branch] - gi * imag[n, branch]
                y = gr * imag[n, branch] + gi * real[n, branch]
                soft = -x * scale  # one over the depth where positive
                lag = 0.0
                if soft > 0.0:
                    softest[branch] = max(softest[branch], soft)
                    # κ = −y/x, ε = π − 2·atan κ; the turn ωT − ε to the nearest whole one
                    lag = (w * period - math.pi + 2.0 * math.atan(-y / x) + math.pi) % two - math.pi
                    if (
                        i > 0
                        and soft0[branch] > 0.0
                        and lag * lag0[branch] <= 0.0
                        and abs(lag - lag0[branch]) < math.pi
                    ):
                        share = 0.5
                        if lag != lag0[branch]:
                            share = lag0[branch] / (lag0[branch] - lag)
                        there = soft0[branch] + share * (soft - soft0[branch])
                        if there > most:
                            most = there
                            at = (grid[i - 1] + share * (w - grid[i - 1])) / two
                lag0[branch] = lag
                soft0[branch] = soft
        best = max(softest[0], softest[1])
        out[n, 0] = 1.0 / most if most > 0.0 else np.inf
        out[n, 1] = at
        out[n, 2] = 1.0 / best if best > 0.0 else np.inf


def rayleigh_mass_kg(masses_kg: F8, shape: F8) -> float:
    """Mass that, at the tip, moves like the whole tool: Σ m·(y/y_tip)², shape = deflection under a tip force over the tip's.

    Rayleigh's method with the static shape: the frequency comes out a little high (1.5 % for a plain cantilever).
    """
    return float(np.sum(masses_kg * shape * shape))


def hertz_of(stiffness_n_per_mm: float, mass_kg: float) -> float:
    """Natural frequency of a mass on a spring, Hz."""
    return math.sqrt(stiffness_n_per_mm * 1000.0 / mass_kg) / (2 * math.pi)
