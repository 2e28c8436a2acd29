"""The shortest shift that parts a convex turned piece from a convex body, anywhere along a straight leg.

For a unit direction u let g(u) be how far the piece must go along -u … +u to leave the body on that side: the body's
support over the tip plus the piece's own. The shortest parting shift is the least g over the sphere (apart: the least
g is minus the distance). Before it is normed g is convex, so the corner or rim that supports it gives a linear lower
bound over a whole spherical triangle: triangles that cannot hold the least are dropped, the others are halved until
the answer is known to SHIFT_MM. Along a straight leg the shortest shift is a concave function of the way (both solids
are convex), so the deepest place is found by golden section. Source: own derivation; tests/twins/mesh_twin.py.
"""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel

F8 = NDArray[np.float64]

SHIFT_MM = 1e-4  # the least over the sphere is known to this
MOST = 20000  # triangles of the sphere looked at; then the best so far stands, which is never too shallow


@kernel
def _support(px: float, py: float, pz: float, hull: F8, chain: F8, u: F8, s: F8) -> float:
    """g(u) for a direction of any length, and its supporting point s (3,): g(x) ≥ s·x for every x."""
    best = -1e300
    at = 0
    for k in range(hull.shape[0]):
        d = hull[k, 0] * u[0] + hull[k, 1] * u[1] + hull[k, 2] * u[2]
        if d > best:
            best = d
            at = k
    flat = math.sqrt(u[0] * u[0] + u[1] * u[1])
    most = -1e300
    ring = 0
    for k in range(chain.shape[0]):
        d = chain[k, 0] * flat - chain[k, 1] * u[2]
        if d > most:
            most = d
            ring = k
    s[0] = hull[at, 0] - px
    s[1] = hull[at, 1] - py
    s[2] = hull[at, 2] - pz - chain[ring, 1]
    if flat > 0.0:
        s[0] += chain[ring, 0] * u[0] / flat
        s[1] += chain[ring, 0] * u[1] / flat
    return float(s[0] * u[0] + s[1] * u[1] + s[2] * u[2])


@kernel
def _enough(least: float, best: float) -> bool:
    """Whether a spherical triangle holds nothing lower: its flat triangle comes no nearer to the centre than 1/√3."""
    return (least if least >= 0.0 else 2.0 * least) >= best - SHIFT_MM


@kernel
def _mixed(given: F8) -> float:
    """Highest of the least corners that two linear lower bounds, mixed in any shares, give. given f8 (4,3): bounds."""
    most = -1e300
    for k in range(4):
        most = max(most, min(given[k, 0], given[k, 1], given[k, 2]))
        for j in range(k):
            for i in range(3):
                rise = given[k, i] - given[j, i]
                e = (i + 1) % 3
                other = given[k, e] - given[j, e]
                if rise == other:
                    continue
                share = (given[j, e] - given[j, i]) / (rise - other)
                if 0.0 < share < 1.0:
                    least = 1e300
                    for n in range(3):
                        least = min(least, given[j, n] + share * (given[k, n] - given[j, n]))
                    most = max(most, least)
    return most


@kernel
def parting(px: float, py: float, pz: float, hull: F8, faces: F8, chain: F8, guess: F8) -> float:
    """Shortest parting shift with the tip at p; negative when apart (minus the distance). guess (3,) is kept warm.

    hull f8 (n,3): corners of the body; faces f8 (k,3): its outward unit normals, tried first; chain as in `Chains`.
    """
    s = np.empty(3)
    u = np.empty(3)
    best = _support(px, py, pz, hull, chain, guess, s)
    for k in range(faces.shape[0]):
        value = _support(px, py, pz, hull, chain, faces[k], s)
        if value < best:
            best = value
            guess[:] = faces[k]
    stack = np.empty((128, 3, 3))
    top = 0
    for k in range(8):
        for i in range(3):
            for j in range(3):
                stack[top, i, j] = 0.0
            stack[top, i, i] = 1.0 if (k >> i) & 1 else -1.0
        top += 1
    looked = 0
    a = np.empty((3, 3))
    given = np.empty((4, 3))
    while top > 0 and looked < MOST:
        top -= 1
        looked += 1
        a[:] = stack[top]
        for j in range(3):
            u[j] = a[0, j] + a[1, j] + a[2, j]
        size = math.sqrt(u[0] * u[0] + u[1] * u[1] + u[2] * u[2])
        for j in range(3):
            u[j] /= size
        value = _support(px, py, pz, hull, chain, u, s)
        if value < best:
            best = value
            guess[:] = u
        for i in range(3):
            given[0, i] = a[i, 0] * s[0] + a[i, 1] * s[1] + a[i, 2] * s[2]
        least = min(given[0, 0], given[0, 1], given[0, 2])
        if not _enough(least, best):
            for k in range(3):
                value = _support(px, py, pz, hull, chain, a[k], s)
                if value < best:
                    best = value
                    guess[:] = a[k]
                for i in range(3):
                    given[k + 1, i] = a[i, 0] * s[0] + a[i, 1] * s[1] + a[i, 2] * s[2]
            least = _mixed(given)
        if _enough(least, best) or top > 120:
            continue
        m = np.empty((3, 3))
        for i in range(3):
            for j in range(3):
                m[i, j] = a[i, j] + a[(i + 1) % 3, j]
            size = math.sqrt(m[i, 0] ** 2 + m[i, 1] ** 2 + m[i, 2] ** 2)
            for j in range(3):
                m[i, j] /= size
        for k in range(4):
            for j in range(3):
                if k == 3:
                    stack[top, 0, j] = m[0, j]
                    stack[top, 1, j] = m[1, j]
                    stack[top, 2, j] = m[2, j]
                else:
                    stack[top, 0, j] = a[k, j]
                    stack[top, 1, j] = m[k, j]
                    stack[top, 2, j] = m[(k + 2) % 3, j]
            top += 1
    return best


@kernel
def most_shift(p: F8, q: F8, hull: F8, faces: F8, chain: F8) -> float:
    """Upper bound of the shortest parting shift anywhere along p→q: out through one face, whichever is best."""
    s = np.empty(3)
    best = 1e300
    for k in range(faces.shape[0]):
        u = faces[k]
        here = _support(p[0], p[1], p[2], hull, chain, u, s)
        there = here - u[0] * (q[0] - p[0]) - u[1] * (q[1] - p[1]) - u[2] * (q[2] - p[2])
        best = min(best, max(here, there))
    return best


@kernel
def deepest(p: F8, q: F8, hull: F8, faces: F8, chain: F8, step_mm: float) -> tuple[float, float]:
    """(largest of the shortest parting shifts along p→q, share of the way)."""
    guess = np.zeros(3)
    guess[2] = 1.0
    dx = q[0] - p[0]
    dy = q[1] - p[1]
    dz = q[2] - p[2]
    length = math.sqrt(dx * dx + dy * dy + dz * dz)
    best = parting(p[0], p[1], p[2], hull, faces, chain, guess)
    where = 0.0
    if length <= step_mm:
        return best, where
    value = parting(q[0], q[1], q[2], hull, faces, chain, guess)
    if value > best:
        best = value
        where = 1.0
    ratio = 0.6180339887498949
    low = 0.0
    high = 1.0
    u = high - ratio
    v = low + ratio
    fu = parting(p[0] + u * dx, p[1] + u * dy, p[2] + u * dz, hull, faces, chain, guess)
    fv = parting(p[0] + v * dx, p[1] + v * dy, p[2] + v * dz, hull, faces, chain, guess)
    while True:
        if fu > best:
            best = fu
            where = u
        if fv > best:
            best = fv
            where = v
        if (high - low) * length <= step_mm:
            return best, where
        if fu >= fv:
            high = v
            v = u
            fv = fu
            u = high - ratio * (high - low)
            fu = parting(p[0] + u * dx, p[1] + u * dy, p[2] + u * dz, hull, faces, chain, guess)
        else:
            low = u
            u = v
            fu = fv
            v = low + ratio * (high - low)
            fv = parting(p[0] + v * dx, p[1] + v * dy, p[2] + v * dz, hull, faces, chain, guess)
