"""Gauge studies: crossed (analysis of variance, average and range), three-level, bias, linearity, stability.

Readings of a crossed study come as an array (operators, parts, repeats). Results are standard deviations in the unit
of the readings. The names of the trade: repeatability EV, reproducibility AV, both together GRR, parts PV, total TV.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from halfthou.base.errors import CannotAnswer
from halfthou.stats.anova import Effect, TTest, f_tail, mean_against
from halfthou.stats.constants import range_moments, range_rms_ratio
from halfthou.stats.number import Vec, positive, vec

POOL_P_RATIO = 0.25  # interaction with a larger p is pooled (automotive measurement-systems manual, 4th edition)
DISTINCT_RATIO = 1.41  # sqrt(2) as that manual prints it


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """What a crossed gauge study says; standard deviations in the unit of the readings."""

    repeatability: float  # EV
    operator: float  # operators alone
    interaction: float  # operator by part, 0 where pooled
    reproducibility: float  # AV: operators and interaction
    gauge: float  # GRR
    part: float  # PV
    total: float  # TV
    pooled: bool  # True where the interaction was taken into the error
    pooled_rule: str

    @property
    def gauge_ratio(self) -> float:
        """GRR / TV: the fraction of the total spread, %GRR / 100."""
        return self.gauge / self.total if self.total > 0 else math.nan

    @property
    def distinct(self) -> int:
        """Number of distinct categories, floor of 1.41 PV / GRR, at least 1 as the manual asks."""
        return max(1, math.floor(DISTINCT_RATIO * self.part / self.gauge)) if self.gauge > 0 else 0

    def tolerance_ratio(self, tolerance: float, width: float = 6.0) -> float:
        """width GRR / tolerance: the share of the tolerance zone the gauge uses (6 sigma, formerly 5.15)."""
        return width * self.gauge / positive(tolerance, "tolerance")


def _cube(readings: ArrayLike) -> Vec:
    """Readings as (operators o >= 2, parts p >= 2, repeats r >= 2)."""
    cube = np.asarray(readings, dtype=np.float64)
    if cube.ndim != 3 or min(cube.shape) < 2:
        raise CannotAnswer(f"a crossed study needs 2 or more operators, parts and repeats, not {cube.shape}")
    if not np.all(np.isfinite(cube)):
        raise CannotAnswer("a reading is missing: a crossed study must be complete")
    return cube


def crossed_table(readings: ArrayLike) -> dict[str, Effect]:
    """Sums of squares of a crossed study: "operator", "part", "interaction", "repeat", "total".

    F ratios: operator and part over the interaction, the interaction over the repeats (random effects).
    The automotive manual divides all by the repeats: see `over_repeat`.

    readings    (o, p, r)
    Check: published area 1, 10 parts x 3 operators x 3 (3.1673, 88.3619, 0.3590, 2.7589, 94.6471).
    """
    y = _cube(readings)
    o, p, r = y.shape
    y = y - y.mean()
    cell = y.mean(axis=2)
    ss_operator = p * r * float(np.sum(cell.mean(axis=1) ** 2))
    ss_part = o * r * float(np.sum(cell.mean(axis=0) ** 2))
    ss_cross = r * float(np.sum((cell - cell.mean(axis=1)[:, None] - cell.mean(axis=0)[None, :]) ** 2))
    ss_repeat = float(np.sum((y - cell[:, :, None]) ** 2))
    dof = {"operator": o - 1, "part": p - 1, "interaction": (o - 1) * (p - 1), "repeat": o * p * (r - 1)}
    sums = {"operator": ss_operator, "part": ss_part, "interaction": ss_cross, "repeat": ss_repeat}
    mean = {name: sums[name] / dof[name] for name in sums}
    under = {"operator": "interaction", "part": "interaction", "interaction": "repeat"}
    out = {}
    for name in sums:
        f = p_ratio = math.nan
        if name in under:
            f = mean[name] / mean[under[name]] if mean[under[name]] > 0 else math.inf
            p_ratio = f_tail(f, dof[name], dof[under[name]])
        out[name] = Effect(
            name=name, sum_square=sums[name], dof=dof[name], mean_square=mean[name], f_ratio=f, p_ratio=p_ratio
        )
    total = float(np.sum(y * y))
    out["total"] = Effect(
        name="total", sum_square=total, dof=y.size - 1, mean_square=total / (y.size - 1), f_ratio=math.nan,
        p_ratio=math.nan,
    )  # fmt: skip
    return out


def over_repeat(lines: dict[str, Effect]) -> dict[str, float]:
    """F ratios with the repeat mean square below, as the automotive manual prints them."""
    repeat = lines["repeat"].mean_square
    return {name: lines[name].mean_square / repeat for name in ("operator", "part", "interaction")}


def crossed(readings: ArrayLike, pool: bool | None = None, pool_p_ratio: float = POOL_P_RATIO) -> Study:
    """Crossed gauge study by analysis of variance.

    Not pooled: EV^2 = MSe; int^2 = (MSpo - MSe) / r; op^2 = (MSo - MSpo) / (p r); part^2 = (MSp - MSpo) / (o r).
    Pooled: MSe of repeats and interaction together takes both places. Negative components count as 0.

    readings    (o, p, r)
    pool        True or False forces the choice; None pools where the interaction has p > pool_p_ratio
    Source: automotive measurement-systems manual, 4th edition (from memory).  Check: published area 1.
    """
    o, p, r = _cube(readings).shape
    lines = crossed_table(readings)
    together = pool if pool is not None else not lines["interaction"].p_ratio <= pool_p_ratio
    error = lines["repeat"].mean_square
    under = lines["interaction"].mean_square
    if together:
        top = lines["repeat"].sum_square + lines["interaction"].sum_square
        error = under = top / (lines["repeat"].dof + lines["interaction"].dof)
    var_cross = 0.0 if together else max(0.0, (under - error) / r)
    var_operator = max(0.0, (lines["operator"].mean_square - under) / (p * r))
    var_part = max(0.0, (lines["part"].mean_square - under) / (o * r))
    rule = "as asked" if pool is not None else f"interaction pooled where its p is above {pool_p_ratio}"
    return _study(error, var_operator, var_cross, var_part, together, rule)


def _study(error: float, operator: float, cross: float, part: float, pooled: bool, rule: str) -> Study:
    """A study from its variances."""
    return Study(
        repeatability=math.sqrt(error),
        operator=math.sqrt(operator),
        interaction=math.sqrt(cross),
        reproducibility=math.sqrt(operator + cross),
        gauge=math.sqrt(error + operator + cross),
        part=math.sqrt(part),
        total=math.sqrt(error + operator + cross + part),
        pooled=pooled,
        pooled_rule=rule,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class RangeStudy:
    """Average-and-range study: the study and the ranges it came from."""

    study: Study
    mean_range: float  # mean range of the repeats over all operators and parts
    operator_difference: float  # largest less smallest operator mean
    part_range: float  # range of the part means


def average_range(
    readings: ArrayLike, k1: float | None = None, k2: float | None = None, k3: float | None = None
) -> RangeStudy:
    """Crossed study by averages and ranges: EV = Rbar K1; AV = sqrt((Xdiff K2)^2 - EV^2 / (p r)); PV = Rp K3.

    readings    (o, p, r)
    k1, k2, k3  defaults: 1 / d2* for the repeats (over o p ranges; the limit 1 / d2 above 15), the operators and the parts
    Source: automotive measurement-systems manual, 4th edition (from memory).  Check: published area 1.
    """
    y = _cube(readings)
    o, p, r = y.shape
    many = o * p > 15
    use1 = k1 if k1 is not None else 1.0 / (range_moments(r)[0] if many else range_rms_ratio(r, o * p))
    use2 = k2 if k2 is not None else 1.0 / range_rms_ratio(o)
    use3 = k3 if k3 is not None else 1.0 / range_rms_ratio(p)
    mean_range = float(np.ptp(y, axis=2).mean())
    difference = float(np.ptp(y.mean(axis=(1, 2))))
    part_range = float(np.ptp(y.mean(axis=(0, 2))))
    ev = mean_range * use1
    av2 = max(0.0, (difference * use2) ** 2 - ev**2 / (p * r))
    pv = part_range * use3
    study = _study(ev**2, av2, 0.0, pv**2, True, "the range method does not see the interaction")
    return RangeStudy(study=study, mean_range=mean_range, operator_difference=difference, part_range=part_range)


@dataclass(frozen=True, slots=True, kw_only=True)
class Levels:
    """Three-level study: pooled standard deviations as observed at each level, and their degrees of freedom."""

    repeat: float  # s1, within one sitting
    day: float  # s2, of day means within a run; still holds s1^2 / J
    run: float  # s3, of run means; still holds s2^2 / K
    repeat_dof: int
    day_dof: int
    run_dof: int
    repeats: int
    days: int

    @property
    def pure_day(self) -> float:
        """Day component alone: sqrt(max(0, s2^2 - s1^2 / J))."""
        return math.sqrt(max(0.0, self.day**2 - self.repeat**2 / self.repeats))

    @property
    def pure_run(self) -> float:
        """Run component alone: sqrt(max(0, s3^2 - s2^2 / K))."""
        return math.sqrt(max(0.0, self.run**2 - self.day**2 / self.days))

    @property
    def one_reading(self) -> float:
        """Standard deviation of a single reading: sqrt(s3^2 + (K-1)/K s2^2 + (J-1)/J s1^2) (e-Handbook 2.4.4)."""
        j, k = self.repeats, self.days
        return math.sqrt(self.run**2 + (k - 1) / k * self.day**2 + (j - 1) / j * self.repeat**2)


def three_level(day_means: ArrayLike, repeat_sds: ArrayLike, repeats: int) -> Levels:
    """Three-level nested gauge study: repeats within days within runs, on several parts.

    s1^2 = mean of the repeat variances; s2^2 = mean over (run, part) of the variance of the day means;
    s3^2 = mean over parts of the variance of the run means.

    day_means    (runs L, parts Q, days K) means of J repeats
    repeat_sds   same shape, standard deviation of those repeats
    repeats      J
    Source: NIST/SEMATECH e-Handbook 2.4.3, 2.6.1.  Check: published area 1 (0.0362 and 0.0197 printed).
    """
    means, sds = np.asarray(day_means, dtype=np.float64), np.asarray(repeat_sds, dtype=np.float64)
    if means.ndim != 3 or means.shape != sds.shape or means.shape[0] < 2 or means.shape[2] < 2 or repeats < 2:
        raise CannotAnswer("a three-level study needs at least 2 runs, 2 days in each and 2 repeats on each day")
    runs, parts, days = means.shape
    return Levels(
        repeat=math.sqrt(float(np.mean(sds**2))),
        day=math.sqrt(float(np.mean(means.var(axis=2, ddof=1)))),
        run=math.sqrt(float(np.mean(means.mean(axis=2).var(axis=0, ddof=1)))),
        repeat_dof=runs * parts * days * (repeats - 1),
        day_dof=runs * parts * (days - 1),
        run_dof=parts * (runs - 1),
        repeats=repeats,
        days=days,
    )


def nested(readings: ArrayLike) -> Study:
    """Nested study (each operator has parts of his own, e.g. destructive tests): components by analysis of variance.

    EV^2 = MSe; part^2 = (MSp(o) - MSe) / r; op^2 = (MSo - MSp(o)) / (p r), negatives 0.

    readings    (o, p, r)
    Source: nested analysis of variance, e-Handbook 3.2.3.3.
    """
    y = _cube(readings)
    o, p, r = y.shape
    cell, mean = y.mean(axis=2), y.mean(axis=(1, 2))
    error = float(np.sum((y - cell[:, :, None]) ** 2)) / (o * p * (r - 1))
    part = r * float(np.sum((cell - mean[:, None]) ** 2)) / (o * (p - 1))
    operator = p * r * float(np.sum((mean - y.mean()) ** 2)) / (o - 1)
    return _study(
        error, max(0.0, (operator - part) / (p * r)), 0.0, max(0.0, (part - error) / r), False, "nested: no interaction"
    )


def bias(readings: ArrayLike, reference: float) -> TTest:
    """Bias of a gauge on one known part: mean less reference, tested against zero (t, n - 1 degrees of freedom)."""
    return mean_against(readings, reference)


@dataclass(frozen=True, slots=True, kw_only=True)
class Linearity:
    """Bias as a straight line over the reference value: bias = slope x + intercept."""

    slope: float
    intercept: float
    slope_std: float
    intercept_std: float
    residual_std: float
    dof: int
    slope_p_ratio: float
    intercept_p_ratio: float


def linearity(reference: ArrayLike, measured: ArrayLike) -> Linearity:
    """Straight line through the biases measured - reference over the reference (ordinary least squares).

    Source: automotive measurement-systems manual, 4th edition (from memory).
    """
    x, y = vec(reference, 3), vec(measured, 3)
    if x.size != y.size:
        raise CannotAnswer("every measured value needs its reference")
    y = y - x
    dx = x - x.mean()
    sxx = float(dx @ dx)
    if sxx <= 0:
        raise CannotAnswer("linearity needs at least two different reference values")
    slope = float(dx @ y) / sxx
    intercept = float(y.mean()) - slope * float(x.mean())
    rest = y - intercept - slope * x
    dof = x.size - 2
    s = math.sqrt(float(rest @ rest) / dof)
    u_slope, u_cut = s / math.sqrt(sxx), s * math.sqrt(1.0 / x.size + float(x.mean()) ** 2 / sxx)

    def p(value: float, std: float) -> float:
        return 2.0 * float(special.stdtr(dof, -abs(value) / std)) if std > 0 else 0.0

    return Linearity(
        slope=slope, intercept=intercept, slope_std=u_slope, intercept_std=u_cut, residual_std=s, dof=dof,
        slope_p_ratio=p(slope, u_slope), intercept_p_ratio=p(intercept, u_cut),
    )  # fmt: skip


def check_standard(baseline: ArrayLike, width: float = 3.0) -> tuple[float, float, float, float]:
    """Stability of a gauge on a check standard: (mean, s, low, high) with limits mean ± width s of the baseline.

    Source: NIST/SEMATECH e-Handbook 2.2.2.
    """
    x = vec(baseline, 2)
    mean, s = float(x.mean()), float(x.std(ddof=1))
    return mean, s, mean - width * s, mean + width * s
