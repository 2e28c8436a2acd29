"""Area 5 by name: limits and fits, general tolerances, threads, holes."""

import math
import re

from halfthou.stats import general, limits, thread
from tests.published.metrology_names import Answers, Given, Missing, rule

SIZE = ("size", "nominal", "nominal_size", "diameter", "d", "D", "dia", "basic_size")
CLASS = ("zone", "class", "tolerance_class", "tolerance", "field", "code", "tol_class")


def _size(g: Given) -> float:
    return g.num(*SIZE, unit="mm")


@rule(5, r"286|limit dev|tolerance (class|zone)|deviation")
def limit_deviations(g: Given) -> Answers:
    z = limits.zone(g.word(*CLASS), _size(g))
    names = ("EI", "ES") if z.name[0].isupper() else ("ei", "es")
    return {
        f"lower_mm|low_mm|{names[0]}_mm|lower_dev_mm|lower_deviation_mm": z.lower_mm,
        f"upper_mm|high_mm|{names[1]}_mm|upper_dev_mm|upper_deviation_mm": z.upper_mm, "it_mm|IT_mm|tolerance_mm|width_mm": z.width_mm,
        "middle_mm|mean_mm": z.middle_mm, "min_size_mm|min_mm": z.size_mm + z.lower_mm, "max_size_mm|max_mm": z.size_mm + z.upper_mm,
    }  # fmt: skip


def _fit(found: limits.Fit) -> Answers:
    return {
        "max_clearance_mm|clearance_max_mm|cmax_mm": found.max_clearance_mm, "min_clearance_mm|clearance_min_mm|cmin_mm": found.min_clearance_mm,
        "max_interference_mm|interference_max_mm": -found.min_clearance_mm, "min_interference_mm|interference_min_mm": -found.max_clearance_mm,
        "kind|type|fit": found.kind,
    }  # fmt: skip


@rule(5, r"\bfit\b|clearance|interference")
def fit(g: Given) -> Answers:
    size = _size(g)
    if g.has("fit") and isinstance(g.find(["fit"]), str):
        hole, shaft = re.split(r"[/\-\s]+", g.word("fit").strip())[:2]
    else:
        hole, shaft = (
            g.word("hole", "hole_zone", "hole_class", "bore"),
            g.word("shaft", "shaft_zone", "shaft_class", "pin"),
        )
    return _fit(limits.fit(limits.zone(hole, size), limits.zone(shaft, size)))


@rule(5, r"bearing")
def bearing(g: Given) -> Answers:
    if g.has("housing_zone", "housing", "hole_zone"):
        size, ring = g.num("od", "outer", "D", "size", unit="mm"), g.many("od_dev", "ring_dev", "dev", unit="mm")
        z = limits.zone(g.word("housing_zone", "housing", "hole_zone"), size)
        return _fit(limits.fit_of(z.lower_mm, z.upper_mm, min(ring), max(ring)))
    size, ring = (
        g.num("bore", "id", "inner", "d", "size", unit="mm"),
        g.many("bore_dev", "id_dev", "ring_dev", "dev", unit="mm"),
    )
    z = limits.zone(g.word("shaft_zone", "shaft"), size)
    return _fit(limits.fit_of(min(ring), max(ring), z.lower_mm, z.upper_mm))


@rule(5, r"\bIT\b|grade|tolerance unit|standard tolerance")
def grades(g: Given) -> Answers:
    if g.has("over", "from") and g.has("up_to", "to", "upto"):
        over, top = g.num("over", "from"), g.num("up_to", "to", "upto")
        inside = math.sqrt(max(over, 1.0) * top)
    else:
        inside = _size(g)
        at = next(i for i, end in enumerate(limits.MAIN_MM) if inside <= end)
        over, top = (0, *limits.MAIN_MM)[at], limits.MAIN_MM[at]
    out: Answers = {"i_um|i|unit": limits.unit_um(over, top), "D": math.sqrt(max(over, 1.0) * top)}
    out |= {f"IT{n}|it{n}": 1000 * limits.grade_mm(n, inside) for n in limits.GRADES_UM}
    if g.has("grade", "IT", "it"):
        grade = g.find(["grade", "IT", "it"])
        number = int(re.sub(r"\D", "", str(grade)))
        out |= {"it_um|tolerance_um|value_um|IT|tolerance": 1000 * limits.grade_mm(number, inside)}
    return out


@rule(5, r"general|2768")
def general_tolerance(g: Given) -> Answers:
    found = re.search(r"class\s+([fmcvHKL])\b|2768-?([fmcv])([HKL])?|\b([fmcvHKL])\b\s*$", g.topic)
    letters = [v for v in (found.groups() if found else ()) if v]
    grade = g.word("class", "grade", "tolerance_class", default=letters[0] if letters else "m").removeprefix(
        "ISO 2768-"
    )
    names = ("sizes", "size", "nominal", "nominals", "lengths", "length", "dims", "dimensions", "leg", "shorter_leg")
    law = general.linear_mm
    if g.says("edge|radi|chamfer"):
        law = general.edge_mm
    elif g.says("angle|angular"):
        law = general.angle_rad
    elif g.says("flat|straight"):
        law, grade = general.flat_mm, grade.upper()
    elif g.says("perpend|square"):
        law, grade = general.square_mm, grade.upper()
    elif g.says("symmetr"):
        law, grade = general.symmetry_mm, grade.upper()
    single = not isinstance(g.find(names), list)
    values = [law(grade, v) for v in g.many(*names, unit="mm")]
    answer = values[0] if single else values
    key = "plus_minus|tolerance|tol|pm|deviation|value|limits|t"
    if law is general.angle_rad:
        degrees = [math.degrees(v) for v in values]
        minutes = [60 * v for v in degrees]
        return {
            "plus_minus_deg|plus_minus|tolerance_deg|tol_deg|deg": degrees[0] if single else degrees,
            "plus_minus_min|minutes|tolerance_min|arcmin|plus_minus_arcmin": minutes[0] if single else minutes,
        }  # fmt: skip
    return {"|".join(f"{name}_mm|{name}" for name in key.split("|")): answer}


def _pitch(g: Given) -> float:
    """Pitch, from threads an inch if need be (unit of the diameter, inch)."""
    if g.has("tpi", "TPI", "threads_per_inch", "n_tpi", "N"):
        return 1.0 / g.num("tpi", "TPI", "threads_per_inch", "n_tpi", "N")
    return g.num("pitch", "P", "p")


MAJOR = ("d", "major", "D", "major_dia", "nominal", "major_diameter", "size")


@rule(5, r"basic dimension|thread")
def thread_dimensions(g: Given) -> Answers:
    d, p = g.num(*MAJOR), _pitch(g)
    return {
        "pitch_dia|d2|pitch_diameter|E|D2": thread.pitch_diameter(d, p), "H": thread.HEIGHT_RATIO * p,
        "minor_dia|minor_dia_internal|D1|d1|minor_internal|minor_diameter": thread.minor_diameter(d, p),
        "root_dia|d3|minor_dia_external|minor_external": thread.root_diameter(d, p), "stress_area|As": thread.stress_area(d, p),
        "tap_drill|drill|tap_drill_metric": d - p, "best_wire|wire": thread.best_wire(p), "pitch|P": p,
    }  # fmt: skip


@rule(5, r"percent|engagement")
def percent(g: Given) -> Answers:
    d, p = g.num(*MAJOR), _pitch(g)
    names = ("drill", "drill_dia", "tap_drill", "hole", "minor", "bore")
    if not g.has(*names):
        return {"drill|tap_drill|drill_dia": thread.drill_for_percent(d, p, g.num("percent", "pct", "percent_thread"))}
    drill = g.num(*names)
    shop, basic = thread.percent_of_thread(d, drill, p), thread.percent_of_basic_height(d, drill, p)
    both = {"percent_shop|shop": shop, "percent_basic|basic": basic}
    asked = basic if g.says(r"basic.?height|5/8|1\.0825|internal height") else shop
    return both | {"percent|pct|percent_thread|thread_percent": asked}


@rule(5, r"wire")
def wires(g: Given) -> Answers:
    p = _pitch(g)
    best = thread.best_wire(p)
    wire = g.num("wire", "w", "wire_dia", "wire_diameter", default=best)
    out: Answers = {"best_wire|wire|w": best}
    measured = ("over_wires", "M", "measured", "measurement")
    if g.has(*measured):
        return out | {"pitch_dia|E|d2|pitch_diameter": thread.pitch_diameter_from_wires(g.num(*measured), p, wire)}
    pitch_dia = g.num("pitch_dia", "E", "d2", "pitch_diameter", default=math.nan)
    if math.isnan(pitch_dia):
        pitch_dia = thread.pitch_diameter(g.num(*MAJOR), p)
    return out | {
        "over_wires|M|measurement|measurement_over_wires": thread.over_wires(pitch_dia, p, wire),
        "pitch_dia": pitch_dia,
    }


@rule(5, r"countersink|csk|chamfer|drill point|spot")
def countersink(g: Given) -> Answers:
    angle = g.num("angle", "included_angle", "point_angle", unit="rad")
    if not any(re.search(r"angle.*_(deg|rad)$", key) for key in g.inputs):
        angle = math.radians(angle)
    if g.says("point") and g.has("diameter", "dia", "D", "d"):
        return {"length|point_length|depth|point": thread.point_length(g.num("diameter", "dia", "D", "d"), angle)}
    hole = g.num("hole_dia", "hole", "d", "minor_dia", "small_dia", "drill", "hole_d", default=0.0)
    if g.has("depth"):
        return {"major_dia|D|diameter|head_dia": thread.countersink_diameter(g.num("depth"), hole, angle)}
    major = ("major_dia", "head_dia", "D", "major", "countersink_dia", "csk_dia", "large_dia", "diameter")
    if not g.has(*major):
        raise Missing("major_dia")
    return {"depth|z|csk_depth": thread.countersink_depth(g.num(*major), hole, angle)}
