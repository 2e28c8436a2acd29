"""Spellings of the deflection and tool-life questions (formulas D1, D2, E1–E3)."""

import math
from typing import Any

import numpy as np

from halfthou.physics import deflect, wear
from halfthou.physics.deflect import Step
from halfthou.physics.spindle import series_stiffness
from tests.published.mechanics_engine import Law, Question, law, out
from tests.published.mechanics_force_laws import ARC, CUT, EDGE, TOOL, UP, _edge, arc_of

E = "E:GPa>MPa=E|E_mod|modulus|youngs;"
F = "F:N=F|P|force|load|W|Fy;"
ROOT = "L1:mm=L_shank|L_neck|L1|Ls|l1|L_s|shank_length|L_root; d1:mm=d_shank|d_neck|d1|D1|ds|d_s|shank_d|D_shank;"
TIP = "L2:mm=L_flute|L2|Lf|l2|L_f|flute_length|L_tip; d2:mm=De|d_flute|d2|D2|de|D_e|d_eff|df;"


def _plain_tip(v: Any) -> float:
    return deflect.rod_tip_mm(v.F, v.L if v.a is None else v.a, v.L, v.d, v.E)


def _two(v: Any) -> list[Step]:
    return [Step(length_mm=v.L1, diameter_mm=v.d1, e_mpa=v.E), Step(length_mm=v.L2, diameter_mm=v.d2, e_mpa=v.E)]


def _three(v: Any) -> list[Step]:
    return [Step(length_mm=v.Ls, diameter_mm=v.ds, e_mpa=v.E), *_two(v)]


def _stiff(q: Question) -> list[float]:
    """All stiffnesses given, N/mm."""
    found: list[float] = []
    for given in q.givens.values():
        if given.dims == (-1, 1, 0):
            value = given.inside(1.0, 1.0)
            found += value if isinstance(value, list) else [value]
    return found


def _wall(v: Any) -> float:
    """Form error: at height z if given, else the largest or smallest over the wall."""
    up = v.q.says(UP) or (v.st is not None and abs(v.st) < 1e-9 and abs(v.ex - math.pi) > 1e-9)
    arc = arc_of(v)
    assert arc is not None
    heights = np.array([v.zed]) if v.zed is not None else np.linspace(0.0, v.a, 2001)
    error = deflect.wall_error_mm(_edge(v), int(v.N), v.a, v.c, v.D, v.beta or 0.0, arc, v.k, heights, up).y_mm
    if len(error) == 1:
        return float(error[0])
    sized = np.abs(error)
    return float(error.min() if v.q.says(r"\bmin") else error[int(np.argmax(sized))])


def _wall_ready(q: Question, v: Any) -> bool:
    v.q = q
    return arc_of(v) is not None and v.D is not None


BEND_LAWS: list[Law] = [
    law("D1", "d:mm=d|D|diameter; L:mm=L|l|overhang|length|stick_out;" + E,
        out("k", "N/um", "stiff", lambda v: deflect.rod_stiffness_n_per_mm(v.d, v.L, v.E) / 1000), unless="flute"),
    law("D1", "d:mm=d|D|diameter; L:mm=L|l|overhang|length;" + E + "?share:1=ratio|factor|De/D(0.8);",
        out("k", "N/um", "stiff", lambda v: deflect.rod_stiffness_n_per_mm(deflect.fluted_mm(v.d, v.share), v.L, v.E) / 1000), when="flute"),
    law("D1", F + "?a:mm=a|x|load_at|at; L:mm=L|l|overhang|length; d:mm=d|D|De|diameter;" + E, out("y|delta|d", "mm", "deflect|tip", _plain_tip)),
    law("D1", F + "?a:mm=a|x; L:mm=L|l|overhang; I:mm4=I;" + E, out("y|delta", "mm", "deflect|tip", lambda v: v.F * (v.a or v.L) ** 2 * (3 * v.L - (v.a or v.L)) / (6 * v.E * v.I))),
    law("D1", "d:mm=d|D|diameter; ?b:mm=bore|di|d_i(0);", out("I", "mm4", "inertia|moment", lambda v: deflect.inertia_mm4(v.d, v.b))),
    law("D1", F + ROOT + TIP + E, out("y|delta", "mm", "deflect|tip|tool", lambda v: deflect.two_step_tip_mm(v.F, v.L1, v.d1, v.L2, v.d2, v.E))),
    law("D1", ROOT + TIP + E, out("k", "N/um", "stiff", lambda v: deflect.stepped_stiffness_n_per_mm(_two(v)) / 1000)),
    law("D1", F + "Ls:mm=L_shank|Ls|L3|L0; ds:mm=d_shank|ds|d3|d0; L1:mm=L_neck|L1|Ln; d1:mm=d_neck|d1|dn;" + TIP + E,
        out("y|delta", "mm", "deflect|tip|tool", lambda v: deflect.stepped_mm(_three(v), v.F, v.Ls + v.L1 + v.L2, v.Ls + v.L1 + v.L2))),
    law("D1", "Ls:mm=L_shank|Ls|L3|L0; ds:mm=d_shank|ds|d3|d0; L1:mm=L_neck|L1|Ln; d1:mm=d_neck|d1|dn;" + TIP + E,
        out("k", "N/um", "stiff", lambda v: deflect.stepped_stiffness_n_per_mm(_three(v)) / 1000)),
    law("D1", F + "D:mm=D|d|diameter; L:mm=L|l|overhang; share:1=De/D|De_ratio|ratio|factor;" + E, out("y|delta", "mm", "deflect|tip", lambda v: deflect.rod_tip_mm(v.F, v.L, v.L, v.share * v.D, v.E))),
    law("D1", "D:mm=D|d|diameter; ?share:1=De/D|ratio|factor(0.8);", out("De", "mm", "effective|equivalent|flute", lambda v: deflect.fluted_mm(v.D, v.share))),
    law("D1", "share:1=De/D|ratio|factor|d_ratio|D_ratio|De_ratio;", out("k_ratio", "1", "stiff|ratio", lambda v: v.share**4)),
    law("D1", "y1:mm=y1|y|delta|d1|delta1; ratio:1=L_ratio|ratio|length_ratio;", out("y2", "mm", "overhang|becomes|deflect", lambda v: v.y1 * deflect.overhang_factor(v.ratio))),
    law("D1", "y1:mm=y1|y|delta; L1:mm=L1; L2:mm=L2;", out("y2", "mm", "overhang|becomes|deflect", lambda v: v.y1 * deflect.overhang_factor(v.L2 / v.L1))),
    law("D1", "ratio:1=L_ratio|ratio|length_ratio;", out("factor", "1", "overhang|deflect|factor", lambda v: deflect.overhang_factor(v.ratio))),
    law("D1", "ratio:1=L_ratio|ratio|length_ratio;", out("factor", "1", "stiff", lambda v: 1 / deflect.overhang_factor(v.ratio)), when="stiff"),
    law("D1", "ratio:1=D_ratio|d_ratio|diameter_ratio;", out("factor", "1", "stiff|diameter", lambda v: v.ratio**4)),
    law("D1", "k:N/mm=k|stiffness|K|ktot; " + F, out("y|delta", "mm", "deflect|load|machine", lambda v: v.F / v.k)),
    law("D1", "?k1:N/mm=k1|k_tool|kt|k_machine; ?k2:N/mm=k2|k_holder|kh; ?k3:N/mm=k3|k_spindle|ks; ?k4:N/mm=k4|k_work|k_machine; ?ks:N/mm=k|stiffnesses|K;",
        out("k", "N/um", "series|total|combined|stiff", lambda v: series_stiffness(_stiff(v.q)) / 1000), ready=lambda q, v: len(_stiff(q)) > 1),
    law("D1", F + "?k1:N/mm=k1|k_tool|kt; ?k2:N/mm=k2|k_holder|kh; ?k3:N/mm=k3|k_spindle|ks; ?k4:N/mm=k4|k_machine|k_work;?ks:N/mm=k|stiffnesses|K;",
        out("y|delta", "mm", "deflect|total", lambda v: v.F / series_stiffness(_stiff(v.q))), ready=lambda q, v: len(_stiff(q)) > 1),
    law("D2", "?zed:mm=z|height|at_z|z_point|zh; k:N/mm=k|stiffness|ky|k_y; " + EDGE + CUT.replace("|z|", "|").replace("|Z|zc", "") + ARC + TOOL + "?beta:deg>rad=helix|beta|helix_angle;",
        out("y|e", "mm", "error|deflect|surface", _wall), ready=_wall_ready),
    law("D2", F + "k:N/mm=k|stiffness|ky;", out("y|e", "mm", "error|deflect|surface", lambda v: v.F / v.k)),
]  # fmt: skip

TAYLOR = "C:m/min=C|Ct|C_t; n:1=n|n_taylor;"
CHANGE = "tc:min=t_change|tc|t_c|change|change_time|Tt|tool_change;"
EDGE_COST = "edge:1=edge|tool|C_edge|Ct|regrind|edge_cost|tool_cost|cost_edge|Ce;"
RATE = "rate:1/min=rate|C_rate|Co|labour|R|machine_rate|Cr;"
OUTPUT = "production|output|rate of production|max(imum)?[- ](production|rate)|productiv"


def _piece(v: Any) -> tuple[float, float]:
    """(cost, time min) at the speed given, or at the speed of least cost (or greatest output)."""
    e = wear.Economy(
        fixed=v.fixed or 0.0, rate_per_min=v.rate, handling_min=v.handling or 0.0, change_min=v.tc, edge_cost=v.edge
    )
    path = v.path / 1000 if v.path is not None else wear.turning_path_m(v.d, v.L, v.f)
    speed = v.v
    if speed is None:
        life = wear.output_life_min(v.n, v.tc) if v.q.says(OUTPUT) else wear.cost_life_min(v.n, v.tc, v.edge, v.rate)
        speed = wear.speed_m_per_min(life, v.C, v.n)
    return wear.piece_cost(speed, path, v.C, v.n, e), wear.piece_time_min(speed, path, v.C, v.n, e)


PIECE = (
    TAYLOR
    + RATE
    + EDGE_COST
    + CHANGE
    + "?fixed:1=blank+tool fixed|fixed|blank|material|blank_cost|Cw; ?handling:min=handling|t_h|th|t_handling|load;"
    "?L:mm=L|l|length; ?d:mm=d|D|diameter; ?f:mm=f|feed; ?path:mm=path|cut_length; ?v:m/min=v|V|speed|vc;"
)


def _ratios(v: Any) -> float:
    """Product of ratio^exponent over all pairs of ratios and exponents by name or order."""
    names = [g for name, g in v.q.givens.items() if "ratio" in name.lower()]
    powers = [g for name, g in v.q.givens.items() if "exp" in name.lower() or "elast" in name.lower()]
    return float(math.prod(float(r.value) ** float(p.value) for r, p in zip(names, powers, strict=True)))


def _pairs(q: Question, v: Any) -> bool:
    names = [name.lower() for name in q.givens]
    return 0 < sum("ratio" in n for n in names) == sum("exp" in n or "elast" in n for n in names)


def _tests(q: Question, v: Any) -> bool:
    return isinstance(v.v1, list) or (v.v2 is not None and v.T2 is not None)


def _fit(v: Any) -> tuple[float, float]:
    if isinstance(v.v1, list):
        return wear.taylor_fit(v.v1, v.T1)
    return wear.taylor_fit([v.v1, v.v2], [v.T1, v.T2])


TESTS = "v1:m/min=v1|V1|v|V|vc|vc1; T1:min=T1|t1|T|life; ?v2:m/min=v2|V2|vc2; ?T2:min=T2|t2;"
LIFE_LAWS: list[Law] = [
    law("E1", TAYLOR + "v:m/min=v|V|vc|speed;", out("T|life|t", "min", "life", lambda v: wear.life_min(v.v, v.C, v.n))),
    law("E1 E2", TAYLOR + "T:min=T|life|t|tool_life;", out("v|V", "m/min", "speed", lambda v: wear.speed_m_per_min(v.T, v.C, v.n))),
    law("E1", TESTS, out("n", "1", r"exponent|\bn\b", lambda v: _fit(v)[0]), out("C", "m/min", r"constant|\bC\b", lambda v: _fit(v)[1]), ready=_tests),
    law("E1", TESTS + "v3:m/min=v3|V3|v_new|vx;", out("T3", "min", "life", lambda v: wear.life_min(v.v3, _fit(v)[1], _fit(v)[0])), ready=_tests),
    law("E1", TESTS + "T3:min=T3|T_new|Tx;", out("v3", "m/min", "speed", lambda v: wear.speed_m_per_min(v.T3, _fit(v)[1], _fit(v)[0])), ready=_tests),
    law("E1", "v1:m/min=v1|V1; v2:m/min=v2|V2; n:1=n; ?T1:min=T1|T;", out("T2", "min", "life", lambda v: v.T1 * (v.v1 / v.v2) ** (1 / v.n)),
        ready=lambda q, v: v.T1 is not None),
    law("E1", "v1:m/min=v1|V1; v2:m/min=v2|V2; n:1=n;", out("T2/T1", "1", "life|ratio", lambda v: (v.v1 / v.v2) ** (1 / v.n))),
    law("E1", "v1:m/min=v1|V1; v2:m/min=v2|V2; p:1=exponent|elasticity|e|k;", out("T2/T1", "1", "life|ratio", lambda v: (v.v2 / v.v1) ** v.p)),
    law("E1", "w1:mm=ae1|w1|a1; w2:mm=ae2|w2|a2; p:1=exponent|elasticity|e|k;", out("T2/T1", "1", "life|ratio", lambda v: (v.w2 / v.w1) ** v.p)),
    law("E1", "r:1=speed_ratio|v_ratio|ratio|width_ratio; n:1=n;", out("T2/T1", "1", "life|ratio", lambda v: v.r ** (-1 / v.n))),
    law("E1", "?r:1=speed_ratio|width_ratio|ratio|v_ratio|ae_ratio|feed_ratio; ?p:1=exponent|elasticity|exp; ?r2:1=width_ratio|feed_ratio|ae_ratio; ?p2:1=exponent2|width_exponent|elasticity2;",
        out("T2/T1", "1", "life|ratio", _ratios), ready=_pairs),
    law("E1", "v:1=v|V|vc; f:1=f|feed; d:1=d|ap|depth; K:1=K|C; n:1=n; a:1=a|nf|x|a_exp; b:1=b|nd|y|b_exp;",
        out("T|life", "min", "life", lambda v: wear.extended_life_min(v.v, v.f, v.d, v.K, v.n, v.a, v.b))),
    law("E1", "v:m/min=v|V|vc; f:mm=f|feed; d:mm=d|ap|depth; K:m/min=K|C; n:1=n; a:1=a|nf|x|a_exp|m; b:1=b|nd|y|b_exp|p;",
        out("T|life", "min", "life", lambda v: wear.extended_life_min(v.v, v.f, v.d, v.K, v.n, v.a, v.b))),
    law("E1", "v:m/min=v|V|vc; f:mm=f|feed; d:mm=d|ap|depth; K:1=K|C; n:1=n; a:1=a|nf|x|a_exp|m; b:1=b|nd|y|b_exp|p;",
        out("T|life", "min", "life", lambda v: wear.extended_life_min(v.v, v.f, v.d, v.K, v.n, v.a, v.b))),
    law("E1", "T:min=T|life; f:mm=f|feed; d:mm=d|ap|depth; K:1=K|C; n:1=n; a:1=a|nf|x|a_exp|m; b:1=b|nd|y|b_exp|p;",
        out("v", "m/min", "speed", lambda v: v.K / (v.T**v.n * v.f**v.a * v.d**v.b))),
    law("E2", TAYLOR + RATE + EDGE_COST + CHANGE, out("v|V", "m/min", "speed", lambda v: wear.speed_m_per_min(wear.cost_life_min(v.n, v.tc, v.edge, v.rate), v.C, v.n)), unless=OUTPUT),
    law("E2", TAYLOR + CHANGE + "?rate:1/min=rate; ?edge:1=edge|tool|regrind;", out("v|V", "m/min", "speed", lambda v: wear.speed_m_per_min(wear.output_life_min(v.n, v.tc), v.C, v.n)),
        ready=lambda q, v: (v.rate is None and v.edge is None) or q.says(OUTPUT)),
    law("E2", "n:1=n; ?C:m/min=C;" + RATE + EDGE_COST + CHANGE, out("T|life", "min", "life|its", lambda v: wear.cost_life_min(v.n, v.tc, v.edge, v.rate)), unless=OUTPUT),
    law("E2", "n:1=n; ?C:m/min=C; ?rate:1/min=rate; ?edge:1=edge|tool|regrind;" + CHANGE, out("T|life", "min", "life|its", lambda v: wear.output_life_min(v.n, v.tc)),
        ready=lambda q, v: (v.rate is None and v.edge is None) or q.says(OUTPUT)),
    law("E2", PIECE, out("cost|C_piece", "1", "cost", lambda v: _piece(v)[0]), out("time", "min", "time", lambda v: _piece(v)[1]),
        ready=lambda q, v: v.path is not None or None not in (v.L, v.d, v.f)),
    law("E3", "t:min=t|times|time|ti; T:min=T|lives|life|Ti;", out("use|D", "1", "use|fraction|life|wear", lambda v: wear.life_used(_many(v.t), _many(v.T)))),
    law("E3", "T:min=T|life|tool_life; tm:min=t|tm|t_m|cycle|t_cut;", out("parts", "1", "parts|pieces", lambda v: wear.parts_per_edge(v.T, v.tm)), when="parts|pieces"),
    law("E3", "t1:min=t1; T1:min=T1; t2:min=t2; T2:min=T2; ?t3:min=t3; ?T3:min=T3;", out("use", "1", "use|fraction|life|wear", lambda v: wear.life_used([t for t in (v.t1, v.t2, v.t3) if t], [t for t in (v.T1, v.T2, v.T3) if t]))),
    law("E3", "t:min=t|times|used; T:min=T|lives; T_next:min=T_next|T3|Tn;", out("left", "min", "remain|left", lambda v: (1 - wear.life_used(_many(v.t), _many(v.T))) * v.T_next)),
]  # fmt: skip


def _many(value: Any) -> list[float]:
    return value if isinstance(value, list) else [value]
