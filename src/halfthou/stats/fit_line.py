"""Straight lines through points: orthogonal least squares and minimum zone (straightness)."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import ConvexHull, QhullError

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import Vec, table


@dataclass(frozen=True, slots=True, kw_only=True)
class LineFit:
    """A line through points of 2 or 3 coordinates, in their unit."""

    point: Vec  # centroid of the points
    direction: Vec  # unit vector, first component not negative
    residuals: Vec  # signed (2-D) or plain (3-D) distances
    rms: float  # sqrt(mean square distance)

    @property
    def slope(self) -> float:
        """dy / dx of a 2-D line, inf if upright."""
        return float(self.direction[1] / self.direction[0]) if self.direction[0] else math.inf

    @property
    def intercept(self) -> float:
        """y at x = 0 of a 2-D line."""
        return float(self.point[1] - self.slope * self.point[0])

    @property
    def zone(self) -> float:
        """2-D: range of the signed distances; the straightness about this line."""
        return float(np.ptp(self.residuals))


def orthogonal(points: ArrayLike) -> LineFit:
    """Line of least squared distances: largest singular vector of the centred points.

    points    (n, 2) or (n, 3), n >= 2
    Source: Pearson 1901.  Check: published area 4 (slope -0.5456, intercept 5.784).
    """
    raw = np.asarray(points, dtype=np.float64)
    columns = raw.shape[1] if raw.ndim == 2 and raw.shape[1] in (2, 3) else 2
    p = table(points, columns, 2)
    middle = p.mean(axis=0)
    _, s, vt = np.linalg.svd(p - middle, full_matrices=False)
    if s[0] == 0.0:
        raise CannotAnswer("all points coincide: no line")
    d = vt[0]
    lead = next(v for v in d if abs(v) > 1e-12)
    d = d if lead > 0 else -d
    if columns == 2:
        rest = (p - middle) @ np.asarray([-d[1], d[0]])
    else:
        along = (p - middle) @ d
        rest = np.linalg.norm(p - middle - along[:, None] * d, axis=1)
    return LineFit(point=middle, direction=d, residuals=rest, rms=math.sqrt(float(np.mean(rest**2))))


def narrowest(points: ArrayLike) -> tuple[float, Vec]:
    """Smallest distance of two parallel lines that hold all points, and the unit normal: rotating calipers.

    The minimum lies at an edge of the convex hull, so it is exact.
    points    (n, 2), n >= 2
    Source: ISO 1101 zone; Shamos 1978.  Check: published area 4, perpendicularity of a wall.
    """
    p = table(points, 2, 2)
    scale = float(np.max(np.abs(p - p.mean(axis=0))))
    if scale == 0.0:
        return 0.0, np.asarray([0.0, 1.0])
    fit = orthogonal(p)
    turn = np.asarray([fit.direction, [-fit.direction[1], fit.direction[0]]])
    q = (p - fit.point) @ turn.T
    thin = float(np.ptp(q[:, 1]))
    if len(p) < 3 or thin <= 1e-13 * scale:
        return thin, turn[1]
    q = q * [1.0, scale / thin]  # stretched so that the hull is well conditioned; parallels stay parallels
    try:
        hull = ConvexHull(q).vertices
    except QhullError:
        return thin, turn[1]
    corners = q[hull] * [1.0, thin / scale]
    best, normal = math.inf, turn[1]
    for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        edge = b - a
        n = np.asarray([-edge[1], edge[0]]) / math.hypot(*edge)
        width = float(np.ptp(corners @ n))
        if width < best:
            best, normal = width, n @ turn
    return best, normal
