"""Cases of the same kind under other names: the runner understands them, with numbers known from elsewhere.

Numbers: e-Handbook pages, GUM H.1, JCGM 101 9.5, StRD certified values, standards' tables, or one line of arithmetic.
"""

import math
from pathlib import Path
from typing import Any

import pytest

from tests.published.metrology_cases import judge

Case = tuple[int, str, dict[str, Any], dict[str, Any], float]
STRD = "scipy/stats/tests/data/nist_anova/"
LINES: list[Case] = [
    (1, "individuals chart, moving range", {"file": "flowrate_individuals.csv"}, {"mr_ucl": 3.267 * 1.8778, "mr_bar": 1.8778}, 2e-3),
    (1, "tabular CUSUM", {"x": [1, 2, 3], "target": 1, "k": 0.5, "h": 4}, {"s_hi": [0, 0.5, 2], "s_lo": [0, 0, 0]}, 1e-9),
    (1, "Levene test (median)", {"file": "gear_diameter.csv"}, {"W": 1.7059}, 1e-4),
    (1, "X-bar chart, gear: batches beyond the limits", {"file": "gear_diameter.csv", "n": 10}, {"out": [5]}, 0),
    (1, "c chart", {"file": "wafer_defects_c.csv"}, {"cbar": 16, "ucl": 28, "lcl": 4}, 1e-9),
    (1, "average run length, X-bar chart", {"shift_sigma": 0.5, "n": 4}, {"arl": 43.9}, 0.06),
    (1, "EWMA run length", {"lambda": 0.25, "L": 2.998, "shift": [0, 0.5, 1]}, {"arl": [500, 48.2, 11.1]}, 0.5),
    (1, "one-way ANOVA, StRD", {"file": STRD + "SiRstv.dat"}, {"F": 1.18046237440255, "ss_between": 0.0511462616}, 1e-9),
    (1, "one-way ANOVA, StRD", {"file": STRD + "SmLs02.dat"}, {"F": 201.0}, 1e-7),
    (1, "one-way ANOVA, StRD", {"file": STRD + "SmLs08.dat"}, {"F": 201.0}, 1e-7),
    (1, "tolerance interval, exact", {"n": 43, "coverage": 0.9, "confidence": 0.99}, {"k2": 2.2228}, 6e-5),
    (1, "one-sided tolerance limit (Natrella)", {"n": 43, "p": 0.9, "gamma": 0.99}, {"k1": 1.8752}, 6e-5),
    (1, "gauge R&R, crossed ANOVA (with interaction)", {"file": "grr_10x3x3.csv"}, {"F_operator": 79.4}, 0.05),
    (2, "capability indices", {"usl": 20, "lsl": 8, "mean": 16, "s": 2}, {"cp": 1, "cpk": 2 / 3, "cpl": 4 / 3}, 1e-9),
    (2, "Cpmk", {"usl": 20, "lsl": 8, "mean": 16, "sd": 2, "target": 14}, {"cpmk": 4 / (3 * math.sqrt(8))}, 1e-9),
    (2, "percentile capability, normal", {"distribution": "normal", "mean": 10, "sd": 0.01, "lsl": 9.97, "usl": 10.06}, {"ppk": 1}, 1e-4),
    (2, "percentile capability", {"distribution": "lognormal", "sigma": 0.25, "lsl": 0.4, "usl": 2.5}, {"x_0135": math.exp(-0.75)}, 2e-5),
    (2, "zero-failure test", {"R": 0.999, "C": 0.95}, {"n": 2995}, 0),
    (2, "needed one-sided index", {"n": [5, 10, 30, 100], "claim": 1.33, "confidence": 0.95}, {"cpu": [3.20, 2.22, 1.72, 1.52]}, 6e-3),
    (3, "GUM H.1 end gauge, expanded uncertainty", {"p": 0.99}, {"nu_eff": 16, "k": 2.92, "U_nm": 93}, 0.6),
    (3, "Welch-Satterthwaite", {"contributions_nm": [25, 9.7, 2.9, 16.6], "dof": [18, 25.6, 50, 2]}, {"nu_eff": 16}, 0),
    (3, "GUM H.1 end gauge, second-order terms", {"u_alphaS": 1.2e-6, "u_theta": 0.41}, {"uc_nm": 34}, 0.5),
    (3, "JCGM 101 9.5 Monte Carlo", {"trials": 400_000}, {"mean_nm": 838, "u_nm": 36, "lo_nm": 745, "hi_nm": 932}, 1.5),
    (3, "sum of four rectangular", {"terms": 4}, {"u": 2, "lo": -3.88, "hi": 3.88}, 6e-3),
    (3, "trapezoidal", {"a": 1, "beta": 0.5}, {"u": math.sqrt(1.25 / 6)}, 1e-9),
    (3, "conformance probability", {"y": 10.01, "u": 0.002, "tl": 10, "tu": 10.012}, {"p_c": 0.8413}, 1e-4),
    (3, "guard band", {"U": 0.003, "confidence": 0.95}, {"w_over_U": 0.822, "w": 0.002467}, 5e-4),
    (4, "circle fit, algebraic", {"file": "circle_ggs.csv"}, {"center": [5.3794, 7.2532], "radius": 3.0370}, 6e-5),
    (4, "similarity transform (Umeyama)", {"x": [[0, 0], [1, 0], [0, 2]], "y": [[0, 0], [-1, 0], [0, 2]]}, {"c": 0.721, "t": [-0.8, 0.4]}, 6e-4),
    (4, "sphere, probing form error", {"file": "sphere_25pts.csv"}, {"center": [1, 2, 3], "radius": 12.5}, 6e-4),
    (4, "floating fastener", {"H": 6.5, "F": 6.0}, {"T": 0.5, "fixed": 0.25}, 1e-9),
    (5, "general tolerances, class m", {"sizes_mm": [6, 30, 120, 400, 1000]}, {"plus_minus": [0.1, 0.2, 0.3, 0.5, 0.8]}, 1e-9),
    (5, "unified thread 1/4-20", {"d": 0.25, "tpi": 20}, {"pitch_dia": 0.2175, "minor_dia": 0.1959}, 6e-5),
    (5, "bearing on shaft", {"bore_mm": 25, "bore_dev_um": [-10, 0], "shaft_zone": "k5"}, {"max_interference_um": 21}, 1e-9),
    (5, "limit deviations", {"size_in": 1.0, "zone": "H7"}, {"upper_mm": 0.021}, 1e-9),
    (6, "gap", {"dims": [50, 20, 29.5], "sign": [1, -1, -1], "tol": [0.1, 0.05, 0.05]}, {"gap": 0.5, "worst": 0.2, "min": 0.3}, 1e-9),
    (6, "minimum recommended backlash", {"a_mm": 80, "m_mm": 1.5}, {"jbn_min": 2 / 3 * (0.06 + 0.04 + 0.045)}, 1e-9),
    (6, "nonlinear stack", {"x": 3, "y": 4, "tol": [0.1, 0.1], "formula": "d=hypot(x,y)"}, {"d": 5, "worst": 0.14}, 1e-9),
    (7, "funnel experiment rule 4", {"file": "funnel_100.csv", "sd": "population"}, {"mean": [3.1341, 5.4210], "sd": [1.5874, 3.9304]}, 6e-5),
    (7, "IMA control", {"lam": 0.25, "gain": 0.5}, {"var": 1 + 0.0625 / 0.75}, 1e-9),
    (7, "drift under integral control", {"drift": 0.8, "gain": 0.2}, {"lag": 4}, 1e-9),
    (7, "dead-band", {"L": 0.4, "lambda": 0.2, "sigma": 1}, {"aai": 6.91}, 6e-3),
    (7, "parts between offsets", {"T_mm": 0.02, "sigma_mm": 0.001, "m": 3, "w": 0.0008}, {"parts": 17.5}, 1e-9),
    (8, "schema check QIF", {"file": "qif_bad_no_qpid.xml"}, {"valid": False}, 0),
    (8, "read results QIF", {"file": "qif_min_results.xml"}, {"value": 25.0093, "u": 0.0012, "status": "PASS", "usl": 25.021}, 1e-9),
]  # fmt: skip


@pytest.mark.parametrize("line", LINES, ids=[f"{area}-{topic}-{i}" for i, (area, topic, *_) in enumerate(LINES)])
def test_other_names(line: Case) -> None:
    area, topic, inputs, expected, tolerance = line
    case = {"id": "", "area": area, "topic": topic, "inputs": inputs, "expected": expected, "tolerance": tolerance}
    word, why = judge(case, Path(__file__).parent)
    assert word == "passed", why
