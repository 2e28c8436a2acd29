"""Weighted least squares with covariance and rank, and the straight line with its prediction limits.

Source: Gauss-Markov; NIST/SEMATECH e-Handbook 4.4.  Check: published area 7.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import Vec, share, vec


@dataclass(frozen=True, slots=True, kw_only=True)
class Solution:
    """Result of a weighted least squares problem of n equations and k unknowns."""

    x: Vec  # (k,)
    covariance: Vec  # (k, k), for weights that are 1 / variance; else times residual_var
    residuals: Vec  # (n,) y - A x
    dof: int  # n - rank
    rank: int
    chi2: float  # sum of weighted squared residuals

    @property
    def residual_var(self) -> float:
        """chi2 / dof: near 1 if the weights are true, nan without spare equations."""
        return self.chi2 / self.dof if self.dof > 0 else math.nan


def solve(a: ArrayLike, y: ArrayLike, weights: ArrayLike | None = None) -> Solution:
    """Minimise sum w (y - A x)^2; covariance (A^T W A)^-1. CannotAnswer if A has not full column rank.

    a          (n, k) design matrix
    weights    (n,) 1 / variance, default ones
    Check: published area 7, deviations solved back to offsets.
    """
    matrix, right = np.asarray(a, dtype=np.float64), vec(y)
    if matrix.ndim != 2 or matrix.shape[0] != right.size:
        raise CannotAnswer(f"{right.size} values do not fit a matrix of shape {matrix.shape}")
    w = np.ones(right.size) if weights is None else vec(weights)
    if w.size != right.size or np.any(w <= 0):
        raise CannotAnswer("every value needs a weight above zero")
    root = np.sqrt(w)
    u, s, vt = np.linalg.svd(matrix * root[:, None], full_matrices=False)
    rank = int(np.count_nonzero(s > max(matrix.shape) * np.finfo(float).eps * (s[0] if s.size else 0.0)))
    if rank < matrix.shape[1]:
        raise CannotAnswer(f"only {rank} of {matrix.shape[1]} unknowns can be told apart by these {right.size} values")
    x = vt.T @ ((u.T @ (right * root)) / s)
    rest = right - matrix @ x
    return Solution(
        x=x, covariance=(vt.T / s**2) @ vt, residuals=rest, dof=right.size - rank, rank=rank, chi2=float(w @ rest**2)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """y = slope x + intercept by ordinary least squares, with what is needed to predict."""

    slope: float
    intercept: float
    s: float  # residual standard deviation, n - 2 degrees of freedom
    n: int
    x_mean: float
    sxx: float

    @property
    def slope_std(self) -> float:
        """s / sqrt(Sxx)."""
        return self.s / math.sqrt(self.sxx)

    @property
    def intercept_std(self) -> float:
        """s sqrt(1/n + xbar^2 / Sxx)."""
        return self.s * math.sqrt(1.0 / self.n + self.x_mean**2 / self.sxx)

    def at(self, x: float) -> float:
        """Height of the line."""
        return self.slope * x + self.intercept

    def predict_std(self, x: float) -> float:
        """Standard error of one new value at x: s sqrt(1 + 1/n + (x - xbar)^2 / Sxx)."""
        return self.s * math.sqrt(1.0 + 1.0 / self.n + (x - self.x_mean) ** 2 / self.sxx)

    def predict(self, x: float, confidence: float = 0.95) -> tuple[float, float]:
        """Interval for one new value at x (Student's t, n - 2)."""
        half = float(special.stdtrit(self.n - 2, 0.5 * (1.0 + share(confidence, "confidence")))) * self.predict_std(x)
        return self.at(x) - half, self.at(x) + half


def line(x: ArrayLike, y: ArrayLike) -> Line:
    """Ordinary least squares line of at least three points with two different x.

    Source: e-Handbook 4.4.  Check: published area 7, regression chart.
    """
    a, b = vec(x, 3), vec(y, 3)
    if a.size != b.size:
        raise CannotAnswer("x and y must be equally many")
    dx = a - a.mean()
    sxx = float(dx @ dx)
    if sxx <= 0.0:
        raise CannotAnswer("a line needs at least two different x")
    slope = float(dx @ (b - b.mean())) / sxx
    intercept = float(b.mean()) - slope * float(a.mean())
    rest = b - b.mean() - slope * dx
    s = math.sqrt(float(rest @ rest) / (a.size - 2))
    return Line(slope=slope, intercept=intercept, s=s, n=int(a.size), x_mean=float(a.mean()), sxx=sxx)
