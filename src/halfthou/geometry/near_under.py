"""Lower surface of a moving turned piece over a point, in closed form: the kernels of the stock search.

At height z of the tip the underside of a convex piece over a point ρ away from the axis is z + u(ρ), u convex and
rising with ρ. Along a straight move ρ is convex in the path, so z + u(ρ) is convex too; level moves are lowest where
ρ is least, upright ones at their lower end, level arcs at the nearest angle. `more_mm` is added to ρ: a positive
value of a cell's half diagonal gives a height that the underside does not exceed anywhere in the cell, a negative
one a height it does not fall below. Source: own derivation (removal.md section 2 states the same closed forms).
"""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
U1 = NDArray[np.uint8]

FAR = 1e30


@kernel
def underside(rho: float, chain: F8, wide: int, grow: float) -> float:
    """Height above the tip of the underside of a piece at ρ, grown by `grow` in every direction; FAR outside.

    chain f8 (m,2) as in `Chains`, wide: its widest point (the underside is chain[: wide + 1]).
    """
    if rho > chain[wide, 0] + grow:
        return 1e30
    if grow <= 0.0:
        if rho <= chain[0, 0]:
            return float(chain[0, 1])
        for k in range(wide):
            if rho <= chain[k + 1, 0]:
                width = chain[k + 1, 0] - chain[k, 0]
                if width <= 0.0:
                    continue
                return float(chain[k, 1] + (rho - chain[k, 0]) / width * (chain[k + 1, 1] - chain[k, 1]))
        return float(chain[wide, 1])
    best = 1e30
    if rho <= chain[0, 0]:
        best = chain[0, 1] - grow
    for k in range(wide + 1):
        off = rho - chain[k, 0]
        if off * off <= grow * grow:
            best = min(best, chain[k, 1] - math.sqrt(grow * grow - off * off))
        if k == wide:
            break
        width = chain[k + 1, 0] - chain[k, 0]
        rise = chain[k + 1, 1] - chain[k, 1]
        size = math.sqrt(width * width + rise * rise)
        if width <= 0.0 or size <= 0.0:
            continue
        start = chain[k, 0] + grow * rise / size
        if start <= rho <= start + width:
            best = min(best, chain[k, 1] - grow * width / size + (rho - start) / width * rise)
    return best


@kernel
def low_straight(
    p: F8, q: F8, x: float, y: float, more_mm: float, chain: F8, wide: int, grow: float
) -> tuple[float, float]:
    """(least underside height over (x, y) along p→q, highest tip while the piece is over it); FAR if it never is."""
    reach = chain[wide, 0] + grow - more_mm
    if reach < 0.0:
        return 1e30, -1e30
    dx = q[0] - p[0]
    dy = q[1] - p[1]
    dz = q[2] - p[2]
    px = x - p[0]
    py = y - p[1]
    length2 = dx * dx + dy * dy
    if length2 <= 1e-18:
        rho2 = px * px + py * py
        if rho2 > reach * reach:
            return 1e30, -1e30
        return min(p[2], q[2]) + underside(max(math.sqrt(rho2) + more_mm, 0.0), chain, wide, grow), max(p[2], q[2])
    tc = (px * dx + py * dy) / length2
    across = (px * dy - py * dx) ** 2 / length2
    if across > reach * reach:
        return 1e30, -1e30
    half = math.sqrt((reach * reach - across) / length2)
    ta = max(0.0, tc - half)
    tb = min(1.0, tc + half)
    if ta > tb:
        return 1e30, -1e30
    top = max(p[2] + ta * dz, p[2] + tb * dz)
    if abs(dz) <= 1e-12:
        t = min(tb, max(ta, tc))
        rho = math.sqrt(across + (t - tc) ** 2 * length2)
        return p[2] + underside(max(min(rho, reach) + more_mm, 0.0), chain, wide, grow), top
    if grow <= 0.0 and chain[0, 0] >= chain[wide, 0]:
        return min(p[2] + ta * dz, p[2] + tb * dz) + chain[0, 1], top
    ratio = 0.6180339887498949
    low = ta
    high = tb
    best = 1e30
    for t in (ta, tb):
        rho = min(math.sqrt(across + (t - tc) ** 2 * length2), reach)
        best = min(best, p[2] + t * dz + underside(max(rho + more_mm, 0.0), chain, wide, grow))
    u = high - ratio * (high - low)
    v = low + ratio * (high - low)
    fu = (
        p[2]
        + u * dz
        + underside(max(min(math.sqrt(across + (u - tc) ** 2 * length2), reach) + more_mm, 0.0), chain, wide, grow)
    )
    fv = (
        p[2]
        + v * dz
        + underside(max(min(math.sqrt(across + (v - tc) ** 2 * length2), reach) + more_mm, 0.0), chain, wide, grow)
    )
    full2 = length2 + dz * dz
    while (high - low) ** 2 * full2 > 1e-8:
        if fu <= fv:
            high = v
            v = u
            fv = fu
            u = high - ratio * (high - low)
            fu = (
                p[2]
                + u * dz
                + underside(
                    max(min(math.sqrt(across + (u - tc) ** 2 * length2), reach) + more_mm, 0.0), chain, wide, grow
                )
            )
        else:
            low = u
            u = v
            fu = fv
            v = low + ratio * (high - low)
            fv = (
                p[2]
                + v * dz
                + underside(
                    max(min(math.sqrt(across + (v - tc) ** 2 * length2), reach) + more_mm, 0.0), chain, wide, grow
                )
            )
        best = min(best, min(fu, fv))
    return best, top


@kernel
def low_arc(
    p: F8, q: F8, c: F8, sweep: float, x: float, y: float, more_mm: float, chain: F8, wide: int, grow: float
) -> tuple[float, float]:
    """The same for a level arc in XY of constant radius."""
    reach = chain[wide, 0] + grow - more_mm
    if reach < 0.0:
        return 1e30, -1e30
    radius = math.sqrt((p[0] - c[0]) ** 2 + (p[1] - c[1]) ** 2)
    vx = x - c[0]
    vy = y - c[1]
    rho = min(math.sqrt((x - p[0]) ** 2 + (y - p[1]) ** 2), math.sqrt((x - q[0]) ** 2 + (y - q[1]) ** 2))
    turn = math.atan2(vy, vx) - math.atan2(p[1] - c[1], p[0] - c[0])
    two = 2.0 * math.pi
    turn = turn % two if sweep > 0.0 else (-turn) % two
    if turn <= abs(sweep):
        rho = min(rho, abs(math.sqrt(vx * vx + vy * vy) - radius))
    if rho > reach:
        return 1e30, -1e30
    return p[2] + underside(max(rho + more_mm, 0.0), chain, wide, grow), p[2]
