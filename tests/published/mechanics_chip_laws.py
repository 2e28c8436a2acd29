"""Spellings of the chip thickness, cusp and roughness questions (formulas B1–B3)."""

import math
from typing import Any

from halfthou.physics import chip
from tests.published.mechanics_engine import Law, law, out

X = "?x:1=ae/D|aeD|x|ratio|a/D|aD|immersion; ?ae:mm=ae|a_e|w|radial_depth|width|b; ?D:mm=D|d|Dc|diameter;"
FZ = "fz:mm=fz|f|c|ft|feed_per_tooth|feed;"
KAPPA = "?kappa:deg>rad=kappa|lead|kr|kapr|setting|lead_angle|entering_angle;"
MEAN = r"\bmean\b|average|\bhm\b"
HANDBOOK = r"handbook|sqrt|approx|shortcut|√"


def _x(v: Any) -> float:
    return float(v.x if v.x is not None else v.ae / v.D)


def _has_x(q: Any, v: Any) -> bool:
    return v.x is not None or (v.ae is not None and v.D is not None)


def _k(v: Any) -> float:
    return math.pi / 2 if v.kappa is None else float(v.kappa)


def _ra(v: Any) -> float:
    if v.q.says(r"/ ?\(?32|32 ?r|book|handbook"):
        return chip.turned_mean_handbook_mm(v.f, v.r)
    return chip.turned_mean_mm(v.f, v.r)


def _peak(v: Any) -> float:
    return chip.cusp_mm(v.r, v.f) if v.q.says("exact|circle") else chip.turned_peak_mm(v.f, v.r)


CHIP_LAWS: list[Law] = [
    law("B1", FZ + X + KAPPA, out("hmax|h", "mm", "max|peak|thick", lambda v: chip.thickest_mm(v.fz, _x(v), _k(v))), ready=_has_x, unless=MEAN),
    law("B1", X, out("hmax/fz|ratio", "1", "max|ratio|thick|factor", lambda v: chip.thickest(_x(v))), ready=_has_x, unless=MEAN + "|compens|multipl"),
    law("B1", X, out("k", "1", "compens|multipl|factor", lambda v: 1 / chip.thickest(_x(v))), ready=_has_x, when="compens|multipl|feed factor|increase"),
    law("B1", X, out("hm/fz", "1", "mean", lambda v: chip.mean_chip_mm(1.0, _x(v), 1.0)), ready=_has_x, when=MEAN, unless=HANDBOOK),
    law("B1", X, out("hm/fz", "1", "mean", lambda v: chip.mean_chip_handbook_mm(1.0, _x(v), 1.0)), ready=_has_x, when=HANDBOOK),
    law("B1", X, out("phi", "deg", "angle|arc|engage", lambda v: math.degrees(chip.width_angle_rad(_x(v), 1.0))), ready=_has_x, when="angle|arc|degree"),
    law("B1", "h:mm=h|hmax|h_max|hex|chip; " + X + KAPPA,
        out("fz|f", "mm", "feed|program|compens", lambda v: chip.feed_for_chip_mm(v.h, _x(v), _k(v))), ready=_has_x, unless=MEAN),
    law("B1", "hm:mm=hm|h|h_m|mean; " + X + KAPPA,
        out("fz|f", "mm", "feed|program", lambda v: v.hm / (chip.mean_chip_handbook_mm(1.0, _x(v), 1.0) if v.q.says(HANDBOOK) else chip.mean_chip_mm(1.0, _x(v), 1.0, _k(v)))),
        ready=_has_x, when=MEAN),
    law("B1", FZ + X + KAPPA, out("hm", "mm", MEAN, lambda v: chip.mean_chip_mm(v.fz, _x(v), 1.0, _k(v))), ready=_has_x, when=MEAN, unless=HANDBOOK),
    law("B1", FZ + X, out("hm", "mm", MEAN, lambda v: chip.mean_chip_handbook_mm(v.fz, _x(v), 1.0)), ready=_has_x, when=HANDBOOK),
    law("B1", "h:mm=h|hmax|h_max|hex; fz:mm=fz|f|c|ft|feed_per_tooth;", out("x|ae/D", "1", "ae/D|radial|ratio|engage|immersion", lambda v: chip.ratio_for_chip(v.h, v.fz))),
    law("B1", "h:mm=h|hmax|h_max|hex; fz:mm=fz|f|c|ft; D:mm=D|d|Dc;", out("ae", "mm", "ae|radial|width|engage|immersion", lambda v: v.D * chip.ratio_for_chip(v.h, v.fz))),
    law("B1", FZ + "st:deg>rad=phi_st|phi_s|phi1; ex:deg>rad=phi_ex|phi_e|phi2;", out("hm", "mm", MEAN, lambda v: chip.mean_chip_arc_mm(v.fz, (v.st, v.ex)))),
    law("B1", FZ + "phi:deg>rad=phi|angle|theta;", out("h", "mm", "thick|chip", lambda v: chip.lead_chip_mm(v.fz, v.phi))),
    law("B1", FZ + "kappa:deg>rad=kappa|lead|kr|kapr|setting|lead_angle|entering_angle;",
        out("h", "mm", "thick|chip", lambda v: chip.lead_chip_mm(v.fz, v.kappa))),
    law("B1", "h:mm=h|hmax|hex; kappa:deg>rad=kappa|lead|kr|kapr|lead_angle;", out("fz", "mm", "feed", lambda v: v.h / math.sin(v.kappa))),
    law("B1", "D:mm=D|d|diameter|Dc; ?R:mm=R; ap:mm=ap|a|depth|a_p|t; ?tilt:deg>rad=tilt|beta|lead|tilt_angle;",
        out("Deff|D_eff|De", "mm", "effective", lambda v: chip.ball_diameter_mm(v.D, v.ap) if v.tilt is None else chip.tilted_ball_diameter_mm(v.D, v.ap, v.tilt))),
    law("B1", "R:mm=R|r|radius; ap:mm=ap|a|depth|t;", out("Deff|D_eff", "mm", "effective", lambda v: chip.ball_diameter_mm(2 * v.R, v.ap))),
    law("B1", "D:mm=D|d|diameter; ap:mm=ap|a|depth|t; vc:m/min>mm/s=vc|v;",
        out("n", "rpm", "speed", lambda v: 60 * v.vc / (math.pi * chip.ball_diameter_mm(v.D, v.ap)))),
    law("B1", "D:mm=D|d|diameter; ap:mm=ap|a|depth|t; n:rpm=n|N|rpm;",
        out("vc", "m/min", "speed", lambda v: math.pi * chip.ball_diameter_mm(v.D, v.ap) * v.n / 1000)),
    law("B2", "R:mm=R|r|radius; s:mm=s|step|stepover|ae|step_over;", out("H|h", "mm", "scallop|cusp|height", lambda v: chip.cusp_mm(v.R, v.s)), unless="slope|inclin"),
    law("B2", "D:mm=D|d|diameter; s:mm=s|step|stepover|ae|step_over;", out("H|h", "mm", "scallop|cusp|height", lambda v: chip.cusp_mm(v.D / 2, v.s)), unless="flat|slope|inclin"),
    law("B2", "R:mm=R|r|radius; H:mm=H|h|height|scallop|cusp|Rt|Rth;", out("s|step", "mm", "step", lambda v: chip.cusp_step_mm(v.R, v.H))),
    law("B2", "D:mm=D|d|diameter; H:mm=H|h|height|scallop|cusp|Rt;", out("s|step", "mm", "step", lambda v: chip.cusp_step_mm(v.D / 2, v.H))),
    law("B2", "?R:mm=R|r|radius; ?D:mm=D|d|diameter; s:mm=s|step|stepover|ae; theta:deg>rad=theta|slope|angle|inclination|alpha;",
        out("H|h", "mm", "scallop|cusp|height", lambda v: chip.cusp_mm(v.R or v.D / 2, chip.slope_step_mm(v.s, v.theta))), unless="tilt", ready=lambda q, v: (v.R or v.D) is not None),
    law("B2", "?R:mm=R|r|radius; ?D:mm=D|d; H:mm=H|h|height|scallop|cusp; theta:deg>rad=theta|slope|angle|inclination|alpha;",
        out("s|step", "mm", "step", lambda v: chip.cusp_step_mm(v.R or v.D / 2, v.H) * math.cos(v.theta)), ready=lambda q, v: (v.R or v.D) is not None),
    law("B2", "s:mm=s|step|stepover; theta:deg>rad=theta|slope|angle;", out("s3", "mm", "step|surface|along", lambda v: chip.slope_step_mm(v.s, v.theta)), unless="tilt"),
    law("B2", "D:mm=D|d|diameter; r:mm=r|rc|corner|corner_radius|R|re; s:mm=s|step|stepover|ae;", out("H|h", "mm", "scallop|cusp|height", lambda v: chip.bull_cusp_mm(v.D, v.r, v.s))),
    law("B2", "D:mm=D|d|diameter; r:mm=r|rc|corner|corner_radius|R|re; H:mm=H|h|height|scallop|cusp;", out("s|step", "mm", "step", lambda v: chip.bull_step_mm(v.D, v.r, v.H))),
    law("B2", "?D:mm=D|d; tilt:deg>rad=tilt|t|theta|beta|angle|tilt_angle; s:mm=s|step|stepover|ae;", out("H|h", "mm", "cusp|height|scallop", lambda v: chip.tilted_flat_cusp_mm(v.s, v.tilt)), when="tilt"),
    law("B3", "f:mm=f|feed|fr|fn|s; r:mm=r|re|R|nose|nose_radius|r_eps;", out("Rt|H|Rmax|Rz|h", "mm", "peak|rt|rmax|valley|height", _peak), unless=r"\bRa\b|arithmetic|mean rough|average rough"),
    law("B3", "f:mm=f|feed|fr|fn|s; r:mm=r|re|R|nose|nose_radius|r_eps;", out("Ra", "mm", "Ra|arith", _ra), when=r"\bRa\b|arithmetic|mean rough|average rough"),
    law("B3", "f:mm=f|feed|fr; side:deg>rad=side_edge|Cs|side|psi|kappa_s; end:deg>rad=end_edge|Ce|end|kappa_e;",
        out("Rt|H|h", "mm", "peak|sharp|rough", lambda v: chip.sharp_peak_mm(v.f, v.side, v.end))),
    law("B3", "f:mm/min>mm/s=f|vf|feed|F|fm; D:mm=D|d|diameter; N:rpm=N|n|rpm; Z:1=Z|z|teeth;",
        out("Rt|H|h", "mm", "peak|rough", lambda v: chip.slab_peak_mm(v.f, v.D, v.N, int(v.Z)))),
    law("B3", "fz:mm=fz|f|ft; D:mm=D|d|diameter;", out("Rt|H|h", "mm", "peak|rough|slab|mill", lambda v: v.fz**2 / (4 * v.D)), when="mill|slab|tooth"),
]  # fmt: skip
