"""What is left of a place's stock after the moves: labelled depth elements, states in between, exact surface points.

Promise: what lies on a ray is exact to `error_mm` (0 for straight moves and level arcs, CHORD_MM with other curves)
plus LABEL_MM; the pitch bounds what can be missed between rays. `inside`, `makers` and `surface_points` do not use the
rays at all: they evaluate every move that can reach the point.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.limits import CHORD_MM, LABEL_MM, MAKERS_MM
from halfthou.base.table import Rows, lock
from halfthou.base.watch import QUIET, Watch
from halfthou.geometry.along import UPRIGHT
from halfthou.geometry.cutting import columns, covered, tiles_of
from halfthou.geometry.events import events_of
from halfthou.geometry.profile import Body, pack
from halfthou.geometry.sweep import swept
from halfthou.nouns.cut import (
    BOTTOM,
    CORNER,
    FLANK,
    MAKER,
    RAW,
    SURFACE_POINT,
    UPPER,
    CutRecord,
    Grid,
    SurfacePoints,
)
from halfthou.nouns.frame import Pose, TurnOver
from halfthou.nouns.job import Job
from halfthou.nouns.moves import MoveList
from halfthou.nouns.stock import Stock
from halfthou.prove.remove_lines import Side, laid_on, laid_record, over_columns
from halfthou.prove.remove_pack import pack_spans, unpack_spans
from halfthou.prove.remove_point import turned_normal, turned_others
from halfthou.prove.remove_raw import raw_columns, raw_inside, raw_record, turned_over
from halfthou.prove.remove_tiles import Lists, engaged_of, lists_of, record_from, removed_of, run_tiles, tiles_from

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

KEYFRAMES = 8
LIST_MM = 2.0  # side of the squares by which moves are listed for single points
SEARCH_MM = (1e-5, 1e-4, 1e-3, 0.01, MAKERS_MM)
ROUND_ABOUT = np.array(
    [[i, j, k] for i in (-1, 0, 1) for j in (-1, 0, 1) for k in (-1, 0, 1) if i or j or k], dtype=float
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Near:
    """Events listed by squares, for evaluating single points."""

    first: I8
    index: I8
    low_mm: tuple[float, float]
    nx: int
    ny: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Removal:
    """One place's stock before, during and after its operation. Rows are job-wide move rows."""

    op: int
    place: int
    stock: Stock
    start: CutRecord
    record: CutRecord
    removed: Rows  # REMOVED, aligned with the operation's moves
    engaged: Rows  # ENGAGED, in the order of travel
    moves: MoveList  # the operation's rows
    first_row: int
    events: Rows
    body: Body
    near: Near
    keyframes: tuple[tuple[int, CutRecord], ...]  # (events done, state)
    before: "Removal | None" = None  # the removal this stock comes from
    back: Pose | None = None  # x_before = turn · x + shift, both in grid axes
    #: of an operation that turned the part (remove_turned.py): first row, removal, grid axes here to its own
    stretches: tuple[tuple[int, "Removal", Pose], ...] = ()
    sides: dict[tuple[float, ...], Side] = field(default_factory=dict, compare=False)  # built when first asked

    # -- states -----------------------------------------------------------------------------------------------

    def state_at(self, move: int) -> CutRecord:
        """The stock after row `move`: bit for bit what a run cut off there leaves. Always as it lies at rest."""
        if self.stretches:
            _, own, back = self._stretch(move)
            cut = own.cut_off(move)
            return laid_on(cut, back, self.record.grid, self.op, self.place, move, self.record.error_mm)
        done = int(np.searchsorted(self.events["row"], move, side="right"))
        base, record = max((k for k in self.keyframes if k[0] <= done), key=lambda k: k[0])
        tiles = tiles_from(record)
        lists = lists_of(self.events, record.grid, tiles)
        run_tiles(tiles, self.events, lists, self.body, base, done, None, QUIET, "stock in between")
        return record_from(tiles, record, move, self.record.error_mm)

    def cut_off(self, move: int) -> "Removal":
        """The removal as a run cut off after row `move` leaves it; the one before it if the move belongs to that."""
        if self.before is not None and move < self.first_row:
            return self.before.cut_off(move)
        if self.stretches:
            _, own, back = self._stretch(move)
            record = self.state_at(move)
            return replace(
                self, record=record, start=record, before=own.cut_off(move), back=back, sides={}, stretches=()
            )
        record = self.state_at(move)
        done = int(np.searchsorted(self.events["row"], move, side="right"))
        keep = self.near.index < done
        first = np.concatenate([[0], np.cumsum(keep)])[self.near.first]
        return replace(
            self, record=record, events=lock(self.events[:done].copy()), sides={},
            near=replace(self.near, first=first, index=self.near.index[keep]),
            keyframes=tuple(k for k in self.keyframes if k[0] <= done),
        )  # fmt: skip

    def _chain(self) -> list[tuple[int, "Removal", Pose]]:
        """Every removal that cut something of this part, in order: first row, removal, grid axes here to its own."""
        out: list[tuple[int, Removal, Pose]] = []
        own, pose = self, Pose(turn=np.eye(3), shift_mm=np.zeros(3))
        while True:
            if not own.stretches:
                out.append((own.first_row, own, pose))
            if own.before is None or own.back is None:
                return out[::-1]
            turn = own.back.turn
            pose = Pose(turn=turn @ pose.turn, shift_mm=turn @ pose.shift_mm + own.back.shift_mm)
            own = own.before

    def _stretch(self, move: int) -> tuple[int, "Removal", Pose]:
        """The stretch a row belongs to."""
        k = int(np.searchsorted([first for first, _, _ in self.stretches], move, side="right")) - 1
        return self.stretches[max(k, 0)]

    def stretch_of(self, move: int) -> "Removal":
        """The removal whose axes are those of the program while a row runs: of its stretch, or this one."""
        return self._stretch(move)[1] if self.stretches else self

    def at_rest(self, points_mm: F8, moves: I8) -> F8:
        """Points f8 (n,3) of program axes while rows `moves` i8 (n,) run, carried with the part to where it rests."""
        if not self.stretches:
            return points_mm
        out = np.array(points_mm, dtype=np.float64)
        which = np.searchsorted([first for first, _, _ in self.stretches], moves, side="right") - 1
        for k in np.unique(which).tolist():
            _, own, back = self.stretches[max(k, 0)]
            rows = which == k
            out[rows] = (out[rows] - own.shift_mm - back.shift_mm) @ back.turn + self.shift_mm
        return out

    # -- points -----------------------------------------------------------------------------------------------

    @property
    def shift_mm(self) -> F8:
        """Program minus grid coordinates."""
        return self.record.grid.pose.shift_mm

    def inside(self, points_mm: F8) -> NDArray[np.bool_]:
        """Which points (program coordinates, f8 (n,3)) are material: exact to the error of the moves."""
        return self._inside(np.ascontiguousarray(points_mm - self.shift_mm))

    def _inside(self, points: F8) -> NDArray[np.bool_]:
        if self.before is not None:
            solid = self.before._inside(self._back(points))
        else:
            solid = raw_inside(self.stock, points)
        rows = np.flatnonzero(solid)
        if len(rows):
            solid[rows[self._covered(points[rows]) >= 0]] = False
        return solid

    def raw(self, points_mm: F8) -> NDArray[np.bool_]:
        """Which points (program coordinates) lay in the raw stock, before any cut of any operation."""
        points, first = np.ascontiguousarray(points_mm - self.shift_mm), self
        while first.before is not None:
            points, first = first._back(points), first.before
        return raw_inside(first.stock, points)

    def inside_before(self, points_mm: F8, move: int) -> NDArray[np.bool_]:
        """Which points (program coordinates) were material when row `move` began: exact to the error of the moves."""
        points = np.ascontiguousarray(points_mm - self.shift_mm)
        if self.stretches:
            _, own, back = self._stretch(move)
            return own.inside_before(points @ back.turn.T + back.shift_mm + own.shift_mm, move)
        solid = self.before._inside(self._back(points)) if self.before is not None else raw_inside(self.stock, points)
        rows = np.flatnonzero(solid)
        if len(rows):
            by = self._covered(points[rows])
            solid[rows[(by >= 0) & (by < move)]] = False
        return solid

    def _back(self, points: F8) -> F8:
        """Grid coordinates of the operation before (exact: permuted and negated)."""
        assert self.back is not None
        out: F8 = np.ascontiguousarray(points @ self.back.turn.T)
        return out + self.back.shift_mm if self.back.shift_mm.any() else out

    def _covered(self, points: F8) -> I8:
        row = np.empty(len(points), dtype=np.int64)
        near = self.near
        covered(
            points, near.first, near.index, near.low_mm[0], near.low_mm[1], LIST_MM, near.nx, near.ny, self.events,
            self.body.pieces, self.body.segments, row,
        )  # fmt: skip
        return row

    def makers(self, points_mm: F8) -> I8:
        """The move that made the surface at each point: the first whose cut reaches nearest to it; -1 raw.

        A later move that cuts the same surface again to 1e-5 mm does not take it over.
        """
        return self._makers(np.ascontiguousarray(points_mm - self.shift_mm))

    def _makers(self, points: F8) -> I8:
        found = np.full(len(points), -1, dtype=np.int64)
        open_ = np.arange(len(points))
        for radius in SEARCH_MM:
            if not len(open_):
                break
            spots = (points[open_, None, :] + radius * ROUND_ABOUT[None, :, :]).reshape(-1, 3)
            row = self._first_maker(np.ascontiguousarray(spots)).reshape(len(open_), -1)
            best = np.where(row >= 0, row, np.iinfo(np.int64).max).min(axis=1)
            hit = best < np.iinfo(np.int64).max
            found[open_[hit]] = best[hit]
            open_ = open_[~hit]
        return found

    def _first_maker(self, points: F8) -> I8:
        if self.before is None:
            return self._covered(points)
        earlier = self.before._first_maker(self._back(points))
        rest = np.flatnonzero(earlier < 0)
        if len(rest):
            earlier[rest] = self._covered(np.ascontiguousarray(points[rest]))
        return earlier

    def columns(self, x: F8, y: F8) -> tuple[I8, Rows]:
        """Exact material over points (x, y) in grid axes: (first i8 (n+1), SPAN rows), labels included."""
        first, ends, labels = self.start_columns(x, y)
        room = max(4, int(np.diff(first).max(initial=0)) + 2)
        while True:
            state = unpack_spans(first, ends, labels, room)
            near = self.near
            full = columns(
                x, y, near.first, near.index, near.low_mm[0], near.low_mm[1], LIST_MM, near.nx, near.ny, self.events,
                self.body.pieces, self.body.segments, *state, LABEL_MM,
            )  # fmt: skip
            if not full:
                return pack_spans(*state)
            room *= 2

    def start_columns(self, x: F8, y: F8) -> tuple[I8, F8, NDArray[np.int32]]:
        """The same before the first cut: (first, ends f8 (m,2), labels i4 (m,2))."""
        if self.before is None:
            first, ends = raw_columns(self.stock, x, y)
            return first, ends, np.full((len(ends), 2), -1, dtype=np.int32)
        assert self.back is not None
        if abs(abs(self.back.turn[2, 2]) - 1.0) > UPRIGHT:
            first, spans = over_columns(self.before, self.back, x, y)
            return first, *_ends_of(spans)
        flat = np.stack([x, y, np.zeros_like(x)], axis=1)
        back = self._back(flat)
        first, spans = self.before.columns(np.ascontiguousarray(back[:, 0]), np.ascontiguousarray(back[:, 1]))
        ends, labels = _ends_of(spans)
        if self.back.turn[2, 2] < 0:
            n = np.diff(first)
            inner = np.arange(len(ends)) - np.repeat(first[:-1], n)
            order = np.repeat(first[:-1], n) + np.repeat(n, n) - 1 - inner
            ends, labels = self.back.shift_mm[2] - ends[order][:, ::-1], labels[order][:, ::-1]
        elif self.back.shift_mm[2] != 0.0:
            ends = ends - self.back.shift_mm[2]
        return first, np.ascontiguousarray(ends), np.ascontiguousarray(labels)

    # -- surfaces ---------------------------------------------------------------------------------------------

    def surface_points(self, points_mm: F8) -> SurfacePoints:
        """The surface right above or below each point f8 (n,3) of program coordinates, whichever is nearer.

        SURFACE_POINT rows in order, points without material over them left out; `bound_mm` holds for the height on
        its vertical line. MAKER rows: every other move whose cut ends within MAKERS_MM of the same height.
        """
        local = np.ascontiguousarray(points_mm - self.shift_mm)
        first, spans = self.columns(np.ascontiguousarray(local[:, 0]), np.ascontiguousarray(local[:, 1]))
        rows: list[Rows] = []
        makers: list[tuple[int, int, float]] = []
        for k in range(len(local)):
            own = spans[first[k] : first[k + 1]]
            if not len(own):
                continue
            z = np.concatenate([own["low_mm"], own["high_mm"]])
            label = np.concatenate([own["low_move"], own["high_move"]])
            best = int(np.argmin(np.abs(z - local[k, 2])))
            upper = best >= len(own)
            spot = np.array([local[k, 0], local[k, 1], z[best]])
            row = int(label[best])
            others = turned_others(self.stretches, spot) if self.stretches else self._others(spot, upper)
            if self.stretches or 0 <= row < self.first_row:
                zone, normal = turned_normal(self._chain(), row, spot, 1.0 if upper else -1.0)
            else:
                row, zone, normal = self._describe(row, spot, upper)
            gaps = [(move, gap) for move, gap in others if move != row]
            entry = np.zeros(1, dtype=SURFACE_POINT)
            entry["point_mm"], entry["normal"], entry["op"], entry["move"] = spot + self.shift_mm, normal, self.op, row
            entry["zone"], entry["bound_mm"], entry["makers"] = zone, self.record.error_mm + LABEL_MM, len(gaps)
            local_row = row - self.first_row
            if row >= 0 and 0 <= local_row < len(self.moves.moves):
                move = self.moves.moves[local_row]
                for name in ("tool", "frame", "length_slot", "radius_slot"):
                    entry[name] = move[name]
            makers += [(len(rows), move, gap) for move, gap in gaps]
            rows.append(entry)
        points = np.concatenate(rows) if rows else np.zeros(0, dtype=SURFACE_POINT)
        return SurfacePoints(points=lock(points), makers=lock(np.array(makers, dtype=MAKER)))

    def _events_at(self, x: float, y: float) -> I8:
        near = self.near
        a, b = int((x - near.low_mm[0]) // LIST_MM), int((y - near.low_mm[1]) // LIST_MM)
        if not (0 <= a < near.nx and 0 <= b < near.ny):
            return np.zeros(0, dtype=np.int64)
        t = a * near.ny + b
        return near.index[near.first[t] : near.first[t + 1]]

    def _others(self, spot: F8, upper: bool) -> list[tuple[int, float]]:
        """(move, gap) of every move whose cut ends within MAKERS_MM of the height; the smallest gap of each move."""
        gaps: dict[int, float] = {}
        for e in self._events_at(float(spot[0]), float(spot[1])).tolist():
            event = self.events[e]
            low, high = swept(
                event, self.body.pieces[event["piece"]], self.body.segments, float(spot[0]), float(spot[1])
            )
            if low >= high:
                continue
            gap = abs((low if upper else high) - float(spot[2]))
            if gap <= MAKERS_MM:
                row = int(event["row"])
                gaps[row] = min(gap, gaps.get(row, 1e9))
        return sorted(gaps.items())

    def _describe(self, row: int, spot: F8, upper: bool) -> tuple[int, int, F8]:
        """(move, zone, outward normal) of the surface made by a move; raw stock keeps an upright normal."""
        up = 1.0 if upper else -1.0
        if row < 0:
            return -1, RAW, np.array([0.0, 0.0, up])
        step = 1e-5
        heights = np.full(5, np.nan)
        offsets = ((0.0, 0.0), (step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step))
        for e in self._events_at(float(spot[0]), float(spot[1])).tolist():
            event = self.events[e]
            if int(event["row"]) != row:
                continue
            piece = self.body.pieces[event["piece"]]
            for k, (dx, dy) in enumerate(offsets):
                low, high = swept(event, piece, self.body.segments, float(spot[0] + dx), float(spot[1] + dy))
                if low < high:
                    value = low if upper else high
                    heights[k] = (
                        value if np.isnan(heights[k]) else min(heights[k], value) if upper else max(heights[k], value)
                    )
        slope_x = _slope(heights[0], heights[1], heights[2], step)
        slope_y = _slope(heights[0], heights[3], heights[4], step)
        normal = np.array([-slope_x, -slope_y, 1.0]) * up
        normal /= np.linalg.norm(normal)
        lean = abs(float(normal[2]))
        if not upper:
            zone = UPPER
        elif lean > 1 - 1e-9:
            zone = BOTTOM
        else:
            zone = FLANK if lean < 1e-3 else CORNER
        return row, zone, normal


def _slope(here: float, plus: float, minus: float, step: float) -> float:
    if np.isfinite(plus) and np.isfinite(minus):
        return float((plus - minus) / (2 * step))
    if np.isfinite(plus):
        return float((plus - here) / step)
    return float((here - minus) / step) if np.isfinite(minus) else 0.0


def _ends_of(spans: Rows) -> tuple[F8, NDArray[np.int32]]:
    ends = np.stack([spans["low_mm"], spans["high_mm"]], axis=1)
    return ends, np.stack([spans["low_move"], spans["high_move"]], axis=1).astype(np.int32)


def _near(events: Rows, grid: Grid) -> Near:
    low = grid.low_mm
    nx = max(1, int(np.ceil(grid.nx * grid.pitch_mm / LIST_MM)))
    ny = max(1, int(np.ceil(grid.ny * grid.pitch_mm / LIST_MM)))
    first, index = tiles_of(events, low[0], low[1], LIST_MM, nx, ny)
    return Near(first=first, index=index, low_mm=low, nx=nx, ny=ny)


def remove(
    moves: MoveList, sweeps: Rows, job: Job, op: int, place: int, *, shift_mm: F8, pitch_mm: float, first_row: int = 0,
    before: Removal | None = None, threads: int | None = None, watch: Watch = QUIET, rays: bool = True,
    begin: tuple[CutRecord, Pose] | None = None,
) -> Removal:  # fmt: skip
    """Take all moves of an operation out of the stock of one of its places.

    moves, sweeps: the operation's rows (MOVE, SWEEP, table frame), first_row: row of the first in the job-wide table.
    shift_mm: program to table frame of the place. before: the removal the stock comes from (stock kind 'from').
    rays False: no depth elements are cut, only points can be asked. begin: what it starts from and the way back to
    the grid axes of `before`, where that is no turn-over. Raises CannotAnswer, Cancelled.
    """
    own = job.ops[op].places[place]
    if begin is not None:
        start, back = begin[0], begin[1]
    elif before is not None:
        assert own.stock.turn_over is not None
        start, back = _start(before, own.stock.turn_over, op, place)
    else:
        start, back = raw_record(own.stock, op, place, pitch_mm), None
    body = pack(job.tools)
    events = events_of(sweeps, body, np.asarray(shift_mm, dtype=np.float64) + start.grid.pose.shift_mm)
    events = events[_reaching(events, start)].copy()
    events["row"] += first_row
    events = lock(events)
    bound = float(events["bound_mm"].max(initial=0.0))
    error = max(start.error_mm, min(bound, CHORD_MM))
    tiles = tiles_from(start)
    lists: Lists = lists_of(events, start.grid, tiles)
    name = f"cutting {job.ops[op].name}"
    edges = np.unique(np.linspace(0, len(events) if rays else 0, KEYFRAMES + 1).astype(np.int64))
    frames: list[tuple[int, CutRecord]] = [(0, start)]
    tallies = []
    for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        tallies += run_tiles(tiles, events, lists, body, a, b, threads, watch, name)
        if b < len(events):
            frames.append((b, record_from(tiles, start, int(events["row"][b - 1]), error)))
    record = record_from(tiles, start, first_row + len(sweeps) - 1, error)
    removed = removed_of(tallies, events, first_row, len(sweeps))
    shift = record.grid.pose.shift_mm
    removed["first_point_mm"][removed["rays"] > 0] += shift
    removed["low_z_mm"] += shift[2]
    return Removal(
        op=op, place=place, stock=own.stock, start=start, record=record, removed=lock(removed),
        engaged=lock(engaged_of(tallies, events, body)), moves=moves,
        first_row=first_row, events=events, body=body, near=_near(events, start.grid), keyframes=tuple(frames),
        before=before, back=back,
    )  # fmt: skip


def _start(before: Removal, turn: TurnOver, op: int, place: int) -> tuple[CutRecord, Pose]:
    """The stock as the operation finds it, and the way back to the axes of the one before."""
    back = Pose(turn=turn.matrix().T, shift_mm=np.zeros(3))
    if abs(turn.turn[2][2]) == 1:
        return turned_over(before.record, turn, op, place), back
    pose = Pose(
        turn=np.eye(3), shift_mm=turn.matrix() @ before.record.grid.pose.shift_mm + np.array(turn.shift_mm)
    )  # fmt: skip
    error = max(before.record.error_mm, CHORD_MM)
    return laid_record(before, back, op, place, before.record.grid.pitch_mm, pose, error), back


def _reaching(events: Rows, start: CutRecord) -> NDArray[np.bool_]:
    """Events that can touch the raw material at all."""
    grid = start.grid
    high = float(start.spans["high_mm"].max(initial=-np.inf))
    x1, y1 = grid.low_mm[0] + grid.nx * grid.pitch_mm, grid.low_mm[1] + grid.ny * grid.pitch_mm
    keep: NDArray[np.bool_] = (
        (events["low_z"] < high) & (events["bx1"] > grid.low_mm[0]) & (events["bx0"] < x1)
        & (events["by1"] > grid.low_mm[1]) & (events["by0"] < y1)
    )  # fmt: skip
    return keep
