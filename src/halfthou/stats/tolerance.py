"""Statistical tolerance intervals: where most of a production lies, said with a confidence.

A tolerance interval of coverage p and confidence C holds at least the share p of all parts in C of all samplings.
"""

import math

import numpy as np
from scipy import optimize, special, stats

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import Vec, share


def one_side_factor(n: int, coverage: float, confidence: float) -> float:
    """k1 of the one-sided limit mean + k1 s: noncentral t quantile t'(C; n - 1, z_p sqrt(n)) / sqrt(n), exact.

    Source: Odeh & Owen 1980; NIST/SEMATECH e-Handbook 7.2.6.3.  Check: published area 1 (n = 10, 95/95: 2.911).
    >>> round(one_side_factor(10, 0.95, 0.95), 3)
    2.911
    """
    _check(n, coverage, confidence)
    root = math.sqrt(n)
    return float(stats.nct.ppf(confidence, n - 1, float(special.ndtri(coverage)) * root)) / root


def one_side_factor_natrella(n: int, coverage: float, confidence: float) -> float:
    """Natrella's closed form of k1: (z_p + sqrt(z_p^2 - a b)) / a, a = 1 - z_C^2 / (2 (n - 1)), b = z_p^2 - z_C^2 / n.

    Good for n of 30 and more (n = 43, 90/99: 1.8752 against the exact 1.8740).
    Source: Natrella 1963; NIST/SEMATECH e-Handbook 7.2.6.3.
    """
    _check(n, coverage, confidence)
    zp, zc = float(special.ndtri(coverage)), float(special.ndtri(confidence))
    a, b = 1.0 - zc**2 / (2.0 * (n - 1)), zp**2 - zc**2 / n
    if a <= 0 or zp**2 < a * b:
        raise CannotAnswer(f"Natrella's formula does not hold for n = {n}")
    return (zp + math.sqrt(zp**2 - a * b)) / a


def howe_factor(n: int, coverage: float, confidence: float) -> float:
    """Howe's two-sided factor: z_((1+p)/2) sqrt((n - 1)(1 + 1/n) / chi2_(1-C, n-1)).

    Below the exact one by up to about 0.5 % for n above 5 (n = 43, 90/99: 2.2173 against 2.2228).
    Source: Howe 1969; NIST/SEMATECH e-Handbook 7.2.6.3.  Check: published area 1.
    """
    _check(n, coverage, confidence)
    z = float(special.ndtri(0.5 * (1.0 + coverage)))
    chi2 = float(stats.chi2.ppf(1.0 - confidence, n - 1))
    return z * math.sqrt((n - 1) * (1.0 + 1.0 / n) / chi2)


def two_side_factor(n: int, coverage: float, confidence: float) -> float:
    """Exact two-sided factor k2: solves integral of P(chi2 >= nu r(z)^2 / k^2) phi(z sqrt(n)) sqrt(n) dz = C.

    r(z) is the half width of an interval about z that holds the share p of a standard normal.
    Source: Odeh & Owen 1980; ISO 16269-6.  Check: published area 1 (n = 5, 99/95: 6.598), two routes.
    >>> round(two_side_factor(10, 0.95, 0.95), 3)
    3.393
    """
    _check(n, coverage, confidence)
    node, weight = np.polynomial.legendre.leggauss(160)
    z = 8.5 * node / math.sqrt(n)
    w = 8.5 * weight * np.exp(-0.5 * (8.5 * node) ** 2) / math.sqrt(2.0 * math.pi)
    r = _half_widths(z, coverage)

    def short(k: float) -> float:
        return float(w @ special.chdtrc(n - 1, (n - 1) * (r / k) ** 2)) - confidence

    guess = howe_factor(n, coverage, confidence)
    return float(optimize.brentq(short, 0.3 * guess, 3.0 * guess, xtol=1e-12, rtol=1e-13))


def _half_widths(z: Vec, coverage: float) -> Vec:
    """r with Phi(z + r) - Phi(z - r) = coverage, by Newton steps from above (the function is concave in r > 0)."""
    r: Vec = np.abs(z) + float(special.ndtri(0.5 * (1.0 + coverage)))
    for _ in range(60):
        gap = special.ndtr(z + r) - special.ndtr(z - r) - coverage
        slope = (np.exp(-0.5 * (z + r) ** 2) + np.exp(-0.5 * (z - r) ** 2)) / math.sqrt(2.0 * math.pi)
        step = gap / slope
        r = np.maximum(r - step, 0.5 * r)
        if float(np.max(np.abs(step))) < 1e-14:
            break
    return r


def _check(n: int, coverage: float, confidence: float) -> None:
    """Complain about impossible questions."""
    if n < 2:
        raise CannotAnswer(f"a tolerance interval needs at least 2 values, not {n}")
    share(coverage, "coverage")
    share(confidence, "confidence")


def free_confidence(n: int, coverage: float, *, two_sided: bool = True) -> float:
    """Confidence that min ... max (or one end) of n values holds the share p, whatever the shape.

    Two ends: 1 - n p^(n-1) + (n - 1) p^n; one end: 1 - p^n.
    Source: Wilks 1941.  Check: published area 2 (46, 93, 473).
    """
    if two_sided:
        return 1.0 - n * coverage ** (n - 1) + (n - 1) * coverage**n
    return 1.0 - coverage**n


def free_size(coverage: float, confidence: float, *, two_sided: bool = True) -> int:
    """Smallest n whose min ... max (or one end) is a tolerance interval, whatever the shape.

    Source: Wilks 1941.  Check: published area 2.
    >>> free_size(0.95, 0.95)
    93
    """
    share(coverage, "coverage")
    share(confidence, "confidence")
    low, high = 1, 2
    while free_confidence(high, coverage, two_sided=two_sided) < confidence:
        low, high = high, 2 * high
    while high - low > 1:
        middle = (low + high) // 2
        if free_confidence(middle, coverage, two_sided=two_sided) >= confidence:
            high = middle
        else:
            low = middle
    return high
