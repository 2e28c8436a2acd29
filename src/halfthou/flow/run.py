"""One run of a job: read, place, cut, look for contacts, operation by operation. What-if variants are further runs."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.errors import CannotAnswer
from halfthou.base.finding import Finding
from halfthou.base.table import Rows, lock
from halfthou.base.watch import QUIET, Watch
from halfthou.flow.join import join
from halfthou.flow.read import OpSetup, read_op, setup_of
from halfthou.nc.start import Ask, Contact
from halfthou.nouns.answers import Approach, Window
from halfthou.nouns.cut import REMOVED
from halfthou.nouns.job import Job
from halfthou.nouns.moves import MoveList, Reading
from halfthou.nouns.program import Program
from halfthou.nouns.stock import Prism
from halfthou.prove.clash_raw import EarlierOp
from halfthou.prove.clash_turned import met_of
from halfthou.prove.depths import Depth
from halfthou.prove.place import place_shift_mm, sweeps_of
from halfthou.prove.probing import ball_radius_mm, first_contact, in_bodies
from halfthou.prove.reach import (
    magazine_findings,
    register_findings,
    spindle_findings,
    travel_findings,
    window_findings,
    windows_of,
)
from halfthou.prove.remove import Removal
from halfthou.prove.remove_turned import remove_turned, stock_now
from halfthou.prove.turning import angles_of, body_at
from halfthou.prove.turning_findings import circle_findings, refuse_turns
from halfthou.prove.turning_findings import travel_findings as angle_findings

F8 = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Everything one run found; moves are job-wide, sweeps and removals per operation."""

    job: Job
    moves: MoveList
    rows: tuple[slice, ...]
    sweeps: tuple[Rows, ...]
    shifts: tuple[tuple[F8, ...], ...]
    removals: tuple[tuple[Removal, ...], ...]
    removed: Rows
    readings: tuple[Reading, ...]
    findings: tuple[Finding, ...]
    not_checked: tuple[str, ...]
    approaches: tuple[Approach, ...]
    windows: tuple[Window, ...]
    depths: tuple[Depth, ...]


def run_job(
    job: Job, programs: Sequence[Sequence[Program]], *, pitch_mm: float, threads: int | None = None,
    watch: Watch = QUIET, block_delete: bool | None = None, near: bool = True,
) -> Run:  # fmt: skip
    """Run all operations in order. near False: nearest approaches are not worked out (what-if runs).

    Raises ProgramError, CannotAnswer, Cancelled.
    """
    parts: list[MoveList] = []
    all_sweeps: list[Rows] = []
    shifts: list[tuple[F8, ...]] = []
    removals: list[tuple[Removal, ...]] = []
    readings: list[Reading] = []
    findings: list[Finding] = []
    said: list[str] = []
    closest: list[Approach] = []
    windows: list[Window] = []
    lowest: list[Depth] = []
    first_row = 0
    for index, op in enumerate(job.ops):
        plan = setup_of(job, op, use_found=False, block_delete=block_delete)
        setup = setup_of(job, op, use_found=True, block_delete=block_delete)

        def contact_of(now: OpSetup, index: int = index, plan: OpSetup = plan) -> Contact:
            return _Probe(job, index, _origins(plan, now), removals, pitch_mm).ask

        reading, used = read_op(job, index, programs[index], setup, contact_of, watch)
        moves = reading.moves
        sweeps = sweeps_of(moves, job, index)
        origins = _origins(plan, used)
        own_shifts = tuple(place_shift_mm(job, index, k, origins) for k in range(len(op.places)))
        refuse_turns(moves, sweeps, job, index, own_shifts)
        made: list[Removal] = []
        for k in range(len(op.places)):
            made.append(
                remove_turned(
                    moves, sweeps, job, index, k, shift_mm=own_shifts[k], pitch_mm=pitch_mm, first_row=first_row,
                    before=_before(job, index, k, [*removals, made]), threads=threads, watch=watch,
                )
            )  # fmt: skip
        cut = tuple(made)
        met = met_of(
            moves, sweeps, job, index, cut, shifts=own_shifts, rapid_path=job.machine.control.rapid_path, watch=watch,
            earlier=_earlier(job, index, [*all_sweeps, sweeps], [*shifts, own_shifts], [*removals, cut]),
            first_row=first_row, near=near,
        )  # fmt: skip
        travel, blind = travel_findings(moves, sweeps, job, index)
        own_windows = windows_of(moves, sweeps, job, index, {o.system: o.origin_mm for o in op.offsets})
        own = [
            *reading.findings, *met.findings, *travel, *window_findings(moves, job, index, own_windows),
            *spindle_findings(moves, job, index), *register_findings(moves, job, index),
            *magazine_findings(moves, job, index), *angle_findings(moves, job, index),
            *circle_findings(moves, sweeps, job, index, own_shifts, cut, first_row),
        ]  # fmt: skip
        findings += [replace(f, move=f.move + first_row if f.move >= 0 else -1) for f in own]
        said += [*met.not_checked, *blind]
        closest += met.approaches
        windows += own_windows
        lowest += met.depths
        parts.append(moves)
        all_sweeps.append(sweeps)
        shifts.append(own_shifts)
        removals.append(cut)
        readings.append(reading)
        first_row += len(moves.moves)
    joined, rows = join(parts)
    return Run(
        job=job, moves=joined, rows=rows, sweeps=tuple(all_sweeps), shifts=tuple(shifts), removals=tuple(removals),
        removed=_removed(removals, all_sweeps), readings=tuple(readings), findings=tuple(findings),
        not_checked=tuple(dict.fromkeys(said)), approaches=tuple(closest), windows=tuple(windows), depths=tuple(lowest),
    )  # fmt: skip


def _origins(plan: OpSetup, used: OpSetup) -> dict[int, tuple[float, float, float]]:
    """Where the places lie: planned work offsets per axis; where none was planned, what the run used."""
    origins = dict(used.origins)
    for system, origin in plan.origins.items():
        known = plan.known.get(system, (False,) * 3)
        now = origins.get(system, origin)
        origins[system] = (
            origin[0] if known[0] else now[0], origin[1] if known[1] else now[1], origin[2] if known[2] else now[2]
        )  # fmt: skip
    return origins


def _before(job: Job, op: int, place: int, removals: Sequence[Sequence[Removal]]) -> Removal | None:
    stock = job.ops[op].places[place].stock
    if stock.kind != "from":
        return None
    k = max(stock.from_place, 0)
    if not 0 <= stock.from_op < len(removals) or k >= len(removals[stock.from_op]):
        raise CannotAnswer(f"{job.ops[op].name}: its stock comes from a place that is not run before it")
    return removals[stock.from_op][k]


def _earlier(
    job: Job, op: int, sweeps: Sequence[Rows], shifts: Sequence[Sequence[F8]], removals: Sequence[Sequence[Removal]]
) -> list[EarlierOp | None]:
    """What made each place's stock, where that can be taken exactly."""
    found: list[EarlierOp | None] = []
    for place in job.ops[op].places:
        stock = place.stock
        known = stock.kind == "from" and stock.turn_over is not None and 0 <= stock.from_op < len(sweeps)
        if not known or stock.turn_over is None:
            found.append(None)
            continue
        k = max(stock.from_place, 0)
        before = job.ops[stock.from_op].places[k].stock
        if removals[stock.from_op][k].stretches:  # cut at several angles
            found.append(None)
            continue
        found.append(
            EarlierOp(sweeps=sweeps[stock.from_op], shift_mm=shifts[stock.from_op][k], stock=before, turn=stock.turn_over)
            if before.kind in ("box", "cylinder") else None
        )  # fmt: skip
    return found


def _removed(removals: Sequence[Sequence[Removal]], sweeps: Sequence[Rows]) -> Rows:
    """REMOVED aligned with the job-wide moves: places of one operation added up."""
    parts = []
    for own, rows in zip(removals, sweeps, strict=True):
        total = np.zeros(len(rows), dtype=REMOVED)
        total["low_z_mm"] = np.inf
        for removal in own:
            fresh = (total["rays"] == 0) & (removal.removed["rays"] > 0)
            total["first_point_mm"][fresh] = removal.removed["first_point_mm"][fresh]
            total["mm3"] += removal.removed["mm3"]
            total["rays"] += removal.removed["rays"]
            total["deepest_mm"] = np.maximum(total["deepest_mm"], removal.removed["deepest_mm"])
            total["low_z_mm"] = np.minimum(total["low_z_mm"], removal.removed["low_z_mm"])
        parts.append(total)
    return lock(np.concatenate(parts) if parts else np.zeros(0, dtype=REMOVED))


@dataclass(slots=True)
class _Probe:
    """Answers probe moves of one operation from the stock as it is then and the bodies as they are planned."""

    job: Job
    op: int
    origins: dict[int, tuple[float, float, float]]
    removals: Sequence[Sequence[Removal]]
    pitch_mm: float

    def ask(self, ask: Ask) -> tuple[float, float, float] | None:
        """Contact point of a probe move in work coordinates, None when nothing is met."""
        tool = next((t for t in self.job.tools if t.number == ask.tool), None)
        if tool is None:
            return None
        moves = ask.moves()
        sweeps = sweeps_of(moves, self.job, self.op)
        lift = np.array(ask.shift_mm) + np.array([0.0, 0.0, ask.length_mm - tool.gauge_length_mm])
        start, target = np.array(ask.start_mm) + lift, np.array(ask.target_mm) + lift
        shifts = [place_shift_mm(self.job, self.op, k, self.origins) for k in range(len(self.job.ops[self.op].places))]
        refuse_turns(moves, sweeps, self.job, self.op, shifts)
        angle = float(angles_of(moves.moves, self.job.machine.rotary)[-1]) if len(moves.moves) else 0.0
        solids: list[Callable[[F8], NDArray[np.bool_]]] = []
        made: list[Removal] = []
        for k in range(len(self.job.ops[self.op].places)):
            shift = shifts[k]
            stock = stock_now(
                moves, sweeps, self.job, self.op, k, shift_mm=shift, pitch_mm=self.pitch_mm,
                before=_before(self.job, self.op, k, [*self.removals, made]),
            )  # fmt: skip
            made.append(stock)
            bodies = [body_at(body, self.job, angle, shift) for body in self.job.ops[self.op].places[k].bodies]

            def solid(
                points: F8, stock: Removal = stock, shift: F8 = shift, bodies: Sequence[Prism] = bodies
            ) -> NDArray[np.bool_]:
                local = points - shift
                hit: NDArray[np.bool_] = stock.inside(local) | in_bodies(bodies, local)
                return hit

            solids.append(solid)

        def inside(points: F8) -> NDArray[np.bool_]:
            hit = np.zeros(len(points), dtype=bool)
            for each in solids:
                hit |= each(points)
            return hit

        share = first_contact(start, target, ball_radius_mm(tool), inside)
        if share is None:
            return None
        a, b = np.array(ask.start_mm), np.array(ask.target_mm)
        point = a + share * (b - a)
        return float(point[0]), float(point[1]), float(point[2])
