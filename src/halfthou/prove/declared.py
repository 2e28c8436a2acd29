"""Space that declared codes sweep (gauge line, machine coordinates) against the standing bodies and the raw stock.

The machine file states a box; the tool below the gauge line fills it downwards by its real length and sideways by its
widest radius. Boxes against boxes: an overlap is a question (CARE), no overlap says nothing is met.
"""

import re
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from halfthou.base.finding import Finding, Severity
from halfthou.base.table import Rows
from halfthou.base.value import Value
from halfthou.nouns.job import Job
from halfthou.nouns.machine import CodeEffect
from halfthou.nouns.moves import Kind, MoveList

F8 = NDArray[np.float64]


def declared_findings(moves: MoveList, sweeps: Rows, job: Job, op: int, *, shifts: Sequence[F8]) -> list[Finding]:
    """P207 for every declared code whose swept space overlaps a body or the stock of the operation; one each."""
    found: list[Finding] = []
    seen: set[tuple[str, str]] = set()
    for row in np.flatnonzero(sweeps["kind"] == Kind.DECLARED).tolist():
        effect = _effect(moves.place(row).text, job.machine.control.codes)
        if effect is None or effect.sweeps_low_mm is None or effect.sweeps_high_mm is None:
            continue
        low, high = _space(effect, job, int(sweeps["tool"][row]))
        for name, body_low, body_high in _boxes(job, op, shifts):
            depth = float(np.min(np.minimum(high, body_high) - np.maximum(low, body_low)))
            if depth <= 0.0 or (effect.word, name) in seen:
                continue
            seen.add((effect.word, name))
            found.append(
                Finding(
                    code="P207", severity=Severity.CARE, place=moves.place(row, effect.word),
                    what=f"{effect.word} sweeps a space that reaches into the {name}.",
                    why="The machine file gives the space only as a box; the tool hangs below the gauge line in it.",
                    do="Check the way of this code at the machine, or state its space more closely.",
                    amount=Value(best=depth, u=0.0, unit="mm", bound=depth), move=row, op=op,
                    tool=int(moves.moves["tool"][row]), body=name, part="declared code",
                )
            )  # fmt: skip
    return found


def _effect(text: str, codes: Sequence[CodeEffect]) -> CodeEffect | None:
    """The declared code on a block, by its word or by the program number it calls."""
    bare = re.sub(r"\([^)]*\)|;.*|\s", "", text).upper()
    for effect in codes:
        letter, number = effect.word[0], effect.word[1:].lstrip("0") or "0"
        letters = f"[{letter}P]" if letter == "O" else letter
        if re.search(rf"{letters}0*{re.escape(number)}(?![\d.])", bare):
            return effect
    return None


def _space(effect: CodeEffect, job: Job, tool: int) -> tuple[F8, F8]:
    low, high = np.array(effect.sweeps_low_mm, dtype=float), np.array(effect.sweeps_high_mm, dtype=float)
    if tool >= 0:
        own = job.tools[tool]
        reach = float(own.profile_mm[:, 0].max()) if len(own.profile_mm) else own.diameter_mm / 2
        low = low - np.array([reach, reach, own.gauge_length_mm])
        high = high + np.array([reach, reach, 0.0])
    return low, high


def _boxes(job: Job, op: int, shifts: Sequence[F8]) -> list[tuple[str, F8, F8]]:
    """(name, low, high) of bodies and raw stock in the table frame."""
    out = []
    for place, shift in zip(job.ops[op].places, shifts, strict=True):
        for body in place.bodies:
            foot = body.footprint_mm
            low = np.array([*foot.min(axis=0), body.low_z_mm]) + shift
            out.append((body.name, low, np.array([*foot.max(axis=0), body.high_z_mm]) + shift))
        stock = place.stock
        if stock.kind == "cylinder":
            (x, y), r = stock.centre_mm, stock.diameter_mm / 2
            ends = np.array([[x - r, y - r, stock.low_mm[2]], [x + r, y + r, stock.high_mm[2]]])
        elif stock.kind == "mesh" and stock.vertices_mm is not None:
            ends = np.array([stock.vertices_mm.min(axis=0), stock.vertices_mm.max(axis=0)])
        else:
            ends = np.array([stock.low_mm, stock.high_mm])
        out.append(("stock", ends[0] + shift, ends[1] + shift))
    return out
