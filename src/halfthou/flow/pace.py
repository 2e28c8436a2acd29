"""Cycle times calibrated from readings: the timed job's moves, the fit, and the time of the job that is asked about."""

import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from halfthou.base.errors import Complaint, ReadingError
from halfthou.base.table import Rows, lock
from halfthou.base.value import Value
from halfthou.base.watch import QUIET, Watch
from halfthou.files.job import Loaded, load_job
from halfthou.files.readings import load_times
from halfthou.flow.read import read_op, setup_of
from halfthou.nouns.answers import Proof, ToolTime
from halfthou.nouns.machine import Machine
from halfthou.nouns.moves import Kind, MoveList
from halfthou.nouns.times import PaceAnswer, PaceTime, TimeRow, Times
from halfthou.physics.pace_fit import Pace, Timed, fit
from halfthou.physics.pace_forecast import Forecast, forecast
from halfthou.prove.pace import course_for, prior_of
from halfthou.prove.pace_log import log_of, matched, stretches, tools_of, total_of
from halfthou.prove.pace_words import numbers_of

F8 = NDArray[np.float64]
LEAST_MATCHED = 0.5
"""Share of the stamps with a move that must follow the program (choice, no source)."""
_BANDS_OF_COMMON_PRACTICE = ("acceleration of ", "corner tolerance ", "tool change time ", "spindle run-up ")
"""Beginnings of what `prove.motion` assumes; under calibrated times it is said number by number."""
_N_WORD = re.compile(r"^\s*/?\d?\s*[Nn]\s*(\d+)")


def pace_of(path: Path, times: Path, watch: Watch = QUIET) -> PaceAnswer:
    """The time of the job at `path`, from readings of this or another job on the same machine.

    Raises ReadingError, InputError of the job, Cancelled.
    """
    loaded = load_job(path)
    moves = [_moves(loaded, k, watch) for k in range(len(loaded.job.ops))]
    return _answer(loaded, moves, load_times(times), watch)[0]


def with_times(proof: Proof, loaded: Loaded, times: Times, watch: Watch = QUIET) -> Proof:
    """The proof with times calibrated from readings; low and high of every row add up to the operation's interval."""
    ops = range(len(proof.job.ops))
    moves = [replace(proof.moves, moves=proof.moves.moves[proof.moves.moves["op"] == k]) for k in ops]
    answer, each = _answer(loaded, moves, times, watch)
    timing = proof.timing.copy()
    for one, said in zip(answer.ops, each, strict=True):
        own = proof.moves.moves["op"] == one.op
        dur = said.rows_s
        timing["dur_s"][own], timing["start_s"][own] = dur, np.cumsum(dur) - dur
        timing["low_s"][own], timing["high_s"][own] = dur * one.low_s / one.best_s, dur * one.high_s / one.best_s
    return replace(
        proof,
        timing=lock(timing),
        pace=answer,
        assumptions=(
            *answer.said,
            *(text for text in proof.assumptions if not text.startswith(_BANDS_OF_COMMON_PRACTICE)),
        ),
        cycle=Value(best=answer.whole.best_s, u=answer.whole.std_s, unit="s"),
        cycle_ops=tuple(Value(best=one.best_s, u=one.std_s, unit="s") for one in answer.ops),
        tool_times=tuple(_tool_time(one, proof.moves.moves, timing["dur_s"]) for one in proof.tool_times),
    )


def _tool_time(one: ToolTime, rows: Rows, seconds: F8) -> ToolTime:
    """The same split of a tool's time, by the calibrated seconds."""
    own = (rows["op"] == one.op) & (rows["tool"] == one.tool)
    cuts, fast = own & np.isin(rows["kind"], (Kind.LINE, Kind.ARC)), own & (rows["kind"] == Kind.RAPID)
    cutting, rapid = float(seconds[cuts].sum()), float(seconds[fast].sum())
    return replace(one, cutting_s=cutting, rapid_s=rapid, other_s=float(seconds[own].sum()) - cutting - rapid)


def _moves(loaded: Loaded, op: int, watch: Watch) -> MoveList:
    """The moves of one operation, without cutting anything; probing finds nothing."""
    job = loaded.job
    setup = setup_of(job, job.ops[op], use_found=True)
    return read_op(job, op, loaded.programs[op], setup, lambda _setup: None, watch)[0].moves


def _answer(loaded: Loaded, moves: Sequence[MoveList], times: Times, watch: Watch) -> tuple[PaceAnswer, list[Forecast]]:
    timed_job, timed_moves = loaded, moves
    if times.job:
        timed_job = load_job(Path(times.file).parent / times.job)
        timed_moves = [_moves(timed_job, k, watch) for k in range(len(timed_job.job.ops))]
    machine = loaded.job.machine
    prior = prior_of(machine)
    pace = fit(_timed(times, timed_job, timed_moves, machine), prior, watch)
    each = [forecast(pace, course_for(own, machine), watch) for own in moves]
    whole = forecast(pace, course_for(_together(moves), machine), watch)
    numbers = numbers_of(pace, prior)
    answer = PaceAnswer(
        file=times.file, kind=times.kind, sections=pace.sections, whole=_time(-1, whole),
        ops=tuple(_time(k, one) for k, one in enumerate(each)), numbers=numbers,
        said=_said(times, timed_job, pace, [n.name for n in numbers if not n.told]),
    )  # fmt: skip
    return answer, each


def _together(moves: Sequence[MoveList]) -> MoveList:
    """All operations in a row; state rows are not needed beyond the path mode, so each keeps its own."""
    if len(moves) == 1:
        return moves[0]
    if all(m.states is moves[0].states for m in moves):
        return replace(moves[0], moves=np.concatenate([m.moves for m in moves]))
    rows, states, first = [], [], 0
    for m in moves:
        own = m.moves.copy()
        own["state"] += first
        first += len(m.states)
        rows.append(own)
        states.append(m.states)
    return replace(moves[0], moves=np.concatenate(rows), states=np.concatenate(states))


def _time(op: int, said: Forecast) -> PaceTime:
    return PaceTime(op=op, best_s=said.best_s, low_s=said.low_s, high_s=said.high_s, std_s=said.std_s)


def _timed(times: Times, loaded: Loaded, moves: Sequence[MoveList], machine: Machine) -> list[Timed]:
    """Readings by operation, set against the moves.

    Raises ReadingError.
    """
    names = [op.name.lower() for op in loaded.job.ops]
    by: dict[int, list[TimeRow]] = {}
    complaints: list[Complaint] = []
    for row in times.rows:
        if row.operation.lower() in names:
            by.setdefault(names.index(row.operation.lower()), []).append(row)
        elif not row.operation and len(names) == 1:
            by.setdefault(0, []).append(row)
        else:
            what = (
                f"the operation {row.operation!r} is not in the job" if row.operation else "the operation is not named"
            )
            do = f"operation = one of {', '.join(op.name for op in loaded.job.ops)}"
            complaints.append(Complaint(code="F202", place=row.place, what=what, do=do))
            break
    out: list[Timed] = []
    for op, rows in by.items():
        if times.kind == "block":
            out += _log(rows, loaded, op, moves[op], machine, complaints)
        elif times.kind == "tool":
            out += _tools(rows, moves[op], machine, complaints)
        else:
            out += [total_of(moves[op], machine, r.time_s, r.plus_minus_s, r.feed_ratio, r.rapid_ratio) for r in rows]
    if complaints:
        raise ReadingError(complaints)
    return out


def _log(
    rows: Sequence[TimeRow], loaded: Loaded, op: int, moves: MoveList, machine: Machine, complaints: list[Complaint]
) -> list[Timed]:
    programs = loaded.programs[op]
    blocks: dict[int, int] = {}
    for k, text in enumerate(programs[0].lines, 1):
        match = _N_WORD.match(text)
        if match:
            blocks.setdefault(int(match.group(1)), k)
    files = {p.name.lower(): k for k, p in enumerate(programs)} | {
        Path(p.file).name.lower(): k for k, p in enumerate(programs)
    }
    line = np.array([blocks.get(r.block, -1) if r.block >= 0 else r.line for r in rows], dtype=np.int64)
    for row in rows:
        if row.program and row.program.lower() not in files:
            what, do = f"the program {row.program!r} is not in the job", f"known: {', '.join(files)}"
            complaints.append(Complaint(code="F702", place=row.place, what=what, do=do))
            return []
    program = np.array([files.get(r.program.lower(), 0) for r in rows], dtype=np.int64)
    moving = set(zip(moves.moves["program"].tolist(), moves.moves["line"].tolist(), strict=True))
    asked = np.array([(p, n) in moving for p, n in zip(program.tolist(), line.tolist(), strict=True)])
    hit = matched(moves, line, program) >= 0
    length = max((len(p.lines) for p in programs), default=0)
    wild = [r for r, n in zip(rows, line.tolist(), strict=True) if n < 0 or n > length]
    if wild or hit.sum() < 2 or hit.sum() < LEAST_MATCHED * asked.sum():
        at = wild[0] if wild else rows[0]
        what = (
            "a line or block of the log is not in the program" if wild
            else f"only {int(hit.sum())} of {int(asked.sum())} stamps follow the program"
        )  # fmt: skip
        do = f"is it the log of {programs[0].name}, and of this revision?"
        complaints.append(Complaint(code="F702", place=at.place, what=what, do=do))
        return []
    return [
        log_of(
            moves, machine, np.array([r.time_s for r in rows]), line, program=program,
            feed_ratio=np.array([r.feed_ratio for r in rows]), rapid_ratio=np.array([r.rapid_ratio for r in rows]),
        )
    ]  # fmt: skip


def _tools(rows: Sequence[TimeRow], moves: MoveList, machine: Machine, complaints: list[Complaint]) -> list[Timed]:
    turns = [tool for tool, _, _ in stretches(moves)]
    if [r.tool for r in rows] != turns:
        at = next((r for r, tool in zip(rows, turns, strict=False) if r.tool != tool), rows[-1])
        what = f"the tools timed are {[r.tool for r in rows]}, those of the program {turns}"
        do = "one line for every turn of a tool, in the order of the program"
        complaints.append(Complaint(code="F702", place=at.place, what=what, do=do))
        return []
    return [
        tools_of(
            moves, machine, [r.time_s for r in rows], [r.plus_minus_s for r in rows], [r.feed_ratio for r in rows],
            [r.rapid_ratio for r in rows],
        )
    ]  # fmt: skip


def _said(times: Times, loaded: Loaded, pace: Pace, untold: Sequence[str]) -> tuple[str, ...]:
    """What was taken for granted, and what the readings cannot tell."""
    what = {"block": "sections of a log", "tool": "times of tools", "total": "stopwatch times"}[times.kind]
    said = [
        f"times are calibrated from {Path(times.file).name}: {pace.sections} {what} of {loaded.job.name}; "
        "about one run in 20 lies outside the 95 % interval"
    ]
    if not times.overrides_stated:
        said.append("overrides of the readings are not stated for all: 100 % is taken where they are not")
    if untold:
        said.append(f"the readings do not tell: {', '.join(untold)}; their bands of common practice stay")
    if not pace.changes and times.kind != "total":
        said.append("no tool change was timed by itself: its spread is that of common practice")
    return tuple(said)
