"""The search for contacts stretch by stretch of a rotary axis: part and bodies as they lie at each angle."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.finding import Finding
from halfthou.base.table import Rows, lock
from halfthou.base.watch import QUIET, Watch
from halfthou.nouns.answers import Approach
from halfthou.nouns.job import Job
from halfthou.nouns.moves import MoveList
from halfthou.prove.clash import approaches, contacts
from halfthou.prove.clash_raw import EarlierOp
from halfthou.prove.declared import declared_findings
from halfthou.prove.depths import Depth, depths
from halfthou.prove.remove import Removal
from halfthou.prove.turning import Stretch, angles_of, job_at, stretches_of, turns

F8 = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Met:
    """What one operation meets; rows of findings, approaches and depths as the operation's (approaches: job-wide)."""

    findings: tuple[Finding, ...]
    approaches: tuple[Approach, ...]
    depths: tuple[Depth, ...]
    not_checked: tuple[str, ...]


def met_of(
    moves: MoveList, sweeps: Rows, job: Job, op: int, removals: Sequence[Removal], *, shifts: tuple[F8, ...],
    rapid_path: str | None, earlier: Sequence[EarlierOp | None], first_row: int, near: bool, watch: Watch = QUIET,
) -> Met:  # fmt: skip
    """Contacts, declared motions, approaches and depths of an operation. near False: approaches are left out."""
    parts = stretches_of(angles_of(moves.moves, job.machine.rotary))
    found: list[Finding] = []
    closest: list[Approach] = []
    lowest: list[Depth] = []
    said: list[str] = []
    for k, part in enumerate(parts):
        if part.first == part.last and len(parts) > 1:
            continue
        rows = slice(part.first, part.last)
        own, own_sweeps = replace(moves, moves=lock(moves.moves[rows])), lock(sweeps[rows])
        now = job_at(job, op, part.angle_rad, shifts) if k else job
        stocks = [removal.stretches[k][1] if removal.stretches else removal for removal in removals]
        met, nearest, unseen = contacts(
            own, own_sweeps, now, op, stocks, shifts=shifts, rapid_path=rapid_path, watch=watch,
            starts=[stock.start for stock in stocks], earlier=earlier if k == 0 else (),
        )  # fmt: skip
        met = (*met, *declared_findings(own, own_sweeps, now, op, shifts=shifts))
        found += [_at(finding, part, job) for finding in met]
        said += unseen
        if near:
            closest += approaches(nearest, own, own_sweeps, now, op, shifts=shifts, first_row=first_row + part.first)
        lowest += [replace(d, move=d.move + part.first) for d in depths(own, own_sweeps, now, op, shifts=shifts)]
    if len(parts) > 1:
        said += _assumed(job, op, parts)
    return Met(
        findings=tuple(found), approaches=tuple(_least(closest) if len(parts) > 1 else closest), not_checked=tuple(dict.fromkeys(said)),
        depths=tuple(sorted(lowest, key=lambda depth: depth.lowest_z_mm)) if len(parts) > 1 else tuple(lowest),
    )  # fmt: skip


def _least(closest: Sequence[Approach]) -> list[Approach]:
    """The nearest of every tool, part and body over all angles, nearest first."""
    out: dict[tuple[int, str, str], Approach] = {}
    for one in sorted(closest, key=lambda a: (a.clearance_mm, a.move)):
        out.setdefault((one.tool, one.part, one.body), one)
    return list(out.values())


def _at(finding: Finding, part: Stretch, job: Job) -> Finding:
    """The finding with the operation's row, and the angle it is found at."""
    row = finding.move + part.first if finding.move >= 0 else -1
    rotary = job.machine.rotary
    if rotary is None or part.angle_rad == 0.0:
        return replace(finding, move=row)
    angle = f"at {rotary.axis} {math.degrees(part.angle_rad):g}°; the point is in program axes as the part lies then"
    return replace(finding, move=row, more=(*finding.more, angle))


def _assumed(job: Job, op: int, parts: Sequence[Stretch]) -> list[str]:
    rotary = job.machine.rotary
    assert rotary is not None
    bodies = [body for place in job.ops[op].places for body in place.bodies]
    turning = ", ".join(dict.fromkeys(body.name for body in bodies if turns(body))) or "no body"
    still = ", ".join(dict.fromkeys(body.name for body in bodies if not turns(body))) or "no body"
    name = job.ops[op].name
    said = [
        f"whether {rotary.axis} stands at 0 when {name} starts, and what turns with it: taken are {turning}; "
        f"standing still: {still} (`turns` in the job file)",
        f"part and bodies on {rotary.axis} against what stands still, table included, while they turn",
        f"the drum, plate or tailstock of {rotary.axis} itself, where it is not given as a body",
    ]
    cut = [body.name for body in bodies if turns(body) and body.may_cut_mm > 0]
    if cut:
        said.append(f"may_cut of {', '.join(cut)}: granted only while {rotary.axis} stands at 0")
    return said
