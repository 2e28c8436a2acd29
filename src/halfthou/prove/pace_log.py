"""Times read at the machine set against the moves: sections of a block log, of tools, or whole runs."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from halfthou.nouns.machine import Machine
from halfthou.nouns.moves import STOP_DECLARED, STOP_M0, STOP_M1, STOP_RETRACT, Kind, MoveList
from halfthou.physics.pace_fit import Timed
from halfthou.prove.pace import course_for

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
LEAST_S = 0.4
"""Sections are at least this long (choice of the fit, no source)."""
LATE_S = 0.002
"""How late a control may write a time stamp (common practice, no source)."""
HAND_S = 0.5
"""Plus or minus of a hand on a stopwatch (common practice, no source)."""
FAR, NEAR = 50, 5
WAITS = (STOP_M0, STOP_M1, STOP_RETRACT, STOP_DECLARED)


def matched(moves: MoveList, line: I8, program: I8 | None = None) -> I8:
    """First row of each stamp's block, i8 (k,), searched forward; -1 where the block has no row of its own.

    line i8 (k,) lines of the program, program i8 (k,) whose (0 the main one); a line far ahead counts only when none of the next few
    stamps is nearer (it then was a block without motion, met again later).
    """
    rows = moves.moves
    keys = list(zip(rows["program"].tolist(), rows["line"].tolist(), strict=True))
    where: dict[tuple[int, int], list[int]] = {}
    for k, own in enumerate(keys):
        if k == 0 or keys[k - 1] != own:
            where.setdefault(own, []).append(k)
    files = program if program is not None else np.zeros(len(line), dtype=np.int64)
    asked = list(zip(files.tolist(), line.tolist(), strict=True))
    found = np.full(len(line), -1, dtype=np.int64)
    at = 0

    def next_row(key: tuple[int, int]) -> int:
        spots = where.get(key, ())
        place = int(np.searchsorted(spots, at)) if spots else 0
        return spots[place] if place < len(spots) else -1

    for i, key in enumerate(asked):
        k = next_row(key)
        if k < 0 or (k - at > FAR and any(at <= next_row(other) < k for other in asked[i + 1 : i + 1 + NEAR])):
            continue
        found[i] = k
        at = k + 1
    return found


def log_of(
    moves: MoveList, machine: Machine, time_s: F8, line: I8, *, feed_ratio: F8 | float = 1.0,
    rapid_ratio: F8 | float = 1.0, program: I8 | None = None,
) -> Timed:  # fmt: skip
    """Sections of a block log: time_s f8 (k,) when the line became active, the last stamp being the end.

    Overrides: one number, or one a stamp. A block without rows (a spindle or coolant word) counts to the move after
    it; sections in which a person is waited for are left out.
    """
    rows = moves.moves
    n = len(rows)
    time_s = np.maximum.accumulate(time_s)
    first = matched(moves, line, program)
    own = np.flatnonzero(first >= 0)
    starts = first[own]
    begin = time_s[np.concatenate([[0], own[:-1] + 1])] if len(own) else np.zeros(0)
    ends = np.concatenate([starts[1:], [n]])
    until = np.concatenate([begin[1:], time_s[-1:]])
    if len(own) and own[0] > 0 and starts[0] > 0:  # the log begins in the middle of the program
        begin[0] = time_s[own[0]]
    quantum = step_of(time_s)
    least = max(LEAST_S, 12 * quantum)
    waits = np.isin(rows["stop"], WAITS)
    changes = rows["kind"] == Kind.TOOL_CHANGE
    group = np.full(n, -1, dtype=np.int64)
    seconds: list[float] = []
    i = 0
    while i < len(starts):
        j = i
        single = changes[starts[i] : ends[i]].any()
        while (
            not single and j + 1 < len(starts) and until[j] - begin[i] < least
            and not changes[starts[j + 1] : ends[j + 1]].any()
        ):  # fmt: skip
            j += 1
        if not waits[starts[i] : ends[j]].any():
            group[starts[i] : ends[j]] = len(seconds)
            seconds.append(float(until[j] - begin[i]))
        i = j + 1
    reading = np.full(len(seconds), quantum / math.sqrt(6) + LATE_S)
    course = course_for(moves, machine, *(_on_rows(v, starts, n, own) for v in (feed_ratio, rapid_ratio)))
    return Timed(course=course, group=group, seconds=np.array(seconds), reading_std_s=reading)


def _on_rows(ratio: F8 | float, starts: I8, n: int, own: I8) -> F8:
    """An override at every stamp as one on every row."""
    if isinstance(ratio, float | int):
        return np.full(n, float(ratio))
    out = np.full(n, float(ratio[0]) if len(ratio) else 1.0)
    for k, (a, stamp) in enumerate(zip(starts.tolist(), own.tolist(), strict=True)):
        out[a : starts[k + 1] if k + 1 < len(starts) else n] = ratio[stamp]
    return out


def step_of(time_s: F8) -> float:
    """The step the clock was read in: the largest of 1, 0.1, 0.01, 0.001 s that all stamps are multiples of."""
    for step in (1.0, 0.1, 0.01, 0.001):
        k = (time_s - time_s[0]) / step
        if np.abs(k - np.round(k)).max(initial=0.0) < 1e-3:
            return step
    return 0.0


def stretches(moves: MoveList) -> list[tuple[int, int, int]]:
    """(tool, first row, end row) of every tool's turn; what comes before the first change counts to it."""
    rows = moves.moves
    at = np.flatnonzero(rows["kind"] == Kind.TOOL_CHANGE).tolist()
    if not at:
        return [(int(rows["tool"][0]) if len(rows) else 0, 0, len(rows))]
    edges = [0, *at[1:], len(rows)]
    return [(int(rows["tool"][k]), a, b) for k, a, b in zip(at, edges, edges[1:], strict=False)]


def tools_of(
    moves: MoveList, machine: Machine, seconds: Sequence[float], plus_minus_s: Sequence[float | None],
    feed_ratio: Sequence[float], rapid_ratio: Sequence[float],
) -> Timed:  # fmt: skip
    """Seconds of each tool's turn, in the order of the program; one a turn of `stretches`."""
    n = len(moves.moves)
    group = np.full(n, -1, dtype=np.int64)
    feed, rapid = np.ones(n), np.ones(n)
    for k, (_, a, b) in enumerate(stretches(moves)):
        group[a:b], feed[a:b], rapid[a:b] = k, feed_ratio[k], rapid_ratio[k]
    return Timed(
        course=course_for(moves, machine, feed, rapid), group=group, seconds=np.array(seconds, dtype=float),
        reading_std_s=_hand(plus_minus_s),
    )  # fmt: skip


def total_of(
    moves: MoveList, machine: Machine, seconds: float, plus_minus_s: float | None, feed_ratio: float, rapid_ratio: float
) -> Timed:
    """One stopwatch time of the whole program; waiting for a person is not in it."""
    return Timed(
        course=course_for(moves, machine, feed_ratio, rapid_ratio), group=np.zeros(len(moves.moves), dtype=np.int64),
        seconds=np.array([seconds]), reading_std_s=_hand([plus_minus_s]),
    )  # fmt: skip


def _hand(plus_minus_s: Sequence[float | None]) -> F8:
    return np.array([(HAND_S if v is None else v) / math.sqrt(3) for v in plus_minus_s])
