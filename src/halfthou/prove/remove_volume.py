"""Volume of what is left, integrated from the exact surfaces, and by plain ray counting, each with a bound.

Cells of the grid where the material length changes are halved again and again and every new cell gets its own exact
column; what is left open is bounded by half a cell for every step between neighbours.
"""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.base.value import Value
from halfthou.nouns.cut import CutRecord
from halfthou.prove.remove import Removal
from halfthou.prove.remove_raw import ray_lines

F8 = NDArray[np.float64]
SMOOTH_MM = 1e-6


def volume_of(removal: Removal, levels: int = 4) -> tuple[Value, Value]:
    """(refined, plain) volume of what is left, mm³ with hard bounds: the stock before minus what was cut."""
    start = start_volume(removal, levels)
    refined, plain = removed_of(removal, levels)
    return (
        Value(best=start.best - refined.best, u=0.0, unit="mm³", bound=start.bound + refined.bound),
        Value(best=start.best - plain.best, u=0.0, unit="mm³", bound=start.bound + plain.bound),
    )


def start_volume(removal: Removal, levels: int = 4) -> Value:
    """Volume before the first cut: by closed form, by its triangles, or what the operation before left."""
    stock = removal.stock
    if removal.before is not None:
        return volume_of(removal.before, levels)[0]
    height = stock.high_mm[2] - stock.low_mm[2]
    if stock.kind == "box":
        area = (stock.high_mm[0] - stock.low_mm[0]) * (stock.high_mm[1] - stock.low_mm[1])
        return Value(best=area * height, u=0.0, unit="mm³", bound=0.0)
    if stock.kind == "cylinder":
        return Value(best=math.pi * stock.diameter_mm**2 / 4 * height, u=0.0, unit="mm³", bound=0.0)
    assert stock.vertices_mm is not None and stock.faces is not None
    a, b, c = (stock.vertices_mm[stock.faces[:, k]] for k in range(3))
    return Value(best=abs(float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum())) / 6, u=0.0, unit="mm³", bound=0.0)


def removed_of(removal: Removal, levels: int) -> tuple[Value, Value]:
    """(refined, plain) volume of what was cut. Refined: `levels` halvings of the cells at steps."""
    grid = removal.record.grid
    size = grid.pitch_mm
    field = np.zeros((grid.nx + 2, grid.ny + 2))
    field[1:-1, 1:-1] = (_by_ray(removal.start) - _by_ray(removal.record)).reshape(grid.nx, grid.ny)
    spread = _spread(field)
    plain = Value(best=float(field.sum() * size**2), u=0.0, unit="mm³", bound=_bound(spread, size))
    x, y = ray_lines(grid)
    x, y = np.concatenate([[x[0] - size], x, [x[-1] + size]]), np.concatenate([[y[0] - size], y, [y[-1] + size]])
    rough = spread > SMOOTH_MM
    total = float(field[~rough].sum() * size**2)
    bound = 0.0
    cell_x, cell_y = np.nonzero(rough)
    px, py = np.asarray(x[cell_x], dtype=np.float64), np.asarray(y[cell_y], dtype=np.float64)
    if levels == 0:
        return plain, plain
    for level in range(levels):
        if not len(px):
            break
        size /= 2
        px = (px[:, None] + np.array([-0.5, -0.5, 0.5, 0.5]) * size).ravel()
        py = (py[:, None] + np.array([-0.5, 0.5, -0.5, 0.5]) * size).ravel()
        here = _lengths(removal, px, py)
        wide = _local_spread(px, py, here, size)
        last = level == levels - 1
        done: NDArray[np.bool_] = (wide <= SMOOTH_MM) | last
        total += float(here[done].sum() * size**2)
        if last:
            bound = _bound(wide, size)
        px, py = px[~done], py[~done]
    return Value(best=total, u=0.0, unit="mm³", bound=bound), plain


def _by_ray(record: CutRecord) -> F8:
    owner = np.repeat(np.arange(len(record.first) - 1), np.diff(record.first))
    length = record.spans["high_mm"] - record.spans["low_mm"]
    return np.asarray(np.bincount(owner, weights=length, minlength=len(record.first) - 1), dtype=np.float64)


def _lengths(removal: Removal, x: F8, y: F8) -> F8:
    """How much was cut over each point."""
    x, y = np.ascontiguousarray(x), np.ascontiguousarray(y)
    out = np.zeros(len(x))
    first, ends, _labels = removal.start_columns(x, y)
    np.add.at(out, np.repeat(np.arange(len(x)), np.diff(first)), ends[:, 1] - ends[:, 0])
    first, spans = removal.columns(x, y)
    np.subtract.at(out, np.repeat(np.arange(len(x)), np.diff(first)), spans["high_mm"] - spans["low_mm"])
    return out


def _spread(field: F8) -> F8:
    """Largest difference of each cell to its eight neighbours."""
    wide = np.pad(field, 1, mode="edge")
    nx, ny = field.shape
    views = [wide[a : a + nx, b : b + ny] for a in range(3) for b in range(3)]
    out: F8 = np.maximum.reduce(views) - np.minimum.reduce(views)
    return out


def _local_spread(x: F8, y: F8, value: F8, size: float) -> F8:
    """The same among cells that are not a full grid: a missing neighbour is smooth by construction."""
    i, j = np.round((x - x.min()) / size).astype(np.int64) + 1, np.round((y - y.min()) / size).astype(np.int64) + 1
    wide = j.max() + 2
    key = i * wide + j
    order = np.argsort(key)
    sorted_key = key[order]
    low, high = value.copy(), value.copy()
    for a in (-1, 0, 1):
        for b in (-1, 0, 1):
            at = np.searchsorted(sorted_key, key + a * wide + b)
            at = np.minimum(at, len(key) - 1)
            hit = sorted_key[at] == key + a * wide + b
            other = value[order[at]]
            low = np.where(hit, np.minimum(low, other), low)
            high = np.where(hit, np.maximum(high, other), high)
    out: F8 = high - low
    return out


def _bound(spread: F8, size: float) -> float:
    """Half a cell for every step: a straight edge is off by half a cell at most wherever it lies."""
    return float(0.5 * size**2 * spread.sum())
