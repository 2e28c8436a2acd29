"""Times of a program under a fitted pace: best value and interval, from draws and from what every fit misses."""

from dataclasses import dataclass
from math import erf, sqrt

import numpy as np
from numpy.typing import NDArray

from halfthou.base.watch import QUIET, Watch
from halfthou.physics.pace import INDEX, Course, pace_rows_s
from halfthou.physics.pace_fit import CLASS_SCALE, CLASSES, STEP, Guess, Pace

F8 = NDArray[np.float64]
FLOOR_RATIO = 0.001
"""Share of a total that no log of another program can tell (studied on simulated controllers)."""

WIDEN_RATIO = 1.3
"""Intervals are widened by this: on 2,000 pairs of simulated controllers and programs the errors had longer tails than
the spreads say (91 % inside without it). Found on one drawn population, to be judged on others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """Seconds of one program: best, 95 % interval, standard uncertainty; rows_s f8 (n,) best of each row."""

    best_s: float
    low_s: float
    high_s: float
    std_s: float
    rows_s: F8


def forecast(pace: Pace, course: Course, watch: Watch = QUIET) -> Forecast:
    """Seconds of a program with a 95 % interval (2.5 % to each side), one run of it."""
    totals: list[float] = []
    spreads: list[float] = []
    weights: list[float] = []
    rows = np.zeros(len(course.fixed_s))
    for guess in pace.guesses:
        watch.step("timing under the pace", len(spreads), len(pace.guesses))
        best = pace_rows_s(course, guess.vector, guess.habits)
        rows += guess.weight * best
        own = [float(pace_rows_s(course, np.exp(z), guess.habits).sum()) for z in guess.draws]
        totals += own
        spreads += [_missed_s(guess, course, float(best.sum()))] * len(own)
        weights += [guess.weight / len(own)] * len(own)
    each, w = np.array(totals), np.array(weights)
    spread = np.array(spreads)
    middle = float(w @ each)
    std = float(np.sqrt(w @ ((each - middle) ** 2 + spread**2)))
    low, high = _quantiles(each, spread, w)
    low, high = middle - WIDEN_RATIO * (middle - low), middle + WIDEN_RATIO * (high - middle)
    return Forecast(best_s=float(rows.sum()), low_s=low, high_s=high, std_s=WIDEN_RATIO * std, rows_s=rows)


def _missed_s(guess: Guess, course: Course, total: float) -> float:
    """Standard deviation of what parameters cannot tell: misfit of stretches, noise, single tool changes."""
    lost = 0.0
    for name, scale in zip(CLASSES, CLASS_SCALE.tolist(), strict=True):
        z = guess.z.copy()
        z[INDEX[name]] += STEP
        lost += ((float(pace_rows_s(course, np.exp(z), guess.habits).sum()) - total) / STEP * scale) ** 2
    return float(
        np.sqrt(
            guess.noise**2 * total
            + (FLOOR_RATIO * total) ** 2
            + guess.class_ratio**2 * lost
            + course.change.sum() * guess.change_std_s**2
        )
    )


def _quantiles(each: F8, spread: F8, w: F8) -> tuple[float, float]:
    """2.5 and 97.5 % points of a mixture of Gaussians."""

    def share(x: float) -> float:
        return float(sum(a * 0.5 * (1 + erf((x - m) / (s * sqrt(2)))) for m, s, a in zip(each, spread, w, strict=True)))

    out = []
    for wanted in (0.025, 0.975):
        low, high = float((each - 6 * spread).min()), float((each + 6 * spread).max())
        for _ in range(50):
            mid = 0.5 * (low + high)
            low, high = (mid, high) if share(mid) < wanted else (low, mid)
        out.append(0.5 * (low + high))
    return out[0], out[1]
