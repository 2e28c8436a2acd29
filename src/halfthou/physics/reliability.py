"""Tool reliability: Weibull life, change times, age replacement, and how often to check for a break.

Shapes: wear 2 … 6, random breakage about 1 (from memory); no open table of measured break rates was found, so rates must
come from the shop's own record. Times in any one unit.
"""

import math
from collections.abc import Callable
from itertools import pairwise

import numpy as np


def survival(time: float, scale: float, shape: float) -> float:
    """Share of tools alive at t: exp(−(t/η)^b)."""
    return math.exp(-((time / scale) ** shape)) if time > 0.0 else 1.0


def conditional_survival(time: float, more: float, scale: float, shape: float) -> float:
    """Chance that a tool of age t lasts `more` longer: R(t + x)/R(t)."""
    return math.exp((time / scale) ** shape - ((time + more) / scale) ** shape)


def hazard(time: float, scale: float, shape: float) -> float:
    """Failure rate at age t: (b/η)·(t/η)^(b−1)."""
    return shape / scale * float((time / scale) ** (shape - 1.0))


def change_time(scale: float, shape: float, survive: float) -> float:
    """Age at which a share `survive` is still alive: η·(−ln R)^(1/b)."""
    return scale * float((-math.log(survive)) ** (1.0 / shape))


def mean_life(scale: float, shape: float) -> float:
    """Mean life η·Γ(1 + 1/b)."""
    return scale * math.gamma(1.0 + 1.0 / shape)


def life_deviation(scale: float, shape: float) -> float:
    """Standard deviation of life: η·√(Γ(1 + 2/b) − Γ(1 + 1/b)²)."""
    return scale * math.sqrt(math.gamma(1.0 + 2.0 / shape) - math.gamma(1.0 + 1.0 / shape) ** 2)


def alive_time(time: float, scale: float, shape: float) -> float:
    """Mean running time until failure or planned change at t: ∫₀ᵗ R, by 64-point Gauss in pieces."""
    nodes, weights = np.polynomial.legendre.leggauss(64)
    top = min(time, scale * 50.0 ** (1.0 / shape))
    edges = np.linspace(0.0, top, 9)
    total = 0.0
    for low, high in pairwise(edges):
        x = 0.5 * (high - low) * nodes + 0.5 * (high + low)
        total += float(np.sum(weights * np.exp(-((x / scale) ** shape)))) * 0.5 * (high - low)
    return total


def age_cost(time: float, scale: float, shape: float, planned: float, failure: float) -> float:
    """Cost per time of changing at age t: (cp·R + cf·(1 − R))/∫₀ᵗ R. Age replacement, derived."""
    alive = survival(time, scale, shape)
    return (planned * alive + failure * (1.0 - alive)) / alive_time(time, scale, shape)


def age_optimum(scale: float, shape: float, planned: float, failure: float) -> float:
    """Age of least cost: root of h(t)·∫R − F(t) = cp/(cf − cp). inf where planned changes never pay (b ≤ 1, cf ≤ cp)."""
    if shape <= 1.0 or failure <= planned:
        return math.inf
    want = planned / (failure - planned)

    def rest(time: float) -> float:
        return hazard(time, scale, shape) * alive_time(time, scale, shape) - (1.0 - survival(time, scale, shape)) - want

    return _root(rest, 1e-9 * scale, scale)


def check_interval(rate: float, check: float, loss_rate: float) -> float:
    """Best time between checks for a hidden failure of constant rate λ: root of exp(λT) − λT − 1 = λ·ci/cd.

    ci cost of a check, cd loss per time with the failure unfound. Source: Barlow, Hunter, Proschan (from memory; agrees
    with the direct minimum of `check_cost`).
    """
    want = rate * check / loss_rate

    def rest(x: float) -> float:  # x = λT; e^x − x − 1 without cancellation for small x
        return (x * x * (0.5 + x * (1 / 6 + x / 24)) if x < 1e-3 else math.expm1(x) - x) - want

    return _root(rest, 1e-12, 1.0) / rate


def check_interval_short(rate: float, check: float, loss_rate: float) -> float:
    """The square-root rule √(2·ci/(λ·cd)): within 1 % for λT ≤ 0.03; always above the exact interval."""
    return math.sqrt(2.0 * check / (rate * loss_rate))


def check_cost(interval: float, rate: float, check: float, loss_rate: float) -> float:
    """Mean cost until a hidden failure is found, with checks every T: (ci + cd·T)/(1 − exp(−λT)) − cd/λ."""
    return (check + loss_rate * interval) / -math.expm1(-rate * interval) - loss_rate / rate


def check_density(time: float, scale: float, shape: float, check: float, loss_rate: float) -> float:
    """Checks per time at age t for a varying failure rate: √(h(t)·cd/(2·ci)). Keller 1974 (abstract read; derived)."""
    return math.sqrt(hazard(time, scale, shape) * loss_rate / (2.0 * check))


def check_count(time: float, scale: float, shape: float, check: float, loss_rate: float) -> float:
    """Number of checks up to age t: √(cd/(2ci))·√(b/η)·2/(b + 1)·t·(t/η)^((b−1)/2), the integral of the density."""
    front = math.sqrt(loss_rate / (2.0 * check) * shape / scale)
    return front * time * float((time / scale) ** (0.5 * (shape - 1.0))) * 2.0 / (shape + 1.0)


def check_times(time: float, scale: float, shape: float, check: float, loss_rate: float) -> list[float]:
    """Ages at which to check up to age t: where the count of `check_count` reaches 1, 2, 3 …"""
    whole = check_count(time, scale, shape, check, loss_rate)
    power = 2.0 / (shape + 1.0)
    return [time * float((k / whole) ** power) for k in range(1, int(whole) + 1)]


def _root(rest: Callable[[float], float], low: float, high: float) -> float:
    """The root of a growing function, `high` doubled until it lies above."""
    while rest(high) < 0.0:
        high *= 2.0
        if high > 1e300:
            return math.inf
    for _ in range(200):
        middle = 0.5 * (low + high)
        if rest(middle) < 0.0:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)
