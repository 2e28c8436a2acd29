"""Arcs: centre and sweep from what the block says, with the tolerances of the report.

Source: NISTIR 6556, 3.5.3; mill: common practice, from memory; spiral arcs are our decision (language reference 10.4).
"""

import math

from halfthou.base.limits import ARC_ENDS_INCH, ARC_ENDS_MM, SAME_POINT_MM
from halfthou.base.units import MM_PER_INCH
from halfthou.nc.block import Said
from halfthou.nc.fault import Fault
from halfthou.nc.run import Run
from halfthou.nc.state import Vec, turned

PLANES = {170: (0, 1, 2), 180: (2, 0, 1), 190: (1, 2, 0)}
LETTERS = "IJK"
AXES = "XYZ"
MILL_WARN_ONLY_MM = 0.02
MILL_WARN_ONLY_INCH = 0.001
FULL = 2 * math.pi


def arc_of(run: Run, said: Said, clockwise: bool, given: list[str], target: Vec) -> tuple[Vec, int, float]:
    """Centre (three coordinates), normal axis and signed sweep of the arc from the programmed position to `target`.

    given: the axis letters on the block. Raises Fault.
    """
    first, second, third = PLANES[run.modal.plane]
    name = "G2" if clockwise else "G3"
    offsets = [letter for letter in LETTERS if said.has(letter)]
    if said.has("R"):
        if offsets:
            raise Fault("arc-mixed-format", f"{name} with R and {offsets[0]}", word=said.text("R"),
                        why="some controls use R, others the centre", do="keep one of the two forms")  # fmt: skip
        return _by_radius(run, said, clockwise, given, target)
    if not offsets:
        raise Fault("arc-missing-centre", f"{name} without centre or radius", word=name, do="add I and J, or R")
    ends = [AXES[k] for k in (first, second) if AXES[k] in given]
    if not ends and (run.strict or (given and AXES[third] not in given)):
        raise Fault("arc-missing-end", f"{name} without an end point in its plane", word=name)
    centre = _centre(run, said, offsets)
    return centre, third, _sweep(run, clockwise, run.modal.pos, target, centre, (first, second))


def _centre(run: Run, said: Said, offsets: list[str]) -> Vec:
    first, second, third = PLANES[run.modal.plane]
    absolute = run.modal.arc_centre == 901
    values = {}
    for letter in offsets:
        k = LETTERS.index(letter)
        if k == third:
            if run.strict or said.values[letter] != 0.0:
                raise Fault("unused-word", f"{letter} is not in the plane of this arc", word=said.text(letter))
            said.take(letter)
            continue
        values[k] = said.length(letter) or 0.0
    if not values:
        raise Fault("arc-missing-centre", "the arc has no centre in its plane", word=said.text(offsets[0]))
    if absolute and len(values) < 2:
        raise Fault("arc-missing-centre", "an absolute arc centre needs both words of the plane")
    start = run.modal.pos
    centre = [start[0], start[1], start[2]]
    if absolute:
        for k in (first, second):
            centre[k] = values[k]
        if run.modal.rotated:
            centre[0], centre[1] = turned(run.modal, centre[0], centre[1])
        return centre
    offset = [values.get(k, 0.0) for k in range(3)]
    if run.modal.rotated:
        c, s = math.cos(run.modal.rotation_rad), math.sin(run.modal.rotation_rad)
        offset = [c * offset[0] - s * offset[1], s * offset[0] + c * offset[1], offset[2]]
    for k in (first, second):
        centre[k] = start[k] + offset[k]
    return centre


def _sweep(run: Run, clockwise: bool, start: Vec, target: Vec, centre: Vec, plane: tuple[int, int]) -> float:
    i, j = plane
    ax, ay = start[i] - centre[i], start[j] - centre[j]
    bx, by = target[i] - centre[i], target[j] - centre[j]
    r0, r1 = math.hypot(ax, ay), math.hypot(bx, by)
    inch = run.modal.units == 200
    unit = MM_PER_INCH if inch else 1.0
    allowed = ARC_ENDS_INCH * unit if inch else ARC_ENDS_MM
    if r0 < SAME_POINT_MM:
        raise Fault("arc-zero-radius", "the arc has radius zero", word="I", do="check I, J and K")
    away = abs(r0 - r1)
    if away > allowed + 1e-9:
        most = MILL_WARN_ONLY_INCH * unit if inch else MILL_WARN_ONLY_MM
        text = f"radius at the start {r0 / unit:.4f}, at the end {r1 / unit:.4f}: they differ by {away / unit:.4f}"
        if run.strict or away > most + 1e-9:
            raise Fault("arc-radius-mismatch", text, word="G2" if clockwise else "G3",
                        why="the end point does not lie on the arc", do="check the end point, I and J")  # fmt: skip
        run.warn("arc-radius-mismatch", text, why="controls differ in what they tolerate", key="small")
    gap = math.hypot(bx - ax, by - ay)
    sign = -1.0 if clockwise else 1.0
    if gap < SAME_POINT_MM:
        return sign * FULL
    if gap < allowed:
        run.warn("arc-nearly-closed", f"start and end of the arc are {gap / unit:.5f} apart: tiny arc or full turn?",
                 do="repeat the start point exactly for a full turn")  # fmt: skip
    turn = math.atan2(by, bx) - math.atan2(ay, ax)
    turn = turn % FULL if sign > 0 else -((-turn) % FULL)
    return turn if turn else sign * FULL


def _by_radius(run: Run, said: Said, clockwise: bool, given: list[str], target: Vec) -> tuple[Vec, int, float]:
    i, j, third = PLANES[run.modal.plane]
    name = "G2" if clockwise else "G3"
    if AXES[i] not in given and AXES[j] not in given:
        raise Fault("arc-missing-end", f"{name} with R needs an end point in its plane", word=name)
    radius = said.length("R") or 0.0
    inch = run.modal.units == 200
    allowed = ARC_ENDS_INCH * MM_PER_INCH if inch else ARC_ENDS_MM
    start = run.modal.pos
    dx, dy = target[i] - start[i], target[j] - start[j]
    chord = math.hypot(dx, dy)
    if chord < SAME_POINT_MM:
        raise Fault("arc-r-full-circle", f"{name} with R ends where it starts", word=said.text("R"),
                    why="the centre could lie anywhere", do="write the centre with I and J")  # fmt: skip
    if abs(radius) < SAME_POINT_MM:
        raise Fault("arc-zero-radius", "the arc has radius zero", word=said.text("R"))
    short = chord / 2 - abs(radius)
    if short > allowed + 1e-9:
        raise Fault("arc-radius-too-small", f"half the chord is longer than the radius by {short / run.modal.unit_mm:.4f}",
                    word=said.text("R"), do="check the end point and R")  # fmt: skip
    height = math.sqrt(max(radius * radius - chord * chord / 4, 0.0))
    right = clockwise == (radius > 0)
    side = -1.0 if right else 1.0
    centre = list(start)
    centre[i] = start[i] + dx / 2 - side * dy / chord * height
    centre[j] = start[j] + dy / 2 + side * dx / chord * height
    half = math.asin(min(1.0, chord / 2 / abs(radius)))
    size = 2 * half if radius > 0 else FULL - 2 * half
    degrees = math.degrees(size)
    if 165.0 <= degrees <= 195.0:
        run.warn("arc-r-near-semicircle", f"an arc of {degrees:.1f} degrees by radius: its centre is badly determined",
                 do="write the centre with I and J", word=said.text("R"))  # fmt: skip
    elif degrees > 345.0:
        run.warn("arc-r-near-full", f"an arc of {degrees:.1f} degrees by radius: its centre is badly determined",
                 do="write the centre with I and J", word=said.text("R"))  # fmt: skip
    return centre, third, -size if clockwise else size
