"""Area 2 by name: capability indices, their bounds, few parts, gauge effect."""

import math
import re
from typing import Any

import numpy as np
from scipy import stats

from halfthou.stats import capability as cap
from halfthou.stats import few, tolerance
from halfthou.stats.constants import constants
from tests.published.metrology_area1 import CONFIDENCE, COVERAGE, MEAN, SIGMA, N
from tests.published.metrology_names import Answers, Given, Missing, rule

USL = (
    "usl",
    "upper",
    "U",
    "upper_limit",
    "upper_spec",
    "high",
    "USL",
    "max",
    "limit",
    "upper_spec_limit",
    "tu",
    "TU",
    "T_U",
    "tol_upper",
)
LSL = (
    "lsl",
    "lower",
    "L",
    "lower_limit",
    "lower_spec",
    "low",
    "LSL",
    "min",
    "lower_spec_limit",
    "tl",
    "TL",
    "T_L",
    "tol_lower",
)
CP = ("cp", "cp_hat", "Cp", "cp_observed", "cp_sample", "cp_seen", "chat", "c_hat", "pp", "cp_est", "Cp_hat")
CPK = ("cpk", "cpk_hat", "cpu", "cpl", "ppk", "index_hat", "c_hat", "cpu_hat", "cpl_hat", "cp_hat", "index")


def confidence_of(g: Given, default: float | None = None) -> float:
    """Confidence, as such, in percent, or as 1 - alpha."""
    if g.has("alpha", "a", "significance"):
        return 1.0 - g.num("alpha", "a", "significance")
    c = g.num(*CONFIDENCE, default=default)
    return c / 100 if c > 1 else c


def limits_of(g: Given) -> tuple[float | None, float | None]:
    """Lower and upper limit, None where open."""
    low = g.num(*LSL) if g.has(*LSL) else None
    high = g.num(*USL) if g.has(*USL) else None
    if low is None and high is None:
        nominal, tol = g.num("nominal", "target"), g.num("tol", "tolerance", "plus_minus")
        return nominal - tol, nominal + tol
    return low, high


@rule(2, r"\bcp\b.*(interval|limit|bound)")
def spread_interval(g: Given) -> Answers:
    n = g.whole(*N) if g.has(*N) else g.whole("dof", "nu", "df") + 1
    if g.has(*CP):
        value = g.num(*CP)
    else:
        low, high = limits_of(g)
        value = cap.index(0.0, g.num(*SIGMA), low, high).spread
    c = confidence_of(g, 0.95)
    return {"cp|cp_hat": value, **_interval(cap.spread_bounds(value, n, c), cap.spread_lower(value, n, c))}


def _interval(both: tuple[float, float], one: float) -> Answers:
    return {
        "lo|lower|low|lcl|ci_lo|lower_limit": both[0], "hi|upper|high|ucl|ci_hi|upper_limit": both[1],
        "lower_one_sided|lcb|lower_bound|one_sided|lower_confidence_limit": one, "interval|ci": list(both),
    }  # fmt: skip


@rule(2, r"\b[cp]pk\b.*(interval)|bissell")
def worst_interval(g: Given) -> Answers:
    n, c = g.whole(*N), confidence_of(g, 0.95)
    if g.has(*CPK):
        value = g.num(*CPK)
    else:
        value = cap.index(g.num(*MEAN), g.num(*SIGMA), *limits_of(g)).worst
    lower = cap.worst_lower(value, n, c)
    return {
        "cpk|ppk": value, **_interval(cap.worst_bounds(value, n, c), lower), "approx|approximate": lower,
        "exact": lambda: cap.one_side_lower(value, n, c),
    }  # fmt: skip


@rule(2, r"one.?sided|exact|lower (confidence|bound)|noncentral")
def one_sided_bound(g: Given) -> Answers:
    seen, n, c = g.num(*CPK), g.whole(*N), confidence_of(g, 0.95)
    exact = cap.one_side_lower(seen, n, c)
    return {
        "exact|lower|lo|lower_bound|lcb|exact_lower": exact, "approx|approximate|bissell": cap.worst_lower(seen, n, c),
        "mc_tail|tail|p_tail": cap.index_tail(exact, seen, n),
        "optimism|ratio": lambda: cap.worst_lower(seen, n, c) / exact - 1,
        "optimism_pct": lambda: 100 * (cap.worst_lower(seen, n, c) / exact - 1),
    }  # fmt: skip


@rule(2, r"minimum sample|to claim|needed|required|must show")
def needed(g: Given) -> Answers:
    n, claim, c = (
        g.whole(*N),
        g.num("claim", "target", "required", "cp_claim", "cpk_claim", "goal"),
        confidence_of(g, 0.95),
    )
    spread, one = cap.spread_needed(claim, n, c), cap.one_side_needed(claim, n, c)
    return {
        "cp_hat|cp|cp_min|cp_needed|cp_required": spread, "cpk_hat|cpu_hat|cpk_min|cpu|cpk|cpu_needed|cpk_needed": one,
        "min|needed|required|sample_index": one if g.says("cpk|cpu|cpl|one.?sided") else spread,
    }  # fmt: skip


def _law(g: Given) -> Any:
    """The distribution a case names, frozen; parameters by name or in the text ("uniform 9.99..10.01")."""
    text = g.word("distribution", "dist", "shape", "law").lower()
    numbers = [float(v) for v in re.findall(r"-?\d+(?:\.\d+)?", text)]

    def par(i: int, default: float | None, *names: str) -> float:
        if g.has(*names):
            return g.num(*names)
        if len(numbers) > i:
            return numbers[i]
        if default is None:
            raise Missing(names[0])
        return default

    if "lognorm" in text or "log-norm" in text:
        mu = par(0, 0.0, "mu", "mean_log", "meanlog", "mu_log")
        return stats.lognorm(par(1, None, "sigma", "sd_log", "sdlog", "sigma_log", "shape", "s"), scale=math.exp(mu))
    if "uniform" in text or "rectang" in text:
        a, b = par(0, None, "a", "low", "from", "min"), par(1, None, "b", "high", "to", "max")
        return stats.uniform(a, b - a)
    if "weibull" in text:
        shape, scale = par(0, None, "shape", "k", "beta", "c"), par(1, 1.0, "scale", "eta", "lambda")
        return stats.weibull_min(shape, loc=par(2, 0.0, "loc", "location", "threshold"), scale=scale)
    if "half" in text or "folded" in text:
        return stats.halfnorm(scale=par(0, 1.0, *SIGMA))
    if "rayleigh" in text:
        return stats.rayleigh(scale=par(0, 1.0, *SIGMA, "scale"))
    if "expon" in text:
        return stats.expon(scale=par(0, 1.0, "mean", "scale"))
    if "gamma" in text:
        return stats.gamma(par(0, None, "shape", "k", "alpha"), scale=par(1, 1.0, "scale", "theta"))
    if "beta" in text:
        return stats.beta(par(0, None, "a", "alpha"), par(1, None, "b", "beta"))
    if "triang" in text:
        a, b = par(0, None, "a", "low", "min"), par(1, None, "b", "high", "max")
        mode = par(2, 0.5 * (a + b), "mode", "c")
        return stats.triang((mode - a) / (b - a), a, b - a)
    if "norm" in text or "gauss" in text:
        return stats.norm(par(0, 0.0, *MEAN), par(1, 1.0, *SIGMA))
    raise Missing("a known distribution")


@rule(2, r"percentile")
def percentile(g: Given) -> Answers:
    if g.has("x_0135", "x0135", "p_low", "x_low") or g.has("x_99865", "x99865"):
        points = cap.Percentiles(
            low=g.num("x_0135", "x0135", "p_low", "x_low", default=math.nan), middle=g.num("x_50", "x50", "median"),
            high=g.num("x_99865", "x99865", "p_high", "x_high", default=math.nan),
        )  # fmt: skip
        return _percentile(g, points)
    law = _law(g)
    low, high = limits_of(g)
    out = (float(law.cdf(low)) if low is not None else 0.0) + (float(law.sf(high)) if high is not None else 0.0)
    points = cap.percentiles_of(lambda p: float(law.ppf(p)))
    return _percentile(g, points) | {"fraction_out|p_out": out, "ppm|ppm_out": 1e6 * out}


def _percentile(g: Given, points: cap.Percentiles) -> Answers:
    found = cap.by_percentile(points, *limits_of(g))
    return {
        "x_0135|x0135|x_low": points.low, "x_50|x50|median": points.middle, "x_99865|x99865|x_high": points.high,
        "pp|cp|Pp": found.spread, "ppk|cpk|Ppk": found.worst, "ppu|cpu": found.high, "ppl|cpl": found.low,
    }  # fmt: skip


@rule(2, r"position|rayleigh|radial|flatness|one.?limit|true position")
def radial(g: Given) -> Answers:
    sigma = g.num("sigma_xy", "sigma_r", *SIGMA)
    if g.has(
        "diametral_tolerance", "position_tolerance", "tolerance_dia", "diameter_tolerance", "position_dia", "tolerance"
    ):
        limit = 0.5 * g.num(
            "diametral_tolerance",
            "position_tolerance",
            "tolerance_dia",
            "diameter_tolerance",
            "position_dia",
            "tolerance",
        )
    else:
        limit = g.num("radial_limit", "radius_limit", "limit_radius", *USL)
    points = cap.rayleigh_percentiles(sigma)
    p = g.num("percentile", default=0.99865)
    r = sigma * math.sqrt(-2.0 * math.log1p(-p))
    out = cap.radial_out_share(sigma, limit)
    return {
        "r_50|x_50|median": points.middle, "r_99865|x_99865|r_p|r_high": points.high if p == 0.99865 else r,
        "ppk|cpk|ppu|cpu": cap.by_percentile(points, None, limit).worst, "fraction_out|p_out": out, "ppm|ppm_out": 1e6 * out,
    }  # fmt: skip


@rule(2, r"success.?run|zero.?failure|reliab")
def success_run(g: Given) -> Answers:
    c = confidence_of(g, None) if g.has("alpha", *CONFIDENCE) else math.nan
    if g.has("reliability", "R", *COVERAGE):
        r, bad = g.num("reliability", "R", *COVERAGE), g.whole("failures", "bad", "f", default=0)
        if not math.isnan(c):
            return {"n|sample_size|parts": few.failure_size(r, c, bad)}
        n = g.whole(*N)
        return {"confidence|C": 1.0 - r**n}
    n, bad = g.whole(*N), g.whole("failures", "bad", "f", default=0)
    return {"reliability|R|proved|lower|lo": few.proved_share(n, bad, c)}


@rule(2, r"distribution.?free|wilks|nonparametric|non-parametric")
def free(g: Given) -> Answers:
    one = g.says(r"one.?sided|single") or g.flag("one_sided")
    if g.has(*N) and not g.has(*CONFIDENCE):
        return {"confidence|C": tolerance.free_confidence(g.whole(*N), g.num(*COVERAGE), two_sided=not one)}
    return {"n|sample_size": tolerance.free_size(g.num(*COVERAGE), confidence_of(g), two_sided=not one)}


@rule(2, r"next part|predict|few parts|posterior|probab")
def predictive(g: Given) -> Answers:
    if g.has("claim", "c", "cp_claim", "threshold", "cp_min") and g.has(*CP):
        claim = g.num("claim", "c", "cp_claim", "threshold", "cp_min")
        p = few.chance_spread_above(claim, g.num(*CP), g.whole(*N))
        return {"p|probability|p_above|prob|p_cp_above|p_claim|p_cp_gt_c": p}
    if g.has(*MEAN):
        mean, s, n = g.num(*MEAN), g.num(*SIGMA), g.whole(*N)
    else:
        mean, s, n = cap.overall(g.values())
    p = few.next_in_limits(mean, s, n, *limits_of(g))
    plug = 1.0 - cap.out_share(mean, s, *limits_of(g))
    return {
        "p_in|p|probability|p_good|p_next|p_in_tolerance": p, "p_out|fraction_out": 1.0 - p, "ppm_out": 1e6 * (1 - p),
        "plug_in|p_plug_in|p_normal": plug, "mean": mean, "s": s, "n": n,
    }  # fmt: skip


@rule(2, r"gauge|gage|observed|measurement error|grr")
def gauge_effect(g: Given) -> Answers:
    if g.has(
        "grr_six_sigma_over_tolerance", "grr_over_tolerance", "pct_tolerance", "ptol", "pt_ratio", "grr_of_tolerance"
    ):
        ratio = g.num(
            "grr_six_sigma_over_tolerance",
            "grr_over_tolerance",
            "pct_tolerance",
            "ptol",
            "pt_ratio",
            "grr_of_tolerance",
        )
        seen, true = cap.seen_through_gauge_of_tolerance, cap.true_behind_gauge_of_tolerance
    elif g.has("sigma_gauge", "sigma_g", "u_gauge", "s_gauge"):
        gauge = g.num("sigma_gauge", "sigma_g", "u_gauge", "s_gauge")
        width = g.num("tolerance", "T", "tol") if g.has("tolerance", "T", "tol") else g.num(*USL) - g.num(*LSL)
        ratio, seen, true = 6 * gauge / width, cap.seen_through_gauge_of_tolerance, cap.true_behind_gauge_of_tolerance
    else:
        ratio = g.num("grr_fraction_of_total", "grr_fraction", "grr", "pct_grr", "grr_of_total", "grr_ratio")
        seen, true = cap.seen_through_gauge, cap.true_behind_gauge
    ratio = ratio / 100 if ratio > 1 else ratio
    if g.has("cp_true", "true_cp", "cp"):
        return {"cp_obs|cp_observed|observed": seen(g.num("cp_true", "true_cp", "cp"), ratio)}
    return {"cp_true|true_cp|true": true(g.num("cp_obs", "cp_observed", "observed_cp"), ratio)}


@rule(2, r"cpm|target")
def target_index(g: Given) -> Answers:
    low, high = limits_of(g)
    if low is None or high is None:
        raise Missing("both limits")
    found = cap.about_target(
        g.num(*MEAN), g.num(*SIGMA), low, high, g.num("target", "T", "nominal", default=(low + high) / 2)
    )
    return _index(g.num(*MEAN), g.num(*SIGMA), low, high) | {"cpm|Cpm": found.spread, "cpmk|Cpmk|cpkm": found.worst}


def _index(mean: float, sigma: float, low: float | None, high: float | None) -> Answers:
    found, out = cap.index(mean, sigma, low, high), cap.out_share(mean, sigma, low, high)
    return {
        "cp|pp|Cp": found.spread, "cpk|ppk|Cpk": found.worst, "cpu|ppu": found.high, "cpl|ppl": found.low,
        "k": lambda: found.centring, "p_out|fraction_out": out, "ppm|ppm_out": 1e6 * out, "yield|p_in": 1 - out,
        "z_min|z": 3 * found.worst,
    }  # fmt: skip


@rule(2, r"capabil|performance|\bcpk?\b|\bppk?\b|short")
def indices(g: Given) -> Answers:
    low, high = limits_of(g)
    if g.has(*MEAN) and g.has(*SIGMA, "sigma_within"):
        return _index(g.num(*MEAN), g.num(*SIGMA, "sigma_within"), low, high) | _given_overall(g, low, high)
    try:
        groups = g.groups()
        values = [v for group in groups for v in group]
    except Missing:
        groups, values = [], g.values()
    mean, overall, n = cap.overall(values)
    within = overall
    if groups and len({len(v) for v in groups}) == 1 and len(groups[0]) > 1:
        c = constants(len(groups[0]))
        within = float(np.mean([np.std(v, ddof=1) for v in groups])) / c.sd_mean_ratio
        if re.search(r"r.?bar|range|d2", g.word("sigma_within", "method", default="")):
            within = float(np.mean([np.ptp(v) for v in groups])) / c.range_mean_ratio
        elif "pooled" in g.word("sigma_within", "method", default=""):
            within = math.sqrt(float(np.mean([np.var(v, ddof=1) for v in groups])))
    short, long = cap.index(mean, within, low, high), cap.index(mean, overall, low, high)
    return {
        "cp|Cp": short.spread, "cpk|Cpk": short.worst, "cpu": short.high, "cpl": short.low, "pp": long.spread,
        "ppk": long.worst, "ppu": long.high, "ppl": long.low, "sigma_within|s_within": within, "mean": mean,
        "s|sigma_overall|s_overall|sd": overall, "n": n, "fraction_out|p_out": cap.out_share(mean, overall, low, high),
    }  # fmt: skip


def _given_overall(g: Given, low: float | None, high: float | None) -> Answers:
    """Pp and Ppk where the overall sigma is given too."""
    names = ("sigma_overall", "s_overall", "sigma_long", "sigma_total")
    if not g.has(*names):
        return {}
    found = cap.index(g.num(*MEAN), g.num(*names), low, high)
    return {"pp": found.spread, "ppk": found.worst}
