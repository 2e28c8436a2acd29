"""Where the tip is on a move, and how fast and how bent that way is."""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel

F8 = NDArray[np.float64]


@kernel
def on_path(p: F8, q: F8, c: F8, normal: int, sweep: float, t: float) -> tuple[float, float, float]:
    """Tip on a move at t: straight if sweep is 0, else turned about the axis with a radius linear in the angle."""
    if sweep == 0.0:
        return p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1]), p[2] + t * (q[2] - p[2])
    a = (normal + 1) % 3
    b = (normal + 2) % 3
    pa = p[a] - c[a]
    pb = p[b] - c[b]
    r0 = math.sqrt(pa * pa + pb * pb)
    r1 = math.sqrt((q[a] - c[a]) ** 2 + (q[b] - c[b]) ** 2)
    angle = math.atan2(pb, pa) + t * sweep
    r = r0 + t * (r1 - r0)
    va = c[a] + r * math.cos(angle)
    vb = c[b] + r * math.sin(angle)
    vn = p[normal] + t * (q[normal] - p[normal])
    if normal == 2:
        return va, vb, vn
    if normal == 0:
        return vn, va, vb
    return vb, vn, va


@kernel
def bend_of(p: F8, q: F8, c: F8, normal: int, sweep: float) -> tuple[float, float]:
    """(bound of the second derivative, bound of the speed) of a curved move over t in 0 … 1, mm."""
    a = (normal + 1) % 3
    b = (normal + 2) % 3
    r0 = math.sqrt((p[a] - c[a]) ** 2 + (p[b] - c[b]) ** 2)
    r1 = math.sqrt((q[a] - c[a]) ** 2 + (q[b] - c[b]) ** 2)
    r = max(r0, r1)
    dr = abs(r1 - r0)
    w = abs(sweep)
    speed = math.sqrt((w * r) ** 2 + dr * dr + (q[normal] - p[normal]) ** 2)
    return w * w * r + 2.0 * w * dr, speed
