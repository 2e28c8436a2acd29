"""The stock as it lies before an operation, for the contact search."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows
from halfthou.geometry.near_stock import BOX, FAR_DOWN, FIELD, ROUND, Cuts, Raw
from halfthou.geometry.near_top import Earlier
from halfthou.nouns.cut import CutRecord
from halfthou.nouns.frame import TurnOver
from halfthou.nouns.stock import Stock

F8 = NDArray[np.float64]


def raw_of(stock: Stock, shift_mm: F8, start: CutRecord | None) -> Raw | str:
    """Box and cylinder exactly; otherwise the rays of the record `start`, or the reason why not."""
    low, high = float(stock.low_mm[2] + shift_mm[2]), float(stock.high_mm[2] + shift_mm[2])
    if stock.kind == "box":
        size = np.array(
            [
                stock.low_mm[0] + shift_mm[0], stock.low_mm[1] + shift_mm[1],
                stock.high_mm[0] + shift_mm[0], stock.high_mm[1] + shift_mm[1],
            ]
        )  # fmt: skip
        return Raw(shape=BOX, size_mm=size, low_mm=low, high_mm=high)
    if stock.kind == "cylinder":
        x, y = stock.centre_mm
        size = np.array([x + shift_mm[0], y + shift_mm[1], stock.diameter_mm / 2, 0.0])
        return Raw(shape=ROUND, size_mm=size, low_mm=low, high_mm=high)
    if not isinstance(start, CutRecord):
        return "its shape before the operation is not at hand"
    return field_of(start, shift_mm)


@dataclass(frozen=True, slots=True, kw_only=True)
class EarlierOp:
    """The operation that made a 'from' stock: its sweeps (table frame), the place's shift and stock, the turn-over."""

    sweeps: Rows
    shift_mm: F8
    stock: Stock
    turn: TurnOver


def turned_raw(before: Raw, cuts: Cuts, turn: TurnOver, shift_before_mm: F8, shift_mm: F8) -> Raw | None:
    """The stock that an operation on box or cylinder leaves, turned over, exactly; None when it is laid on its side."""
    forward = turn.matrix()
    if abs(forward[2, 2]) != 1.0 or before.shape == FIELD:
        return None
    by = np.array(turn.shift_mm) + shift_mm - forward @ shift_before_mm  # x_now = forward · x_before + by
    back = forward.T
    away = -back @ by
    x0, y0, x1, y1 = before.bounds()
    corners = np.array([[x0, y0, before.low_mm], [x1, y1, before.high_mm]]) @ forward.T + by
    low, high = corners.min(axis=0), corners.max(axis=0)
    size = np.array([low[0], low[1], high[0], high[1]])
    if before.shape == ROUND:
        size = np.array([(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, before.size_mm[2], 0.0])
    earlier = Earlier(
        1, np.ascontiguousarray(back[:2, :2]), np.ascontiguousarray(away[:2]), float(back[2, 2]), float(away[2]),
        before.shape, before.size_mm, before.low_mm, before.high_mm, cuts.row, cuts.piece, cuts.from_mm, cuts.to_mm,
        cuts.centre_mm, cuts.sweep_rad, cuts.low_mm, cuts.nx, cuts.ny, cuts.first, cuts.index,
    )  # fmt: skip
    return Raw(shape=before.shape, size_mm=size, low_mm=float(low[2]), high_mm=float(high[2]), earlier=earlier)


def field_of(record: CutRecord, shift_mm: F8) -> Raw | str:
    """Tops of the rays of a record whose grid lies level and square in the table frame, as a FIELD."""
    grid = record.grid
    turn = np.asarray(grid.pose.turn)
    if abs(abs(turn[2, 2]) - 1.0) > 1e-9 or not np.allclose(np.abs(turn[:2, :2]).sum(axis=0), 1.0):
        return "its rays do not stand upright in this set-up"
    first, spans = record.first, record.spans
    count = np.diff(first)
    some = count > 0
    most, least = np.full(len(count), -FAR_DOWN), np.full(len(count), FAR_DOWN)
    ends = ("high_mm", "low_mm") if turn[2, 2] > 0 else ("low_mm", "high_mm")
    top_at, low_at = (first[1:] - 1, first[:-1]) if turn[2, 2] > 0 else (first[:-1], first[1:] - 1)
    offset = float(grid.pose.shift_mm[2] + shift_mm[2])
    most[some] = np.sign(turn[2, 2]) * spans[ends[0]][top_at[some]] + offset
    least[some] = np.sign(turn[2, 2]) * spans[ends[1]][low_at[some]] + offset
    if not np.any(some):
        return "nothing is left of it"
    tops = most.reshape(grid.nx, grid.ny)
    corners = np.array(
        [
            [grid.low_mm[0], grid.low_mm[1], 0.0],
            [grid.low_mm[0] + grid.nx * grid.pitch_mm, grid.low_mm[1] + grid.ny * grid.pitch_mm, 0.0],
        ]
    )
    placed = corners @ turn.T + grid.pose.shift_mm + shift_mm
    if abs(turn[0, 0]) < 0.5:
        tops = tops.T
        flips = turn[0, 1] < 0, turn[1, 0] < 0
    else:
        flips = turn[0, 0] < 0, turn[1, 1] < 0
    tops = tops[::-1] if flips[0] else tops
    tops = tops[:, ::-1] if flips[1] else tops
    low, high = placed.min(axis=0), placed.max(axis=0)
    return Raw(
        shape=FIELD, size_mm=np.array([low[0], low[1], high[0], high[1]]), low_mm=float(least[some].min()),
        high_mm=float(most[some].max()), pitch_mm=grid.pitch_mm, top_mm=np.ascontiguousarray(tops),
    )  # fmt: skip
