"""The stock of a third operation, of a part laid on its side or turned, or of a mesh as cells for the contact search."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows
from halfthou.geometry.cutting import tiles_of
from halfthou.geometry.near_cells import BOX, CELLS, MESH, NODE, ROOT_MM, ROUND, Stages, may_be
from halfthou.geometry.near_stock import Raw
from halfthou.nouns.frame import Pose
from halfthou.nouns.stock import Stock
from halfthou.prove.remove import Removal
from halfthou.prove.remove_lines import chorded
from halfthou.prove.remove_raw import box_of

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

MOST_NODES = 400_000  # squares of one stock before the search leaves a pair open
MOST_PARTS = 24  # separate heights kept of one square; more are taken as one
LIST_MM = 2.0  # cuts are listed by squares of this side, in the axes they were made in
BATCH = 4096  # squares worked out at once


class StockCells:
    """The tree of `near_cells.py` over a removal's start, table frame."""

    def __init__(self, removal: Removal, shift_mm: F8, most: int = MOST_NODES) -> None:
        """removal: whose stock before its first cut is meant; shift_mm: program to table frame of its place."""
        self._removal = removal
        self._off = np.asarray(shift_mm, dtype=np.float64) + removal.shift_mm
        self._left = most
        self._stages = _stages(removal, self._off)
        low, high = _box(removal, self._off)
        self.low_mm, self.high_mm = low, high
        nx, ny = (max(1, int(np.ceil((high[k] - low[k]) / ROOT_MM))) for k in (0, 1))
        self._rows = nx * ny
        self._table = np.full((max(1024, 16 * nx * ny), NODE), -1.0)
        x = np.repeat(low[0] + (np.arange(nx) + 0.5) * ROOT_MM, ny)
        y = np.tile(low[1] + (np.arange(ny) + 0.5) * ROOT_MM, nx)
        cell = np.column_stack([x, y, np.full(nx * ny, ROOT_MM / 2)])
        whole = np.tile([[low[2], high[2]]], (nx * ny, 1))
        self._fill(np.arange(nx * ny), cell, np.arange(nx * ny + 1), whole)
        last = self._table[: nx * ny, 1] + self._table[: nx * ny, 2] - 1
        some = self._table[: nx * ny, 2] > 0
        if np.any(some):
            self.high_mm[2] = float(self._table[last[some].astype(np.int64), 1].max())

    @property
    def table(self) -> F8:
        """Node and interval rows; see `near_cells.Cells`."""
        return self._table

    def raw(self) -> Raw:
        """The stock as the contact search takes it."""
        low, high = self.low_mm, self.high_mm
        return Raw(
            shape=CELLS, size_mm=np.array([low[0], low[1], high[0], high[1]]), low_mm=float(low[2]),
            high_mm=float(high[2]), cells=self,
        )  # fmt: skip

    def split(self, asked: F8) -> bool:
        """Four children for each node asked (node, x, y, half); False when the budget is spent."""
        _, keep = np.unique(asked[:, 0], return_index=True)
        asked = asked[keep]
        asked = asked[self._table[asked[:, 0].astype(np.int64), 0] < 0]
        asked = asked[: max(0, self._left // 4)]
        if not len(asked):
            return False
        self._left -= 4 * len(asked)
        for start in range(0, len(asked), BATCH):
            self._children(asked[start : start + BATCH])
        return True

    def _children(self, asked: F8) -> None:
        node, n = asked[:, 0].astype(np.int64), len(asked)
        half = np.repeat(asked[:, 3] / 2, 4)
        k = np.tile(np.arange(4), n)
        x = np.repeat(asked[:, 1], 4) + np.where(k & 1, half, -half)
        y = np.repeat(asked[:, 2], 4) + np.where(k & 2, half, -half)
        first, count = (self._table[node, c].astype(np.int64) for c in (1, 2))
        first, count = np.repeat(first, 4), np.repeat(count, 4)
        old_first = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
        rows = np.repeat(first - old_first[:-1], count) + np.arange(old_first[-1])
        old = self._table[rows, :2]
        at = self._room(4 * n)
        self._table[node, 0] = at[::4]
        self._fill(at, np.column_stack([x, y, half]), old_first, old)

    def _fill(self, at: I8, cell: F8, old_first: I8, old: F8) -> None:
        """Work out the squares `cell` of node rows `at` from what may be material in squares round them."""
        exact_first, exact = self.exact(cell[:, 0], cell[:, 1])
        count, out = np.zeros(len(cell), dtype=np.int64), np.empty((len(cell), MOST_PARTS, 2))
        may_be(
            np.ascontiguousarray(cell), old_first, np.ascontiguousarray(old), exact_first, exact, *self._stages, count,
            out,
        )  # fmt: skip
        here = self._room(int(count.sum()))
        self._table[here, :2] = out[np.arange(MOST_PARTS)[None, :] < count[:, None]]
        middle = self._room(len(exact))
        self._table[middle, :2] = exact
        self._table[at, 0] = -1
        self._table[at, 1] = (here[0] if len(here) else 0) + np.cumsum(count) - count
        self._table[at, 2] = count
        self._table[at, 3] = (middle[0] if len(middle) else 0) + exact_first[:-1]
        self._table[at, 4] = np.diff(exact_first)

    def exact(self, x: F8, y: F8) -> tuple[I8, F8]:
        """Material over points of the table frame before the first cut: first i8 (n+1), heights f8 (m,2)."""
        off = self._off
        first, ends, _ = self._removal.start_columns(np.ascontiguousarray(x - off[0]), np.ascontiguousarray(y - off[1]))
        return np.asarray(first, dtype=np.int64), np.ascontiguousarray(ends + off[2])

    def over(self, x: float, y: float) -> F8:
        """A table of one node with its middle at a point: for a single height that is asked (f8 (rows, NODE))."""
        _, ends = self.exact(np.array([x]), np.array([y]))
        table = np.full((1 + len(ends), NODE), -1.0)
        table[0] = [-1, 1, len(ends), 1, len(ends)]
        table[1:, :2] = ends
        return table

    def _room(self, n: int) -> I8:
        """Fresh rows."""
        while self._rows + n > len(self._table):
            self._table = np.concatenate([self._table, np.full_like(self._table, -1.0)])
        self._rows += n
        return np.arange(self._rows - n, self._rows)


def cells_of(removal: object, stock: Stock, shift_mm: F8) -> Raw | None:
    """The stock of an operation as cells; None for box and cylinder, and where its removal is not at hand."""
    plain = stock.kind in ("box", "cylinder")
    if not isinstance(removal, Removal) or (removal.before is None and plain):
        return None
    return StockCells(removal, shift_mm).raw()


def _chain(removal: Removal, off: F8) -> Iterator[tuple[Removal | None, Stock, Pose]]:
    """Every operation before, newest first, with the way from the table frame to its grid axes; last the raw stock."""
    own, pose = removal, Pose(turn=np.eye(3), shift_mm=-off)
    while own.before is not None:
        assert own.back is not None
        pose = Pose(turn=own.back.turn @ pose.turn, shift_mm=own.back.turn @ pose.shift_mm + own.back.shift_mm)
        own = own.before
        yield own, own.stock, pose
    yield None, own.stock, pose


def _box(removal: Removal, off: F8) -> tuple[F8, F8]:
    """A box of the table frame that holds the stock for sure: that of the raw stock, carried along."""
    *_, (_, stock, pose) = _chain(removal, off)
    low, high = box_of(stock)
    corners = np.array([[x, y, z] for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])])
    now = (corners - pose.shift_mm) @ pose.turn
    return now.min(axis=0), now.max(axis=0)


def _stages(removal: Removal, off: F8) -> Stages:
    """What was done before, newest operation first, and the raw stock."""
    turns: list[F8] = []
    shifts: list[F8] = []
    grids: list[F8] = []
    bases: list[int] = []
    firsts: list[I8] = []
    indexes: list[I8] = []
    events: list[Rows] = []
    lists = count = listed = 0
    kind, raw, mesh = BOX, np.zeros(9), np.zeros((0, 3, 3))
    mesh_lists = np.zeros(2, dtype=np.int64), np.zeros(0, dtype=np.int64), np.zeros(5)
    for own, stock, pose in _chain(removal, off):
        if own is None:
            low, high = box_of(stock)
            kind = {"cylinder": ROUND, "mesh": MESH}.get(stock.kind, BOX)
            raw = np.array([*low, *high, *stock.centre_mm, stock.diameter_mm / 2])
            if kind == MESH:
                assert stock.vertices_mm is not None and stock.faces is not None
                mesh = np.ascontiguousarray(stock.vertices_mm[stock.faces], dtype=np.float64)
                mesh_lists = _listed(_boxes(mesh))
        elif not len(own.events):
            continue
        else:
            rows = chorded(own.events, own.body)
            first, index, grid = _listed(rows)
            grids.append(grid)
            bases.append(lists)
            firsts.append(first[:-1] + listed)
            indexes.append(index + count)
            events.append(rows)
            lists, count, listed = lists + len(first) - 1, count + len(rows), listed + len(index)
        turns.append(pose.turn)
        shifts.append(pose.shift_mm)
    return Stages(
        np.ascontiguousarray(turns, dtype=np.float64), np.ascontiguousarray(shifts, dtype=np.float64),
        np.array(grids, dtype=np.float64).reshape(-1, 5), np.array(bases, dtype=np.int64),
        np.concatenate([*firsts, [listed]]).astype(np.int64),
        np.concatenate([*indexes, np.zeros(0, dtype=np.int64)]).astype(np.int64),
        np.concatenate(events) if events else removal.events[:0].copy(), removal.body.pieces, removal.body.segments,
        kind, raw, mesh, *mesh_lists,
    )  # fmt: skip


def _boxes(corners: F8) -> Rows:
    """Boxes in XY of triangles f8 (m,3,3), as rows that `tiles_of` takes."""
    rows = np.zeros(len(corners), dtype=[("bx0", "f8"), ("by0", "f8"), ("bx1", "f8"), ("by1", "f8")])
    rows["bx0"], rows["by0"] = corners[:, :, 0].min(axis=1), corners[:, :, 1].min(axis=1)
    rows["bx1"], rows["by1"] = corners[:, :, 0].max(axis=1), corners[:, :, 1].max(axis=1)
    return rows


def _listed(rows: Rows) -> tuple[I8, I8, F8]:
    """Rows listed by squares: first, index and the grid (low x, low y, side, nx, ny)."""
    low = float(rows["bx0"].min()) - 1e-6, float(rows["by0"].min()) - 1e-6
    nx = max(1, int(np.ceil((float(rows["bx1"].max()) - low[0]) / LIST_MM)) + 1)
    ny = max(1, int(np.ceil((float(rows["by1"].max()) - low[1]) / LIST_MM)) + 1)
    first, index = tiles_of(rows, low[0], low[1], LIST_MM, nx, ny)
    return first, index, np.array([low[0], low[1], LIST_MM, nx, ny])
