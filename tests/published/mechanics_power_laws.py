"""Spellings of the power, torque, speed and unit-power questions (formulas A3, A4)."""

import math
from typing import Any

from halfthou.physics import specific_force as sf
from halfthou.physics import spindle
from halfthou.physics.chip import mean_chip_handbook_mm
from tests.published.mechanics_engine import Law, law, out

KC = "kc:MPa=kc|Kc|ks|u|Ks|specific_energy|ps|pc|p;"
KP = "kp:MPa=Kp|up|u|P_unit|unit_power;"
ETA = "?eta:1=eta|E|efficiency|eff;"
N = "n:rpm=n|N|rpm|speed|S|spindle_speed;"
VF = "vf:mm/min>mm/s=vf|v_f|F|feed_rate|f|v|fm|table_feed;"


def _eta(v: Any) -> float:
    return float(v.eta or 1.0)


def _turned(v: Any) -> float:
    return float(0.25 * math.pi * (v.Do**2 - v.Df**2) * v.vf)


def _face(v: Any) -> float:
    return float(v.d * v.D * v.x * v.fz * v.z * v.n / 60)


POWER_LAWS: list[Law] = [
    law("A3", "ap:mm=ap|d|t|a|depth|doc; ae:mm=ae|w|D|d|b|width|B|d_slot; " + VF + KC + ETA,
        out("P|Pc|N", "W", "power", lambda v: sf.motor_power_w(sf.power_w(v.kc, sf.removal_mm3_per_s(v.ap, v.ae, v.vf)), _eta(v)))),
    law("A3", "t:mm=t|ap|depth; d:mm=d|ae|D|w; " + VF + KC + ETA,
        out("P|Pc|N", "W", "power", lambda v: sf.motor_power_w(sf.power_w(v.kc, sf.removal_mm3_per_s(v.t, v.d, v.vf)), _eta(v)))),
    law("A3 F1", "ap:mm=ap|d|t|a|depth; ae:mm=ae|w|b|width|D; " + VF,
        out("Q|MRR", "mm3/min", "remov", lambda v: 60 * sf.removal_mm3_per_s(v.ap, v.ae, v.vf))),
    law("A3", "Q:mm3/min>mm3/s=Q|MRR|mrr|Zw|removal_rate|removal; " + KC + ETA,
        out("P|Pc", "W", "power", lambda v: sf.motor_power_w(sf.power_w(v.kc, v.Q), _eta(v)))),
    law("A3", "ap:mm=ap|d|a|depth; f:mm=f|fn|feed|fr; vc:m/min>mm/s=vc|v|V|speed; " + KC + ETA,
        out("P|Pc", "W", "power", lambda v: sf.motor_power_w(sf.power_w(v.kc, v.ap * v.f * v.vc), _eta(v)))),
    law("A3", "ap:mm=ap|d|a|depth|b|w; f:mm=f|fn|feed|t1|h; " + KC,
        out("F|Fc", "N", "force", lambda v: v.kc * v.ap * v.f)),
    law("A3", "F:N=F|Fc|Pz; vc:m/min>mm/s=vc|v|V|speed; " + ETA,
        out("P|Pc", "W", "power", lambda v: v.F * v.vc / 1000 / _eta(v))),
    law("A3", "B:mm=B|w|b|width|ae; t:mm=t|d|depth|ap; " + VF + "t1:mm=t1_av|t1|t1av|t1_mean|h|hm|t1_max; nu:MPa=nu|U0|u0|C; lam:1=lambda|lam|exponent|m;",
        out("P|W", "W", "power", lambda v: sf.power_w(sf.energy_law_mpa(_level(v), v.lam, v.t1), sf.removal_mm3_per_s(v.B, v.t, v.vf)))),
    law("A3", "B:mm=B|w|b|width|ae; t:mm=t|d|depth|ap; " + VF + "nu:MPa=nu|U0|u0|C; lam:1=lambda|lam|exponent|m; D:mm=D|diameter; n:rpm=N|n|rpm; z:1=Z|z|teeth;",
        out("P|W", "W", "power", lambda v: sf.power_w(sf.energy_law_mpa(_level(v), v.lam, mean_chip_handbook_mm(60 * v.vf / (v.n * v.z), v.t, v.D)), sf.removal_mm3_per_s(v.B, v.t, v.vf)))),
    law("A3", "ap:mm=ap|d|t|a|depth; ae:mm=ae|w|b|width|B; n:rpm=N|n|rpm|speed; ?D:mm=D|Dc; " + VF + KC + ETA,
        out("M|T", "N*m", "torque", lambda v: sf.torque_n_mm(sf.power_w(v.kc, sf.removal_mm3_per_s(v.ap, v.ae, v.vf)), v.n) / 1000),
        out("F|Ft", "N", "force", lambda v: sf.force_from_torque_n(sf.torque_n_mm(sf.power_w(v.kc, sf.removal_mm3_per_s(v.ap, v.ae, v.vf)), v.n), v.D)),
        out("P", "W", "power", lambda v: sf.motor_power_w(sf.power_w(v.kc, sf.removal_mm3_per_s(v.ap, v.ae, v.vf)), _eta(v)))),
    law("A3", "D:mm=D|d|diameter; f:mm=f|feed|fr; n:rpm=N|n|rpm; " + KC,
        out("M|T", "N*m", "torque", lambda v: sf.torque_n_mm(sf.power_w(v.kc, sf.drilling_removal_mm3_per_s(v.D, v.f, v.n)), v.n) / 1000),
        out("P", "W", "power", lambda v: sf.power_w(v.kc, sf.drilling_removal_mm3_per_s(v.D, v.f, v.n))), when="drill"),
    law("A3 F1", VF + "n:rpm=N|n|rpm; z:1=teeth|z|Z|nt|inserts;", out("fz", "mm", "per tooth|fz|tooth load|chip load", lambda v: 60 * v.vf / (v.n * v.z))),
    law("A3", "U0:MPa=U0|u0|nu|C; t1:mm=t1|t|h|f; ?lam:1=lambda|lam|exponent|m(0.4);",
        out("u|U|kc", "MPa", "specific|energy|kc", lambda v: sf.energy_law_mpa(_level(v), v.lam, v.t1))),
    law("A3", "U0:MPa=U0|u0|nu; t1:mm=t1|h|f|t|feed; w:mm=w|b|B|d|width|ap; ?lam:1=lambda|lam|exponent|m(0.4);",
        out("F|Fc", "N", "force", lambda v: sf.energy_law_mpa(_level(v), v.lam, v.t1) * v.t1 * v.w)),
    law("A3", "U0:MPa=U0|u0|nu; t1:mm=t1|h|f|t|feed; w:mm=w|b|B|d|width|ap; v:m/min>mm/s=v|vc|V|speed; ?lam:1=lambda|lam|exponent|m(0.4);",
        out("P|W", "W", "power", lambda v: sf.power_w(sf.energy_law_mpa(_level(v), v.lam, v.t1), v.t1 * v.w * v.v))),
    law("A3 A4", "P:kW>W=P|Pc|power|Pm|W|Nc; " + N,
        out("M|T|torque", "N*m", "torque", lambda v: sf.torque_n_mm(v.P, v.n) / 1000)),
    law("A3 A4", "M:N*m>N*mm=M|T|torque|Mc; " + N + ETA,
        out("P|power", "W", "power", lambda v: sf.power_from_torque_w(v.M, v.n) / _eta(v))),
    law("A3", "P:kW>W=P|Pc|power; " + N + "D:mm=D_avg|Davg|D|d|Dm|D_mean;",
        out("F|Fc", "N", "force", lambda v: sf.force_from_torque_n(sf.torque_n_mm(v.P, v.n), v.D))),
    law("A3", "M:N*m>N*mm=M|T|torque; D:mm=D_avg|D|d|Davg;", out("F|Fc", "N", "force", lambda v: sf.force_from_torque_n(v.M, v.D))),
    law("A3", "Do:mm=Do|D0|D1|d1|Di; Df:mm=Df|D2|d2|d; vf:mm/min>mm/s=vf|v|F|f|feed_rate; " + KC + "?n:rpm=n|N|rpm;" + ETA,
        out("P", "W", "power", lambda v: sf.motor_power_w(sf.power_w(v.kc, _turned(v)), _eta(v))),
        out("M|T", "N*m", "torque", lambda v: sf.torque_n_mm(sf.power_w(v.kc, _turned(v)), v.n) / 1000),
        out("Fc", "N", "force", lambda v: sf.force_from_torque_n(sf.torque_n_mm(sf.power_w(v.kc, _turned(v)), v.n), (v.Do + v.Df) / 2))),
    law("A3 F1", "Do:mm=Do|D0|D1|d1; Df:mm=Df|D2|d2; vf:mm/min>mm/s=vf|v|F|feed_rate; ?n:rpm=n|N|rpm;",
        out("Q|MRR", "mm3/min", "remov", lambda v: 60 * _turned(v))),
    law("A3", "Do:mm=Do|D0|D1|d1; Df:mm=Df|D2|d2; f:mm=f|fr; " + N,
        out("Q|MRR", "mm3/min", "remov", lambda v: 60 * sf.turning_removal_mm3_per_s(v.Do, v.Df, v.f, v.n))),
    law("A3", "D:mm=D|Dc; z:1=teeth|z|N|Z|inserts; n:rpm=N|n|rpm; d:mm=d|ap|depth; fz:mm=fz|ft|f; " + KC + "x:1=engaged|engagement|ae/D|ratio;" + ETA,
        out("P", "W", "power", lambda v: sf.motor_power_w(sf.power_w(v.kc, _face(v)), _eta(v))),
        out("M|T", "N*m", "torque", lambda v: sf.torque_n_mm(sf.power_w(v.kc, _face(v)), v.n) / 1000),
        out("Q|MRR", "mm3/min", "remov", lambda v: 60 * _face(v))),
    law("A3", "w:mm=w|ae|width|b; z:1=teeth|z|Z|inserts|N; n:rpm=N|n|rpm; d:mm=d|ap|depth; fz:mm=fz|ft|f; " + KC + "?D:mm=D;" + ETA,
        out("P", "W", "power", lambda v: sf.motor_power_w(sf.power_w(v.kc, v.w * v.d * v.fz * v.z * v.n / 60), _eta(v))),
        out("M|T", "N*m", "torque", lambda v: sf.torque_n_mm(sf.power_w(v.kc, v.w * v.d * v.fz * v.z * v.n / 60), v.n) / 1000)),
    law("A3 F1", "vc:m/min>mm/s=vc|v|V|cutting_speed|speed; D:mm=D|d|diameter|Dc; ?pi:1=pi;",
        out("n|N", "rpm", "speed", lambda v: 60 * v.vc / ((v.pi or math.pi) * v.D))),
    law("A3 F1", N + "D:mm=D|d|diameter|Dc; ?pi:1=pi;",
        out("vc|v|V", "m/min", "speed", lambda v: (v.pi or math.pi) * v.D * v.n / 1000)),
    law("A3 A4", "Pc:kW>W=Nc|Pc|P|N|power; eta:1=eta|E|efficiency|eff;",
        out("Pm|Nm", "W", "motor|power", lambda v: sf.motor_power_w(v.Pc, v.eta))),
    law("A3", "kc:MPa=kc|Kc|kc0; ?rake:deg>rad=rake|gamma|d_rake; ?wear:1=wear|wear_factor(1);",
        out("kc2", "MPa", "rake|wear|correct", lambda v: v.kc * sf.rake_factor(v.rake or 0.0, 0.0, 0.01) * v.wear), when="rake|wear|correct"),
    law("A4", "kp:hp/(in3/min)>MPa=Kp|kp|K_p|up|u;", out("Kp_si|kc", "MPa", "Kp|unit|kc|conver", lambda v: v.kp)),
    law("A4", "kp:kW/(cm3/s)>MPa=Kp|kp|K_p|up|u|kc;", out("Kp_in|kc", "MPa", "Kp|unit|kc|conver", lambda v: v.kp)),
    law("A4", KP + "Q:cm3/s>mm3/s=Q|MRR; ?C:1=C(1); ?W:1=W(1); ?eta:1=E|eta;",
        out("Pc|P|Pm", "W", "power", lambda v: sf.unit_power_w(v.kp, v.Q, v.C, v.W) / (v.eta or 1.0 if v.q.says("motor") or not v.q.says("cutter|cutting") else 1.0))),
    law("A4", KP + "ap:mm=ap|d|a|depth; ae:mm=ae|w|b|width; " + VF + "?C:1=C(1); ?W:1=W(1); ?eta:1=E|eta;",
        out("Pc|P|Pm", "W", "power", lambda v: sf.unit_power_w(v.kp, v.ap * v.ae * v.vf, v.C, v.W) / (v.eta or 1.0))),
]  # fmt: skip

KNEE = "P:kW>W=P|power|Pmax|P_max; nb:rpm=n_base|nbase|n_b|base_speed|nb|n0|n_knee|knee|n1; n:rpm=n|N|rpm|speed|n2;"
BASE = "Tb:N*m>N*mm=T|Tmax|M|Mmax|T_base|M_base|T_max; nb:rpm=n_base|nbase|n_b|base_speed|nb|n0; n:rpm=n|N|rpm|speed;"
SPINDLE_LAWS: list[Law] = [
    law("A4", KNEE,
        out("T|M", "N*m", "torque|available", lambda v: spindle.available_torque_n_mm(v.P, v.nb, v.n) / 1000),
        out("P2", "W", "power|available", lambda v: spindle.available_power_w(v.P, v.nb, v.n))),
    law("A4", BASE,
        out("T2|M2", "N*m", "torque|available", lambda v: v.Tb * min(1.0, v.nb / v.n)),
        out("P2", "W", "power|available", lambda v: sf.power_from_torque_w(v.Tb * min(1.0, v.nb / v.n), v.n))),
    law("A4", KNEE + "M:N*m>N*mm=M|T|torque|Mc|T_cut|M_cut;",
        out("load|utilisation", "1", "utili|load|ratio|share", lambda v: spindle.load(v.M, spindle.available_torque_n_mm(v.P, v.nb, v.n)))),
    law("A4", KNEE + "Pc:kW>W=Pc|P_cut|Pcut;",
        out("load|utilisation", "1", "utili|load|ratio|share", lambda v: v.Pc / spindle.available_power_w(v.P, v.nb, v.n))),
    law("A4", "P:kW>W=P|power|Pmax; M:N*m>N*mm=T|M|torque|Tmax|Mmax;",
        out("n_base|n", "rpm", "base|knee|speed", lambda v: spindle.base_speed_rpm(v.P, v.M))),
    law("A4", "M:N*m>N*mm=M|T|torque|torques; t:s=t|time|times|dt;",
        out("Trms|M_rms", "N*m", "rms|effective|root", lambda v: spindle.effective_torque_n_mm(v.M, v.t) / 1000),
        ready=lambda q, v: isinstance(v.M, list)),
    law("A4", "P:kW>W=P|power|powers; t:s=t|time|times|dt;",
        out("Prms|P_rms", "W", "rms|effective|root", lambda v: spindle.effective_torque_n_mm(v.P, v.t)),
        ready=lambda q, v: isinstance(v.P, list)),
    law("A4", "Pc:kW>W=Pc|P_cut|Pcut|P; Pa:kW>W=Pa|Pmax|P_max|P_available|Pr|P_rated|Pm; ?eta:1=eta|E;",
        out("load|utilisation", "1", "utili|load|ratio|share", lambda v: v.Pc / _eta(v) / v.Pa)),
    law("A4", "M:N*m=M|T|T_cut|M_cut|Mc; Ma:N*m=Ma|Mmax|M_max|Tmax|T_max|T_available|Tr;",
        out("load|utilisation", "1", "utili|load|ratio|share", lambda v: spindle.load(v.M, v.Ma))),
]  # fmt: skip


def _level(v: Any) -> float:
    """U0 in J/mm³ (small numbers) or ν in MPa."""
    value = v.nu if hasattr(v, "nu") else v.U0
    return float(value * 1000 if value < 50 else value)
