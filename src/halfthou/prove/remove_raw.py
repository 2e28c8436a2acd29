"""The stock before the first cut as depth elements, and a state turned over for the next operation.

Grid lines are whole multiples of a pitch that is a dyadic fraction, so that turning over negates and permutes numbers
exactly: turning over and back changes no bit.
"""

import math
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.base.table import lock
from halfthou.nouns.cut import SPAN, CutRecord, Grid
from halfthou.nouns.frame import Pose, TurnOver
from halfthou.nouns.stock import Stock

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
FRACTION = 2.0**20
ASIDE_MM = (3.1e-7, 1.7e-7)
"""Rays through a mesh stand this much aside, so that none runs along an edge shared by two triangles."""


def dyadic(pitch_mm: float) -> float:
    """The pitch as a multiple of 2⁻²⁰ mm."""
    return max(1.0, round(pitch_mm * FRACTION)) / FRACTION


def box_of(stock: Stock) -> tuple[F8, F8]:
    """Low and high corner of a stock that is not 'from'."""
    if stock.kind == "cylinder":
        (cx, cy), r = stock.centre_mm, stock.diameter_mm / 2
        return np.array([cx - r, cy - r, stock.low_mm[2]]), np.array([cx + r, cy + r, stock.high_mm[2]])
    if stock.kind == "mesh":
        assert stock.vertices_mm is not None
        return stock.vertices_mm.min(axis=0), stock.vertices_mm.max(axis=0)
    return np.array(stock.low_mm), np.array(stock.high_mm)


def raw_record(stock: Stock, op: int, place: int, pitch_mm: float) -> CutRecord:
    """The raw stock on its grid, program axes, all labels -1."""
    pitch = dyadic(pitch_mm)
    low, high = box_of(stock)
    a, b = math.floor(low[0] / pitch), math.floor(low[1] / pitch)
    nx = max(1, math.ceil(high[0] / pitch) - a)
    ny = max(1, math.ceil(high[1] / pitch) - b)
    grid = Grid(
        low_mm=(a * pitch, b * pitch), pitch_mm=pitch, nx=nx, ny=ny, pose=Pose(turn=np.eye(3), shift_mm=np.zeros(3))
    )
    x, y = (axis.ravel() for axis in np.meshgrid(*ray_lines(grid), indexing="ij"))
    first, ends = raw_columns(stock, x, y)
    spans = np.zeros(len(ends), dtype=SPAN)
    spans["low_mm"], spans["high_mm"] = ends[:, 0], ends[:, 1]
    spans["low_move"] = spans["high_move"] = -1
    return CutRecord(op=op, place=place, grid=grid, first=first, spans=lock(spans), after_move=-1, error_mm=0.0)


def ray_lines(grid: Grid) -> tuple[F8, F8]:
    """x of the nx and y of the ny ray lines, grid axes."""
    x: F8 = grid.low_mm[0] + (np.arange(grid.nx, dtype=np.float64) + 0.5) * grid.pitch_mm
    y: F8 = grid.low_mm[1] + (np.arange(grid.ny, dtype=np.float64) + 0.5) * grid.pitch_mm
    return x, y


def raw_columns(stock: Stock, x: F8, y: F8) -> tuple[I8, F8]:
    """(first i8 (n+1), ends f8 (m,2)): material of the raw stock over each point, bottom to top."""
    if stock.kind == "mesh":
        return _mesh_columns(stock, x, y)
    if stock.kind == "cylinder":
        (cx, cy), r = stock.centre_mm, stock.diameter_mm / 2
        has = (x - cx) ** 2 + (y - cy) ** 2 < r * r
    else:
        (x0, y0, _), (x1, y1, _) = stock.low_mm, stock.high_mm
        has = (x > x0) & (x < x1) & (y > y0) & (y < y1)
    first = np.zeros(len(x) + 1, dtype=np.int64)
    np.cumsum(has, out=first[1:])
    ends = np.empty((int(first[-1]), 2))
    ends[:, 0], ends[:, 1] = stock.low_mm[2], stock.high_mm[2]
    return first, ends


def raw_lines(stock: Stock, origin: F8, direction: F8) -> tuple[I8, F8]:
    """Material of the raw stock (not 'from') on the lines origin f8 (n,3) + t·direction: (first, ends f8 (m,2) of t)."""
    if stock.kind == "mesh":
        return _mesh_lines(stock, origin, direction)
    low, high = np.full(len(origin), -np.inf), np.full(len(origin), np.inf)
    for axis in (2,) if stock.kind == "cylinder" else (0, 1, 2):
        a, b, d = stock.low_mm[axis] - origin[:, axis], stock.high_mm[axis] - origin[:, axis], direction[axis]
        if d == 0.0:
            high[(a >= 0) | (b <= 0)] = -np.inf
        else:
            low, high = np.maximum(low, np.minimum(a / d, b / d)), np.minimum(high, np.maximum(a / d, b / d))
    if stock.kind == "cylinder":
        p, d2 = origin[:, :2] - np.array(stock.centre_mm), direction[:2]
        square = float(d2 @ d2)
        half = p @ d2
        left = half**2 - square * ((p**2).sum(axis=1) - (stock.diameter_mm / 2) ** 2)
        root = np.sqrt(np.maximum(left, 0.0))
        low, high = np.maximum(low, (-half - root) / square), np.minimum(high, (-half + root) / square)
        high[left <= 0] = -np.inf
    has = low < high
    first = np.zeros(len(origin) + 1, dtype=np.int64)
    np.cumsum(has, out=first[1:])
    return first, np.ascontiguousarray(np.stack([low[has], high[has]], axis=1))


def _mesh_lines(stock: Stock, origin: F8, direction: F8) -> tuple[I8, F8]:
    """The mesh turned so that the lines stand upright."""
    k = int(np.argmin(np.abs(direction)))
    one = np.eye(3)[k] - direction[k] * direction
    one /= np.linalg.norm(one)
    turn = np.stack([one, np.cross(direction, one), direction])
    assert stock.vertices_mm is not None
    upright = replace(stock, vertices_mm=stock.vertices_mm @ turn.T)
    at = origin @ turn.T
    first, ends = _mesh_columns(upright, np.ascontiguousarray(at[:, 0]), np.ascontiguousarray(at[:, 1]))
    return first, ends - np.repeat(at[:, 2], np.diff(first))[:, None]


def raw_inside(stock: Stock, points: F8) -> NDArray[np.bool_]:
    """Which points f8 (n,3) lie in the raw stock (not 'from')."""
    first, ends = raw_columns(stock, points[:, 0], points[:, 1])
    n = np.diff(first)
    owner = np.repeat(np.arange(len(points)), n)
    hit = (points[owner, 2] > ends[:, 0]) & (points[owner, 2] < ends[:, 1])
    return np.bincount(owner[hit], minlength=len(points)) > 0


def _mesh_columns(stock: Stock, x: F8, y: F8) -> tuple[I8, F8]:
    assert stock.vertices_mm is not None and stock.faces is not None
    corners = np.ascontiguousarray(stock.vertices_mm[stock.faces], dtype=np.float64)
    px, py = np.asarray(x, dtype=np.float64) + ASIDE_MM[0], np.asarray(y, dtype=np.float64) + ASIDE_MM[1]
    order = np.argsort(px, kind="stable")
    sorted_x = px[order]
    low, high = corners[:, :, 0].min(axis=1), corners[:, :, 0].max(axis=1)
    from_k, to_k = np.searchsorted(sorted_x, low), np.searchsorted(sorted_x, high, side="right")
    count = np.zeros(len(px), dtype=np.int64)
    none = np.zeros(0)
    _cross(corners, sorted_x, py[order], from_k, to_k, count, np.zeros(0, dtype=np.int64), none)
    start = np.zeros(len(px) + 1, dtype=np.int64)
    np.cumsum(count, out=start[1:])
    z = np.empty(int(start[-1]))
    _cross(corners, sorted_x, py[order], from_k, to_k, np.zeros_like(count), start, z)
    pieces: list[F8] = [np.zeros((0, 2))] * len(px)
    for k in range(len(px)):
        own = np.sort(z[start[k] : start[k + 1]])
        if len(own) >= 2:
            pieces[order[k]] = own[: len(own) // 2 * 2].reshape(-1, 2)
    first = np.zeros(len(px) + 1, dtype=np.int64)
    np.cumsum([len(piece) for piece in pieces], out=first[1:])
    return first, np.concatenate(pieces) if len(pieces) else np.zeros((0, 2))


@kernel
def _cross(corners: F8, x: F8, y: F8, from_k: I8, to_k: I8, count: I8, start: I8, z: F8) -> None:
    """Count (z empty) or collect the heights at which vertical lines cross triangles. x is sorted."""
    for t in range(corners.shape[0]):
        ax = corners[t, 0, 0]
        ay = corners[t, 0, 1]
        ux = corners[t, 1, 0] - ax
        uy = corners[t, 1, 1] - ay
        vx = corners[t, 2, 0] - ax
        vy = corners[t, 2, 1] - ay
        area = ux * vy - uy * vx
        if area == 0.0:
            continue
        for k in range(from_k[t], to_k[t]):
            px = x[k] - ax
            py = y[k] - ay
            a = (px * vy - py * vx) / area
            b = (ux * py - uy * px) / area
            if a < 0.0 or b < 0.0 or a + b > 1.0:
                continue
            if z.shape[0]:
                z[start[k] + count[k]] = (
                    corners[t, 0, 2]
                    + a * (corners[t, 1, 2] - corners[t, 0, 2])
                    + b * (corners[t, 2, 2] - corners[t, 0, 2])
                )
            count[k] += 1


def turned_over(record: CutRecord, turn: TurnOver, op: int, place: int) -> CutRecord:
    """A state as the next operation finds it: arrays permuted and negated, the shift kept in the pose.

    Only for turns that keep the tool axis a line of the grid (the others: remove_lines.laid_record).
    """
    matrix = np.array(turn.turn, dtype=np.int64)
    assert abs(int(matrix[2, 2])) == 1
    grid = record.grid
    index = np.arange(grid.nx * grid.ny, dtype=np.int64).reshape(grid.nx, grid.ny)
    size = (grid.nx, grid.ny)
    source = [0 if matrix[k, 0] else 1 for k in (0, 1)]
    if source[0] == 1:
        index = index.T
    low = []
    for k in (0, 1):
        axis = source[k]
        if matrix[k, axis] < 0:
            index = np.flip(index, axis=k)
            low.append(-(grid.low_mm[axis] + size[axis] * grid.pitch_mm))
        else:
            low.append(grid.low_mm[axis])
    order = index.ravel()
    down = matrix[2, 2] < 0
    count = np.diff(record.first)[order]
    first = np.zeros(len(order) + 1, dtype=np.int64)
    np.cumsum(count, out=first[1:])
    inner = np.arange(int(first[-1]), dtype=np.int64) - np.repeat(first[:-1], count)
    if down:
        inner = np.repeat(count, count) - 1 - inner
    spans = record.spans[np.repeat(record.first[:-1][order], count) + inner]
    if down:
        new = spans.copy()
        new["low_mm"], new["high_mm"] = -spans["high_mm"], -spans["low_mm"]
        new["low_move"], new["high_move"] = spans["high_move"], spans["low_move"]
        spans = new
    pose = record.grid.pose
    shift = matrix.astype(np.float64) @ pose.shift_mm + np.array(turn.shift_mm)
    return CutRecord(
        op=op, place=place, first=lock(first), spans=lock(np.array(spans)), after_move=record.after_move,
        error_mm=record.error_mm,
        grid=Grid(
            low_mm=(low[0], low[1]), pitch_mm=grid.pitch_mm, nx=size[source[0]], ny=size[source[1]],
            pose=Pose(turn=np.eye(3), shift_mm=shift),
        ),
    )  # fmt: skip
