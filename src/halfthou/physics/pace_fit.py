"""Finds a machine's pace from readings: parameters of the time model with their spread, and predictions with intervals.

Maximum a posteriori fit by damped least squares with Student weights (nu = 4) over sections of a log; every parameter has a
prior band, so what the readings cannot tell stays as wide as it was. The spread is the Laplace covariance, widened
by how much neighbouring misfits hang together. Habits that are no numbers are tried in turn and averaged by posterior
weight. Source: the usual Gaussian approximation (Gelman et al., Bayesian Data Analysis, ch. 4 and 13; from memory).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.watch import QUIET, Watch
from halfthou.physics.pace import (
    AXIS_JUMP,
    CAPPED,
    CAPPED_CUBE,
    CUBE,
    INDEX,
    JUMP,
    ROUNDED,
    Course,
    Habits,
    pace_rows_s,
)

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
STEP = 1e-3
NU = 4.0
NOISE = 0.004
"""Misfit of the model before any reading, s for each square root of a second (studied on simulated controllers)."""
NOISE_DOF = 6.0
CLASS_RATIO, CLASS_DOF = 0.05, 6.0
"""Misfit of the time lost against the programmed speeds (long and short lines, arcs, rapids), from one stretch of a
program to another, before any reading (studied on simulated controllers)."""
CLASSES = ("long", "short", "arc", "fast")
CLASS_SCALE = np.array([1.0, 3.0, 1.5, 1.0])
"""Dense short lines are missed most: there the controllers differ (studied on simulated controllers)."""
FEW, DRAWS, LEAST_WEIGHT = 10, 80, 0.02
"""Up to so many readings count as stopwatch totals; draws kept; least weight of a guess worth keeping."""
CHANGE_RATIO, CHANGE_DOF = 0.07, 4.0
"""Spread of single tool changes before any reading (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prior:
    """Bands before any reading: centre f8 and std f8, both of the logarithm, in the order of NAMES.

    `corner_log` holds centre and std of the corner entry for each corner family.
    """

    centre: F8
    std: F8
    corner_log: tuple[tuple[float, float], ...]
    dog_leg: bool | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Timed:
    """Readings of one run: group i8 (n,) section of each row, -1 none; seconds and reading_std f8 (g,)."""

    course: Course
    group: I8
    seconds: F8
    reading_std_s: F8


@dataclass(frozen=True, slots=True, kw_only=True)
class Guess:
    """One choice of habits: log parameters z f8 (NAMES,) at their most likely, draws f8 (d, NAMES) that spread as the
    readings leave them, and how much is missed."""

    habits: Habits
    z: F8
    draws: F8
    weight: float
    noise: float  # s per square root of a second, hanging-together included
    class_ratio: float  # misfit of the time lost against programmed speeds, from stretch to stretch
    change_std_s: float

    @property
    def vector(self) -> F8:
        """The parameters at their most likely."""
        return np.exp(self.z)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """A machine's pace as far as the readings tell: guesses, most likely first, weights adding to 1."""

    guesses: tuple[Guess, ...]
    sections: int
    changes: int  # tool changes timed by themselves

    @property
    def best(self) -> Guess:
        """The most likely guess."""
        return self.guesses[0]


def sum_rows(rows_s: F8, group: I8, count: int) -> F8:
    """Seconds of each section, f8 (count,)."""
    own = group >= 0
    out: F8 = np.bincount(group[own], weights=rows_s[own], minlength=count).astype(np.float64)
    return out


@dataclass(slots=True)
class _Problem:
    """Everything the fit looks at for one choice of habits."""

    timed: Sequence[Timed]
    prior: Prior
    habits: Habits
    seconds: F8
    reading: F8
    changes: F8

    def model(self, z: F8) -> F8:
        """Seconds of all sections."""
        p = np.exp(z)
        return np.concatenate(
            [sum_rows(pace_rows_s(t.course, p, self.habits), t.group, len(t.seconds)) for t in self.timed]
        )

    def jacobian(self, z: F8, base: F8) -> F8:
        """Change of every section's seconds by every log parameter, f8 (g, NAMES)."""
        out = np.empty((len(base), len(z)))
        for k in range(len(z)):
            moved = z.copy()
            moved[k] += STEP
            out[:, k] = (self.model(moved) - base) / STEP
        return out

    def bands(self) -> tuple[F8, F8]:
        """Centre and std of the prior under these habits."""
        centre, std = self.prior.centre.copy(), self.prior.std.copy()
        centre[INDEX["corner"]], std[INDEX["corner"]] = self.prior.corner_log[self.habits.corner]
        return centre, std


@dataclass(slots=True)
class _Fit:
    problem: _Problem
    z: F8
    covariance: F8
    noise_own: float
    noise: float
    class_ratio: float
    change_std: float
    score: float


def _variance(problem: _Problem, noise: float, change_std: float, expected: F8) -> F8:
    """Variance of every section: reading, misfit growing with time, single changes."""
    v: F8 = problem.reading**2 + noise**2 * np.maximum(expected, 0.05) + change_std**2 * problem.changes
    return v


def _search(problem: _Problem, z: F8, noise: float, change_std: float, rounds: int) -> _Fit:
    """Damped least squares with Student weights and noise re-estimated as it goes."""
    centre, std = problem.bands()
    precision = 1.0 / std**2
    base = problem.model(z)
    damp = 1e-3
    hold = np.ones(len(base))
    for _ in range(rounds):
        v = _variance(problem, noise, change_std, base) / hold
        r = problem.seconds - base
        cost = float(r @ (r / v) + (z - centre) @ (precision * (z - centre)))
        jac = problem.jacobian(z, base)
        normal = jac.T @ (jac / v[:, None]) + np.diag(precision)
        slope = jac.T @ (r / v) - precision * (z - centre)
        better = False
        for _ in range(6):
            step = np.linalg.solve(normal + damp * np.diag(np.diag(normal)), slope)
            tried = z + np.clip(step, -1.5, 1.5)
            new = problem.model(tried)
            q = problem.seconds - new
            new_cost = float(q @ (q / v) + (tried - centre) @ (precision * (tried - centre)))
            if new_cost < cost:
                better, damp = True, max(damp / 10, 1e-7)
                break
            damp *= 10
        if better:
            z, base = tried, new
        noise, change_std, hold = _noise(problem, base, noise, change_std)
        if not better or cost - new_cost < 0.02:
            break
    return _finish(problem, z, base, noise, change_std, hold)


def _noise(problem: _Problem, base: F8, noise: float, change_std: float) -> tuple[float, float, F8]:
    """Noise, spread of single changes and Student weights from the residuals."""
    r = problem.seconds - base
    plain = problem.changes == 0
    time = np.maximum(base, 0.05)
    for _ in range(4):
        v = _variance(problem, noise, change_std, base)
        hold = np.where(plain, (NU + 1) / (NU + r**2 / v), 1.0)
        # shares of the misfit that are not the reading's own
        own = noise**2 * time[plain] / v[plain]
        share = own * hold[plain] * r[plain] ** 2 / time[plain] * own + (1 - own) * noise**2
        noise = float(np.sqrt((NOISE_DOF * NOISE**2 + share.sum()) / (NOISE_DOF + plain.sum())))
    mean = float(np.exp(problem.bands()[0][INDEX["change"]]))
    with_change = problem.changes > 0
    if with_change.any():
        mean = float(np.median(problem.seconds[with_change] / problem.changes[with_change]))
    prior = (CHANGE_RATIO * min(mean, 15.0)) ** 2
    square = float((r[with_change] ** 2 / np.maximum(problem.changes[with_change], 1.0)).sum())
    change_std = float(np.sqrt((CHANGE_DOF * prior + square) / (CHANGE_DOF + with_change.sum())))
    return noise, change_std, hold


def _together(problem: _Problem, base: F8, v: F8) -> float:
    """How much neighbouring misfits hang together: variance of sums over that of the parts, at least 1."""
    r = ((problem.seconds - base) / np.sqrt(v))[problem.changes == 0]
    r = np.clip(r, -4, 4)
    worst = 1.0
    for length in (4, 8, 16, 32):
        n = len(r) // length
        if n >= 4:
            sums = r[: n * length].reshape(n, length).sum(axis=1)
            worst = max(worst, float(sums @ sums) / max(float(r @ r) * n * length / len(r), 1e-12))
    return worst


def _finish(problem: _Problem, z: F8, base: F8, noise: float, change_std: float, hold: F8) -> _Fit:
    _, std = problem.bands()
    v = _variance(problem, noise, change_std, base)
    wide = _together(problem, base, v)
    jac = problem.jacobian(z, base)
    v_wide = v + (wide - 1.0) * noise**2 * np.maximum(base, 0.05)
    normal = jac.T @ (jac * (hold / v_wide)[:, None]) + np.diag(1.0 / std**2)
    covariance: F8 = np.linalg.inv(normal).astype(np.float64)
    r = problem.seconds - base
    ratio = _class_ratio(problem, r, jac, noise)
    found = _Fit(problem, z, covariance, noise, noise * float(np.sqrt(wide)), ratio, change_std, 0.0)
    cost = _misfit(found, z)[0] + float(np.log(std**2).sum())
    found.score = -0.5 * (cost - float(np.linalg.slogdet(covariance)[1]))
    if problem.habits.blocks_ahead:
        found.score += np.log(0.3)
    return found


def _misfit(f: _Fit, z: F8) -> tuple[float, F8]:
    """Twice the negative log posterior of log parameters, and the residuals; the noise is that of the fit."""
    problem = f.problem
    centre, std = problem.bands()
    base = problem.model(z)
    v = _variance(problem, f.noise, f.change_std, base)
    r = problem.seconds - base
    each = np.where(problem.changes == 0, (NU + 1) * np.log1p(r**2 / v / NU), r**2 / v) + np.log(v)
    return float(each.sum() + ((z - centre) ** 2 / std**2).sum()), r


def _class_ratio(problem: _Problem, r: F8, jac: F8, noise: float) -> float:
    """How much the time lost is missed from stretch to stretch of the log: pooled over up to 20 stretches."""
    plain = problem.changes == 0
    lost = jac[plain][:, [INDEX[name] for name in CLASSES]] * CLASS_SCALE
    seconds, left = problem.seconds[plain], r[plain]
    before = CLASS_RATIO * min(max(noise / 0.003, 0.8), 3.0)  # a poor fit here misses more elsewhere
    prior = CLASS_DOF * before**2
    stretches = min(20, len(left) // 3)
    if stretches < 3:
        return before
    cut = np.minimum((np.cumsum(seconds) / seconds.sum() * stretches).astype(int), stretches - 1)
    sums = np.bincount(cut, weights=left, minlength=stretches)
    squares = sum(np.bincount(cut, weights=lost[:, c], minlength=stretches) ** 2 for c in range(len(CLASSES)))
    own = np.bincount(cut, weights=noise**2 * seconds + problem.reading[plain] ** 2, minlength=stretches)
    pooled = float(np.maximum(sums**2 - own, 0.0).sum() / max(float(np.sum(squares)), 1e-9))
    return float(np.sqrt((prior + stretches * min(pooled, 0.2**2)) / (CLASS_DOF + stretches)))


def fit(timed: Sequence[Timed], prior: Prior, watch: Watch = QUIET, *, seed: int = 0) -> Pace:
    """The pace that goes with the readings; none at all gives the prior bands."""
    seconds = _joined([t.seconds for t in timed])
    reading = _joined([t.reading_std_s for t in timed])
    changes = _joined([sum_rows(t.course.change, t.group, len(t.seconds)) for t in timed])
    search = _Search(timed, prior, seconds, reading, changes, watch)
    log = len(seconds) > FEW
    legs = (False, True) if prior.dog_leg is None else (prior.dog_leg,)
    best = search.attempt(Habits(dog_leg=legs[0]), None, 12)
    if log:
        search.habits(best, legs)
    elif len(seconds):  # too little to choose: what differs most stands in the answer side by side
        for habits in (
            Habits(corner=JUMP, dog_leg=legs[0]), Habits(corner=CAPPED_CUBE, dog_leg=legs[0]), Habits(dog_leg=legs[-1]),
            Habits(rest_rapid_feed=False, rest_rapid_rapid=False),
        ):  # fmt: skip
            search.attempt(habits, None, 12)
    kept = sorted(search.fits.values(), key=lambda f: -f.score)
    weights = np.exp(np.array([f.score for f in kept]) - kept[0].score)
    chosen = [(f, w) for f, w in zip(kept, (weights / weights.sum()).tolist(), strict=True) if w > LEAST_WEIGHT]
    whole = sum(w for _, w in chosen)
    dice = np.random.default_rng(seed)
    guesses: list[Guess] = []
    for f, w in chosen:
        watch.step("spreading the pace", len(guesses), len(chosen))
        count = max(4, round(DRAWS * (1 if log else 4) * w / whole))
        guesses.append(
            Guess(
                habits=f.problem.habits, z=f.z, draws=_draws(f, count, 160 if log else 800, dice), weight=w / whole,
                noise=f.noise, class_ratio=f.class_ratio, change_std_s=f.change_std,
            )
        )  # fmt: skip
    return Pace(guesses=tuple(guesses), sections=len(seconds), changes=int((changes > 0).sum()))


def _joined(parts: Sequence[F8]) -> F8:
    return np.concatenate(parts) if parts else np.zeros(0)


def _draws(f: _Fit, count: int, tries: int, dice: np.random.Generator) -> F8:
    """`count` draws from the posterior: the Gaussian at its peak, resampled by the true posterior, weights capped."""
    root = np.linalg.cholesky(f.covariance + 1e-14 * np.eye(len(f.z)))
    e = dice.standard_normal((tries, len(f.z)))
    z = f.z + e @ root.T
    gauss = -0.5 * (e**2).sum(axis=1)
    true = np.array([-0.5 * _misfit(f, one)[0] for one in z])
    w = np.exp(np.clip(true - gauss - np.max(true - gauss), -500, 0))
    w = np.minimum(w, w.mean() * np.sqrt(tries))
    steps = (np.arange(count) + 0.5) / count
    out: F8 = z[np.searchsorted(np.cumsum(w) / w.sum(), steps).clip(max=tries - 1)]
    return out


@dataclass(slots=True)
class _Search:
    """Tries habits in turn, from the best so far."""

    timed: Sequence[Timed]
    prior: Prior
    seconds: F8
    reading: F8
    changes: F8
    watch: Watch
    fits: dict[Habits, _Fit] = field(default_factory=dict)

    def attempt(self, habits: Habits, start: _Fit | None, rounds: int) -> _Fit:
        """Fit under these habits, from another fit."""
        self.watch.step("fitting the pace", len(self.fits), 20)
        own = _Problem(self.timed, self.prior, habits, self.seconds, self.reading, self.changes)
        z = own.bands()[0]
        noise, change_std = NOISE, CHANGE_RATIO * 4.0
        if start is not None:
            z, noise, change_std = start.z.copy(), start.noise_own, start.change_std
        if len(self.seconds) and (start is None or start.problem.habits.corner != habits.corner):
            z = self._scan(own, z, wide=start is None)
        self.fits[habits] = _search(own, z, noise, change_std, rounds)
        return self.fits[habits]

    def _scan(self, own: _Problem, z: F8, *, wide: bool) -> F8:
        """A start that is not in a side valley: corners (and, wide, accelerations) over their bands."""
        centre, std = own.bands()
        corner, accel = INDEX["corner"], INDEX["accel"]
        best, least = z, np.inf
        for shift in (0.0, -0.8, 0.8) if wide else (0.0,):
            for step in np.linspace(-2.0, 2.0, 9):
                tried = z.copy()
                tried[corner] = centre[corner] + step * std[corner]
                tried[accel] += shift
                r = self.seconds - own.model(tried)
                cost = float(np.log1p(r**2 / (0.02**2 * np.maximum(self.seconds, 0.05))).sum() + step**2)
                if cost < least:
                    best, least = tried, cost
        return best

    def habits(self, best: _Fit, legs: tuple[bool, ...]) -> _Fit:
        """The best habits: rests, corners, dog-legs, look-ahead, one after the other."""
        rests: list[dict[str, object]] = [
            {"rest_rapid_feed": feed, "rest_rapid_rapid": rapid} for feed in (True, False) for rapid in (True, False)
        ]
        corners: list[dict[str, object]] = [
            {"corner": family} for family in (ROUNDED, JUMP, AXIS_JUMP, CUBE, CAPPED, CAPPED_CUBE)
        ]
        others: list[dict[str, object]] = [
            {"dog_leg": leg, "rest_rapid_feed": True, "rest_rapid_rapid": True} for leg in legs[1:]
        ]
        ramps: list[dict[str, object]] = [{"fixed_time": True}]
        sight: list[dict[str, object]] = [{"blocks_ahead": n} for n in (16, 32, 64, 128)]
        for group in (corners, rests, others, ramps, sight, corners, rests):
            origin = best
            for change in group:
                habits = replace(origin.problem.habits, **change)  # type: ignore[arg-type]
                if habits not in self.fits:
                    tried = self.attempt(habits, origin, 10)
                    best = tried if tried.score > best.score + 0.1 else best
        for ratio in (0.7, 1.4, 0.85, 1.2):  # a short sight is a number after all
            ahead = round(best.problem.habits.blocks_ahead * ratio)
            habits = replace(best.problem.habits, blocks_ahead=ahead)
            if habits not in self.fits:
                tried = self.attempt(habits, best, 6)
                best = tried if tried.score > best.score + 0.1 else best
        return self.attempt(best.problem.habits, best, 15)
