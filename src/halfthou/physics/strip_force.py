"""Forces of a milling tool from what each strip of its front takes off: mean torque, peaks, force towards the wall.

The front of the tool (−90° … +90° from the direction of travel, left positive) is split into strips equal in sin θ; a(θ)
is the axial depth met in a strip. A clockwise tool's teeth go from left to right. One tooth at θ:
  Ft = kc(h)·a·fz·cos θ, h = fz·cos θ·sin κ, kc = kc1.1·h^(−mc); Fr = ratio·Ft
  force on the tool = Ft·(−sin θ, cos θ) − Fr·(cos θ, sin θ), (along travel, to the left)
A flute with helix spans ψ = 2·a·tan β/D upwards from its tip towards the side it comes from: its force is the mean over
that span (depth taken even over the span; at least 2°). Mean torque equals kc·A·v/ω exactly when kc is constant.
Source: specific-force model (mechanics text A3) summed over teeth; derived. Checks: straight and slot cuts against the
closed forms of edge_force.py with equal coefficients (tests/laws/test_strip_force.py).
"""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel

F8 = NDArray[np.float64]
PHASES = 12  # spindle positions over one tooth pitch, beside those where a single arc peaks
GRID = 360  # even angles across the front between which running integrals are straight
THIN_MM = 0.002  # chips thinner than this are taken as this: kc grows without end towards 0


@kernel
def strip_forces(
    depth: F8, fz: F8, lead: F8, reach: F8, lag: F8, wall: NDArray[np.int64], kc11: float, mc: float, ratio: float,
    teeth: int, out: F8,
) -> None:  # fmt: skip
    """Rows of out f8 (n, 4): mean torque N·mm, peak torque N·mm, peak force N, force to the left at the wall N.

    depth f8 (n, strips) right to left, fz mm, lead sin κ, reach mm, lag ψ rad, wall −1 right, +1 left, 0 none (n,).
    """
    strips = depth.shape[1]
    node = np.empty(strips + 1)
    for j in range(strips + 1):
        node[j] = math.asin(-1.0 + 2.0 * j / strips)
    least = math.radians(2.0)
    at_strip = np.empty(GRID + 1, dtype=np.int64)
    at_share = np.empty(GRID + 1)
    for i in range(GRID + 1):  # where evenly spaced angles fall among the strips
        a = math.pi * i / GRID - 0.5 * math.pi
        j = min(strips - 1, int((math.sin(a) + 1.0) * 0.5 * strips))
        at_strip[i] = j
        at_share[i] = min(1.0, max(0.0, (a - node[j]) / (node[j + 1] - node[j])))
    run = np.zeros((strips + 1, 3))
    even = np.zeros((GRID + 1, 3))
    for k in range(depth.shape[0]):
        for j in range(strips):
            a0 = node[j]
            a1 = node[j + 1]
            s0 = math.sin(a0)
            s1 = math.sin(a1)
            t = 0.0
            x = 0.0
            y = 0.0
            if depth[k, j] > 0.0:
                h = max(THIN_MM, fz[k] * (s1 - s0) / (a1 - a0) * lead[k])
                level = kc11 * h ** (-mc) * depth[k, j] * fz[k]
                cs = 0.5 * (s1 * s1 - s0 * s0)
                cc = 0.5 * (a1 - a0 + s1 * math.cos(a1) - s0 * math.cos(a0))
                t = level * (s1 - s0)
                x = level * (-cs - ratio * cc)
                y = level * (cc - ratio * cs)
            run[j + 1, 0] = run[j, 0] + t
            run[j + 1, 1] = run[j, 1] + x
            run[j + 1, 2] = run[j, 2] + y
        for i in range(GRID + 1):
            j = at_strip[i]
            for what in range(3):
                even[i, what] = run[j, what] + at_share[i] * (run[j + 1, what] - run[j, what])
        out[k, 0] = teeth * reach[k] / (2.0 * math.pi) * run[strips, 0]
        span = max(lag[k], least)
        pitch = 2.0 * math.pi / teeth
        peak_t = 0.0
        peak_f = 0.0
        right = 0
        while right < strips - 1 and depth[k, right] <= 0.0:
            right += 1
        left = strips
        while left > right + 1 and depth[k, left - 1] <= 0.0:
            left -= 1
        for p in range(PHASES + 2):
            tip = -0.5 * math.pi + p * pitch / PHASES
            if p == PHASES:  # a flute that just leaves, and one that is just all in: where a single arc peaks
                tip = node[right]
            elif p == PHASES + 1:
                tip = node[left] - span
            t, x, y = _all_teeth(even, span, teeth, pitch, tip)
            peak_t = max(peak_t, t)
            peak_f = max(peak_f, math.sqrt(x * x + y * y))
        side = 0.0
        if wall[k] != 0:
            at = 0.5 * math.pi * wall[k]
            for p in range(9):
                tip = at - span * p / 8.0
                t, x, y = _all_teeth(even, span, teeth, pitch, tip)
                peak_t = max(peak_t, t)
                if abs(y) > abs(side):
                    side = y
        out[k, 1] = peak_t * reach[k]
        out[k, 2] = peak_f
        out[k, 3] = side


@kernel
def _all_teeth(run: F8, span: float, teeth: int, pitch: float, tip: float) -> tuple[float, float, float]:
    """Sum over the teeth with one tooth's tip at `tip`: tangential force, along travel, to the left."""
    t = 0.0
    x = 0.0
    y = 0.0
    two = 2.0 * math.pi
    for n in range(teeth):
        low = (tip + n * pitch + 0.5 * math.pi) % two
        for wrap in range(2):
            a = low - wrap * two
            b = a + span
            if b <= 0.0 or a >= math.pi:
                continue
            t += (_at(run, b, 0) - _at(run, a, 0)) / span
            x += (_at(run, b, 1) - _at(run, a, 1)) / span
            y += (_at(run, b, 2) - _at(run, a, 2)) / span
    return t, x, y


@kernel
def _at(run: F8, angle: float, what: int) -> float:
    """Running integral at an angle from the right edge, straight between even angles."""
    n = run.shape[0] - 1
    q = angle * n / math.pi
    if q <= 0.0:
        return 0.0
    if q >= n:
        return float(run[n, what])
    i = int(q)
    return float(run[i, what] + (q - i) * (run[i + 1, what] - run[i, what]))


def ball_lead(depth: F8, radius: float) -> F8:
    """Mean of sin κ over the height 0 … depth of a round corner of that radius (vertical above it): closed form.

    sin κ at height z is √(1 − (1 − z/r)²); the mean below r is r/a·[F(1) − F(1 − a/r)], F(u) = ½(u·√(1 − u²) + asin u).
    """
    if radius <= 0:
        return np.ones_like(depth)
    a = np.maximum(depth, 1e-9)
    u = 1.0 - np.minimum(a, radius) / radius
    inner = radius * (math.pi / 4 - 0.5 * (u * np.sqrt(np.maximum(0.0, 1 - u * u)) + np.arcsin(u)))
    return np.asarray((inner + np.maximum(0.0, a - radius)) / a)
