"""Planes through points: least squares, minimum zone (flatness), and zones tied to a datum plane."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize

from halfthou.base.errors import CannotAnswer
from halfthou.stats.fit_circle import circumscribed
from halfthou.stats.fit_line import narrowest
from halfthou.stats.number import Vec, table, vec


@dataclass(frozen=True, slots=True, kw_only=True)
class PlaneFit:
    """A plane and the signed distances of the points from it, in their unit."""

    point: Vec
    normal: Vec  # unit vector, last component not negative
    residuals: Vec

    @property
    def zone(self) -> float:
        """Range of the distances: flatness about this plane."""
        return float(np.ptp(self.residuals))

    @property
    def rms(self) -> float:
        """sqrt(mean square distance)."""
        return math.sqrt(float(np.mean(self.residuals**2)))

    @property
    def slopes(self) -> tuple[float, float]:
        """dz/dx and dz/dy; inf for an upright plane."""
        if abs(self.normal[2]) < 1e-15:
            return math.inf, math.inf
        return float(-self.normal[0] / self.normal[2]), float(-self.normal[1] / self.normal[2])

    @property
    def height(self) -> float:
        """z at x = y = 0."""
        a, b = self.slopes
        return float(self.point[2] - a * self.point[0] - b * self.point[1])


def _described(p: Vec, point: Vec, normal: Vec) -> PlaneFit:
    """The fit record of a plane."""
    n = normal / np.linalg.norm(normal)
    lead = next(v for v in n[::-1] if abs(v) > 1e-12)
    n = n if lead > 0 else -n
    return PlaneFit(point=point, normal=n, residuals=(p - point) @ n)


def least_squares(points: ArrayLike) -> PlaneFit:
    """Plane of least squared distances: smallest singular vector of the centred points, (n, 3), n >= 3.

    Source: ISO 12781; singular value decomposition.  Check: published area 4.
    """
    p = table(points, 3, 3)
    middle = p.mean(axis=0)
    _, s, vt = np.linalg.svd(p - middle, full_matrices=False)
    if s[1] <= 1e-12 * s[0] or s[0] == 0.0:
        raise CannotAnswer("the points lie on a line: no plane")
    return _described(p, middle, vt[2])


def minimum_zone(points: ArrayLike) -> PlaneFit:
    """Two parallel planes with the smallest distance that hold all points (flatness); the plane returned is midway.

    Linear program min h: |z - a x - b y - c| <= h in a frame along the plane, repeated in the frame of its answer
    until the slopes vanish, so that the distance is measured square to the plane. Local minimum next to least squares.
    points    (n, 3), n >= 3
    Source: ISO 1101, ISO 12781.  Check: published area 4, flatness of 15 points.
    """
    p = table(points, 3, 3)
    fit = least_squares(p)
    normal, middle = fit.normal, fit.point
    for _ in range(20):
        frame = _frame(normal)
        q = (p - middle) @ frame.T
        span = float(np.max(np.abs(q[:, :2]))) or 1.0
        tall = float(np.max(np.abs(q[:, 2])))
        if tall == 0.0:
            break
        a = np.column_stack([q[:, :2] / span, np.ones(len(q))])
        z = q[:, 2] / tall
        one = np.ones((len(q), 1))
        upper, right = np.vstack([np.hstack([-a, -one]), np.hstack([a, -one])]), np.append(-z, z)
        found = optimize.linprog([0, 0, 0, 1], A_ub=upper, b_ub=right, bounds=[(None, None)] * 3 + [(0, None)])
        if not found.success:
            raise CannotAnswer("the flatness program found no answer")
        slope = np.asarray(found.x[:2]) * tall / span
        middle = middle + float(found.x[2]) * tall * frame[2]
        normal = frame.T @ np.asarray([-slope[0], -slope[1], 1.0])
        normal = normal / np.linalg.norm(normal)
        if float(np.max(np.abs(slope))) < 1e-12:
            break
    out = _described(p, middle, normal)
    centre = 0.5 * float(out.residuals.max() + out.residuals.min())
    return _described(p, middle + centre * out.normal, out.normal)


def _frame(normal: Vec) -> Vec:
    """Right-handed rows (u, v, normal)."""
    n = normal / np.linalg.norm(normal)
    helper = np.eye(3)[int(np.argmin(np.abs(n)))]
    u = np.cross(helper, n)
    u = u / np.linalg.norm(u)
    return np.vstack([u, np.cross(n, u), n])


def parallel_zone(points: ArrayLike, datum_normal: ArrayLike) -> float:
    """Parallelism of a face to a datum plane: range of the distances along the datum's normal (ISO 1101)."""
    p, n = table(points, 3, 1), vec(datum_normal)
    return float(np.ptp(p @ (n / np.linalg.norm(n))))


def square_zone(points: ArrayLike, datum_normal: ArrayLike) -> float:
    """Perpendicularity of a face to a datum plane: two planes square to the datum, free to turn about its normal.

    Narrowest strip of the points seen along the datum's normal, exact.
    Source: ISO 1101 orientation zone.  Check: published area 4 (0.011).
    """
    frame = _frame(vec(datum_normal))
    return narrowest(table(points, 3, 2) @ frame[:2].T)[0]


def square_axis_zone(points: ArrayLike, datum_normal: ArrayLike) -> float:
    """Perpendicularity of an axis to a datum plane: diameter of the smallest cylinder square to it around the points."""
    frame = _frame(vec(datum_normal))
    return 2.0 * circumscribed(table(points, 3, 2) @ frame[:2].T).radius


def angle_zone(points: ArrayLike, direction: ArrayLike) -> float:
    """Zone between planes of one fixed normal direction (angularity with the rotation locked, profile of a plane)."""
    return parallel_zone(points, direction)
