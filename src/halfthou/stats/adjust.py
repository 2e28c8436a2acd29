"""Adjustment without tampering: what correcting a process does to its spread, and when to correct.

Source: Deming (funnel), Grubbs 1954 (set-up), Box & Luceno 1997, del Castillo 1998 (from memory).
Check: published area 7.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from halfthou.base.errors import CannotAnswer
from halfthou.stats import arl
from halfthou.stats.lsq import Line
from halfthou.stats.number import Vec, positive, vec


def funnel(noise: ArrayLike, rule: int) -> Vec:
    """Where the drops land (n,) under funnel rule 1 to 4, target 0, in one coordinate.

    1 leave it; 2 move by minus the last error; 3 set to minus the last error from the target; 4 set over the last drop.
    Source: Deming 1986.  Check: published area 7.
    """
    if rule not in (1, 2, 3, 4):
        raise CannotAnswer(f"there are four funnel rules, not a rule {rule}")
    drop, aim = vec(noise), 0.0
    out = np.empty(drop.size)
    for i, d in enumerate(drop):
        out[i] = hit = aim + d
        aim = (0.0, aim - hit, -hit, hit)[rule - 1]
    return out


def funnel_var(rule: int, part: int) -> float:
    """Variance of drop number `part` (from 1) over that of the noise: 1, 2, t, t under rules 1 to 4.

    Rule 2 has 1 on its first drop, as nothing was moved yet; the formula gives what it settles to.
    """
    if rule not in (1, 2, 3, 4) or part < 1:
        raise CannotAnswer("there are four funnel rules, and drops are counted from 1")
    return (1.0, 2.0, float(part), float(part))[rule - 1]


def tampering_ratio(gain: float) -> float:
    """Variance of a stable process under integral control, over its own: 2 / (2 - G); G = 1 doubles it.

    >>> tampering_ratio(1.0)
    2.0
    """
    return 2.0 / (2.0 - _gain(gain))


def _gain(gain: float) -> float:
    """A gain that leaves the loop stable."""
    if not 0.0 <= gain < 2.0:
        raise CannotAnswer(f"a gain of {gain} does not settle; it must be in 0 ... 2")
    return gain


def drifting_ratio(gain: float, weight: float) -> float:
    """Variance of an IMA(1,1) process under integral control, over that of its noise: 1 + (G - l)^2 / (G (2 - G)).

    weight    lambda = 1 - theta; G = lambda is best and leaves 1, lambda = 0 is the stable process
    Source: Box & Luceno 1997.
    """
    if _gain(gain) == 0.0:
        raise CannotAnswer("without adjustment a drifting process has no fixed variance")
    return 1.0 + (gain - weight) ** 2 / (gain * (2.0 - gain))


def drift_lag(drift: float, gain: float) -> float:
    """How far integral control stays behind a steady drift per part: drift / G."""
    return drift / positive(_gain(gain), "gain")


def simulate(noise: ArrayLike, gain: float, weight: float = 0.0) -> Vec:
    """Deviations (n,) of an IMA(1,1) process with this noise under integral control, target 0."""
    level = setting = 0.0
    e = vec(noise)
    out = np.empty(e.size)
    for i, shock in enumerate(e):
        out[i] = level + setting + shock
        setting -= _gain(gain) * out[i]
        level += weight * shock
    return out


def harmonic(deviations: ArrayLike) -> Vec:
    """Corrections after parts 1 ... n of a new set-up: -d_n / n (Grubbs 1954).

    deviations    as measured, with the corrections made so far
    After n parts the set-up has variance sigma^2 / n, whatever it began with.
    """
    d = vec(deviations)
    return -d / np.arange(1, d.size + 1)


def harmonic_var(sigma: float, n: int) -> float:
    """Variance of the set-up after the harmonic rule was used on n parts: sigma^2 / n."""
    if n < 1:
        raise CannotAnswer("the rule needs at least one part")
    return sigma**2 / n


def setup_gain(sigma_setup: float, sigma: float, n: int = 1, u: float = 0.0) -> float:
    """Gain on part n when the spread of set-ups is known: K_n = s_t^2 / (n s_t^2 + sigma^2 + u^2).

    u    standard uncertainty of measuring one part
    Source: Grubbs 1954, extended rule; equals the Kalman gain.  Check: published area 7.
    >>> round(setup_gain(0.02, 0.005), 6)
    0.941176
    """
    t = positive(sigma_setup, "set-up spread") ** 2
    return t / (n * t + sigma**2 + u**2)


def setup_left(sigma_setup: float, sigma: float, n: int = 1, u: float = 0.0) -> float:
    """Standard deviation of the set-up after n parts with these gains: sqrt(1 / (1 / s_t^2 + n / (sigma^2 + u^2)))."""
    noise = sigma**2 + u**2
    return math.sqrt(1.0 / (1.0 / sigma_setup**2 + n / noise)) if noise > 0 else 0.0


def dead_band_interval(band: float) -> float:
    """Mean parts between adjustments when an EWMA estimate is left alone within ±L; band = L / (lambda sigma).

    First exit of a unit Gaussian walk.  Check: published area 7 (1.61, 2.78, 6.91, 13.09, 21.25).
    """
    return arl.exit_time(band)


def dead_band_rough(band: float) -> float:
    """(k + 0.583)^2: fair for k of 2 and more only."""
    return (band + 0.583) ** 2


def parts_between(tolerance: float, wear_per_part: float, sigma: float, margin: float = 3.0) -> float:
    """Parts between tool offsets while wear eats the tolerance: (T - 2 m sigma) / w.

    margin    m, sigmas kept free at each limit
    """
    room = tolerance - 2.0 * margin * sigma
    if room <= 0.0:
        raise CannotAnswer("the spread alone fills the tolerance: no room is left for wear")
    return room / positive(abs(wear_per_part), "wear a part")


def wear_limits(line: Line, part: float, width: float = 3.0) -> tuple[float, float]:
    """Limits of the regression chart at a part number: line ± width s (Mandel 1969)."""
    return line.at(part) - width * line.s, line.at(part) + width * line.s


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """Whether an offset change is worth making."""

    apply: bool
    why: str


def worth_it(change: float, u: float, step: float, width: float = 2.0) -> Advice:
    """Apply a correction only if it exceeds about 2 u and the machine's step (common practice, no source)."""
    if abs(change) < step:
        return Advice(apply=False, why="smaller than the machine's step")
    if abs(change) <= width * u:
        return Advice(apply=False, why=f"within {width:g} standard uncertainties of zero")
    return Advice(apply=True, why="larger than its uncertainty and the machine's step")
