"""Suggested feeds from files to answer, and a changed copy of the programs that is proved again. Originals are never written."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePosixPath

import numpy as np

from halfthou.base.errors import CannotAnswer, Complaint, InputError, OurFault
from halfthou.base.finding import Finding, Severity
from halfthou.base.place import Place
from halfthou.base.stamp import digest
from halfthou.base.table import Rows
from halfthou.base.units import Display
from halfthou.base.watch import QUIET, Watch
from halfthou.files.job import Loaded, load_job
from halfthou.files.program import program_of
from halfthou.flow.prove import Proved, ProveOptions, prove_loaded
from halfthou.flow.read import OpSetup, read_op, setup_of
from halfthou.flow.run import Run
from halfthou.nc.rewrite import Edit, edited
from halfthou.nc.start import Ask, Contact, Point
from halfthou.nouns.answers import Proof
from halfthou.nouns.feeds import FeedCopy, Feeds, NotWritten, PeakChange
from halfthou.nouns.moves import PROBE_CONTACT, Kind, MoveList
from halfthou.nouns.program import Program
from halfthou.physics.groups import cutting_of
from halfthou.prove.chatter import chatter_of, stability_limit
from halfthou.prove.feed_limits import FeedCase, Key, Stable, Steady
from halfthou.prove.feed_words import (
    I8,
    Governed,
    Plan,
    Site,
    differences,
    edits_of,
    feed_sites,
    marked,
    plan,
    same_path,
    sites_of,
    speed_sites,
)
from halfthou.prove.feeds import suggest
from halfthou.prove.load_walls import walls_left
from halfthou.prove.loads import LoadRun, loads_of
from halfthou.prove.revision_findings import finding_changes

CHANGED_SELF = "the program reads its own feed or speed, or the way it takes depends on them"


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedAnswer:
    """The proof, the suggestions that go with it, and the copy if one was asked for."""

    proof: Proof
    feeds: Feeds
    copy: FeedCopy | None = None


def feeds(
    path: Path, options: ProveOptions | None = None, watch: Watch = QUIET, *, into: Path | None = None,
    bend_limit_mm: float | None = None,
) -> FeedAnswer:  # fmt: skip
    """Prove the job at `path` and suggest feeds; into: folder for the changed copy of its programs, which is proved too.

    bend_limit_mm: largest bending at walls that stay; left out: the design's limits. Raises as `prove`; CannotAnswer
    when how the material cuts is not known, when the folder already holds a file of a copy's name, or when the copy
    would not do what was asked.
    """
    options = options or ProveOptions()
    loaded = load_job(path)
    proved = prove_loaded(loaded, options, watch)
    loads = load_run(proved, watch)
    found = suggest(case_of(proved.run, loads, bend_limit_mm, watch), watch)
    stops = sum(one.severity is Severity.STOP for one in proved.proof.findings)
    if stops:
        said = f"the proof has {stops} STOP finding{'s' if stops > 1 else ''}: mend that first, then ask again"
        found = replace(found, said=(said, *found.said))
    copy = _copy(loaded, proved, found, loads, into, options, watch) if into is not None else None
    return FeedAnswer(proof=proved.proof, feeds=found, copy=copy)


def load_run(proved: Proved, watch: Watch = QUIET) -> LoadRun:
    """Loads of every stretch of the run; raises CannotAnswer when how the material cuts is not known."""
    run = proved.run
    cutting = cutting_of(run.job.work) if run.job.work is not None else None
    if cutting is None:
        name = f"the material {run.job.material!r}" if run.job.material else "the material (none is named)"
        raise CannotAnswer(
            f"suggested feeds: how {name} cuts is not known; describe it with [[material]] in the shop file"
        )
    engaged = [removal.engaged for own in run.removals for removal in own]
    pitch = max((removal.record.grid.pitch_mm for own in run.removals for removal in own), default=0.25)
    return loads_of(engaged, run.moves, proved.proof.timing, run.job, cutting, pitch, watch)


def case_of(run: Run, loads: LoadRun, bend_limit_mm: float | None = None, watch: Watch = QUIET) -> FeedCase:
    """What suggestions are made from: walls that stay and chatter worked out."""
    walls = np.zeros(len(loads.table), dtype=bool)
    for op, removals in enumerate(run.removals):
        watch.step("walls left", op, len(run.removals))
        walls |= walls_left(
            loads.table, loads.engaged, run.sweeps[op], op, removals, run.shifts[op], run.rows[op].start
        )
    return FeedCase(
        job=run.job, moves=run.moves, rows=run.rows,
        engaged=tuple(removal.engaged for own in run.removals for removal in own), loads=loads, walls=walls,
        bend_limit_mm=bend_limit_mm, stable=_stable(run, loads, watch),
        stable_said="stability: it takes no side cut that lasts long enough to build up",
    )  # fmt: skip


def _stable(run: Run, loads: LoadRun, watch: Watch) -> Stable:
    """Chatter of each tool at its deciding cut, at any speed ratio: limit at the new speed, same cut."""
    found, _ = chatter_of(loads, run.moves, run.job, watch)
    known = {(one.op, one.tool): one for one in found}
    teeth = {tool.tool.number: tool.teeth for tool in loads.tools}
    show = Display(length_unit=run.job.length_unit)

    def at(key: Key, speed: float) -> Steady | None:
        one = known.get(key)
        if one is None:
            return None
        low, best = one.limit.low_mm, one.limit.best_mm
        if speed != 1.0:
            chip, edge = (float(loads.table[name][one.row]) for name in ("chip_mean_mm", "edge_mm_per_s"))
            other = stability_limit(
                one.dynamics, teeth[key[1]], loads.cutting, rpm=one.speed_rpm * speed, arc_rad=one.arc_rad, chip_mm=chip,
                edge_mm_per_s=edge * speed, periodic=False,
            )  # fmt: skip
            here = one.limit.periodic_mm / one.limit.zero_order_mm
            share = min(1.0, here) if np.isfinite(here) else 1.0
            low, best = share * other.low_mm, share * other.best_mm
        words = f"it cuts {show.length(one.depth_mm)} deep, chatter is likely from {show.length(best)}, possible from {show.length(low)}"
        measured = one.dynamics.measured
        return Steady(depth_mm=one.depth_mm, low_mm=low, best_mm=best, measured=measured, move=one.move, words=words)

    return at


# -- the changed copy -----------------------------------------------------------------------------------------


def _copy(
    loaded: Loaded, proved: Proved, found: Feeds, loads: LoadRun, into: Path, options: ProveOptions, watch: Watch
) -> FeedCopy:
    """Write the copy, read it, prove it; raises CannotAnswer before anything is written when it would not be right."""
    ratios = {(s.op, s.tool): (s.feed_ratio, s.speed_ratio) for s in found.suggestions if not s.leave}
    strict = proved.run.job.machine.control.profile == "strict"
    spins = any(speed != 1.0 for _, speed in ratios.values())  # else no S word is touched, nor marked
    sites = tuple(sites_of(loaded.programs, letter, strict=strict) if letter == "F" or spins else () for letter in "FS")
    governed, lost = _governed(loaded, proved.run, sites, watch)
    able = {key: value for key, value in ratios.items() if key[0] not in lost}
    done = plan([own for own in governed if own.op not in lost], sites[0], sites[1], able)
    refused = (*(NotWritten(op=k[0], tool=k[1], why=CHANGED_SELF) for k in ratios if k[0] in lost), *done.not_written)
    before = proved.proof
    if not done.words:
        return FeedCopy(
            folder=str(into), files=(), words=(), not_written=refused, before_s=before.cycle, after_s=before.cycle,
            findings=(), findings_kept=len(before.findings), peaks=(), verdict_before=before.words,
            verdict_after=before.words,
        )  # fmt: skip
    edits = _merged(edits_of(done.feed, sites[0]), edits_of(done.speed, sites[1]))
    targets = _targets(loaded, into)
    programs = _rewritten(loaded, edits, targets)
    _check(proved.run, governed, programs, done, sites, watch)
    _write(programs, into)
    after = prove_loaded(_reloaded(loaded, programs), options, watch)
    names = tuple(op.name for op in loaded.job.ops)
    texts = {str(targets[one.file]): one for own in loaded.programs for one in own}
    changes, kept = finding_changes([_as_before(f, texts) for f in after.proof.findings], before.findings, names, names)
    counts: dict[str, int] = {}
    for word in done.words:
        counts[word.file] = counts.get(word.file, 0) + 1
    return FeedCopy(
        folder=str(into), files=tuple((str(path), counts.get(file, 0)) for file, path in targets.items()),
        words=done.words, not_written=refused, before_s=before.cycle, after_s=after.proof.cycle, findings=changes,
        findings_kept=kept, peaks=_peaks(loads, load_run(after, watch), proved, after), verdict_before=before.words,
        verdict_after=after.proof.words,
    )  # fmt: skip


def _governed(
    loaded: Loaded, run: Run, sites: Sequence[Sequence[Site]], watch: Watch
) -> tuple[list[Governed], frozenset[int]]:
    """Per operation which word governs each move; the operations whose way changes when the numbers do."""
    out: list[Governed] = []
    lost: set[int] = set()
    for op, own in enumerate(loaded.programs):
        base = run.readings[op].moves
        found: list[I8] = []
        for of, told in zip(sites, (feed_sites, speed_sites), strict=True):
            read = _again(run, op, marked(own, of), watch) if of else base
            if read is None or not same_path(base, read):
                lost.add(op)
                break
            found.append(told(read, len(of)))
        if op in lost:
            found = [np.full(len(base.moves), -1, dtype=np.int64)] * 2
        out.append(Governed(op, base, found[0], found[1]))
    return out, frozenset(lost)


def _again(run: Run, op: int, programs: Sequence[Program], watch: Watch) -> MoveList | None:
    """Another reading of one operation, probing answered as in the run; None when it is refused."""
    setup = setup_of(run.job, run.job.ops[op], use_found=True)
    rows = run.readings[op].moves.moves
    probes = rows[rows["kind"] == Kind.PROBE]

    def contact_of(_now: OpSetup) -> Contact:
        left = iter(probes)

        def answer(_ask: Ask) -> Point | None:
            row = next(left, None)
            if row is None or not row["flags"] & PROBE_CONTACT:
                return None
            x, y, z = (float(v) for v in row["end_mm"])
            return x, y, z

        return answer

    try:
        return read_op(run.job, op, programs, setup, contact_of, watch)[0].moves
    except InputError:
        return None


def _merged(*several: Mapping[str, Sequence[Edit]]) -> dict[str, list[Edit]]:
    out: dict[str, list[Edit]] = {}
    for each in several:
        for file, edits in each.items():
            out.setdefault(file, []).extend(edits)
    return out


def _targets(loaded: Loaded, into: Path) -> dict[str, Path]:
    """Where each program's copy goes: under the name the job file gives it. Raises CannotAnswer when one is there already."""
    out: dict[str, Path] = {}
    for op, own in zip(loaded.job.ops, loaded.programs, strict=True):
        for name, program in zip((op.program, *op.subprograms), own, strict=True):
            typed = PurePosixPath(name.replace("\\", "/"))
            inside = not typed.is_absolute() and ".." not in typed.parts
            out[program.file] = into / (typed if inside else typed.name)
    there = sorted({str(path) for path in out.values() if path.exists() or path.is_symlink()})
    if there:
        raise CannotAnswer(
            f"the copy is not written over files that are there: {', '.join(there)}; name an empty folder"
        )
    if len(set(out.values())) < len(out):
        raise CannotAnswer("two programs of the job have one name, so their copies cannot lie in one folder")
    return out


def _rewritten(
    loaded: Loaded, edits: Mapping[str, Sequence[Edit]], targets: Mapping[str, Path]
) -> tuple[tuple[Program, ...], ...]:
    """The programs of every operation with the new words, named as the files they go to."""
    out = []
    for own in loaded.programs:
        made = []
        for program in own:
            complaints: list[Complaint] = []
            raw = edited(program, edits.get(program.file, ()))
            made.append(program_of(str(targets[program.file]), raw, complaints))
            if complaints or len(made[-1].lines) != len(program.lines):
                raise OurFault(f"the copy of {program.file} is not the same program with other numbers")
        out.append(tuple(made))
    return tuple(out)


def _check(
    run: Run, governed: Sequence[Governed], programs: Sequence[Sequence[Program]], done: Plan,
    sites: Sequence[Sequence[Site]], watch: Watch,
) -> None:  # fmt: skip
    """The copy must read as the same moves with exactly the new feeds and speeds."""
    for own in governed:
        read = _again(run, own.op, programs[own.op], watch)
        wrong = ["it is refused"] if read is None else differences(own, read, done, sites[0], sites[1])
        if wrong:
            name = run.job.ops[own.op].name
            raise CannotAnswer(
                f"no copy is written: read again, {name} would not do what was asked ({'; '.join(wrong)})"
            )


def _write(programs: Sequence[Sequence[Program]], into: Path) -> None:
    try:
        for program in {one.file: one for own in programs for one in own}.values():
            path = Path(program.file)
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("xb") as file:
                file.write(program.raw)
    except OSError as error:
        raise CannotAnswer(f"the copy cannot be written to {into}: {(error.strerror or str(error)).lower()}") from error


def _reloaded(loaded: Loaded, programs: tuple[tuple[Program, ...], ...]) -> Loaded:
    """The same job with the copies in place of its programs, hashes included."""
    inputs = dict(loaded.inputs)
    for op, own in zip(loaded.job.ops, programs, strict=True):
        for name, program in zip((op.program, *op.subprograms), own, strict=True):
            inputs[f"program {name}"] = digest(program.raw)
    return replace(loaded, programs=programs, inputs=tuple(sorted(inputs.items())))


def _as_before(finding: Finding, originals: Mapping[str, Program]) -> Finding:
    """A finding of the copy with the text of the original's line, so that a changed F alone is no other finding."""
    place: Place = finding.place
    program = originals.get(place.file)
    if program is None or not 0 < place.line <= len(program.lines):
        return finding
    return replace(finding, place=replace(place, text=program.lines[place.line - 1]))


def _peaks(before: LoadRun, after: LoadRun, was: Proved, now: Proved) -> tuple[PeakChange, ...]:
    """Highest loads of every tool in both, best estimates."""
    out = []
    keys = np.stack([before.table["op"], before.table["tool"]], axis=1).astype(np.int64)
    for op, number in dict.fromkeys(map(tuple, keys.tolist())):
        tables = [run.table[(run.table["op"] == op) & (run.table["tool"] == number)] for run in (before, after)]
        tool = next(t.tool for t in before.tools if t.tool.number == number)
        most = {
            name: (_most(tables[0], name), _most(tables[1], name))
            for name in ("power_w", "peak_nm", "force_n", "bend_mm", "chip_high_mm")
        }  # fmt: skip
        time = [
            sum(t.cutting_s + t.rapid_s + t.other_s for t in one.proof.tool_times if (t.op, t.tool) == (op, number))
            for one in (was, now)
        ]  # fmt: skip
        out.append(
            PeakChange(
                op=op, tool=number, name=tool.name, power_w=most["power_w"], torque_n_m=most["peak_nm"],
                force_n=most["force_n"], bend_mm=most["bend_mm"], chip_mm=most["chip_high_mm"], time_s=(time[0], time[1]),
            )
        )  # fmt: skip
    return tuple(out)


def _most(table: Rows, name: str) -> float | None:
    values = np.abs(table[name].astype(np.float64))
    values = values[np.isfinite(values)]
    return float(values.max()) if len(values) and values.max() > 0 else None
