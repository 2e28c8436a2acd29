"""Where a probe move meets something: the stylus ball against the in-process stock and the standing bodies.

The ball is tested by points on its surface, the six extremes among them, so flat faces square to an axis are met
exactly. Elsewhere the contact comes late, never early: other smooth faces by up to SAG radii, edges and tips that fall
between the points by up to GAP radii, both measured square to the contact (along the path: over the cosine to it).
"""

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from halfthou.geometry.near_solid import in_mesh
from halfthou.nouns.stock import Prism
from halfthou.nouns.tool import Tool, Zone

F8 = NDArray[np.float64]
Inside = Callable[[F8], NDArray[np.bool_]]
POINTS = 340
SAG = (
    0.01  # largest gap between the ball and the hull of its test points, in radii (0.0097, tests/unit/test_probing.py)
)
GAP = 0.14  # largest distance on the ball from a test point, in radii (0.1391)
STEP_MM = 0.1  # the path is looked at this finely before the contact is halved down
FINE_MM = 1e-5


def ball_radius_mm(tool: Tool) -> float:
    """Radius of the stylus ball: the widest of the stylus pieces nearest to the tip, else half the diameter."""
    if tool.diameter_mm > 0:
        return tool.diameter_mm / 2
    stylus = np.flatnonzero(tool.zone == Zone.STYLUS)
    return float(tool.profile_mm[stylus, 0].max()) if len(stylus) else 0.0


def ball_points(radius_mm: float) -> F8:
    """Points f8 (n,3) on a ball, seen from its lowest point."""
    k = np.arange(POINTS) + 0.5
    height, turn = 1 - 2 * k / POINTS, math.pi * (1 + 5**0.5) * k
    flat = np.sqrt(1 - height**2)
    points = np.stack([flat * np.cos(turn), flat * np.sin(turn), height], axis=1)
    ends = np.concatenate([np.eye(3), -np.eye(3)])
    out: F8 = np.concatenate([points, ends]) * radius_mm + np.array([0.0, 0.0, radius_mm])
    return out


def in_bodies(bodies: Sequence[Prism], points: F8) -> NDArray[np.bool_]:
    """Which points lie in one of the bodies (same coordinates)."""
    hit = np.zeros(len(points), dtype=bool)
    for body in bodies:
        own = (points[:, 2] > body.low_z_mm) & (points[:, 2] < body.high_z_mm)
        if body.mesh is not None:
            own[own] = in_mesh(body.mesh, points[own])
            hit |= own
            continue
        foot = body.footprint_mm
        for k in range(len(foot)):
            a, b = foot[k], foot[(k + 1) % len(foot)]
            own &= (b[0] - a[0]) * (points[:, 1] - a[1]) - (b[1] - a[1]) * (points[:, 0] - a[0]) > 0
        hit |= own
    return hit


def first_contact(start: F8, target: F8, radius_mm: float, inside: Inside) -> float | None:
    """Share 0..1 of the way from start to target (tip positions) at which the ball first meets material; None = never."""
    length = float(np.linalg.norm(target - start))
    if length == 0.0:
        return None
    ball = ball_points(radius_mm)

    def meets(share: float) -> bool:
        return bool(np.any(inside(start + share * (target - start) + ball)))

    steps = max(1, math.ceil(length / STEP_MM))
    shares = np.linspace(0.0, 1.0, steps + 1)
    for k in range(0, steps + 1, 64):
        block = shares[k : k + 64]
        tips = start + block[:, None] * (target - start)
        hits = inside((tips[:, None, :] + ball[None, :, :]).reshape(-1, 3)).reshape(len(block), -1).any(axis=1)
        if hits.any():
            at = k + int(np.argmax(hits))
            if at == 0:
                return 0.0
            low, high = float(shares[at - 1]), float(shares[at])
            while (high - low) * length > FINE_MM:
                middle = (low + high) / 2
                low, high = (low, middle) if meets(middle) else (middle, high)
            return high
    return None
