"""A slow, obvious clearance to a triangle mesh: points all over the skin, dense positions, distance of a point to a tool.

Imports nothing from the package, knows nothing of trees, convexity, parting shifts or sags.
"""

import itertools
import math

import numpy as np


def skin_points(corners, step):
    """Points (n,3) all over triangles (m,3,3), corners and edges too, no further apart than about `step`."""
    found = []
    for a, b, c in corners:
        n = max(1, math.ceil(max(np.linalg.norm(b - a), np.linalg.norm(c - b), np.linalg.norm(a - c)) / step))
        i, j = np.meshgrid(np.arange(n + 1), np.arange(n + 1))
        keep = (i + j) <= n
        u, v = i[keep] / n, j[keep] / n
        found.append(a + u[:, None] * (b - a) + v[:, None] * (c - a))
    return np.vstack(found)


def depth_in_turned(points, outline):
    """Signed distance (n,) of points to the solid of revolution under a convex outline (radius, height), bottom to top.

    Negative inside: how far the point lies under the nearest face.
    """
    line = [(0.0, outline[0][1]), *map(tuple, outline), (0.0, outline[-1][1])]
    rho, h = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
    inside, outside = np.full(len(points), -np.inf), np.full(len(points), np.inf)
    for (r0, h0), (r1, h1) in itertools.pairwise(line):
        size = math.hypot(r1 - r0, h1 - h0)
        if size == 0.0:
            continue
        inside = np.maximum(inside, ((rho - r0) * (h1 - h0) - (h - h0) * (r1 - r0)) / size)
        t = np.clip(((rho - r0) * (r1 - r0) + (h - h0) * (h1 - h0)) / size**2, 0, 1)
        outside = np.minimum(outside, np.hypot(rho - r0 - t * (r1 - r0), h - h0 - t * (h1 - h0)))
    return np.where(inside <= 0, inside, outside)


def least_to_skin(corners, outline, path, step):
    """Least signed distance of any point of the skin to the tool at any position of its tip; an upper bound."""
    points = skin_points(corners, step)
    return min(float(depth_in_turned(points - tip, outline).min()) for tip in path)


def solid_angle(corners, point):
    """Solid angle of closed triangles seen from a point: 4π inside, 0 outside (A. van Oosterom, J. Strackee 1983)."""
    a, b, c = (corners[:, k] - point for k in range(3))
    la, lb, lc = (np.linalg.norm(v, axis=1) for v in (a, b, c))
    triple = (a * np.cross(b, c)).sum(axis=1)
    rest = la * lb * lc + (a * b).sum(1) * lc + (b * c).sum(1) * la + (c * a).sum(1) * lb
    return float(2 * np.arctan2(triple, rest).sum())


def solid_angle_inside(corners, point):
    """Whether a point is inside closed triangles."""
    return solid_angle(corners, point) > 2 * math.pi
