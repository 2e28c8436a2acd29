"""Depth elements cut tile by tile in threads; every tile runs its moves in order, so the result has no say of threads."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import cores, in_threads
from halfthou.base.limits import LABEL_MM
from halfthou.base.table import Rows, lock
from halfthou.base.watch import Watch
from halfthou.geometry.cutting import cut_tile, tiles_of
from halfthou.geometry.engage import BINS
from halfthou.geometry.profile import Body
from halfthou.nouns.cut import ENGAGED, REMOVED, SPAN, CutRecord, Grid

F8 = NDArray[np.float64]
I4 = NDArray[np.int32]
I8 = NDArray[np.int64]

TILE = 48  # rays a side
ROOM = 4  # intervals a ray to begin with; a tile that needs more is grown and run again
NOTHING_MET = (-1e300, 2.0, -2.0)  # `front` of a stretch before it has met stock
CHUNK = 4000  # events of a tile between two looks at the watch


@dataclass(slots=True)
class Tile:
    """The rays i0..i1, j0..j1 with their intervals."""

    i0: int
    i1: int
    j0: int
    j1: int
    low: F8
    high: F8
    low_move: I4
    high_move: I4
    count: I4


@dataclass(slots=True)
class Tally:
    """What each event took away in one tile."""

    which: I8
    mm: F8
    deepest: F8
    rays: I8
    where: F8
    lowest: F8
    first_station: I8
    strips: F8
    front: F8

    def compact(self) -> "Tally":
        """Only the events that removed something: most of a tile's moves pass over it in the air."""
        some = np.flatnonzero(self.rays)
        n = np.diff(self.first_station)
        kept = np.repeat(self.rays > 0, n)
        first = np.zeros(len(some) + 1, dtype=np.int64)
        np.cumsum(n[some], out=first[1:])
        return Tally(
            self.which[some], self.mm[some], self.deepest[some], self.rays[some], self.where[some], self.lowest[some],
            first, self.strips[kept], self.front[kept],
        )  # fmt: skip


@dataclass(slots=True)
class Tiles:
    """A state that is being cut."""

    grid: Grid
    tiles: list[Tile] = field(default_factory=list)
    nx: int = 0
    ny: int = 0


def tiles_from(record: CutRecord) -> Tiles:
    """Unpack a record into tiles."""
    grid = record.grid
    out = Tiles(grid, nx=-(-grid.nx // TILE), ny=-(-grid.ny // TILE))
    counts = np.diff(record.first).reshape(grid.nx, grid.ny)
    starts = record.first[:-1].reshape(grid.nx, grid.ny)
    for a in range(out.nx):
        for b in range(out.ny):
            i0, j0 = a * TILE, b * TILE
            i1, j1 = min(i0 + TILE, grid.nx), min(j0 + TILE, grid.ny)
            count = counts[i0:i1, j0:j1].ravel().astype(np.int32)
            start = starts[i0:i1, j0:j1].ravel()
            room = max(ROOM, int(count.max(initial=0)) + 2)
            tile = Tile(
                i0, i1, j0, j1, np.zeros((len(count), room)), np.zeros((len(count), room)),
                np.full((len(count), room), -1, dtype=np.int32), np.full((len(count), room), -1, dtype=np.int32), count,
            )  # fmt: skip
            for k in range(int(count.max(initial=0))):
                has = np.flatnonzero(count > k)
                spans = record.spans[start[has] + k]
                tile.low[has, k], tile.high[has, k] = spans["low_mm"], spans["high_mm"]
                tile.low_move[has, k], tile.high_move[has, k] = spans["low_move"], spans["high_move"]
            out.tiles.append(tile)
    return out


def record_from(tiles: Tiles, like: CutRecord, after_move: int, error_mm: float) -> CutRecord:
    """Pack the tiles into a record."""
    grid = tiles.grid
    counts = np.zeros((grid.nx, grid.ny), dtype=np.int64)
    for tile in tiles.tiles:
        counts[tile.i0 : tile.i1, tile.j0 : tile.j1] = tile.count.reshape(tile.i1 - tile.i0, tile.j1 - tile.j0)
    first = np.zeros(grid.nx * grid.ny + 1, dtype=np.int64)
    np.cumsum(counts.ravel(), out=first[1:])
    spans = np.zeros(int(first[-1]), dtype=SPAN)
    starts = first[:-1].reshape(grid.nx, grid.ny)
    for tile in tiles.tiles:
        start = starts[tile.i0 : tile.i1, tile.j0 : tile.j1].ravel()
        for k in range(int(tile.count.max(initial=0))):
            has = np.flatnonzero(tile.count > k)
            at = start[has] + k
            spans["low_mm"][at], spans["high_mm"][at] = tile.low[has, k], tile.high[has, k]
            spans["low_move"][at], spans["high_move"][at] = tile.low_move[has, k], tile.high_move[has, k]
    return CutRecord(
        op=like.op, place=like.place, grid=grid, first=lock(first), spans=lock(spans), after_move=after_move,
        error_mm=error_mm,
    )  # fmt: skip


def grown(tile: Tile) -> Tile:
    """The same tile with twice the room a ray."""
    room = tile.low.shape
    more, none = np.zeros(room), np.full(room, -1, dtype=np.int32)
    return Tile(
        tile.i0, tile.i1, tile.j0, tile.j1, np.hstack([tile.low, more]), np.hstack([tile.high, more]),
        np.hstack([tile.low_move, none]), np.hstack([tile.high_move, none]), tile.count.copy(),
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class Lists:
    """Events over each tile of rays."""

    first: I8
    index: I8


def lists_of(events: Rows, grid: Grid, tiles: Tiles) -> Lists:
    """CSR lists of the events over each tile."""
    first, index = tiles_of(events, grid.low_mm[0], grid.low_mm[1], TILE * grid.pitch_mm, tiles.nx, tiles.ny)
    return Lists(first, index)


def run_tiles(
    tiles: Tiles, events: Rows, lists: Lists, body: Body, first_event: int, last_event: int, threads: int | None,
    watch: Watch, name: str,
) -> list[Tally]:  # fmt: skip
    """Cut the events first_event..last_event; tallies in tile order. The tiles are changed in place."""
    work: list[tuple[int, I8]] = []
    for t in range(len(tiles.tiles)):
        own = lists.index[lists.first[t] : lists.first[t + 1]]
        own = own[np.searchsorted(own, first_event) : np.searchsorted(own, last_event)]
        work += [(t, own[k : k + CHUNK]) for k in range(0, len(own), CHUNK)]
    by_round: dict[int, list[tuple[int, I8]]] = {}
    seen: dict[int, int] = {}
    for t, own in work:  # chunks of one tile stay in order: one a round
        seen[t] = seen.get(t, -1) + 1
        by_round.setdefault(seen[t], []).append((t, own))
    found: list[Tally] = []
    done, total, step = 0, max(1, len(work)), 4 * (threads or cores())
    for jobs in by_round.values():
        for k in range(0, len(jobs), step):
            watch.step(name, done, total)
            batch = jobs[k : k + step]

            def one(n: int, batch: list[tuple[int, I8]] = batch) -> Tally:
                return _cut(tiles, batch[n][0], batch[n][1], events, body)

            found += in_threads(one, len(batch), threads)
            done += len(batch)
    return found


def _cut(tiles: Tiles, t: int, which: I8, events: Rows, body: Body) -> Tally:
    grid = tiles.grid
    n = len(which)
    while True:
        tile = tiles.tiles[t]
        kept = Tile(
            tile.i0, tile.i1, tile.j0, tile.j1, tile.low.copy(), tile.high.copy(), tile.low_move.copy(),
            tile.high_move.copy(), tile.count.copy(),
        )  # fmt: skip
        first = np.zeros(n + 1, dtype=np.int64)
        np.cumsum(events["stations"][which], out=first[1:])
        front = np.empty((int(first[-1]), 3))
        front[:] = NOTHING_MET
        tally = Tally(
            which, np.zeros(n), np.zeros(n), np.zeros(n, dtype=np.int64), np.zeros((n, 3)), np.full(n, 1e300), first,
            np.zeros((int(first[-1]), BINS)), front,
        )  # fmt: skip
        full = cut_tile(
            events, which, body.pieces, body.segments, grid.low_mm[0], grid.low_mm[1], grid.pitch_mm, tile.i0, tile.i1,
            tile.j0, tile.j1, tile.low, tile.high, tile.low_move, tile.high_move, tile.count, 0, LABEL_MM,
            tally.mm, tally.deepest, tally.rays, tally.where, tally.lowest, grid.pitch_mm**2,
            tally.first_station, tally.strips, tally.front,
        )  # fmt: skip
        if not full:
            return tally.compact()
        tiles.tiles[t] = grown(kept)


def removed_of(tallies: list[Tally], events: Rows, first_row: int, n_rows: int) -> Rows:
    """REMOVED rows of an operation (row k is move first_row + k), summed in tile order."""
    out = np.zeros(n_rows, dtype=REMOVED)
    out["low_z_mm"] = np.inf
    for tally in tallies:
        rows = events["row"][tally.which] - first_row
        fresh, at = np.unique(rows, return_index=True)
        new = out["rays"][fresh] == 0
        out["first_point_mm"][fresh[new]] = tally.where[at[new]]
        np.add.at(out["rays"], rows, tally.rays)
        np.add.at(out["mm3"], rows, tally.mm)
        np.maximum.at(out["deepest_mm"], rows, tally.deepest)
        np.minimum.at(out["low_z_mm"], rows, tally.lowest)
    return out


def engaged_of(tallies: list[Tally], events: Rows, body: Body) -> Rows:
    """ENGAGED rows in the order of travel; stretches that met nothing are left out."""
    first = np.zeros(len(events) + 1, dtype=np.int64)
    np.cumsum(events["stations"], out=first[1:])
    stations = [np.repeat(first[t.which] - t.first_station[:-1], np.diff(t.first_station)) for t in tallies]
    number = [own + np.arange(len(own)) for own in stations]
    met = [t.front[:, 0] > NOTHING_MET[0] for t in tallies]
    if not tallies:
        return np.zeros(0, dtype=ENGAGED)
    at = np.concatenate([n[m] for n, m in zip(number, met, strict=True)])
    order = np.argsort(at, kind="stable")
    at = at[order]
    strips = np.concatenate([t.strips[m] for t, m in zip(tallies, met, strict=True)])[order]
    front = np.concatenate([t.front[m] for t, m in zip(tallies, met, strict=True)])[order]
    own, start = np.unique(at, return_index=True)
    out = np.zeros(len(own), dtype=ENGAGED)
    if not len(own):
        return out
    event = np.searchsorted(first, own, side="right") - 1
    step = (events["to_share"] - events["from_share"]) / events["stations"]
    out["move"] = events["row"][event]
    out["plunge"] = (events["form"][event] == 0) & (events["length"][event] == 0.0)
    out["from_share"] = events["from_share"][event] + step[event] * (own - first[event])
    out["to_share"] = events["from_share"][event] + step[event] * (own - first[event] + 1)
    summed = np.add.reduceat(strips, start, axis=0)
    out["strips"], out["mm3"] = summed, summed.sum(axis=1)
    out["axial_mm"] = np.maximum.reduceat(front[:, 0], start)
    out["right"], out["left"] = np.minimum.reduceat(front[:, 1], start), np.maximum.reduceat(front[:, 2], start)
    out["reach_mm"] = body.pieces["reach"][events["piece"][event]]
    return out
