"""Stability of milling with the true, periodic force direction: semi-discretisation (spectral radius of one tooth period).

Source: T. Insperger, G. Stepan, Int. J. Numer. Meth. Engng 61 (2004) 117–141 (method; benchmark parameters read, its
printed values from memory). Unlike the zero-order method it also sees period doubling of interrupted cutting. The error
falls as the square of the step: k = 40 steps a period is 2.6 … 7.8 % low on |μ|, 100 0.5 … 1.3 %, 200 0.1 … 0.3 %; use
k ≥ 200 near the limit, or `spectral_radius` with its extrapolation.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.physics.stability import Cut, limit_depth_mm

F8 = NDArray[np.float64]


def force_matrix(cut: Cut, angle: F8) -> F8:
    """d(Fx, Fy)/d(x, y) per depth at tip angles f8 (n,): f8 (n, 2, 2), MPa; sum over the teeth in the cut.

    Fₓ = −(Kt·cos φ + Kr'·sin φ)·h, F_y = (Kt·sin φ − Kr'·cos φ)·h, h = (x·sin φ + y·cos φ) of the tooth's own motion.
    """
    total = np.zeros((angle.shape[0], 2, 2))
    for tooth in range(cut.teeth):
        phi = np.mod(angle + 2 * math.pi * tooth / cut.teeth, 2 * math.pi)
        cutting = (phi >= cut.arc[0]) & (phi <= cut.arc[1])
        sin, cos = np.sin(phi), np.cos(phi)
        fx, fy = -(cos + cut.ratio * sin), sin - cut.ratio * cos
        rows = np.stack([np.stack([fx * sin, fx * cos], -1), np.stack([fy * sin, fy * cos], -1)], -2)
        total += np.where(cutting[:, None, None], cut.ktc_mpa * rows, 0.0)
    return total


def mean_force_matrix(cut: Cut, low: F8, high: F8) -> F8:
    """`force_matrix` averaged over angle steps low … high f8 (n,), in closed form: entry and exit inside a step count."""
    total = np.zeros((low.shape[0], 2, 2))
    kt, kr = cut.ktc_mpa, cut.ktc_mpa * cut.ratio

    def whole(p: F8) -> F8:
        c, s = 0.25 * np.cos(2 * p), 0.25 * np.sin(2 * p)
        ss, cc, sc = 0.5 * p - s, 0.5 * p + s, -c  # ∫ sin², ∫ cos², ∫ sin·cos
        first = np.stack([-kt * sc - kr * ss, -kt * cc - kr * sc], -1)
        return np.stack([first, np.stack([kt * ss - kr * sc, kt * sc - kr * cc], -1)], -2)

    width = high - low
    for tooth in range(cut.teeth):
        shift = 2 * math.pi * tooth / cut.teeth
        for wrap in (-1, 0, 1):
            start = np.clip(low + shift + 2 * math.pi * wrap, *cut.arc)
            end = np.clip(high + shift + 2 * math.pi * wrap, *cut.arc)
            total += (whole(end) - whole(start)) / width[:, None, None]
    return total


@dataclass(frozen=True, slots=True)
class State:
    """Modes as first-order equations."""

    a: F8  # z' = a·z + b·F
    b: F8
    c: F8  # (x, y) = c·z


def state_of(cut: Cut) -> State:
    """The modes of a cut as first-order equations."""
    modes = [(mode, 0) for mode in cut.x] + [(mode, 1) for mode in cut.y]
    size = 2 * len(modes)
    a, b, c = np.zeros((size, size)), np.zeros((size, 2)), np.zeros((2, size))
    for k, (mode, axis) in enumerate(modes):
        w = mode.omega_rad_per_s
        a[2 * k, 2 * k + 1] = 1.0
        a[2 * k + 1, 2 * k : 2 * k + 2] = (-w * w, -2 * mode.damping * w)
        b[2 * k + 1, axis] = 1.0
        c[axis, 2 * k : 2 * k + 2] = (mode.alpha, mode.beta)
    return State(a, b, c)


def exponentials(matrices: F8) -> F8:
    """Matrix exponentials f8 (n, m, m) by scaling and a 12-term series (small matrices, one step each)."""
    norm = float(np.abs(matrices).sum(axis=2).max())
    halvings = max(0, math.ceil(math.log2(norm / 0.25))) if norm > 0.25 else 0
    small = matrices / 2.0**halvings
    term: F8 = np.broadcast_to(np.eye(matrices.shape[1]), matrices.shape).copy()
    total = term
    for k in range(1, 13):
        term = term @ small / k
        total = total + term
    for _ in range(halvings):
        total = total @ total
    return total


def stepped_radius(cut: Cut, speed_rpm: float, depth_mm: float, steps: int) -> float:
    """Spectral radius of the map over one tooth period with `steps` steps (delay = mean of two stored points).

    Below 1 the cut is stable. Teeth equally spaced, so the delay is one tooth period.
    """
    one = state_of(cut)
    period = 60.0 / (cut.teeth * speed_rpm)
    dt = period / steps
    edges: F8 = np.linspace(0.0, 2 * math.pi / cut.teeth, steps + 1)
    mean = depth_mm * mean_force_matrix(cut, edges[:-1], edges[1:])
    size = one.a.shape[0]
    axes = [axis for axis in (0, 1) if (cut.x, cut.y)[axis]]
    wide = len(axes)
    columns = size + wide * steps
    # rows of `state`: z now; `old` holds the stored displacements, newest first at `head`
    state = np.zeros((size, columns))
    state[:, :size] = np.eye(size)
    old = np.zeros((steps + 1, wide, columns))
    c = one.c[axes]
    push = one.b[:, axes] @ mean[:, axes][:, :, axes]
    big = np.zeros((steps, size + wide, size + wide))
    big[:, :size, :size] = one.a + push @ c
    big[:, :size, size:] = -push
    ahead = exponentials(big * dt)
    for k in range(steps):
        for axis in range(wide):
            old[1 + k, axis, size + wide * k + axis] = 1.0
    old[0] = c @ state
    head = 0
    for i in range(steps):
        step = ahead[i]
        late = old[(head + steps) % (steps + 1)], old[(head + steps - 1) % (steps + 1)]
        state = step[:size, :size] @ state + step[:size, size:] @ (0.5 * (late[0] + late[1]))
        head = (head - 1) % (steps + 1)
        old[head] = c @ state
    rows = [state] + [old[(head + 1 + k) % (steps + 1)] for k in range(steps)]
    return float(np.abs(np.linalg.eigvals(np.concatenate(rows))).max())


def spectral_radius(cut: Cut, speed_rpm: float, depth_mm: float, steps: int = 200) -> tuple[float, float]:
    """(|μ| extrapolated from `steps`/2 and `steps` with the square law, difference to the finer one as its error)."""
    coarse = stepped_radius(cut, speed_rpm, depth_mm, steps // 2)
    fine = stepped_radius(cut, speed_rpm, depth_mm, steps)
    best = fine + (fine - coarse) / 3.0
    return best, abs(best - fine)


def time_limit_mm(cut: Cut, speed_rpm: float, high_mm: float, steps: int = 60) -> float:
    """Depth at which |μ| = 1 at a speed, mm: first crossing on a grid of 20 up to `high_mm`, then halved; inf if none.

    Extrapolated from `steps` and twice as many with the square law. An island of instability thinner than a grid step is
    not seen.
    """

    def halved(low: float, high: float, count: int) -> float:
        for _ in range(12):
            middle = 0.5 * (low + high)
            if stepped_radius(cut, speed_rpm, middle, count) > 1.0:
                high = middle
            else:
                low = middle
        return 0.5 * (low + high)

    low = 0.0
    for k in range(1, 21):
        depth = high_mm * k / 20
        if stepped_radius(cut, speed_rpm, depth, steps) > 1.0:
            coarse = halved(low, depth, steps)
            fine = halved(0.85 * coarse, 1.15 * coarse, 2 * steps)
            return fine + (fine - coarse) / 3.0
        low = depth
    return math.inf


@dataclass(frozen=True, slots=True, kw_only=True)
class BothLimits:
    """Limit depth by both methods, mm. They differ where the cut is interrupted; the smaller is the one to plan with."""

    zero_order_mm: float
    periodic_mm: float
    chatter_hz: float


def both_limits(cut: Cut, speed_rpm: float, steps: int = 60) -> BothLimits:
    """Zero-order and periodic limit at a speed; searched up to twice the zero-order limit."""
    zero, hertz = limit_depth_mm(cut, speed_rpm)
    periodic = time_limit_mm(cut, speed_rpm, 2.0 * zero, steps) if math.isfinite(zero) else math.inf
    return BothLimits(zero_order_mm=zero, periodic_mm=periodic, chatter_hz=hertz)
