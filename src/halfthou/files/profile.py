"""A tool's typed measures into its turned profile: cutting part, neck, shank, holder, spindle nose."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.limits import CHORD_MM
from halfthou.nouns.tool import Zone

Pair = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Measures:
    """What the profile is made of, mm and rad. holder: (low radius, high radius, length) from the lower face up."""

    kind: str
    diameter_mm: float
    corner_mm: float = 0.0
    point_rad: float = 0.0
    tip_diameter_mm: float = 0.0
    cutting_mm: float = 0.0
    neck_diameter_mm: float | None = None
    neck_mm: float = 0.0
    shank_diameter_mm: float = 0.0
    stick_out_mm: float = 0.0
    gauge_length_mm: float = 0.0
    holder: tuple[tuple[float, float, float], ...] = ()
    nose_diameter_mm: float | None = None
    nose_length_mm: float | None = None


class _Line:
    """A profile being drawn upwards."""

    def __init__(self) -> None:
        self.points: list[Pair] = [(0.0, 0.0)]
        self.zones: list[int] = []

    def to(self, radius: float, height: float, zone: Zone) -> None:
        height = max(height, self.points[-1][1])  # measures may disagree within the rounding that is let through
        if abs(radius - self.points[-1][0]) < 1e-9 and abs(height - self.points[-1][1]) < 1e-9:
            return
        self.points.append((radius, height))
        self.zones.append(int(zone))


def round_outside(flat: float, corner: float, *, upper: bool = False, chord_mm: float = CHORD_MM) -> list[Pair]:
    """Polyline round a quarter circle, centre (flat, corner): sides touch it, so it is nowhere inside the true form.

    It stands off by at most chord_mm (corners of the polyline; the sides touch). upper: the quarter above the centre.
    Formula: a side that touches at both sides of an angle d has its corners at corner/cos(d/2) (plane trigonometry).
    """
    half = math.acos(corner / (corner + chord_mm))
    n = max(1, math.ceil(math.pi / 2 / (2 * half)))
    half = math.pi / 4 / n
    far = corner / math.cos(half)
    start = 0.0 if upper else -math.pi / 2
    points = []
    for k in range(n):
        angle = start + (2 * k + 1) * half
        points.append((flat + far * math.cos(angle), corner + far * math.sin(angle)))
    if not upper:
        points[0] = (points[0][0], 0.0)  # the first side lies in the face of the tool
        points[-1] = (flat + corner, points[-1][1])
    else:
        points[0] = (flat + corner, points[0][1])
        points[-1] = (points[-1][0], 2 * corner)
    return points


def cutting_problem(m: Measures) -> str:
    """Why these measures make no tool, or an empty text."""
    r = m.diameter_mm / 2
    if m.corner_mm > r + 1e-9:
        return f"corner radius {m.corner_mm:g} mm is more than half the diameter {m.diameter_mm:g} mm"
    if m.kind == "bull" and m.corner_mm <= 0:
        return "a bull-nose tool needs its corner radius"
    if m.neck_diameter_mm is not None and m.neck_diameter_mm > m.diameter_mm + 1e-9:
        return f"the neck, {m.neck_diameter_mm:g} mm, is wider than the cutting part, {m.diameter_mm:g} mm"
    if m.tip_diameter_mm > m.diameter_mm + 1e-9:
        return "the flat at the tip is wider than the tool"
    low = {"ball": r, "probe": 0.0}.get(m.kind, m.corner_mm)
    if m.kind in ("drill", "spot", "chamfer", "countersink"):
        low = cone_height(m)
    if m.cutting_mm < low - 1e-6:
        return f"cutting length {m.cutting_mm:g} mm is shorter than the tip form, {low:g} mm high"
    if m.stick_out_mm < m.cutting_mm - 1e-6:
        return f"stick-out {m.stick_out_mm:g} mm is shorter than the cutting length {m.cutting_mm:g} mm"
    if m.cutting_mm + m.neck_mm > m.stick_out_mm + 1e-6:
        return "cutting length and neck together are longer than the stick-out"
    if m.gauge_length_mm < m.stick_out_mm - 1e-6:
        return f"gauge length {m.gauge_length_mm:g} mm is shorter than the stick-out {m.stick_out_mm:g} mm"
    if m.kind == "probe" and m.stick_out_mm < m.diameter_mm:
        return f"stick-out {m.stick_out_mm:g} mm is shorter than the ball, {m.diameter_mm:g} mm"
    if m.kind == "dovetail" and m.point_rad >= math.pi / 2:
        return "the angle of a dovetail cutter is the one between end face and flank, below 90 degrees"
    if m.kind == "dovetail" and r - m.cutting_mm / math.tan(m.point_rad) <= 0:
        return "a dovetail cutter of this angle and cutting length has no neck left"
    tall = m.stick_out_mm + sum(piece[2] for piece in m.holder)
    if m.holder and tall > m.gauge_length_mm + 0.01:
        return f"stick-out and holder, {tall:g} mm, reach above the gauge line at {m.gauge_length_mm:g} mm"
    return ""


def cone_height(m: Measures) -> float:
    """Height of the point of a drill, spot, chamfer or countersink tool."""
    if m.point_rad >= math.pi - 1e-9:
        return 0.0
    return (m.diameter_mm - m.tip_diameter_mm) / 2 / math.tan(m.point_rad / 2)


def profile_of(m: Measures) -> tuple[NDArray[np.float64], NDArray[np.uint8]]:
    """(profile f8 (n,2), zone u1 (n-1,)) as in `Tool`; `cutting_problem` must have found nothing.

    Rounds are polylines outside the true form by at most CHORD_MM, never inside it.
    """
    line = _Line()
    _cutting(line, m)
    if m.kind != "probe":
        shank = m.shank_diameter_mm / 2
        if m.neck_diameter_mm is not None and m.neck_mm > 0:
            neck = m.neck_diameter_mm / 2
            line.to(neck, m.cutting_mm, Zone.NECK)
            line.to(neck, m.cutting_mm + m.neck_mm, Zone.NECK)
        line.to(shank, line.points[-1][1], Zone.SHANK)
        line.to(shank, m.stick_out_mm, Zone.SHANK)
    height = m.stick_out_mm
    for k, (low, high, length) in enumerate(m.holder):
        top = m.gauge_length_mm if k == len(m.holder) - 1 and low == high else min(height + length, m.gauge_length_mm)
        line.to(low, height, Zone.HOLDER)
        line.to(high, top, Zone.HOLDER)
        height = top
    if m.holder and height < m.gauge_length_mm - 1e-9:
        line.to(m.holder[-1][1], m.gauge_length_mm, Zone.HOLDER)
    if not m.holder:  # nothing stated above the stick-out: the last radius goes on, so that heights stay right
        line.to(line.points[-1][0], m.gauge_length_mm, Zone(line.zones[-1]))
    if m.nose_diameter_mm and m.nose_length_mm:
        line.to(m.nose_diameter_mm / 2, m.gauge_length_mm, Zone.NOSE)
        line.to(m.nose_diameter_mm / 2, m.gauge_length_mm + m.nose_length_mm, Zone.NOSE)
    return np.array(line.points), np.array(line.zones, dtype=np.uint8)


def _cutting(line: _Line, m: Measures) -> None:
    """Tip to the end of the cutting part."""
    r = m.diameter_mm / 2
    if m.kind == "probe":
        stem = (m.neck_diameter_mm or m.diameter_mm) / 2
        for point in round_outside(0.0, r):
            line.to(*point, Zone.STYLUS)
        for point in round_outside(0.0, r, upper=True):
            if point[0] > stem:
                line.to(*point, Zone.STYLUS)
        line.to(stem, line.points[-1][1], Zone.STYLUS)
        line.to(stem, m.stick_out_mm, Zone.STYLUS)
        return
    if m.kind in ("drill", "spot", "chamfer", "countersink"):
        line.to(m.tip_diameter_mm / 2, 0.0, Zone.CUTTING)
        line.to(r, cone_height(m), Zone.CUTTING)
    elif m.kind == "dovetail":
        line.to(r, 0.0, Zone.CUTTING)
        line.to(r - m.cutting_mm / math.tan(m.point_rad), m.cutting_mm, Zone.CUTTING)
        return
    else:
        corner = r if m.kind == "ball" else m.corner_mm
        if corner > 0:
            for point in round_outside(r - corner, corner):
                line.to(*point, Zone.CUTTING)
        else:
            line.to(r, 0.0, Zone.CUTTING)
    line.to(r, m.cutting_mm, Zone.CUTTING)
