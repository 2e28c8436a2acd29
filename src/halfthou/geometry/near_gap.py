"""Distance of a convex turned piece to the convex hull of a few points, and how much smaller it would have to be.

The piece is the hull of circles round the Z axis: `rings` f8 (m,2), radius and height, in any order. The distance is
found by the descent of Gilbert, Johnson and Keerthi (IEEE J. Robotics and Automation 4 (1988) 193, from memory): every
step gives a plane between the two, so the value returned is a lower bound that a converged search leaves by no more
than GAP_MM. Made smaller all round by d, a piece keeps the points that lie d or more inside every flank and end face.
"""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel

F8 = NDArray[np.float64]

GAP_MM = 2e-5  # the descent stops when upper and lower bound are this near
TOUCH_MM = 1e-7  # nearer than this is touching
STEPS = 80


@kernel
def shrunk(chain: F8, by_mm: float, rings: F8, spare: F8) -> int:
    """Put the rings of a piece made smaller by by_mm into `rings`; returns how many (0: nothing is left).

    chain f8 (m,2): radius, height, bottom to top, concave. rings and spare f8 (2·m + 8, 2) are written over.
    """
    m = chain.shape[0]
    wide = 0.0
    for i in range(m):
        wide = max(wide, chain[i, 0])
    low = chain[0, 1] + by_mm
    high = chain[m - 1, 1] - by_mm
    if low > high or wide < by_mm:
        return 0
    rings[0, 0] = 0.0
    rings[0, 1] = low
    rings[1, 0] = wide - by_mm
    rings[1, 1] = low
    rings[2, 0] = wide - by_mm
    rings[2, 1] = high
    rings[3, 0] = 0.0
    rings[3, 1] = high
    n = 4
    for i in range(m - 1):
        dr = chain[i + 1, 0] - chain[i, 0]
        dh = chain[i + 1, 1] - chain[i, 1]
        size = math.sqrt(dr * dr + dh * dh)
        if size <= 0.0 or (dr == 0.0 and chain[i, 0] >= wide):
            continue
        nr = dh / size
        nh = -dr / size
        most = nr * chain[i, 0] + nh * chain[i, 1] - by_mm
        k = 0
        for j in range(n):
            r0 = rings[j, 0]
            h0 = rings[j, 1]
            r1 = rings[(j + 1) % n, 0]
            h1 = rings[(j + 1) % n, 1]
            f0 = nr * r0 + nh * h0 - most
            f1 = nr * r1 + nh * h1 - most
            if f0 <= 0.0:
                spare[k, 0] = r0
                spare[k, 1] = h0
                k += 1
            if (f0 < 0.0 and f1 > 0.0) or (f0 > 0.0 and f1 < 0.0):
                share = f0 / (f0 - f1)
                spare[k, 0] = r0 + share * (r1 - r0)
                spare[k, 1] = h0 + share * (h1 - h0)
                k += 1
        n = k
        for j in range(n):
            rings[j, 0] = spare[j, 0]
            rings[j, 1] = spare[j, 1]
        if n == 0:
            return 0
    return n


@kernel
def inner_depth(chain: F8) -> tuple[float, float]:
    """(how much smaller a piece can be made before nothing is left, height of the last point, on the axis)."""
    m = chain.shape[0]
    low = chain[0, 1]
    high = chain[m - 1, 1]
    for _ in range(100):
        a = low + (high - low) / 3.0
        b = high - (high - low) / 3.0
        if _axis_depth(chain, a) < _axis_depth(chain, b):
            low = a
        else:
            high = b
    h = 0.5 * (low + high)
    return max(_axis_depth(chain, h), 0.0), h


@kernel
def _axis_depth(chain: F8, h: float) -> float:
    """Depth of a point of the axis in the piece."""
    m = chain.shape[0]
    best = min(h - chain[0, 1], chain[m - 1, 1] - h)
    for i in range(m - 1):
        dr = chain[i + 1, 0] - chain[i, 0]
        dh = chain[i + 1, 1] - chain[i, 1]
        size = math.sqrt(dr * dr + dh * dh)
        if size > 0.0:
            best = min(best, (dh * chain[i, 0] - dr * (chain[i, 1] - h)) / size)
    return float(best)


@kernel
def _three(g: F8, b: F8) -> tuple[float, float, float]:
    """Solution of a symmetric 3 by 3 system; all -1 if it is nearly singular."""
    c0 = g[1, 1] * g[2, 2] - g[1, 2] * g[1, 2]
    c1 = g[0, 1] * g[2, 2] - g[1, 2] * g[0, 2]
    c2 = g[0, 1] * g[1, 2] - g[1, 1] * g[0, 2]
    det = g[0, 0] * c0 - g[0, 1] * c1 + g[0, 2] * c2
    if det <= 1e-14 * g[0, 0] * g[1, 1] * g[2, 2]:
        return -1.0, -1.0, -1.0
    d12 = b[1] * g[2, 2] - g[1, 2] * b[2]
    d1 = b[1] * g[0, 2] - g[0, 1] * b[2]
    d11 = g[1, 1] * b[2] - b[1] * g[1, 2]
    x0 = (b[0] * c0 - g[0, 1] * d12 - g[0, 2] * d11) / det
    x1 = (g[0, 0] * d12 - b[0] * c1 - g[0, 2] * d1) / det
    x2 = (g[0, 0] * d11 + g[0, 1] * d1 + b[0] * c2) / det
    return x0, x1, x2


@kernel
def _nearest(w: F8, n: int, weight: F8, v: F8, room: F8) -> int:
    """Point of the hull of w[:n] nearest to the origin, the newest w[n-1] taking part; returns the corners kept.

    Every subset with the newest corner is tried: the nearest point of its plane counts if it lies inside it. w and
    weight are packed to the corners kept. room f8 (8,3) is written over.
    """
    best = 1e300
    keep = 0
    last = n - 1
    wa = w[last]
    w0 = 0.0
    w1 = 0.0
    w2 = 0.0
    aa = wa[0] * wa[0] + wa[1] * wa[1] + wa[2] * wa[2]
    best = aa
    old = room[0:3]
    g = room[3:6]
    flags = room[6]
    b = room[7]
    for i in range(last, 3):
        for k in range(3):
            old[i, k] = 0.0
    for i in range(last):
        for k in range(3):
            old[i, k] = w[i, k] - wa[k]
        flags[i] = weight[i]
    newest = weight[last]
    for i in range(last):
        b[i] = -(wa[0] * old[i, 0] + wa[1] * old[i, 1] + wa[2] * old[i, 2])
        for j in range(last):
            g[i, j] = old[i, 0] * old[j, 0] + old[i, 1] * old[j, 1] + old[i, 2] * old[j, 2]
    for mask in range(1, 1 << last):
        x0 = 0.0
        x1 = 0.0
        x2 = 0.0
        if mask == 1 or mask == 2 or mask == 4:
            i = 0 if mask == 1 else 1 if mask == 2 else 2
            if g[i, i] <= 0.0:
                continue
            x = b[i] / g[i, i]
            if x <= 0.0 or x >= 1.0:
                continue
            if i == 0:
                x0 = x
            elif i == 1:
                x1 = x
            else:
                x2 = x
        elif mask == 7:
            x0, x1, x2 = _three(g, b)
            if x0 <= 0.0 or x1 <= 0.0 or x2 <= 0.0 or x0 + x1 + x2 >= 1.0:
                continue
        else:
            i = 1 if mask == 6 else 0
            j = 1 if mask == 3 else 2
            det = g[i, i] * g[j, j] - g[i, j] * g[i, j]
            if det <= 1e-15 * g[i, i] * g[j, j]:
                continue
            xi = (b[i] * g[j, j] - g[i, j] * b[j]) / det
            xj = (g[i, i] * b[j] - g[i, j] * b[i]) / det
            if xi <= 0.0 or xj <= 0.0 or xi + xj >= 1.0:
                continue
            if i == 0:
                x0 = xi
            else:
                x1 = xi
            if j == 1:
                x1 = xj
            else:
                x2 = xj
        px = wa[0] + x0 * old[0, 0] + x1 * old[1, 0] + x2 * old[2, 0]
        py = wa[1] + x0 * old[0, 1] + x1 * old[1, 1] + x2 * old[2, 1]
        pz = wa[2] + x0 * old[0, 2] + x1 * old[1, 2] + x2 * old[2, 2]
        size = px * px + py * py + pz * pz
        if size < best:
            best = size
            keep = mask
            w0 = x0
            w1 = x1
            w2 = x2
    ax = wa[0]
    ay = wa[1]
    az = wa[2]
    v[0] = ax
    v[1] = ay
    v[2] = az
    n = 0
    share = 0.0
    for i in range(3):
        x = w0 if i == 0 else w1 if i == 1 else w2
        if keep & (1 << i):
            share += x * flags[i]
            for k in range(3):
                v[k] += x * old[i, k]
            w[n, 0] = old[i, 0] + ax
            w[n, 1] = old[i, 1] + ay
            w[n, 2] = old[i, 2] + az
            weight[n] = flags[i]
            n += 1
    w[n, 0] = ax
    w[n, 1] = ay
    w[n, 2] = az
    weight[n] = newest
    weight[4] = share + (1.0 - w0 - w1 - w2) * newest
    return n + 1


@kernel
def gap(points: F8, count: int, second: int, rings: F8, m: int, stop_mm: float) -> tuple[float, float]:
    """(distance of the piece with rings[:m] to the hull of points[:count], share of the hull's points from `second`).

    points f8 (≥ count, 3) seen from the piece's tip. 0 when they meet; a search that shows the distance to be at
    least stop_mm ends there with what it has shown.
    """
    space = np.empty((15, 3))
    w = space[0:4]
    v = space[4]
    room = space[5:13]
    weight = np.zeros(5)
    v[0] = points[0, 0]
    v[1] = points[0, 1]
    v[2] = points[0, 2] - 0.5 * (rings[0, 1] + rings[m - 1, 1])
    n = 0
    bound = 0.0
    before = 1e300
    for _ in range(STEPS):
        size = math.sqrt(v[0] * v[0] + v[1] * v[1] + v[2] * v[2])
        if size <= TOUCH_MM:
            return 0.0, weight[4]
        least = 1e300
        at = 0
        for k in range(count):
            d = points[k, 0] * v[0] + points[k, 1] * v[1] + points[k, 2] * v[2]
            if d < least:
                least = d
                at = k
        flat = math.sqrt(v[0] * v[0] + v[1] * v[1])
        most = -1e300
        ring = 0
        for k in range(m):
            d = rings[k, 0] * flat + rings[k, 1] * v[2]
            if d > most:
                most = d
                ring = k
        shown = (least - most) / size
        bound = max(bound, shown)
        if bound >= stop_mm:
            return bound, weight[4]
        if n > 0 and (size - bound <= GAP_MM or size >= before):
            break
        if n > 0:
            before = size
        if n == 4:
            return 0.0, weight[4]
        rx = rings[ring, 0] * v[0] / flat if flat > 0.0 else 0.0
        ry = rings[ring, 0] * v[1] / flat if flat > 0.0 else 0.0
        w[n, 0] = points[at, 0] - rx
        w[n, 1] = points[at, 1] - ry
        w[n, 2] = points[at, 2] - rings[ring, 1]
        weight[n] = 1.0 if at >= second else 0.0
        n = _nearest(w, n + 1, weight, v, room)
        if n == 4:
            return 0.0, weight[4]
    return bound, weight[4]


@kernel
def smaller(
    points: F8, count: int, second: int, chain: F8, inner: float, least: float, rings: F8, spare: F8
) -> tuple[float, float]:
    """(how much smaller all round the piece must be to clear the hull of the points, share as in `gap`).

    Known to be at least `least`; at most `inner`, where nothing of the piece is left. To 1e-5 mm, rounded down.
    """
    low = least
    high = inner
    share = -1.0
    while high - low > 1e-5:
        middle = 0.5 * (low + high)
        m = shrunk(chain, middle, rings, spare)
        apart = 1.0
        at = 0.0
        if m > 0:
            apart, at = gap(points, count, second, rings, m, TOUCH_MM)
        if apart > 0.0:
            high = middle
        else:
            low = middle
            share = at
    return low, share


@kernel
def least_gap(corners: F8, hull: F8) -> float:
    """Distance of a convex hull f8 (k,3) to triangles f8 (n,3,3); 0 when it meets one of them."""
    k = hull.shape[0]
    points = np.empty((3 * k, 3))
    spot = np.zeros((1, 2))
    best = 1e300
    for i in range(corners.shape[0]):
        for c in range(3):
            for j in range(k):
                for a in range(3):
                    points[c * k + j, a] = corners[i, c, a] - hull[j, a]
        d, _ = gap(points, 3 * k, 3 * k, spot, 1, best)
        best = min(best, d)
        if best <= 0.0:
            return 0.0
    return best
