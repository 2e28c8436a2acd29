"""Decision rules for conformity: accept, reject or in doubt, guard bands, and the two risks of being wrong.

Source: ISO 14253-1, JCGM 106:2012.  Check: published area 3.
"""

import math
from dataclasses import dataclass
from enum import Enum

import numpy as np
from scipy import special

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import positive, share


class Decision(Enum):
    """What a measured value with its uncertainty allows to say."""

    CONFORMS = "conforms"
    FAILS = "fails"
    UNDECIDED = "undecided"


def conform_chance(value: float, u: float, low: float | None, high: float | None) -> float:
    """Chance that the true value is within limits: Phi((U - y) / u) - Phi((L - y) / u), normal, no prior.

    Source: JCGM 106:2012 7.2.
    >>> round(conform_chance(0.0, 1.0, -1.96, 1.96), 3)
    0.95
    """
    positive(u, "standard uncertainty")
    above = special.ndtr((high - value) / u) if high is not None else 1.0
    below = special.ndtr((low - value) / u) if low is not None else 0.0
    return float(above - below)


def guard_band(u: float, confidence: float = 0.95) -> float:
    """w = z_C u: one-sided guard band that keeps the risk at the limit at 1 - C (95 %: 1.645 u = 0.822 U, k = 2).

    Source: JCGM 106:2012 8.3.2; ISO 14253-1.
    """
    return float(special.ndtri(share(confidence, "confidence"))) * positive(u, "standard uncertainty")


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """Acceptance zone within limits, either end may be open; empty where the guard bands overlap."""

    low: float | None
    high: float | None
    lost_ratio: float  # share of the tolerance given away (two limits), nan with one

    @property
    def empty(self) -> bool:
        """True if no measured value can be accepted."""
        return self.low is not None and self.high is not None and self.low > self.high


def acceptance_zone(low: float | None, high: float | None, guard: float) -> Zone:
    """Limits moved in by the guard band: [L + w, U - w] (negative w: relaxed acceptance)."""
    if low is None and high is None:
        raise CannotAnswer("conformity needs at least one limit")
    lost = 2.0 * guard / (high - low) if low is not None and high is not None else math.nan
    return Zone(
        low=low + guard if low is not None else None,
        high=high - guard if high is not None else None,
        lost_ratio=lost,
    )


def decide(value: float, low: float | None, high: float | None, guard: float) -> Decision:
    """Proven within, proven outside, or neither (ISO 14253-1): the band ±guard about each limit is in doubt."""
    zone = acceptance_zone(low, high, guard)
    if (zone.low is None or value >= zone.low) and (zone.high is None or value <= zone.high):
        return Decision.CONFORMS
    if (low is not None and value < low - guard) or (high is not None and value > high + guard):
        return Decision.FAILS
    return Decision.UNDECIDED


@dataclass(frozen=True, slots=True, kw_only=True)
class Risks:
    """Global risks: shares of all parts measured."""

    false_accept_ratio: float  # bad parts that pass
    false_reject_ratio: float  # good parts that fail
    bad_ratio: float  # bad parts in the production
    accept_ratio: float  # parts that pass

    @property
    def bad_among_accepted_ratio(self) -> float:
        """Share of the accepted parts that is bad."""
        return self.false_accept_ratio / self.accept_ratio if self.accept_ratio > 0 else math.nan


def risks(mean: float, sigma: float, u: float, low: float, high: float, guard: float = 0.0) -> Risks:
    """Global risks of a normal production (mean, sigma) measured with u and accepted within [L + w, U - w].

    PFA = integral outside of f(x) P(accept | x) dx; PFR = integral inside of f(x) (1 - P(accept | x)) dx.
    Source: JCGM 106:2012 clause 9.  Check: published area 3 (4:1: 0.86 % and 1.55 %).
    """
    positive(sigma, "sigma")
    positive(u, "standard uncertainty")
    if high <= low:
        raise CannotAnswer("the upper limit must be above the lower one")
    accept_low, accept_high = low + guard, high - guard

    def part(a: float, b: float, accepted: bool) -> float:
        a, b = max(a, mean - 9.0 * sigma), min(b, mean + 9.0 * sigma)
        if b <= a:
            return 0.0
        panels = max(4, math.ceil((b - a) / min(u, sigma) / 2.0))
        node, weight = np.polynomial.legendre.leggauss(24)
        edges = np.linspace(a, b, min(panels, 4000) + 1)
        half = 0.5 * np.diff(edges)[:, None]
        x = edges[:-1, None] + half * (node + 1.0)
        passed = special.ndtr((accept_high - x) / u) - special.ndtr((accept_low - x) / u)
        density = np.exp(-0.5 * ((x - mean) / sigma) ** 2) / (sigma * math.sqrt(2.0 * math.pi))
        return float(np.sum(half * weight * density * (passed if accepted else 1.0 - passed)))

    wide = math.hypot(sigma, u)
    bad = float(special.ndtr((low - mean) / sigma) + special.ndtr((mean - high) / sigma))
    return Risks(
        false_accept_ratio=part(-math.inf, low, True) + part(high, math.inf, True),
        false_reject_ratio=part(low, high, False),
        bad_ratio=bad,
        accept_ratio=float(special.ndtr((accept_high - mean) / wide) - special.ndtr((accept_low - mean) / wide)),
    )


def risks_by_ratio(in_tolerance: float, test_ratio: float, guard_of_expanded: float = 0.0, k: float = 2.0) -> Risks:
    """The same for a centred production with a known share in tolerance and a test uncertainty ratio.

    test_ratio           tolerance half width / U, U = k u
    guard_of_expanded    guard band as a fraction of U
    Check: published area 3 (2:1, 4:1, 10:1 at 95 % in tolerance).
    """
    sigma = 1.0 / float(special.ndtri(0.5 * (1.0 + share(in_tolerance, "share in tolerance"))))
    expanded = 1.0 / positive(test_ratio, "test uncertainty ratio")
    return risks(0.0, sigma, expanded / k, -1.0, 1.0, guard_of_expanded * expanded)
