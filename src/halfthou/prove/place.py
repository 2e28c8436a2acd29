"""What really moves on the table: programmed moves as positions of the gauge line and of the tip that is really there.

The control puts the gauge line at work position + frame shift + the length in force; the real tip is the gauge length
of the tool physically in the spindle below it. So a wrong register, a missing G43 or a wrong H word move the real tip,
as they do on the machine. Table frame: tip = machine position of the gauge line − real gauge length.
"""

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows, lock
from halfthou.nouns.job import Job
from halfthou.nouns.moves import SWEEP, Kind, MoveList

F8 = NDArray[np.float64]
Point = tuple[float, float, float]
RAPIDS = (Kind.RAPID, Kind.TOOL_CHANGE)


def zero_offset_mm(job: Job, op: int) -> float:
    """Height of the program zero in the table frame above the work offset's Z.

    Gauge-line lengths: 0. Lengths from a reference tool or touched off: the planned registers are all short of the
    real gauge lengths by the same amount; the median over the tools is that amount (one mistyped register does not
    move the part).
    """
    if job.machine.control.length_method in (None, "gauge-line"):
        return 0.0
    lengths = {tool.number: tool.gauge_length_mm for tool in job.tools}
    gaps = [
        register.length_mm - lengths[register.slot]
        for register in job.registers
        if register.length_mm is not None and register.slot in lengths
    ]
    return float(np.median(gaps)) if gaps else 0.0


def place_shift_mm(job: Job, op: int, place: int, origins: dict[int, Point]) -> F8:
    """Program frame of a place to table frame, f8 (3,), from the *planned* work offsets."""
    origin = origins.get(job.ops[op].places[place].offset, (0.0, 0.0, 0.0))
    return np.array([origin[0], origin[1], origin[2] + zero_offset_mm(job, op)])


def sweeps_of(moves: MoveList, job: Job, op: int) -> Rows:
    """SWEEP rows aligned with the operation's moves (MOVE)."""
    rows = moves.moves
    out = np.zeros(len(rows), dtype=SWEEP)
    index = {tool.number: k for k, tool in enumerate(job.tools)}
    out["kind"], out["normal"], out["sweep_rad"] = rows["kind"], rows["normal"], rows["sweep_rad"]
    out["tool"] = [index.get(int(number), -1) for number in rows["tool"]]
    out["rapid"] = np.isin(rows["kind"], RAPIDS)
    out["turning"] = np.sign(rows["spindle_rpm"])
    systems = [place.offset for place in job.ops[op].places]
    frame_place = np.array([systems.index(int(s)) if int(s) in systems else 0 for s in moves.frames["system"]] or [0])
    out["place"] = frame_place[np.clip(rows["frame"], 0, len(frame_place) - 1)]
    if not len(rows):
        return lock(out)
    shift = moves.frames["shift_mm"][rows["frame"]].copy()
    shift[:, 2] += moves.states["length_mm"][rows["state"]]
    real = np.array([tool.gauge_length_mm for tool in job.tools] + [0.0])[out["tool"]]
    down = np.zeros_like(shift)
    down[:, 2] = real
    out["gauge_from_mm"], out["gauge_to_mm"] = rows["start_mm"] + shift, rows["end_mm"] + shift
    out["from_mm"], out["to_mm"] = out["gauge_from_mm"] - down, out["gauge_to_mm"] - down
    out["centre_mm"] = rows["centre_mm"] + shift - down
    return lock(out)
