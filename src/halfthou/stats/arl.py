"""Average run lengths: how many values pass, on average, before a chart signals."""

import math

import numpy as np
from scipy import special

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import Vec, positive

_NODES = 200


def shewhart(shift: float, n: int = 1, width: float = 3.0) -> float:
    """Run length of a chart of means of n: 1 / (Phi(-L - d sqrt(n)) + Phi(-L + d sqrt(n))).

    shift    d, shift of the process mean in process sigma
    Source: e-Handbook 6.3.2.  Check: published area 1 (370.4 at no shift, 43.9 at 1 sigma).
    >>> round(shewhart(0.0), 1)
    370.4
    """
    moved = shift * math.sqrt(n)
    return 1.0 / float(special.ndtr(-width - moved) + special.ndtr(-width + moved))


def _density(x: Vec) -> Vec:
    """Standard normal density."""
    return np.asarray(np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi), dtype=np.float64)


def cusum_one_side(shift: float, k: float, h: float, start: float = 0.0, nodes: int = _NODES) -> float:
    """Run length of the upper one-sided CUSUM, started at `start`; everything in sigma.

    Solves g(z) = 1 + g(0) Phi(k - z - d) + integral 0 ... h of g(y) phi(y + k - z - d) dy by Gauss-Legendre nodes.
    Source: Page 1954; Lucas & Crosier 1982.  Check: published area 1, agrees with independent code to 4 digits.
    """
    positive(h, "h")
    node, weight = np.polynomial.legendre.leggauss(nodes)
    y, w = 0.5 * h * (node + 1.0), 0.5 * h * weight
    z = np.concatenate(([0.0], y))  # unknowns: g at 0 and at the nodes
    matrix = np.zeros((nodes + 1, nodes + 1))
    matrix[:, 0] = special.ndtr(k - z - shift)
    matrix[:, 1:] = w * _density(y[None, :] + k - z[:, None] - shift)
    g = np.linalg.solve(np.eye(nodes + 1) - matrix, np.ones(nodes + 1))
    if start == 0.0:
        return float(g[0])
    s = np.asarray([start])
    return float(1.0 + g[0] * special.ndtr(k - start - shift) + (w * _density(y + k - s - shift)) @ g[1:])


def cusum(shift: float, k: float, h: float, start: float = 0.0) -> float:
    """Run length of the two-sided CUSUM: 1 / ARL = 1 / ARL+ + 1 / ARL- (start 0; sigma units).

    With a head start the same rule is not exact; Lucas & Crosier 1982 give
    (H+ L- + H- L+ - L+ L-) / (L+ + L-), with H with and L without head start, which is used here.
    Check: published area 1.
    >>> round(cusum(0.0, 0.5, 4.0), 1)
    167.7
    """
    up, down = cusum_one_side(shift, k, h), cusum_one_side(-shift, k, h)
    if start == 0.0:
        return 1.0 / (1.0 / up + 1.0 / down)
    head_up, head_down = cusum_one_side(shift, k, h, start), cusum_one_side(-shift, k, h, start)
    return (head_up * down + head_down * up - up * down) / (up + down)


def ewma(shift: float, weight: float, width: float, start: float = 0.0, nodes: int = _NODES) -> float:
    """Run length of a two-sided EWMA chart with constant limits ± L sqrt(w / (2 - w)), sigma units.

    Solves g(u) = 1 + (1 / w) integral of g(y) phi((y - (1 - w) u) / w - d) dy over the limits.
    Source: Lucas & Saccucci 1990; Crowder 1987.  Check: published area 1 (500, 31.3, 10.3, 4.36).
    """
    if not 0.0 < weight <= 1.0:
        raise CannotAnswer(f"the EWMA weight must lie in 0 ... 1, not {weight}")
    half = positive(width, "width") * math.sqrt(weight / (2.0 - weight))
    count = max(nodes, int(20.0 * half / weight))
    node, w = np.polynomial.legendre.leggauss(count)
    y, w = half * node, half * w / weight
    matrix = w * _density((y[None, :] - (1.0 - weight) * y[:, None]) / weight - shift)
    g = np.linalg.solve(np.eye(count) - matrix, np.ones(count))
    return float(1.0 + (w * _density((y - (1.0 - weight) * start) / weight - shift)) @ g)


def exit_time(half: float, nodes: int = _NODES) -> float:
    """Mean number of steps of a unit Gaussian walk from 0 until it leaves ±half: g(u) = 1 + integral g(y) phi(y - u) dy.

    The dead-band adjustment rule uses it with half = L / (lambda sigma).
    Source: Box & Luceno 1997; Crowder 1992 (from memory).  Check: published area 7 (1.61, 2.78, 6.91, 13.09, 21.25).
    """
    positive(half, "half")
    count = max(nodes, int(20.0 * half))
    node, weight = np.polynomial.legendre.leggauss(count)
    y, w = half * node, half * weight
    matrix = w * _density(y[None, :] - y[:, None])
    g = np.linalg.solve(np.eye(count) - matrix, np.ones(count))
    return float(1.0 + (w * _density(y)) @ g)
