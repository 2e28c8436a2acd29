"""Spellings of the time and motion questions (formulas F1–F4)."""

import math
from typing import Any

import numpy as np

from halfthou.physics import drive
from halfthou.physics import feed_time as ft
from tests.published.mechanics_engine import Law, law, out

LEN = "L:mm=L|l|length|Lw|lw;"
LIMITS = (
    "h:mm=h|L|s|distance|x|dx|l|d|length; ?v0:mm/s=v0|vs|v_start|vi|v_0|v_in(0); ?v1:mm/s=v1|ve|v_end|vf|v_1|v_out(0);"
    "vmax:mm/s=vmax|v|F|feed|v_max|f|V|rapid; a:mm/s2=amax|a|a_max|acc|accel|A;"
)
JERK = LIMITS + "j:mm/s3=jmax|j|j_max|jerk|J;"
BOOK = r"0\.99|book rule|not time-optimal"
PEAK = r"peak speed|maximum speed|speed reached|reached speed|top speed"
FACE = r"\bface|fac(e|ing) mill"


def _approach(v: Any) -> float:
    q = v.q
    if q.says(FACE):
        if q.says("full D|offset|full diameter|one side"):
            return float(v.D)
        width = getattr(v, "w", None)
        return ft.face_approach_mm(width, v.D) if width is not None and q.says("exact") else float(v.D / 2)
    if q.says(r"sqrt\(D ?\*? ?d\)|√\(D ?d\)"):
        return ft.side_approach_long_mm(v.d, v.D)
    return ft.side_approach_mm(v.d, v.D)


def _pass(v: Any) -> float:
    n = v.n if v.n is not None else ft.speed_rpm(v.v, v.D)
    return ft.pass_s(v.L, _approach(v) + (v.over or 0.0), ft.feed_mm_per_s(n, v.z, v.fz))


def _speed_of(v: Any) -> float:
    return float(v.n if v.n is not None else ft.speed_rpm(v.v, v.D))


MILLED = (
    LEN
    + "?w:mm=w|ae|width|b; D:mm=D|Dc|diameter; z:1=teeth|z|N|nt|Z|inserts; ?v:m/min>mm/s=v|vc|V|cutting_speed; ?n:rpm=n|N|rpm|speed;"
    "fz:mm=fz|f|ft|c; ?d:mm=d|ap|depth; ?over:mm=overrun|over|O;"
)
PASSES: list[Law] = [
    law("F1", MILLED,
        out("t|Tm|tm", "s", "time", _pass),
        out("A|approach", "mm", "approach", _approach),
        out("vf|fr", "mm/min", "feed rate|table feed|feed speed", lambda v: 60 * ft.feed_mm_per_s(_speed_of(v), v.z, v.fz)),
        out("Q|MRR", "mm3/min", "remov", lambda v: 60 * v.w * v.d * ft.feed_mm_per_s(_speed_of(v), v.z, v.fz)),
        out("N|n", "rpm", "spindle|rotat|speed", _speed_of),
        ready=lambda q, v: v.n is not None or v.v is not None),
    law("F1", LEN + "?D:mm=D|d|Dc; ?d:mm=d|ap|depth|w|ae; ?w:mm=w|ae|width; vf:mm/min>mm/s=vf|v|F|fr|feed|f; ?over:mm=overrun|over|O;",
        out("t|Tm", "s", "time", lambda v: ft.pass_s(v.L, _approach(v) + (v.over or 0.0), v.vf)),
        ready=lambda q, v: v.D is not None and (v.d is not None or q.says(FACE))),
    law("F1", LEN + "y:mm=y|A|approach|A_approach|lc|la; ?over:mm=overrun|over|O|overtravel|x(0); vf:mm/min>mm/s=vf|v|F|fr|feed|f;",
        out("t|Tm", "s", "time", lambda v: ft.pass_s(v.L, v.y + v.over, v.vf))),
    law("F1", LEN + "vf:mm/min>mm/s=vf|v|F|fr|feed|f;", out("t|Tm", "s", "time", lambda v: ft.pass_s(v.L, 0.0, v.vf))),
    law("F1", LEN + "f:mm=f|fr|fn|feed; n:rpm=n|N|rpm|speed; ?over:mm=A|approach|overrun(0);", out("t|Tm", "s", "time", lambda v: ft.pass_s(v.L, v.over, v.f * v.n / 60))),
    law("F1", LEN + "f:mm=f|fr|fn|feed; v:m/min>mm/s=v|vc|V; D:mm=D|d|Do;", out("t|Tm", "s", "time", lambda v: ft.pass_s(v.L, 0.0, v.f * ft.speed_rpm(v.v, v.D) / 60))),
    law("F1", "D:mm=D|Dc|diameter; d:mm=d|ap|depth|w|ae;", out("A|approach", "mm", "approach", lambda v: _approach(v)), unless=FACE),
    law("F1", "D:mm=D|Dc|diameter; ?w:mm=w|ae|width|b;", out("A|approach", "mm", "approach", lambda v: _approach(v)), when=FACE),
    law("F1", "n:rpm=n|N|rpm|speed; z:1=z|teeth|Z|nt; fz:mm=fz|f|ft|c;", out("vf|F", "mm/min", "feed", lambda v: 60 * ft.feed_mm_per_s(v.n, v.z, v.fz))),
    law("F1", "v:m/min>mm/s=v|vc|V; D:mm=D|d; z:1=z|teeth|Z|nt; fz:mm=fz|f|ft|c;", out("vf|F", "mm/min", "feed", lambda v: 60 * ft.feed_mm_per_s(ft.speed_rpm(v.v, v.D), v.z, v.fz))),
    law("F1", "v:m/min>mm/s=v|vc|V|cutting_speed; D:mm=D|d|diameter;", out("n|N", "rpm", "speed", lambda v: ft.speed_rpm(v.v, v.D))),
]  # fmt: skip


def _double(v: Any) -> tuple[float, float, float, float]:
    """(up, hold, down, peak) of the time-optimal double-S."""
    peak = drive.peak_mm_per_s(v.h, v.v0, v.v1, v.vmax, v.a, v.j)
    up, down = drive.ramp_s(abs(peak - v.v0), v.a, v.j), drive.ramp_s(abs(peak - v.v1), v.a, v.j)
    return up, drive.move_s(v.h, v.v0, v.v1, v.vmax, v.a, v.j) - up - down, down, peak


def _book(v: Any) -> tuple[float, float, float, float]:
    return ft.book_double_s(v.h, v.v0, v.v1, v.vmax, v.a, v.j)


UP, HOLD, DOWN = (
    r"acceleration (phase|time)|\bTa\b|speed(ing)? up",
    r"cruise|constant|\bTv\b|hold",
    r"decel|\bTd\b|slow(ing)? down",
)


def _phases(shape: Any) -> tuple[Any, ...]:
    return (
        out("T|t", "s", r"total|duration|time", lambda v: sum(shape(v)[:3])),
        out("Ta", "s", UP, lambda v: shape(v)[0]), out("Tv", "s", HOLD, lambda v: shape(v)[1]),
        out("Td", "s", DOWN, lambda v: shape(v)[2]), out("vp|vlim", "mm/s", PEAK + "|speed", lambda v: shape(v)[3]),
    )  # fmt: skip


def _trapezoid(v: Any) -> tuple[float, float, float, float]:
    peak = ft.trapezoid_peak_mm_per_s(v.h, v.v0, v.v1, v.vmax, v.a)
    up, down = (peak - v.v0) / v.a, (peak - v.v1) / v.a
    return up, ft.trapezoid_s(v.h, v.v0, v.v1, v.vmax, v.a) - up - down, down, peak


def _chain(v: Any) -> tuple[float, list[float]]:
    """Look-ahead over blocks: total time and speeds at their ends."""
    h = np.array(v.L, dtype=float)
    n = len(h)

    def each(value: Any, size: int) -> Any:
        return np.array(value if isinstance(value, list) else [value] * size, dtype=float)

    corner = each(v.vj if v.vj is not None else 1e18, n + 1)
    if isinstance(v.vj, list):
        corner = np.array([0.0, *v.vj, 0.0] if len(v.vj) == n - 1 else v.vj, dtype=float)
    else:
        corner[0] = corner[-1] = 0.0
    if v.v0 is not None:
        corner[0] = v.v0
    if v.v1 is not None:
        corner[-1] = v.v1
    jerk = each(v.j if v.j is not None else 0.0, n)
    times, peaks, speeds = np.zeros(n), np.zeros(n), np.zeros(n + 1)
    speeds[0] = corner[0]
    drive.look_ahead(h, each(v.vmax, n), each(v.a, n), jerk, corner, times, peaks, speeds)
    return float(times.sum()), [float(s) for s in speeds]


BLOCKS = (
    "L:mm=L|lengths|h|segments|blocks|s; vmax:mm/s=vmax|v|F|feed|v_max|f; a:mm/s2=a|amax|a_max|acc; ?j:mm/s3=j|jmax|jerk;"
    "?vj:mm/s=vj|v_corner|corner|v_junction|vc|junction; ?v0:mm/s=v0|v_start; ?v1:mm/s=v1|v_end;"
)
MOVES: list[Law] = [
    law("F2", JERK, *_phases(_double), unless=BOOK),
    law("F2", JERK, *_phases(_book), when=BOOK),
    law("F2", LIMITS, *_phases(_trapezoid)),
    law("F2", "h:mm=h|L|s|distance|x|dx|l; a:mm/s2=a|amax|a_max|acc;", out("t|T", "s", "time", lambda v: 2 * math.sqrt(v.h / v.a)),
        out("v|vp", "mm/s", "speed", lambda v: math.sqrt(v.h * v.a))),
    law("F2", "h:mm=h|L|s|distance|x|dx|l; j:mm/s3=j|jmax|jerk|j_max;", out("t|T", "s", "time", lambda v: ft.jerk_rest_to_rest_s(v.h, v.j))),
    law("F2", "dx:mm=dx|s|h|L|distance; dt:s=dt|t|T|time;", out("v|vp", "mm/s", "speed|velocity", lambda v: ft.thirds_speed(v.dx, v.dt)),
        out("a", "mm/s2", "accel", lambda v: ft.thirds_accel(v.dx, v.dt))),
    law("F2", "j:mm/s3=j|jmax|jerk; a:mm/s2=a|amax|a_max; hold:s=t_hold|hold|t|tv;", out("v", "mm/s", "speed|velocity", lambda v: ft.ramp_speed(v.a, v.j, v.hold))),
    law("F2", "dv:mm/s=dv|v|dV; a:mm/s2=a|amax|a_max; j:mm/s3=j|jmax|jerk;", out("t|T", "s", "time", lambda v: drive.ramp_s(v.dv, v.a, v.j)),
        out("s", "mm", "distance", lambda v: drive.ramp_mm(0.0, v.dv, v.a, v.j))),
    law("F2", "v0:mm/s=v0|va|v_a; v1:mm/s=v1|vb|v_b; a:mm/s2=a|amax|a_max; ?j:mm/s3=j|jmax|jerk(0);", out("t|T", "s", "time", lambda v: drive.ramp_s(abs(v.v1 - v.v0), v.a, v.j)),
        out("s", "mm", "distance", lambda v: drive.ramp_mm(v.v0, v.v1, v.a, v.j))),
    law("F3", "r:mm=r|R|radius; a:mm/s2=a|a_n|an|amax|acc;", out("v", "mm/s", "feed|speed", lambda v: drive.arc_mm_per_s(v.a, v.r))),
    law("F3", "r:mm=r|R|radius; j:mm/s3=j|jmax|jerk;", out("v", "mm/s", "feed|speed|jerk", lambda v: ft.jerk_arc_mm_per_s(v.j, v.r))),
    law("F3", "r:mm=r|R|radius; a:mm/s2=a|a_n|an|amax; j:mm/s3=j|jmax|jerk;", out("v", "mm/s", "feed|speed", lambda v: min(drive.arc_mm_per_s(v.a, v.r), ft.jerk_arc_mm_per_s(v.j, v.r)))),
    law("F3", "a:mm/s2=a|amax|a_n; d:mm=dev|d|tol|tolerance|delta|e|deviation|eps; t:deg>rad=angle_between_segments|theta|angle|t|between;",
        out("v", "mm/s", "speed|feed|corner", lambda v: drive.corner_mm_per_s(v.a, v.d, -math.cos(v.t)))),
    law("F3", "a:mm/s2=a|amax|a_n; d:mm=dev|d|tol|tolerance|delta|e|deviation|eps; t:deg>rad=turn|deflection|turn_angle|direction_change|change;",
        out("v", "mm/s", "speed|feed|corner", lambda v: drive.corner_mm_per_s(v.a, v.d, math.cos(v.t)))),
    law("F3", "d:mm=dev|d|tol|tolerance|delta|e; t:deg>rad=angle_between_segments|theta|angle|t;", out("R|r", "mm", "radius", lambda v: ft.corner_radius_mm(v.d, v.t))),
    law("F3", "a:mm/s2=a|amax|a_n; L:mm=L|l|chord|length|seg|segment; e:mm=e|err|error|tol|chord_error|dev;", out("v", "mm/s", "speed|feed|chord", lambda v: drive.chord_mm_per_s(v.a, v.L, v.e))),
    law("F3", "R:mm=R|r|radius; e:mm=e|err|error|tol|chord_error|dev;", out("L", "mm", "chord|length|segment", lambda v: math.sqrt(8 * v.R * v.e))),
    law("F3", "R:mm=R|r|radius; L:mm=L|l|chord|length;", out("e", "mm", "error|sag|deviation", lambda v: ft.chord_error_mm(v.L, v.R))),
    law("F4 F2", BLOCKS, out("t|T", "s", "time|total", lambda v: _chain(v)[0]), out("v", "mm/s", "speed|junction|entry", lambda v: _chain(v)[1]),
        ready=lambda q, v: isinstance(v.L, list)),
    law("F4", "v1:mm/s=v1|v_next|v_end|vi1|v_exit; a:mm/s2=a|amax; L:mm=L|h|s|length;", out("v", "mm/s", "speed|entry", lambda v: math.sqrt(v.v1**2 + 2 * v.a * v.L))),
]  # fmt: skip

MOTION_LAWS: list[Law] = PASSES + MOVES
