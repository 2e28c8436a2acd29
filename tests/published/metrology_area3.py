"""Area 3 by name: budgets, type B laws, temperature, conformity, risks, axis tests."""

import math
from typing import Any

import numpy as np

from halfthou.stats import axis, belief, budget, decide, draw, warm
from tests.published.metrology_area1 import MEAN, SIGMA
from tests.published.metrology_area2 import confidence_of, limits_of
from tests.published.metrology_names import Answers, Given, Missing, rule

U = ("u", "uc", "u_c", "std_uncertainty", "standard_uncertainty", "u_meas", "u_std", "um")
EXPANDED = ("U", "U_k2", "expanded", "U95", "expanded_uncertainty", "U_exp")
GUM_DOF = {"ls": 18.0, "d": 25.6, "dalpha": 50.0, "dtheta": 2.0}  # degrees of freedom printed in GUM H.1


def _u_of(g: Given) -> float:
    """Standard uncertainty, as such or from an expanded one (k given or 2)."""
    if "U" in g.inputs or g.has(*EXPANDED[1:]):
        names = ("U", *EXPANDED[1:]) if "U" in g.inputs else EXPANDED[1:]
        return g.num(*names) / g.num("k", "coverage_factor", default=2.0)
    return g.num(*U)


def _expanded(combined: budget.Combined, g: Given) -> Answers:
    """U and k with a given k, or Student's t for a given confidence."""
    out: Answers = {
        "u|uc|u_c|combined": combined.u, "nu_eff|dof|veff|nu|dof_eff|nu_effective": math.inf if math.isinf(combined.dof) else math.floor(combined.dof),
        "nu_eff_exact|nu_exact|dof_exact": combined.dof,
    }  # fmt: skip
    if g.has("k", "coverage_factor"):
        k = g.num("k", "coverage_factor")
    elif math.isinf(combined.dof) and not g.has("p", "confidence", "level", "coverage"):
        k = 2.0
    else:
        p = g.num("p", "confidence", "level", "coverage", default=0.95)
        k = budget.coverage_factor(combined.dof, p / 100 if p > 1 else p)
    return out | {"k|k_p|k99|k95|coverage_factor": k, "U|U99|U95|expanded|U_k2": k * combined.u}


@rule(3, r"h\.?1\b|end gauge|gauge block.*monte|9\.5")
def end_gauge(g: Given) -> Answers:
    ls = g.num("lS", "ls", "l_s", "ls_mm", unit="mm", default=50.000623)
    d, u_ls = g.num("d", unit="nm", default=215.0), g.num("u_lS", "u_ls", unit="nm", default=25.0)
    parts_d = g.many("u_d_parts", unit="nm") if g.has("u_d_parts") else [5.8, 3.9, 6.7]
    u_d = g.num("u_d", unit="nm", default=math.sqrt(sum(v * v for v in parts_d)))
    alpha, theta = g.num("alphaS", "alpha_s", "alpha", default=11.5e-6), g.num("theta", "theta_bar", default=-0.1)
    u_da, u_dt = g.num("u_dalpha", "u_delta_alpha", default=0.58e-6), g.num("u_dtheta", "u_delta_theta", default=0.029)
    u_a, u_t = g.num("u_alphaS", "u_alpha_s", "u_alpha", default=1.2e-6), g.num("u_theta", default=0.41)
    nm = 1e6 * ls
    given = (
        g.many("dof", "nu", "dofs", "degrees_of_freedom") if g.has("dof", "nu", "dofs", "degrees_of_freedom") else []
    )
    dofs = given if len(given) == 4 else list(GUM_DOF.values())
    combined = budget.combine([
        budget.Part(name="standard", u=u_ls, dof=dofs[0]), budget.Part(name="comparison", u=u_d, dof=dofs[1]),
        budget.Part(name="expansion difference", u=u_da, sensitivity=-nm * theta, dof=dofs[2]),
        budget.Part(name="temperature difference", u=u_dt, sensitivity=-nm * alpha, dof=dofs[3]),
    ])  # fmt: skip

    def model(x: Any) -> float:
        return float(x[0] + x[1] - x[0] * (x[2] * x[3] + x[4] * x[5]))

    def second() -> float:
        return budget.second_order(model, [nm, d, 0.0, theta, alpha, 0.0], [u_ls, u_d, u_da, u_t, u_a, u_dt])

    p = g.num("p", "confidence", "level", "coverage", default=0.99)
    k = budget.coverage_factor(combined.dof, p / 100 if p > 1 else p)
    first: Answers = {
        "l_mm": ls + d * 1e-6, "uc_nm|u_nm|u_c_nm": combined.u, "u_d_nm": u_d, "nu_eff|dof|veff|nu": math.floor(combined.dof),
        "k|k99|k_99|t99": k, "U_nm|U99_nm|U99|expanded_nm": k * combined.u,
        "uc_second_order_nm|u_second_order_nm|uc2_nm|uc_2nd_nm|u2_nm|second_order_nm": second,
    }  # fmt: skip
    if g.says("second|higher.?order"):
        first["uc_nm|u_nm|u_c_nm"] = second
    if g.says("monte|101|simul|mcm"):
        return _end_gauge_drawn(g) | {"first_order_nm|uc_first_order_nm": combined.u}
    return first


def _end_gauge_drawn(g: Given) -> Answers:
    """JCGM 101 9.5 with the laws of its table 10 (the case may name other trials, seed and coverage)."""
    p = g.num("p", "coverage", "confidence", default=0.99)
    turn, part = draw.normal(-0.1, 0.2), draw.u_shaped(-0.5, 0.5)
    comparison = [draw.student(215.0, 6.0, 24), draw.student(0.0, 4.0, 5), draw.student(0.0, 7.0, 8)]
    drawn = draw.propagate(
        draw.gauge_block_nm,
        [
            draw.student(50_000_623.0, 25.0, 18), lambda rng, n: draw.total([law(rng, n) for law in comparison]),
            draw.rectangular(9.5e-6, 13.5e-6), draw.curved_trapezoid(-1e-6, 1e-6, 0.1e-6),
            lambda rng, n: turn(rng, n) + part(rng, n), draw.curved_trapezoid(-0.05, 0.05, 0.025),
        ],
        trials=g.whole("trials", "M", "n", default=1_000_000), seed=g.whole("seed", default=1),
    )  # fmt: skip
    low, high = drawn.shortest(p)
    return {
        "mean_nm|dL_nm|deviation_nm|estimate_nm|delta_l_nm|y_nm": drawn.mean, "u_nm|uc_nm|u_mc_nm|sd_nm|std_nm": drawn.u,
        "lo_nm|low_nm|lower_nm|lo99_nm|low99_nm": low, "hi_nm|high_nm|upper_nm|hi99_nm|high99_nm": high, "interval_nm|shortest_nm": [low, high],
    }  # fmt: skip


@rule(3, r"sum of|rectangular.* plus|additive|9\.2")
def additive(g: Given) -> Answers:
    sds = (
        g.many("sd", "sds", "u", "sigma", "s")
        if g.has("sd", "sds", "u", "sigma", "s")
        else [1.0] * g.whole("terms", "n")
    )
    p = g.num("p", "coverage", "confidence", default=0.95)
    u = budget.combine([budget.Part(name=str(i), u=s) for i, s in enumerate(sds)]).u
    first = budget.coverage_factor(math.inf, p) * u
    half = first if g.says("normal|gauss") else belief.rectangular_sum_half_width([s * math.sqrt(3) for s in sds], p)
    return {
        "u|uc|u_c": u, "half_width|half|U": half, "lo|low|lower": -half, "hi|high|upper": half, "interval": [-half, half],
        "first_order_half_width|gum_half_width|half_width_first_order": first, "k": half / u,
    }  # fmt: skip


CONTRIBUTIONS = (
    "contributions",
    "u_parts",
    "components",
    "terms",
    "parts",
    "u_list",
    "budget",
    "ui",
    "u_i",
    "uncertainties",
)


@rule(3, r"budget|calibration|gauge block|welch|satterthwaite|combin|expanded|root.?sum|230-9|contribution")
def contributions(g: Given) -> Answers:
    c = g.many(*CONTRIBUTIONS) if g.has(*CONTRIBUTIONS) else g.many("u")
    scale = (
        g.many("c", "ci", "sensitivities", "sensitivity")
        if g.has("c", "ci", "sensitivities", "sensitivity")
        else [1.0] * len(c)
    )
    names = ("dof", "nu", "dofs", "nu_i", "degrees_of_freedom", "df")
    raw = g.find(names) if g.has(*names) else [math.inf] * len(c)
    dofs = [math.inf if v is None or v in ("inf", "infinity", "Infinity") else float(v) for v in raw]
    corr = np.asarray(g.find(["correlation", "r", "corr"]), dtype=float) if g.has("correlation", "r", "corr") else None
    if corr is not None and corr.ndim == 0:
        corr = np.full((len(c), len(c)), float(corr)) + (1 - float(corr)) * np.eye(len(c))
    parts = [
        budget.Part(name=str(i), u=u, sensitivity=s, dof=v)
        for i, (u, s, v) in enumerate(zip(c, scale, dofs, strict=True))
    ]
    return _expanded(budget.combine(parts, corr), g)


@rule(3, r"welch|satterthwaite|expanded|coverage factor")
def coverage(g: Given) -> Answers:
    p = g.num("p", "confidence", "level", "coverage", default=0.95)
    dof = g.num("nu_eff", "dof", "nu", "df", "veff")
    k = budget.coverage_factor(dof, p / 100 if p > 1 else p)
    u = g.num(*U, default=math.nan)
    return {"k|t|k99|k95|coverage_factor": k, "U|U99|U95|expanded": k * u}


@rule(3, r"micrometer|caliper|instrument|reading|point budget")
def instrument(g: Given) -> Answers:
    parts: list[budget.Part] = []
    out: Answers = {}

    def add(names: str, u: float) -> None:
        out[names] = u
        parts.append(budget.Part(name=names, u=u))

    if g.has("s", "sd", "s_of_3_readings", "repeatability"):
        n = g.num("n", "readings", "n_readings", default=3.0)
        for key in g.inputs:
            if key.startswith("s_of_") and key.endswith("_readings") and key.split("_")[2].isdigit():
                n = float(key.split("_")[2])
        add("u_rep|u_repeat|u_repeatability|u_A", g.num("s", "sd", "s_of_3_readings", "repeatability") / math.sqrt(n))
    if g.has("resolution", "d", "step"):
        add("u_res|u_resolution", belief.resolution(g.num("resolution", "d", "step")))
    if g.has("U_block_k2", "U_block", "U_cal", "U_cert", "U_reference", "U_cal_k2", "U_master"):
        k = g.num("k_block", "k_cal", "k_cert", default=2.0)
        found = g.num("U_block_k2", "U_block", "U_cal", "U_cert", "U_reference", "U_cal_k2", "U_master")
        add("u_block|u_cal|u_cert|u_ref|u_master", belief.normal_expanded(found, k))
    if g.has("mpe", "MPE", "error_limit"):
        add("u_mpe|u_limit", belief.rectangular(g.num("mpe", "MPE", "error_limit")))
    if g.has("u_temp", "u_temperature"):
        add("u_temp|u_temperature", g.num("u_temp", "u_temperature"))
    if not parts:
        raise Missing("contributions")
    total = budget.combine(parts).u
    return out | {"uc|u|u_c": total, "U|U_k2|expanded": g.num("k", default=2.0) * total}


HALF = ("a", "half_width", "half", "limit", "half_range", "semi_width", "plus_minus", "amplitude", "mpe")


@rule(3, r"rectang|uniform|resolution|triang|u.?shape|arcsine|trapez|ctrap|type b")
def type_b(g: Given) -> Answers:
    out: Answers = {}
    if g.has("resolution", "step", "digit", "d") and not g.says("ctrap|curv"):
        out["u_res|u_resolution"] = belief.resolution(g.num("resolution", "step", "digit", "d"))
    if (
        g.has("a", "low", "lower")
        and g.has("b", "high", "upper")
        and g.has("d", "inexact", "delta")
        and not g.has("beta")
    ):
        out["u_ctrap|ctrap"] = belief.curved_trapezoid(
            g.num("a", "low", "lower"), g.num("b", "high", "upper"), g.num("d", "inexact", "delta")
        )
    elif g.has(*HALF) or (g.has("low", "lower", "min") and g.has("high", "upper", "max")):
        half = g.num(*HALF) if g.has(*HALF) else 0.5 * (g.num("high", "upper", "max") - g.num("low", "lower", "min"))
        out |= {
            "u_rect|rectangular|rect|uniform": belief.rectangular(half), "u_tri|triangular|tri|triangle": belief.triangular(half),
            "u_ushape|u_shape|ushape|arcsine|u_u|u_shaped|u_arcsine": belief.u_shaped(half),
        }  # fmt: skip
        if g.has("beta", "top", "top_ratio", "beta_ratio"):
            out["u_trap|trapezoid|trapezoidal|trap"] = belief.trapezoidal(
                half, g.num("beta", "top", "top_ratio", "beta_ratio")
            )
    kinds = (
        ("ctrap|curv", "ctrap"),
        ("trapez", "u_trap"),
        ("triang", "u_tri"),
        ("u.?shape|arcsine|u-dist", "ushape"),
        ("rect|uniform", "u_rect"),
        ("resol", "u_res"),
    )
    best = [
        key for pattern, start in kinds if g.says(pattern) for key in out if start in key.split("|") or start in key
    ]
    if best or out:
        out["u|uc|std"] = out[best[0]] if best else next(iter(out.values()))
    if not out:
        raise Missing("half width or resolution")
    return out


@rule(3, r"thermal|growth|expansion|temperature")
def thermal(g: Given) -> Answers:
    length, alpha = g.num("length", "L", "l", unit="mm"), g.num("alpha", "cte", "alpha_part")
    rise = (
        g.num("dT", "delta_T", "dt", "rise")
        if g.has("dT", "delta_T", "dt", "rise")
        else g.num("T", "temperature") - 20.0
    )
    grown = warm.growth_mm(length, alpha, rise)
    u = warm.growth_std_mm(length, alpha, rise, g.num("u_alpha", default=0.0), g.num("u_T", "u_dT", default=0.0))
    a, b = length * rise * g.num("u_alpha", default=0.0), length * alpha * g.num("u_T", "u_dT", default=0.0)
    first = math.hypot(a, b)  # without the product term, as the reference states it
    return {
        "dl_mm|dL_mm|growth_mm|delta_mm|expansion_mm": grown, "u_mm|u_dl_mm|uc_mm": first, "u_second_order_mm": u,
        "length20_mm|l20_mm": warm.at_reference_mm(length, alpha, 0.0, 20.0 + rise), "u_alpha_mm": a, "u_T_mm": b,
    }  # fmt: skip


@rule(3, r"compensat|scale|correct")
def compensated(g: Given) -> Answers:
    x, ap = g.num("reading", "x", "length", "measured", unit="mm"), g.num("alpha_part", "alpha_p", "alpha_workpiece")
    scale = g.num("alpha_scale", "alpha_s", "alpha_gauge", default=0.0)
    rise = (
        g.num("T", "temperature", "T_part") - g.num("T_ref", default=20.0)
        if g.has("T", "temperature", "T_part")
        else g.num("dT", "delta_T")
    )
    t_scale = g.num("T_scale") if g.has("T_scale") else None
    u = warm.at_reference_std_mm(
        x, ap, scale, rise, g.num("u_alpha_part", "u_alpha_p", "u_alpha", default=0.0),
        g.num("u_alpha_scale", "u_alpha_s", default=0.0), g.num("u_T", "u_dT", default=0.0),
    )  # fmt: skip
    best = warm.at_reference_mm(x, ap, scale, 20.0 + rise, t_scale)
    return {"length20_mm|l20_mm|length_mm|corrected_mm": best, "u_mm|uc_mm": u, "correction_mm": best - x}


@rule(3, r"cosine|abbe")
def small_errors(g: Given) -> Answers:
    out: Answers = {}
    angle = ("angle", "tilt", "pitch")
    if g.has("length", "L") and g.has("cosine_angle", *angle):
        out["cosine_mm|cosine_error_mm"] = warm.cosine_error_mm(
            g.num("length", "L", unit="mm"), g.num("cosine_angle", *angle, unit="rad")
        )
    if g.has("abbe_offset", "offset"):
        out["abbe_mm|abbe_error_mm"] = warm.abbe_error_mm(
            g.num("abbe_offset", "offset", unit="mm"), g.num("abbe_angle", *angle, unit="rad")
        )
    return out


@rule(3, r"risk|false.?(accept|reject)|\bpfa\b|tur\b|consumer|producer")
def risk(g: Given) -> Answers:
    tur_names = ("tur", "TUR", "test_uncertainty_ratio", "ratio")
    if g.has(*tur_names) and g.has("in_tolerance", "itp", "p_in", "in_tol", "eopr"):
        k = 1.0 if g.says(r"half-?width ?/ ?u\b(?!\()") and not g.says(r"U\(k ?= ?2\)") else 2.0
        inside = g.num("in_tolerance", "itp", "p_in", "in_tol", "eopr")
        guard = g.num("guard_fraction", "guard_of_U", "w_over_U", "guard_factor", default=0.0)
        found = decide.risks_by_ratio(inside / 100 if inside > 1 else inside, g.num(*tur_names), guard, k)
    else:
        low, high = limits_of(g)
        if low is None or high is None:
            raise Missing("both limits")
        sigma = g.num("sigma_process", "sigma_p", "process_sd", *SIGMA)
        mean = g.num("process_mean", *MEAN, default=0.5 * (low + high))
        found = decide.risks(mean, sigma, _u_of(g), low, high, g.num("guard", "w", "guard_band", default=0.0))
    return {
        "pfa|PFA|false_accept|consumer_risk": found.false_accept_ratio, "pfr|PFR|false_reject|producer_risk": found.false_reject_ratio,
        "p_accept|accept": found.accept_ratio, "p_bad|p_out": found.bad_ratio,
        "bad_among_accepted|conditional_pfa": lambda: found.bad_among_accepted_ratio,
    }  # fmt: skip


@rule(3, r"guard|accept|conform|14253|decision")
def conformity(g: Given) -> Answers:
    out: Answers = {}
    try:
        u = _u_of(g)
    except Missing:
        u = math.nan
    conf = confidence_of(g, 0.95)
    band = math.nan
    if g.has("w", "guard", "guard_band", "g"):
        band = g.num("w", "guard", "guard_band", "g")
    elif g.says(r"w ?= ?u\b|simple guard|w=U"):
        band = u * g.num("k", "coverage_factor", default=2.0)
    elif not math.isnan(u):
        band = decide.guard_band(u, conf)
    out |= {
        "w|guard|guard_band|g": band, "w_over_u|z|k_guard": decide.guard_band(1.0, conf),
        "w_over_U|guard_over_U|fraction_of_U|w_fraction_of_U|g_over_U|multiplier|r": decide.guard_band(0.5, conf), "u": u,
    }  # fmt: skip
    try:
        low, high = limits_of(g)
    except Missing:
        return out
    zone = decide.acceptance_zone(low, high, band)
    out |= {
        "al|AL|accept_low|lower_accept|acceptance_lower|accept_lower|lower_acceptance": zone.low,
        "au|AU|accept_high|upper_accept|acceptance_upper|accept_upper|upper_acceptance": zone.high,
        "zone_loss_fraction|loss|zone_loss|lost_fraction": zone.lost_ratio, "zone|acceptance_zone": [zone.low, zone.high],
    }  # fmt: skip
    value = ("y", "value", "measured", "reading", "x", "result", *MEAN)
    if g.has(*value):
        y = g.num(*value)
        chance = decide.conform_chance(y, u, low, high)
        verdict = decide.decide(y, low, high, band)
        out |= {
            "p_c|pc|p_conform|p|probability|p_conformity|conformance_probability": chance,
            "p_fail|p_nonconform|specific_risk|risk": 1 - chance, "decision|verdict|result": verdict.value,
            "accept|accepted|conforms": verdict is decide.Decision.CONFORMS,
        }  # fmt: skip
    return out


@rule(3, r"inflation|rule of ten|gauge ratio|10:1")
def inflation(g: Given) -> Answers:
    found = budget.spread_inflation(g.num("ratio", "r", "gauge_ratio"))
    return {"inflation|factor": found, "inflation_pct|pct|percent": 100 * (found - 1)}


@rule(3, r"230-2|positioning|repeatability")
def axis_test(g: Given) -> Answers:
    if g.has("up") and g.has("down"):
        up, down = g.matrix("up"), g.matrix("down")
    else:
        rows = g.rows()
        up = [[r[k] for k in r if k.startswith("up")] for r in rows]
        down = [[r[k] for k in r if k.startswith("down")] for r in rows]
    p = axis.positioning(up, down)
    return {
        "B": p.b, "B_mean|Bmean": p.b_mean, "M": p.m, "E": p.e, "E_up": p.e_up, "E_down": p.e_down, "R": p.r, "R_up": p.r_up,
        "R_down": p.r_down, "A": p.a, "A_up": p.a_up, "A_down": p.a_down, "B_i|Bi": p.reversal, "mean_up": p.mean_up,
        "mean_down": p.mean_down, "s_up": p.s_up, "s_down": p.s_down,
    }  # fmt: skip
