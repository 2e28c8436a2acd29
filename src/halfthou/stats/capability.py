"""Capability and performance indices, their confidence limits, and what a gauge does to them.

Names as in ISO 22514-2: P for performance (overall spread, stability not shown), C for capability (within-group
spread of a stable process). The arithmetic is the same; the caller chooses the sigma and the name.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special, stats

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import positive, share, vec

LOW_SHARE, MIDDLE_SHARE, HIGH_SHARE = 0.00135, 0.5, 0.99865  # ISO 22514-2: the share a normal law leaves beyond 3 sigma


@dataclass(frozen=True, slots=True, kw_only=True)
class Index:
    """Indices of a characteristic with a lower and an upper limit, either may be open (None)."""

    spread: float  # Cp or Pp, nan with one limit
    low: float  # distance to the lower limit over 3 sigma (Cpl), inf where open
    high: float  # distance to the upper limit over 3 sigma (Cpu), inf where open

    @property
    def worst(self) -> float:
        """Cpk or Ppk: the smaller of the two."""
        return min(self.low, self.high)

    @property
    def centring(self) -> float:
        """k = 1 - Cpk / Cp: 0 centred, 1 on the limit."""
        return 1.0 - self.worst / self.spread


def index(mean: float, sigma: float, low: float | None, high: float | None) -> Index:
    """Cp = (U - L) / 6 sigma; Cpl = (mean - L) / 3 sigma; Cpu = (U - mean) / 3 sigma; Cpk the smaller.

    Source: ISO 22514-2; NIST/SEMATECH e-Handbook 6.1.6.  Check: published area 2.
    >>> round(index(16.0, 2.0, 8.0, 20.0).worst, 4)
    0.6667
    """
    positive(sigma, "sigma")
    if low is None and high is None:
        raise CannotAnswer("an index needs at least one limit")
    if low is not None and high is not None and high <= low:
        raise CannotAnswer(f"the upper limit {high} is not above the lower limit {low}")
    return Index(
        spread=(high - low) / (6.0 * sigma) if low is not None and high is not None else math.nan,
        low=(mean - low) / (3.0 * sigma) if low is not None else math.inf,
        high=(high - mean) / (3.0 * sigma) if high is not None else math.inf,
    )


def about_target(mean: float, sigma: float, low: float, high: float, target: float) -> Index:
    """Cpm, and Cpmk by its `worst`: the same distances over the root of sigma^2 + (mean - target)^2.

    Source: Chan, Cheng & Spiring 1988; Pearn, Kotz & Johnson 1992 (from memory).  Check: published area 2 (0.7071).
    """
    return index(mean, math.hypot(positive(sigma, "sigma"), mean - target), low, high)


def out_share(mean: float, sigma: float, low: float | None, high: float | None) -> float:
    """Share of a normal production beyond its limits, from mean and sigma taken as known."""
    below = special.ndtr((low - mean) / sigma) if low is not None else 0.0
    above = special.ndtr((mean - high) / sigma) if high is not None else 0.0
    return float(below + above)


@dataclass(frozen=True, slots=True, kw_only=True)
class Percentiles:
    """The three percentiles a shape-free index is built from, in the unit of the values."""

    low: float  # X0.135
    middle: float  # X50
    high: float  # X99.865


def percentiles_of(quantile: Callable[[float], float]) -> Percentiles:
    """0.135, 50 and 99.865 % points of a law given by its quantile function."""
    return Percentiles(low=quantile(LOW_SHARE), middle=quantile(MIDDLE_SHARE), high=quantile(HIGH_SHARE))


def by_percentile(points: Percentiles, low: float | None, high: float | None) -> Index:
    """Any shape: Pp = (U - L) / (X99.865 - X0.135); Ppu = (U - X50) / (X99.865 - X50); Ppl = (X50 - L) / (X50 - X0.135).

    With one limit (position, flatness) only the half towards it counts.
    Source: ISO 22514-2.  Check: published area 2, lognormal, uniform and Rayleigh.
    """
    if low is None and high is None:
        raise CannotAnswer("an index needs at least one limit")
    return Index(
        spread=(high - low) / (points.high - points.low) if low is not None and high is not None else math.nan,
        low=(points.middle - low) / (points.middle - points.low) if low is not None else math.inf,
        high=(high - points.middle) / (points.high - points.middle) if high is not None else math.inf,
    )


def rayleigh_percentiles(sigma: float) -> Percentiles:
    """Radial distance with equal sigma in x and y, centred: x_p = sigma sqrt(-2 ln(1 - p)); 1.1774 and 3.635 sigma.

    Source: circular normal law.  Check: published area 2.
    """
    return percentiles_of(lambda p: positive(sigma, "sigma") * math.sqrt(-2.0 * math.log1p(-p)))


def radial_out_share(sigma: float, radius: float) -> float:
    """Share of points beyond a radius, equal sigma in x and y, centred: exp(-r^2 / 2 sigma^2)."""
    return math.exp(-0.5 * (radius / positive(sigma, "sigma")) ** 2)


def spread_bounds(value: float, n: int, confidence: float) -> tuple[float, float]:
    """Two-sided interval of Cp: Cp sqrt(chi2_(a/2) / nu) ... Cp sqrt(chi2_(1-a/2) / nu), nu = n - 1.

    n             sample size, or degrees of freedom + 1 where sigma comes from elsewhere
    confidence    1 - a
    Source: Kane 1986; e-Handbook 6.1.6.  Check: published area 2 (1.57 ... 3.01).
    """
    nu, tail = _nu(n), 0.5 * (1.0 - share(confidence, "confidence"))
    low, high = stats.chi2.ppf((tail, 1.0 - tail), nu)
    return value * math.sqrt(float(low) / nu), value * math.sqrt(float(high) / nu)


def spread_lower(value: float, n: int, confidence: float) -> float:
    """One-sided lower bound of Cp: Cp sqrt(chi2_(1-C) / nu)."""
    nu = _nu(n)
    return value * math.sqrt(float(stats.chi2.ppf(1.0 - share(confidence, "confidence"), nu)) / nu)


def spread_needed(claim: float, n: int, confidence: float) -> float:
    """Cp a sample must show to claim Cp >= claim: claim sqrt(nu / chi2_(1-C)).

    Check: published area 2 (3.1552 for 1.33, n = 5, 95 %).
    """
    return claim / spread_lower(1.0, n, confidence)


def worst_bounds(value: float, n: int, confidence: float) -> tuple[float, float]:
    """Two-sided interval of Cpk, approximate: Cpk ± z sqrt(1 / 9n + Cpk^2 / (2 (n - 1))).

    Optimistic for few parts: use `one_side_lower` below about 30.
    Source: Bissell 1990.  Check: published area 2 (0.89 ... 1.41).
    """
    z = float(special.ndtri(0.5 * (1.0 + share(confidence, "confidence"))))
    half = z * math.sqrt(1.0 / (9.0 * n) + value**2 / (2.0 * _nu(n)))
    return value - half, value + half


def worst_lower(value: float, n: int, confidence: float) -> float:
    """One-sided lower bound of Cpk by the same approximation, with z_C.

    Source: Bissell 1990.  Check: published area 2 (0.2 to 6 % optimistic in five cases).
    """
    z = float(special.ndtri(share(confidence, "confidence")))
    return value - z * math.sqrt(1.0 / (9.0 * n) + value**2 / (2.0 * _nu(n)))


def index_tail(true: float, seen: float, n: int) -> float:
    """Chance that n normal parts show a one-sided index of `seen` or more where the true one is `true`.

    P(t'_(n-1)(3 true sqrt(n)) >= 3 seen sqrt(n)).
    """
    root = 3.0 * math.sqrt(n)
    return float(stats.nct.sf(root * seen, _nu(n), root * true))


def one_side_lower(seen: float, n: int, confidence: float) -> float:
    """Exact lower bound of a one-sided index (Cpu or Cpl): c with P(t'_(n-1)(3 c sqrt(n)) <= 3 seen sqrt(n)) = C.

    For Cpk it is conservative: the other limit can only help it.
    Source: Kane 1986; Kushner & Hurley 1992 (from memory).  Check: published area 2, also by simulation.
    >>> round(one_side_lower(1.33, 5, 0.95), 4)
    0.5163
    """
    wanted = 1.0 - share(confidence, "confidence")
    low = seen - 1.0
    while index_tail(low, seen, n) > wanted:
        low -= 1.0 + abs(low)
    high = seen + 1.0
    while index_tail(high, seen, n) < wanted:
        high += 1.0 + abs(high)
    return float(optimize.brentq(lambda c: index_tail(c, seen, n) - wanted, low, high, xtol=1e-13, rtol=1e-13))


def one_side_needed(claim: float, n: int, confidence: float) -> float:
    """One-sided index a sample must show to claim `claim` (n = 5, 1.33, 95 %: 3.20), exact.

    Source: inverse of `one_side_lower`.
    """
    root = 3.0 * math.sqrt(n)
    return float(stats.nct.ppf(share(confidence, "confidence"), _nu(n), root * claim)) / root


def target_bounds(value: float, n: int, confidence: float, offset_ratio: float = 0.0) -> tuple[float, float]:
    """Two-sided interval of Cpm: chi-square with nu = n (1 + d^2)^2 / (1 + 2 d^2), d = (mean - target) / sigma.

    Source: Boyles 1991 (from memory); approximate.
    """
    d2 = offset_ratio**2
    nu = n * (1.0 + d2) ** 2 / (1.0 + 2.0 * d2)
    tail = 0.5 * (1.0 - share(confidence, "confidence"))
    low, high = stats.chi2.ppf((tail, 1.0 - tail), nu)
    return value * math.sqrt(float(low) / nu), value * math.sqrt(float(high) / nu)


def seen_through_gauge(true: float, gauge_ratio: float) -> float:
    """Cp as observed with a gauge that is `gauge_ratio` of the observed total spread: Cp sqrt(1 - GRR^2).

    Source: addition of variances.  Check: published area 2 (2.0, 30 %: 1.9079).
    """
    if not 0.0 <= gauge_ratio < 1.0:
        raise CannotAnswer(f"the gauge's share of the total spread must lie in 0 ... 1, not {gauge_ratio}")
    return true * math.sqrt(1.0 - gauge_ratio**2)


def true_behind_gauge(seen: float, gauge_ratio: float) -> float:
    """The inverse: true Cp from the observed one, Cp_obs / sqrt(1 - GRR^2)."""
    return seen / seen_through_gauge(1.0, gauge_ratio)


def seen_through_gauge_of_tolerance(true: float, six_sigma_ratio: float) -> float:
    """The same with the gauge as 6 sigma_g / tolerance: 1 / sqrt(1 / Cp^2 + ratio^2).

    Check: published area 2 (1.5, 20 %: 1.4367).
    """
    return 1.0 / math.sqrt(1.0 / positive(true, "true index") ** 2 + six_sigma_ratio**2)


def true_behind_gauge_of_tolerance(seen: float, six_sigma_ratio: float) -> float:
    """The inverse: 1 / sqrt(1 / Cp_obs^2 - ratio^2); CannotAnswer if the gauge alone explains the spread."""
    rest = 1.0 / positive(seen, "observed index") ** 2 - six_sigma_ratio**2
    if rest <= 0:
        raise CannotAnswer("the gauge alone explains the observed spread")
    return 1.0 / math.sqrt(rest)


def overall(values: ArrayLike) -> tuple[float, float, int]:
    """Mean, sample standard deviation (overall, as Pp takes it) and n of at least two values."""
    x = vec(values, 2)
    return float(x.mean()), float(np.std(x, ddof=1)), int(x.size)


def _nu(n: int) -> int:
    """Degrees of freedom; CannotAnswer below two parts."""
    if n < 2:
        raise CannotAnswer(f"a spread needs at least 2 parts, not {n}")
    return n - 1
