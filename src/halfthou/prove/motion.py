"""How long the program takes: every move through the drives, and what else the clock counts. Per tool and operation.

The band is the spread between the gentlest and the briskest machine the file allows: where accelerations, corner
tolerance, change or run-up times are not stated, ranges of common practice (no source) stand in and are named.
Corners are passed in a point at the speed of their rounding; the time inside the rounding is left out
(tests/laws/test_motion_paths.py bounds it against a time-optimal path library).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.finding import Finding, Severity
from halfthou.base.table import Rows, lock
from halfthou.base.units import Display
from halfthou.base.value import Result, Value
from halfthou.nouns.answers import ToolTime
from halfthou.nouns.job import Job
from halfthou.nouns.machine import Machine
from halfthou.nouns.moves import TIMING, Kind, Limit, MoveList
from halfthou.physics.drive import arc_mm_per_s, look_ahead
from halfthou.physics.rounding import in_pieces

F8 = NDArray[np.float64]

# low (brisk), best, high (gentle): common practice, no source
ACCEL = (6000.0, 3000.0, 1000.0)  # mm/s²
CORNER_MM = (0.05, 0.01, 0.002)
CHANGE_S = (2.0, 4.0, 8.0)
RUN_UP_S = (0.5, 1.5, 4.0)
SETTLE_S = (0.0, 0.02, 0.1)
TURN_S_PER_RAD = (0.3, 0.6, 2.0)  # about 5, 10 and 35 ms a degree
TURN_S = (0.2, 0.8, 2.0)  # on top for every turn
RAPID = (800.0, 400.0, 200.0)  # mm/s, where the file states none
MODEL_RATIO = 0.03
"""Share of the time that a model of this kind misses even with known limits (common practice, no source)."""
NEVER_REACHED_RATIO = 0.95
STILL = (Kind.DWELL, Kind.TOOL_CHANGE, Kind.STOP, Kind.DECLARED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Motion:
    """Times of one operation; `timing` is aligned with its moves."""

    timing: Rows
    cycle: Result
    tool_times: tuple[ToolTime, ...]
    findings: tuple[Finding, ...]
    assumptions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Drives:
    """One guess of the machine: accelerations f8 (3,), jerks (0 = no limit), rapids, corner, times."""

    accel: F8
    jerk: F8
    rapid: F8
    feed_limit: float
    corner_mm: float
    settle_s: float
    change_s: float
    run_up_s: float
    most_rpm: float
    dog_leg: bool
    turn_s_per_rad: float = 0.0
    turn_s: float = 0.0


def drives_of(machine: Machine, k: int) -> Drives:
    """k 0 brisk, 1 best, 2 gentle."""
    axes = machine.axes
    accel = np.array([ACCEL[k] if axis.accel_mm_per_s2 is None else axis.accel_mm_per_s2 for axis in axes])
    jerk = np.array([axis.jerk_mm_per_s3 or 0.0 for axis in axes])
    rapid = np.array(
        [
            axis.rapid_mm_per_s if np.isfinite(axis.rapid_mm_per_s) and axis.rapid_mm_per_s > 0 else RAPID[k]
            for axis in axes
        ]
    )
    spindle = machine.spindle
    return Drives(
        accel, jerk, rapid, machine.feed_limit_mm_per_s or float(rapid.max()),
        CORNER_MM[k] if machine.corner_mm is None else machine.corner_mm,
        SETTLE_S[k] if machine.settle_s is None else machine.settle_s,
        CHANGE_S[k] if machine.magazine.change_s is None else machine.magazine.change_s,
        RUN_UP_S[k] if spindle.run_up_s is None else spindle.run_up_s,
        spindle.most_rpm if np.isfinite(spindle.most_rpm) and spindle.most_rpm > 0 else 12000.0,
        machine.control.rapid_path == "dog-leg", *_turning(machine, k),
    )  # fmt: skip


def _turning(machine: Machine, k: int) -> tuple[float, float]:
    """Seconds a radian and a turn of the rotary axis."""
    rotary = machine.rotary
    if rotary is None:
        return 0.0, 0.0
    slow, each = rotary.s_per_rad, rotary.each_s
    return TURN_S_PER_RAD[k] if slow is None else slow, TURN_S[k] if each is None else each


@dataclass(frozen=True, slots=True)
class _Blocks:
    """Shape of every row: length, directions at both ends, radius of arcs (inf for lines), is it travel?"""

    length: F8
    first: F8
    last: F8
    radius: F8
    travels: NDArray[np.bool_]


def _blocks(rows: Rows) -> _Blocks:
    start, end, centre = rows["start_mm"], rows["end_mm"], rows["centre_mm"]
    delta = end - start
    length = np.linalg.norm(delta, axis=1)
    safe = np.where(length > 0, length, 1.0)[:, None]
    first = delta / safe
    last = first.copy()
    radius = np.full(len(rows), np.inf)
    for normal in (0, 1, 2):
        arcs = np.flatnonzero((rows["kind"] == Kind.ARC) & (rows["normal"] == normal))
        if not len(arcs):
            continue
        i, j = (normal + 1) % 3, (normal + 2) % 3
        a, b = start[arcs] - centre[arcs], end[arcs] - centre[arcs]
        r = (np.hypot(a[:, i], a[:, j]) + np.hypot(b[:, i], b[:, j])) / 2
        sweep = rows["sweep_rad"][arcs]
        rise = delta[arcs, normal]
        whole = np.hypot(np.abs(sweep) * r, rise)
        length[arcs], radius[arcs] = whole, r * (whole / np.maximum(np.abs(sweep) * r, 1e-12)) ** 2
        sign = np.sign(sweep)
        for vec, out in ((a, first), (b, last)):
            own = np.maximum(np.hypot(vec[:, i], vec[:, j]), 1e-12)
            flat = np.abs(sweep) * r / np.maximum(whole, 1e-12)
            out[arcs, i], out[arcs, j] = -vec[:, j] / own * sign * flat, vec[:, i] / own * sign * flat
            out[arcs, normal] = rise / np.maximum(whole, 1e-12)
    travels = ~np.isin(rows["kind"], STILL) & (length > 0)
    return _Blocks(length, first, last, radius, travels)


def _limits(rows: Rows, blocks: _Blocks, drives: Drives) -> tuple[F8, F8, F8, NDArray[np.uint8]]:
    """Speed limit, acceleration, jerk and what limits, per row."""
    share = np.maximum(np.abs(blocks.first), np.abs(blocks.last))
    arcs = np.isfinite(blocks.radius)
    flat = np.where(share > 1e-9, share, 1e-9)
    accel = (drives.accel / flat).min(axis=1)
    accel[arcs] = drives.accel.min()
    jerk = np.where(drives.jerk > 0, drives.jerk, np.inf)
    jerks = (jerk / flat).min(axis=1)
    jerks[~np.isfinite(jerks)] = 0.0
    feed = np.minimum(rows["feed_mm_per_s"], drives.feed_limit)
    rapid = (drives.rapid / flat).min(axis=1)
    fast = rows["kind"] == Kind.RAPID
    most = np.where(fast, rapid, np.minimum(feed, rapid))
    limited = np.where(fast, Limit.RAPID, Limit.FEED).astype(np.uint8)
    for k in np.flatnonzero(arcs).tolist():
        round_ = arc_mm_per_s(float(accel[k]), float(blocks.radius[k]))
        if round_ < most[k]:
            most[k], limited[k] = round_, int(Limit.RADIUS)
    return np.maximum(most, 1e-9), accel, jerks, limited


def _inwards(first: F8, second: F8, accel: F8) -> F8:
    """Acceleration f8 (n,) the axes can give towards the middle of a rounding, all along it, from `first` to `second`.

    The direction to the middle turns with the path: n(p) = n·cos p − u·sin p for 0 ≤ p ≤ turn, u the direction before
    the corner, n square to it. Each axis is asked for a share |n(p)|, greatest at its crest or at an end.
    """
    cosine = np.einsum("ij,ij->i", first, second)
    square = second - first * cosine[:, None]
    sine = np.linalg.norm(square, axis=1)
    start = np.where(sine[:, None] > 1e-12, square / np.maximum(sine, 1e-12)[:, None], 0.0)
    end = start * cosine[:, None] - first * sine[:, None]
    turn = np.arctan2(sine, cosine)[:, None]
    crest = np.mod(-np.arctan2(first, start), np.pi) <= turn
    share = np.maximum(np.abs(start), np.abs(end))
    share = np.where(crest, np.hypot(start, first), share)
    slow: F8 = (accel / np.maximum(share, 1e-9)).min(axis=1)
    return slow


@dataclass(frozen=True, slots=True)
class _Corners:
    """Before each travelling row, and after the last: speed limit (0 = rest), what a rounding takes off, its length."""

    speed: F8
    cut: F8
    arc: F8
    run: NDArray[np.int64]  # blocks of one straight line share a number


def _corners(rows: Rows, states: Rows, blocks: _Blocks, order: NDArray[np.int64], drives: Drives) -> _Corners:
    """Corners of the travelling rows of `order`."""
    n = len(order)
    corner, cut, arc = np.zeros(n + 1), np.zeros(n + 1), np.zeros(n + 1)
    if n < 2:
        return _Corners(corner, cut, arc, np.zeros(n, dtype=np.int64))
    path = states["path"][rows["state"]] if len(states) else np.full(len(rows), 640)
    a, b = order[:-1], order[1:]
    kind = rows["kind"]
    rests = (b != a + 1) | (kind[a] == Kind.PROBE) | (kind[b] == Kind.PROBE) | (path[b] != 640)
    rests |= (kind[a] == Kind.RAPID) != (kind[b] == Kind.RAPID)
    rests |= rows["spindle_rpm"][a] != rows["spindle_rpm"][b]
    cosine = np.clip(np.einsum("ij,ij->i", blocks.last[a], blocks.first[b]), -1.0, 1.0)
    half = np.sqrt(np.maximum(0.0, 0.5 * (1.0 + cosine)))  # as physics.drive.corner_mm_per_s
    straight = half >= 1.0 - 1e-12
    run = np.concatenate([[0], np.cumsum(~straight | rests)])  # a line in several blocks is one line
    room = 0.5 * np.bincount(run, weights=blocks.length[order])[run]
    room = np.minimum(room[:-1], room[1:])
    bend = np.where(straight, 1.0, 1.0 - half)
    radius = np.minimum(drives.corner_mm * half / bend, room * half / np.sqrt(bend * (1.0 + half)))
    speed = np.sqrt(_inwards(blocks.last[a], blocks.first[b], drives.accel) * radius)
    corner[1:n] = np.where(rests, 0.0, np.where(straight, 1e18, speed))
    bare = rests | straight
    cut[1:n] = np.where(bare, 0.0, np.minimum(room, radius * np.sqrt(bend * (1.0 + half)) / np.maximum(half, 1e-12)))
    arc[1:n] = np.where(bare, 0.0, radius * np.arccos(cosine))
    return _Corners(corner, cut, arc, run)


def run_times(moves: MoveList, drives: Drives) -> tuple[F8, F8, NDArray[np.uint8]]:
    """Seconds, peak speed and what limits, per row, for one guess of the machine."""
    rows = moves.moves
    blocks = _blocks(rows)
    seconds, peak = np.zeros(len(rows)), np.zeros(len(rows))
    most, accel, jerk, limited = _limits(rows, blocks, drives)
    order = np.flatnonzero(blocks.travels)
    if len(order):
        corners = _corners(rows, moves.states, blocks, order, drives)
        out_s, out_peak, speed = _ahead(blocks.length[order], most[order], accel[order], jerk[order], corners)
        if drives.dog_leg:
            _dog_legs(rows, order, drives, out_s)
        out_s += np.where(speed[1:] == 0.0, drives.settle_s, 0.0)
        seconds[order], peak[order] = out_s, out_peak
        short = out_peak < most[order] * (1 - 1e-9)
        limited[order[short]] = Limit.ACCEL
    _clock(rows, drives, seconds, limited)
    return seconds, peak, limited


def _ahead(length: F8, most: F8, accel: F8, jerk: F8, corners: _Corners) -> tuple[F8, F8, F8]:
    """(seconds, peak speed, speed at the ends (n+1,)) of blocks with their roundings."""
    n = len(length)
    pieces, limit = np.zeros(3 * n), np.zeros(3 * n)
    in_pieces(length, most, corners.run, corners.cut, corners.arc, corners.speed, pieces, limit)
    joint = np.full(3 * n + 1, 1e18)
    joint[::3] = corners.speed
    out_s, out_peak, speed = np.zeros(3 * n), np.zeros(3 * n), np.zeros(3 * n + 1)
    look_ahead(pieces, limit, np.repeat(accel, 3), np.repeat(jerk, 3), joint, out_s, out_peak, speed)
    return out_s.reshape(n, 3).sum(axis=1), out_peak.reshape(n, 3).max(axis=1), speed[::3]


def _dog_legs(rows: Rows, order: NDArray[np.int64], drives: Drives, out_s: F8) -> None:
    """Rapids where every axis runs by itself take as long as the slowest axis."""
    for k in np.flatnonzero(rows["kind"][order] == Kind.RAPID).tolist():
        way = np.abs(rows["end_mm"][order[k]] - rows["start_mm"][order[k]])
        top = np.minimum(drives.rapid, np.sqrt(drives.accel * way))
        with np.errstate(divide="ignore", invalid="ignore"):
            each = np.where(way > 0, way / top + top / drives.accel, 0.0)
        out_s[k] = max(out_s[k], float(each.max()))


def _clock(rows: Rows, drives: Drives, seconds: F8, limited: NDArray[np.uint8]) -> None:
    """Dwells, changes, declared times and spindle speed changes."""
    for kind, value in ((Kind.DWELL, None), (Kind.DECLARED, None), (Kind.TOOL_CHANGE, drives.change_s)):
        own = rows["kind"] == kind
        seconds[own] += rows["dwell_s"][own] if value is None else value
        limited[own] = Limit.FIXED
    before = np.concatenate([np.zeros((1, 2)), rows["turn_rad"][:-1]]) if len(rows) else np.zeros((0, 2))
    way = np.abs(rows["turn_rad"] - before).max(axis=1, initial=0.0)
    turns = way > 1e-9
    turn_s = drives.turn_s + drives.turn_s_per_rad * way[turns]
    limited[turns] = np.where(turn_s > seconds[turns], Limit.FIXED, limited[turns])
    seconds[turns] = np.maximum(seconds[turns], turn_s)  # both at once where the block also moves
    before = np.concatenate([[0.0], rows["spindle_rpm"][:-1]]) if len(rows) else np.zeros(0)
    seconds += drives.run_up_s * np.minimum(np.abs(rows["spindle_rpm"] - before) / drives.most_rpm, 2.0)


def motion_of(moves: MoveList, job: Job, op: int) -> Motion:
    """Times of one operation's moves with their band, per tool, and what was assumed."""
    machine = job.machine
    best, peak, limited = run_times(moves, drives_of(machine, 1))
    low, _, _ = run_times(moves, drives_of(machine, 0))
    high, _, _ = run_times(moves, drives_of(machine, 2))
    low, high = np.minimum(low, best) * (1 - MODEL_RATIO), np.maximum(high, best) * (1 + MODEL_RATIO)
    rows = moves.moves
    timing = np.zeros(len(rows), dtype=TIMING)
    timing["dur_s"], timing["low_s"], timing["high_s"] = best, low, high
    timing["start_s"] = np.cumsum(best) - best
    timing["peak_mm_per_s"], timing["limited_by"] = peak, limited
    length = _blocks(rows).length
    with np.errstate(divide="ignore", invalid="ignore"):
        timing["mean_mm_per_s"] = np.where(best > 0, length / best, 0.0)
    total = float(best.sum())
    bound = float(max(high.sum() - total, total - low.sum()))
    return Motion(
        timing=lock(timing), cycle=Value(best=total, u=0.0, unit="s", bound=bound),
        tool_times=_tools(rows, best, job, op), findings=tuple(_findings(moves, timing, job, op)),
        assumptions=_assumptions(machine, Display(length_unit=job.length_unit)),
    )  # fmt: skip


def _tools(rows: Rows, seconds: F8, job: Job, op: int) -> tuple[ToolTime, ...]:
    names = {tool.number: tool.name for tool in job.tools}
    out = []
    for number in dict.fromkeys(rows["tool"].tolist()):
        own = rows["tool"] == number
        cuts, fast = own & np.isin(rows["kind"], (Kind.LINE, Kind.ARC)), own & (rows["kind"] == Kind.RAPID)
        rest = own & ~cuts & ~fast
        out.append(
            ToolTime(
                op=op, tool=int(number), name=names.get(number, "no tool" if number == 0 else f"T{number}"),
                cutting_s=float(seconds[cuts].sum()), rapid_s=float(seconds[fast].sum()),
                other_s=float(seconds[rest].sum()), moves=int(own.sum()), lowest_z_mm=None,
            )
        )  # fmt: skip
    return tuple(out)


def _findings(moves: MoveList, timing: Rows, job: Job, op: int) -> list[Finding]:
    """P401 feeds above the machine's limit; P402 feeds that are hardly ever reached."""
    rows, found = moves.moves, []
    show = Display(length_unit=job.length_unit)
    cuts = np.isin(rows["kind"], (Kind.LINE, Kind.ARC))
    limit = job.machine.feed_limit_mm_per_s
    if limit is not None:
        over = np.flatnonzero(cuts & (rows["feed_mm_per_s"] > limit * (1 + 1e-9)))
        if len(over):
            k = int(over[0])
            found.append(
                Finding(
                    code="P401", severity=Severity.CARE, place=moves.place(k, "F"),
                    what=f"Feed {show.feed(float(rows['feed_mm_per_s'][k]))} is above the machine's {show.feed(limit)}.",
                    why="The control clips it or stops.", do=f"Write a feed of {show.feed(limit)} or less.", move=k,
                    op=op, tool=int(rows["tool"][k]), count=len(over),
                )
            )  # fmt: skip
    share = np.divide(
        timing["peak_mm_per_s"], rows["feed_mm_per_s"], out=np.ones(len(rows)), where=rows["feed_mm_per_s"] > 0
    )
    for number in np.unique(rows["tool"][cuts]).tolist():
        own = cuts & (rows["tool"] == number) & (timing["dur_s"] > 0)
        slow = own & (share < NEVER_REACHED_RATIO)
        spent = float(timing["dur_s"][slow].sum())
        if slow.sum() > 20 and spent > 0.5 * float(timing["dur_s"][own].sum()):
            k = int(np.flatnonzero(slow)[0])
            found.append(
                Finding(
                    code="P402", severity=Severity.NOTE, place=moves.place(k),
                    what=f"T{number} does not reach its programmed feed on {int(slow.sum())} of {int(own.sum())} moves.",
                    why="The blocks are short for the acceleration; a higher feed brings nothing.",
                    do="Longer blocks or arcs instead of short lines bring more than a higher F.", move=k, op=op,
                    tool=int(number), count=int(slow.sum()),
                )
            )  # fmt: skip
    return found


def _assumptions(machine: Machine, show: Display) -> tuple[str, ...]:
    said = []
    open_axes = [axis.name for axis in machine.axes if axis.accel_mm_per_s2 is None]
    if open_axes:
        said.append(
            f"acceleration of {', '.join(open_axes)} is not known: {ACCEL[2] / 1000:g} to {ACCEL[0] / 1000:g} m/s² is used; "
            f"time one rapid of {show.length(20.0)} and one of {show.length(200.0)} to pin it down"
        )
    if machine.corner_mm is None:
        said.append(
            f"corner tolerance is not known: {show.length(CORNER_MM[2], unit=False)} to {show.length(CORNER_MM[0])} is used"
        )
    if machine.magazine.change_s is None:
        said.append(f"tool change time is not known: {CHANGE_S[0]:g} to {CHANGE_S[2]:g} s is used")
    if machine.spindle.run_up_s is None:
        said.append(f"spindle run-up is not known: {RUN_UP_S[0]:g} to {RUN_UP_S[2]:g} s to full speed is used")
    if machine.rotary is not None and None in (machine.rotary.s_per_rad, machine.rotary.each_s):
        said.append(
            f"time of {machine.rotary.axis} is not stated: {TURN_S_PER_RAD[0]:g} to {TURN_S_PER_RAD[2]:g} s a radian and "
            f"{TURN_S[0]:g} to {TURN_S[2]:g} s a turn are used where it is not"
        )
    said.append("stops that wait for a person take no time here")
    return tuple(said)
