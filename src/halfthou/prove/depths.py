"""The one side view: how low each tool goes, against the part's underside, jaw tops and the table."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows
from halfthou.nouns.job import Job, PartPlace
from halfthou.nouns.moves import Kind, MoveList
from halfthou.nouns.part import Part

F8 = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Level:
    """One height the tool is compared with, program coordinates of the place."""

    name: str
    z_mm: float
    above_mm: float  # lowest tip minus this height: negative = the tip goes below it (beside or through it)


@dataclass(frozen=True, slots=True, kw_only=True)
class Depth:
    """The lowest point of one tool's tip at one place, at feed and at rapid, with the move that goes there.

    Exact to rounding for lines and arcs. A tip below a jaw top is no contact by itself: it may pass beside it.
    """

    op: int
    place: int
    tool: int  # as programmed
    name: str
    lowest_z_mm: float
    move: int
    line: int
    file: str
    rapid_z_mm: float | None  # lowest tip at rapid, None = no rapid
    levels: tuple[Level, ...]


def depths(
    moves: MoveList, sweeps: Rows, job: Job, op: int, *, shifts: Sequence[F8], turns: Sequence[F8 | None] = ()
) -> tuple[Depth, ...]:
    """Lowest tip of every tool of an operation, per place, lowest first.

    sweeps: SWEEP rows aligned with the operation's moves. shifts: f8 (3,) a place, program frame to table frame.
    turns: f8 (3,3) a place, how the design lies there (default: PartPlace.design_turn). Tool changes, stops and
    moves without a tool are left out; a tool that never moves at feed is left out.
    """
    low = lowest_z(sweeps)
    travels = np.isin(sweeps["kind"], (Kind.RAPID, Kind.LINE, Kind.ARC, Kind.PROBE)) & (sweeps["tool"] >= 0)
    found = []
    for index, place in enumerate(job.ops[op].places):
        here = travels & (sweeps["place"] == index)
        for row_tool in np.unique(sweeps["tool"][here]):
            own = here & (sweeps["tool"] == row_tool)
            feed = np.flatnonzero(own & (sweeps["rapid"] == 0))
            rapid = np.flatnonzero(own & (sweeps["rapid"] == 1))
            if not len(feed):
                continue
            row = int(feed[np.argmin(low[feed])])
            z = float(low[row] - shifts[index][2])
            spot = moves.place(row)
            turn = turns[index] if index < len(turns) else place.design_turn
            tool = job.tools[int(row_tool)]
            found.append(
                Depth(
                    op=op,
                    place=index,
                    tool=tool.number,
                    name=tool.name,
                    lowest_z_mm=z,
                    move=row,
                    line=spot.line,
                    file=spot.file,
                    rapid_z_mm=float(low[rapid].min() - shifts[index][2]) if len(rapid) else None,
                    levels=_levels(place, job.design, turn, z),
                )
            )
    return tuple(sorted(found, key=lambda depth: depth.lowest_z_mm))


def lowest_z(sweeps: Rows) -> F8:
    """Lowest Z of the tip on every move, table frame, f8 (n,): the lower end, or the bottom of an upright arc."""
    low = np.minimum(sweeps["from_mm"][:, 2], sweeps["to_mm"][:, 2])
    upright = np.flatnonzero((sweeps["kind"] == Kind.ARC) & (sweeps["normal"] != 2))
    for row in upright:
        low[row] = min(low[row], _arc_bottom(sweeps[row]))
    return np.asarray(low, dtype=np.float64)


def _arc_bottom(row: np.void) -> float:
    """Lowest Z of an arc in the YZ (normal 0) or ZX (normal 1) plane; infinite when its bottom is not passed."""
    first, second = (1, 2) if row["normal"] == 0 else (2, 0)
    off = row["from_mm"] - row["centre_mm"]
    radius = float(np.hypot(off[first], off[second]))
    start = float(np.arctan2(off[second], off[first]))
    bottom = -np.pi / 2 if row["normal"] == 0 else np.pi  # where the Z part of the unit vector is -1
    sweep = float(row["sweep_rad"])
    turned = (bottom - start) % (2 * np.pi) if sweep > 0 else (start - bottom) % (2 * np.pi)
    if turned > abs(sweep):
        return float("inf")
    end = row["to_mm"] - row["centre_mm"]
    last = float(np.hypot(end[first], end[second]))
    share = turned / max(abs(sweep), 1e-12)
    return float(row["centre_mm"][2] - (radius + (last - radius) * share))


def _levels(place: PartPlace, design: Part | None, turn: F8 | None, z_mm: float) -> tuple[Level, ...]:
    levels = []
    if design is not None and turn is not None and place.design_shift_mm is not None and len(design.vertices_mm):
        under = float((design.vertices_mm @ turn.T)[:, 2].min() + place.design_shift_mm[2])
        levels.append(Level(name="part underside", z_mm=under, above_mm=z_mm - under))
    if place.stock.kind in ("box", "cylinder"):
        bottom = place.stock.low_mm[2]
        levels.append(Level(name="stock underside", z_mm=bottom, above_mm=z_mm - bottom))
    for body in place.bodies:
        levels.append(Level(name=f"top of {body.name}", z_mm=body.high_z_mm, above_mm=z_mm - body.high_z_mm))
    return tuple(sorted(levels, key=lambda level: -level.z_mm))
