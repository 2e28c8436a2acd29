"""Depth elements as triangles for pictures: one square a ray, walls between neighbours of unequal height."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.nouns.cut import CutRecord

F4 = NDArray[np.float32]
I4 = NDArray[np.int32]


@dataclass(frozen=True, slots=True)
class Relief:
    """Triangles with a group and a shading normal each: corners f4 (m,3,3), group i4 (m,), normal f4 (m,3)."""

    corners_mm: F4
    group: I4
    normal: F4


def relief(record: CutRecord, group_of_move: I4, *, floor_group: int = -1) -> Relief:
    """The outside of the stock as seen by a picture, in program coordinates.

    group_of_move i4 (moves,): what to colour by, for example the tool of each move; raw surface gets floor_group.
    Accuracy is that of a picture (steps of one pitch), not of a measurement.
    """
    grid = record.grid
    first = record.first
    count = np.diff(first).reshape(grid.nx, grid.ny).T
    parts: list[Relief] = []
    layers = int(count.max()) if count.size else 0
    for layer in range(layers):
        has = count > layer
        index = np.where(has, first[:-1].reshape(grid.nx, grid.ny).T + layer, 0)
        low = np.where(has, record.spans["low_mm"][index], np.nan)
        high = np.where(has, record.spans["high_mm"][index], np.nan)
        low_group = _groups(record.spans["low_move"][index], group_of_move, floor_group)
        high_group = _groups(record.spans["high_move"][index], group_of_move, floor_group)
        parts += _layer(record, low, high, low_group, high_group, has)
    if not parts:
        empty = np.zeros((0, 3), np.float32)
        return Relief(np.zeros((0, 3, 3), np.float32), np.zeros(0, np.int32), empty)
    corners = np.concatenate([p.corners_mm for p in parts])
    normal = np.concatenate([p.normal for p in parts])
    turn = grid.pose.turn.astype(np.float32)
    return Relief(
        (corners @ turn.T + grid.pose.shift_mm.astype(np.float32)).astype(np.float32),
        np.concatenate([p.group for p in parts]),
        (normal @ turn.T).astype(np.float32),
    )


def _groups(move: I4, group_of_move: I4, raw: int) -> I4:
    known = np.clip(move, 0, max(0, len(group_of_move) - 1))
    if not len(group_of_move):
        return np.full(move.shape, raw, np.int32)
    return np.where(move >= 0, group_of_move[known], raw).astype(np.int32)


def _layer(
    record: CutRecord,
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    low_group: I4,
    high_group: I4,
    has: NDArray[np.bool_],
) -> list[Relief]:
    grid = record.grid
    pitch = grid.pitch_mm
    j, i = np.nonzero(has)
    x0 = np.asarray(grid.low_mm[0] + i * pitch, dtype=np.float64)
    y0 = np.asarray(grid.low_mm[1] + j * pitch, dtype=np.float64)
    x1, y1 = np.asarray(x0 + pitch, dtype=np.float64), np.asarray(y0 + pitch, dtype=np.float64)
    flat = []
    for z, group, up in ((high, high_group, 1.0), (low, low_group, -1.0)):
        normal = _normals(z, pitch)[j, i] * up
        flat.append(_quads(x0, y0, x1, y1, z[j, i], group[j, i], normal))
    walls = []
    for axis in (0, 1):
        for sign in (1, -1):
            walls.append(_walls(record, low, high, high_group, low_group, has, axis, sign))
    return [*flat, *(wall for wall in walls if len(wall.group))]


def _normals(z: NDArray[np.float64], pitch: float) -> NDArray[np.float64]:
    """Shading normals from the slope where the surface is smooth; straight up at steps."""
    out = np.zeros((*z.shape, 3))
    out[..., 2] = 1.0
    for axis, component in ((1, 0), (0, 1)):
        step = np.gradient(z, axis=axis) if z.shape[axis] > 1 else np.zeros_like(z)
        slope = step / pitch
        smooth = np.isfinite(slope) & (np.abs(slope) < 2.0)
        out[..., component] = np.where(smooth, -slope, 0.0)
    norm = np.linalg.norm(out, axis=-1, keepdims=True)
    result: NDArray[np.float64] = out / norm
    return result


def _quads(
    x0: NDArray[np.float64],
    y0: NDArray[np.float64],
    x1: NDArray[np.float64],
    y1: NDArray[np.float64],
    z: NDArray[np.float64],
    group: I4,
    normal: NDArray[np.float64],
) -> Relief:
    a, b = np.stack([x0, y0, z], -1), np.stack([x1, y0, z], -1)
    c, d = np.stack([x1, y1, z], -1), np.stack([x0, y1, z], -1)
    return _two(a, b, c, d, group, normal)


def _two(
    a: NDArray[np.float64],
    b: NDArray[np.float64],
    c: NDArray[np.float64],
    d: NDArray[np.float64],
    group: I4,
    normal: NDArray[np.float64],
) -> Relief:
    corners = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.float32)
    return Relief(corners, np.concatenate([group, group]), np.concatenate([normal, normal]).astype(np.float32))


def _walls(
    record: CutRecord,
    low: NDArray[np.float64],
    high: NDArray[np.float64],
    high_group: I4,
    low_group: I4,
    has: NDArray[np.bool_],
    axis: int,
    sign: int,
) -> Relief:
    """Walls on one of the four sides: where the neighbour's material does not cover this ray's."""
    pitch = record.grid.pitch_mm
    other_low, other_high = _shifted(low, axis, sign, np.nan), _shifted(high, axis, sign, np.nan)
    other_has = np.isfinite(other_high)
    top_from = np.where(other_has, np.maximum(other_high, low), low)
    from_above = has & (high > top_from + 1e-6)
    bottom_to = np.where(other_has, np.minimum(other_low, high), low)
    from_below = has & other_has & (bottom_to > low + 1e-6)
    outer = _shifted(high_group.astype(np.float64), axis, sign, np.nan)
    outer_low = _shifted(low_group.astype(np.float64), axis, sign, np.nan)
    pieces = []
    for chosen, z0, z1, neighbour in (
        (from_above, top_from, high, outer),
        (from_below, low, bottom_to, outer_low),
    ):
        j, i = np.nonzero(chosen)
        group = np.where(np.isfinite(neighbour[j, i]), neighbour[j, i], -1).astype(np.int32)
        x0 = record.grid.low_mm[0] + (i + (1 if axis == 1 and sign > 0 else 0)) * pitch
        y0 = record.grid.low_mm[1] + (j + (1 if axis == 0 and sign > 0 else 0)) * pitch
        dx, dy = (0.0, pitch) if axis == 1 else (pitch, 0.0)
        a, b = np.stack([x0, y0, z0[j, i]], -1), np.stack([x0 + dx, y0 + dy, z0[j, i]], -1)
        c, d = np.stack([x0 + dx, y0 + dy, z1[j, i]], -1), np.stack([x0, y0, z1[j, i]], -1)
        normal = np.zeros((len(i), 3))
        normal[:, 0 if axis == 1 else 1] = sign
        pieces.append(_two(a, b, c, d, group, normal))
    return Relief(
        np.concatenate([p.corners_mm for p in pieces]),
        np.concatenate([p.group for p in pieces]),
        np.concatenate([p.normal for p in pieces]),
    )


def _shifted(values: NDArray[np.float64], axis: int, sign: int, fill: float) -> NDArray[np.float64]:
    """The neighbour's values: out[k] = values[k + sign] along the axis, `fill` beyond the edge."""
    out = np.full_like(values, fill)
    if axis == 1:
        if sign > 0:
            out[:, :-1] = values[:, 1:]
        else:
            out[:, 1:] = values[:, :-1]
    elif sign > 0:
        out[:-1] = values[1:]
    else:
        out[1:] = values[:-1]
    return out
