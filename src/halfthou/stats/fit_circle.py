"""Circles through points: geometric, linear and algebraic least squares, minimum zone, inscribed, circumscribed; arcs."""

import math
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize
from scipy.spatial import Delaunay

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import Vec, positive, table


@dataclass(frozen=True, slots=True, kw_only=True)
class CircleFit:
    """A circle (or sphere) and how far the points lie from it, in the unit of the points."""

    centre: Vec
    radius: float
    residuals: Vec  # distance from the centre less the radius
    covariance_ratio: Vec  # of (centre, radius) for unit radial scatter, (J^T J)^-1

    @property
    def zone(self) -> float:
        """Range of the distances from the centre: roundness about this centre."""
        return float(np.ptp(self.residuals))

    @property
    def rms(self) -> float:
        """sqrt(mean square residual)."""
        return math.sqrt(float(np.mean(self.residuals**2)))

    def std(self, sigma: float | None = None) -> Vec:
        """Standard uncertainty of centre and radius; sigma from the residuals (n - unknowns) where not given."""
        spare = self.residuals.size - self.centre.size - 1
        if sigma is None:
            if spare < 1:
                raise CannotAnswer("no spare points: the scatter cannot be seen from them")
            sigma = math.sqrt(float(self.residuals @ self.residuals) / spare)
        return np.asarray(sigma * np.sqrt(np.diag(self.covariance_ratio)), dtype=np.float64)


def described(points: Vec, centre: Vec, radius: float) -> CircleFit:
    """The fit record of a circle or sphere given by centre and radius."""
    away = points - centre
    r = np.linalg.norm(away, axis=1)
    j = np.column_stack([away / np.where(r > 0, r, 1.0)[:, None], np.ones(len(points))])
    return CircleFit(
        centre=centre, radius=float(radius), residuals=r - radius, covariance_ratio=np.linalg.pinv(j.T @ j)
    )


def linear(points: ArrayLike) -> CircleFit:
    """Linear least squares circle or sphere (Kasa 1976, Coope 1993): |p|^2 = 2 c p + (r^2 - |c|^2).

    Far too small on short arcs: a start value, not an answer.
    points    (n, 2) or (n, 3), n >= 3 or 4
    Check: published area 4 (centre 4.7423, 3.8351, radius 4.1088).
    """
    raw = np.asarray(points, dtype=np.float64)
    k = 3 if raw.ndim == 2 and raw.shape[1] == 3 else 2
    p = table(points, k, k + 1)
    middle = p.mean(axis=0)
    q = p - middle
    a = np.column_stack([2.0 * q, np.ones(len(q))])
    x, _, rank, _ = np.linalg.lstsq(a, np.sum(q * q, axis=1), rcond=None)
    if rank < k + 1:
        raise CannotAnswer("the points lie on a line or plane: no circle or sphere")
    radius = math.sqrt(max(0.0, float(x[k] + x[:k] @ x[:k])))
    return described(p, middle + x[:k], radius)


def algebraic(points: ArrayLike) -> CircleFit:
    """Algebraic circle: minimise |a |p|^2 + b p + c| with a^2 + |b|^2 + c^2 = 1 (smallest singular vector).

    Depends on where the origin lies.
    Source: Gander, Golub & Strebel 1994.
    """
    p = table(points, 2, 3)
    b = np.column_stack([np.sum(p * p, axis=1), p, np.ones(len(p))])
    a, bx, by, c = np.linalg.svd(b)[2][-1]
    if abs(a) < 1e-14:
        raise CannotAnswer("the points lie on a line: no circle")
    centre = np.asarray([-bx / (2 * a), -by / (2 * a)])
    return described(p, centre, math.sqrt(max(0.0, float(centre @ centre - c / a))))


def geometric(points: ArrayLike) -> CircleFit:
    """Least squares of the true distances: minimise sum (|p - c| - r)^2, circle or sphere.

    Source: Gauss-Newton with damping from the linear fit.  Check: published area 4 (4.7398, 2.9835, radius 4.7142).
    """
    start = linear(points)
    p = np.asarray(points, dtype=np.float64)
    k = p.shape[1]
    scale = positive(float(np.max(np.ptp(p, axis=0))), "extent of the points")
    q = (p - start.centre) / scale

    def rest(x: Vec) -> Vec:
        return np.asarray(np.linalg.norm(q - x[:k], axis=1) - x[k])

    def slope(x: Vec) -> Vec:
        away = q - x[:k]
        r = np.maximum(np.linalg.norm(away, axis=1), 1e-12)
        return np.column_stack([-away / r[:, None], -np.ones(len(q))])

    first = np.append(np.zeros(k), start.radius / scale)
    found = optimize.least_squares(rest, first, slope, method="trf", xtol=1e-15, ftol=1e-15, gtol=1e-15, max_nfev=2000)
    x = np.asarray(found.x)
    for _ in range(5):  # polish: plain Gauss-Newton steps, kept only while they help
        step = np.linalg.lstsq(slope(x), -rest(x), rcond=None)[0]
        if np.sum(rest(x + step) ** 2) > np.sum(rest(x) ** 2):
            break
        x = x + step
    return described(p, start.centre + scale * x[:k], scale * float(x[k]))


def minimum_zone(points: ArrayLike, exhaustive: int = 16) -> CircleFit:
    """Two concentric circles with the smallest gap that hold all points; radius is the mean of both.

    Up to `exhaustive` points: all centres where two points are equally far and two others equally near (2 + 2 contacts).
    More: linear programs about the moving centre from the least squares circle, a local minimum.
    Source: ISO 1101, ISO/TS 12181.  Check: published area 4 (roundness 1.353615), independent minimax search.
    """
    p = table(points, 2, 4)
    best = _minimax(p, geometric(p).centre)
    if len(p) <= exhaustive:
        best = min((best, *_bisector_centres(p)), key=lambda c: _gap(p, c))
    r = np.linalg.norm(p - best, axis=1)
    return described(p, best, 0.5 * float(r.max() + r.min()))


def _gap(p: Vec, centre: Vec) -> float:
    """Range of the distances from a centre."""
    return float(np.ptp(np.linalg.norm(p - centre, axis=1)))


def _bisector_centres(p: Vec) -> list[Vec]:
    """Crossings of the perpendicular bisectors of two separate pairs of points."""
    pairs = list(combinations(range(len(p)), 2))
    normal = np.asarray([p[j] - p[i] for i, j in pairs])
    offset = np.asarray([0.5 * (p[j] @ p[j] - p[i] @ p[i]) for i, j in pairs])
    out = []
    for a, b in combinations(range(len(pairs)), 2):
        if set(pairs[a]) & set(pairs[b]):
            continue
        det = normal[a, 0] * normal[b, 1] - normal[a, 1] * normal[b, 0]
        if abs(det) > 1e-12 * float(np.linalg.norm(normal[a]) * np.linalg.norm(normal[b])):
            x = (offset[a] * normal[b, 1] - offset[b] * normal[a, 1]) / det
            y = (normal[a, 0] * offset[b] - normal[b, 0] * offset[a]) / det
            out.append(np.asarray([x, y]))
    return out


def _minimax(p: Vec, centre: Vec) -> Vec:
    """Centre of the smallest gap near a start: sequence of linear programs inside a shrinking box (any dimension)."""
    k = p.shape[1]
    reach = 0.1 * float(np.max(np.linalg.norm(p - centre, axis=1)))
    gap = _gap(p, centre)
    for _ in range(200):
        away = p - centre
        r = np.linalg.norm(away, axis=1)
        e = -away / np.maximum(r, 1e-300)[:, None]
        # unknown: move of the centre (k), outer radius, inner radius; r + e move <= outer, >= inner
        ones, none = np.ones((len(p), 1)), np.zeros((len(p), 1))
        upper = np.hstack([np.vstack([e, -e]), np.vstack([-ones, none]), np.vstack([none, ones])])
        cost = np.append(np.zeros(k), [1.0, -1.0])
        box = [(-reach, reach)] * k + [(None, None)] * 2
        found = optimize.linprog(cost, A_ub=upper, b_ub=np.append(-r, r), bounds=box, method="highs")
        if not found.success:
            break
        move = np.asarray(found.x[:k])
        new = _gap(p, centre + move)
        if new < gap:
            gain, gap, centre = gap - new, new, centre + move
            if gain <= 1e-15 * max(1.0, float(r.max())):
                break
        else:
            reach *= 0.25
            if reach < 1e-13 * float(r.max()):
                break
    return centre


def circumscribed(points: ArrayLike) -> CircleFit:
    """Smallest circle that holds all points (the mating size of a pin), exact by its 2 or 3 contacts.

    The farthest point joins the contacts until none lies outside; the radius grows at each step, so it ends.
    """
    p = table(points, 2, 2)
    contacts = p[:2]
    while True:
        centre, radius = _smallest(contacts)
        away = np.linalg.norm(p - centre, axis=1)
        far = int(np.argmax(away))
        if away[far] <= radius * (1 + 1e-12) + 1e-300:
            return described(p, centre, radius)
        touching = np.linalg.norm(contacts - centre, axis=1) >= radius * (1 - 1e-9)
        contacts = np.vstack([contacts[touching][:3], p[far]])


def _smallest(p: Vec) -> tuple[Vec, float]:
    """Smallest circle about a handful of points, by trying every 2 and 3 of them."""
    centre, radius = p[0], math.inf
    for group in (*combinations(range(len(p)), 2), *combinations(range(len(p)), 3)):
        c = _through(p[list(group)])
        if c is not None:
            far = float(np.max(np.linalg.norm(p - c, axis=1)))
            if far < radius:
                centre, radius = c, far
    return centre, radius


def inscribed(points: ArrayLike) -> CircleFit:
    """Largest empty circle with its centre inside the least squares circle (the mating size of a hole), 3 contacts.

    Empty circles through three points are those of the Delaunay triangles, so only these are tried.
    """
    p = table(points, 2, 3)
    inside = geometric(p)
    centre, radius = inside.centre, float(np.min(np.linalg.norm(p - inside.centre, axis=1)))
    mesh = Delaunay(p)
    if mesh.find_simplex(inside.centre) < 0:
        raise CannotAnswer("the points do not go round the centre: the largest inscribed circle has no bound")
    for group in mesh.simplices:
        c = _through(p[group])
        if c is not None and float(np.linalg.norm(c - inside.centre)) < inside.radius:
            near = float(np.min(np.linalg.norm(p - c, axis=1)))
            if near > radius:
                centre, radius = c, near
    return described(p, centre, radius)


def _through(p: Vec) -> Vec | None:
    """Centre of the circle on two points as a diameter, or through three; None if these are in line."""
    if len(p) == 2:
        return np.asarray(0.5 * (p[0] + p[1]))
    a, b = p[1] - p[0], p[2] - p[0]
    det = 2.0 * (a[0] * b[1] - a[1] * b[0])
    if abs(det) <= 1e-14 * float(np.linalg.norm(a) * np.linalg.norm(b)):
        return None
    aa, bb = float(a @ a), float(b @ b)
    return np.asarray(p[0] + np.asarray([b[1] * aa - a[1] * bb, a[0] * bb - b[0] * aa]) / det)


def arc_std(arc_rad: float, points: int, sigma: float, *, ends: bool = True) -> tuple[float, float, float]:
    """Standard uncertainties (along the bisector of the arc, across it, radius) of a circle probed on an arc only.

    Covariance sigma^2 (J^T J)^-1, J = [cos t, sin t, 1] at evenly spaced t about the bisector.
    ends    False leaves the last point out (a full circle, where it would repeat the first)
    Check: published area 4, also by simulation; u_r grows fast below 90 degrees.
    """
    if points < 3:
        raise CannotAnswer(f"{points} points fix no circle")
    positive(arc_rad, "arc")
    t = np.linspace(-0.5 * arc_rad, 0.5 * arc_rad, points if ends else points + 1)[:points]
    j = np.column_stack([np.cos(t), np.sin(t), np.ones(points)])
    normal = j.T @ j
    if np.linalg.cond(normal) > 1e15:
        raise CannotAnswer("the points do not fix a circle")
    ux, uy, ur = sigma * np.sqrt(np.diag(np.linalg.inv(normal)))
    return float(ux), float(uy), float(ur)


def centre_by_touches(
    x_plus: float, x_minus: float, y_plus: float, y_minus: float, tip_diameter: float = 0.0, *, bore: bool = True
) -> tuple[float, float, float, float]:
    """Centre and two diameters (cx, cy, dx, dy) from four touches along the axes.

    tip_diameter    added to a bore's, taken from a boss's, diameters; 0 where the touches are compensated already
    Check: published area 4.
    """
    tip = tip_diameter if bore else -tip_diameter
    return 0.5 * (x_plus + x_minus), 0.5 * (y_plus + y_minus), x_plus - x_minus + tip, y_plus - y_minus + tip
