"""Laws for what is known only by its limits (type B), their standard uncertainties, and sums of rectangular ones.

Source: JCGM 100:2008 4.3, JCGM 101:2008 6.4.  Check: published area 3.
"""

import math
from itertools import product

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import positive, share, vec


def rectangular(half_width: float) -> float:
    """u = a / sqrt(3) of a value anywhere within ±a.

    >>> round(rectangular(1.0), 4)
    0.5774
    """
    return _half(half_width) / math.sqrt(3.0)


def resolution(step: float) -> float:
    """u = d / sqrt(12) of a reading shown in steps of d.

    >>> round(resolution(0.001), 8)
    0.00028868
    """
    return _half(step) / math.sqrt(12.0)


def triangular(half_width: float) -> float:
    """u = a / sqrt(6): within ±a, most likely in the middle."""
    return _half(half_width) / math.sqrt(6.0)


def u_shaped(half_width: float) -> float:
    """u = a / sqrt(2): within ±a, most likely at the ends (a sine, e.g. cycling temperature)."""
    return _half(half_width) / math.sqrt(2.0)


def trapezoidal(half_width: float, top_ratio: float) -> float:
    """u = a sqrt((1 + b^2) / 6): within ±a, flat over ±b a; b = 0 triangular, b = 1 rectangular."""
    if not 0.0 <= top_ratio <= 1.0:
        raise CannotAnswer(f"the flat top must be 0 ... 1 of the base, not {top_ratio}")
    return _half(half_width) * math.sqrt((1.0 + top_ratio**2) / 6.0)


def curved_trapezoid(low: float, high: float, inexact: float) -> float:
    """u of a rectangular law whose limits are themselves known to ±d only: sqrt((b - a)^2 / 12 + d^2 / 9).

    Source: JCGM 101:2008 6.4.3.
    """
    if high <= low:
        raise CannotAnswer("the upper limit must be above the lower one")
    return math.sqrt((high - low) ** 2 / 12.0 + _half(inexact) ** 2 / 9.0)


def normal_expanded(expanded: float, k: float = 2.0) -> float:
    """u = U / k from a certificate that states an expanded uncertainty."""
    return _half(expanded) / positive(k, "coverage factor")


def _half(value: float) -> float:
    """A half width, not negative."""
    if not (math.isfinite(value) and value >= 0.0):
        raise CannotAnswer(f"a half width cannot be {value}")
    return float(value)


def rectangular_sum_below(x: float, half_widths: ArrayLike) -> float:
    """P(sum <= x) for independent rectangular values within ±a_i, exact.

    1 / (n! prod 2 a_i) * sum over signs s of prod(s) max(0, x + sum s_i a_i)^n.  Holds for up to 14 terms.
    Source: Laplace's formula for sums of uniform values.  Check: published area 3, JCGM 101 9.2.
    """
    a = vec(half_widths)
    if a.size > 14 or np.any(a <= 0):
        raise CannotAnswer("the exact sum needs 1 to 14 half widths above zero")
    signs = np.asarray(list(product((1.0, -1.0), repeat=a.size)))
    terms = np.prod(signs, axis=1) * np.maximum(0.0, x + signs @ a) ** a.size
    top = math.fsum(terms.tolist()) / (math.factorial(a.size) * float(np.prod(2.0 * a)))
    return min(1.0, max(0.0, top))


def rectangular_sum_half_width(half_widths: ArrayLike, coverage: float) -> float:
    """Half width of the symmetric interval that holds the share `coverage` of such a sum."""
    a = vec(half_widths)
    wanted = 0.5 * (1.0 + share(coverage, "coverage"))
    return float(optimize.brentq(lambda x: rectangular_sum_below(x, a) - wanted, 0.0, float(a.sum()), xtol=1e-12))
