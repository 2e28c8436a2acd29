"""Cutting coefficients learned from a shop's own readings: fit with relative errors, leave-one-out error, its split.

Two fits. `relative_fit`: any forces or powers that are linear in their coefficients, such as the edge-force model
F = b·(Ke + Kc·f) with its change over speed (`edge_columns`). `power_fit`: spindle power at a few blocks against a loads
table, P = idle + kc/η·(…), with priors where the readings tell nothing. Every error that is given is that of a reading
that was left out (all readings of its block with it). It is split into the noise that repeated readings show and the rest,
which is the model's; without repeats only a bound on the noise can be given, and is.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import special

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

COVER = 0.9  # what intervals hold


def _student(share: float, dof: int) -> float:
    return float(special.stdtrit(max(dof, 1), share))


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """Errors of left-out readings, as shares of the reading. mean: mean size; rms; noise: standard deviation of repeats.

    noise NaN without repeats; model: what is left of rms² (0 when the noise explains all, NaN with unknown noise).
    """

    mean_ratio: float
    rms_ratio: float
    noise_ratio: float
    noise_dof: int
    model_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearFit:
    """Coefficients with covariance, left-out predictions with the interval each had, error split."""

    coefficients: F8
    covariance: F8
    scatter_ratio: float  # residual standard deviation as a share of the reading
    dof: int
    left_out: F8
    left_out_low: F8
    left_out_high: F8
    split: Split

    def predict(self, columns: F8) -> tuple[F8, F8, F8]:
        """(best, low, high) f8 (n,) of new readings that hold COVER of them; columns f8 (n, p)."""
        best: F8 = columns @ self.coefficients
        spread = np.einsum("ij,jk,ik->i", columns, self.covariance, columns)
        half = _student(0.5 + COVER / 2, self.dof) * np.sqrt(spread + (self.scatter_ratio * best) ** 2)
        return best, best - half, best + half


def edge_columns(depth_mm: F8, feed_mm: F8, speed: F8) -> F8:
    """Columns b, b·f, b·n, b·f·n f8 (n, 4): edge and cutting force over depth, each straight in speed (edge-force model).

    speed in any unit; taken about its mean, so that the first two are Ke and Kc at the mean speed.
    """
    n = (speed - speed.mean()) / max(float(np.ptp(speed)), 1e-300) * 2.0
    return np.stack([depth_mm, depth_mm * feed_mm, depth_mm * n, depth_mm * feed_mm * n], axis=1)


def relative_fit(columns: F8, readings: F8, group: I8 | None = None) -> LinearFit:
    """Least squares of relative errors: each reading weighs 1/reading². columns f8 (n, p), readings f8 (n,) > 0.

    group i8 (n,): readings of one setting (repeats) share a number and are left out together; None: all differ.
    Raises ValueError with fewer settings than coefficients + 1.
    """
    own = np.arange(len(readings)) if group is None else group
    p = columns.shape[1]
    if len(np.unique(own)) <= p:
        raise ValueError(f"{p} coefficients need at least {p + 1} different settings")
    c, covariance, scatter = _weighted(columns, readings)
    out, low, high = np.empty(len(readings)), np.empty(len(readings)), np.empty(len(readings))
    for g in np.unique(own):
        rest, mine = own != g, own == g
        part, cov, s = _weighted(columns[rest], readings[rest])
        best = columns[mine] @ part
        spread = np.einsum("ij,jk,ik->i", columns[mine], cov, columns[mine])
        half = _student(0.5 + COVER / 2, int(rest.sum()) - p) * np.sqrt(spread + (s * best) ** 2)
        out[mine], low[mine], high[mine] = best, best - half, best + half
    return LinearFit(
        coefficients=c, covariance=covariance, scatter_ratio=scatter, dof=len(readings) - p, left_out=out,
        left_out_low=low, left_out_high=high, split=split_of(readings, out, own),
    )  # fmt: skip


def _weighted(columns: F8, readings: F8) -> tuple[F8, F8, float]:
    a = columns / readings[:, None]
    c: F8 = np.asarray(np.linalg.lstsq(a, np.ones(len(readings)), rcond=None)[0], dtype=np.float64)
    left = 1.0 - a @ c
    scatter = math.sqrt(float(left @ left) / max(1, len(readings) - columns.shape[1]))
    return c, np.asarray(scatter**2 * np.linalg.pinv(a.T @ a), dtype=np.float64), scatter


def split_of(readings: F8, left_out: F8, group: I8) -> Split:
    """Error split of left-out predictions; noise from readings of one group about their mean, relative to it."""
    error = (left_out - readings) / readings
    rms = math.sqrt(float(np.mean(error**2)))
    total, dof = 0.0, 0
    for g in np.unique(group):
        mine = readings[group == g]
        if len(mine) > 1:
            total += float(np.sum((mine / mine.mean() - 1.0) ** 2))
            dof += len(mine) - 1
    noise = math.sqrt(total / dof) if dof else math.nan
    model = math.sqrt(max(0.0, rms**2 - noise**2)) if dof else math.nan
    return Split(
        mean_ratio=float(np.mean(np.abs(error))), rms_ratio=rms, noise_ratio=noise, noise_dof=dof, model_ratio=model
    )


def noise_bound(levels: I8, readings: F8) -> tuple[float, int]:
    """(upper bound of the noise as a share, its degrees of freedom) of a full plan without repeats.

    levels i8 (n, k): setting of each factor. What is left of ln(reading) after all main effects and all pairs of factors:
    noise plus triple effects, so noise is at most this. Common practice of planned experiments. Raises ValueError when
    nothing is left over.
    """
    columns = [np.ones(len(readings))]
    single: list[list[F8]] = []
    for k in range(levels.shape[1]):
        values = np.unique(levels[:, k])
        single.append([(levels[:, k] == v).astype(np.float64) for v in values[1:]])
        columns += single[-1]
    for i in range(len(single)):
        for j in range(i + 1, len(single)):
            columns += [a * b for a in single[i] for b in single[j]]
    x = np.stack(columns, axis=1)
    rank = int(np.linalg.matrix_rank(x))
    dof = len(readings) - rank
    if dof < 1:
        raise ValueError("main effects and pairs explain every reading: no degrees of freedom are left")
    y = np.log(readings)
    left = y - x @ np.linalg.lstsq(x, y, rcond=None)[0]
    return math.sqrt(float(left @ left) / dof), dof


# ---- spindle power at a few blocks ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerPrior:
    """What is held before the readings: standard deviations of ln kc, of mc, idle power W and drive efficiency."""

    ln_kc_std: float
    mc_std: float
    idle_w: float
    idle_std_w: float
    efficiency: float
    efficiency_std: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerFit:
    """kc over what was taken (at the pivot chip), its standard deviation as a share, change of mc, idle power.

    kc is that of the cut itself: the efficiency and its uncertainty are in it. *_std of the posterior; mc_told: the
    readings narrow mc to less than 0.7 of what was held before. drive_std: of kc/efficiency, which is what the drive
    shows. scatter: of one reading, share of its cutting power. left_out_w: predicted reading when its block was left out.
    """

    kc_ratio: float
    kc_std: float
    drive_std: float
    pivot_mm: float
    mc_change: float
    mc_std: float
    mc_told: bool
    idle_w: float
    idle_std_w: float
    idle_told: bool
    scatter_ratio: float
    left_out_w: F8
    split: Split


SCATTER = 0.10  # of a reading before any is seen, worth SCATTER_DOF readings (from memory: a load meter flickers)
SCATTER_DOF = 3.0
TOLD = 0.7


def power_fit(reading_w: F8, model_w: F8, chip_mm: F8, round_w: F8, block: I8, prior: PowerPrior) -> PowerFit:
    """Learn from readings f8 (n,) W at the drive; model_w: cutting power of the loads model there; chip_mm its chips.

    round_w: half a step of the meter. reading = idle + kc/η·model·(chip/pivot)^(−Δmc). Raises ValueError without readings.
    """
    if not len(reading_w):
        raise ValueError("no readings")
    pivot = math.exp(float(np.mean(np.log(chip_mm))))
    data = _Data(reading=reading_w, model=model_w, turn=np.log(chip_mm / pivot), rounding=round_w / math.sqrt(3.0))
    whole = _posterior(data, prior)
    out = np.empty(len(reading_w))
    for b in np.unique(block):
        mine = block == b
        out[mine] = _predict(_posterior(data.some(~mine), prior)[0], data.some(mine))
    theta, covariance, scatter = whole
    drive = math.sqrt(float(covariance[0, 0]))
    mc_std, idle_std = math.sqrt(float(covariance[1, 1])), math.sqrt(float(covariance[2, 2]))
    ratio = math.exp(float(theta[0])) * prior.efficiency
    efficiency = prior.efficiency_std / prior.efficiency
    return PowerFit(
        kc_ratio=ratio, kc_std=math.hypot(drive, efficiency), drive_std=drive, pivot_mm=pivot, mc_change=float(theta[1]),
        mc_std=mc_std, mc_told=mc_std < TOLD * prior.mc_std, idle_w=float(theta[2]), idle_std_w=idle_std,
        idle_told=idle_std < TOLD * prior.idle_std_w, scatter_ratio=scatter, left_out_w=out,
        split=split_of(reading_w, out, block),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class _Data:
    reading: F8
    model: F8
    turn: F8  # ln(chip/pivot)
    rounding: F8

    def some(self, which: NDArray[np.bool_]) -> "_Data":
        return _Data(self.reading[which], self.model[which], self.turn[which], self.rounding[which])


def _predict(theta: F8, data: _Data) -> F8:
    return np.asarray(theta[2] + np.exp(theta[0] - theta[1] * data.turn) * data.model)


def _posterior(data: _Data, prior: PowerPrior) -> tuple[F8, F8, float]:
    """(ln kc/η, Δmc, idle), covariance, scatter: Gauss–Newton steps on readings and priors, scatter from what is left."""
    mean = np.array([-math.log(prior.efficiency), 0.0, prior.idle_w])
    # the efficiency's own doubt widens what is held of kc/η
    held = np.array(
        [math.hypot(prior.ln_kc_std, prior.efficiency_std / prior.efficiency), prior.mc_std, prior.idle_std_w]
    )
    weight = np.diag(1.0 / np.maximum(held, 1e-9) ** 2)
    theta, scatter = mean.copy(), SCATTER
    n = len(data.reading)
    for _ in range(60):
        cut = np.exp(theta[0] - theta[1] * data.turn) * data.model
        std = np.hypot(scatter * cut, data.rounding)
        slope = np.stack([cut, -data.turn * cut, np.ones(n)], axis=1) / std[:, None]
        left = (data.reading - theta[2] - cut) / std
        normal = slope.T @ slope + weight
        step = np.linalg.solve(normal, slope.T @ left + weight @ (mean - theta))
        theta = theta + np.clip(step, [-0.5, -0.3, -1e9], [0.5, 0.3, 1e9])
        cut = np.exp(theta[0] - theta[1] * data.turn) * data.model
        share = (data.reading - theta[2] - cut) / np.maximum(cut, 1e-9)
        blur = (data.rounding / np.maximum(cut, 1e-9)) ** 2
        seen = float(np.sum(np.maximum(share**2 - blur, 0.0)))
        told = float(np.trace(np.linalg.solve(normal, slope.T @ slope)))  # degrees of freedom the readings spend
        fresh = math.sqrt((SCATTER_DOF * SCATTER**2 + seen) / (SCATTER_DOF + max(n - told, 0.0)))
        done = abs(fresh - scatter) < 1e-6 and float(np.abs(step[:2]).max()) < 1e-8
        scatter = fresh
        if done:
            break
    return theta, np.linalg.inv(normal), scatter
