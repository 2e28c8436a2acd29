"""What one revision of a job does differently from another: blocks, surfaces, times, findings, tables, machine."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.limits import SAME_POINT_MM
from halfthou.base.table import Rows
from halfthou.base.units import Display
from halfthou.base.value import Value
from halfthou.base.watch import QUIET, Watch
from halfthou.nouns.answers import Proof
from halfthou.nouns.frame import Pose, shifted
from halfthou.nouns.job import Job, PartPlace
from halfthou.nouns.moves import MoveList
from halfthou.nouns.revision import MovedSurface, OpBlocks, Revision, Surfaces, TimeChange
from halfthou.prove.remove import Removal
from halfthou.prove.revision_findings import finding_changes
from halfthou.prove.revision_probe import LEVELS, SAMPLED_MOVES, Seen, near_moves, surface_of
from halfthou.prove.revision_surface import EDGE_MM, MOVED_MM, REACH_MM, compare_surfaces, laid
from halfthou.prove.revision_tables import (
    design_differences,
    machine_differences,
    setup_differences,
    tool_differences,
)
from halfthou.prove.revision_text import Side, blocks
from halfthou.prove.revision_words import surfaces_of

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
Pairs = list[tuple[int, int]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Half:
    """One revision, proved: the answer, and per operation what the run behind it held (own rows each)."""

    proof: Proof
    moves: tuple[MoveList, ...]
    sweeps: tuple[Rows, ...]
    shifts: tuple[tuple[F8, ...], ...]
    removals: tuple[tuple[Removal, ...], ...]

    @property
    def job(self) -> Job:
        """The job as it was run."""
        return self.proof.job


def revision(now: Half, before: Half, watch: Watch = QUIET) -> Revision:
    """Compare a job with another revision of it. Raises Cancelled."""
    show = Display(length_unit=now.job.length_unit)
    pairs, unpaired = op_pairs(now.job, before.job)
    found: list[OpBlocks] = []
    changed: dict[tuple[bool, int], I8] = {}
    for i, j in pairs:
        own, rows_now, rows_before = blocks(now.job.ops[i].name, _side(now, i), _side(before, j), watch)
        found.append(own)
        changed[True, i], changed[False, j] = _elsewhere(now, before, i, j, rows_now, rows_before)
    names_now, names_before = [op.name for op in now.job.ops], [op.name for op in before.job.ops]
    back = {j: names_now[i] for i, j in pairs}
    renamed = [back.get(j, name) for j, name in enumerate(names_before)]
    findings, kept = finding_changes(now.proof.findings, before.proof.findings, names_now, renamed)
    return Revision(
        now=now.proof.stamp, before=before.proof.stamp, now_title=title(now.job), before_title=title(before.job),
        length_unit=now.job.length_unit, ops=tuple(found), unpaired_ops=unpaired,
        surfaces=_surfaces(now, before, pairs, changed, show, watch), times=time_changes(now.proof, before.proof, pairs),
        findings=findings, findings_kept=kept, tools=tool_differences(now.job, before.job, show),
        setup=setup_differences(now.job, before.job, pairs, show),
        machine=machine_differences(now.job.machine, before.job.machine, show),
        design=design_differences(now.job.design, before.job.design, show),
    )  # fmt: skip


def title(job: Job) -> str:
    """Name, revision and machine of a job."""
    name = f"{job.name} rev {job.revision}" if job.revision else job.name
    return f"{name}, machine {job.machine.name}" if job.machine.name else name


def op_pairs(now: Job, before: Job) -> tuple[Pairs, tuple[str, ...]]:
    """Operations that belong together: of one name, else at one position where neither name is found in the other job."""
    names_now, names_before = [op.name for op in now.ops], [op.name for op in before.ops]
    pairs = [(i, names_before.index(name)) for i, name in enumerate(names_now) if name in names_before]
    taken_now, taken_before = {i for i, _ in pairs}, {j for _, j in pairs}
    for k in range(min(len(names_now), len(names_before))):
        if k not in taken_now and k not in taken_before:
            pairs.append((k, k))
            taken_now.add(k)
            taken_before.add(k)
    said = [f"{name} (only in this job)" for i, name in enumerate(names_now) if i not in taken_now]
    said += [f"{name} (only in the other)" for j, name in enumerate(names_before) if j not in taken_before]
    return sorted(pairs), tuple(said)


def _side(half: Half, op: int) -> Side:
    return Side(programs=half.moves[op].programs, moves=half.moves[op])


def _elsewhere(now: Half, before: Half, i: int, j: int, rows_now: I8, rows_before: I8) -> tuple[I8, I8]:
    """Moves that differ as programmed, and those whose real tip or tool differs although the block is the same."""
    tools_now, tools_before = {t.number: t for t in now.job.tools}, {t.number: t for t in before.job.tools}
    other = [
        n for n in tools_now.keys() & tools_before.keys()
        if not np.array_equal(tools_now[n].profile_mm, tools_before[n].profile_mm)
    ]  # fmt: skip
    a = np.union1d(rows_now, np.flatnonzero(np.isin(now.moves[i].moves["tool"], other)))
    b = np.union1d(rows_before, np.flatnonzero(np.isin(before.moves[j].moves["tool"], other)))
    if len(now.sweeps[i]) == len(before.sweeps[j]) and now.shifts[i] and before.shifts[j]:
        off = (now.sweeps[i]["to_mm"] - now.shifts[i][0]) - (before.sweeps[j]["to_mm"] - before.shifts[j][0])
        away = np.flatnonzero(np.abs(off).max(axis=1, initial=0.0) > SAME_POINT_MM)
        a, b = np.union1d(a, away), np.union1d(b, away)
    return a.astype(np.int64), b.astype(np.int64)


def time_changes(now: Proof, before: Proof, pairs: Pairs) -> tuple[TimeChange, ...]:
    """Per tool and operation, per operation, and the job (op "")."""
    out: list[TimeChange] = []
    back = {j: i for i, j in pairs}
    ours = {(t.op, t.tool): t for t in now.tool_times}
    theirs = {(back.get(t.op, -1 - t.op), t.tool): t for t in before.tool_times}
    for op, tool in [*ours, *(key for key in theirs if key not in ours)]:
        a, b = ours.get((op, tool)), theirs.get((op, tool))
        name = now.job.ops[op].name if op >= 0 else before.job.ops[-1 - op].name
        out.append(
            TimeChange(
                op=name, tool=tool, name=a.name if a else b.name if b else "",
                now_s=a.cutting_s + a.rapid_s + a.other_s if a else None,
                before_s=b.cutting_s + b.rapid_s + b.other_s if b else None,
            )
        )  # fmt: skip
    for i, j in pairs:
        a_s, b_s = now.cycle_ops[i], before.cycle_ops[j]
        out.append(
            TimeChange(
                op=now.job.ops[i].name, tool=-1, name="", now_s=a_s.best if isinstance(a_s, Value) else None,
                before_s=b_s.best if isinstance(b_s, Value) else None, now_band_s=now.band_s(i),
                before_band_s=before.band_s(j),
            )
        )  # fmt: skip
    all_a, all_b = now.cycle, before.cycle
    out.append(
        TimeChange(
            op="", tool=-1, name="", now_s=all_a.best if isinstance(all_a, Value) else None,
            before_s=all_b.best if isinstance(all_b, Value) else None, now_band_s=now.band_s(),
            before_band_s=before.band_s(),
        )
    )  # fmt: skip
    return tuple(out)


def finals(job: Job) -> list[tuple[int, int]]:
    """Places whose part is finished: nothing further is made of it."""
    used = {
        (p.stock.from_op, max(p.stock.from_place, 0)) for op in job.ops for p in op.places if p.stock.kind == "from"
    }
    return [(i, k) for i, op in enumerate(job.ops) for k in range(len(op.places)) if (i, k) not in used]


def _surfaces(
    now: Half, before: Half, pairs: Pairs, changed: dict[tuple[bool, int], I8], show: Display, watch: Watch
) -> Surfaces:  # fmt: skip
    """Every finished part of this job against the one of the other revision."""
    moved: list[MovedSurface] = []
    missed: dict[str, None] = {}
    said: list[str] = []
    points = 0
    twins, alone = _places(now.job, before.job, pairs)
    said += alone
    for (i, k), (j, m) in twins:
        own, other = now.job.ops[i].places[k], before.job.ops[j].places[m]
        where = f"{now.job.ops[i].name}, {own.name}"
        pose, note = pose_between(own, other)
        if note:
            missed[f"{where}: {note}"] = None
        a = Seen(removal=now.removals[i][k], pose=shifted())
        b = Seen(removal=before.removals[j][m], pose=pose)
        drawn = []
        for half, seen, op, place in ((now, a, i, k), (before, b, j, m)):
            rows = changed.get((half is now, op), np.zeros(0, dtype=np.int64))
            walls, rays, count = near_moves(seen.removal, half.sweeps[op], rows, half.shifts[op][place], half.job.tools)
            if count < len(rows) and count >= SAMPLED_MOVES:
                missed[
                    f"{where}: {count} of {len(rows)} changed moves are sampled one by one, the rest by the rays"
                ] = None
            drawn.append(surface_of(seen, walls, rays, watch))
        missed[f"{where}: rays stand {show.length(max(d.step_mm for d in drawn))} apart: what is narrower than that and lies "
               "away from changed moves can be missed; walls are looked for at "
               f"{min(d.levels for d in drawn)} heights (at most {LEVELS})"] = None  # fmt: skip
        design = None
        if now.job.design is not None and own.design_shift_mm is not None:
            turn = np.eye(3) if own.design_turn is None else np.asarray(own.design_turn, dtype=np.float64)
            design = laid(now.job.design, turn, np.array(own.design_shift_mm))
        sampled = compare_surfaces(a, b, drawn[0].spots, drawn[1].spots, design, watch)
        points += sampled.points
        names = tuple(s.name for s in now.job.design.surfaces) if now.job.design is not None else ()
        error = a.removal.record.error_mm + b.removal.record.error_mm
        moved += surfaces_of(
            sampled, names, now.proof.moves, before.proof.moves, [op.name for op in now.job.ops], where=where,
            error_mm=error, show=show,
        )  # fmt: skip
    if twins:
        limits = (show.length(MOVED_MM), show.length(0.7 * EDGE_MM), show.length(REACH_MM))
        missed[f"movements below {limits[0]} and moved strips narrower than {limits[1]} are not told; a surface without a "
               f"counterpart within {limits[2]} is called new or gone"] = None  # fmt: skip
    return Surfaces(moved=tuple(moved), points=points, missed=tuple(missed), not_compared=tuple(said))


def _places(
    now: Job, before: Job, pairs: Pairs
) -> tuple[list[tuple[tuple[int, int], tuple[int, int]]], list[str]]:  # fmt: skip
    """Finished parts that belong together: same operation and place name, else the same position; and what stays alone."""
    ours, theirs = finals(now), finals(before)
    op_of = dict(pairs)
    twins: list[tuple[tuple[int, int], tuple[int, int]]] = []
    said: list[str] = []
    for i, k in ours:
        own = [(j, m) for j, m in theirs if j == op_of.get(i, -1)]
        name = now.ops[i].places[k].name
        best = next((t for t in own if before.ops[t[0]].places[t[1]].name == name), None)
        if best is None:
            best = next((t for t in own if t[1] == k), None)
        if best is None:
            said.append(f"surfaces of {now.ops[i].name}, {name}: the other revision has no finished part there")
            continue
        theirs.remove(best)
        twins.append(((i, k), best))
    said += [f"surfaces of {before.ops[j].name}, {before.ops[j].places[m].name} of the other revision: this job has no "
             "finished part there" for j, m in theirs]  # fmt: skip
    return twins, said


def pose_between(own: PartPlace, other: PartPlace) -> tuple[Pose, str]:
    """This job's program coordinates to the other's, by the design where both place it; and what was taken for granted."""
    if own.design_shift_mm is None or other.design_shift_mm is None:
        said = own.design_shift_mm is None and other.design_shift_mm is None
        return (
            shifted(),
            "" if said else "only one revision places the design: program coordinates are taken as the same",
        )
    a = np.eye(3) if own.design_turn is None else np.asarray(own.design_turn, dtype=np.float64)
    b = np.eye(3) if other.design_turn is None else np.asarray(other.design_turn, dtype=np.float64)
    if np.array_equal(a, b) and own.design_shift_mm == other.design_shift_mm:
        return shifted(), ""
    turn = b @ a.T
    shift = np.array(other.design_shift_mm) - turn @ np.array(own.design_shift_mm)
    return Pose(
        turn=turn, shift_mm=shift
    ), "the design lies elsewhere: the parts are compared by the design's coordinates"
