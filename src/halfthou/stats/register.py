"""Best rigid (or similar) motion that lays one set of points on another."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import Vec


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """y = scale turn x + shift, and the mean squared distance that is left."""

    turn: Vec  # (k, k), determinant +1
    shift: Vec  # (k,)
    scale: float
    mean_square: float

    @property
    def angle_rad(self) -> float:
        """2-D: turn counter-clockwise; 3-D: size of the turn."""
        if self.turn.shape == (2, 2):
            return math.atan2(self.turn[1, 0], self.turn[0, 0])
        return float(np.linalg.norm(self.vector))

    @property
    def vector(self) -> Vec:
        """3-D: rotation vector, axis times angle (rad)."""
        m = self.turn
        skew = 0.5 * np.asarray([m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]])
        sine, cosine = float(np.linalg.norm(skew)), 0.5 * (float(np.trace(m)) - 1.0)
        angle = math.atan2(sine, cosine)
        if sine > 1e-9:
            return np.asarray(skew * (angle / sine))
        if cosine > 0:
            return skew
        axis = np.linalg.svd(m + np.eye(3))[0][:, 0]  # half a turn: m = 2 a a^T - 1
        return np.asarray(math.pi * axis)


def register(source: ArrayLike, target: ArrayLike, weights: ArrayLike | None = None, *, scaled: bool = False) -> Motion:
    """Turn and shift (and scale) that minimise sum w |y - (s R x + t)|^2.

    R = U diag(1, ..., det(U V^T)) V^T from the singular values of the cross-covariance: the determinant keeps a
    mirror image from passing as a turn.

    source, target    (n, k) paired points, k = 2 or 3, n >= k
    Source: Kabsch 1976; Umeyama 1991.  Check: published area 4 (turn -33.69 deg).
    """
    x, y = np.asarray(source, dtype=np.float64), np.asarray(target, dtype=np.float64)
    if x.shape != y.shape or x.ndim != 2 or x.shape[1] not in (2, 3) or len(x) < x.shape[1]:
        raise CannotAnswer("registration needs equally many paired points, at least as many as coordinates")
    w = np.ones(len(x)) if weights is None else np.asarray(weights, dtype=np.float64)
    w = w / w.sum()
    mx, my = w @ x, w @ y
    dx, dy = x - mx, y - my
    u, s, vt = np.linalg.svd(dy.T @ (dx * w[:, None]))
    if s[-2] <= 1e-12 * max(s[0], 1e-300):
        raise CannotAnswer("the points lie on one line or in one place: the turn is not fixed")
    sign = np.ones(len(s))
    sign[-1] = 1.0 if np.linalg.det(u @ vt) > 0 else -1.0
    turn = (u * sign) @ vt
    scale = float((s @ sign) / (w @ np.sum(dx * dx, axis=1))) if scaled else 1.0
    rest = dy - scale * dx @ turn.T
    return Motion(
        turn=turn, shift=my - scale * turn @ mx, scale=scale, mean_square=float(w @ np.sum(rest * rest, axis=1))
    )
