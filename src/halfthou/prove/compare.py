"""The machined part against the design: gouge and left-over of every surface, in mm, with the move that made it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from halfthou.base.finding import Finding
from halfthou.base.limits import DESIGN_MM
from halfthou.base.units import Display
from halfthou.base.watch import QUIET, Watch
from halfthou.nouns.moves import MoveList
from halfthou.nouns.part import Part
from halfthou.nouns.tool import Tool
from halfthou.prove.compare_corner import breaks_of, corners_of, explained
from halfthou.prove.compare_measure import FINE_MM, Material, deviations, gouges
from halfthou.prove.compare_points import Edges, Samples, edges, sample
from halfthou.prove.compare_words import Told, findings_of

F8 = NDArray[np.float64]
ALL_OF_IT = 0.95  # share of a surface's points left raw that makes it "not machined"
THREAD_KINDS = ("tap", "thread")


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Findings, the worst gouge and left-over per surface (both as positive mm), what was not judged, points measured."""

    findings: tuple[Finding, ...]
    worst: tuple[tuple[str, float, float], ...]
    not_checked: tuple[str, ...]
    points: int
    mm: F8 = field(default_factory=lambda: np.zeros(0))  # signed deviation per point, NaN where not measured
    samples: Samples | None = None


def compare(
    material: Material,
    part: Part,
    *,
    turn: F8,
    shift_mm: F8,
    moves: MoveList,
    tools: Mapping[int, Tool],
    op: int = -1,
    gouge_mm: float | None = None,
    left_over_mm: float | None = None,
    error_mm: float = 0.0,
    final: bool = True,
    watch: Watch = QUIET,
    show: Display | None = None,
) -> Comparison:
    """Compare what is left of a place's stock with the design lying at x_program = turn · x_design + shift_mm.

    material: inside(points) and makers(points) in program coordinates; makers are rows of `moves`. tools: by T number.
    gouge_mm, left_over_mm: limits where a surface states none (None: DESIGN_MM). error_mm: bound of the material.
    final False: an operation in between, only gouge is judged. Deviations within the limits are measured to 1e-4 mm,
    along the normal of the design; what lies between two points (0.5 to 2 mm apart) may be missed.
    """
    default_g = DESIGN_MM if gouge_mm is None else gouge_mm
    default_l = DESIGN_MM if left_over_mm is None else left_over_mm
    points, rims = sample(part), edges(part)
    by_index = {surface.index: surface for surface in part.surfaces}
    limit_g = np.array([_or(by_index[int(i)].gouge_mm, default_g) for i in points.surface])
    limit_l = np.array([_or(by_index[int(i)].left_over_mm, default_l) for i in points.surface])
    spot = points.point_mm @ turn.T + shift_mm
    normal = points.normal @ turn.T
    if final:
        mm = deviations(material, spot, normal, limit_g, limit_l, watch).mm
    else:
        mm = gouges(material, spot, normal, limit_g, watch)
    judged = _judge(material, part, points, rims, turn, shift_mm, mm, limit_g, limit_l, moves, tools)
    bound = FINE_MM + error_mm
    told = Told(part=part, moves=moves, op=op, spot=spot, bound_mm=bound, final=final, show=show or Display())
    found = findings_of(told, points, judged, limit_g, limit_l)
    return Comparison(
        findings=found,
        worst=_worst(part, points, judged),
        not_checked=_not_checked(
            part, points, judged, default_g, default_l, gouge_mm, left_over_mm, final, show or Display()
        ),
        points=len(spot),
        mm=mm,
        samples=points,
    )


def _or(own: float | None, default: float) -> float:
    return default if own is None else own


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Per point: mm (signed, NaN = belongs to a neighbour), what it is, which move and tool made it."""

    mm: F8
    kind: NDArray[np.int8]
    move: NDArray[np.int64]
    tool: NDArray[np.int64]


FINE, GOUGE, LEFT, RAW, CORNER, SMALL, BREAK, THREAD = range(8)


def _judge(
    material: Material,
    part: Part,
    points: Samples,
    rims: Edges,
    turn: F8,
    shift_mm: F8,
    mm: F8,
    limit_g: F8,
    limit_l: F8,
    moves: MoveList,
    tools: Mapping[int, Tool],
) -> Judged:
    """Sort every point beyond its limit into what it means."""
    kind = np.zeros(len(mm), dtype=np.int8)
    kind[mm < -limit_g - FINE_MM] = GOUGE
    kind[mm > limit_l + FINE_MM] = LEFT
    out = mm.copy()
    spot, normal = points.point_mm @ turn.T + shift_mm, points.normal @ turn.T
    rows = np.flatnonzero(kind)
    move = np.full(len(mm), -1, dtype=np.int64)
    tool = np.full(len(mm), -1, dtype=np.int64)
    if not len(rows):
        return Judged(mm=out, kind=kind, move=move, tool=tool)
    move[rows] = material.makers(spot[rows] + mm[rows, None] * normal[rows])
    known = rows[(move[rows] >= 0) & (move[rows] < len(moves.moves))]
    tool[known] = moves.moves["tool"][move[known]]
    gone = explained(material, points, rims, turn, shift_mm, mm, rows, part.chord_mm)
    out[rows[gone]] = np.nan
    kind[rows[gone]] = FINE
    rows = rows[~gone]
    kinds = {number: each.kind for number, each in tools.items()}
    made_by = np.array([kinds.get(int(t), "") for t in tool[rows]], dtype=object)
    holes = {s.index for s in part.surfaces if s.form in ("cylinder", "cone") and (s.hole or s.thread)}
    in_hole = np.isin(points.surface[rows], list(holes))
    kind[rows[(kind[rows] == GOUGE) & in_hole & np.isin(made_by, THREAD_KINDS)]] = THREAD
    kind[rows[(kind[rows] == GOUGE) & (move[rows] < 0)]] = SMALL
    is_break = breaks_of(part, points, rims, rows, made_by)
    kind[rows[is_break & np.isin(kind[rows], (GOUGE, LEFT))]] = BREAK
    inner = corners_of(points, rims, turn, mm, limit_l, rows, tool, tools)
    kind[rows[inner & (kind[rows] == LEFT)]] = CORNER
    for surface in part.surfaces:
        own = np.flatnonzero(points.surface == surface.index)
        left = own[(kind[own] == LEFT) & (move[own] < 0)]
        if len(own) and len(left) >= ALL_OF_IT * len(own):
            kind[left] = RAW
    return Judged(mm=out, kind=kind, move=move, tool=tool)


def _worst(part: Part, points: Samples, judged: Judged) -> tuple[tuple[str, float, float], ...]:
    rows = []
    for surface in part.surfaces:
        own = (points.surface == surface.index) & np.isfinite(judged.mm) & (judged.kind != THREAD)
        if own.any():
            mm = judged.mm[own]
            rows.append((surface.name, float(max(0.0, -mm.min())), float(max(0.0, mm.max()))))
    return tuple(rows)


def _not_checked(
    part: Part,
    points: Samples,
    judged: Judged,
    gouge: float,
    left: float,
    gouge_given: float | None,
    left_given: float | None,
    final: bool,
    show: Display,
) -> tuple[str, ...]:
    said = []
    if final and (gouge_given is None or left_given is None):
        said.append(
            f"limits against the design are the tool's own where none are stated: gouge {show.length(gouge)}, left-over {show.length(left)}"
        )
    if not final:
        said.append("left-over after an operation in between (only gouge is judged there)")
    threads = sorted(set(points.surface[judged.kind == THREAD].tolist()))
    if threads or any(s.thread for s in part.surfaces):
        said.append(f"form of threads ({len(threads)} holes tapped: core and depth only)")
    free = [s.name for s in part.surfaces if s.form not in ("plane", "cylinder", "cone", "sphere")]
    if final and free:
        said.append(f"{len(free)} surfaces of free form are compared through their mesh ({show.length(part.chord_mm)})")
    return tuple(said)
