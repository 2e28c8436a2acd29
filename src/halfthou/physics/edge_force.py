"""Milling forces of the linear-edge model: force per length = cutting coefficient times chip plus edge coefficient.

h = c·sin φ; per length dz: dFt = (Ktc·h + Kte)·dz, dFr, dFa alike; on the tool dFx = −dFt·cos φ − dFr·sin φ,
dFy = +dFt·sin φ − dFr·cos φ, dFz = dFa. The helix lags: local angle = φ − (2·tan β/D)·z. All integrals are closed.
Source: Y. Altintas, Manufacturing Automation (2012), sec. 2.8 (form from memory); coefficient sets: review in Chin. J.
Mech. Eng. (2021), doi 10.1186/s10033-021-00536-9, table 5 (read; its edge columns are headed N·mm, a misprint for N/mm).
Range: sharp-to-normal wear, h about 0.02 … 0.3 mm, equal pitch, no runout. Sets for one alloy differ by a factor 2.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.physics.chip import Arc

F8 = NDArray[np.float64]
TURN = 2.0 * math.pi


@dataclass(frozen=True, slots=True, kw_only=True)
class EdgeCoefficients:
    """Cutting (MPa) and edge (N/mm) coefficients, tangential, radial, axial; `band` the relative band they carry."""

    ktc_mpa: float
    krc_mpa: float
    kac_mpa: float = 0.0
    kte_n_per_mm: float = 0.0
    kre_n_per_mm: float = 0.0
    kae_n_per_mm: float = 0.0
    name: str = ""
    source: str = ""
    band: float = 0.30


def _set(name: str, where: str, *six: float) -> EdgeCoefficients:
    return EdgeCoefficients(
        ktc_mpa=six[0], krc_mpa=six[1], kac_mpa=six[2], kte_n_per_mm=six[3], kre_n_per_mm=six[4], kae_n_per_mm=six[5],
        name=name, source=where,
    )  # fmt: skip


_REVIEW = "Chin. J. Mech. Eng. (2021) 10.1186/s10033-021-00536-9, table 5, row of its reference "
#: Axial NaN = not given by the source: no number, not zero.
COEFFICIENTS: tuple[EdgeCoefficients, ...] = (
    _set("Al7075, carbide, dry", _REVIEW + "47", 1319.41, 788.83, 48.75, 19.65, 26.77, 2.05),
    _set("Al7075-T6, carbide, dry", _REVIEW + "190", 767.01, 168.8, 222.0, 27.7, 26.6, 0.7),
    _set("Al7075-T6, carbide, dry", _REVIEW + "160", 600.46, 180.96, math.nan, 17.9, 20.42, math.nan),
    _set("Al6061-T6, carbide, dry (outlier)", _REVIEW + "160", 243.77, 113.5, math.nan, 7.53, 7.83, math.nan),
    _set("Al6082-T6, carbide, dry", _REVIEW + "189", 631.0, 99.0, 273.0, 13.0, 10.0, 2.8),
    _set("Al7075, high-speed steel, dry", _REVIEW + "156", 951.365, 262.597, 323.33, 11.115, 11.314, 1.105),
    _set("Ti-6Al-4V, carbide, helix 30°", "Altintas (2012), from memory", 1825.0, 770.0, 735.0, 29.7, 55.7, 1.8),
)


def swept(k: EdgeCoefficients, feed_mm: float, angle: F8) -> F8:
    """Antiderivatives over φ of the force per length: f8 (n, 4) for x, y, z (N·rad/mm) and tangential (same)."""
    cos, sin, cos2, sin2 = np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)
    quarter = 0.25 * feed_mm
    flat = 2 * angle - sin2
    x = quarter * (k.ktc_mpa * cos2 - k.krc_mpa * flat) - k.kte_n_per_mm * sin + k.kre_n_per_mm * cos
    y = quarter * (k.ktc_mpa * flat + k.krc_mpa * cos2) - k.kte_n_per_mm * cos - k.kre_n_per_mm * sin
    z = -k.kac_mpa * feed_mm * cos + k.kae_n_per_mm * angle
    t = -k.ktc_mpa * feed_mm * cos + k.kte_n_per_mm * angle
    return np.stack([x, y, z, t], axis=-1)


def per_length(k: EdgeCoefficients, feed_mm: float, angle: F8) -> F8:
    """Force per length of edge at φ inside the cut: f8 (n, 4) x, y, z, tangential, N/mm."""
    cos, sin = np.cos(angle), np.sin(angle)
    h = feed_mm * sin
    ft, fr = k.ktc_mpa * h + k.kte_n_per_mm, k.krc_mpa * h + k.kre_n_per_mm
    return np.stack([-ft * cos - fr * sin, ft * sin - fr * cos, k.kac_mpa * h + k.kae_n_per_mm, ft], axis=-1)


def mean_force_n(k: EdgeCoefficients, teeth: int, depth_mm: float, feed_mm: float, arcs: Sequence[Arc]) -> F8:
    """Mean force (x, y, z) over a turn, N, f8 (3,): N·a/(2π)·[G]; independent of the helix. Several arcs add.

    Range: 0 ≤ φ ≤ π in every arc (h ≥ 0). Check: closed form against time integration in the published cases.
    """
    total = np.zeros(4)
    for start, end in arcs:
        low, high = swept(k, feed_mm, np.array([start, end]))
        total += high - low
    mean: F8 = (teeth * depth_mm / TURN * total)[:3]
    return mean


def mean_torque_n_mm(
    k: EdgeCoefficients, teeth: int, depth_mm: float, feed_mm: float, diameter_mm: float, arcs: Sequence[Arc]
) -> float:
    """Mean torque N·a/(2π)·[Ktc·c·(cos st − cos ex) + Kte·(ex − st)]·D/2, N·mm."""
    total = sum(k.ktc_mpa * feed_mm * (math.cos(s) - math.cos(e)) + k.kte_n_per_mm * (e - s) for s, e in arcs)
    return teeth * depth_mm / TURN * total * 0.5 * diameter_mm


def forces_n(
    k: EdgeCoefficients, teeth: int, depth_mm: float, feed_mm: float, diameter_mm: float, helix_rad: float,
    arcs: Sequence[Arc], turn_rad: F8,
) -> F8:  # fmt: skip
    """Forces at spindle angles `turn_rad` f8 (n,): f8 (n, 4) Fx, Fy, Fz in N and torque in N·mm.

    At angle t the tip of flute j stands at t + 2πj/N, its point at height z at that minus (2·tan β/D)·z. The flute's
    angle range is cut with every arc and the antiderivative taken between the ends: exact for any helix and depth.
    A flute that wraps round more than one turn meets an arc several times; all are counted.
    """
    lag = 2.0 * math.tan(abs(helix_rad)) / diameter_mm
    span = lag * depth_mm
    out = np.zeros((turn_rad.shape[0], 4))
    for flute in range(teeth):
        top = np.mod(turn_rad + TURN * flute / teeth, TURN)
        for start, end in arcs:
            for wrap in range(-1, int(span / TURN) + 2):
                high = np.clip(top + TURN * wrap, start, end)
                low = np.clip(top + TURN * wrap - span, start, end)
                out += _flute(k, feed_mm, depth_mm, lag, top + TURN * wrap, low, high, (start, end))
    out[:, 3] *= 0.5 * diameter_mm
    return out


def _flute(
    k: EdgeCoefficients, feed_mm: float, depth_mm: float, lag: float, top: F8, low: F8, high: F8, arc: Arc
) -> F8:
    """Force of one flute between φ low and high; by the mean angle where the lag is too small to divide by."""
    if lag * depth_mm < 1e-7:
        inside = (top >= arc[0]) & (top <= arc[1])
        return np.where(inside[:, None], depth_mm * per_length(k, feed_mm, top), 0.0)
    cut = (swept(k, feed_mm, high) - swept(k, feed_mm, low)) / lag
    return np.where((high > low)[:, None], cut, 0.0)


def largest(
    k: EdgeCoefficients, teeth: int, depth_mm: float, feed_mm: float, diameter_mm: float, helix_rad: float,
    arcs: Sequence[Arc], samples: int = 1440,
) -> dict[str, float]:  # fmt: skip
    """Largest |Fx|, |Fy|, |Fz|, in-plane resultant, resultant (N) and torque (N·mm) over a turn, with extremes.

    Keys: fx, fy, fz, fxy, f, torque (largest size) and fx_low, fx_high, … (signed extremes). Sampled over one tooth
    pitch with the kinks (flute ends entering and leaving) among the samples, then refined around each extreme to 1e-9.
    """
    pitch = TURN / teeth
    span = 2.0 * math.tan(abs(helix_rad)) / diameter_mm * depth_mm
    kinks = [angle + lift for arc in arcs for angle in arc for lift in (0.0, span)]
    near = [kink + side for kink in kinks for side in (-1e-9, 0.0, 1e-9)]
    grid = np.sort(np.mod(np.concatenate([np.arange(samples) * pitch / samples, np.array(near)]), pitch))
    columns = ("fx", "fy", "fz", "torque", "fxy", "f")

    def table(angles: F8) -> F8:
        rows = forces_n(k, teeth, depth_mm, feed_mm, diameter_mm, helix_rad, arcs, angles)
        flat = np.hypot(rows[:, 0], rows[:, 1])
        return np.column_stack([rows, flat, np.hypot(flat, rows[:, 2])])

    rows = table(grid)
    found: dict[str, float] = {}
    for column, name in enumerate(columns):
        for label, sign in (("low", -1.0), ("high", 1.0)):
            best = int(np.argmax(sign * rows[:, column]))
            low, high = grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)]
            value = sign * rows[best, column]
            for _ in range(6):
                fine = np.linspace(low, high, 11)
                inner = sign * table(fine)[:, column]
                at = int(np.argmax(inner))
                value = max(value, float(inner[at]))
                low, high = fine[max(at - 1, 0)], fine[min(at + 1, 10)]
            found[f"{name}_{label}"] = sign * float(value)
        found[name] = max(abs(found[f"{name}_low"]), abs(found[f"{name}_high"]))
    return found


def identify(mean_n: F8, feed_mm: F8, teeth: int, depth_mm: float, arc: Arc) -> EdgeCoefficients:
    """Coefficients from mean forces f8 (n, 3) measured at feeds f8 (n,), n ≥ 2 different feeds, one arc: least squares.

    Each mean force is linear in the feed; slopes give Ktc, Krc, Kac, intercepts the edge values. Needs an arc in which
    the two in-plane equations are independent (a slot or any wide arc), else LinAlgError from numpy.
    """
    unit = np.eye(6)
    columns = []
    for row in unit:
        k = EdgeCoefficients(
            ktc_mpa=row[0],
            krc_mpa=row[1],
            kac_mpa=row[2],
            kte_n_per_mm=row[3],
            kre_n_per_mm=row[4],
            kae_n_per_mm=row[5],
        )
        columns.append(np.concatenate([mean_force_n(k, teeth, depth_mm, float(c), [arc]) for c in feed_mm]))
    solved, _, rank, _ = np.linalg.lstsq(np.column_stack(columns), mean_n.reshape(-1), rcond=None)
    if rank < 6:
        raise np.linalg.LinAlgError("the mean forces do not determine six coefficients")
    return EdgeCoefficients(
        ktc_mpa=float(solved[0]), krc_mpa=float(solved[1]), kac_mpa=float(solved[2]),
        kte_n_per_mm=float(solved[3]), kre_n_per_mm=float(solved[4]), kae_n_per_mm=float(solved[5]),
    )  # fmt: skip
