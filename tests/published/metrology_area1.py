"""Area 1 by name: chart constants, control charts, run lengths, equal variances."""

import math
from typing import Any

import numpy as np

from halfthou.stats import anova, arl, chart
from halfthou.stats.constants import constants, range_rms_ratio
from tests.published.metrology_names import Answers, Given, Missing, rule

N = ("n", "subgroup_size", "sample_size", "size", "group_size", "n_subgroup", "m")
SIGMA = ("sigma", "s", "sd", "std", "stdev", "sigma_x", "process_sigma", "standard_deviation", "s_x", "sigma0")
MEAN = ("mean", "xbar", "x_bar", "average", "avg", "mu", "process_mean", "centre", "center", "grand_mean", "xbarbar")
SHIFT = ("shift", "shift_sigma", "delta", "shifts", "shift_in_sigma", "delta_sigma", "mean_shift")
LAMBDA = ("lam", "lambda", "lambda_", "weight", "r", "smoothing", "gain", "w")
WIDTH = ("L", "k", "width", "k_sigma", "limit_sigma", "sigma_multiple", "L_sigma", "n_sigma")
COVERAGE = ("coverage", "p", "content", "proportion", "beta")
CONFIDENCE = ("confidence", "C", "conf", "gamma", "confidence_level", "level", "confidence_ratio")


@rule(1, r"constant")
def chart_constants(g: Given) -> Answers:
    c = constants(g.whole(*N))
    return {
        "d2": c.range_mean_ratio, "d3": c.range_sd_ratio, "c4": c.sd_mean_ratio, "A": c.mean_known_ratio,
        "A1|A2": c.mean_by_range_ratio, "A3": c.mean_by_sd_ratio, "D1": c.range_low_known_ratio,
        "D2": c.range_high_known_ratio, "D3": c.range_low_ratio, "D4": c.range_high_ratio, "B3": c.sd_low_ratio,
        "B4": c.sd_high_ratio, "B5": c.sd_low_known_ratio, "B6": c.sd_high_known_ratio, "E2": c.single_by_range_ratio,
        "d2_star|d2star": range_rms_ratio(c.n, g.whole("g", "groups", "n_groups", default=1)), "n": c.n,
    }  # fmt: skip


@rule(1, r"individual|moving.?range|\bI-?MR\b")
def individuals(g: Given) -> Answers:
    d2 = g.num("d2", default=math.nan)
    x = g.values()
    pair = chart.individuals(x, d2=None if math.isnan(d2) else d2, span=g.whole("span", "window", default=2))
    return chart_limits(pair.mean) | {
        "mr_bar|mrbar|mean_mr|average_mr|avg_moving_range": pair.spread.centre,
        "mr_ucl|ucl_mr|mr_limit|ucl_r": pair.spread.high, "mr_lcl|lcl_mr": pair.spread.low,
        "sigma|sigma_hat|s|sigma_within": pair.sigma, **points_out(pair.mean, x),
        "mr_out|out_mr": [i + 2 for i in pair.spread.outside(np.abs(np.diff(x)))],
    }  # fmt: skip


def chart_limits(limits: chart.Limits) -> Answers:
    return {
        "mean|centre|center|cl|xbar|x_bar|xbarbar|grand_mean|centre_line|center_line|target": limits.centre,
        "ucl|upper|upper_limit|x_ucl|ucl_x": limits.high, "lcl|lower|lower_limit|x_lcl|lcl_x": limits.low,
        "half_width": limits.high - limits.centre,
    }  # fmt: skip


def points_out(limits: chart.Limits, values: Any) -> Answers:
    out = [i + 1 for i in limits.outside(values)]
    first = out[0] if out else None
    return {
        "out|outside|signals|out_of_control|out_points|signal_indices|beyond|out_index|out_batches|out_groups"
        "|outside_limits": out,
        "n_out|signals_count|n_signals|count_out|n_outside|number_out": len(out),
        "first_out|first_out_index|first_signal|first_signal_group": first, "in_control|stable": not out,
    }  # fmt: skip


def _signals(s: chart.Cusum) -> Answers:
    def at(i: int | None) -> int | None:
        return None if i is None else i + 1

    return {
        "s_hi|s_high|s_plus|sh|shi|cusum_hi|upper|c_plus|s_upper|SH|S_hi": s.high,
        "s_lo|s_low|s_minus|sl|slo|cusum_lo|lower|c_minus|s_lower|SL|S_lo": s.low,
        "first_signal_group|first_signal|signal|signal_index|signal_at|first_out|first_signal_index": at(s.signal),
        "first_signal_hi|first_signal_high": at(s.signal_high), "first_signal_lo|first_signal_low": at(s.signal_low),
        "max_hi|s_hi_max": float(s.high.max()), "max_lo|s_lo_max": float(s.low.max()),
        "last_hi|s_hi_last": float(s.high[-1]), "last_lo|s_lo_last": float(s.low[-1]),
    }  # fmt: skip


@rule(1, r"cusum.*(arl|run length)|(arl|run length).*cusum")
def cusum_run_length(g: Given) -> Answers:
    k, h, start = g.num("k", "reference"), g.num("h", "decision"), g.num("head_start", "fir", "start", "s0", default=0)
    shifts = g.many(*SHIFT)
    one = [arl.cusum_one_side(d, k, h, start) for d in shifts]
    two = [arl.cusum(d, k, h, start) for d in shifts]
    both = one if g.says(r"one.?sided|upper only|single.?sided") else two
    return _shape(g, {"arl|run_length|ARL": both, "arl_one_sided|arl_plus": one, "arl_two_sided": two})


def _shape(g: Given, answers: Answers) -> Answers:
    """One number for one shift, as the case gives it."""
    single = not isinstance(g.find(SHIFT), list)
    return {k: v[0] if single and isinstance(v, list) else v for k, v in answers.items()} | (
        {"arl0|arl_0|arl_in_control": next(iter(answers.values()))[0]} if g.many(*SHIFT)[0] == 0 else {}
    )


@rule(1, r"ewma.*(arl|run length)|(arl|run length).*ewma")
def ewma_run_length(g: Given) -> Answers:
    lam, width = g.num(*LAMBDA), g.num(*WIDTH)
    return _shape(g, {"arl|run_length|ARL": [arl.ewma(d, lam, width) for d in g.many(*SHIFT)]})


@rule(1, r"run length|\barl\b")
def shewhart_run_length(g: Given) -> Answers:
    n, width = g.whole(*N, default=1), g.num(*WIDTH, default=3.0)
    found = [arl.shewhart(d, n, width) for d in g.many(*SHIFT)]
    return _shape(g, {"arl|run_length|ARL": found, "p_signal|detection|power": [1 / a for a in found]})


@rule(1, r"cusum")
def cusum(g: Given) -> Answers:
    target = g.num("target", "T", "mu0", *MEAN)
    sigma = g.num(*SIGMA, default=1.0) if g.has("k_sigma", "h_sigma", "k_in_sigma", "h_in_sigma") else 1.0
    k = g.num("k", "k_sigma", "K", "k_in_sigma", "reference") * sigma
    h = g.num("h", "h_sigma", "H", "h_in_sigma", "decision") * sigma
    return _signals(chart.cusum(g.values(), target, k, h, g.num("head_start", "s0", default=0.0)))


@rule(1, r"ewma")
def ewma(g: Given) -> Answers:
    x, lam, width = np.asarray(g.values()), g.num(*LAMBDA), g.num(*WIDTH, default=3.0)
    after = 0
    if g.has("baseline", "n_baseline", "baseline_n"):
        after = g.whole("baseline", "n_baseline", "baseline_n")
        start, sigma = float(x[:after].mean()), float(x[:after].std(ddof=1))
    else:
        start = g.num("ewma0", "start", "z0", "target", *MEAN)
        sigma = g.num(*SIGMA)
    half = chart.ewma_half_width(sigma, lam, width)
    z = chart.ewma(x[after:], lam, start)
    limits = chart.Limits(centre=start, low=start - half, high=start + half)
    series = [start, *z.tolist()] if not after else z.tolist()
    growing = [chart.ewma_half_width(sigma, lam, width, t) for t in range(1, z.size + 1)]
    answers = chart_limits(limits) | points_out(limits, z)
    if after and answers["first_out|first_out_index|first_signal|first_signal_group"] is not None:
        first = limits.outside(z)[0] + 1 + after
        answers["first_out|first_out_index|first_signal|first_signal_group"] = first
    return answers | {
        "ewma|z|series": series, "last_ewma|ewma_last|z_last": float(z[-1]), "half_width": half,
        "baseline_mean": start, "baseline_sd|baseline_s": sigma, "max_ewma": float(z.max()), "min_ewma": float(z.min()),
        "ucl_t|ucl_exact": [start + w for w in growing], "lcl_t|lcl_exact": [start - w for w in growing],
    }  # fmt: skip


@rule(1, r"bartlett|equal varianc|levene|homogeneity")
def equal_variances(g: Given) -> Answers:
    groups = g.groups()
    t, p = anova.bartlett(groups)
    w, pw = anova.levene(groups, "mean" if g.says(r"levene.*mean|centre mean") else "median")
    levene = g.says("levene|brown")
    return {
        "T|t|statistic|bartlett|chi2|stat": w if levene else t, "p|p_value|pvalue": pw if levene else p,
        "W|levene|F": w, "bartlett_T|bartlett_t": t, "bartlett_p": p, "levene_p": pw, "df|dof": len(groups) - 1,
    }  # fmt: skip


@rule(1, r"x.?(-?bar|̄)? ?.?/? ?s (limits|chart)|/ ?s\b|s-bar|sbar")
def mean_and_sd(g: Given) -> Answers:
    if g.has("sbar", "s_bar", "mean_s", "average_s"):
        pair = chart.from_sd(g.num(*MEAN), g.num("sbar", "s_bar", "mean_s", "average_s"), g.whole(*N))
        return _pair(pair, "s")
    groups = _batches(g)
    means = [float(np.mean(v)) for v in groups]
    spreads = [float(np.std(v, ddof=1)) for v in groups]
    return _pair(chart.groups_by_sd(groups), "s", means, spreads)


def _batches(g: Given) -> list[list[float]]:
    """Groups; values in one list are cut into groups of n."""
    try:
        return g.groups()
    except Missing:
        x, n = g.values(), g.whole(*N)
        return [x[i : i + n] for i in range(0, len(x) - n + 1, n)]


def _pair(pair: chart.Pair, letter: str, means: Any = None, spreads: Any = None) -> Answers:
    mean, spread = pair.mean, pair.spread
    out = {
        "xbar_ucl|ucl_xbar|x_ucl|ucl_x|ucl|mean_ucl|ucl_mean": mean.high,
        "xbar_lcl|lcl_xbar|x_lcl|lcl_x|lcl|mean_lcl|lcl_mean": mean.low,
        "xbarbar|xbar_bar|x_bar_bar|grand_mean|mean|xbar|cl": mean.centre,
        f"{letter}bar|{letter}_bar": spread.centre, f"{letter}_ucl|ucl_{letter}": spread.high,
        f"{letter}_lcl|lcl_{letter}": spread.low, "sigma|sigma_hat|sigma_within|s_within": pair.sigma,
    }  # fmt: skip
    if means is not None:
        x, y = [i + 1 for i in mean.outside(means)], [i + 1 for i in spread.outside(spreads)]
        out |= {"xbar_out|out|out_xbar|signals|out_of_control|out_batches|outside|batches_out|out_groups": x}
        out |= {f"{letter}_out|out_{letter}": y, "n_out": len(x), "means": means, "spreads": spreads}
        out |= {"first_out|first_signal": x[0] if x else None}
    return out


@rule(1, r"x.?(-?bar|̄)? ?.?/? ?r (limits|chart)|/ ?r\b|r-bar|rbar|range chart|subgroup|x-?bar chart")
def mean_and_range(g: Given) -> Answers:
    if g.has("rbar", "r_bar", "mean_range", "average_range"):
        pair = chart.from_range(g.num(*MEAN), g.num("rbar", "r_bar", "mean_range", "average_range"), g.whole(*N))
        return _pair(pair, "r")
    groups = _batches(g)
    means = [float(np.mean(v)) for v in groups]
    return _pair(chart.groups_by_range(groups), "r", means, [float(np.ptp(v)) for v in groups])


@rule(1, r"\bc.?chart|defect|count|\bu.?chart")
def count_chart(g: Given) -> Answers:
    if g.has("cbar", "c_bar", "mean_count"):
        limits = chart.count_limits(g.num("cbar", "c_bar", "mean_count"))
        return chart_limits(limits) | {"cbar|c_bar": limits.centre}
    if g.has("ubar", "u_bar") or (g.says(r"\bu.?chart") and g.has("units", "n")):
        x = g.values() if not g.has("ubar", "u_bar") else []
        units = g.num("units", "n", "area")
        rate = g.num("ubar", "u_bar", default=float(np.mean(x)) / units if x else math.nan)
        return chart_limits(chart.count_rate_limits(rate, units)) | {"ubar|u_bar": rate}
    x = g.values()
    limits = chart.count_limits(float(np.mean(x)))
    return chart_limits(limits) | {"cbar|c_bar": limits.centre} | points_out(limits, x)


@rule(1, r"\bn?p.?chart|proportion|fraction (bad|defective|nonconform)")
def proportion_chart(g: Given) -> Answers:
    n = g.num(*N)
    if g.has("pbar", "p_bar", "p"):
        share = g.num("pbar", "p_bar", "p")
    else:
        share = float(np.mean(g.values())) / (n if max(g.values()) > 1 else 1.0)
    limits = chart.proportion_limits(share, n)
    counts = chart.Limits(centre=share * n, low=limits.low * n, high=limits.high * n)
    return chart_limits(counts if g.says(r"\bnp") else limits) | {
        "pbar|p_bar": share,
        "np_ucl": counts.high,
        "npbar": n * share,
    }


@rule(1, r"zone|western electric|run rule|runs rule")
def zones(g: Given) -> Answers:
    found = chart.zone_signals(
        g.many("z", "values", "x", "data"), g.num(*MEAN, default=0), g.num(*SIGMA, default=1),
        run=g.whole("run", "run_length", default=8),
    )  # fmt: skip
    return {"signals": found, "n_signals|count": len(found), "first_signal|first": found[0][0] if found else None}
