"""Short runs: charts that start with the first parts, and parts of different sizes on one chart.

Q statistics turn each value into a standard normal one with what was learned from the values before it, so limits at
±3 hold from the start. A single-point rule on them is weak (a 1.5 sigma shift after 5 good parts is seen within 10 in
about 3 % of runs), an EWMA of them is far better (about 24 %), and knowing sigma beforehand better still (about 56 %).

Source: Quesenberry 1991, 1993 (from memory).  Check: tests/unit/test_stats_short.py, simulated rates of the reference.
"""

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import Vec, positive, vec


def q_values(values: ArrayLike, mean: float | None = None, sigma: float | None = None) -> Vec:
    """Standard normal Q statistic of each value (n,), nan where nothing can be said yet.

    both known        (x - mu) / sigma
    sigma known       sqrt((r - 1) / r) (x_r - mean of the r - 1 before) / sigma, from the 2nd value
    mean known        Phi^-1 T_(r-1)((x_r - mu) / s0), s0 about mu of the r - 1 before, from the 2nd
    neither           Phi^-1 T_(r-2)(sqrt((r - 1) / r) (x_r - mean) / s), s of the r - 1 before, from the 3rd
    """
    x = vec(values)
    if sigma is not None:
        positive(sigma, "sigma")
    if mean is not None and sigma is not None:
        return (x - mean) / sigma
    out = np.full(x.size, math.nan)
    for i in range(1, x.size):
        before, r = x[:i], i + 1
        if sigma is not None:
            out[i] = math.sqrt(i / r) * (x[i] - before.mean()) / sigma
            continue
        if mean is not None:
            dof, spread, away = i, math.sqrt(float(np.mean((before - mean) ** 2))), float(x[i] - mean)
        elif i >= 2:
            dof, spread = i - 1, float(before.std(ddof=1))
            away = math.sqrt(i / r) * float(x[i] - before.mean())
        else:
            continue
        if spread > 0:
            out[i] = _normal_of_t(away / spread, dof)
    return out


def _normal_of_t(t: float, dof: float) -> float:
    """Phi^-1(T(t)), through the small tail so that large values keep their size."""
    return math.copysign(float(-special.ndtri(special.stdtr(dof, -abs(t)))), t)


def ewma_signals(q: ArrayLike, weight: float = 0.25, width: float = 2.9) -> tuple[int, ...]:
    """Indices where the EWMA of Q values (nan skipped) passes ± width sqrt(w / (2 - w) (1 - (1 - w)^(2 t)))."""
    if not 0.0 < weight <= 1.0:
        raise CannotAnswer(f"the EWMA weight must lie in 0 ... 1, not {weight}")
    z, t, found = 0.0, 0, []
    for i, value in enumerate(np.asarray(q, dtype=np.float64)):
        if math.isnan(value):
            continue
        t += 1
        z = weight * float(value) + (1.0 - weight) * z
        if abs(z) > width * math.sqrt(weight / (2.0 - weight) * (1.0 - (1.0 - weight) ** (2 * t))):
            found.append(i)
    return tuple(found)


def from_nominal(values: ArrayLike, nominals: ArrayLike) -> Vec:
    """Deviation from each part's nominal: parts of different sizes on one chart, if they spread alike."""
    x, n = vec(values), vec(nominals)
    if n.size not in (1, x.size):
        raise CannotAnswer("every value needs its nominal")
    return x - n


def standardised(values: ArrayLike, nominals: ArrayLike, sigmas: ArrayLike) -> Vec:
    """(x - nominal) / sigma of that kind of part: for parts that spread differently; limits ±3."""
    s = vec(sigmas)
    away = from_nominal(values, nominals)
    if np.any(s <= 0) or s.size not in (1, away.size):
        raise CannotAnswer("every value needs the sigma of its kind of part, above zero")
    return away / s
