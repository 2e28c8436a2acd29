"""What a few parts prove: predictive chance of the next part, zero-failure samples, counts and proportions."""

import math

from scipy import optimize, special, stats

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import positive, share


def next_in_limits(mean: float, s: float, n: int, low: float | None, high: float | None) -> float:
    """Chance that the next part is within limits, mean and sigma both learned from n parts (flat prior).

    T_(n-1)((U - mean) / (s sqrt(1 + 1/n))) - T_(n-1)((L - mean) / (s sqrt(1 + 1/n))).

    n    parts measured, >= 2; parts normal and independent
    Source: t predictive distribution (Geisser 1993, from memory).  Check: published area 2, simulated posterior.
    """
    if n < 2:
        raise CannotAnswer(f"a prediction needs at least 2 parts, not {n}")
    width = positive(s, "standard deviation") * math.sqrt(1.0 + 1.0 / n)
    above = special.stdtr(n - 1, (high - mean) / width) if high is not None else 1.0
    below = special.stdtr(n - 1, (low - mean) / width) if low is not None else 0.0
    return float(above - below)


def prediction_limits(mean: float, s: float, n: int, confidence: float, parts: int = 1) -> tuple[float, float]:
    """Interval that holds the next `parts` parts together with at least this confidence (Bonferroni for several)."""
    t = float(special.stdtrit(n - 1, 1.0 - 0.5 * (1.0 - share(confidence, "confidence")) / parts))
    half = t * s * math.sqrt(1.0 + 1.0 / n)
    return mean - half, mean + half


def chance_spread_above(claim: float, seen: float, n: int) -> float:
    """P(Cp > claim) after n parts showed Cp = seen, flat prior on ln sigma: P(chi2_(n-1) > (n - 1) (claim / seen)^2).

    Source: posterior of sigma^2 (from memory).  Check: published area 2.
    """
    if n < 2:
        raise CannotAnswer(f"a spread needs at least 2 parts, not {n}")
    return float(special.chdtrc(n - 1, (n - 1) * (claim / positive(seen, "observed index")) ** 2))


def zero_failure_size(reliability: float, confidence: float) -> int:
    """Good parts in a row that prove a share of good parts: n = ceil(ln(1 - C) / ln R), no failure allowed.

    Source: binomial law.  Check: published area 2 (22, 59, 299, 45, 29).
    >>> zero_failure_size(0.95, 0.95)
    59
    """
    n = math.log1p(-share(confidence, "confidence")) / math.log(share(reliability, "reliability"))
    return math.ceil(n - 1e-9)


def failure_size(reliability: float, confidence: float, failures: int) -> int:
    """Smallest n that proves the share R with confidence C if `failures` bad parts turn up (binomial)."""
    if failures == 0:
        return zero_failure_size(reliability, confidence)
    share(reliability, "reliability")
    n = failures + 1
    while float(special.bdtr(failures, n, 1.0 - reliability)) > 1.0 - confidence:
        n += 1
    return n


def proved_share(n: int, failures: int, confidence: float) -> float:
    """Share of good parts proved by n parts with this many bad ones: Clopper-Pearson one-sided lower bound.

    Source: Clopper & Pearson 1934; zero failures: (1 - C)^(1/n).
    >>> round(proved_share(59, 0, 0.95), 4)
    0.9505
    """
    if not 0 <= failures <= n or n < 1:
        raise CannotAnswer(f"{failures} failures among {n} parts is not possible")
    if failures == n:
        return 0.0
    return float(special.betaincinv(n - failures, failures + 1, 1.0 - share(confidence, "confidence")))


def bad_share_bounds(n: int, bad: int, confidence: float) -> tuple[float, float]:
    """Exact two-sided interval of the bad share: Clopper-Pearson.

    Source: Clopper & Pearson 1934; NIST/SEMATECH e-Handbook 7.2.4.
    """
    if not 0 <= bad <= n or n < 1:
        raise CannotAnswer(f"{bad} bad parts among {n} is not possible")
    tail = 0.5 * (1.0 - share(confidence, "confidence"))
    low = 0.0 if bad == 0 else float(special.betaincinv(bad, n - bad + 1, tail))
    high = 1.0 if bad == n else float(special.betaincinv(bad + 1, n - bad, 1.0 - tail))
    return low, high


def score_bounds(n: int, bad: int, confidence: float) -> tuple[float, float]:
    """Wilson's score interval of the bad share (e-Handbook 7.2.4.1), approximate but good for n above about 10."""
    z = float(special.ndtri(0.5 * (1.0 + share(confidence, "confidence"))))
    p = bad / n
    middle = p + z * z / (2 * n)
    half = z * math.sqrt(p * (1 - p) / n + z * z / (4 * n * n))
    return (middle - half) / (1 + z * z / n), (middle + half) / (1 + z * z / n)


def count_bounds(count: int, confidence: float) -> tuple[float, float]:
    """Exact two-sided interval of a Poisson mean from one count: chi2_(a/2, 2c) / 2 ... chi2_(1-a/2, 2c+2) / 2.

    Source: Garwood 1936 (from memory).
    """
    tail = 0.5 * (1.0 - share(confidence, "confidence"))
    low = 0.0 if count == 0 else 0.5 * float(stats.chi2.ppf(tail, 2 * count))
    return low, 0.5 * float(stats.chi2.ppf(1.0 - tail, 2 * count + 2))


def accept_chance(n: int, allowed: int, bad_share: float, lot: int | None = None) -> float:
    """Chance that a lot passes the plan (n, allowed): binomial, or hypergeometric for a lot of known size.

    Source: e-Handbook 6.2.3.
    """
    if lot is None:
        return float(special.bdtr(allowed, n, bad_share))
    return float(stats.hypergeom.cdf(allowed, lot, round(bad_share * lot), n))


def mean_bounds(mean: float, s: float, n: int, confidence: float) -> tuple[float, float]:
    """Two-sided interval of the mean: mean ± t s / sqrt(n) (e-Handbook 7.2.2.1)."""
    half = float(special.stdtrit(n - 1, 0.5 * (1.0 + share(confidence, "confidence")))) * s / math.sqrt(n)
    return mean - half, mean + half


def sd_bounds(s: float, n: int, confidence: float) -> tuple[float, float]:
    """Two-sided interval of sigma: s sqrt(nu / chi2_(1-a/2)) ... s sqrt(nu / chi2_(a/2)) (e-Handbook 7.2.3.1)."""
    tail = 0.5 * (1.0 - share(confidence, "confidence"))
    low, high = stats.chi2.ppf((tail, 1.0 - tail), n - 1)
    return s * math.sqrt((n - 1) / float(high)), s * math.sqrt((n - 1) / float(low))


def size_for_mean(sigma: float, half_width: float, confidence: float) -> int:
    """Parts needed to know a mean to ± half_width when sigma is known: ceil((z sigma / half_width)^2)."""
    z = float(special.ndtri(0.5 * (1.0 + share(confidence, "confidence"))))
    return math.ceil((z * positive(sigma, "sigma") / positive(half_width, "half width")) ** 2 - 1e-9)


def size_for_spread(ratio: float, confidence: float, most: int = 100_000) -> int:
    """Smallest n whose Cp lower bound is at least `ratio` of the Cp seen: sqrt(chi2_(1-C, n-1) / (n - 1)) >= ratio."""
    share(ratio, "ratio")

    def kept(n: float) -> float:
        return math.sqrt(float(stats.chi2.ppf(1.0 - confidence, n - 1)) / (n - 1)) - ratio

    if kept(most) < 0:
        raise CannotAnswer(f"more than {most} parts would be needed")
    return math.ceil(float(optimize.brentq(kept, 2.0, most, xtol=1e-6)) - 1e-6) if kept(2.0) < 0 else 2
