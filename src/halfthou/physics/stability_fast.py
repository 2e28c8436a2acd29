"""The periodic stability limit in milliseconds: the map of `stability_time` applied to vectors, its largest root by Krylov.

The same steps and the same map as `stability_time.stepped_radius` (there the source); only the way to its spectral
radius differs: Arnoldi vectors instead of all eigenvalues of a matrix as wide as there are steps.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.physics.stability import Cut
from halfthou.physics.stability_time import exponentials, mean_force_matrix, state_of

F8 = NDArray[np.float64]
VECTORS = 24
PER_WAVE = 12  # steps a vibration at least, in the coarser of the two step counts
MOST_STEPS = 600


@kernel
def over_period(ahead: F8, c: F8, vector: F8, steps: int) -> F8:
    """A vector (state, displacements one step back … one period back) after one tooth period."""
    size = c.shape[1]
    wide = c.shape[0]
    trace = np.empty((2 * steps + 1, wide))
    for k in range(1, steps + 1):
        for axis in range(wide):
            trace[steps - k, axis] = vector[size + wide * (k - 1) + axis]
    state = vector[:size].copy()
    for axis in range(wide):
        total = 0.0
        for j in range(size):
            total += c[axis, j] * state[j]
        trace[steps, axis] = total
    fresh = np.empty(size)
    for i in range(steps):
        for r in range(size):
            total = 0.0
            for j in range(size):
                total += ahead[i, r, j] * state[j]
            for axis in range(wide):
                total += ahead[i, r, size + axis] * 0.5 * (trace[i, axis] + trace[i + 1, axis])
            fresh[r] = total
        for r in range(size):
            state[r] = fresh[r]
        for axis in range(wide):
            total = 0.0
            for j in range(size):
                total += c[axis, j] * state[j]
            trace[steps + 1 + i, axis] = total
    out = np.empty_like(vector)
    out[:size] = state
    for k in range(1, steps + 1):
        for axis in range(wide):
            out[size + wide * (k - 1) + axis] = trace[2 * steps - k, axis]
    return out


def quick_radius(cut: Cut, speed_rpm: float, depth_mm: float, steps: int) -> float:
    """`stability_time.stepped_radius` to about 1e-6, by Krylov vectors."""
    one = state_of(cut)
    dt = 60.0 / (cut.teeth * speed_rpm) / steps
    edges: F8 = np.linspace(0.0, 2 * math.pi / cut.teeth, steps + 1)
    mean = depth_mm * mean_force_matrix(cut, edges[:-1], edges[1:])
    axes = [axis for axis in (0, 1) if (cut.x, cut.y)[axis]]
    size, wide = one.a.shape[0], len(axes)
    c = np.ascontiguousarray(one.c[axes])
    push = one.b[:, axes] @ mean[:, axes][:, :, axes]
    big = np.zeros((steps, size + wide, size + wide))
    big[:, :size, :size] = one.a + push @ c
    big[:, :size, size:] = -push
    ahead = np.ascontiguousarray(exponentials(big * dt)[:, :size])
    length = size + wide * steps
    count = min(VECTORS, length)
    last = 0.0
    while True:
        root, error = _largest(ahead, c, length, steps, count)
        if error < 1e-6 * max(root, 1e-9) or count >= length or abs(root - last) < 1e-7 * root:
            return root
        last, count = root, min(2 * count, length)


def _largest(ahead: F8, c: F8, length: int, steps: int, count: int) -> tuple[float, float]:
    """(largest |eigenvalue| among Ritz values, its residual) after `count` Arnoldi vectors."""
    weight = np.ones(length)
    weight[: c.shape[1]] = 1.0 / np.maximum(np.abs(ahead[0]).max(axis=1), 1e-300)  # speeds and places differ by ω
    base = np.zeros((count + 1, length))
    start = np.cos(1.3 * np.arange(length) + 0.4)
    base[0] = start / np.linalg.norm(start)
    h = np.zeros((count + 1, count))
    done = count
    for k in range(count):
        v = weight * over_period(ahead, c, base[k] / weight, steps)
        for _ in range(2):
            part = base[: k + 1] @ v
            h[: k + 1, k] += part
            v -= part @ base[: k + 1]
        h[k + 1, k] = np.linalg.norm(v)
        if h[k + 1, k] < 1e-13 * abs(h[: k + 1, : k + 1]).max():
            done = k + 1
            break
        base[k + 1] = v / h[k + 1, k]
    values, vectors = np.linalg.eig(h[:done, :done])
    top = int(np.argmax(np.abs(values)))
    residual = h[done, done - 1] * abs(vectors[-1, top]) if done == count else 0.0
    return float(np.abs(values[top])), float(residual)


@dataclass(frozen=True, slots=True, kw_only=True)
class Periodic:
    """Limit depth mm with the periodic force direction; `reason` where it was not worked out (limit is then NaN)."""

    limit_mm: float
    reason: str = ""


def periodic_limit(cut: Cut, speed_rpm: float, near_mm: float) -> Periodic:
    """Least unstable depth near an expected one (the zero-order limit): looked for from a fiftieth to three times it.

    Scanned in steps of 15 … 20 %, then refined; |μ| extrapolated from two step counts with the square law.
    Islands of instability thinner than a scan step are not seen. Not worked out beyond MOST_STEPS.
    """
    top = max(mode.omega_rad_per_s for mode in (*cut.x, *cut.y))
    waves = top * 60.0 / (cut.teeth * speed_rpm) / (2 * math.pi)
    steps = max(20, math.ceil(PER_WAVE * waves))
    if 2 * steps > MOST_STEPS:
        return Periodic(limit_mm=math.nan, reason=f"{waves:.0f} vibrations a tooth: not worked out")

    def rough(depth: float) -> float:
        return quick_radius(cut, speed_rpm, depth, 2 * steps) - 1.0

    def over(depth: float) -> float:
        fine = rough(depth)
        return fine + (fine + 1.0 - quick_radius(cut, speed_rpm, depth, steps)) / 3.0

    low, high = 0.5 * near_mm, 0.5 * near_mm
    if rough(low) > 0:  # unstable already: look downwards
        while rough(low) > 0:
            if low < 0.02 * near_mm:
                return Periodic(limit_mm=low, reason="unstable even there")
            high, low = low, 0.8 * low
    else:
        while rough(high) <= 0:
            if high > 3.0 * near_mm:
                return Periodic(limit_mm=math.inf)
            low, high = high, 1.15 * high
    return Periodic(limit_mm=_between(over, low, 1.05 * high))


def _between(over: Callable[[float], float], low: float, high: float) -> float:
    """Where the root passes the unit circle, to 1e-3: false position kept away from the ends."""
    at_low, at_high = over(low), over(high)
    if at_low > 0 or at_high <= 0:  # the extrapolation moved the crossing to the end of the scan step
        return low if at_low > 0 else high
    while high - low > 1e-3 * high:
        middle = low + min(0.95, max(0.05, at_low / (at_low - at_high))) * (high - low)
        value = over(middle)
        if value > 0:
            high, at_high = middle, value
        else:
            low, at_low = middle, value
        if abs(value) < 1e-6:
            return middle
    return low + (high - low) * at_low / (at_low - at_high)
