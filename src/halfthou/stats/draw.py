"""Monte Carlo propagation with a stated seed: the same seed gives the same numbers on the same machine.

Source: JCGM 101:2008.  Check: published area 3, the gauge block of 9.5 and the additive models of 9.2.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import Vec, share, vec

Draw = Callable[[np.random.Generator, int], Vec]


def normal(mean: float, u: float) -> Draw:
    """Normal law."""
    return lambda rng, n: rng.normal(mean, u, n)


def student(mean: float, scale: float, dof: float) -> Draw:
    """Scaled and shifted t: what is known after dof + 1 repeated readings (JCGM 101 6.4.9)."""
    return lambda rng, n: mean + scale * rng.standard_t(dof, n)


def rectangular(low: float, high: float) -> Draw:
    """Anywhere between two limits."""
    return lambda rng, n: rng.uniform(low, high, n)


def triangular(low: float, high: float) -> Draw:
    """Between two limits, most likely in the middle."""
    return lambda rng, n: rng.triangular(low, 0.5 * (low + high), high, n)


def trapezoidal(low: float, high: float, top_ratio: float) -> Draw:
    """Sum of two rectangular values; flat over top_ratio of the base (JCGM 101 6.4.4)."""
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    first, second = half * (1.0 + top_ratio) / 2.0, half * (1.0 - top_ratio) / 2.0
    return lambda rng, n: middle + rng.uniform(-first, first, n) + rng.uniform(-second, second, n)


def u_shaped(low: float, high: float) -> Draw:
    """A sine of unknown phase between two limits (JCGM 101 6.4.6)."""
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    return lambda rng, n: middle + half * np.sin(rng.uniform(0.0, 2.0 * math.pi, n))


def curved_trapezoid(low: float, high: float, inexact: float) -> Draw:
    """Rectangular with limits known to ±inexact only (JCGM 101 6.4.3)."""

    def draw(rng: np.random.Generator, n: int) -> Vec:
        start = rng.uniform(low - inexact, low + inexact, n)
        end = low + high - start
        return start + (end - start) * rng.uniform(0.0, 1.0, n)

    return draw


@dataclass(frozen=True, slots=True, kw_only=True)
class Drawn:
    """What a simulation says; the error of each number falls with the root of `trials`."""

    mean: float
    u: float
    values: Vec  # sorted
    seed: int
    trials: int

    def symmetric(self, coverage: float) -> tuple[float, float]:
        """Interval with equal chances left out on both sides."""
        tail = 0.5 * (1.0 - share(coverage, "coverage"))
        low, high = np.quantile(self.values, (tail, 1.0 - tail))
        return float(low), float(high)

    def shortest(self, coverage: float) -> tuple[float, float]:
        """Shortest interval that holds this share (JCGM 101 7.7)."""
        n = self.values.size
        held = min(n - 1, round(share(coverage, "coverage") * n))
        widths = self.values[held:] - self.values[: n - held]
        at = int(np.argmin(widths))
        return float(self.values[at]), float(self.values[at + held])


def propagate(
    model: Callable[[Sequence[Vec]], Vec], laws: Sequence[Draw], *, trials: int = 200_000, seed: int = 0
) -> Drawn:
    """Draw every input `trials` times, pass the columns through the model, and describe the result.

    model    takes one array (trials,) an input, returns (trials,)
    """
    if trials < 100:
        raise CannotAnswer(f"{trials} trials say nothing; use at least 100, better 10 000")
    rng = np.random.default_rng(seed)
    out = np.sort(vec(model([law(rng, trials) for law in laws])))
    return Drawn(mean=float(out.mean()), u=float(out.std(ddof=1)), values=out, seed=seed, trials=trials)


def total(columns: Sequence[Vec]) -> Vec:
    """The additive model."""
    return np.asarray(np.sum(np.asarray(columns), axis=0), dtype=np.float64)


def gauge_block_nm(columns: Sequence[Vec], nominal_nm: float = 50e6) -> Vec:
    """End gauge compared with a standard: deviation from nominal in nm.

    (Ls (1 + a (t - dt)) + D) / (1 + (a + da) t) - nominal, columns: Ls, D (nm), a, da (1/K), t, dt (K).
    Source: JCGM 101:2008 9.5, GUM H.1.
    """
    ls, d, a, da, t, dt = columns
    return np.asarray((ls * (1.0 + a * (t - dt)) + d) / (1.0 + (a + da) * t) - nominal_nm, dtype=np.float64)


def share_outside(values: ArrayLike, low: float | None, high: float | None) -> float:
    """Share of drawn values beyond limits, either may be open."""
    x = vec(values)
    bad = np.zeros(x.size, dtype=bool)
    if low is not None:
        bad |= x < low
    if high is not None:
        bad |= x > high
    return float(np.mean(bad))
