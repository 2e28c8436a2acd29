"""A slow, obvious clearance search: dense time steps, points all over the tool, distance of a point to a prism.

Imports nothing from the package, knows nothing of the (distance, height) reduction, convexity or bounds.
"""

import itertools
import math

import numpy as np


def point_to_prism(points, foot, z0, z1):
    """Signed distance f8 (n,) of points (n,3) to an upright convex prism, counter-clockwise foot (k,2)."""
    x, y, z = points[:, 0], points[:, 1], points[:, 2]
    inside = np.full(len(points), -np.inf)
    outside = np.full(len(points), np.inf)
    for i in range(len(foot)):
        a, b = foot[i], foot[(i + 1) % len(foot)]
        e = b - a
        length = math.hypot(e[0], e[1])
        inside = np.maximum(inside, ((x - a[0]) * e[1] - (y - a[1]) * e[0]) / length)
        t = np.clip(((x - a[0]) * e[0] + (y - a[1]) * e[1]) / length**2, 0, 1)
        outside = np.minimum(outside, np.hypot(x - a[0] - t * e[0], y - a[1] - t * e[1]))
    s = np.where(inside <= 0, inside, outside)
    v = np.maximum(z0 - z, z - z1)
    return np.where(np.maximum(s, v) <= 0, np.maximum(s, v), np.hypot(np.maximum(s, 0), np.maximum(v, 0)))


def body_points(profile, step):
    """Points (n,3) all through the turned body under a profile (m,2), about `step` apart, tip at the origin."""
    found = []
    for (r0, h0), (r1, h1) in itertools.pairwise(profile):
        rows = max(2, math.ceil(math.hypot(r1 - r0, h1 - h0) / step) + 1)
        for f in np.linspace(0, 1, rows):
            r, h = r0 + f * (r1 - r0), h0 + f * (h1 - h0)
            for rho in np.linspace(0, r, max(2, math.ceil(r / step) + 1)):
                a = np.linspace(0, 2 * math.pi, max(1, math.ceil(2 * math.pi * rho / step)), endpoint=False)
                found.append(np.column_stack([rho * np.cos(a), rho * np.sin(a), np.full(len(a), h)]))
    return np.vstack(found)


def path_points(start, end, centre, normal, sweep, step):
    """Positions (n,3) along a line (sweep 0) or an arc with a radius linear in the angle."""
    start, end, centre = (np.asarray(v, dtype=float) for v in (start, end, centre))
    if sweep == 0:
        n = max(2, math.ceil(np.linalg.norm(end - start) / step) + 1)
        return start + np.linspace(0, 1, n)[:, None] * (end - start)
    a, b = (normal + 1) % 3, (normal + 2) % 3
    r0 = math.hypot(start[a] - centre[a], start[b] - centre[b])
    r1 = math.hypot(end[a] - centre[a], end[b] - centre[b])
    n = max(3, math.ceil((abs(sweep) * max(r0, r1) + abs(end[normal] - start[normal])) / step) + 1)
    t = np.linspace(0, 1, n)
    angle = math.atan2(start[b] - centre[b], start[a] - centre[a]) + t * sweep
    out = np.empty((n, 3))
    out[:, a] = centre[a] + (r0 + t * (r1 - r0)) * np.cos(angle)
    out[:, b] = centre[b] + (r0 + t * (r1 - r0)) * np.sin(angle)
    out[:, normal] = start[normal] + t * (end[normal] - start[normal])
    return out


def least_clearance(profile, path, foot, z0, z1, step):
    """Least signed distance of any tool point at any path position; inside it is the depth of the deepest point."""
    points = body_points(profile, step)
    return min(float(np.min(point_to_prism(points + p, foot, z0, z1))) for p in path)


def parting_shift(profile, tip, foot, z0, z1, step, directions=400):
    """Shortest shift that parts a tool standing at `tip` from a prism, over many directions, by bisection."""
    points = body_points(profile, step) + np.asarray(tip)
    best = np.inf
    k = np.arange(directions) + 0.5
    polar = np.arccos(1 - 2 * k / directions)
    turn = math.pi * (1 + math.sqrt(5)) * k
    ways = np.column_stack([np.cos(turn) * np.sin(polar), np.sin(turn) * np.sin(polar), np.cos(polar)])
    ways = np.vstack([ways, [[0, 0, 1], [0, 0, -1], [1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]]])
    for way in ways:
        low, high = 0.0, 200.0
        if np.min(point_to_prism(points + min(best, high) * way, foot, z0, z1)) < -1e-9:
            continue
        high = min(best, high)
        while high - low > 1e-4:
            mid = (low + high) / 2
            if np.min(point_to_prism(points + mid * way, foot, z0, z1)) < -1e-9:
                low = mid
            else:
                high = mid
        best = min(best, high)
    return best
