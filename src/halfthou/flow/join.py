"""The programs of a job, read one by one, as one job-wide move table."""

from collections.abc import Sequence

import numpy as np

from halfthou.base.table import lock
from halfthou.nouns.moves import CALL, FRAME, MOVE, STATE, MoveList
from halfthou.nouns.program import Program


def join(parts: Sequence[MoveList]) -> tuple[MoveList, tuple[slice, ...]]:
    """Stack move lists of the operations; returns the job-wide list and the rows of each operation.

    Row numbers in `program`, `frame`, `state` and `call` are shifted so that they point into the stacked tables.
    """
    moves, frames, states, calls = [], [], [], []
    programs: list[Program] = []
    rows: list[slice] = []
    start = n_frames = n_states = n_calls = 0
    for op, part in enumerate(parts):
        block = part.moves.copy()
        block["op"] = op
        block["program"] += len(programs)
        for name, shift in (("frame", n_frames), ("state", n_states), ("call", n_calls)):
            block[name] = np.where(block[name] >= 0, block[name] + shift, block[name])
        caller = part.calls.copy()
        if len(caller):
            caller["program"] += len(programs)
            caller["parent"] = np.where(caller["parent"] >= 0, caller["parent"] + n_calls, caller["parent"])
        moves.append(block)
        frames.append(part.frames)
        states.append(part.states)
        calls.append(caller)
        programs += part.programs
        rows.append(slice(start, start + len(block)))
        start += len(block)
        n_frames += len(part.frames)
        n_states += len(part.states)
        n_calls += len(caller)
    joined = MoveList(
        moves=lock(np.concatenate(moves) if moves else np.zeros(0, MOVE)),
        frames=lock(np.concatenate(frames) if frames else np.zeros(0, FRAME)),
        states=lock(np.concatenate(states) if states else np.zeros(0, STATE)),
        calls=lock(np.concatenate(calls) if calls else np.zeros(0, CALL)),
        programs=tuple(programs),
    )
    return joined, tuple(rows)


def rows_of(moves: MoveList, rows: slice) -> MoveList:
    """The same tables with only some rows of the moves: an operation as a slice of the job-wide list."""
    return MoveList(
        moves=lock(moves.moves[rows]),
        frames=moves.frames,
        states=moves.states,
        calls=moves.calls,
        programs=moves.programs,
    )
