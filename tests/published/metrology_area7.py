"""Area 7 by name: funnel, control of drift, set-up rules, dead band, wear, offsets."""

import math
import re

import numpy as np

from halfthou.stats import adjust, lsq
from tests.published.metrology_area1 import SIGMA
from tests.published.metrology_names import Answers, Given, Missing, rule

GAIN = ("gain", "G", "g", "gains")
LAMBDA = ("lam", "lambda", "lambda_")


@rule(7, r"funnel")
def funnel(g: Given) -> Answers:
    found = re.search(r"rule (\d)", g.topic)
    number = int(found[1]) if found else g.whole("rule")
    times = ("t", "n", "part", "parts", "step")
    if not g.has("file", "dx"):
        sigma, single = g.num(*SIGMA, default=1.0), not (g.has(*times) and isinstance(g.find(times), list))
        var = [adjust.funnel_var(number, round(t)) * sigma**2 for t in (g.many(*times) if g.has(*times) else [1.0])]
        ratio = [v / sigma**2 for v in var]
        return {
            "var|variance": var[0] if single else var, "ratio|variance_ratio": ratio[0] if single else ratio,
            "sd|s": math.sqrt(var[0]) if single else [math.sqrt(v) for v in var],
        }  # fmt: skip
    try:
        columns = [[float(v) for v in g.find([name])] for name in ("dx", "dy")]
    except Missing:
        rows = g.rows()
        columns = [[r[name] for r in rows] for name in ("dx", "dy")]
    landed = [adjust.funnel(c, number) for c in columns]
    ddof = 1 if "sample" in g.word("sd", default="population") else 0
    return {
        "mean": [float(v.mean()) for v in landed], "sd|std|s": [float(v.std(ddof=ddof)) for v in landed],
        "sd_sample": [float(v.std(ddof=1)) for v in landed], "last": [float(v[-1]) for v in landed],
    }  # fmt: skip


@rule(7, r"\bIMA\b|minimum mean square|integral|ewma|tamper|variance|controller|drift|lag")
def control(g: Given) -> Answers:
    gain = g.num(*GAIN)
    out: Answers = {}
    weight = math.nan
    if g.has(*LAMBDA):
        weight = g.num(*LAMBDA)
    elif g.has("theta"):
        weight = 1.0 - g.num("theta")
    sigma2 = g.num(*SIGMA, default=1.0) ** 2
    stable = adjust.tampering_ratio(gain) if math.isnan(weight) else adjust.drifting_ratio(gain, weight)
    out = {
        "ratio|variance_ratio|inflation|var_ratio": stable,
        "var|variance": stable * sigma2,
        "sd_ratio": math.sqrt(stable),
        "sd": math.sqrt(stable * sigma2),
    }
    if g.has("drift", "slope", "drift_per_part", "wear"):
        out["lag|offset|bias|steady_state_error|steady_offset|mean"] = adjust.drift_lag(
            g.num("drift", "slope", "drift_per_part", "wear"), gain
        )
    return out


@rule(7, r"harmonic|grubbs|set-?up|setup|one-part|first part")
def setting(g: Given) -> Answers:
    setup_names = ("sigma_setup", "sigma_theta", "s_setup", "sigma_set_up", "sd_setup")
    deviations = ("deviations", "d", "dev", "errors", "measured", "readings")
    if g.has(*setup_names):
        prior, u = g.num(*setup_names), g.num("u_meas", "u", "u_measure", "sigma_meas", default=0.0)
        sigma = g.num("sigma_part", "sigma", "sigma_process", "s", "sd")
        n = g.whole("n", "parts", default=1)
        gains = [adjust.setup_gain(prior, sigma, i, u) for i in range(1, n + 1)]
        out: Answers = {
            "gain|gains|K|k": gains if g.has("n", "parts") else gains[0], "remaining_sd|sd_left|posterior_sd|sd": adjust.setup_left(prior, sigma, n, u),
            "remaining_var|var|variance": adjust.setup_left(prior, sigma, n, u) ** 2, "last_gain": gains[-1],
        }  # fmt: skip
        if g.has("deviation", *deviations):
            found = g.find(["deviation", *deviations])
            if isinstance(found, list):
                moves = [-adjust.setup_gain(prior, sigma, i, u) * d for i, d in enumerate(found, 1)]
                out |= {"adjustments|corrections": moves, "total": sum(moves)}
            else:
                out["correction|adjustment"] = -gains[0] * float(found)
        return out
    if g.has(*deviations):
        moves = adjust.harmonic(g.many(*deviations))
        return {"adjustments|corrections|adjustment": moves, "total|sum": float(moves.sum()), "last": float(moves[-1])}
    n = g.find(["n", "parts"])
    sigma = g.num(*SIGMA, default=1.0)
    if isinstance(n, list):
        var = [adjust.harmonic_var(sigma, int(v)) for v in n]
        return {
            "var|variance|setup_variance": var,
            "sd|setup_sd": [math.sqrt(v) for v in var],
            "ratio": [v / sigma**2 for v in var],
        }
    one = adjust.harmonic_var(sigma, int(n))
    return {
        "var|variance|setup_variance|setup_var": one,
        "sd|setup_sd": math.sqrt(one),
        "ratio|variance_ratio": one / sigma**2,
    }


@rule(7, r"dead.?band|bounded|interval between")
def dead_band(g: Given) -> Answers:
    direct = ("L_over_lambda_sigma", "band", "k", "L_over_ls", "ratio")
    k = (
        g.num(*direct)
        if g.has(*direct)
        else g.num("L", "limit") / (g.num(*LAMBDA) * g.num(*SIGMA, "sigma_a", default=1.0))
    )
    return {
        "aai|AAI|interval|mean_interval|parts": adjust.dead_band_interval(k),
        "rough|rule|approx": adjust.dead_band_rough(k),
    }


@rule(7, r"regression|tool.?wear|trend")
def regression(g: Given) -> Answers:
    if g.has("file"):
        x, y = g.column(r"^(part|x|time|n)(_|$)"), g.column(r"deviation|^y|value|size|diameter")
    else:
        x, y = g.many("x", "part", "parts", "t"), g.many("y", "deviation", "deviations", "values")
    line = lsq.line(x, y)
    out: Answers = {
        "slope|b|b1": line.slope, "intercept|a|b0": line.intercept, "s|residual_sd|s_e|sigma": line.s, "u_slope|se_slope": line.slope_std,
        "u_intercept|se_intercept": line.intercept_std, "n": line.n, "sxx": line.sxx,
    }  # fmt: skip
    for part in range(201):  # the name of an answer may carry the part it is about
        low, high = adjust.wear_limits(line, part)
        out |= {
            f"ucl_at_{part}|ucl_{part}": high,
            f"lcl_at_{part}|lcl_{part}": low,
            f"predict_at_{part}|line_at_{part}|y_at_{part}": line.at(part),
        }
        out |= {f"predict_sd_at_{part}|sd_at_{part}|u_at_{part}|se_pred_at_{part}": line.predict_std(part)}
    at = ("at", "x_new", "part_new", "predict_at", "x0", "next_part")
    if g.has(*at):
        x0 = g.num(*at)
        p = g.num("confidence", "p", default=0.95)
        low, high = line.predict(x0, p)
        out |= {
            "predicted|prediction|y_hat|yhat|predict": line.at(x0),
            "sd_pred|predict_sd|s_pred|se_pred|u": line.predict_std(x0),
            "lo|lower": low,
            "hi|upper": high,
        }
        out |= dict(zip(("lcl", "ucl"), adjust.wear_limits(line, x0), strict=True))
    return out


@rule(7, r"between offsets|parts between|wear|tool life|offset interval")
def between(g: Given) -> Answers:
    if g.has("tolerance", "T", "tol", "tolerance_width", "zone"):
        room = g.num("tolerance", "T", "tol", "tolerance_width", "zone")
    else:
        room = g.num("usl", "upper") - g.num("lsl", "lower")
    wear = g.num("w", "wear", "wear_per_part", "wear_rate", "drift", "slope", "rate")
    n = adjust.parts_between(
        room, wear, g.num(*SIGMA), g.num("m", "k", "margin", "margin_sigma", "sigmas", "n_sigma", default=3.0)
    )
    return {"parts|n|interval|parts_between": n, "parts_floor|n_whole|whole_parts": math.floor(n + 1e-9)}


@rule(7, r"least squares|wls|weighted|solved back|offset")
def offsets(g: Given) -> Answers:
    a = g.matrix("A", "design", "matrix", "X", "sensitivity")
    y = g.many("y", "d", "deviations", "b", "rhs")
    weights = None
    if g.has("weights", "w", "W"):
        weights = g.many("weights", "w", "W")
    elif g.has("u", "sigma", "sd", "std"):
        found = g.find(["u", "sigma", "sd", "std"])
        u = np.broadcast_to(np.asarray(found, dtype=float), (len(y),))
        weights = (1.0 / u**2).tolist()
    s = lsq.solve(a, y, weights)
    return {
        "x|o|offsets|solution|beta|correction": s.x, "unit_cov_diag|cov_diag|cov_diagonal|variances": np.diag(s.covariance),
        "cov|covariance|unit_cov": s.covariance, "u|std|se|sd": np.sqrt(np.diag(s.covariance)), "residuals|left": s.residuals, "rank": s.rank,
        "chi2|ss|sse|rss": s.chi2, "dof|df": s.dof, "s2|residual_var|sigma2": s.residual_var, "s|residual_sd": math.sqrt(s.residual_var) if s.dof else math.nan,
        "cov_scaled_diag": np.diag(s.covariance) * s.residual_var, "corrections|enter": -s.x,
    }  # fmt: skip


@rule(7, r"worth|apply|threshold|significan")
def worth(g: Given) -> Answers:
    advice = adjust.worth_it(
        g.num("change", "o", "offset", "correction"),
        g.num("u", "std", "sd"),
        g.num("step", "machine_step", "resolution", default=0.001),
    )
    return {"apply|enter|adjust": advice.apply, "why": advice.why}
