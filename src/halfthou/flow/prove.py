"""Question 1 from files to answer: will this program run on this machine, and will it make this part?"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from halfthou.base.errors import ProgramError
from halfthou.base.finding import Finding
from halfthou.base.limits import PITCH_MM
from halfthou.base.stamp import Stamp, digest
from halfthou.base.units import Display
from halfthou.base.value import Result, Unknown, Value
from halfthou.base.version import __version__
from halfthou.base.watch import QUIET, Watch
from halfthou.files.found import with_found
from halfthou.files.job import Loaded, load_job
from halfthou.files.load_readings import load_readings
from halfthou.files.readings import load_times
from halfthou.flow.join import rows_of
from halfthou.flow.loads import load_answer
from halfthou.flow.pace import with_times
from halfthou.flow.run import Run, run_job
from halfthou.flow.whatif import what_if
from halfthou.nc.survey import survey, unknowns
from halfthou.nouns.answers import Approach, Proof, ToolTime
from halfthou.nouns.job import Job
from halfthou.nouns.learned import LoadReadings
from halfthou.prove.compare import compare
from halfthou.prove.motion import Motion, motion_of
from halfthou.prove.registers import found_differences
from halfthou.prove.verdict import NEVER_CHECKED, verdict

MOST_APPROACHES = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class ProveOptions:
    """Options of the call; None = the tool's own default, which is said in the answer's stamp."""

    pitch_mm: float | None = None
    found_tools: Path | None = None
    found_offsets: Path | None = None
    what_if: bool = True
    threads: int | None = None
    times: Path | None = None  # readings of cycle times, CSV
    readings: Path | None = None  # readings of spindle load, CSV


def prove(path: Path, options: ProveOptions | None = None, watch: Watch = QUIET) -> Proof:
    """Prove the job at `path`.

    Raises InputError with every complaint when the files cannot be used, CannotAnswer, Cancelled.
    """
    return prove_loaded(load_job(path), options, watch).proof


@dataclass(frozen=True, slots=True, kw_only=True)
class Proved:
    """A proof with the run behind it."""

    proof: Proof
    run: Run


def prove_loaded(loaded: Loaded, options: ProveOptions | None = None, watch: Watch = QUIET) -> Proved:
    """Prove a job that was read already; raises as `prove`."""
    options = options or ProveOptions()
    job = with_found(loaded.job, options.found_tools, options.found_offsets)
    pitch = options.pitch_mm or PITCH_MM
    times = load_times(options.times) if options.times is not None else None
    readings = load_readings(options.readings) if options.readings is not None else None
    check_programs(job, loaded)
    base = run_job(job, loaded.programs, pitch_mm=pitch, threads=options.threads, watch=watch)
    design = _design(base, watch)
    found = [*base.findings, *found_differences(job), *design.findings]
    said = [*base.not_checked, *design.not_checked]
    if options.what_if:
        tried, untried = what_if(
            job, loaded.programs, base, found, pitch_mm=pitch, threads=options.threads, watch=watch
        )
        found += tried
        said += untried
    else:
        said.append("what if: not asked for")
    proof = _answer(loaded, base, found, said, design, options, pitch, readings, watch)
    return Proved(proof=with_times(proof, loaded, times, watch) if times is not None else proof, run=base)


def run_only(path: Path, options: ProveOptions | None = None, watch: Watch = QUIET) -> Run:
    """Read, place, cut and search as `prove` does, and hand out the run itself: moves, sweeps, removals.

    A `Removal` answers `state_at(move)` and `surface_points(points)`. Raises as `prove`.
    """
    options = options or ProveOptions()
    loaded = load_job(path)
    job = with_found(loaded.job, options.found_tools, options.found_offsets)
    check_programs(job, loaded)
    pitch = options.pitch_mm or PITCH_MM
    return run_job(job, loaded.programs, pitch_mm=pitch, threads=options.threads, watch=watch)


def check_programs(job: Job, loaded: Loaded) -> None:
    """All unknown codes and missing subprograms of all programs at once; raises ProgramError."""
    complaints = []
    for own in loaded.programs:
        if own:
            complaints += unknowns(survey(own[0], own[1:], job.machine.control), own)
    if complaints:
        raise ProgramError(complaints)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Design:
    findings: tuple[Finding, ...] = ()
    not_checked: tuple[str, ...] = ()
    worst: tuple[tuple[str, float, float], ...] = ()
    points: int = 0


def _design(run: Run, watch: Watch) -> _Design:
    """Every place that says where the design lies; the last step of a part is judged for left-over too."""
    job = run.job
    if job.design is None:
        return _Design(not_checked=("gouge and left-over: no design is given",))
    tools = {tool.number: tool for tool in job.tools}
    used = {
        (p.stock.from_op, max(p.stock.from_place, 0)) for op in job.ops for p in op.places if p.stock.kind == "from"
    }
    found: list[Finding] = []
    said: list[str] = []
    worst: tuple[tuple[str, float, float], ...] = ()
    points = 0
    for index, op in enumerate(job.ops):
        for k, place in enumerate(op.places):
            if place.design_shift_mm is None:
                continue
            turn = np.eye(3) if place.design_turn is None else np.asarray(place.design_turn, dtype=np.float64)
            final = (index, k) not in used  # nothing is made of it any more
            done = compare(
                run.removals[index][k], job.design, turn=turn, shift_mm=np.array(place.design_shift_mm), moves=run.moves,
                tools=tools, op=index, gouge_mm=job.gouge_mm, left_over_mm=job.left_over_mm,
                error_mm=run.removals[index][k].record.error_mm, final=final, watch=watch, show=Display(length_unit=job.length_unit),
            )  # fmt: skip
            found += done.findings
            said += done.not_checked
            points += done.points
            if final:
                worst = done.worst
    if not points:
        said.append("gouge and left-over: no place says where the design lies")
    return _Design(findings=tuple(found), not_checked=tuple(said), worst=worst, points=points)


def _answer(
    loaded: Loaded, run: Run, found: Sequence[Finding], said: Sequence[str], design: _Design, options: ProveOptions,
    pitch: float, readings: LoadReadings | None, watch: Watch,
) -> Proof:  # fmt: skip
    job = run.job
    motions = [motion_of(rows_of(run.moves, rows), job, k) for k, rows in enumerate(run.rows)]
    timing = np.concatenate([m.timing for m in motions])
    loads = load_answer(run, timing, watch, readings)
    of_motion = (_shifted(f, rows.start) for m, rows in zip(motions, run.rows, strict=True) for f in m.findings)
    findings = _sorted([*found, *of_motion, *loads.findings])
    not_checked = tuple(dict.fromkeys([*said, *loads.not_checked, *NEVER_CHECKED]))
    worst, words = verdict(findings, not_checked)
    return Proof(
        stamp=Stamp(
            tool_version=__version__, inputs=inputs_of(loaded, options),
            options=(("pitch_mm", f"{pitch:g}"), ("what_if", str(options.what_if))),
        ),
        job=job, verdict=worst, words=words, not_checked=not_checked, findings=findings, moves=run.moves,
        timing=timing, cuts=tuple(r.record for own in run.removals for r in own),
        removed=run.removed, cycle=_total([m.cycle for m in motions]), cycle_ops=tuple(m.cycle for m in motions),
        tool_times=_tool_times(motions, run), approaches=_nearest(run.approaches), windows=run.windows,
        assumptions=tuple(dict.fromkeys((*_taken(job), *loads.taken, *(a for m in motions for a in m.assumptions)))),
        questions=tuple(dict.fromkeys((*loaded.questions, *job.open_questions))),
        loads=loads.loads, design_points=design.points, design_worst=design.worst,
    )  # fmt: skip


def _taken(job: Job) -> tuple[str, ...]:
    """What the run takes for granted about the machine."""
    if any(value is not None for value in job.machine.magazine.change_at_mm):
        return ()
    return ("a tool change goes to Z home first (change_at in the machine file says otherwise)",)


def inputs_of(loaded: Loaded, options: ProveOptions) -> tuple[tuple[str, str], ...]:
    """Hashes of all files, those named in the call in place of the job's own."""
    inputs = dict(loaded.inputs)
    for role, path in (
        ("found tools", options.found_tools),
        ("found offsets", options.found_offsets),
        ("times", options.times),
        ("readings", options.readings),
    ):
        if path is not None:
            inputs[role] = digest(path.read_bytes())
    return tuple(sorted(inputs.items()))


def _shifted(finding: Finding, first: int) -> Finding:
    return replace(finding, move=finding.move + first if finding.move >= 0 else -1)


def _sorted(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """STOP first, then by operation and block."""
    return tuple(sorted(findings, key=lambda f: (-int(f.severity), f.op, f.move if f.move >= 0 else 10**9, f.code)))


def _nearest(all_: Sequence[Approach]) -> tuple[Approach, ...]:
    return tuple(sorted(all_, key=lambda a: (a.clearance_mm, a.op, a.move)))[:MOST_APPROACHES]


def _total(cycles: Sequence[Result]) -> Result:
    values = [c for c in cycles if isinstance(c, Value)]
    if len(values) < len(cycles) or not values:
        return next((c for c in cycles if isinstance(c, Unknown)), Unknown(reason="no operation"))
    return Value(best=sum(v.best for v in values), u=0.0, unit="s", bound=sum(v.bound for v in values))


def _tool_times(motions: Sequence[Motion], run: Run) -> tuple[ToolTime, ...]:
    out = []
    for k, (motion, rows) in enumerate(zip(motions, run.rows, strict=True)):
        removed = run.removed[rows]
        numbers = run.moves.moves["tool"][rows]
        low = {(d.op, d.tool): d.lowest_z_mm for d in reversed(run.depths) if d.op == k}
        for time in motion.tool_times:
            out.append(
                replace(
                    time,
                    removed_mm3=float(removed["mm3"][numbers == time.tool].sum()),
                    lowest_z_mm=low.get((k, time.tool)),
                )
            )
    return tuple(out)
