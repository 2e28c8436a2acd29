"""Spindle and coolant where they do harm: probe in the spindle, no rotation or the wrong one while cutting."""

from collections.abc import Sequence

import numpy as np

from halfthou.base.finding import Finding, Severity
from halfthou.base.table import Rows
from halfthou.nouns.job import Job
from halfthou.nouns.moves import THROUGH, Kind, MoveList
from halfthou.nouns.tool import Zone


def is_probe(job: Job, tool: int) -> bool:
    """A touch probe: by kind, or by a stylus in its profile."""
    return tool >= 0 and (job.tools[tool].kind == "probe" or bool(np.any(job.tools[tool].zone == Zone.STYLUS)))


def spindle_findings(moves: MoveList, sweeps: Rows, job: Job, op: int) -> list[Finding]:
    """Probe in the spindle while it is told to turn or while through-tool coolant is on."""
    found: list[Finding] = []
    probes = [k for k in range(len(job.tools)) if is_probe(job, k)]
    awake = np.isin(sweeps["tool"], probes) & (sweeps["kind"] != Kind.TOOL_CHANGE)
    turning = np.flatnonzero(awake & ((moves.moves["spindle_rpm"] != 0.0) | (sweeps["turning"] != 0)))
    wet = np.flatnonzero(awake & ((moves.moves["coolant"] & THROUGH) != 0))
    if len(turning):
        found.append(
            _one(moves, sweeps, job, op, turning.tolist(), "P218", "the spindle turns with the probe in it",
                 "A probe is not made to turn at speed: its cable, battery or stylus comes off.",
                 "Stop the spindle (M5) before the probe is changed in, and start it only after it is out.")
        )  # fmt: skip
    if len(wet):
        found.append(
            _one(moves, sweeps, job, op, wet.tolist(), "P219", "coolant under pressure goes to the spindle with the probe in it",
                 "Coolant through the spindle floods or damages the probe.",
                 "Turn the coolant off (M9) before the probe is changed in.")
        )  # fmt: skip
    return found


def _one(
    moves: MoveList, sweeps: Rows, job: Job, op: int, rows: Sequence[int], code: str, what: str, why: str, do: str
) -> Finding:
    first = int(rows[0])
    number = job.tools[int(sweeps["tool"][first])].number
    return Finding(
        code=code, severity=Severity.STOP, place=moves.place(first), what=f"T{number}: {what}.", why=why, do=do,
        move=first, op=op, tool=number, part="probe", count=len(rows),
    )  # fmt: skip
