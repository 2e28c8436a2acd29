"""Area 6 by name: stacks and gears."""

import ast
import math
import operator
import re
from collections.abc import Callable
from typing import Any

import numpy as np

from halfthou.stats import backlash, limits, stack
from tests.published.metrology_names import Answers, Given, Missing, rule

TOL = ("tol", "tols", "tolerances", "tolerance", "t", "plus_minus")
SENS = ("sign", "signs", "sens", "sensitivities", "sensitivity", "a", "coefficients", "directions")
ALPHA = ("pressure_angle", "alpha", "alpha_n", "alpha_t")
DA = ("da", "delta_a", "centre_change", "center_change", "dC", "centre_distance_change")


def _alpha(g: Given) -> float:
    """Pressure angle in rad; a bare number is degrees, default 20."""
    if not g.has(*ALPHA):
        return backlash.ALPHA_RAD
    value = g.num(*ALPHA, unit="rad")
    return value if g.has(*(f"{n}_{u}" for n in ALPHA for u in ("deg", "rad"))) else math.radians(value)


@rule(
    6,
    r"^(?!.*(gear|backlash|fit|clutch|nonlinear|centre dist|center dist)).*(stack|rss|linear|chain|shift|bender|worst|alloc|inflat)",
)
def linear(g: Given) -> Answers:
    t = g.many(*TOL)
    a = g.many(*SENS) if g.has(*SENS) else None
    factor = g.num("factor", "inflation", "bender_factor", default=stack.BENDER_RATIO)
    worst, rss, big = stack.worst(t, a), stack.rss(t, a), stack.inflated(t, a, factor)
    out: Answers = {
        "worst|worst_case|wc|arithmetic": worst, "rss|statistical|RSS": rss, "bender|inflated|inflated_rss|rss_inflated": big, "ratio": worst / rss,
    }  # fmt: skip
    total = big if g.says("inflat|bender") else (rss if g.says(r"\brss\b|statist") else worst)
    if g.has("f", "shift", "shift_factor", "shift_fraction", "mean_shift", "shifts"):
        f = g.find(["f", "shift", "shift_factor", "shift_fraction", "mean_shift", "shifts"])
        total = stack.mean_shift(t, f, a)
        out["mean_shift|shifted|greenwood_chase|estimated_mean_shift"] = total
    out["total|tolerance|t_total|result|assembly|plus_minus"] = total
    if g.has("nominal", "nominals", "lengths", "dims", "dimensions", "mean"):
        middle = stack.nominal(g.many("nominal", "nominals", "lengths", "dims", "dimensions", "mean"), a)
        out |= {
            "nominal|mean|gap|nominal_gap|closing|clearance": middle, "max_worst|worst_max|max|max_gap": middle + worst, "min_worst|worst_min|min|min_gap": middle - worst,
            "max_rss|rss_max": middle + rss, "min_rss|rss_min": middle - rss, "worst_limits": [middle - worst, middle + worst],
        }  # fmt: skip
        sd = rss / 3.0
        low = g.num("lower", "lsl", "gap_min", default=-math.inf)
        high = g.num("upper", "usl", "gap_max", default=math.inf)
        law = stack.Gap(mean=middle, std=sd) if sd > 0 else None
        if law is not None and (math.isfinite(low) or math.isfinite(high)):
            bad = (law.below(low) if math.isfinite(low) else 0.0) + (
                1 - law.below(high) if math.isfinite(high) else 0.0
            )
            out |= {"p_out|fraction_out": bad, "ppm": 1e6 * bad}
        out |= {
            "sd|sigma": sd,
            "p_negative|p_interference|p_below_zero": lambda: stack.Gap(mean=middle, std=sd).below(0.0),
        }
    target = ("target_rss", "target", "required", "assembly_tol")
    if g.has(*target):
        scale = stack.allocation_scale(t, g.num(*target), a)
        out |= {"scale|factor": scale, "allocated|new_tol|tols": [scale * v for v in t]}
    return out


NODES: dict[type, Callable[..., float]] = {
    ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.Div: operator.truediv, ast.Pow: operator.pow,
    ast.USub: operator.neg,
}  # fmt: skip
WORDS = {
    n: getattr(math, n)
    for n in ("sin", "cos", "tan", "asin", "acos", "atan", "atan2", "sqrt", "hypot", "exp", "log", "radians")
}


def _evaluate(node: ast.expr, values: dict[str, float]) -> float:
    """A formula of numbers, names, + - * / ** and the functions of WORDS."""
    if isinstance(node, ast.Constant) and isinstance(node.value, int | float):
        return float(node.value)
    if isinstance(node, ast.Name):
        if node.id in values:
            return values[node.id]
        if node.id == "pi":
            return math.pi
        raise Missing(node.id)
    if isinstance(node, ast.BinOp) and type(node.op) in NODES:
        return NODES[type(node.op)](_evaluate(node.left, values), _evaluate(node.right, values))
    if isinstance(node, ast.UnaryOp) and type(node.op) in NODES:
        return NODES[type(node.op)](_evaluate(node.operand, values))
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in WORDS:
        return float(WORDS[node.func.id](*(_evaluate(v, values) for v in node.args)))
    raise Missing("a formula that can be read")


@rule(6, r"nonlinear|non-linear|clutch|sensitiv|derivative")
def nonlinear(g: Given) -> Answers:
    text = next((v for v in g.inputs.values() if isinstance(v, str) and re.match(r"\s*\w+\s*=", v)), "")
    names = [k for k, v in g.inputs.items() if isinstance(v, int | float) and not isinstance(v, bool)]
    values = [float(g.inputs[k]) for k in names]
    if text:
        left, right = text.split("=", 1)
        tree = ast.parse(right.strip().replace("^", "**"), mode="eval").body
        short = [k if re.search(rf"\b{k}\b", right) else k.rsplit("_", 1)[-1] for k in names]
        used = [i for i, k in enumerate(short) if re.search(rf"\b{re.escape(k)}\b", right)]
        fixed = dict(zip(short, values, strict=True))

        def model(x: Any) -> float:
            return _evaluate(tree, fixed | {short[i]: float(v) for i, v in zip(used, x, strict=True)})
    else:
        left, used = "phi", [0, 1, 2]

        def model(x: Any) -> float:
            return stack.clutch_angle_rad(float(x[0]), float(x[1]), float(x[2]))

    at = [values[i] for i in used]
    d, t = stack.derivatives(model, at), g.many(*TOL)
    key = left.strip()
    return {
        f"{key}_rad|{key}|y|value|nominal": model(at), "worst_rad|worst": stack.worst(t, d), "rss_rad|rss": stack.rss(t, d),
        "sens_deg_per_mm|sensitivities_deg_per_mm": np.degrees(d), "sens|sensitivities|derivatives|sens_rad_per_mm": d,
        "inflated_rad|bender_rad": stack.inflated(t, d),
    }  # fmt: skip


@rule(6, r"backlash|gear|exact")
def gear_backlash(g: Given) -> Answers:
    alpha = _alpha(g)
    out: Answers = {
        "da_per_j|da_per_backlash|factor": backlash.centre_change_for(1.0, alpha),
        "j_per_da": backlash.tangential(1.0, alpha),
    }
    if g.has("module", "m") and (g.has("z1") or g.has("a", "centre", "center_distance", "centre_distance")):
        m = g.num("module", "m", unit="mm")
        if g.has("z1", "z_1") and g.has("z2", "z_2"):
            z1, z2 = g.whole("z1", "z_1"), g.whole("z2", "z_2")
            a0 = 0.5 * m * (z1 + z2)
            if g.has(*DA) or g.has("a", "centre", "center_distance", "centre_distance"):
                da = (
                    g.num(*DA, unit="mm")
                    if g.has(*DA)
                    else g.num("a", "centre", "center_distance", "centre_distance") - a0
                )
                j = backlash.exact(m, z1, z2, da, alpha)
                out |= {
                    "jt|j|backlash|exact|jt_exact": j, "linear|jt_linear": backlash.tangential(da, alpha), "a0": a0, "a": a0 + da,
                    "jn|jbn": j * math.cos(backlash.working_angle_rad(a0, a0 + da, alpha)), "alpha_w_rad|alpha_w": backlash.working_angle_rad(a0, a0 + da, alpha),
                }  # fmt: skip
        else:
            a0 = g.num("a", "centre", "center_distance", "centre_distance", unit="mm")
        least = backlash.least_recommended_mm(a0, m)
        out |= {"jbn_min|jbn|jbn_min_mm|min_backlash|minimum|jn_min": least, "jt_min|jbt_min": least / math.cos(alpha)}
    elif g.has(*DA):
        da = g.num(*DA)
        out |= {"jn|normal": backlash.normal(da, alpha), "jt|tangential|j|backlash|dj": backlash.tangential(da, alpha)}
    elif g.has("j", "jt", "backlash"):
        out["da|delta_a"] = backlash.centre_change_for(g.num("j", "jt", "backlash"), alpha)
    return out


@rule(6, r"thermal|temperature|heat")
def warm_gear(g: Given) -> Answers:
    da = backlash.centre_growth(g.num("a", "centre_distance", "center_distance", "centre"), g.num("alpha_housing", "alpha_h"),
                                g.num("alpha_gear", "alpha_g"), g.num("dT", "delta_T", "rise"))  # fmt: skip
    angle = backlash.ALPHA_RAD
    if g.has("pressure_angle"):
        value = g.num("pressure_angle", unit="rad")
        angle = value if g.has("pressure_angle_deg", "pressure_angle_rad") else math.radians(value)
    return {
        "da|delta_a": da,
        "dj|djt|jt|backlash|backlash_change": backlash.tangential(da, angle),
        "djn|jn": backlash.normal(da, angle),
    }


@rule(6, r"range|thinning|play")
def gear_range(g: Given) -> Answers:
    names = ("thinning", "thinnings", "tooth_thinning", "Es", "sum_thinning", "thinning_each")
    total = sum(g.many(*names))
    da = g.num("centre_tolerance", "center_tolerance", "a_tol", "da_tol", "centre_tol", "da", "delta_a", "center_tol")
    play = g.num("play", "bearing_play", "radial_play", "clearance", default=0.0)
    low, high = backlash.backlash_range(total, da, play, _alpha(g))
    return {
        "min|j_min|jt_min|low|lo": low,
        "max|j_max|jt_max|high|hi": high,
        "nominal|mean|middle": total,
        "range": [low, high],
        "half|plus_minus": (high - low) / 2,
    }


@rule(6, r"centre dist|center dist|bore")
def bore_distance(g: Given) -> Answers:
    if g.has("positions", "position_dias"):
        halves = [0.5 * v for v in g.many("positions", "position_dias")]
        return {"worst|plus_minus": stack.worst(halves), "rss|statistical": stack.rss(halves)}
    worst, rss = stack.centre_distance(
        g.num("position_dia", "position", "position_tolerance", "zone"), g.whole("bores", "n", default=2)
    )
    return {"worst|plus_minus|worst_case": worst, "rss|statistical": rss}


@rule(6, r"clearance|interference|transition|\bfit\b")
def fit_chance(g: Given) -> Answers:
    if g.has("hole", "hole_zone") and isinstance(g.find(["hole", "hole_zone"]), str):
        size = g.num("size", "nominal", "d", "D", "diameter", unit="mm")
        hole, shaft = limits.zone(g.word("hole", "hole_zone"), size), limits.zone(g.word("shaft", "shaft_zone"), size)
        law = stack.gap_of_zones(
            1e3 * hole.lower_mm,
            1e3 * hole.upper_mm,
            1e3 * shaft.lower_mm,
            1e3 * shaft.upper_mm,
            g.num("cp", "Cp", default=1.0),
        )
        means = {"hole_mean_um": 1e3 * hole.middle_mm, "shaft_mean_um": 1e3 * shaft.middle_mm}
    else:
        law = stack.gap(
            g.num("hole_mean", "mu_h", "mu_hole", "mean_hole"), g.num("hole_sd", "sigma_h", "sd_hole", "sigma_hole", "s_hole"),
            g.num("shaft_mean", "mu_s", "mu_shaft", "mean_shaft"), g.num("shaft_sd", "sigma_s", "sd_shaft", "sigma_shaft", "s_shaft"),
        )  # fmt: skip
        means = {}
    bad = law.below(0.0)
    out: Answers = {
        "mean_um|mean|mean_clearance_um": law.mean, "sd_um|sd|sigma_um": law.std, "p_clearance": 1 - bad,
        "p_interference|p|probability|p_below_0um": bad, "min_3s_um|lo_um": law.mean - 3 * law.std, "max_3s_um|hi_um": law.mean + 3 * law.std,
        "ppm": 1e6 * bad,
    }  # fmt: skip
    for limit in range(-60, 101):  # the name of an answer may carry the limit it is about
        out |= {
            f"p_below_{limit}um|p_below_{limit}": law.below(limit),
            f"p_above_{limit}um|p_above_{limit}": 1 - law.below(limit),
        }
    if g.has("limit", "threshold", "below", "min_clearance"):
        out["p_below|fraction_below"] = law.below(g.num("limit", "threshold", "below", "min_clearance", unit="um"))
    return out | means
