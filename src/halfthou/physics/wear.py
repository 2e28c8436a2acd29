"""Tool life and wear: Taylor and extended Taylor, economic speeds, life used by mixed cuts, Weibull spread.

Exponents: high-speed steel n 0.08 … 0.2, carbide 0.2 … 0.5, ceramic 0.5 … 0.7 (from memory). A Taylor line holds only
between the speeds it was measured at; life of one tool scatters by 20 … 40 % about it (reliability.py).
Criteria of end milling (ISO 8688-2:1989): VB1 0.3 mm mean over teeth, VB3 0.5 mm on any tooth (from memory).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np


def life_min(speed_m_per_min: float, c_m_per_min: float, n: float) -> float:
    """Life (C/v)^(1/n), min; C the speed (m/min) for a life of 1 min. The law needs these units: v·T^n = C."""
    return float((c_m_per_min / speed_m_per_min) ** (1.0 / n))


def speed_m_per_min(life: float, c_m_per_min: float, n: float) -> float:
    """Speed for a life T (min): C/T^n, m/min."""
    return c_m_per_min / float(life**n)


def taylor_fit(speeds: Sequence[float], lives: Sequence[float]) -> tuple[float, float]:
    """(n, C) of v·T^n = C through two tests, or by least squares of ln v on ln T through more."""
    slope, level = np.polyfit(np.log(np.asarray(lives)), np.log(np.asarray(speeds)), 1)
    return float(-slope), float(math.exp(level))


def extended_life_min(speed: float, feed_mm: float, depth_mm: float, k: float, n: float, a: float, b: float) -> float:
    """Life of the extended law v·T^n·f^a·d^b = K: (K/(v·f^a·d^b))^(1/n), min."""
    return float((k / (speed * feed_mm**a * depth_mm**b)) ** (1.0 / n))


def life_ratio(ratios: Mapping[str, float], elasticities: Mapping[str, float]) -> float:
    """Change of life when cutting values change by `ratios`: ∏ ratio^elasticity (elasticity of speed = −1/n).

    Ti-6Al-4V shoulder milling, coated carbide, VB 0.2 mm, 100 … 120 m/min: −4 speed, −1 width (Tatar et al., Heliyon 6
    (2020) e04217, abstract read).
    """
    return math.prod(float(ratio ** elasticities[name]) for name, ratio in ratios.items())


def cost_life_min(n: float, change_min: float, edge_cost: float, rate_per_min: float) -> float:
    """Life of least cost per part: (1/n − 1)·(tc + C_edge/C_rate), min. Source: Ghosh & Mallik 4.26."""
    return (1.0 / n - 1.0) * (change_min + edge_cost / rate_per_min)


def output_life_min(n: float, change_min: float) -> float:
    """Life of greatest output: (1/n − 1)·tc, min. Source: Ghosh & Mallik 4.26."""
    return (1.0 / n - 1.0) * change_min


@dataclass(frozen=True, slots=True, kw_only=True)
class Economy:
    """What a part costs beside the cut: fixed cost, rate per min, handling min, change min, cost of an edge."""

    fixed: float
    rate_per_min: float
    handling_min: float
    change_min: float
    edge_cost: float


def piece_cost(speed: float, path_m: float, c: float, n: float, e: Economy) -> float:
    """Cost of a part: fixed + rate·handling + rate·tm + (tm/T)·(rate·tc + edge); path_m cut length in m, tm = path/v.

    Source: Ghosh & Mallik 4.27 (its companion program uses tool Y's exponent once in tool X: 0.4 %).
    """
    cutting = path_m / speed
    life = life_min(speed, c, n)
    change = cutting / life * (e.rate_per_min * e.change_min + e.edge_cost)
    return e.fixed + e.rate_per_min * e.handling_min + e.rate_per_min * cutting + change


def piece_time_min(speed: float, path_m: float, c: float, n: float, e: Economy) -> float:
    """Time of a part: handling + tm + (tm/T)·tc, min."""
    cutting = path_m / speed
    return e.handling_min + cutting + cutting / life_min(speed, c, n) * e.change_min


def turning_path_m(diameter_mm: float, length_mm: float, feed_mm: float) -> float:
    """Length of the cut in turning: π·D·L/(1000·f), m."""
    return math.pi * diameter_mm * length_mm / feed_mm / 1000.0


def life_used(time_min: Sequence[float], life_min_each: Sequence[float]) -> float:
    """Share of life used by cuts of different severity: Σ tᵢ/Tᵢ; 1 = worn out. Linear addition, order not seen."""
    return float(sum(t / life for t, life in zip(time_min, life_min_each, strict=True)))


def parts_per_edge(life: float, cutting_min: float) -> int:
    """Whole parts that one edge makes: ⌊T/tm⌋ (a part may not be left half cut)."""
    return math.floor(life / cutting_min + 1e-9)


def weibull_scale_min(mean_life_min: float, shape: float) -> float:
    """Weibull scale η whose mean is the Taylor life: T/Γ(1 + 1/b), min. b 2 … 6 for wear (from memory)."""
    return mean_life_min / math.gamma(1.0 + 1.0 / shape)
