"""The machined part against the design: gouge and left-over of every surface, in mm, with the move that made it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol, runtime_checkable

import numpy as np
from numpy.typing import NDArray

from halfthou.base.finding import Finding
from halfthou.base.limits import DESIGN_MM
from halfthou.base.units import Display
from halfthou.base.watch import QUIET, Watch
from halfthou.nouns.moves import MoveList
from halfthou.nouns.part import Part
from halfthou.nouns.tool import Tool
from halfthou.prove.compare_corner import BOTH_WAYS, across, breaks_of, corners_near, ends_of, excess, must_across
from halfthou.prove.compare_measure import FINE_MM, Material, deviations, gouges
from halfthou.prove.compare_own import Laid, Met, met_by
from halfthou.prove.compare_points import Samples, edges, sample
from halfthou.prove.compare_words import Told, findings_of

F8 = NDArray[np.float64]
ALL_OF_IT = 0.95  # share of a surface's points left raw that makes it "not machined"
OFF_MM = 0.02  # so far outside the machined surface it is asked whether the raw stock was there
LOOSE = (
    0.01  # share by which the shortest way to the machined surface may come out too long (0.005 seen at sharp edges)
)
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
    final False: an operation in between, only gouge is judged. Deviations are measured to 1e-4 mm along the normal of
    the design; beyond the limits, where that way does not lead to the point's own machined surface (compare_own), the
    nearest machined point counts, to 1 %. What lies between two points (0.5 to 2 mm apart) may be missed.
    """
    default_g = DESIGN_MM if gouge_mm is None else gouge_mm
    default_l = DESIGN_MM if left_over_mm is None else left_over_mm
    points, rims = sample(part), edges(part)
    most = 1 + max((surface.index for surface in part.surfaces), default=0)
    of_gouge, of_left = np.full(most, default_g), np.full(most, default_l)
    for surface in part.surfaces:
        of_gouge[surface.index] = _or(surface.gouge_mm, default_g)
        of_left[surface.index] = _or(surface.left_over_mm, default_l)
    spot, normal = points.point_mm @ turn.T + shift_mm, points.normal @ turn.T
    laid = Laid(part=part, points=points, rims=rims, turn=turn, shift_mm=shift_mm, spot=spot, normal=normal)
    if final:
        mm = deviations(material, spot, normal, of_gouge[points.surface], of_left[points.surface], watch).mm
    else:
        mm = gouges(material, spot, normal, of_gouge[points.surface], watch)
    judged = _judge(material, laid, mm, (of_gouge, of_left), moves, tools, watch)
    bound = FINE_MM + error_mm
    told = Told(part=part, moves=moves, op=op, spot=spot, bound_mm=bound, final=final, show=show or Display())
    found = findings_of(told, judged, of_gouge[judged.surface], of_left[judged.surface])
    return Comparison(
        findings=found,
        worst=_worst(part, judged),
        not_checked=_not_checked(part, judged, default_g, default_l, gouge_mm, left_over_mm, final, show or Display()),
        points=len(spot),
        mm=judged.mm,
        samples=points,
    )


def _or(own: float | None, default: float) -> float:
    return default if own is None else own


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """Per point: mm (signed, NaN = only the mesh's error, or a corner's), what it is, whose it is, which move and tool made it.

    loose_mm f8 (n,): what the bound of the amount grows by where the nearest surface was looked for all round.
    """

    mm: F8
    kind: NDArray[np.int8]
    surface: NDArray[np.int64]
    move: NDArray[np.int64]
    tool: NDArray[np.int64]
    loose_mm: F8


FINE, GOUGE, LEFT, RAW, CORNER, SMALL, BREAK, THREAD = range(8)


@runtime_checkable
class Raw(Protocol):
    """A material that knows the stock it was cut from."""

    def raw(self, points_mm: F8) -> NDArray[np.bool_]:
        """Whether each point f8 (n,3) lay in the raw stock, before any cut of any operation."""


def _judge(
    material: Material,
    laid: Laid,
    mm: F8,
    limits: tuple[F8, F8],
    moves: MoveList,
    tools: Mapping[int, Tool],
    watch: Watch,
) -> Judged:
    """Sort every point beyond its limit into what it means. limits: of gouge and left-over, f8 by surface index."""
    part, points = laid.part, laid.points
    surface = points.surface.astype(np.int64)
    kind = _beyond(mm, surface, limits)
    out, loose = mm.copy(), np.zeros(len(mm))
    move, tool = np.full(len(mm), -1, dtype=np.int64), np.full(len(mm), -1, dtype=np.int64)
    rows = np.flatnonzero(kind)
    judged = Judged(mm=out, kind=kind, surface=surface, move=move, tool=tool, loose_mm=loose)
    if not len(rows):
        return judged
    _made(material, judged, rows, laid.spot[rows] + mm[rows, None] * laid.normal[rows], moves)
    kinds = {number: each.kind for number, each in tools.items()}
    holes = [s.index for s in part.surfaces if s.form in ("cylinder", "cone") and (s.hole or s.thread)]
    threads = (kind[rows] == GOUGE) & np.isin(surface[rows], holes) & np.isin(_kinds(judged, rows, kinds), THREAD_KINDS)
    kind[rows[threads]] = THREAD
    rows = rows[~threads]
    limit = np.where(mm < 0, limits[0][surface], limits[1][surface])[rows]
    met = met_by(material, laid, mm, rows, limit + FINE_MM, watch)
    _made(material, judged, rows[~met.straight], met.point[~met.straight], moves)
    loose[rows] = np.where(met.straight, 0.0, LOOSE * np.abs(met.mm) + FINE_MM)
    surface[rows], out[rows] = met.owner, met.own_mm
    kind[rows] = _beyond(met.own_mm, met.owner, limits)
    kind[
        rows[(kind[rows] == GOUGE) & np.isin(surface[rows], holes) & np.isin(_kinds(judged, rows, kinds), THREAD_KINDS)]
    ] = THREAD
    _corners(material, laid, judged, met, rows, limits, tools)
    _sources(material, laid, judged, met, rows, _kinds(judged, rows, kinds))
    for each in part.surfaces:
        own = np.flatnonzero(surface == each.index)
        left = own[(kind[own] == LEFT) & (move[own] < 0)]
        if len(own) and len(left) >= ALL_OF_IT * len(own):
            kind[left] = RAW
    return judged


def _beyond(mm: F8, surface: NDArray[np.int64], limits: tuple[F8, F8]) -> NDArray[np.int8]:
    """GOUGE or LEFT where mm is beyond the limit of its surface, FINE elsewhere."""
    kind = np.zeros(len(mm), dtype=np.int8)
    kind[mm < -limits[0][surface] - FINE_MM] = GOUGE
    kind[mm > limits[1][surface] + FINE_MM] = LEFT
    return kind


def _corners(
    material: Material,
    laid: Laid,
    judged: Judged,
    met: Met,
    rows: NDArray[np.int64],
    limits: tuple[F8, F8],
    tools: Mapping[int, Tool],
) -> None:
    """Left-over in inner corners: across the corner where it is the tool's radius, else what exceeds the radius."""
    own = laid.points.surface.astype(np.int64)[rows]
    high = np.flatnonzero(met.mm > limits[1][own] + FINE_MM)
    rows, own = rows[high], own[high]
    corner = corners_near(laid, rows, ~met.straight[high], judged.tool[rows], tools)
    plain = (corner.rim < 0) & met.straight[high] & (judged.kind[rows] == LEFT)
    proud = np.zeros(len(limits[0]))  # what the surfaces keep away from corners
    np.maximum.at(proud, own[plain], judged.mm[rows[plain]])
    there = np.flatnonzero(corner.rim >= 0)
    if not len(there):
        return
    rows, own = rows[there], own[there]
    corner = corner.some(there)
    both = proud[laid.rims.surfaces[corner.rim]].max(axis=1)
    spare = limits[1][own] + BOTH_WAYS * both
    layer = limits[1][own] + ends_of(laid, corner.rim, proud)
    more = excess(material, laid, rows, corner, spare, layer)
    judged.surface[rows] = own
    amount = np.abs(met.mm[high[there]])
    over = more > 0
    judged.mm[rows[over]] = np.minimum(amount, more)[over]
    judged.kind[rows[over]] = LEFT
    beside = ~over & corner.beside
    judged.mm[rows[beside]], judged.kind[rows[beside]] = np.nan, FINE
    at = np.flatnonzero(~over & ~corner.beside)
    judged.kind[rows[at]] = CORNER
    rim, first, back = np.unique(corner.rim[at], return_index=True, return_inverse=True)
    must = must_across(laid, rim, corner.radius_mm[at][first])
    wide = across(material, laid, rim, must + spare[at][first] + FINE_MM)[back.ravel()]
    own = np.minimum(amount[at], must[back.ravel()])  # without the layer at the end of an edge
    judged.mm[rows[at]] = np.fmax(own, wide)


def _made(material: Material, judged: Judged, rows: NDArray[np.int64], point: F8, moves: MoveList) -> None:
    """Enter the moves and tools that made the machined points."""
    judged.move[rows] = material.makers(point)
    judged.tool[rows] = -1
    known = rows[(judged.move[rows] >= 0) & (judged.move[rows] < len(moves.moves))]
    judged.tool[known] = moves.moves["tool"][judged.move[known]]


def _kinds(judged: Judged, rows: NDArray[np.int64], kinds: dict[int, str]) -> NDArray[np.object_]:
    """Kind of the tool that made each machined point."""
    return np.array([kinds.get(int(t), "") for t in judged.tool[rows]], dtype=object)


def _sources(
    material: Material, laid: Laid, judged: Judged, met: Met, rows: NDArray[np.int64], made_by: NDArray[np.object_]
) -> None:  # fmt: skip
    """Raw stock that was never there, and edge breaks."""
    kind = judged.kind
    gone = np.flatnonzero(kind[rows] == GOUGE)
    if isinstance(material, Raw):
        never = ~material.raw(_just_off(laid, met, rows, gone))
    else:
        never = judged.move[rows[gone]] < 0
    kind[rows[gone[never]]] = SMALL
    is_break = breaks_of(laid.part, laid.points, laid.rims, rows, judged.surface[rows], made_by)
    kind[rows[is_break & np.isin(kind[rows], (GOUGE, LEFT))]] = BREAK


def _just_off(laid: Laid, met: Met, rows: NDArray[np.int64], gone: NDArray[np.int64]) -> F8:
    """Points right outside the machined surface, on the way to the design: was there ever material?"""
    way = laid.spot[rows[gone]] - met.point[gone]
    size = np.linalg.norm(way, axis=1)
    step = np.minimum(OFF_MM, size / 2) / np.maximum(size, 1e-12)
    return np.asarray(met.point[gone] + step[:, None] * way)


def _worst(part: Part, judged: Judged) -> tuple[tuple[str, float, float], ...]:
    rows = []
    for surface in part.surfaces:
        own = (judged.surface == surface.index) & np.isfinite(judged.mm) & (judged.kind != THREAD)
        if own.any():
            mm = judged.mm[own]
            rows.append((surface.name, float(max(0.0, -mm.min())), float(max(0.0, mm.max()))))
    return tuple(rows)


def _not_checked(
    part: Part,
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
    threads = sorted(set(judged.surface[judged.kind == THREAD].tolist()))
    if threads or any(s.thread for s in part.surfaces):
        said.append(f"form of threads ({len(threads)} holes tapped: core and depth only)")
    free = [s.name for s in part.surfaces if s.form not in ("plane", "cylinder", "cone", "sphere")]
    if final and free:
        said.append(f"{len(free)} surfaces of free form are compared through their mesh ({show.length(part.chord_mm)})")
    return tuple(said)
