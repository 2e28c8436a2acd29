"""A fitted pace in numbers people know, with 95 % intervals, and which of them the readings did not tell."""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from halfthou.nouns.times import PaceNumber
from halfthou.physics.pace import INDEX, corner_of
from halfthou.physics.pace_fit import Guess, Pace, Prior

F8 = NDArray[np.float64]
TOLD_RATIO = 0.7
"""A number whose spread is below this share of its band before the readings counts as told (choice, no source)."""


def _entry(name: str, scale: float = 1.0, times: str = "") -> Callable[[F8, Guess], float]:
    def value(p: F8, _guess: Guess) -> float:
        return float(p[INDEX[name]] * (p[INDEX[times]] if times else 1.0) * scale)

    return value


def _square(p: F8, guess: Guess) -> float:
    """Speed through a square corner, mm/min."""
    s = float(np.sqrt(0.5))
    v = corner_of(
        guess.habits.corner, float(p[INDEX["corner"]]), s, float(np.sqrt(2)), 1.0, 10.0, float(p[0]), float(p[6])
    )
    return 60.0 * v


_NUMBERS: tuple[tuple[str, str, str, Callable[[F8, Guess], float]], ...] = (
    ("accel_x", "acceleration X", "m/s²", _entry("accel", 1e-3, "accel_x")),
    ("accel_y", "acceleration Y", "m/s²", _entry("accel", 1e-3, "accel_y")),
    ("accel_z", "acceleration Z", "m/s²", _entry("accel", 1e-3, "accel_z")),
    ("round", "rounding of a ramp", "s", _entry("round")),
    ("accel_arc", "sideways acceleration on arcs", "of the acceleration", _entry("accel_arc")),
    ("corner", "speed through a square corner", "mm/min", _square),
    ("block", "least time of a block", "ms", _entry("block", 1e3)),
    ("rest_feed", "lost at a rest after a feed", "s", _entry("rest_feed")),
    ("rest_rapid", "lost at a rest after a rapid", "s", _entry("rest_rapid")),
    ("change", "tool change", "s", _entry("change")),
    ("run_up", "spindle to full speed", "s", _entry("run_up")),
    ("spindle", "spindle start or stop besides", "s", _entry("spindle")),
    ("aux", "coolant on or off", "s", _entry("aux")),
)


def numbers_of(pace: Pace, prior: Prior) -> tuple[PaceNumber, ...]:
    """The numbers with 95 % intervals over all guesses and draws."""
    out = []
    for entry, name, unit, value in _NUMBERS:
        each, weight, z, z_weight = [], [], [], []
        for guess in pace.guesses:
            for draw in guess.draws:
                each.append(value(np.exp(draw), guess))
                weight.append(guess.weight / len(guess.draws))
                z.append(draw[INDEX[entry]] + (draw[0] if entry.startswith("accel_") and entry != "accel_arc" else 0))
                z_weight.append(weight[-1])
        values = np.array(each)
        order = np.argsort(values)
        sums = np.cumsum(np.array(weight)[order])
        at = np.searchsorted(sums, (0.025, 0.5, 0.975)).clip(max=len(order) - 1)
        low, best, high = (float(v) for v in values[order][at])
        out.append(
            PaceNumber(
                name=name, best=best, low_ratio=low / best, high_ratio=high / best, unit=unit,
                told=_spread(np.array(z), np.array(z_weight)) < TOLD_RATIO * _before(prior, entry, pace.best),
            )
        )  # fmt: skip
    return tuple(out)


def _spread(z: F8, weight: F8) -> float:
    mean = float(weight @ z)
    return float(np.sqrt(weight @ (z - mean) ** 2))


def _before(prior: Prior, entry: str, guess: Guess) -> float:
    """Standard deviation of the logarithm before the readings."""
    if entry == "corner":
        return prior.corner_log[guess.habits.corner][1]
    own = float(prior.std[INDEX[entry]])
    if entry in ("accel_x", "accel_y", "accel_z"):
        own = float(np.hypot(own, prior.std[INDEX["accel"]]))
    return own
