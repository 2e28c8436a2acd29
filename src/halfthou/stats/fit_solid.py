"""Spheres and cylinders through points by least squares of the true distances."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize

from halfthou.base.errors import CannotAnswer
from halfthou.stats.fit_circle import CircleFit, geometric, linear
from halfthou.stats.number import Vec, table


def sphere(points: ArrayLike) -> CircleFit:
    """Least squares sphere; `zone` is the probing form error (range of the radial distances) of ISO 10360-5.

    points    (n, 3), n >= 4, not in one plane
    Source: Gauss-Newton.  Check: published area 4, 25 points.
    """
    return geometric(table(points, 3, 4))


@dataclass(frozen=True, slots=True, kw_only=True)
class CylinderFit:
    """A cylinder: a point of the axis, its direction, radius, and the distances of the points from its skin."""

    point: Vec  # nearest to the points' centroid
    direction: Vec  # unit vector, last component not negative
    radius: float
    residuals: Vec

    @property
    def zone(self) -> float:
        """Range of the radial distances: cylindricity about this axis."""
        return float(np.ptp(self.residuals))

    @property
    def rms(self) -> float:
        """sqrt(mean square distance)."""
        return math.sqrt(float(np.mean(self.residuals**2)))

    @property
    def slopes(self) -> tuple[float, float]:
        """dx/dz and dy/dz of the axis."""
        return float(self.direction[0] / self.direction[2]), float(self.direction[1] / self.direction[2])

    @property
    def foot(self) -> tuple[float, float]:
        """x and y of the axis at z = 0."""
        t = -self.point[2] / self.direction[2]
        return float(self.point[0] + t * self.direction[0]), float(self.point[1] + t * self.direction[1])


def _start_directions(p: Vec) -> list[Vec]:
    """Axis guesses: principal directions of the points and the coordinate axes."""
    vt = np.linalg.svd(p - p.mean(axis=0), full_matrices=False)[2]
    return [*vt, *np.eye(3)]


def _frame(direction: Vec) -> Vec:
    """Rows (u, v, direction)."""
    n = direction / np.linalg.norm(direction)
    helper = np.eye(3)[int(np.argmin(np.abs(n)))]
    u = np.cross(helper, n)
    u = u / np.linalg.norm(u)
    return np.vstack([u, np.cross(n, u), n])


def cylinder(points: ArrayLike, axis: ArrayLike | None = None) -> CylinderFit:
    """Least squares cylinder: axis (4 numbers) and radius that minimise sum (distance from axis - r)^2.

    points    (n, 3), n >= 5
    axis      rough direction; default: the best of the principal and coordinate directions
    Source: Gauss-Newton in a frame along the axis guess.  Check: published area 4, noise-free bore (12.505).
    """
    p = table(points, 3, 5)
    guesses = [np.asarray(axis, dtype=np.float64)] if axis is not None else _start_directions(p)
    best: CylinderFit | None = None
    for guess in guesses:
        try:
            found = _cylinder_from(p, guess)
        except CannotAnswer:
            continue
        if best is None or found.rms < best.rms * (1 - 1e-9):
            best = found
    if best is None:
        raise CannotAnswer("no cylinder fits these points")
    return best


def _cylinder_from(p: Vec, guess: Vec) -> CylinderFit:
    """The fit from one direction; the frame follows the axis so that slopes stay small."""
    middle, direction = p.mean(axis=0), guess / np.linalg.norm(guess)
    radius = 0.0
    for _ in range(30):
        frame = _frame(direction)
        q = (p - middle) @ frame.T
        start = linear(q[:, :2])
        scale = max(float(np.max(np.abs(q))), 1e-300)
        q = q / scale

        def rest(x: Vec, q: Vec = q) -> Vec:
            a, b, c, d, r = x
            away = q - np.asarray([a, b, 0.0])
            line = np.asarray([c, d, 1.0]) / math.sqrt(1.0 + c * c + d * d)
            return np.asarray(np.linalg.norm(np.cross(away, line), axis=1) - r)

        first = np.asarray([*(start.centre / scale), 0.0, 0.0, start.radius / scale])
        found = optimize.least_squares(rest, first, method="lm", xtol=1e-15, ftol=1e-15, gtol=1e-15)
        a, b, c, d, r = found.x
        middle = middle + scale * (frame.T @ np.asarray([a, b, 0.0]))
        direction = frame.T @ np.asarray([c, d, 1.0])
        direction = direction / np.linalg.norm(direction)
        radius = scale * float(r)
        if math.hypot(c, d) < 1e-9 and math.hypot(a, b) < 1e-9:
            break
    if direction[int(np.argmax(np.abs(direction)))] < 0:
        direction = -direction
    if abs(direction[2]) > 1e-12 and direction[2] < 0:
        direction = -direction
    away = p - middle
    distance = np.linalg.norm(np.cross(away, direction), axis=1)
    along = float((p.mean(axis=0) - middle) @ direction)
    return CylinderFit(
        point=middle + along * direction, direction=direction, radius=radius, residuals=distance - radius
    )
