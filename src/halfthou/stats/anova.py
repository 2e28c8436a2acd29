"""Analysis of variance of balanced and one-way data, equal-variance and equal-mean tests."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special, stats

from halfthou.base.errors import CannotAnswer
from halfthou.stats.number import Vec, vec


@dataclass(frozen=True, slots=True, kw_only=True)
class Effect:
    """One line of an analysis of variance table."""

    name: str
    sum_square: float  # unit of the values squared
    dof: int
    mean_square: float
    f_ratio: float  # mean square over that of the error line, nan for the error and the total
    p_ratio: float  # chance of an F as large if there is no effect, nan as above


def f_tail(f: float, dof_top: float, dof_bottom: float) -> float:
    """P(F > f) for the F law."""
    return float(special.fdtrc(dof_top, dof_bottom, f)) if math.isfinite(f) else 0.0


def _line(name: str, sum_square: float, dof: int, error: float = math.nan, error_dof: int = 0) -> Effect:
    """A table line; F and p only where an error mean square is given."""
    mean = sum_square / dof if dof else math.nan
    f = math.nan if math.isnan(error) else (mean / error if error > 0 else math.inf)
    p = math.nan if math.isnan(f) else f_tail(f, dof, error_dof)
    return Effect(name=name, sum_square=sum_square, dof=dof, mean_square=mean, f_ratio=f, p_ratio=p)


def one_way(groups: Sequence[ArrayLike]) -> tuple[Effect, Effect, Effect]:
    """Between, within and total line for groups of any size; values are centred first, so large offsets do no harm.

    F = (SSB / (k - 1)) / (SSW / (N - k)).
    Source: NIST/SEMATECH e-Handbook 1.3.5.4, 3.2.3.1.  Check: NIST StRD certified values, published area 1.
    >>> [round(e.sum_square, 6) for e in one_way([[1.0, 2.0], [3.0, 4.0]])]
    [4.0, 1.0, 5.0]
    """
    rows = [vec(group, 1, "values in a group") for group in groups]
    if len(rows) < 2:
        raise CannotAnswer("an analysis of variance needs at least two groups")
    n = sum(row.size for row in rows)
    if n <= len(rows):
        raise CannotAnswer("an analysis of variance needs more values than groups")
    shift = rows[0][0]
    rows = [row - shift for row in rows]
    grand = math.fsum(float(v) for row in rows for v in row) / n
    rows = [row - grand for row in rows]
    means = [math.fsum(row.tolist()) / row.size for row in rows]
    between = math.fsum(row.size * mean * mean for row, mean in zip(rows, means, strict=True))
    within = math.fsum(float(d) ** 2 for row, mean in zip(rows, means, strict=True) for d in row - mean)
    top, bottom = len(rows) - 1, n - len(rows)
    return (
        _line("between", between, top, within / bottom, bottom),
        _line("within", within, bottom),
        _line("total", between + within, n - 1),
    )


def factorial(values: ArrayLike, factors: dict[str, Sequence[object]], depth: int = 1) -> tuple[Effect, ...]:
    """Balanced factorial analysis: main effects, interactions up to `depth` factors, error, total.

    values     (n,), one per row
    factors    name -> level of each row, n long; every combination of levels of the factors that meet in a term must
               hold the same number of rows (else the sums of squares do not add up: CannotAnswer)
    depth      1 main effects only, 2 with pairs ...; what is left over is the error
    returns    one line an effect in the order given, named "a" or "a:b", then "error" and "total"
    Source: NIST/SEMATECH e-Handbook 3.2.3.2, 3.5.2.  Check: published area 1.
    """
    y = vec(values, 2)
    y = y - y.mean()
    codes = {name: np.unique([str(v) for v in levels], return_inverse=True)[1] for name, levels in factors.items()}
    if any(code.size != y.size for code in codes.values()):
        raise CannotAnswer("every factor needs one level for each value")
    sums: dict[tuple[str, ...], float] = {}
    dofs: dict[tuple[str, ...], int] = {}
    for size in range(1, depth + 1):
        for names in combinations(codes, size):
            cell = np.unique(np.stack([codes[n] for n in names]), axis=1, return_inverse=True)[1].ravel()
            counts = np.bincount(cell)
            full = math.prod(int(codes[n].max()) + 1 for n in names)
            if counts.size != full or np.ptp(counts):
                raise CannotAnswer(f"the data are not balanced over {' and '.join(names)}")
            means = np.bincount(cell, weights=y) / counts
            inner = [part for k in range(1, size) for part in combinations(names, k)]
            sums[names] = float(counts @ means**2) - sum(sums[part] for part in inner)
            dofs[names] = full - 1 - sum(dofs[part] for part in inner)
    total = float(y @ y)
    error, error_dof = total - sum(sums.values()), y.size - 1 - sum(dofs.values())
    if error_dof <= 0:
        raise CannotAnswer("no degrees of freedom are left for the error; leave an interaction out")
    lines = [_line(":".join(n), sums[n], dofs[n], error / error_dof, error_dof) for n in sums]
    return (*lines, _line("error", error, error_dof), _line("total", total, y.size - 1))


def bartlett(groups: Sequence[ArrayLike]) -> tuple[float, float]:
    """Bartlett's test that k groups have one variance: (T, p); T is chi-square with k - 1 degrees of freedom.

    Sensitive to non-normal data: use `levene` there.
    Source: NIST/SEMATECH e-Handbook 1.3.5.7.  Check: published area 1, gear data (20.79).
    """
    rows = [vec(group, 2, "values in a group") for group in groups]
    if len(rows) < 2:
        raise CannotAnswer("comparing variances needs at least two groups")
    dof = np.asarray([row.size - 1 for row in rows], dtype=np.float64)
    var = np.asarray([np.var(row, ddof=1) for row in rows])
    if np.any(var <= 0):
        raise CannotAnswer("a group has no spread at all: its readings are too coarse for this test")
    nu, k = float(dof.sum()), len(rows)
    pooled = float(dof @ var) / nu
    top = nu * math.log(pooled) - float(dof @ np.log(var))
    t = top / (1.0 + (float(np.sum(1.0 / dof)) - 1.0 / nu) / (3.0 * (k - 1)))
    return t, float(special.chdtrc(k - 1, t))


def levene(groups: Sequence[ArrayLike], centre: str = "median") -> tuple[float, float]:
    """Levene's test on distances from the group's centre: (W, p), W is F with k - 1 and N - k degrees of freedom.

    centre    "median" (Brown & Forsythe 1974, the robust form) or "mean"
    Source: NIST/SEMATECH e-Handbook 1.3.5.10 (gear data: 1.7059 with the median).
    """
    middle = np.median if centre == "median" else np.mean
    away = [np.abs(row - middle(row)) for row in (vec(group, 2, "values in a group") for group in groups)]
    between = one_way(away)[0]
    return between.f_ratio, between.p_ratio


@dataclass(frozen=True, slots=True, kw_only=True)
class TTest:
    """A test of a mean or of a difference of means."""

    difference: float  # unit of the values
    std: float  # standard error of the difference
    t_ratio: float
    dof: float
    p_ratio: float  # two-sided


def _t(difference: float, std: float, dof: float) -> TTest:
    """The test for a difference with this standard error."""
    t = difference / std if std > 0 else math.inf
    p = 2.0 * float(special.stdtr(dof, -abs(t))) if math.isfinite(t) else 0.0
    return TTest(difference=difference, std=std, t_ratio=t, dof=dof, p_ratio=p)


def mean_against(values: ArrayLike, reference: float) -> TTest:
    """t = (mean - reference) / (s / sqrt(n)) with n - 1 degrees of freedom: is there a bias?

    Source: NIST/SEMATECH e-Handbook 1.3.5.2, 2.1.1.3.
    """
    x = vec(values, 2)
    return _t(float(x.mean()) - reference, float(x.std(ddof=1)) / math.sqrt(x.size), x.size - 1)


def paired(first: ArrayLike, second: ArrayLike) -> TTest:
    """The same for the differences first - second of values taken in pairs."""
    a, b = vec(first, 2), vec(second, 2)
    if a.size != b.size:
        raise CannotAnswer("paired values must be equally many")
    return mean_against(a - b, 0.0)


def two_means(first: ArrayLike, second: ArrayLike, *, pooled: bool = False) -> TTest:
    """Difference of two means; Welch's form with Satterthwaite degrees of freedom, or with one pooled variance.

    Source: NIST/SEMATECH e-Handbook 1.3.5.3, 7.3.1.
    """
    a, b = vec(first, 2), vec(second, 2)
    va, vb = float(a.var(ddof=1)) / a.size, float(b.var(ddof=1)) / b.size
    difference = float(a.mean() - b.mean())
    if pooled:
        dof = float(a.size + b.size - 2)
        var = (va * a.size * (a.size - 1) + vb * b.size * (b.size - 1)) / dof
        return _t(difference, math.sqrt(var * (1.0 / a.size + 1.0 / b.size)), dof)
    if va + vb == 0:
        raise CannotAnswer("neither group has any spread")
    dof = (va + vb) ** 2 / (va**2 / (a.size - 1) + vb**2 / (b.size - 1))
    return _t(difference, math.sqrt(va + vb), dof)


def two_variances(first: ArrayLike, second: ArrayLike) -> tuple[float, float]:
    """F = s1^2 / s2^2 and its two-sided p (e-Handbook 1.3.5.9)."""
    a, b = vec(first, 2), vec(second, 2)
    f = float(a.var(ddof=1) / b.var(ddof=1))
    tail = f_tail(f, a.size - 1, b.size - 1)
    return f, 2.0 * min(tail, 1.0 - tail)


def nested_components(rows: Vec) -> tuple[float, float]:
    """Standard deviations within and between equal groups (g, n): s_w = sqrt(MSW), s_b = sqrt(max(0, (MSB - MSW) / n)).

    Source: variance components, NIST/SEMATECH e-Handbook 3.2.3.3.
    """
    between, within, _ = one_way(list(rows))
    n = rows.shape[1]
    return math.sqrt(within.mean_square), math.sqrt(max(0.0, (between.mean_square - within.mean_square) / n))


def normal_check(values: ArrayLike) -> tuple[float, float]:
    """Anderson-Darling statistic A^2 (mean and sd estimated) and p by the usual closed form.

    Source: D'Agostino & Stephens 1986, table 4.9 (from memory); p is approximate, n >= 8.
    """
    x = np.sort(vec(values, 8))
    z = (x - x.mean()) / x.std(ddof=1)
    n, i = x.size, np.arange(1, x.size + 1)
    a2 = -n - float(np.mean((2 * i - 1) * (stats.norm.logcdf(z) + stats.norm.logsf(z[::-1]))))
    a = a2 * (1.0 + 0.75 / n + 2.25 / n**2)
    if a >= 0.6:
        p = math.exp(1.2937 - 5.709 * a + 0.0186 * a * a)
    elif a > 0.34:
        p = math.exp(0.9177 - 4.279 * a - 1.38 * a * a)
    elif a > 0.2:
        p = 1.0 - math.exp(-8.318 + 42.796 * a - 59.938 * a * a)
    else:
        p = 1.0 - math.exp(-13.436 + 101.14 * a - 223.73 * a * a)
    return a2, p
