"""Sweeps into the straight and curved pieces the clearance search looks at; rapids on every path they may take."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows
from halfthou.geometry.near import Legs
from halfthou.nouns.job import Job
from halfthou.nouns.machine import Machine
from halfthou.nouns.moves import Kind
from halfthou.nouns.tool import Tool

F8 = NDArray[np.float64]

CERTAIN, STRAIGHT_ONLY, DOG_LEG_ONLY = 0, 1, 2  # Legs.path
SAME_MM = 1e-6

Piece = tuple[int, int, int, F8, F8, F8, int, float]  # row, path, tool, from, to, centre, normal, sweep


def legs_of(sweeps: Rows, job: Job, rapid_path: str | None) -> tuple[Legs, int]:
    """Legs of every row that travels, and how many rows were left out because a position is not known (NaN).

    A tool change travels with the old tool; the new one is then looked at where it stands. Rapids: "straight",
    "dog-leg" (each axis at its own rapid until it arrives), None = both, marked where they differ.
    """
    pieces: list[Piece] = []
    unknown = 0
    before = int(sweeps["tool"][0]) if len(sweeps) else -1
    for row in range(len(sweeps)):
        sweep = sweeps[row]
        kind, tool = int(sweep["kind"]), int(sweep["tool"])
        start, end = np.array(sweep["from_mm"]), np.array(sweep["to_mm"])
        curved = kind == Kind.ARC and float(sweep["sweep_rad"]) != 0.0
        still = not curved and float(np.max(np.abs(end - start))) <= SAME_MM
        if kind in (Kind.DWELL, Kind.STOP):
            continue
        if not (np.all(np.isfinite(start)) and np.all(np.isfinite(end))):
            unknown += 1
        elif kind == Kind.TOOL_CHANGE:
            pieces += _tool_change(row, sweep, before, tool, job, rapid_path)
        elif curved:
            centre = np.array(sweep["centre_mm"])
            pieces.append((row, CERTAIN, tool, start, end, centre, int(sweep["normal"]), float(sweep["sweep_rad"])))
        elif not still or row == 0:
            path = rapid_path if int(sweep["rapid"]) else "straight"
            pieces += _straight(row, tool, start, end, path, job.machine)
        before = tool
    return _pack(pieces), unknown


def dog_leg(start: F8, end: F8, rapid_mm_per_s: Sequence[float]) -> list[F8]:
    """The corners, f8 (3,) each, of a rapid on which every axis runs at its own speed and stops where it arrives."""
    delta = end - start
    times = np.abs(delta) / np.asarray(rapid_mm_per_s, dtype=float)
    corners = [start]
    for t in sorted(set(times.tolist())):
        if t <= 0.0:
            continue
        share = np.minimum(1.0, t / np.where(times > 0, times, t))
        corner = np.where(times <= t, end, start + delta * share)
        if float(np.max(np.abs(corner - corners[-1]))) > SAME_MM:
            corners.append(corner)
    return corners if len(corners) > 1 else [start, end]


def _straight(row: int, tool: int, start: F8, end: F8, path: str | None, machine: Machine) -> list[Piece]:
    none = np.zeros(3)
    if path == "straight":
        return [(row, CERTAIN, tool, start, end, none, 2, 0.0)]
    corners = dog_leg(start, end, [axis.rapid_mm_per_s for axis in machine.axes])
    bent = len(corners) > 2
    mark = CERTAIN if path == "dog-leg" or not bent else DOG_LEG_ONLY
    found: list[Piece] = [(row, mark, tool, a, b, none, 2, 0.0) for a, b in pairwise(corners)]
    if path != "dog-leg" and bent:
        found.append((row, STRAIGHT_ONLY, tool, start, end, none, 2, 0.0))
    return found


def _tool_change(row: int, sweep: Rows, before: int, after: int, job: Job, path: str | None) -> list[Piece]:
    """Old tool from the gauge line's start to its end, then the new tool standing there."""
    start, end = np.array(sweep["gauge_from_mm"]), np.array(sweep["gauge_to_mm"])
    if not (np.all(np.isfinite(start)) and np.all(np.isfinite(end))):
        return []
    old, new = tip_below(job.tools, before), tip_below(job.tools, after)
    way = path if int(sweep["rapid"]) else "straight"
    found = _straight(row, before, start - old, end - old, way, job.machine)
    found.append((row, CERTAIN, after, end - new, end - new, np.zeros(3), 2, 0.0))
    return found


def tip_below(tools: Sequence[Tool], tool: int) -> F8:
    """From the tip up to the gauge line, f8 (3,): nothing for the bare nose."""
    return np.array([0.0, 0.0, tools[tool].gauge_length_mm if tool >= 0 else 0.0])


def _pack(pieces: list[Piece]) -> Legs:
    n = len(pieces)

    def points(i: int) -> F8:
        return np.array([piece[i] for piece in pieces], dtype=np.float64).reshape(n, 3)

    return Legs(
        row=np.array([piece[0] for piece in pieces], dtype=np.int64),
        path=np.array([piece[1] for piece in pieces], dtype=np.uint8),
        tool=np.array([piece[2] for piece in pieces], dtype=np.int64),
        from_mm=points(3),
        to_mm=points(4),
        centre_mm=points(5),
        normal=np.array([piece[6] for piece in pieces], dtype=np.int64),
        sweep_rad=np.array([piece[7] for piece in pieces], dtype=np.float64),
    )
