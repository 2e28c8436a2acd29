"""Spellings of the workholding, heat and reliability questions (formulas G1–G4, H1–H2, I1–I3)."""

import math
from typing import Any

from halfthou.physics import hold, thermal
from halfthou.physics import reliability as rel
from tests.published.mechanics_engine import Law, Question, law, out

MU = "mu:1=mu|f|mu_s|friction;"
SF = "?SF:1=SF|sf|S|safety_factor|factor|k(1);"
LOWER = r"lower|loosen|release|unclamp"


def _mean(v: Any) -> float:
    if v.dm is not None:
        return float(v.dm)
    if v.r is not None:
        return float(2 * v.r)
    return float(v.d - 0.5 * v.p)


def _lead(v: Any) -> float:
    return float(v.lead if v.lead is not None else v.p * v.starts)


def _half_thread(v: Any) -> float:
    if v.thread is not None:
        return float(v.thread)
    q: Question = v.q
    if q.says(r"trapez|acme|\bTr ?\d"):
        return math.radians(14.5 if q.says("acme") else 15.0)
    return math.radians(30.0) if q.says(r"V[- ]thread|metric|\bM\d") else 0.0


def _collar(v: Any) -> tuple[float, float]:
    """(friction, mean radius) of the collar."""
    if v.dc is not None:
        radius = v.dc / 2
    elif v.rc is not None:
        radius = v.rc
    elif v.Do is not None and v.Di is not None:
        radius = hold.collar_radius_mm(v.Do, v.Di, not v.q.says("uniform pressure|new collar"))
    else:
        return 0.0, 0.0
    return float(v.muc if v.muc is not None else v.mu), float(radius)


def _screw(v: Any, load: float, lower: bool) -> float:
    rough, radius = _collar(v)
    return hold.screw_torque_n_mm(load, _mean(v), _lead(v), v.mu, _half_thread(v), rough, radius, lower)


def _torque(v: Any) -> float:
    return _screw(v, v.W, v.q.says(LOWER)) / 1000


SCREW = (
    "?d:mm=d|D|nominal; ?dm:mm=dm|d_m|mean_d|mean_diameter|d2; ?r:mm=r|mean_radius|rm; ?p:mm=p|P|pitch; ?starts:1=starts|n_starts|n|z(1); ?lead:mm=lead|l;"
    "mu:1=mu|mu1|f|mu_t|mu_thread|mu_s; ?muc:1=mu2|mu_c|fc|muc|mu_collar; ?Do:mm=Do|D0|d_o; ?Di:mm=Di|d_i; ?dc:mm=dc|d_c|collar; ?rc:mm=rc|r_c;"
    "?thread:deg>rad=half_angle|theta|half_thread|beta|alpha;"
)


def _screw_ready(q: Question, v: Any) -> bool:
    mean = v.dm is not None or v.r is not None or (v.d is not None and v.p is not None)
    return mean and (v.lead is not None or v.p is not None)


def _force(v: Any) -> float:
    moment = v.M if v.M is not None else v.F * v.arm * (2 if v.q.says("two hands|both hands|double-arm") else 1)
    return float(moment / _screw(v, 1.0, v.q.says(LOWER)))


SCREW_LAWS: list[Law] = [
    law("G2", "W:N=W|F|Q|load|P|N;" + SCREW, out("M|T", "N*m", "torque|moment", _torque),
        out("P", "N", "force at|tangential", lambda v: 1000 * _torque(v) / (_mean(v) / 2)),
        out("eff|eta", "1", "efficien", lambda v: hold.screw_efficiency(v.W, _lead(v), _screw(v, v.W, False))), ready=_screw_ready),
    law("G2", SCREW, out("eff|eta", "1", "efficien", lambda v: hold.screw_efficiency(1.0, _lead(v), _screw(v, 1.0, False))),
        out("alpha", "deg", "lead angle|helix angle", lambda v: math.degrees(hold.lead_rad(_lead(v), _mean(v)))),
        out("phi", "deg", "friction angle", lambda v: math.degrees(hold.friction_rad(v.mu, _half_thread(v)))), ready=_screw_ready),
    law("G2", "W:N=W|Q|load; F:N=F|hand|hand_force|P;" + SCREW,
        out("R|r", "mm", "radius|arm|lever|handle", lambda v: hold.wheel_radius_mm(_screw(v, v.W, False), v.F, 2 if v.q.says("two hands|both hands") else 1)), ready=_screw_ready),
    law("G2", "?F:N=F|hand|P; ?arm:mm=arm|L|handle|lever|R; ?M:N*m>N*mm=M|T|torque;" + SCREW, out("W|N|Q", "N", "clamp|force|load", _force),
        ready=lambda q, v: _screw_ready(q, v) and (v.M is not None or (v.F is not None and v.arm is not None))),
    law("G2", "lead:mm=lead|l|p; dm:mm=dm|d2|d_m;", out("alpha", "deg", "lead|angle", lambda v: math.degrees(hold.lead_rad(v.lead, v.dm)))),
]  # fmt: skip


def _vector(v: Any) -> float:
    return math.hypot(v.par or 0.0, v.up or 0.0)


GRIP_LAWS: list[Law] = [
    law("G1", "?par:N=F_par|Fpar|F_along|Ft|F_h|Fx|F; ?up:N=F_up|Fup|Fz|F_pull|F_v|Fa|Fy;" + MU + SF,
        out("N", "N", "force|clamp|vise|jaw", lambda v: hold.jaw_force_n(v.par or 0.0, v.up or 0.0, v.mu, v.SF)),
        ready=lambda q, v: v.par is not None or v.up is not None, unless="one face|strap|toe clamp|single face|one surface"),
    law("G1", "F:N=F|load|P|F_cut;" + MU + SF, out("N", "N", "force|clamp", lambda v: hold.strap_force_n(v.F, v.mu, v.SF)), when="one face|strap|toe clamp|estimate|single|one surface"),
    law("G1", "N:N=N|F_clamp|clamp|Fc|W;" + MU + "?faces:1=faces|n|surfaces(2);" + SF,
        out("F", "N", "hold|slip|resist|capacity", lambda v: hold.held_n(v.N, v.mu, int(v.faces)) / v.SF), when="hold|slip|resist|capacity|max|load"),
    law("G1", "N:N=N|F_clamp|clamp|Fc; F:N=F|load|F_par;" + MU,
        out("SF", "1", "safety|factor", lambda v: hold.held_n(v.N, v.mu) / v.F)),
    law("G1", "F:N=F|load|F_cut|Fx|F_par; h:mm=h|height|H; g:mm=g|grip|grip_depth|depth;" + SF,
        out("N", "N", "tip|force|clamp|vise", lambda v: hold.tipping_force_n(v.F, v.h, v.g, v.SF))),
    law("G1", "F:N=F|load|F_cut|Fx; h:mm=h|height|H; g:mm=g|grip|grip_depth; N:N=N|clamp|F_clamp;",
        out("SF", "1", "safety|factor", lambda v: v.N / hold.tipping_force_n(v.F, v.h, v.g, 1.0))),
    law("G1", "A:mm2=A|area; dp:MPa=p|dp|vacuum|pressure|delta_p;", out("F", "N", "vacuum|hold", lambda v: hold.vacuum_n(v.A, v.dp))),
    law("G1", "A:mm2=A|area; dp:MPa=p|dp|vacuum|pressure|delta_p;" + MU + "?SF:1=SF(1);", out("F", "N", "vacuum|hold|side|slid", lambda v: hold.vacuum_side_n(v.A, v.dp, v.mu) / v.SF)),
    law("G1", "F:N=F|screw|F_screw; a:mm=a|to_part|l1; b:mm=b|to_heel|l2;", out("N", "N", "clamp|strap|force", lambda v: hold.strap_lever_n(v.F, v.a, v.b))),
    law("G4 G1", "N:N=N|F|clamp|P; L:mm=L|l|width|w; A:mm2=A|area; E:GPa>MPa=E;", out("d|delta|y", "mm", "squeeze|distort|elastic|spring|short", lambda v: hold.squeeze_mm(v.N, v.L, v.A, v.E))),
    law("G4 G1", "N:N=N|F|clamp|P; L:mm=L|l|width|w; b:mm=b|jaw_width|B; h:mm=h|g|jaw_height; E:GPa>MPa=E;", out("d|delta", "mm", "squeeze|distort|elastic|spring", lambda v: hold.squeeze_mm(v.N, v.L, v.b * v.h, v.E))),
    law("G4 G1", "N:N=N|F|clamp|P; A:mm2=A|area;", out("p", "MPa", "pressure|stress|contact", lambda v: hold.pressure_mpa(v.N, v.A))),
    law("G4 G1", "N:N=N|F|clamp|P; b:mm=b|w|width|L; h:mm=h|g|height|depth;", out("p", "MPa", "pressure|stress|contact", lambda v: hold.pressure_mpa(v.N, v.b * v.h))),
    law("G4", "A:mm2=A|area; Sy:MPa=Sy|yield|Rp|Rp02|sigma_y|Re; ?div:1=divisor|factor(3);", out("N", "N", "clamp|force|max", lambda v: v.Sy / v.div * v.A)),
]  # fmt: skip

BOLT_LAWS: list[Law] = [
    law("G3", "K:1=K|k|nut_factor; F:N=F|P|preload|Fi|W|F_i; d:mm=d|D|diameter;", out("T|M", "N*m", "torque|T ?=", lambda v: hold.bolt_torque_n_mm(v.K, v.F, v.d) / 1000)),
    law("G3", "d:mm=d|D|diameter; P:mm=P|p|pitch;", out("At|A", "mm2", "area", lambda v: hold.stress_area_mm2(v.d, v.P))),
    law("G3", "At:mm2=At|A|As|A_t|A_s; Sp:MPa=Sp|S_p|proof|Rp; ?frac:1=frac|fraction|share|ratio|percent(1);", out("F|Fi", "N", "preload|force|clamp|proof", lambda v: hold.preload_n(v.At, v.Sp, v.frac))),
    law("G3", "d:mm=d|D; P:mm=P|p|pitch; Sp:MPa=Sp|S_p|proof|Rp; ?frac:1=frac|fraction|share|ratio(1);", out("F|Fi", "N", "preload|force", lambda v: hold.preload_n(hold.stress_area_mm2(v.d, v.P), v.Sp, v.frac))),
    law("G3", "K:1=K|k|nut_factor; d:mm=d|D; At:mm2=At|A|As; Sp:MPa=Sp|S_p|proof|Rp; ?frac:1=frac|fraction|share(1);", out("T|M", "N*m", "torque", lambda v: hold.bolt_torque_n_mm(v.K, hold.preload_n(v.At, v.Sp, v.frac), v.d) / 1000)),
    law("G3", "K:1=K|k|nut_factor; d:mm=d|D; P:mm=P|p|pitch; Sp:MPa=Sp|S_p|proof; ?frac:1=frac|fraction|share(1);",
        out("T|M", "N*m", "torque", lambda v: hold.bolt_torque_n_mm(v.K, hold.preload_n(hold.stress_area_mm2(v.d, v.P), v.Sp, v.frac), v.d) / 1000)),
    law("G3", "kb:N/mm=kb|k_b; kc:N/mm=kc|km|k_c|k_m;", out("C", "1", "share|ratio|constant|fraction|joint", lambda v: hold.joint_share(v.kb, v.kc))),
    law("G3", "kb:1=kb|k_b; kc:1=kc|km|k_c|k_m; ?P:N=P|F|load|Pe; ?Fi:N=Fi|preload|Pi|F_i;", out("C", "1", "share|ratio|constant|fraction|joint", lambda v: hold.joint_share(v.kb, v.kc)),
        out("F|Pb", "N", "bolt|load|force|result", lambda v: hold.bolt_load_n(v.Fi or 0.0, v.P, hold.joint_share(v.kb, v.kc)))),
    law("G3", "kb:N/mm=kb|k_b; kc:N/mm=kc|km|k_c|k_m; P:N=P|F|load|Pe; ?Fi:N=Fi|preload|Pi|F_i(0);",
        out("F|Pb", "N", "bolt|load|force|result", lambda v: hold.bolt_load_n(v.Fi, v.P, hold.joint_share(v.kb, v.kc)))),
    law("G3", "ratio:1=kc/kb|ratio|kc_over_kb; P:N=P|F|load|Pe; ?Fi:N=Fi|preload|Pi(0);", out("F|Pb", "N", "bolt|load|force", lambda v: hold.bolt_load_n(v.Fi, v.P, 1 / (1 + v.ratio)))),
    law("G3", "C:1=C|share; P:N=P|F|load; ?Fi:N=Fi|preload(0);", out("F|Pb", "N", "bolt|load", lambda v: hold.bolt_load_n(v.Fi, v.P, v.C))),
]  # fmt: skip


def _per_kelvin(v: Any, name: str) -> float:
    """A bare coefficient: 23.1 means 23.1e-6 per kelvin."""
    value = float(getattr(v, name))
    return value * 1e-6 if value > 0.01 else value


def _length_u(v: Any) -> float:
    alpha_u = v.ua * 1.0 if v.ua is not None else thermal.rectangular_u(v.half)
    warm_u = v.uT if v.uT is not None else thermal.rectangular_u(v.aT)
    return thermal.correction_u_mm(
        v.L, _per_kelvin(v, "alpha"), alpha_u if alpha_u < 0.01 else alpha_u * 1e-6, v.dT, warm_u
    )


LEN = "L:mm=L|l|length|L0;"
ALPHA = "alpha:1=alpha|a|cte|CTE;"
DT = "dT:K=dT|DT|delta_T|deltaT|dtheta|dt;"
HEAT_LAWS: list[Law] = [
    law("H1", ALPHA + LEN + DT, out("dL", "mm", "growth|expan|longer|length", lambda v: thermal.growth_mm(_per_kelvin(v, "alpha"), v.L, v.dT))),
    law("H1", ALPHA + LEN + "T1:K=T1|T0|T_ref|Tref(20); T2:K=T2|T;".replace("T1:K", "?T1:K"), out("dL", "mm", "growth|expan|longer", lambda v: thermal.growth_mm(_per_kelvin(v, "alpha"), v.L, v.T2 - v.T1))),
    law("H1", LEN + "ap:1=a_p|alpha_p|alpha_part|ap; dTp:K=dT_p|dTp|dT_part; as_:1=a_s|alpha_s|alpha_scale|as; dTs:K=dT_s|dTs|dT_scale;",
        out("dL", "mm", "error|differ|scale", lambda v: thermal.scale_error_mm(v.L, _per_kelvin(v, "ap"), v.dTp, _per_kelvin(v, "as_"), v.dTs))),
    law("H1", LEN + "ap:1=a_p|alpha_p|alpha_part|ap; as_:1=a_s|alpha_s|alpha_scale|as;" + DT,
        out("dL", "mm", "error|differ|scale", lambda v: thermal.scale_error_mm(v.L, _per_kelvin(v, "ap"), v.dT, _per_kelvin(v, "as_"), v.dT))),
    law("H1", LEN + ALPHA + DT + "?ua:1=u_alpha|ualpha|ua; ?half:1=a_alpha|aalpha|half_alpha; ?uT:K=uT|u_T|u_dT; ?aT:K=aT|a_T|half_T;",
        out("u", "mm", "uncert|std", _length_u), ready=lambda q, v: (v.ua or v.half) is not None and (v.uT or v.aT) is not None),
    law("H2", "zi:mm=z_inf|zinf|z_max|final|z0; tau:min>s=tau|T|time_constant; t:min>s=t|time;", out("z|growth", "mm", "growth after|after|first-order", lambda v: thermal.spindle_growth_mm(v.zi, v.tau, v.t)),
        out("rest", "mm", "remain|still|left|to come", lambda v: v.zi - thermal.spindle_growth_mm(v.zi, v.tau, v.t))),
    law("H2", "zi:mm=z_inf|zinf|z_max|final|z0; tau:min>s=tau|T|time_constant; limit:mm=limit|rest|tol|remaining|dz;", out("t", "s", "time|warm", lambda v: thermal.warm_up_s(v.zi, v.tau, v.limit))),
    law("H2", "tau:min>s=tau|T|time_constant; share:1=fraction|share|ratio|percent;", out("t", "s", "time|warm", lambda v: thermal.warm_up_s(1.0, v.tau, 1 - v.share))),
    law("H2", "zi:mm=z_inf|zinf|z_max|final; z:mm=z|growth|z1; t:min>s=t|time;", out("tau", "s", "constant|tau", lambda v: thermal.time_constant_s(v.zi, v.z, v.t))),
    law("H2", "zi:mm=z_inf|zinf|z_max|final; tau:min>s=tau|T; t1:min>s=t1; t2:min>s=t2;", out("dz", "mm", "drift|between|growth|change", lambda v: thermal.spindle_growth_mm(v.zi, v.tau, v.t2) - thermal.spindle_growth_mm(v.zi, v.tau, v.t1))),
]  # fmt: skip


WEIBULL = "eta:any=eta|scale|theta|alpha;" + "b:1=beta|b|shape|k|m;"
COSTS = "cp:1=c_planned|cp|planned|c_p|preventive|Cp; cf:1=c_failure|cf|failure|c_f|corrective|Cf;"
CHECK = "ci:any=ci|c_i|c_check|check|t_check; cd:1=cd|c_d|loss|c_loss|loss_rate|k1;"
SHORT = "approx|sqrt|square-root|square root"


def _optimum(v: Any) -> float:
    return rel.age_optimum(v.eta, v.b, v.cp, v.cf)


RELIABILITY_LAWS: list[Law] = [
    law("I1", WEIBULL + "t:any=t|time|T|age;", out("R", "1", "surviv|reliab", lambda v: rel.survival(v.t, v.eta, v.b)),
        out("F", "1", "fail(ed|ure) (prob|chance|share|fraction)|unreliab|probability of failure|break", lambda v: 1 - rel.survival(v.t, v.eta, v.b)),
        out("h", "1/s", "hazard|failure rate", lambda v: rel.hazard(v.t, v.eta, v.b))),
    law("I1", WEIBULL + "t:any=T|t0|age|t1|t_age|used|T0|t;" + "x:any=x|dt|more|mission|delta|s|t|t2|t_mission;", out("R", "1", "condition|surviv|reliab", lambda v: rel.conditional_survival(v.t, v.x, v.eta, v.b))),
    law("I1 I2", WEIBULL + "R:1=R|survival|reliability|R_target;", out("t", "s", "change|time|life", lambda v: rel.change_time(v.eta, v.b, v.R))),
    law("I1", WEIBULL, out("mean|MTTF", "s", "mean|MTTF|MTBF|average", lambda v: rel.mean_life(v.eta, v.b)),
        out("sd", "s", "deviation|std|sigma", lambda v: rel.life_deviation(v.eta, v.b)),
        out("median", "s", "median|B50", lambda v: rel.change_time(v.eta, v.b, 0.5)), out("B10", "s", r"B10|L10|10 ?%", lambda v: rel.change_time(v.eta, v.b, 0.9))),
    law("I1", WEIBULL + "t:any=t|time|T|age;", out("h", "1/s", "hazard|rate", lambda v: rel.hazard(v.t, v.eta, v.b)), when="hazard|failure rate"),
    law("I2", WEIBULL + COSTS, out("t|T", "s", "time|age|optim|interval", _optimum),
        out("cost", "1/s", "cost", lambda v: rel.age_cost(_optimum(v), v.eta, v.b, v.cp, v.cf)), unless="cost rate|cost per|minimum cost|least cost"),
    law("I2", WEIBULL + COSTS, out("cost", "1/s", "cost", lambda v: rel.age_cost(_optimum(v), v.eta, v.b, v.cp, v.cf)), when="cost rate|cost per|minimum cost|least cost"),
    law("I2", WEIBULL + COSTS + "t:any=t|T|age|time;", out("cost", "1/s", "cost", lambda v: rel.age_cost(v.t, v.eta, v.b, v.cp, v.cf))),
    law("I3", "l:1/s=lambda|l|rate|lam; cd:1=cd|c_d|loss|c_loss; ci:any=ci|c_i|check|c_check;", out("T", "s", "interval", lambda v: rel.check_interval(v.l, v.ci, v.cd)), unless=SHORT),
    law("I3", "l:1/s=lambda|l|rate|lam; cd:1=cd|c_d|loss|c_loss; ci:any=ci|c_i|check|c_check;", out("T", "s", "interval|approx", lambda v: rel.check_interval_short(v.l, v.ci, v.cd)), when=SHORT),
    law("I3", "l:1=lambda|l|rate|lam; cd:1=cd|c_d|loss; ci:1=ci|c_i|check;", out("T", "1", "interval", lambda v: (rel.check_interval_short if v.q.says(SHORT) else rel.check_interval)(v.l, v.ci, v.cd))),
    law("I3", "l:1/s=lambda|l|rate|lam; cd:1=cd|c_d|loss|c_loss; ci:s=ci|c_i|check|c_check; T:s=T|t|interval;", out("cost", "s", "cost|loss", lambda v: rel.check_cost(v.T, v.l, v.ci, v.cd))),
    law("I3", "mtbf:s=MTBF|mtbf|MTTF|mean_life; cd:1=cd|c_d|loss; ci:any=ci|c_i|check;", out("T", "s", "interval", lambda v: (rel.check_interval_short if v.q.says(SHORT) else rel.check_interval)(1 / v.mtbf, v.ci, v.cd))),
    law("I3", WEIBULL + "T:any=T|t|horizon|life;" + CHECK, out("n", "1", "number|checks|count|how many", lambda v: rel.check_count(v.T, v.eta, v.b, v.ci, v.cd)),
        out("density", "1/s", "density|rate", lambda v: rel.check_density(v.T, v.eta, v.b, v.ci, v.cd)),
        out("interval", "s", "interval|spacing|gap", lambda v: 1 / rel.check_density(v.T, v.eta, v.b, v.ci, v.cd))),
]  # fmt: skip

HOLD_LAWS: list[Law] = SCREW_LAWS + GRIP_LAWS + BOLT_LAWS + HEAT_LAWS + RELIABILITY_LAWS
