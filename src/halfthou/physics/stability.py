"""Stability of milling against self-excited vibration by the zero-order method, and of single-edge cutting.

Source: Y. Altintas, E. Budak, CIRP Annals 44 (1995) 357 (form from memory; equations read in open code that cites
Altintas, Manufacturing Automation, p. 156). Range: mean cutting-force direction over a tooth passage, so wide arcs and
several teeth; thin arcs with few teeth (interrupted cutting) also lose stability by period doubling, which only
`stability_time` sees: both numbers are shown there. Measured responses make limits uncertain by 10 … 30 %.
"""

import cmath
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.physics.chip import Arc

F8 = NDArray[np.float64]
C16 = NDArray[np.complex128]
Directions = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mode:
    """A vibration mode: G(s) = (α + β·s)/(s² + 2ζω·s + ω²), displacement mm per N; ω rad/s, damping ratio ζ.

    `alpha_per_kg` in mm/(N·s²) and `beta` in mm/(N·s): a plain mode of mass m (kg) has α = 1000/m mm/(N·s²), β = 0.
    """

    omega_rad_per_s: float
    damping: float
    alpha: float
    beta: float = 0.0


def mass_mode(mass_kg: float, hertz: float, damping: float) -> Mode:
    """Mode of a mass on a spring."""
    return Mode(omega_rad_per_s=2 * math.pi * hertz, damping=damping, alpha=1000.0 / mass_kg)


def spring_mode(stiffness_n_per_mm: float, hertz: float, damping: float) -> Mode:
    """Mode of a spring (N/mm) with natural frequency: α = ω²/k."""
    omega = 2 * math.pi * hertz
    return Mode(omega_rad_per_s=omega, damping=damping, alpha=omega * omega / stiffness_n_per_mm)


def residue_mode(hertz: float, damping: float, residue: complex) -> Mode:
    """Mode from its residue r, mm/(N·s) (m/(N·s) times 1000): β = 2·Re r, α = 2·(ζω·Re r − ωd·Im r).

    G = r/(s − p) + r*/(s − p*) with the pole p = −ζω + i·ωd, ωd = ω·√(1 − ζ²).
    """
    omega = 2 * math.pi * hertz
    damped = omega * math.sqrt(1.0 - damping * damping)
    alpha = 2.0 * (damping * omega * residue.real - damped * residue.imag)
    return Mode(omega_rad_per_s=omega, damping=damping, alpha=alpha, beta=2.0 * residue.real)


def response(modes: Sequence[Mode], omega: F8) -> C16:
    """Frequency response Σ G(iω), mm/N, c16 like omega (rad/s); zero without modes."""
    s = 1j * omega
    total = np.zeros(omega.shape, dtype=np.complex128)
    for mode in modes:
        own = mode.omega_rad_per_s
        total += (mode.alpha + mode.beta * s) / (s * s + 2 * mode.damping * own * s + own * own)
    return total


def directions(ratio: float, arc: Arc) -> Directions:
    """Mean directional coefficients (αxx, αxy, αyx, αyy) over a contact arc; ratio Kr = Krc/Ktc.

    Brackets between φ_enter and φ_leave: αxx = ½[cos2φ − 2Kr·φ + Kr·sin2φ], αxy = ½[−sin2φ − 2φ + Kr·cos2φ],
    αyx = ½[−sin2φ + 2φ + Kr·cos2φ], αyy = ½[−cos2φ − 2Kr·φ − Kr·sin2φ]. A slot has αxy = −π, αyx = π.
    """

    def at(p: float) -> F8:
        c, s = math.cos(2 * p), math.sin(2 * p)
        xx, yy = c - 2 * ratio * p + ratio * s, -c - 2 * ratio * p - ratio * s
        return 0.5 * np.array([xx, -s - 2 * p + ratio * c, -s + 2 * p + ratio * c, yy])

    xx, xy, yx, yy = (float(v) for v in at(arc[1]) - at(arc[0]))
    return xx, xy, yx, yy


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """What the limit depends on beside the speed: teeth, Ktc (MPa), Krc/Ktc, contact arc, modes in x (feed) and y."""

    teeth: int
    ktc_mpa: float
    ratio: float
    arc: Arc
    x: tuple[Mode, ...]
    y: tuple[Mode, ...] = ()

    @property
    def mean_teeth(self) -> float:
        """Teeth in the cut on average."""
        return self.teeth * (self.arc[1] - self.arc[0]) / (2 * math.pi)


def limits(cut: Cut, omega: F8) -> tuple[F8, F8]:
    """(limit depth mm, phase ε rad) f8 (n, 2) at chatter frequencies omega (rad/s), both eigenvalues.

    a0·Λ² + a1·Λ + 1 = 0, a0 = Gxx·Gyy·(αxx·αyy − αxy·αyx), a1 = αxx·Gxx + αyy·Gyy; κ = Im Λ/Re Λ;
    a_lim = −2π·Re Λ·(1 + κ²)/(N·Ktc), ε = π − 2·atan κ. Not positive: no chatter at that frequency. With motion in one
    direction only, one eigenvalue is NaN.
    """
    xx, xy, yx, yy = directions(cut.ratio, cut.arc)
    gx, gy = response(cut.x, omega), response(cut.y, omega)
    a0, a1 = gx * gy * (xx * yy - xy * yx), xx * gx + yy * gy
    root = np.sqrt(a1 * a1 - 4 * a0)
    # 1/Λ solves μ² + a1·μ + a0 = 0: stable also for a0 = 0
    mu = np.stack([-0.5 * (a1 + root), -0.5 * (a1 - root)], axis=-1)
    size = np.abs(mu)
    gone = size <= 1e-14 * np.max(size, axis=-1, keepdims=True)
    value = 1.0 / np.where(gone, 1.0, mu)
    value = np.where(gone, np.nan + 0j, value)
    kappa = value.imag / value.real
    depth = -2 * math.pi * value.real * (1 + kappa * kappa) / (cut.teeth * cut.ktc_mpa)
    return depth, math.pi - 2 * np.arctan(kappa)


def _grid(cut: Cut, step_hz: float, top_hz: float | None) -> F8:
    own = [mode.omega_rad_per_s for mode in (*cut.x, *cut.y)]
    top = 2 * math.pi * top_hz if top_hz else 3.0 * max(own)
    low = 0.05 * min(own)
    count = min(int((top - low) / (2 * math.pi * step_hz)), 400_000)
    return np.linspace(low, top, max(count, 1000))


def least_depth_mm(cut: Cut, step_hz: float = 0.5, top_hz: float | None = None) -> tuple[float, float]:
    """(least limit depth over all speeds mm, its chatter frequency Hz); inf if nothing chatters.

    Scanned, then refined by halving the step around the lowest points to 1e-6 of a step.
    """
    omega = _grid(cut, step_hz, top_hz)
    best, at = math.inf, math.nan
    for branch in range(2):
        depth = limits(cut, omega)[0][:, branch]
        open_ = np.where(depth > 0, depth, np.inf)
        if not np.isfinite(open_).any():
            continue
        k = int(np.argmin(open_))
        low, high = omega[max(k - 1, 0)], omega[min(k + 1, len(omega) - 1)]
        for _ in range(20):
            fine = np.linspace(low, high, 9)
            inner = limits(cut, fine)[0]
            inner = np.where(inner > 0, inner, np.inf).min(axis=1)
            m = int(np.argmin(inner))
            if inner[m] < best:
                best, at = float(inner[m]), float(fine[m]) / (2 * math.pi)
            low, high = fine[max(m - 1, 0)], fine[min(m + 1, 8)]
    return best, at


def limit_depth_mm(
    cut: Cut, speed_rpm: float, step_hz: float = 0.25, top_hz: float | None = None
) -> tuple[float, float]:
    """(limit depth mm, chatter frequency Hz) at a speed: the lowest lobe there; (inf, NaN) if nothing chatters.

    A lobe passes where ωc·T = ε + 2kπ (T tooth period). Found as sign changes of that phase between grid points of both
    eigenvalues and refined by halving on the phase: no lookup of the nearest speed, which is 5 % wrong inside a lobe.
    """
    period = 60.0 / (cut.teeth * speed_rpm)
    omega = _grid(cut, step_hz, top_hz)
    depth, phase = limits(cut, omega)
    best, at = math.inf, math.nan
    for branch in range(2):
        lag = np.remainder(omega * period - phase[:, branch] + math.pi, 2 * math.pi) - math.pi
        both = (depth[:-1, branch] > 0) | (depth[1:, branch] > 0)
        crossing = both & (lag[:-1] * lag[1:] <= 0) & (np.abs(lag[:-1] - lag[1:]) < math.pi)
        for k in np.nonzero(crossing)[0]:
            found = _refine(cut, period, branch, float(omega[k]), float(omega[k + 1]))
            if 0 < found[0] < best:
                best, at = found[0], found[1] / (2 * math.pi)
    return best, at


def _refine(cut: Cut, period: float, branch: int, low: float, high: float) -> tuple[float, float]:
    """(depth, omega) where the phase fits, by halving."""

    def lag(omega: float) -> tuple[float, float]:
        depth, phase = limits(cut, np.array([omega]))
        turn = omega * period - float(phase[0, branch])
        return math.remainder(turn, 2 * math.pi), float(depth[0, branch])

    at_low, _ = lag(low)
    for _ in range(50):
        middle = 0.5 * (low + high)
        value, _ = lag(middle)
        if at_low * value <= 0:
            high = middle
        else:
            low, at_low = middle, value
    middle = 0.5 * (low + high)
    value, depth = lag(middle)
    return (depth if abs(value) < 1e-3 else math.inf), middle


def unstable_roots(
    cut: Cut, speed_rpm: float, depth_mm: float, step_hz: float = 0.05, top_hz: float | None = None
) -> int:
    """How many roots of the mean-force system lie right of the imaginary axis: 0 = stable. Check of `limit_depth_mm`.

    Nyquist: turns of det(I − (1 − e^(−iωT))·b·Kt·N/(4π)·A·G) about 0 for ω from 0 up, doubled by symmetry (the modes
    themselves are stable). `top_hz` must lie where |G| is small; default four times the highest mode.
    """
    own = [mode.omega_rad_per_s for mode in (*cut.x, *cut.y)]
    top = 2 * math.pi * top_hz if top_hz else 6.0 * max(own)
    omega = np.linspace(0.0, top, min(int(top / (2 * math.pi * step_hz)), 1_000_000))
    period = 60.0 / (cut.teeth * speed_rpm)
    xx, xy, yx, yy = directions(cut.ratio, cut.arc)
    gain = depth_mm * cut.ktc_mpa * cut.teeth / (4 * math.pi) * (1 - np.exp(-1j * omega * period))
    gx, gy = response(cut.x, omega), response(cut.y, omega)
    value = (1 - gain * xx * gx) * (1 - gain * yy * gy) - gain * gain * xy * yx * gx * gy
    turned = float(np.sum(np.angle(value[1:] / value[:-1])))
    return -round(turned / math.pi)


def lobe_speed_rpm(chatter_hz: float, teeth: int, lobe: int, kappa: float) -> float:
    """Speed of lobe k at a chatter frequency: 60·ωc/(N·(ε + 2kπ)), ε = π − 2·atan κ, κ = Im Λ/Re Λ; rpm."""
    return 60.0 * 2 * math.pi * chatter_hz / (teeth * (math.pi - 2 * math.atan(kappa) + 2 * lobe * math.pi))


def best_speed_rpm(natural_hz: float, teeth: int, lobe: int) -> float:
    """Speed of the stable gap beside lobe k ≥ 1: tooth frequency = natural frequency/k, rpm."""
    return 60.0 * natural_hz / (teeth * lobe)


# ---- one edge: turning, boring, shaping ------------------------------------------------------------------


def edge_limit_mm(kf_mpa: float, real_part: float) -> float:
    """Limit width of a single edge: −1/(2·Kf·Re G), mm; Re G < 0 in mm/N. Classical single-edge theory (open notes)."""
    return -1.0 / (2.0 * kf_mpa * real_part) if real_part < 0.0 else math.inf


def edge_least_mm(stiffness_n_per_mm: float, damping: float, kf_mpa: float, lean_rad: float = 0.0) -> float:
    """Least limit width for one mode: 2·k·ζ·(1 + ζ)/(Kf·cos²θ), mm; θ between mode and chip-thickness direction."""
    return 2.0 * stiffness_n_per_mm * damping * (1.0 + damping) / (kf_mpa * math.cos(lean_rad) ** 2)


def edge_phase_rad(oriented: complex) -> float:
    """Phase ε = 3π + 2ψ between waves on the surface, ψ = arg G of the oriented response at the chatter frequency."""
    return 3.0 * math.pi + 2.0 * cmath.phase(oriented)


def edge_speed_rpm(chatter_hz: float, oriented: complex, lobe: int) -> float:
    """Speed of lobe k of a single edge: 60·fc/(k + ε/2π), rpm."""
    return 60.0 * chatter_hz / (lobe + edge_phase_rad(oriented) / (2 * math.pi))


def oriented_response(modes: Sequence[tuple[Mode, float]], omega: F8) -> C16:
    """Response in the chip direction to the force: Σ uᵢ·Gᵢ, uᵢ the directional factor of mode i; c16, mm/N."""
    total = np.zeros(omega.shape, dtype=np.complex128)
    for mode, factor in modes:
        total += factor * response([mode], omega)
    return total


def edge_least_of_modes_mm(modes: Sequence[tuple[Mode, float]], kf_mpa: float) -> tuple[float, float]:
    """(least limit width mm, its frequency Hz) for several modes: lowest Re of the oriented response, scanned and refined."""
    own = [mode.omega_rad_per_s for mode, _ in modes]
    low, high = 0.05 * min(own), 4.0 * max(own)
    for _ in range(25):
        omega = np.linspace(low, high, 20_001 if high > 2 * low else 41)
        real = oriented_response(modes, omega).real
        k = int(np.argmin(real))
        low, high = float(omega[max(k - 1, 0)]), float(omega[min(k + 1, len(omega) - 1)])
    return edge_limit_mm(kf_mpa, float(real[k])), float(omega[k]) / (2 * math.pi)
