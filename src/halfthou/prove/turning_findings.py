"""Turns of the rotary axis: what is refused, its travel, and the tool inside the circle that part and bodies describe."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from halfthou.base.errors import CannotAnswer, Complaint, ProgramError
from halfthou.base.finding import Finding, Severity
from halfthou.base.table import Rows
from halfthou.base.units import Display
from halfthou.base.value import Unknown, Value
from halfthou.geometry.near_chain import Chains, pack_tools
from halfthou.nouns.cut import CutRecord
from halfthou.nouns.job import Job
from halfthou.nouns.machine import Rotary
from halfthou.nouns.moves import Kind, MoveList
from halfthou.nouns.stock import Stock
from halfthou.prove.remove import Removal
from halfthou.prove.turning import angles_of, axis_number, centre_of, matrix, mesh_of, turns

F8 = NDArray[np.float64]
TOUCH_RAD = 1e-9
STEP_MM = 1.0  # how far the outermost point turns between two looks
MOST_STEPS = 720
MOST_POINTS = 20_000
CIRCLE = 64


@dataclass(frozen=True, slots=True, kw_only=True)
class Thing:
    """Something that turns: points f8 (n,3) round it at rest, table frame; how far it reaches from the centre line."""

    name: str
    points_mm: F8
    radius_mm: float
    low_mm: float  # along the axis
    high_mm: float


def refuse_turns(moves: MoveList, sweeps: Rows, job: Job, op: int, shifts: Sequence[F8]) -> None:
    """Refuse what cannot be answered: raises CannotAnswer, or ProgramError (P108) with every such block."""
    turned = np.flatnonzero(np.any(moves.moves["turn_rad"] != 0.0, axis=1))
    if not len(turned):
        return
    rotary = job.machine.rotary
    place = moves.place(int(turned[0]))
    where = f"{place.file}:{place.line}: {place.text.strip()}"
    if rotary is None:
        raise CannotAnswer(
            f"{where}: the program turns a rotary axis, and the machine file does not say where it is: add [machine.rotary] "
            "with axis, centre and range (docs/job-file.md)"
        )
    other = np.flatnonzero(moves.moves["turn_rad"][:, 1 - axis_number(rotary)] != 0.0)
    if len(other):
        place = moves.place(int(other[0]))
        raise CannotAnswer(
            f"{place.file}:{place.line}: {place.text.strip()}: the program turns an axis that is not the one of "
            f"[machine.rotary] ({rotary.axis}); one rotary axis can be proved"
        )
    _offsets_known(moves, job, rotary, where)
    rows = turning_rows(moves, rotary)
    inside = -clearances_of(rows, moves, sweeps, job, rotary, things_of(job, op, shifts))
    complaints = [
        _refused(moves, row, rotary, depth) for row, depth in zip(rows, inside.tolist(), strict=True)
        if moves.moves["kind"][row] != Kind.RAPID or (_travels(moves, row) and not depth <= 0.0)
    ]  # fmt: skip
    if complaints:
        raise ProgramError(complaints)


def _offsets_known(moves: MoveList, job: Job, rotary: Rotary, where: str) -> None:
    across = (1, 2) if rotary.axis == "A" else (0, 2)
    used = np.unique(moves.moves["frame"])
    known = moves.frames["known"][used]
    missing = [job.machine.axes[k].name for k in across if not known[:, k].all()]
    if missing:
        raise CannotAnswer(
            f"{where}: the program turns {rotary.axis}, but no work offset is given in {' and '.join(missing)}: where the centre "
            "line lies in the program is not known; add [[operation.offset]] with its origin"
        )


def _refused(moves: MoveList, row: int, rotary: Rotary, depth_mm: float) -> Complaint:
    feed = moves.moves["kind"][row] != Kind.RAPID
    what = (
        f"{rotary.axis} turns at feed" if feed and not _travels(moves, row)
        else f"{rotary.axis} turns while X, Y or Z move at feed" if feed
        else f"{rotary.axis} turns while X, Y or Z move, with the tool inside the circle that part and bodies describe"
    )  # fmt: skip
    return Complaint(
        code="P108", place=moves.place(row, rotary.axis), what=f"{what}.",
        why="Only angles held between cuts are proved: what is cut while the axis turns is not worked out.",
        do=f"Retract first, then turn with G0 {rotary.axis}… on a line of its own, and cut at the held angle.",
    )  # fmt: skip


def turning_rows(moves: MoveList, rotary: Rotary) -> list[int]:
    """Rows during which the axis turns; it stands at 0 when the program starts."""
    angles = angles_of(moves.moves, rotary)
    before = np.concatenate([[0.0], angles[:-1]]) if len(angles) else angles
    return [int(row) for row in np.flatnonzero(np.abs(angles - before) > TOUCH_RAD)]


def _travels(moves: MoveList, row: int) -> bool:
    move = moves.moves[row]
    return bool(np.max(np.abs(move["end_mm"] - move["start_mm"])) > 1e-9) or float(move["sweep_rad"]) != 0.0


def travel_findings(moves: MoveList, job: Job, op: int) -> list[Finding]:
    """P107: angles outside the range of the axis, one finding a side."""
    rotary = job.machine.rotary
    if rotary is None or rotary.low_rad is None or rotary.high_rad is None:
        return []
    angles, turned = angles_of(moves.moves, rotary), turning_rows(moves, rotary)
    found = []
    for over, limit in ((rotary.low_rad - angles, rotary.low_rad), (angles - rotary.high_rad, rotary.high_rad)):
        rows = np.array([row for row in turned if over[row] > TOUCH_RAD], dtype=np.int64)
        if not len(rows):
            continue
        first, worst = int(rows[0]), int(rows[np.argmax(over[rows])])
        amount = math.degrees(float(over[worst]))
        found.append(
            Finding(
                code="P107", severity=Severity.STOP, place=moves.place(first, rotary.axis),
                what=f"{rotary.axis} leaves its range by {amount:.3f}° (limit {math.degrees(limit):g}°).",
                why=f"{rotary.axis} {math.degrees(float(angles[worst])):g}° is asked for; farthest in line {moves.place(worst).line}.",
                do="Write an angle inside the range (whole turns may be taken off), or start the part turned the other way.",
                amount=Value(best=amount, u=0.0, unit="°", bound=1e-6), move=first, op=op,
                tool=int(moves.moves["tool"][first]), count=len(rows),
            )
        )  # fmt: skip
    return found


def circle_findings(
    moves: MoveList, sweeps: Rows, job: Job, op: int, shifts: Sequence[F8], removals: Sequence[Removal], first_row: int
) -> list[Finding]:
    """P109: the tool inside the turning circle while the axis turns. STOP where a point that turns is met, else CARE.

    Amount: how far the tool reaches inside the circle of the body (or stock) it is deepest in.
    """
    rotary = job.machine.rotary
    if rotary is None:
        return []
    rows = turning_rows(moves, rotary)
    things = things_of(job, op, shifts)
    show, found = Display(length_unit=job.length_unit), []
    for row, clear in zip(rows, clearances_of(rows, moves, sweeps, job, rotary, things).tolist(), strict=True):
        if clear >= 0.0:
            continue
        name, radius = _deepest(row, moves, sweeps, job, rotary, things)
        met = [] if math.isnan(clear) else _met(row, moves, sweeps, job, op, rotary, shifts, removals, first_row)
        what = (
            "where the tool stands is not known" if math.isnan(clear)
            else f"the tool reaches {show.length(-clear)} inside the turning circle of the {name} (radius {show.length(radius)})"
        )  # fmt: skip
        found.append(
            Finding(
                code="P109", severity=Severity.STOP if met else Severity.CARE, place=moves.place(row, rotary.axis),
                what=f"{rotary.axis} turns and {what}" + (f"; the {met[0]} turns into it." if met else "."),
                why="Whether they touch on the way depends on how the axis turns; it is looked at turning straight from angle to angle."
                if not met else "The part turns, and the tool stands where it comes by.",
                do=f"Retract by {show.length(-clear)} or more before the turn." if not math.isnan(clear) else "Retract before the turn.",
                amount=Unknown(reason="position not known") if math.isnan(clear)
                else Value(best=-clear, u=0.0, unit="mm", bound=0.01),
                limit_mm=radius, move=row, op=op, tool=int(moves.moves["tool"][row]), body=met[0] if met else name,
            )
        )  # fmt: skip
    return _folded(found)


def _folded(found: Sequence[Finding]) -> list[Finding]:
    """One finding a tool and severity: the one deepest inside, with how many there are."""
    groups: dict[tuple[int, Severity], list[Finding]] = {}
    for one in found:
        groups.setdefault((one.tool, one.severity), []).append(one)

    def depth(one: Finding) -> float:
        return one.amount.best if isinstance(one.amount, Value) else math.inf

    return [replace(max(own, key=depth), count=len(own)) for own in groups.values()]


def things_of(job: Job, op: int, shifts: Sequence[F8]) -> list[Thing]:
    """Raw stock and turning bodies of every place."""
    rotary = job.machine.rotary
    assert rotary is not None
    out = []
    several = len(job.ops[op].places) > 1
    for place, shift in zip(job.ops[op].places, shifts, strict=True):
        tail = f" ({place.name})" if several else ""
        out.append(_thing(f"stock{tail}", _stock_points(place.stock) + shift, rotary))
        for body in place.bodies:
            if turns(body):
                out.append(_thing(f"{body.name}{tail}", mesh_of(body).vertices_mm + shift, rotary))
    return out


def _thing(name: str, points: F8, rotary: Rotary) -> Thing:
    k = axis_number(rotary)
    off = np.delete(points - centre_of(rotary), k, axis=1)
    return Thing(
        name=name, points_mm=points, radius_mm=float(np.hypot(off[:, 0], off[:, 1]).max()),
        low_mm=float(points[:, k].min()), high_mm=float(points[:, k].max()),
    )  # fmt: skip


def _stock_points(stock: Stock) -> F8:
    if stock.kind == "mesh" and stock.vertices_mm is not None:
        return np.array(stock.vertices_mm)
    (x0, y0, z0), (x1, y1, z1) = stock.low_mm, stock.high_mm
    if stock.kind == "cylinder":
        angle = 2 * math.pi * np.arange(CIRCLE) / CIRCLE
        r = stock.diameter_mm / 2 / math.cos(math.pi / CIRCLE)
        ring = np.column_stack([stock.centre_mm[0] + r * np.cos(angle), stock.centre_mm[1] + r * np.sin(angle)])
        return np.concatenate([np.column_stack([ring, np.full(CIRCLE, z)]) for z in (z0, z1)])
    return np.array([[x, y, z] for x in (x0, x1) for y in (y0, y1) for z in (z0, z1)])


def clearances_of(
    rows: Sequence[int], moves: MoveList, sweeps: Rows, job: Job, rotary: Rotary, things: Sequence[Thing]
) -> F8:
    """Least distance f8 (n,) of the tool to any turning circle during these rows, negative inside; NaN: not known.

    Over the whole box between start and end of the row, so no path of the rapid can be nearer.
    """
    chains = pack_tools(job.tools, job.machine)
    return np.array([_clearance(row, sweeps, chains, rotary, things)[0] for row in rows], dtype=np.float64)


def _deepest(
    row: int, moves: MoveList, sweeps: Rows, job: Job, rotary: Rotary, things: Sequence[Thing]
) -> tuple[str, float]:
    _, k = _clearance(row, sweeps, pack_tools(job.tools, job.machine), rotary, things)
    return (things[k].name, things[k].radius_mm) if k >= 0 else ("part", math.nan)


def _clearance(row: int, sweeps: Rows, chains: Chains, rotary: Rotary, things: Sequence[Thing]) -> tuple[float, int]:
    start, end = np.array(sweeps["from_mm"][row]), np.array(sweeps["to_mm"][row])
    if not (np.isfinite(start).all() and np.isfinite(end).all()):
        return math.nan, -1
    low, high = np.minimum(start, end), np.maximum(start, end)
    k = axis_number(rotary)
    side, centre = 1 - k, centre_of(rotary)
    best, which = math.inf, -1
    for g in chains.pieces(int(sweeps["tool"][row])):
        points = chains.chain_mm[chains.first_point[g] : chains.first_point[g + 1]]
        round_mm = float(chains.round_mm[g])
        for (r0, h0), (r1, h1) in pairwise(points):
            r = max(r0, r1) + round_mm
            gap = max(0.0, low[side] - r - centre[side], centre[side] - high[side] - r)
            down, up = low[2] + h0 - round_mm - centre[2], high[2] + h1 + round_mm - centre[2]
            height = max(0.0, down, -up)
            for i, thing in enumerate(things):
                if low[k] - r > thing.high_mm or high[k] + r < thing.low_mm:
                    continue
                clear = math.hypot(gap, height) - thing.radius_mm
                if clear < best:
                    best, which = clear, i
    return best, which


def _met(
    row: int, moves: MoveList, sweeps: Rows, job: Job, op: int, rotary: Rotary, shifts: Sequence[F8],
    removals: Sequence[Removal], first_row: int,
) -> list[str]:  # fmt: skip
    """Names of turning things of which a point is found inside the tool on the way, turning straight; samples only."""
    angles = angles_of(moves.moves, rotary)
    a, b = float(angles[row - 1]) if row else 0.0, float(angles[row])
    tip, tool = np.array(sweeps["to_mm"][row]), int(sweeps["tool"][row])
    chains, found = pack_tools(job.tools, job.machine), []
    for place, shift, removal in zip(job.ops[op].places, shifts, removals, strict=True):
        samples = [("stock", _stock_samples(removal, first_row + row, rotary, shift, b))]
        samples += [
            (body.name, _edges(mesh_of(body).vertices_mm, mesh_of(body).faces) + shift)
            for body in place.bodies
            if turns(body)
        ]
        for name, points in samples:
            if len(points) and _comes_by(points, tip, tool, chains, rotary, a, b):
                found.append(name)
    return found


def _stock_samples(removal: Removal, row: int, rotary: Rotary, shift_mm: F8, angle_rad: float) -> F8:
    """Points on the stock when a row turns it to an angle, as it lies at rest, table frame."""
    own = removal.stretch_of(row)
    if removal.stretches and own.first_row == row:  # the stretch starts with this stock, turned already
        centre = centre_of(rotary)
        at: F8 = (_points_of(own.start) + shift_mm - centre) @ matrix(rotary, angle_rad) + centre
        return at
    return _points_of(removal.state_at(row - 1)) + shift_mm


def _points_of(record: CutRecord) -> F8:
    """Points on the surface of what a record holds, program coordinates, thinned out."""
    grid = record.grid
    ray = np.repeat(np.arange(grid.nx * grid.ny), np.diff(record.first))
    x = grid.low_mm[0] + (ray // grid.ny + 0.5) * grid.pitch_mm
    y = grid.low_mm[1] + (ray % grid.ny + 0.5) * grid.pitch_mm
    step = max(1, math.ceil(2 * len(ray) / MOST_POINTS))
    ends = [np.column_stack([x, y, record.spans[name]])[::step] for name in ("low_mm", "high_mm")]
    out: F8 = np.concatenate(ends) + grid.pose.shift_mm
    return out


def _edges(vertices: F8, faces: NDArray[np.int32]) -> F8:
    """Points along the edges of triangles and inside them, a few a triangle."""
    corners = vertices[faces]
    share = np.array([(i, j, 8 - i - j) for i in range(9) for j in range(9 - i)]) / 8
    points = np.einsum("sk,fkd->fsd", share, corners).reshape(-1, 3)
    thin: F8 = points[:: max(1, math.ceil(len(points) / MOST_POINTS))]
    return thin


def _comes_by(points: F8, tip: F8, tool: int, chains: Chains, rotary: Rotary, a: float, b: float) -> bool:
    centre = centre_of(rotary)
    off = points - centre
    far = float(np.hypot(*np.delete(off, axis_number(rotary), axis=1).T).max())
    steps = min(MOST_STEPS, max(2, math.ceil(abs(b - a) * far / STEP_MM)))
    for share in np.linspace(0.0, 1.0, steps + 1).tolist():
        local = off @ matrix(rotary, a + share * (b - a)).T + centre - tip
        radius, height = np.hypot(local[:, 0], local[:, 1]), local[:, 2]
        for g in chains.pieces(tool):
            line = chains.chain_mm[chains.first_point[g] : chains.first_point[g + 1]]
            if line[0, 1] == line[-1, 1]:
                continue
            within = (height > line[0, 1]) & (height < line[-1, 1])
            if np.any(within & (radius < np.interp(height, line[:, 1], line[:, 0]))):
                return True
    return False
