"""Material along lines of any direction through a finished removal, and the start record of a part laid on its side.

Promise: interval ends are right to the moves' own error and, where level arcs were cut, CHORD_MM more; labels are the
moves. Nothing is resampled from the rays of the operation before: every move that can reach a line is asked.
"""

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from halfthou.base.errors import CannotAnswer
from halfthou.base.jit import in_threads
from halfthou.base.limits import CHORD_MM, LABEL_MM
from halfthou.base.table import Rows, lock
from halfthou.geometry.along import UPRIGHT, lines
from halfthou.geometry.cutting import tiles_of
from halfthou.geometry.profile import Body
from halfthou.nouns.cut import CutRecord, Grid
from halfthou.nouns.frame import Pose
from halfthou.nouns.stock import Stock
from halfthou.prove.remove_pack import pack_spans, unpack_spans
from halfthou.prove.remove_raw import raw_lines

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
LIST_MM = 2.0
CHUNK = 16_384  # lines a thread works on at once
BOX = np.dtype([("bx0", "f8"), ("by0", "f8"), ("bx1", "f8"), ("by1", "f8")])


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """The events of a removal as straight legs, listed by squares across one direction."""

    events: Rows  # EVENT, form 0 only
    across: F8  # f8 (2,3): the plane's two directions
    box: F8  # f8 (events, 4)
    low_mm: tuple[float, float]
    nx: int
    ny: int
    first: I8
    index: I8


class Solid(Protocol):
    """What is asked of a removal here."""

    @property
    def stock(self) -> Stock:
        """What it was cut from."""

    @property
    def record(self) -> CutRecord:
        """What is left."""

    @property
    def events(self) -> Rows:
        """EVENT rows."""

    @property
    def body(self) -> Body:
        """The tools' pieces."""

    @property
    def before(self) -> "Solid | None":
        """The removal its stock comes from."""

    @property
    def back(self) -> Pose | None:
        """From these grid axes to those of `before`."""

    @property
    def sides(self) -> dict[tuple[float, ...], Side]:
        """Lists already made."""

    def columns(self, x: F8, y: F8) -> tuple[I8, Rows]:
        """Material over points."""


def along(removal: "Solid", origin_mm: F8, direction: F8) -> tuple[I8, Rows]:
    """(first i8 (n+1), SPAN rows) of the material on the lines origin_mm f8 (n,3) + t·direction, grid axes; ends are t."""
    direction = direction / np.linalg.norm(direction)
    if math.hypot(direction[0], direction[1]) < UPRIGHT:
        return _upright(removal, origin_mm, direction[2] > 0)
    if removal.before is not None:
        assert removal.back is not None
        back = removal.back
        first, spans = along(removal.before, origin_mm @ back.turn.T + back.shift_mm, back.turn @ direction)
        ends = np.stack([spans["low_mm"], spans["high_mm"]], axis=1)
        labels = np.stack([spans["low_move"], spans["high_move"]], axis=1).astype(np.int32)
    else:
        first, ends = raw_lines(removal.stock, origin_mm, direction)
        labels = np.full((len(ends), 2), -1, dtype=np.int32)
    if not len(removal.events) or not len(ends):
        return pack_spans(*unpack_spans(first, ends, labels, int(np.diff(first).max(initial=1))))
    key = tuple(direction.tolist())
    if key not in removal.sides:
        removal.sides[key] = side_of(removal, direction)
    side = removal.sides[key]
    at = np.ascontiguousarray(origin_mm @ side.across.T)
    a = np.floor((at[:, 0] - side.low_mm[0]) / LIST_MM).astype(np.int64)
    b = np.floor((at[:, 1] - side.low_mm[1]) / LIST_MM).astype(np.int64)
    tile = np.where((a >= 0) & (a < side.nx) & (b >= 0) & (b < side.ny), a * side.ny + b, -1)
    room = max(4, int(np.diff(first).max(initial=0)) + 2)
    origin, way = np.ascontiguousarray(origin_mm), np.ascontiguousarray(direction)
    while True:
        low, high, low_move, high_move, count = unpack_spans(first, ends, labels, room)
        work = _Work(origin, way, tile, side, at, removal.body, low, high, low_move, high_move, count)
        if not any(in_threads(work.part, -(-len(origin) // CHUNK))):
            return pack_spans(low, high, low_move, high_move, count)
        room *= 2


@dataclass(frozen=True, slots=True)
class _Work:
    """Lines and their state, for threads that take a part each."""

    origin: F8
    way: F8
    tile: I8
    side: Side
    at: F8
    body: Body
    low: F8
    high: F8
    low_move: NDArray[np.int32]
    high_move: NDArray[np.int32]
    count: NDArray[np.int32]

    def part(self, k: int) -> int:
        """Run the events over the k-th CHUNK of lines; 1 when one of them has no room left."""
        own = slice(k * CHUNK, (k + 1) * CHUNK)
        side = self.side
        return int(
            lines(
                self.origin[own], self.way, self.tile[own], side.first, side.index, side.box, self.at[own], side.events,
                self.body.pieces, self.body.segments, self.low[own], self.high[own], self.low_move[own],
                self.high_move[own], self.count[own], LABEL_MM,
            )
        )  # fmt: skip


def _upright(removal: "Solid", origin_mm: F8, rising: bool) -> tuple[I8, Rows]:
    """The same on lines along the tool axis: columns, told from the line's own start."""
    x, y = (np.ascontiguousarray(origin_mm[:, k]) for k in (0, 1))
    first, spans = removal.columns(x, y)
    n = np.diff(first)
    start = np.repeat(origin_mm[:, 2], n)
    out = spans.copy()
    if rising:
        out["low_mm"], out["high_mm"] = spans["low_mm"] - start, spans["high_mm"] - start
        return first, out
    out["low_mm"], out["high_mm"] = start - spans["high_mm"], start - spans["low_mm"]
    out["low_move"], out["high_move"] = spans["high_move"], spans["low_move"]
    inner = np.arange(len(out)) - np.repeat(first[:-1], n)
    return first, out[np.repeat(first[:-1], n) + np.repeat(n, n) - 1 - inner]


def side_of(removal: "Solid", direction: F8) -> Side:
    """Straight legs and their lists across a direction of length 1."""
    events = chorded(removal.events, removal.body)
    k = int(np.argmin(np.abs(direction)))
    one = np.eye(3)[k] - direction[k] * direction
    one /= np.linalg.norm(one)
    across = np.stack([one, np.cross(direction, one)])
    pieces = removal.body.pieces[events["piece"]]
    low_z, high_z = np.minimum(events["z0"], events["z1"]), np.maximum(events["z0"], events["z1"])
    low = np.stack([events["bx0"], events["by0"], low_z + pieces["bottom"]], axis=1)
    high = np.stack([events["bx1"], events["by1"], high_z + pieces["top"]], axis=1)
    middle, half = (low + high) / 2, (high - low) / 2
    box = np.empty((len(events), 4))
    rows = np.zeros(len(events), dtype=BOX)
    for axis in (0, 1):
        at, wide = middle @ across[axis], half @ np.abs(across[axis])
        box[:, axis], box[:, axis + 2] = at - wide - 1e-9, at + wide + 1e-9
    rows["bx0"], rows["by0"], rows["bx1"], rows["by1"] = box.T
    low_mm = (float(box[:, 0].min()), float(box[:, 1].min()))
    nx = max(1, math.ceil((float(box[:, 2].max()) - low_mm[0]) / LIST_MM))
    ny = max(1, math.ceil((float(box[:, 3].max()) - low_mm[1]) / LIST_MM))
    first, index = tiles_of(rows, low_mm[0], low_mm[1], LIST_MM, nx, ny)
    return Side(
        events=events, across=across, box=box, low_mm=low_mm, nx=nx, ny=ny, first=first, index=index
    )  # fmt: skip


def chorded(events: Rows, body: Body) -> Rows:
    """The same events with level arcs as chords no farther than CHORD_MM from them; order kept."""
    arcs = events["form"] == 1
    if not arcs.any():
        return events
    size = np.abs(events["sweep"]) * np.sqrt((events["arc_r"] + np.abs(events["grow_r"])) / (8 * CHORD_MM))
    n = np.where(arcs, np.maximum(1, np.ceil(size)), 1).astype(np.int64)
    source = np.repeat(np.arange(len(events)), n)
    out = events[source].copy()
    k = np.arange(len(source)) - np.repeat(np.cumsum(n) - n, n)
    arc = arcs[source]
    for share, (x, y) in (((k / n[source]), ("x0", "y0")), (((k + 1) / n[source]), ("x1", "y1"))):
        angle = out["angle0"] + share * out["sweep"]
        r = out["arc_r"] + share * out["grow_r"]
        inner = arc & (share > 0) & (share < 1)
        out[x][arc & (share >= 1)] = events["x1"][source][arc & (share >= 1)]
        out[y][arc & (share >= 1)] = events["y1"][source][arc & (share >= 1)]
        out[x][inner] = (out["cx"] + r * np.cos(angle))[inner]
        out[y][inner] = (out["cy"] + r * np.sin(angle))[inner]
    dx, dy = out["x1"] - out["x0"], out["y1"] - out["y0"]
    length = np.hypot(dx, dy)
    some = arc & (length > 0)
    out["form"][arc] = 0
    out["length"][arc] = length[arc]
    out["ux"][some], out["uy"][some] = dx[some] / length[some], dy[some] / length[some]
    out["slope"][arc] = 0.0
    out["bound_mm"][arc] = np.maximum(out["bound_mm"][arc], CHORD_MM)
    reach = body.pieces["reach"][out["piece"]]
    for low, high, a, b in (("bx0", "bx1", "x0", "x1"), ("by0", "by1", "y0", "y1")):
        out[low][arc] = (np.minimum(out[a], out[b]) - reach)[arc]
        out[high][arc] = (np.maximum(out[a], out[b]) + reach)[arc]
    return lock(out)


def laid_record(
    before: "Solid", back: Pose, op: int, place: int, pitch_mm: float, pose: Pose, error_mm: float,
    corners_mm: F8 | None = None,
) -> CutRecord:  # fmt: skip
    """What `before` leaves as depth elements along the new tool axis. back: new grid axes to the old ones.

    corners_mm f8 (n,3), old grid axes: points round all of it, where they are known better than from its rays.
    """
    if corners_mm is None:
        low, high = box_of_record(before.record)
        corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    else:
        corners = corners_mm
    new = (corners - back.shift_mm) @ back.turn
    a, b = np.floor(new.min(axis=0) / pitch_mm + 1e-9), np.ceil(new.max(axis=0) / pitch_mm - 1e-9)
    nx, ny = max(1, int(b[0] - a[0])), max(1, int(b[1] - a[1]))
    grid = Grid(low_mm=(a[0] * pitch_mm, a[1] * pitch_mm), pitch_mm=pitch_mm, nx=nx, ny=ny, pose=pose)
    return laid_on(before, back, grid, op, place, before.record.after_move, error_mm)


def laid_on(
    before: "Solid", back: Pose, grid: Grid, op: int, place: int, after_move: int, error_mm: float
) -> CutRecord:
    """What `before` leaves as depth elements of a given grid. back: axes of that grid to those of `before`."""
    x = np.repeat(grid.low_mm[0] + (np.arange(grid.nx) + 0.5) * grid.pitch_mm, grid.ny)
    y = np.tile(grid.low_mm[1] + (np.arange(grid.ny) + 0.5) * grid.pitch_mm, grid.nx)
    first, spans = over_columns(before, back, x, y)
    return CutRecord(
        op=op, place=place, grid=grid, first=lock(first), spans=lock(spans), after_move=after_move, error_mm=error_mm
    )  # fmt: skip


def over_columns(before: "Solid", back: Pose, x: F8, y: F8) -> tuple[I8, Rows]:
    """Material of `before` over points (x, y) of the new grid axes."""
    origin = np.stack([x, y, np.zeros_like(x)], axis=1) @ back.turn.T + back.shift_mm
    return along(before, np.ascontiguousarray(origin), back.turn @ np.array([0.0, 0.0, 1.0]))


def box_of_record(record: CutRecord) -> tuple[F8, F8]:
    """Low and high corner of what a record holds, grid axes. Raises CannotAnswer when that is nothing."""
    grid = record.grid
    if not len(record.spans):
        raise CannotAnswer("nothing is left of the part to turn over")
    low = np.array([grid.low_mm[0], grid.low_mm[1], float(record.spans["low_mm"].min())])
    high = np.array(
        [grid.low_mm[0] + grid.nx * grid.pitch_mm, grid.low_mm[1] + grid.ny * grid.pitch_mm,
         float(record.spans["high_mm"].max())]
    )  # fmt: skip
    return low, high
