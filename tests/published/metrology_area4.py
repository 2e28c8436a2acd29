"""Area 4 by name: fits, registration, geometric tolerances."""

import math
from typing import Any

import numpy as np
from scipy.spatial.transform import Rotation

from halfthou.stats import fit_circle, fit_line, fit_plane, fit_solid, position, register
from tests.published.metrology_names import Answers, Given, Missing, rule


def points(g: Given, columns: int) -> Any:
    """Points (n, columns) from a list of rows, coordinate lists, or the file's x, y, z."""
    for name in ("points", "pts", "xyz", "xy", "data", "coordinates"):
        try:
            found = g.matrix(name)
        except Missing:
            continue
        if found.shape[1] >= columns:
            return found[:, :columns]
    names = "xyz"[:columns]
    if all(isinstance(g.inputs.get(c), list) for c in names):
        return np.column_stack([np.asarray(g.inputs[c], dtype=float) for c in names])
    rows = g.rows()
    keys = [next((k for k in rows[0] if k == c or k.startswith(c + "_")), "") for c in names]
    if not all(keys):
        raise Missing(f"columns {', '.join(names)}")
    return np.asarray([[r[k] for k in keys] for r in rows])


def _circle(fit: fit_circle.CircleFit) -> Answers:
    c = fit.centre
    out: Answers = {
        "center|centre|c": c, "radius|r": fit.radius, "diameter|d|D": 2 * fit.radius, "rms": fit.rms,
        "roundness|zone|form|form_error|roundness_ls|range|sphericity|width": fit.zone, "cx|x0|xc|center_x|x": float(c[0]),
        "cy|y0|yc|center_y|y": float(c[1]), "ss|sse|sum_square": float(fit.residuals @ fit.residuals),
        "max_residual|peak|p": float(fit.residuals.max()), "min_residual|valley|v": float(fit.residuals.min()),
        "s|sigma|sd": lambda: math.sqrt(float(fit.residuals @ fit.residuals) / max(1, len(fit.residuals) - len(c) - 1)),
        "u_center|u_centre": lambda: fit.std()[:-1], "u_r|u_radius": lambda: float(fit.std()[-1]),
        "sd_residuals|residual_sd": float(np.std(fit.residuals, ddof=1)), "max_abs_residual": float(np.max(np.abs(fit.residuals))),
    }  # fmt: skip
    if len(c) == 3:
        out["cz|z0|zc|center_z|z"] = float(c[2])
    return out


@rule(4, r"uncertainty.*(circle|arc)|arc")
def arc(g: Given) -> Answers:
    n, angle = g.whole("points", "n", "n_points"), g.num("arc", "angle", "sweep", unit="rad")
    if not g.has("arc_rad", "arc_deg", "angle_deg", "angle_rad", "sweep_deg", "sweep_rad"):
        angle = math.radians(angle)
    full = abs(angle - 2 * math.pi) < 1e-9
    ends = g.flag("endpoints_included", "ends", "endpoints", default=not full)
    ux, uy, ur = fit_circle.arc_std(
        angle, n, g.num("sigma_radial", "sigma", "s", "u", "u_point", default=1.0), ends=ends
    )
    return {
        "u_x|ux|u_cx": ux,
        "u_y|uy|u_cy": uy,
        "u_r|ur|u_radius": ur,
        "u_d|u_diameter": 2 * ur,
        "u_c": math.hypot(ux, uy),
    }


@rule(4, r"minimum.?(zone|circumscribed)|maximum.?inscribed|roundness")
def circle_zone(g: Given) -> Answers:
    if g.says("plane|flat|line|straight"):
        raise Missing("a circle")
    p = points(g, 2)
    if g.says("circumscribed|\\bmcc\\b"):
        return _circle(fit_circle.circumscribed(p))
    if g.says("inscribed|\\bmic\\b"):
        return _circle(fit_circle.inscribed(p))
    if g.says("least.?squares|\\bls\\b|\\blsc\\b"):
        return _circle(fit_circle.geometric(p))
    return _circle(fit_circle.minimum_zone(p)) | {"roundness_ls|zone_ls": lambda: fit_circle.geometric(p).zone}


@rule(4, r"circle|bore")
def circle(g: Given) -> Answers:
    p = points(g, 2)
    if g.says("algebraic|svd"):
        return _circle(fit_circle.algebraic(p))
    if g.says("linear|kasa|kåsa|coope"):
        return _circle(fit_circle.linear(p))
    return _circle(fit_circle.geometric(p))


@rule(4, r"sphere|10360|probing")
def sphere(g: Given) -> Answers:
    return _circle(fit_solid.sphere(points(g, 3))) | {
        "P_form|PFTU|P_F|probing_form": lambda: fit_solid.sphere(points(g, 3)).zone
    }


@rule(4, r"cylinder")
def cylinder(g: Given) -> Answers:
    fit = fit_solid.cylinder(points(g, 3))
    slopes, foot = fit.slopes, fit.foot
    return {
        "x0|x": foot[0], "y0|y": foot[1], "slope_x|a|dxdz": slopes[0], "slope_y|b|dydz": slopes[1], "radius|r": fit.radius,
        "diameter|d": 2 * fit.radius, "direction|axis": fit.direction, "zone|cylindricity|form": fit.zone, "rms": fit.rms,
        "tilt_rad|angle_rad": math.atan(math.hypot(*slopes)), "point": fit.point,
    }  # fmt: skip


@rule(4, r"^(?!.*(perpend|parallel|angular)).*(\bline|straight)")
def line(g: Given) -> Answers:
    p = points(g, 2)
    fit = fit_line.orthogonal(p)
    width, normal = fit_line.narrowest(p)
    out: Answers = {
        "slope|b|m": fit.slope, "intercept|a": fit.intercept, "direction": fit.direction, "rms": fit.rms, "point|centroid": fit.point,
        "angle_rad": math.atan2(fit.direction[1], fit.direction[0]), "ss|sse": float(fit.residuals @ fit.residuals),
        "straightness_ls|zone_ls": fit.zone, "straightness_mz|zone_mz|min_zone": width, "normal": normal,
    }  # fmt: skip
    return out | {"straightness|zone": width if g.says("minimum|\\bmz\\b|1101") else fit.zone}


@rule(4, r"^(?!.*(perpend|square|parallel|angular|inclin)).*(plane|flat)")
def plane(g: Given) -> Answers:
    p = points(g, 3)
    ls = fit_plane.least_squares(p)
    minimal = g.says(r"minimum|\bmz\b|minimax|chebyshev|zone") and not g.says(r"least.?squares|\bls\b")
    zone = fit_plane.minimum_zone(p)
    fit = zone if minimal else ls
    return {
        "flatness|zone|form": fit.zone, "flatness_ls|zone_ls|ls": ls.zone, "flatness_mz|zone_mz|mz|min_zone|flatness_min": zone.zone,
        "normal": fit.normal, "a|slope_x|sx": fit.slopes[0], "b|slope_y|sy": fit.slopes[1], "slopes": list(fit.slopes),
        "c|intercept|z0|height": fit.height, "rms": fit.rms, "coef|coefficients|plane": [*fit.slopes, fit.height],
        "s|sigma": math.sqrt(float(fit.residuals @ fit.residuals) / max(1, len(p) - 3)), "ss|sse": float(fit.residuals @ fit.residuals),
    }  # fmt: skip


@rule(4, r"regist|kabsch|umeyama|similar|rigid|align|best.?fit")
def registration(g: Given) -> Answers:
    truth = g.topic.lower()
    first = next((n for n in ("a", "x", "source", "p", "from", "points") if isinstance(g.inputs.get(n), list)), "")
    second = next((n for n in ("b", "y", "target", "q", "to", "measured") if isinstance(g.inputs.get(n), list)), "")
    if not first:
        raise Missing("points")
    a = g.matrix(first)
    if second:
        b = g.matrix(second)
    else:  # the second set is made from the stated motion
        if g.has("euler_xyz"):
            turn = Rotation.from_euler("xyz", g.many("euler_xyz", unit="rad")).as_matrix()
        elif g.has("rotvec"):
            turn = Rotation.from_rotvec(g.many("rotvec")).as_matrix()
        else:
            angle = g.num("angle", "rotation", unit="rad")
            turn = np.asarray([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
        b = g.num("scale", "c", "s", default=1.0) * a @ turn.T + np.asarray(g.many("t", "translation", "shift"))
    scaled = (
        ("scale" in truth or "similar" in truth or "umeyama" in truth)
        and "no scale" not in truth
        and "rigid" not in truth
    )
    found = register.register(a, b, scaled=scaled or g.flag("with_scale", "scaled"))
    out: Answers = {
        "t|translation|shift": found.shift, "angle_rad|rotation_rad": found.angle_rad, "scale|c|s": found.scale, "R|rotation": found.turn,
        "mse|mean_square|mean_square_error|ms_error": found.mean_square, "rms|rmse": math.sqrt(found.mean_square),
        "det": float(np.linalg.det(found.turn)),
    }  # fmt: skip
    if found.turn.shape == (3, 3):
        out["rotvec|rotation_vector"] = found.vector
    return out | {"angle_deg": math.degrees(found.angle_rad)}


def _datum(g: Given) -> list[float]:
    names = ("datum_normal", "normal", "datum", "axis")
    return g.many(*names) if g.has(*names) and not isinstance(g.find(names), str) else [0.0, 0.0, 1.0]


ZONE = "zone|deviation|value|error"


@rule(4, r"perpendicular|squareness")
def square(g: Given) -> Answers:
    if g.says("axis|bore|hole|pin"):
        return {f"{ZONE}|perpendicularity": fit_plane.square_axis_zone(points(g, 3), _datum(g))}
    return {f"{ZONE}|perpendicularity": fit_plane.square_zone(points(g, 3), _datum(g))}


@rule(4, r"parallel")
def parallel(g: Given) -> Answers:
    try:
        p = points(g, 3)
    except Missing:
        z = g.many("z", "heights", "distances", "values")
        p = np.column_stack([np.zeros(len(z)), np.zeros(len(z)), z])
    return {f"{ZONE}|parallelism": fit_plane.parallel_zone(p, _datum(g))}


@rule(4, r"angular|inclin")
def angular(g: Given) -> Answers:
    angle = g.num("angle", unit="rad")
    if not g.has("angle_rad", "angle_deg"):
        angle = math.radians(angle)
    normal = [math.sin(angle), 0.0, math.cos(angle)]
    return {f"{ZONE}|angularity": fit_plane.angle_zone(points(g, 3), normal)}


@rule(4, r"position|bonus|mmc|concentric|coaxial")
def true_position(g: Given) -> Answers:
    if g.has("dx", "delta_x", "x_dev"):
        dx, dy = g.num("dx", "delta_x", "x_dev"), g.num("dy", "delta_y", "y_dev")
    else:
        actual, nominal = g.many("actual", "measured", "xy"), g.many("nominal", "target", "basic")
        dx, dy = (a - b for a, b in zip(actual, nominal, strict=False))
    found = position.position(dx, dy, g.num("dz", "delta_z", default=0.0))
    out: Answers = {"position|true_position|tp|deviation|position_dia|value": found, "radial|r": 0.5 * found}
    tolerance = ("tolerance_at_mmc", "tolerance", "tol", "t", "position_tolerance")
    if not g.has(*tolerance):
        return out
    tol, extra = g.num(*tolerance), 0.0
    mmc, actual_size = ("mmc_size", "mmc", "size_mmc"), ("actual_size", "actual", "size")
    if g.has(*mmc) and g.has(*actual_size):
        hole = not g.says(r"\bpin\b|shaft|boss|stud|external|tab")
        extra = position.bonus(g.num(*actual_size), g.num(*mmc), hole=hole)
    return out | {
        "bonus": extra, "allowed|total_tolerance|total|limit": tol + extra,
        "accept|pass|ok|conforms": found <= tol + extra + 1e-12, "margin": tol + extra - found,
    }  # fmt: skip


@rule(4, r"virtual|boundary|resultant")
def virtual(g: Given) -> Answers:
    out: Answers = {}
    hole, pin = ("hole_mmc", "hole", "hole_size"), ("pin_mmc", "pin", "shaft_mmc", "pin_size")
    hole_tol = (
        "position_mmc",
        "hole_position_mmc",
        "hole_position",
        "hole_tol",
        "hole_tolerance",
        "hole_position_tolerance",
    )
    pin_tol = (
        "pin_position_mmc",
        "pin_position",
        "pin_tol",
        "pin_tolerance",
        "shaft_position_mmc",
        "pin_position_tolerance",
    )
    if g.has(*hole):
        out["hole_vc|vc_hole|hole_virtual"] = position.virtual_condition(
            g.num(*hole), g.num(*hole_tol, "tolerance"), hole=True
        )
    if g.has(*pin):
        out["pin_vc|vc_pin|pin_virtual"] = position.virtual_condition(
            g.num(*pin), g.num(*pin_tol, "tolerance", "position_mmc"), hole=False
        )
    if len(out) == 2:
        a, b = out.values()
        out |= {"worst_clearance|clearance|gap": a - b, "assembles|fits|ok": a >= b}
    if not out:
        size, tol = g.num("mmc", "mmc_size"), g.num("tolerance", "position", "tol", "tolerance_at_mmc")
        out["vc|virtual_condition"] = position.virtual_condition(size, tol, hole=not g.says(r"\bpin\b|shaft|boss"))
    elif len(out) == 1:
        out["vc|virtual_condition"] = next(iter(out.values()))
    return out


@rule(4, r"fastener|floating|fixed|bolt|screw")
def fastener(g: Given) -> Answers:
    h, f = (
        g.num("hole_mmc", "hole", "H", "hole_size"),
        g.num("fastener_mmc", "fastener", "F", "bolt", "screw", "fastener_size"),
    )
    floating, fixed = position.floating_fastener(h, f), position.fixed_fastener(h, f)
    return {
        "floating|T_floating|t_floating|floating_T|floating_each": floating, "fixed|T_fixed|t_fixed|fixed_T|fixed_each": fixed,
        "T|t|tolerance|position|position_tolerance|each": fixed if g.says("fixed") and not g.says("floating") else floating,
    }  # fmt: skip


@rule(4, r"touch|probe|centre|center")
def touches(g: Given) -> Answers:
    tip = 0.0
    if not g.flag("tip_already_compensated", "compensated", default=not g.has("tip_diameter", "tip", "tip_radius")):
        tip = (
            g.num("tip_diameter", "tip_dia", "tip")
            if g.has("tip_diameter", "tip_dia", "tip")
            else 2 * g.num("tip_radius")
        )
    given = [g.num(n, n.replace("plus", "p").replace("minus", "m")) for n in ("x_plus", "x_minus", "y_plus", "y_minus")]
    cx, cy, dx, dy = fit_circle.centre_by_touches(*given, tip, bore=not g.says("boss|pin|stud"))
    return {
        "cx|center_x|x": cx, "cy|center_y|y": cy, "dia_x|dx|diameter_x": dx, "dia_y|dy|diameter_y": dy, "center|centre": [cx, cy],
        "dia|diameter|dia_mean": 0.5 * (dx + dy), "ovality|out_of_round": abs(dx - dy),
    }  # fmt: skip
