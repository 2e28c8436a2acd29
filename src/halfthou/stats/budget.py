"""Uncertainty budgets: combining contributions, effective degrees of freedom, expanded uncertainty, propagation.

Source: JCGM 100:2008 (GUM) clauses 5, 6, G.4.  Check: published area 3, GUM H.1.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import Vec, share, vec


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One line of a budget: what, its standard uncertainty, how it acts, how well it is known."""

    name: str
    u: float  # standard uncertainty of the input, its own unit
    sensitivity: float = 1.0  # unit of the result per unit of the input
    dof: float = math.inf

    @property
    def contribution(self) -> float:
        """c u, unit of the result, with the sign of c."""
        return self.sensitivity * self.u


@dataclass(frozen=True, slots=True, kw_only=True)
class Combined:
    """Combined standard uncertainty and its effective degrees of freedom."""

    u: float
    dof: float

    def expanded(self, confidence: float = 0.95) -> tuple[float, float]:
        """(U, k): k is Student's t for the degrees of freedom, cut down to a whole number as the GUM does."""
        k = coverage_factor(self.dof, confidence)
        return k * self.u, k


def combine(parts: Sequence[Part], correlation: ArrayLike | None = None) -> Combined:
    """u_c = sqrt(sum (c u)^2 (+ 2 sum c_i u_i c_j u_j r_ij)); dof by Welch-Satterthwaite, u_c^4 / sum((c u)^4 / nu).

    correlation    (n, n) matrix of r; the effective degrees of freedom then are only a rough guide
    Source: GUM 5.1.2, 5.2.2, G.4.1.  Check: published area 3 (32 nm, dof 16).
    """
    if not parts:
        raise CannotAnswer("a budget needs at least one contribution")
    c = np.asarray([part.contribution for part in parts])
    r = np.eye(c.size) if correlation is None else np.asarray(correlation, dtype=np.float64)
    if r.shape != (c.size, c.size) or not np.allclose(r, r.T) or not np.allclose(np.diag(r), 1.0):
        raise CannotAnswer(
            "the correlation matrix must be symmetric, with ones on its diagonal, one row a contribution"
        )
    square = float(c @ r @ c)
    if square < 0.0:
        raise CannotAnswer("the correlations contradict each other")
    return Combined(u=math.sqrt(square), dof=effective_dof(math.sqrt(square), c, [part.dof for part in parts]))


def effective_dof(u: float, contributions: ArrayLike, dofs: ArrayLike | Sequence[float]) -> float:
    """Welch-Satterthwaite: u^4 / sum(c_i^4 / nu_i); infinite where every nu is."""
    c, nu = vec(contributions), np.asarray(dofs, dtype=np.float64)
    if nu.shape != c.shape or np.any(nu <= 0):
        raise CannotAnswer("every contribution needs degrees of freedom above zero")
    below = float(np.sum(c**4 / nu))
    return u**4 / below if below > 0.0 else math.inf


def coverage_factor(dof: float, confidence: float) -> float:
    """Student's t for this confidence, degrees of freedom cut down to a whole number (GUM G.4.1); normal if infinite.

    >>> round(coverage_factor(16.7, 0.99), 2)
    2.92
    """
    tail = 0.5 * (1.0 + share(confidence, "confidence"))
    if math.isinf(dof):
        return float(special.ndtri(tail))
    if dof < 1.0:
        raise CannotAnswer(f"{dof:.2f} effective degrees of freedom are too few to expand an uncertainty")
    return float(special.stdtrit(math.floor(dof + 1e-9), tail))


Model = Callable[[Vec], float]


def sensitivities(model: Model, best: ArrayLike, u: ArrayLike) -> Vec:
    """Partial derivatives by central differences over ± u_i / 10 (where u_i is 0, a millionth of the value)."""
    x, step = vec(best), _steps(best, u)
    out = np.empty(x.size)
    for i in range(x.size):
        up, down = x.copy(), x.copy()
        up[i] += step[i]
        down[i] -= step[i]
        out[i] = (model(up) - model(down)) / (up[i] - down[i])
    return out


def _steps(best: ArrayLike, u: ArrayLike, ratio: float = 0.1) -> Vec:
    """Difference steps for each input."""
    x, s = vec(best), vec(u)
    return np.where(s > 0, ratio * s, 1e-6 * np.maximum(np.abs(x), 1.0))


def propagate(model: Model, best: ArrayLike, u: ArrayLike, correlation: ArrayLike | None = None) -> tuple[float, float]:
    """First-order propagation through any model: (value, u_c).

    Fails where the model is flat at the best estimates (x^2 near 0): use `second_order` or draw.propagate there.
    """
    c = sensitivities(model, best, u)
    parts = [
        Part(name=str(i), u=float(s), sensitivity=float(d)) for i, (d, s) in enumerate(zip(c, vec(u), strict=True))
    ]
    return float(model(vec(best))), combine(parts, correlation).u


def second_order(model: Model, best: ArrayLike, u: ArrayLike) -> float:
    """u_c with the next terms: u^2 = sum c_i^2 u_i^2 + sum_ij (f_ij^2 / 2 + f_i f_ijj) u_i^2 u_j^2, independent inputs.

    Differences over one u_i, so it suits smooth models (products, ratios) over ± 2 u.
    Source: GUM 5.1.2, note.  Check: published area 3, GUM H.1 (34 nm).
    """
    x, s = vec(best), vec(u)
    used = [i for i in range(x.size) if s[i] > 0]

    def at(*moves: tuple[int, float]) -> float:
        point = x.copy()
        for i, by in moves:
            point[i] += by * s[i]
        return model(point)

    # everything in units of u, so each term is simply a number in the unit of the result
    slope = {i: (at((i, 0.5)) - at((i, -0.5))) for i in used}
    total = sum(value**2 for value in slope.values())
    middle = at()
    for i in used:
        for j in used:
            if i == j:
                cross = at((i, 1)) - 2 * middle + at((i, -1))
                third = (at((i, 2)) - 2 * at((i, 1)) + 2 * at((i, -1)) - at((i, -2))) / 2
            else:
                cross = (at((i, 1), (j, 1)) - at((i, 1), (j, -1)) - at((i, -1), (j, 1)) + at((i, -1), (j, -1))) / 4
                third = sum(h * (at((i, h), (j, 1)) - 2 * at((i, h)) + at((i, h), (j, -1))) for h in (1.0, -1.0)) / 2
            total += 0.5 * cross**2 + slope[i] * third
    return math.sqrt(max(0.0, total))


def spread_inflation(gauge_ratio: float) -> float:
    """How much a gauge r times finer than the spread widens what is seen: sqrt(1 + 1 / r^2).

    Check: published area 3 (10:1 0.5 %, 4:1 3.1 %).
    >>> round(spread_inflation(4.0), 4)
    1.0308
    """
    if gauge_ratio <= 0:
        raise CannotAnswer("the gauge ratio must be above zero")
    return math.sqrt(1.0 + 1.0 / gauge_ratio**2)
