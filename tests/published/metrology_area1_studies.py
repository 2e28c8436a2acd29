"""Area 1 by name, second half: analysis of variance, gauge studies, calibration lines, tolerance intervals."""

import math
import re
from decimal import Decimal
from typing import Any

import numpy as np
from scipy import special

from halfthou.stats import anova, chart, gauge, tolerance
from tests.published.metrology_area1 import CONFIDENCE, COVERAGE, MEAN, SIGMA, N, chart_limits, points_out
from tests.published.metrology_names import Answers, Given, Missing, rule


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


@rule(1, r"^(?!.*(gauge|gage|r&r|grr|crossed study)).*(anova|analysis of variance|factor)")
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
        return chart_limits(limits) | points_out(limits, w) | {"w|W": w, "t": t}
    line = gauge.linearity(ref, got)
    as_bias = g.says("bias|linearity")
    return {
        "slope|b": line.slope + (0 if as_bias else 1), "intercept|a": line.intercept, "s|residual_sd": line.residual_std,
        "df|dof": line.dof, "p_slope": line.slope_p_ratio, "p_intercept": line.intercept_p_ratio,
        "bias_slope": line.slope, "u_slope|se_slope": line.slope_std, "u_intercept|se_intercept": line.intercept_std,
    }  # fmt: skip


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
    if g.says("natrella|approx") and not g.says("howe"):
        k1 = tolerance.one_side_factor_natrella(n, coverage, confidence)
    k = k1 if g.says("one.?sided") else k2
    return {
        "k2|k_two_sided|factor_two_sided": k2, "k1|k_one_sided|factor_one_sided": k1, "k|factor": k, "howe|k2_howe|k_howe": howe,
        "exact|k2_exact|k_exact": exact, "lower|lo|low|lower_limit": mean - k * s, "upper|hi|high|upper_limit": mean + k * s,
        "mean": mean, "k1_approx|natrella|k1_natrella": lambda: tolerance.one_side_factor_natrella(n, coverage, confidence), "s|sd": s, "n": n, "lower_one_sided": mean - k1 * s, "upper_one_sided": mean + k1 * s,
        "r": howe / math.sqrt((n - 1) / float(special.chdtri(n - 1, confidence))),
    }  # fmt: skip
