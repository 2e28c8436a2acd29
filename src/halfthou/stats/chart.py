"""Control charts: limits of subgroup, individual and count charts, CUSUM, EWMA, and the zone rules.

All limits are three-sigma unless told otherwise, in the unit of the values. A value exactly on a limit is not a signal.
Source: NIST/SEMATECH e-Handbook of Statistical Methods 6.3; Western Electric 1956 (zone rules).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from halfthou.base.errors import CannotAnswer
from halfthou.stats.constants import constants, range_moments
from halfthou.stats.number import Vec, positive, share, vec


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """Centre line and limits of a chart, in the unit of what is charted."""

    centre: float
    low: float
    high: float

    def outside(self, values: ArrayLike) -> tuple[int, ...]:
        """Indices (from 0) of the values beyond a limit; on the limit is inside."""
        x = vec(values)
        return tuple(int(i) for i in np.flatnonzero((x > self.high) | (x < self.low)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Pair:
    """The two charts of a subgroup or individuals study and the within-group sigma they imply."""

    mean: Limits  # chart of means or of single values
    spread: Limits  # chart of ranges, standard deviations or moving ranges
    sigma: float  # within-group standard deviation, unit of the values


def from_range(grand_mean: float, mean_range: float, n: int) -> Pair:
    """Mean and range chart: grand mean ± A2 Rbar; D3 Rbar ... D4 Rbar; sigma = Rbar / d2.

    n    values in a subgroup, 2 ... 25 usual (the range wastes information above about 10)
    Source: e-Handbook 6.3.2.1.  Check: published area 1.
    """
    c = constants(n)
    half = c.mean_by_range_ratio * mean_range
    return Pair(
        mean=Limits(centre=grand_mean, low=grand_mean - half, high=grand_mean + half),
        spread=Limits(centre=mean_range, low=c.range_low_ratio * mean_range, high=c.range_high_ratio * mean_range),
        sigma=mean_range / c.range_mean_ratio,
    )


def from_sd(grand_mean: float, mean_sd: float, n: int) -> Pair:
    """Mean and standard deviation chart: grand mean ± A3 sbar; B3 sbar ... B4 sbar; sigma = sbar / c4.

    Source: e-Handbook 6.3.2.1.  Check: published area 1, gear batches of 10.
    """
    c = constants(n)
    half = c.mean_by_sd_ratio * mean_sd
    return Pair(
        mean=Limits(centre=grand_mean, low=grand_mean - half, high=grand_mean + half),
        spread=Limits(centre=mean_sd, low=c.sd_low_ratio * mean_sd, high=c.sd_high_ratio * mean_sd),
        sigma=mean_sd / c.sd_mean_ratio,
    )


def groups_by_range(groups: Sequence[ArrayLike]) -> Pair:
    """`from_range` on equal-sized subgroups of values."""
    rows = _equal(groups)
    return from_range(float(rows.mean()), float(np.ptp(rows, axis=1).mean()), rows.shape[1])


def groups_by_sd(groups: Sequence[ArrayLike]) -> Pair:
    """`from_sd` on equal-sized subgroups of values."""
    rows = _equal(groups)
    return from_sd(float(rows.mean()), float(rows.std(axis=1, ddof=1).mean()), rows.shape[1])


def _equal(groups: Sequence[ArrayLike]) -> Vec:
    """Subgroups as rows (g, n); CannotAnswer unless all have the same size of 2 or more."""
    rows = [vec(group, 2, "values in a subgroup") for group in groups]
    if len({row.size for row in rows}) != 1:
        raise CannotAnswer("this chart needs subgroups of one size, and at least one of them")
    return np.vstack(rows)


def individuals(values: ArrayLike, *, d2: float | None = None, span: int = 2) -> Pair:
    """Individuals and moving-range chart: mean ± 3 MRbar / d2; moving range up to D4 MRbar.

    d2     divisor, default the exact one for `span` neighbours (1.128379 for two; tables print 1.128)
    Source: e-Handbook 6.3.2.2.  Check: published area 1, flow rate data.
    """
    x = vec(values, span, "single values")
    windows = np.lib.stride_tricks.sliding_window_view(x, span)
    mean_range = float(np.ptp(windows, axis=1).mean())
    exact, spread = range_moments(span)
    sigma = mean_range / (d2 if d2 is not None else exact)
    mean = float(x.mean())
    low = max(0.0, 1.0 - 3.0 * spread / exact)
    return Pair(
        mean=Limits(centre=mean, low=mean - 3.0 * sigma, high=mean + 3.0 * sigma),
        spread=Limits(centre=mean_range, low=low * mean_range, high=(1.0 + 3.0 * spread / exact) * mean_range),
        sigma=sigma,
    )


def count_limits(mean_count: float, width: float = 3.0) -> Limits:
    """Chart of defects per unit (c chart): cbar ± 3 sqrt(cbar), floor 0.

    Rough below cbar of about 5 (normal approximation of the Poisson law).
    Source: e-Handbook 6.3.3.1.
    """
    half = width * math.sqrt(max(0.0, mean_count))
    return Limits(centre=mean_count, low=max(0.0, mean_count - half), high=mean_count + half)


def count_rate_limits(mean_rate: float, units: float, width: float = 3.0) -> Limits:
    """Chart of defects a unit for `units` inspected (u chart): ubar ± 3 sqrt(ubar / units), floor 0."""
    half = width * math.sqrt(max(0.0, mean_rate) / positive(units, "units"))
    return Limits(centre=mean_rate, low=max(0.0, mean_rate - half), high=mean_rate + half)


def proportion_limits(mean_share: float, n: float, width: float = 3.0) -> Limits:
    """Chart of the bad share in samples of n (p chart): pbar ± 3 sqrt(pbar (1 - pbar) / n), cut to 0 ... 1.

    Source: e-Handbook 6.3.3.2.
    """
    half = width * math.sqrt(mean_share * (1.0 - mean_share) / positive(n, "n"))
    return Limits(centre=mean_share, low=max(0.0, mean_share - half), high=min(1.0, mean_share + half))


@dataclass(frozen=True, slots=True, kw_only=True)
class Cusum:
    """Both cumulative sums (n,), and the first index (from 0) where one exceeds h, None if none does."""

    high: Vec
    low: Vec
    signal: int | None
    signal_high: int | None
    signal_low: int | None


def cusum(values: ArrayLike, target: float, k: float, h: float, start: float = 0.0) -> Cusum:
    """Tabular CUSUM: S+ = max(0, S+ + x - T - k), S- = max(0, S- + T - k - x); signal when one exceeds h.

    k, h    in the unit of x; k about half the shift to find, h 4 to 5 sigma
    start   head start of both sums (h / 2 is the usual fast-response value)
    Source: Page 1954; e-Handbook 6.3.2.3.  Check: published area 1.
    """
    x = vec(values)
    high, low = np.empty(x.size), np.empty(x.size)
    up = down = start
    for i, value in enumerate(x):
        up = max(0.0, up + value - target - k)
        down = max(0.0, down + target - k - value)
        high[i], low[i] = up, down
    first_high, first_low = _first(high > h), _first(low > h)
    both = [i for i in (first_high, first_low) if i is not None]
    return Cusum(high=high, low=low, signal=min(both, default=None), signal_high=first_high, signal_low=first_low)


def _first(mask: np.ndarray) -> int | None:
    """Index of the first true element, None if there is none."""
    hits = np.flatnonzero(mask)
    return int(hits[0]) if hits.size else None


def ewma(values: ArrayLike, weight: float, start: float) -> Vec:
    """Exponentially weighted mean after each value (n,): z = w x + (1 - w) z, beginning at `start`.

    weight    lambda, 0 < lambda <= 1
    Source: Roberts 1959; e-Handbook 6.3.2.4.  Check: published area 1.
    """
    if not 0.0 < weight <= 1.0:
        raise CannotAnswer(f"the EWMA weight must lie in 0 ... 1, not {weight}")
    out = np.empty(vec(values).size)
    z = start
    for i, value in enumerate(vec(values)):
        z = weight * float(value) + (1.0 - weight) * z
        out[i] = z
    return out


def ewma_half_width(sigma: float, weight: float, width: float = 3.0, after: int | None = None) -> float:
    """Half width of EWMA limits: L sigma sqrt(w / (2 - w) (1 - (1 - w)^(2 t))), t -> infinity where `after` is None.

    sigma    standard deviation of one charted value, its unit
    after    t, number of values taken in so far, >= 1
    Source: e-Handbook 6.3.2.4 (uses the limit t -> infinity).  Check: published area 1.
    """
    factor = weight / (2.0 - weight)
    if after is not None:
        factor *= 1.0 - (1.0 - weight) ** (2 * after)
    return width * sigma * math.sqrt(factor)


def zone_signals(values: ArrayLike, mean: float, sigma: float, *, run: int = 8) -> tuple[tuple[int, int], ...]:
    """Signals of the four zone rules as (number of the value from 1, rule), in order.

    1: beyond 3 sigma; 2: two of three beyond 2 sigma on one side; 3: four of five beyond 1 sigma on one side;
    4: `run` in a row on one side of the mean. Rules 2 and 3 signal at the value that completes them.

    Source: Western Electric 1956 (from memory).  Check: published area 1, sequence worked by hand.
    """
    z = (vec(values) - mean) / positive(sigma, "sigma")
    found: set[tuple[int, int]] = set()
    for side in (z, -z):
        for i in range(z.size):
            if side[i] > 3.0:
                found.add((i + 1, 1))
            if side[i] > 2.0 and np.count_nonzero(side[max(0, i - 2) : i + 1] > 2.0) >= 2:
                found.add((i + 1, 2))
            if side[i] > 1.0 and np.count_nonzero(side[max(0, i - 4) : i + 1] > 1.0) >= 4:
                found.add((i + 1, 3))
            if i + 1 >= run and bool(np.all(side[i + 1 - run : i + 1] > 0.0)):
                found.add((i + 1, 4))
    return tuple(sorted(found))


def false_alarm_share(width: float) -> float:
    """Chance that a value of a stable normal process lies beyond ±width sigma: 2 Phi(-width).

    >>> round(false_alarm_share(3.0), 5)
    0.0027
    """
    return math.erfc(positive(width, "width") / math.sqrt(2.0))


def width_for(false_alarm: float) -> float:
    """Width in sigma that gives this chance of a false alarm per value (3.09 for 0.002, the probability limits)."""
    return float(-special.ndtri(share(false_alarm, "false alarm chance") / 2.0))
