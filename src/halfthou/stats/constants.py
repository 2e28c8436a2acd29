"""Chart constants from first principles: moments of the range and of the standard deviation of normal samples.

Nothing here is a table: the range moments are integrals over order statistics (Tippett 1925, from memory), c4 is a
ratio of gamma functions. Printed tables agree to their last digit (tests/published/metrology-cases.json, area 1).
Two printed tables differ for n = 15 (D3, D4); integration settles it: 0.347 and 1.653.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import special

from halfthou.base.errors import CannotAnswer

_END = 9.0  # the normal law beyond 9 sigma is below 1e-18


@dataclass(frozen=True, slots=True, kw_only=True)
class Constants:
    """Constants for subgroups of n, all ratios; the trade's letters are in brackets."""

    n: int
    range_mean_ratio: float  # d2 = E[R / sigma]
    range_sd_ratio: float  # d3 = sd(R / sigma)
    sd_mean_ratio: float  # c4 = E[s / sigma]
    mean_known_ratio: float  # A  = 3 / sqrt(n)
    mean_by_range_ratio: float  # A2 = 3 / (d2 sqrt(n))
    mean_by_sd_ratio: float  # A3 = 3 / (c4 sqrt(n))
    range_low_ratio: float  # D3 = max(0, 1 - 3 d3 / d2)
    range_high_ratio: float  # D4 = 1 + 3 d3 / d2
    sd_low_ratio: float  # B3 = max(0, 1 - 3 sqrt(1 - c4^2) / c4)
    sd_high_ratio: float  # B4 = 1 + 3 sqrt(1 - c4^2) / c4
    range_low_known_ratio: float  # D1 = max(0, d2 - 3 d3)
    range_high_known_ratio: float  # D2 = d2 + 3 d3
    sd_low_known_ratio: float  # B5 = max(0, c4 - 3 sqrt(1 - c4^2))
    sd_high_known_ratio: float  # B6 = c4 + 3 sqrt(1 - c4^2)
    single_by_range_ratio: float  # E2 = 3 / d2


@lru_cache(maxsize=256)
def range_moments(n: int) -> tuple[float, float]:
    """Mean and standard deviation of R / sigma for n normal values: (d2, d3).

    P(R <= r) = n * integral of phi(x) (Phi(x + r) - Phi(x))^(n-1) dx;  E R = integral of (1 - P) dr,
    E R^2 = 2 * integral of r (1 - P) dr. Gauss-Legendre, error below 1e-9 for n = 2 ... 1000.

    Source: order statistics; printed tables to 3 digits.  Check: published area 1, control chart constants.
    >>> [round(v, 3) for v in range_moments(5)]
    [2.326, 0.864]
    """
    if n < 2:
        raise CannotAnswer(f"a range needs at least 2 values in a subgroup, not {n}")
    node, weight = np.polynomial.legendre.leggauss(400)
    x, wx = _END * node, _END * weight
    r, wr = _END * (node + 1.0), _END * weight  # 0 ... 18 sigma
    phi = np.exp(-0.5 * x * x) / math.sqrt(2.0 * math.pi)
    gap = special.ndtr(x[None, :] + r[:, None]) - special.ndtr(x)[None, :]
    below = n * (gap ** (n - 1)) @ (wx * phi)
    above = 1.0 - np.minimum(below, 1.0)
    mean = float(wr @ above)
    square = float(2.0 * wr @ (r * above))
    return mean, math.sqrt(square - mean * mean)


def sd_mean_ratio(n: int) -> float:
    """c4 = E[s / sigma] = sqrt(2 / (n - 1)) Gamma(n / 2) / Gamma((n - 1) / 2), n >= 2.

    Source: moments of the chi law.  Check: published area 1.
    >>> round(sd_mean_ratio(5), 4)
    0.94
    """
    if n < 2:
        raise CannotAnswer(f"a standard deviation needs at least 2 values, not {n}")
    return math.sqrt(2.0 / (n - 1)) * math.exp(math.lgamma(n / 2.0) - math.lgamma((n - 1) / 2.0))


def range_rms_ratio(n: int, groups: int = 1) -> float:
    """d2* = sqrt(d2^2 + d3^2 / groups): divisor that makes (mean range / d2*)^2 unbiased for sigma^2.

    1 / d2* are the K factors of the average-and-range gauge study (K1 with many groups is 1 / d2).

    groups   number of ranges averaged, >= 1
    Source: Duncan 1955, from memory.  Check: published area 1, K2 = 0.5231 (n = 3), K3 = 0.3146 (n = 10).
    >>> round(1 / range_rms_ratio(10), 4)
    0.3146
    """
    d2, d3 = range_moments(n)
    return math.sqrt(d2 * d2 + d3 * d3 / groups)


def constants(n: int) -> Constants:
    """All constants for subgroups of n >= 2 (three-sigma limits).

    Source: A, B, D, E series as in the NIST/SEMATECH e-Handbook 6.3.2 and printed tables.  Check: published area 1.
    >>> round(constants(5).mean_by_range_ratio, 3)
    0.577
    """
    d2, d3 = range_moments(n)
    c4 = sd_mean_ratio(n)
    rest = math.sqrt(1.0 - c4 * c4)
    root = math.sqrt(n)
    return Constants(
        n=n,
        range_mean_ratio=d2,
        range_sd_ratio=d3,
        sd_mean_ratio=c4,
        mean_known_ratio=3.0 / root,
        mean_by_range_ratio=3.0 / (d2 * root),
        mean_by_sd_ratio=3.0 / (c4 * root),
        range_low_ratio=max(0.0, 1.0 - 3.0 * d3 / d2),
        range_high_ratio=1.0 + 3.0 * d3 / d2,
        sd_low_ratio=max(0.0, 1.0 - 3.0 * rest / c4),
        sd_high_ratio=1.0 + 3.0 * rest / c4,
        range_low_known_ratio=max(0.0, d2 - 3.0 * d3),
        range_high_known_ratio=d2 + 3.0 * d3,
        sd_low_known_ratio=max(0.0, c4 - 3.0 * rest),
        sd_high_known_ratio=c4 + 3.0 * rest,
        single_by_range_ratio=3.0 / d2,
    )
