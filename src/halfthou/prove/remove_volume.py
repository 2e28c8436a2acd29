"""Volume of what is left, integrated from the exact surfaces, and by plain ray counting, each with a bound.

Cells of the grid where the material length changes are halved again and again and every new cell gets its own exact
column; the smallest cells get four columns each, spread evenly. What is left open is bounded by half a cell for every
step between neighbours.
"""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.base.value import Value
from halfthou.nouns.cut import CutRecord
from halfthou.prove.compare_points import GOLDEN
from halfthou.prove.remove import Removal
from halfthou.prove.remove_raw import ray_lines

F8 = NDArray[np.float64]
SMOOTH_MM = 0.01
"""A cell whose second difference is below this is not halved further; its part of the bound is kept."""
STEEP_RATIO = 3.0
"""A difference of more than so many cell widths to a lone neighbour counts as a step."""


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
    spread = _bend(field)
    plain = Value(best=float(field.sum() * size**2), u=0.0, unit="mm³", bound=_bound(spread, size))
    x, y = ray_lines(grid)
    x, y = np.concatenate([[x[0] - size], x, [x[-1] + size]]), np.concatenate([[y[0] - size], y, [y[-1] + size]])
    rough = spread > SMOOTH_MM
    total = float(field[~rough].sum() * size**2)
    bound = _bound(spread[~rough], size)
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
        wide = _local_bend(px, py, here, size)
        last = level == levels - 1
        done: NDArray[np.bool_] = (wide <= SMOOTH_MM) | last
        if last:
            steep = wide > SMOOTH_MM
            here[steep] = _spread_out(removal, px[steep], py[steep], size)
        total += float(here[done].sum() * size**2)
        bound += _bound(wide[done], size)
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


def _spread_out(removal: Removal, x: F8, y: F8, size: float) -> F8:
    """Mean length over each cell from four points, one in each quarter, at places that differ from cell to cell.

    Middles of cells would see an edge along an axis at the same place in every cell, and their errors would add up.
    """
    out = np.zeros(len(x))
    k = np.arange(1, len(x) + 1)
    for n, (a, b) in enumerate(((-0.5, -0.5), (-0.5, 0.0), (0.0, -0.5), (0.0, 0.0))):
        u, v = ((4 * k + n) * GOLDEN[0]) % 1.0, ((4 * k + n) * GOLDEN[1]) % 1.0
        out += _lengths(removal, x + (a + u / 2) * size, y + (b + v / 2) * size)
    return out / 4


WAYS = ((1, 0), (0, 1), (1, 1), (1, -1))


def _bend(field: F8) -> F8:
    """Largest second difference of each cell over its neighbours: 0 on planes, the step itself at a step."""
    wide = np.pad(field, 1, mode="edge")
    nx, ny = field.shape
    out = np.zeros_like(field)
    for a, b in WAYS:
        one, two = wide[1 + a : 1 + a + nx, 1 + b : 1 + b + ny], wide[1 - a : 1 - a + nx, 1 - b : 1 - b + ny]
        out = np.maximum(out, np.abs(one + two - 2 * field))
    return out


def _local_bend(x: F8, y: F8, value: F8, size: float) -> F8:
    """The same among cells that are not a full grid: where a neighbour is missing, its cell was smooth already."""
    i, j = np.round((x - x.min()) / size).astype(np.int64) + 1, np.round((y - y.min()) / size).astype(np.int64) + 1
    wide = j.max() + 2
    key = i * wide + j
    order = np.argsort(key)
    sorted_key = key[order]

    def beside(step: int) -> tuple[F8, NDArray[np.bool_]]:
        at = np.minimum(np.searchsorted(sorted_key, key + step), len(key) - 1)
        hit: NDArray[np.bool_] = sorted_key[at] == key + step
        return value[order[at]], hit

    out = np.zeros_like(value)
    for a, b in WAYS:
        (one, has_one), (two, has_two) = beside(a * wide + b), beside(-a * wide - b)
        out = np.maximum(out, np.where(has_one & has_two, np.abs(one + two - 2 * value), 0.0))
        # one neighbour only: a step towards it still shows in its own second difference and in the plain difference
        single = has_one ^ has_two
        other = np.where(has_one, one, two)
        out = np.maximum(
            out, np.where(single & (np.abs(other - value) > STEEP_RATIO * size), np.abs(other - value), 0.0)
        )
    return out


def _bound(spread: F8, size: float) -> float:
    """Half a cell for every step: a straight edge is off by half a cell at most wherever it lies."""
    return float(0.5 * size**2 * spread.sum())
