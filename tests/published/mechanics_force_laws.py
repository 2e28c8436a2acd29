"""Spellings of the force, power and hole-tool questions (formulas A1–A6)."""

import math
from typing import Any

import numpy as np

from halfthou.physics import edge_force, hole_force, specific_force
from halfthou.physics.chip import Arc, centred_arc_rad, down_arc_rad, mean_chip_mm, up_arc_rad
from tests.published.mechanics_engine import Law, Question, law, out

EDGE = (
    "ktc:N/mm2=Ktc|Kt|ktc1; krc:N/mm2=Krc|Kr|Krt; ?kac:N/mm2=Kac|Ka(0); ?kte:N/mm=Kte|Ktp(0); ?kre:N/mm=Kre|Krp(0);"
    "?kae:N/mm=Kae|Kap(0);"
)
ARC = (
    "?st:deg>rad=phi_st|phi_s|phi_start|phi_in|phi_entry|phi_en|start_angle|entry_angle|phi_1|phi1;"
    "?ex:deg>rad=phi_ex|phi_e|phi_exit|phi_out|phi_end|exit_angle|end_angle|phi_2|phi2;"
    "?ae:mm=ae|a_e|radial_depth|width|rdoc|w|b|B; ?x:1=ae/D|aeD|a/D|aD|radial_immersion|immersion|radial_ratio;"
)
TOOL = "?D:mm=D|d|diameter|Dc|tool_diameter|cutter_diameter|d1;"
CUT = (
    "N:1=teeth|N|z|Nt|flutes|n_teeth|number_of_teeth|Z|zc; a:mm=ap|a|axial_depth|a_p|depth|b|adoc|doc;"
    "c:mm=fz|c|ft|f_t|st|feed_per_tooth|f|h|s_t;"
)
UP = r"\bup\b|up[- ]?mill|conventional"
SHARE = r"(\d+(?:\.\d+)?)\s*%\s*(?:radial|immersion|engage|width)"


def arc_of(v: Any) -> Arc | None:
    """The contact arc: given angles, or a width with a direction, or words (half, slot, 25 % radial)."""
    if v.st is not None and v.ex is not None:
        return v.st, v.ex
    q: Question = v.q
    share = v.x
    if share is None and v.ae is not None and v.D is not None:
        share = v.ae / v.D
    if share is None:
        import re

        match = re.search(SHARE, q.text, re.IGNORECASE)
        quarter = {"half": 0.5, "quarter": 0.25, "slot": 1.0, "full": 1.0, "three-quarter": 0.75}
        words = [size for word, size in quarter.items() if q.says(word)]
        share = float(match[1]) / 100 if match else (words[-1] if words else None)
    if share is None:
        return None
    if q.says(r"centr|center|symmetr"):
        return centred_arc_rad(share, 1.0)
    return up_arc_rad(share, 1.0) if q.says(UP) else down_arc_rad(share, 1.0)


def _arc(v: Any) -> Arc:
    arc = arc_of(v)
    assert arc is not None
    return arc


def _edge(v: Any) -> edge_force.EdgeCoefficients:
    return edge_force.EdgeCoefficients(
        ktc_mpa=v.ktc, krc_mpa=v.krc, kac_mpa=v.kac, kte_n_per_mm=v.kte, kre_n_per_mm=v.kre, kae_n_per_mm=v.kae
    )


def _ready(q: Question, v: Any) -> bool:
    v.q = q
    return arc_of(v) is not None


def _ready_round(q: Question, v: Any) -> bool:
    return _ready(q, v) and v.D is not None


def _mean(axis: int) -> Any:
    return lambda v: edge_force.mean_force_n(_edge(v), int(v.N), v.a, v.c, [_arc(v)])[axis]


def _mean_torque(v: Any) -> float:
    return edge_force.mean_torque_n_mm(_edge(v), int(v.N), v.a, v.c, v.D, [_arc(v)])


def _peak(name: str) -> Any:
    def compute(v: Any) -> float:
        found = edge_force.largest(_edge(v), int(v.N), v.a, v.c, v.D, v.beta or 0.0, [_arc(v)])
        if v.q.says(r"peak[- ]to[- ]peak|peak-to-valley|ripple|range"):
            return found[name + "_high"] - found[name + "_low"]
        if v.q.says(r"\bmin(imum)?\b|lowest|smallest"):
            return found[name + "_low"]
        if v.q.says(r"largest positive|most positive"):
            return found[name + "_high"]
        return found[name]

    return compute


def _at(column: int) -> Any:
    def compute(v: Any) -> float:
        turn = np.array([v.phi])
        row = edge_force.forces_n(_edge(v), int(v.N), v.a, v.c, v.D or 1.0, v.beta or 0.0, [_arc(v)], turn)[0]
        return float({9: np.hypot(row[0], row[1]), 8: np.linalg.norm(row[:3])}.get(column, row[min(column, 3)]))

    return compute


BETA = "?beta:deg>rad=helix|beta|helix_angle|lambda_s;"
SPEED = "n:rpm=n|N|rpm|speed|S|spindle_speed|n_rpm;"
MEAN_POWER = out("P|power", "W", "power", lambda v: specific_force.power_from_torque_w(_mean_torque(v), v.n))
EDGE_LAWS = [
    law(
        "A1", EDGE + CUT + ARC + TOOL + BETA,
        out("Fx", "N", r"\bFx\b|feed force|force in (the )?feed|x[- ]force", _mean(0)),
        out("Fy", "N", r"\bFy\b|normal force|y[- ]force", _mean(1)),
        out("Fz", "N", r"\bFz\b|axial|z[- ]force|thrust", _mean(2)),
        out("Fxy", "N", r"in-plane|resultant|\bFxy\b", lambda v: math.hypot(_mean(0)(v), _mean(1)(v))),
        ready=_ready, unless="peak|max|instant",
    ),
    law("A1", EDGE + CUT + ARC + TOOL + BETA, out("T|M", "N*m", "torque", lambda v: _mean_torque(v) / 1000),
        ready=_ready_round, unless="peak|max|instant"),
    law("A1", EDGE + CUT + ARC + TOOL + BETA + SPEED.replace("|N|", "|"), MEAN_POWER, ready=_ready_round),
    law(
        "A1", EDGE + CUT + ARC + TOOL + BETA,
        out("Fx", "N", r"\bFx\b|feed force", _peak("fx")), out("Fy", "N", r"\bFy\b|normal force", _peak("fy")),
        out("Fz", "N", r"\bFz\b|axial|thrust", _peak("fz")),
        out("Fxy", "N", r"in-plane|resultant in|\bFxy\b|bending", _peak("fxy")),
        out("F", "N", r"total resultant|3d|three-component|resultant force$|\bFxyz\b", _peak("f")),
        out("T", "N*m", "torque", lambda v: _peak("torque")(v) / 1000),
        ready=_ready_round, when="peak|max|largest|min|highest|lowest|ripple",
    ),
    law(
        "A1", EDGE + CUT + ARC + TOOL + BETA + "phi:deg>rad=phi|angle|theta|phi_0|rotation;",
        out("Fx", "N", r"\bFx\b|feed force", _at(0)), out("Fy", "N", r"\bFy\b|normal force", _at(1)),
        out("Fz", "N", r"\bFz\b|axial", _at(2)), out("T", "N*m", "torque", lambda v: _at(3)(v) / 1000),
        out("Fxy", "N", r"in-plane|resultant|\bFxy\b", _at(9)), out("F", "N", "total", _at(8)), ready=_ready,
    ),
]  # fmt: skip

SHEAR = (
    "rake:deg>rad=rake|alpha|gamma|rake_angle|alpha_r; t1:mm=t1|t|h|uncut_thickness|uncut_chip_thickness|feed|f|t_1;"
    "w:mm=w|b|width|width_of_cut|B; tau:N/mm2=shear_stress|tau_s|tau|tau_shear|shear_strength|ks;"
    "?mu:1=mu|friction|f_mu; ?lam:deg>rad=lambda|friction_angle|beta|beta_a; ?phi:deg>rad=phi|shear_angle|phi_c|phi_s;"
    "?r:1=r|rc|chip_ratio|cutting_ratio;"
)


def _shear(v: Any) -> specific_force.Shear:
    friction = v.lam if v.lam is not None else math.atan(v.mu)
    angle = v.phi
    if angle is None and v.r is not None:
        angle = specific_force.ratio_shear_rad(v.r, v.rake)
    if angle is None and v.q.says("lee|shaffer|45"):
        angle = specific_force.lee_shaffer_rad(v.rake, friction)
    return specific_force.orthogonal(v.rake, friction, v.t1, v.w, v.tau, angle)


SHEAR_LAWS = [
    law(
        "A2", SHEAR,
        out("Fc", "N", r"cutting force|\bFc\b|power force", lambda v: _shear(v).cutting_n),
        out("Ft", "N", r"thrust|\bFt\b|feed force", lambda v: _shear(v).thrust_n),
        out("Fs", "N", r"shear force|shear[- ]plane force|\bFs\b", lambda v: _shear(v).shear_n),
        out("R", "N", r"resultant|\bR\b", lambda v: _shear(v).resultant_n),
        out("F", "N", r"friction force|force along the rake", lambda v: _shear(v).friction_n),
        out("Nr", "N", r"normal force on the (rake|tool)|rake[- ]normal", lambda v: _shear(v).rake_normal_n),
        out("Fn", "N", r"normal (force )?(to|on) the shear", lambda v: _shear(v).normal_n),
        ready=lambda q, v: v.mu is not None or v.lam is not None,
    ),
    law(
        "A2", "rake:deg>rad=rake|alpha|gamma; ?mu:1=mu; ?lam:deg>rad=lambda|friction_angle|beta;",
        out("phi", "deg", "shear angle", lambda v: math.degrees(specific_force.merchant_rad(v.rake, v.lam if v.lam is not None else math.atan(v.mu)))),
        ready=lambda q, v: v.mu is not None or v.lam is not None,
    ),
    law("A2", "rake:deg>rad=rake|alpha|gamma; r:1=r|rc|chip_ratio|cutting_ratio;",
        out("phi", "deg", "shear angle", lambda v: math.degrees(specific_force.ratio_shear_rad(v.r, v.rake)))),
    law("A2", "rake:deg>rad=rake|alpha|gamma; t1:mm=t1|h; t2:mm=t2|hc|tc;",
        out("phi", "deg", "shear angle", lambda v: math.degrees(specific_force.ratio_shear_rad(v.t1 / v.t2, v.rake)))),
    law("A2", "rake:deg>rad=rake|alpha|gamma; phi:deg>rad=phi|shear_angle|phi_c;",
        out("gamma", "1", "strain", lambda v: specific_force.shear_strain(v.phi, v.rake))),
]  # fmt: skip

OBLIQUE = (
    "tau:MPa=tau|tau_s|shear_stress; phi:deg>rad=phi|phi_n|phi_c|shear_angle; beta:deg>rad=beta|beta_n|beta_a|friction_angle|friction;"
    "rake:deg>rad=rake|alpha|alpha_n|gamma; i:deg>rad=i|helix|lambda_s|inclination|oblique_angle; ?eta:deg>rad=eta|flow|chip_flow;"
)


def _oblique(axis: int) -> Any:
    return lambda v: specific_force.oblique_mpa(v.tau, v.phi, v.beta, v.rake, v.i, v.eta)[axis]


def _titanium(axis: int) -> Any:
    return lambda v: specific_force.titanium_oblique_mpa(v.h, v.rake, v.i or 0.0)[axis]


_K = (("Ktc", r"\bKtc\b|tangential"), ("Krc", r"\bKrc\b|radial"), ("Kac", r"\bKac\b|axial"))
OBLIQUE_LAWS = [
    law("A1", OBLIQUE, *(out(name, "MPa", words, _oblique(k)) for k, (name, words) in enumerate(_K))),
    law("A1", "h:mm=h|t|c|chip_thickness; rake:deg>rad=rake|alpha; ?i:deg>rad=helix|i|inclination;",
        *(out(name, "MPa", words, _titanium(k)) for k, (name, words) in enumerate(_K)), when="Ti"),
]  # fmt: skip

DRILL = (
    "?kd:1=Kd; ?ff:1=Ff; ?ft:1=FT|Ft; ?fm:1=FM|Fm; ?a:1=A; ?b:1=B; ?j:1=J; ?w:1=W(1); ?n:rpm=N|n|rpm; ?eff:1=E|eta|efficiency(1);"
    "?D:mm=D|d|diameter; ?feed:mm=feed|f|fr;"
)


def _inch(v: Any) -> bool:
    """Whether the handbook form of the case is the inch one: lengths in inches, or an answer in inch units."""
    units = " ".join(str(raw.get("unit", "")) for raw in v.q.inputs.values() if isinstance(raw, dict)) + " " + v.q.unit
    return any(word in units.replace("min", "") for word in ("in", "lbf", "lb", "hp"))


def _drill_m(v: Any) -> float:
    if _inch(v):
        return hole_force.handbook_torque_inch(v.kd, v.ff, v.fm, v.a, v.w) * 4.4482216152605 * 25.4
    return hole_force.handbook_torque_n_mm(v.kd, v.ff, v.fm, v.a, v.w)


def _drill_t(v: Any) -> float:
    if _inch(v):
        pounds = hole_force.handbook_thrust_inch(v.kd, v.ff, v.ft, v.b, v.w, v.D / 25.4, v.j)
        return pounds * 4.4482216152605
    return hole_force.handbook_thrust_n(v.kd, v.ff, v.ft, v.b, v.w, v.D, v.j)


def _drill_p(v: Any) -> float:
    motor = v.eff if v.q.says(r"motor|Pm\b|at the machine") else 1.0
    return specific_force.power_from_torque_w(_drill_m(v), v.n) / motor


def _has(*keys: str) -> Any:
    return lambda q, v: all(getattr(v, key) is not None for key in keys)


DRILL_LAWS = [
    law("A5", DRILL, out("M|T", "N*m", r"torque|\bM\b", lambda v: _drill_m(v) / 1000), ready=_has("kd", "ff", "fm", "a")),
    law("A5", DRILL, out("T|F", "N", "thrust", _drill_t), ready=_has("kd", "ff", "ft", "b", "j", "D")),
    law("A5", DRILL, out("P", "W", "power", _drill_p), ready=_has("kd", "ff", "fm", "a", "n")),
    law(
        "A5", "D:mm=D|d|diameter; f:mm=feed|f|fr; tau:N/mm2=tau_s|tau|shear_stress; ?mu:1=mu; ?lam:deg>rad=lambda|friction_angle;"
        "half:deg>rad=half_point|beta|half_point_angle|half_angle; helix:deg>rad=helix|psi|helix_angle; ?n:rpm=n|N|rpm;",
        out("M|T", "N*m", "torque", lambda v: _two_lip(v).torque_n_mm / 1000),
        out("T|F", "N", "thrust", lambda v: _two_lip(v).thrust_n),
        out("Fc", "N", r"\bFc\b|cutting force", lambda v: _two_lip(v).cutting_n),
        out("P", "W", "power", lambda v: specific_force.power_from_torque_w(_two_lip(v).torque_n_mm, v.n)),
    ),
    law("A5", "D:mm=D|d|diameter; f:mm=f|feed|fr|fn; kc:MPa=kc|ks|Kc|u|up|pc|specific_energy|kp|Kp; ?n:rpm=n|N|rpm|speed; ?d0:mm=d0|hole|Di|d1|pilot(0);",
        out("M|T", "N*m", "torque", lambda v: hole_force.core_drill_torque_n_mm(v.kc, v.f, v.D, v.d0) / 1000)),
    law("A5", "D:mm=D|d|diameter; f:mm=f|feed|fr|fn; kc:MPa=kc|ks|Kc|u|up|specific_energy|kp|Kp; n:rpm=n|N|rpm|speed;",
        out("P", "W", "power", lambda v: specific_force.power_w(v.kc, specific_force.drilling_removal_mm3_per_s(v.D, v.f, v.n)))),
    law("A5 A3 F1", "D:mm=D|d|diameter; f:mm=f|feed|fr|fn; n:rpm=n|N|rpm|speed; ?u:MPa=u|kc;",
        out("Q|MRR", "mm3/min", "remov", lambda v: 60 * specific_force.drilling_removal_mm3_per_s(v.D, v.f, v.n)),
        out("vf", "mm/min", "feed rate|feed speed|penetration", lambda v: v.f * v.n)),
    law("A5", "kc11:MPa=kc1.1|kc11|kc1; mc:1=mc|m|z_exp; D:mm=D|d; f:mm=f|feed|fn; ?half:deg>rad=half_point|half_angle(59); ?point:deg>rad=point|point_angle|sigma; ?z:1=z|teeth|lips(2);",
        out("M|T", "N*m", "torque", lambda v: hole_force.drill_torque_n_mm(_drill_kc(v), v.f, v.D) / 1000),
        out("T|F", "N", "thrust", lambda v: hole_force.drill_thrust_n(_drill_kc(v), v.f, v.D, _half(v)))),
    law("A5", "kc:MPa=kc|u|up|Kp|ks; d:mm=d|ap|depth; f:mm=f|feed;",
        out("F", "N", "force", lambda v: hole_force.unit_force_n(v.kc, v.d, v.f)), when="force", unless="torque"),
    law(
        "A5", "kc11:MPa=kc1.1|kc11|kc1; mc:1=mc|m; z:1=z|teeth|flutes|N; f:mm=f|feed|fn; depth:mm=depth|t|a|ap|chamfer|c;"
        "?half:deg>rad=half_angle|half_point|half; ?full:deg>rad=angle|cone|included|included_angle|point_angle; ?d0:mm=d0|hole|d|D0|d_hole(0);",
        out("M|T", "N*m", "torque", lambda v: hole_force.countersink_torque_n_mm(v.kc11, v.mc, int(v.z), v.f, v.depth, v.half or v.full / 2, v.d0) / 1000),
        when="countersink|chamfer|cone", ready=lambda q, v: v.half is not None or v.full is not None,
    ),
    law(
        "A5", "kc:MPa=kc|ks; z:1=z|teeth|flutes|N; f:mm=f|feed|fn; depth:mm=depth|t|a|ap|chamfer|c;"
        "?half:deg>rad=half_angle|half_point|half; ?full:deg>rad=angle|cone|included|included_angle; ?d0:mm=d0|hole|d|D0|d_hole(0);",
        out("M|T", "N*m", "torque", lambda v: hole_force.countersink_torque_n_mm(v.kc, 0.0, int(v.z), v.f, v.depth, v.half or v.full / 2, v.d0) / 1000),
        when="countersink|chamfer|cone", ready=lambda q, v: v.half is not None or v.full is not None,
    ),
]  # fmt: skip


def _two_lip(v: Any) -> hole_force.DrillShear:
    friction = v.lam if v.lam is not None else math.atan(v.mu)
    return hole_force.drill_shear(v.D, v.f, v.tau, friction, v.half, v.helix)


def _half(v: Any) -> float:
    return v.point / 2 if v.point is not None else (math.radians(59) if v.half == 59 else v.half)


def _drill_kc(v: Any) -> float:
    return hole_force.drill_kc_mpa(v.kc11, v.mc, v.f, int(v.z), _half(v))


TAP_LAWS = [
    law("A6", "kc:MPa=kc|ks|Kc; P:mm=P|p|pitch; d:mm=d|D|diameter; ?n:rpm=n|N;",
        out("M|T", "N*m", "torque", lambda v: hole_force.tap_torque_n_mm(v.kc, v.P, v.d) / 1000)),
    law("A6", "kc:MPa=kc|ks; P:mm=P|p|pitch; d:mm=d|D|diameter; n:rpm=n|N|rpm;",
        out("Pw|power", "W", "power", lambda v: specific_force.power_from_torque_w(hole_force.tap_torque_n_mm(v.kc, v.P, v.d), v.n))),
    law("A6", "kc:MPa=kc|ks|Kc; P:mm=P|p|pitch; d:mm=d|D|diameter; K:1=factor|K|k|form_factor;",
        out("M|T", "N*m", "torque", lambda v: v.K * hole_force.tap_torque_n_mm(v.kc, v.P, v.d) / 1000)),
    law("A6", "kc:MPa=kc|ks; ?K:1=K|k|factor(1); D:mm=D|d|diameter; D0:mm=Do|D0|d0|hole|Dh|di; ?theta:deg>rad=theta|flank|half_angle|alpha;",
        out("M|T", "N*m", "torque", lambda v: hole_force.tap_triangle_n_mm(v.kc, v.K, v.D, v.D0, math.radians(30) if v.theta is None else v.theta) / 1000)),
]  # fmt: skip

MILL = "?ap:mm=ap|d|depth|a|axial_depth|t; "
KIENZLE = "kc11:MPa=kc1.1|kc11|kc1|kc1_1; mc:1=mc|m|z_exp|exponent;"


def _mill_shortcut(v: Any) -> float:
    thickness = mean_chip_mm(v.fz, v.ae, v.D)
    removal = specific_force.removal_mm3_per_s(v.ap, v.ae, v.fz * v.z * v.n / 60)
    return specific_force.power_w(specific_force.kc_mpa(v.kc11, v.mc, thickness), removal) / (v.eta or 1.0)


def _mill_integral(v: Any) -> float:
    arc = up_arc_rad(v.ae, v.D)
    return specific_force.milling_mean_power_w(v.kc11, v.mc, v.fz, v.ap, v.D, arc, int(v.z), v.n) / (v.eta or 1.0)


KMILL = (
    KIENZLE
    + "D:mm=D|d|Dc; z:1=teeth|z|N|Nt|flutes; ap:mm=ap|a|axial_depth; ae:mm=ae|w|width; fz:mm=fz|ft|c|feed_per_tooth;"
    "n:rpm=n|rpm|S|speed; ?eta:1=eta|E;"
)
SHORTCUT = r"\bhm\b|mean[- ]chip|mean[- ]thickness|shortcut|average chip"
KIENZLE_LAWS = [
    law("A3", KMILL, out("P", "W", "power", _mill_shortcut),
        out("M|T", "N*m", "torque", lambda v: specific_force.torque_n_mm(_mill_shortcut(v), v.n) / 1000), when=SHORTCUT),
    law("A3", KMILL, out("P", "W", "power", _mill_integral),
        out("M|T", "N*m", "torque", lambda v: specific_force.torque_n_mm(_mill_integral(v), v.n) / 1000), unless=SHORTCUT),
    law("A3", KIENZLE + "f:mm=f|h|fz|t|feed|chip; ?kappa:deg>rad=kappa|lead|kr|setting|lead_angle|kapr(90);",
        out("kc", "MPa", r"\bkc\b|specific", lambda v: specific_force.kc_mpa(v.kc11, v.mc, v.f * math.sin(_kappa(v))))),
    law("A3", KIENZLE + "b:mm=b|ap|w|width|a|d; f:mm=h|f|fz|t|feed; ?kappa:deg>rad=kappa|lead|kr|kapr(90);",
        out("F|Fc", "N", "force", lambda v: hole_force.bore_force_n(v.kc11, v.mc, v.b, v.f, _kappa(v)))),
    law("A3", "f:mm=f|h|fz|feed; kc:MPa=kc|Kc|ks; ?kappa:deg>rad=kappa|lead(90);",
        out("kc11", "MPa", r"kc ?1\.?1", lambda v: _fit(v)[0]), out("mc", "1", r"exponent|\bmc\b|slope", lambda v: _fit(v)[1]),
        ready=lambda q, v: isinstance(v.f, list) and isinstance(v.kc, list)),
]  # fmt: skip


def _kappa(v: Any) -> float:
    return math.pi / 2 if v.kappa == 90 else v.kappa


def _fit(v: Any) -> tuple[float, float]:
    return specific_force.kienzle_fit([f * math.sin(_kappa(v)) for f in v.f], v.kc)


FORCE_LAWS: list[Law] = EDGE_LAWS + SHEAR_LAWS + OBLIQUE_LAWS + DRILL_LAWS + TAP_LAWS + KIENZLE_LAWS
