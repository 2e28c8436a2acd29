"""Area 1 by name: charts, run lengths, analysis of variance, gauge studies, tolerance intervals."""

import math
import re
from decimal import Decimal
from typing import Any

import numpy as np
from scipy import special

from halfthou.stats import anova, arl, chart, gauge, tolerance
from halfthou.stats.constants import constants, range_rms_ratio
from tests.published.metrology_names import Answers, Given, Missing, rule

N = ("n", "subgroup_size", "sample_size", "size", "group_size", "n_subgroup", "m")
SIGMA = ("sigma", "s", "sd", "std", "stdev", "sigma_x", "process_sigma", "standard_deviation", "s_x", "sigma0")
MEAN = ("mean", "xbar", "x_bar", "average", "avg", "mu", "process_mean", "centre", "center", "grand_mean", "xbarbar")
SHIFT = ("shift", "shift_sigma", "delta", "shifts", "shift_in_sigma", "delta_sigma", "mean_shift")
LAMBDA = ("lam", "lambda", "lambda_", "weight", "r", "smoothing", "gain", "w")
WIDTH = ("L", "k", "width", "k_sigma", "limit_sigma", "sigma_multiple", "L_sigma", "n_sigma")


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
    return _limits(pair.mean) | {
        "mr_bar|mrbar|mean_mr|average_mr|avg_moving_range": pair.spread.centre,
        "mr_ucl|ucl_mr|mr_limit|ucl_r": pair.spread.high, "mr_lcl|lcl_mr": pair.spread.low,
        "sigma|sigma_hat|s|sigma_within": pair.sigma, **_out(pair.mean, x),
        "mr_out|out_mr": [i + 2 for i in pair.spread.outside(np.abs(np.diff(x)))],
    }  # fmt: skip


def _limits(limits: chart.Limits) -> Answers:
    return {
        "mean|centre|center|cl|xbar|x_bar|xbarbar|grand_mean|centre_line|center_line|target": limits.centre,
        "ucl|upper|upper_limit|x_ucl|ucl_x": limits.high, "lcl|lower|lower_limit|x_lcl|lcl_x": limits.low,
        "half_width": limits.high - limits.centre,
    }  # fmt: skip


def _out(limits: chart.Limits, values: Any) -> Answers:
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
    answers = _limits(limits) | _out(limits, z)
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


@rule(1, r"x.?(-?bar|̄)? ?.?/? ?r (limits|chart)|/ ?r\b|r-bar|rbar|range chart|subgroup")
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
        return _limits(limits) | {"cbar|c_bar": limits.centre}
    if g.has("ubar", "u_bar") or (g.says(r"\bu.?chart") and g.has("units", "n")):
        x = g.values() if not g.has("ubar", "u_bar") else []
        units = g.num("units", "n", "area")
        rate = g.num("ubar", "u_bar", default=float(np.mean(x)) / units if x else math.nan)
        return _limits(chart.count_rate_limits(rate, units)) | {"ubar|u_bar": rate}
    x = g.values()
    limits = chart.count_limits(float(np.mean(x)))
    return _limits(limits) | {"cbar|c_bar": limits.centre} | _out(limits, x)


@rule(1, r"\bn?p.?chart|proportion|fraction (bad|defective|nonconform)")
def proportion_chart(g: Given) -> Answers:
    n = g.num(*N)
    if g.has("pbar", "p_bar", "p"):
        share = g.num("pbar", "p_bar", "p")
    else:
        share = float(np.mean(g.values())) / (n if max(g.values()) > 1 else 1.0)
    limits = chart.proportion_limits(share, n)
    counts = chart.Limits(centre=share * n, low=limits.low * n, high=limits.high * n)
    return _limits(counts if g.says(r"\bnp") else limits) | {
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


def _dat(g: Given) -> list[list[float]]:
    """Groups of an StRD file (treatment, response), less the first response; read exactly before that."""
    path = g.path()
    if path.suffix != ".dat":
        raise Missing("an StRD file")
    text = path.read_text(encoding="utf-8")
    where = re.search(r"Data\s+\(lines (\d+) to (\d+)\)", text)
    if where is None:
        raise Missing("data lines")
    lines = [line.split() for line in text.splitlines()[int(where[1]) - 1 : int(where[2])] if line.strip()]
    shift = Decimal(lines[0][1])
    groups: dict[str, list[float]] = {}
    for level, value in lines:
        groups.setdefault(level, []).append(float(Decimal(value) - shift))
    return list(groups.values())


@rule(1, r"one.?way|strd")
def one_way(g: Given) -> Answers:
    name = "between"
    if g.has("file") and g.path().suffix == ".dat":
        groups = _dat(g)
    else:
        groups = g.groups()
        if g.has("file"):
            name = next((c for c in g.rows()[0] if c in ("machine", "batch", "group", "day", "operator", "part")), name)
    between, within, total = anova.one_way(groups)
    return {
        f"F|f|F_full_precision|f_ratio|F_statistic|F_{name}": between.f_ratio,
        f"ss_between|ss_{name}|ss_treatment|ss_factor|ssb|sst|ss_between_groups": between.sum_square,
        "ss_within|ss_error|ss_residual|ssw|sse": within.sum_square, "ss_total": total.sum_square,
        f"ms_between|ms_{name}|ms_treatment|msb": between.mean_square,
        "ms_within|ms_error|msw|mse|ms_residual": within.mean_square,
        "p|p_value": between.p_ratio, "df_between|df1": between.dof, "df_within|df_error|df2": within.dof,
        "residual_sd|s|residual_std|s_within|sigma_within": math.sqrt(within.mean_square),
        "r_squared|r2": between.sum_square / total.sum_square,
        "sigma_between|s_between|var_component_sd": lambda: anova.nested_components(np.asarray(groups))[1],
        "var_between|sigma2_between": lambda: anova.nested_components(np.asarray(groups))[1] ** 2,
        "ss": [between.sum_square, within.sum_square, total.sum_square],
    }  # fmt: skip


@rule(1, r"anova|analysis of variance|factor")
def factors(g: Given) -> Answers:
    rows, y = g.rows(), g.values()
    names = [c for c in rows[0] if [r[c] for r in rows] != y and len({r[c] for r in rows}) < len(rows) // 2]
    names = [c for c in names if len({r[c] for r in rows}) > 1]
    crossed = g.says("two.?way|interaction") and not g.says("main.?effect")
    if crossed and len(names) == 2:
        names.reverse()  # the e-Handbook's two-way table lists the factor next to the value first
    table = anova.factorial(y, {n: [r[n] for r in rows] for n in names}, depth=2 if crossed else 1)
    tested, error = table[:-2], table[-2]
    out: Answers = {
        "ss": [e.sum_square for e in table[:-1]], "F|f": [e.f_ratio for e in tested], "p": [e.p_ratio for e in tested],
        "mean": float(np.mean(y)), "ms_error|mse": error.mean_square, "ms": [e.mean_square for e in table[:-1]],
        "df": [e.dof for e in table[:-1]], "ss_error|ss_residual": error.sum_square, "ss_total": table[-1].sum_square,
        "residual_sd|s": math.sqrt(error.mean_square), "df_error|df_residual": error.dof,
    }  # fmt: skip
    for e in tested:
        name = e.name.replace(":", "_")
        out |= {f"ss_{name}": e.sum_square, f"F_{name}|f_{name}": e.f_ratio, f"p_{name}": e.p_ratio}
        if ":" in e.name:
            out |= {"ss_interaction|ss_inter": e.sum_square, "F_interaction": e.f_ratio}
    return out


@rule(1, r"three.?level|probe \d|nested gauge")
def three_level(g: Given) -> Answers:
    rows = [r for r in g.rows() if not g.has("probe") or r["probe"] == g.num("probe")]
    runs, wafers = sorted({r["run"] for r in rows}), sorted({r["wafer"] for r in rows})
    probes = sorted({r["probe"] for r in rows})
    parts = [(w, p) for w in wafers for p in probes]
    value = [
        [[r["average"] for r in rows if (r["run"], r["wafer"], r["probe"]) == (u, *w)] for w in parts] for u in runs
    ]
    spread = [
        [[r["sd_of_6"] for r in rows if (r["run"], r["wafer"], r["probe"]) == (u, *w)] for w in parts] for u in runs
    ]
    found = gauge.three_level(value, spread, g.whole("repeats", "J", default=6))
    return {
        "s1|level1|repeatability": found.repeat, "s2|level2|reproducibility": found.day, "s3|level3|stability": found.run,
        "s_days|pure_day|s_day": found.pure_day, "s_runs|pure_run|s_run": found.pure_run, "df1|dof1": found.repeat_dof,
        "df2|dof2": found.day_dof, "df3|dof3": found.run_dof, "u|s_reading|s_measurement|s_total": found.one_reading,
        "df|dof": [found.repeat_dof, found.day_dof, found.run_dof],
    }  # fmt: skip


def _cube(g: Given) -> Any:
    """Readings of a crossed study as (operators, parts, repeats)."""
    for name in ("readings", "data", "values"):
        if g.has(name):
            cube = np.asarray(g.find([name]), dtype=float)
            if cube.ndim == 3:
                return cube
    rows, y = g.rows(), g.column(r"^(y|value|x)(_|$)", r"weight|diameter|reading|measured|length")
    if not {"operator", "part"} <= set(rows[0]):
        raise Missing("columns operator and part")
    cells: dict[tuple[Any, Any], list[float]] = {}
    for row, value in zip(rows, y, strict=True):
        cells.setdefault((row["operator"], row["part"]), []).append(value)
    people, parts = list(dict.fromkeys(r["operator"] for r in rows)), list(dict.fromkeys(r["part"] for r in rows))
    return np.asarray([[cells[o, p] for p in parts] for o in people])


def _study(g: Given, s: gauge.Study) -> Answers:
    out: Answers = {
        "EV|repeatability|sigma_rep|sigma_repeatability|ev": s.repeatability,
        "AV|reproducibility|sigma_reproducibility|av": s.reproducibility, "operator|sigma_op|sigma_operator": s.operator,
        "interaction|INT|sigma_int|sigma_interaction": s.interaction, "GRR|grr|gauge|sigma_grr|sigma_gauge": s.gauge,
        "PV|part|sigma_part|pv": s.part, "TV|total|sigma_total|tv": s.total,
        "pct_grr|percent_grr|grr_pct|grr_percent|pct_GRR": 100 * s.gauge_ratio, "ndc|distinct_categories": s.distinct,
        "pct_ev|pct_EV": 100 * s.repeatability / s.total, "pct_av|pct_AV": 100 * s.reproducibility / s.total,
        "pct_pv|pct_PV": 100 * s.part / s.total, "pooled": s.pooled, "ndc_exact": 1.41 * s.part / s.gauge,
        "pct_contribution|pct_contribution_grr": 100 * s.gauge_ratio**2,
    }  # fmt: skip
    for name, value in (("var_repeatability|var_rep", s.repeatability), ("var_operator|var_op", s.operator),
                        ("var_interaction|var_int", s.interaction), ("var_part", s.part), ("var_grr", s.gauge)):  # fmt: skip
        out[name] = value**2
    if g.has("tolerance", "tol", "usl"):
        zone = g.num("tolerance", "tol") if g.has("tolerance", "tol") else g.num("usl") - g.num("lsl")
        out["pct_tolerance|pct_tol|ptol|pt_ratio_pct"] = 100 * s.tolerance_ratio(zone, g.num("multiplier", default=6.0))
    return out


@rule(1, r"average.?(and|&).?range|range method")
def grr_range(g: Given) -> Answers:
    given = [g.num(name, default=math.nan) for name in ("K1", "K2", "K3")]
    found = gauge.average_range(_cube(g), *(None if math.isnan(k) else k for k in given))
    return _study(g, found.study) | {
        "r_bar_bar|rbarbar|r_bar|mean_range": found.mean_range, "x_diff|xdiff|xbar_diff": found.operator_difference,
        "Rp|r_p|part_range": found.part_range,
    }  # fmt: skip


@rule(1, r"gauge|gage|r&r|crossed|grr")
def grr_anova(g: Given) -> Answers:
    cube = _cube(g)
    if g.says("average.?(and|&).?range|range method"):
        raise Missing("an analysis-of-variance study")
    if g.says(r"nested"):
        return _study(g, gauge.nested(cube))
    pool: bool | None = False
    if g.says(r"pooled") and not g.says(r"(not|un|without|no)[ -]?pool"):
        pool = True
    lines, study = gauge.crossed_table(cube), gauge.crossed(cube, pool)
    names = ("operator", "part", "interaction")
    over = gauge.over_repeat(lines)
    out = _study(g, study)
    for short, name in (("operator", "operator"), ("part", "part"), ("inter", "interaction"), ("error", "repeat")):
        e = lines[name]
        out |= {f"ss_{short}|ss_{name}": e.sum_square, f"ms_{short}|ms_{name}": e.mean_square}
        out |= {f"F_{short}|F_{name}": e.f_ratio, f"p_{short}|p_{name}": e.p_ratio, f"df_{short}|df_{name}": e.dof}
    return out | {
        "ss": [e.sum_square for e in lines.values()], "F_over_equipment|F_over_repeat": [over[n] for n in names],
        "ms": [lines[n].mean_square for n in (*names, "repeat")], "ss_total": lines["total"].sum_square,
        "F|F_over_interaction": [lines[n].f_ratio for n in names], "p": [lines[n].p_ratio for n in names],
        "ss_equipment|ss_repeatability": lines["repeat"].sum_square,
    }  # fmt: skip


@rule(1, r"bias|reference value|t.?test|wiring|paired|difference")
def bias(g: Given) -> Answers:
    if g.has("file") and {"A1", "B1", "A2", "B2"} <= set(g.rows()[0]):
        rows = [r for r in g.rows() if not g.has("probe") or r["probe"] == g.num("probe")]
        tests = [anova.paired([r[f"A{i}"] for r in rows], [r[f"B{i}"] for r in rows]) for i in (1, 2)]
        return _tests(tests)
    if g.has("a", "first", "before", "x1") and g.has("b", "second", "after", "x2"):
        a, b = g.many("a", "first", "before", "x1"), g.many("b", "second", "after", "x2")
        if g.says("paired|difference"):
            return _tests([anova.paired(a, b)])
        return _tests([anova.two_means(a, b, pooled=g.says("pooled|equal var"))])
    return _tests([gauge.bias(g.values(), g.num("reference", "ref", "reference_value", "nominal", "true_value"))])


def _tests(tests: list[anova.TTest]) -> Answers:
    def one(values: list[float]) -> Any:
        return values if len(values) > 1 else values[0]

    out: Answers = {
        "bias|difference|mean_diff|avg_diff|diff|mean|average_difference": one([t.difference for t in tests]),
        "t|T|t_stat|t_value": one([t.t_ratio for t in tests]), "p|p_value": one([t.p_ratio for t in tests]),
        "df|dof|nu": one([t.dof for t in tests]), "se|std_error|u": one([t.std for t in tests]),
        "s|sd|sd_diff|std": one([t.std * math.sqrt(t.dof + 1) for t in tests]),
        "significant": one([t.p_ratio < 0.05 for t in tests]),
    }  # fmt: skip
    for i, t in enumerate(tests, 1):
        out |= {
            f"mean_diff_{i}|diff_{i}|mean{i}|run{i}_mean|mean_diff_run{i}|diff{i}": t.difference,
            f"t_{i}|t{i}|t_run{i}|run{i}_t": t.t_ratio,
        }
        out |= {f"sd_{i}|sd{i}|s{i}|sd_run{i}|run{i}_sd|sd_diff_run{i}": t.std * math.sqrt(t.dof + 1)}
    return out


@rule(1, r"linearity|calibration|linewidth|line width")
def linearity(g: Given) -> Answers:
    if g.has("file"):
        ref, got = g.column("reference"), g.column("measured")
    else:
        ref, got = g.many("reference", "ref", "x", "master"), g.many("measured", "y", "readings", "values")
    if g.has("slope", "b") and g.has("intercept", "a"):
        a, b, s = g.num("intercept", "a"), g.num("slope", "b"), g.num(*SIGMA)
        w = (np.asarray(got) - a) / b - np.asarray(ref)
        m, alpha, dof = (
            g.num("m", "checks", default=3),
            g.num("alpha", default=0.05),
            g.num("dof", "df", "nu", default=38),
        )
        t = float(special.stdtrit(dof, 0.5 * (1 + (1 - alpha) ** (1 / m))))
        limits = chart.Limits(centre=0.0, low=-s * t / b, high=s * t / b)
        return _limits(limits) | _out(limits, w) | {"w|W": w, "t": t}
    line = gauge.linearity(ref, got)
    as_bias = g.says("bias|linearity")
    return {
        "slope|b": line.slope + (0 if as_bias else 1), "intercept|a": line.intercept, "s|residual_sd": line.residual_std,
        "df|dof": line.dof, "p_slope": line.slope_p_ratio, "p_intercept": line.intercept_p_ratio,
        "bias_slope": line.slope, "u_slope|se_slope": line.slope_std, "u_intercept|se_intercept": line.intercept_std,
    }  # fmt: skip


COVERAGE = ("coverage", "p", "content", "proportion", "beta")
CONFIDENCE = ("confidence", "C", "conf", "gamma", "confidence_level", "level", "confidence_ratio")


@rule(1, r"tolerance (interval|factor|limit)|howe|tolerance")
def tolerance_interval(g: Given) -> Answers:
    coverage, confidence = g.num(*COVERAGE), g.num(*CONFIDENCE)
    if g.has(*N):
        n, mean, s = g.whole(*N), g.num(*MEAN, default=math.nan), g.num(*SIGMA, default=math.nan)
    else:
        x = np.asarray(g.values())
        n, mean, s = x.size, float(x.mean()), float(x.std(ddof=1))
    howe = tolerance.howe_factor(n, coverage, confidence)
    k1, exact = tolerance.one_side_factor(n, coverage, confidence), tolerance.two_side_factor(n, coverage, confidence)
    k2 = howe if g.says("howe|approx") else exact
    k = k1 if g.says("one.?sided") else k2
    return {
        "k2|k_two_sided|factor_two_sided": k2, "k1|k_one_sided|factor_one_sided": k1, "k|factor": k, "howe|k2_howe|k_howe": howe,
        "exact|k2_exact|k_exact": exact, "lower|lo|low|lower_limit": mean - k * s, "upper|hi|high|upper_limit": mean + k * s,
        "mean": mean, "s|sd": s, "n": n, "lower_one_sided": mean - k1 * s, "upper_one_sided": mean + k1 * s,
        "r": howe / math.sqrt((n - 1) / float(special.chdtri(n - 1, confidence))),
    }  # fmt: skip
