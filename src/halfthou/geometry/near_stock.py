"""Moving tool against what is left of the stock, decided in space and not on a grid.

The top of the stock over a point, before a row, follows from the raw shape and from every earlier cut over that point,
each in closed form (`near_under.py`). A contact is a point where the top of the stock is above the underside of the
moving piece, after the piece has been made smaller by the contact limit all round. Points are found by branch and
bound over the footprint: a cell is dropped when an upper bound of the top is not above a lower bound of the underside,
halved otherwise, and decided by the exact test of its middle. What is still open in cells of `leaf_mm` is said.

Only the top counts: the tool is closed upwards as far as the spindle, so whatever stands above its underside is met by
this part or by the next one up; a cut that leaves a roof above it does not lower the top.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.geometry.near import SAG_MM, Legs, position
from halfthou.geometry.near_cells import Cells, cell_at
from halfthou.geometry.near_chain import Chains
from halfthou.geometry.near_quick import box_of_leg, look_along, low_leg, went_before
from halfthou.geometry.near_top import Earlier, no_earlier, top
from halfthou.nouns.moves import Kind
from halfthou.nouns.tool import Zone

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
U1 = NDArray[np.uint8]

TILE_MM = 4.0  # cuts are listed by squares of this side
LEAF_MM = 0.004  # cells smaller than this are not halved further: a third of a contact limit across
MOST_CELLS = 200_000  # cells looked at for one leg and piece before it is left open
HARD_CELLS = 200  # after so many cells points all along the leg are tried: a fit inside a cut costs many cells
FAR_DOWN = 1e30  # no material
NO, YES, OPEN = 0, 1, 2  # answers of the search
ASK_CELLS = 1024  # cells of the stock asked for at once
BOX, ROUND, FIELD = 0, 1, 2  # raw shapes (and CELLS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Raw:
    """Raw stock, table frame. shape BOX: size (x0, y0, x1, y1); ROUND: (cx, cy, r, 0); FIELD: heights on rays.

    top_mm f8 (nx, ny) of FIELD holds the highest material on each ray (-FAR where there is none) at
    size[:2] + (i + 0.5, j + 0.5) · pitch_mm; its edges are known to about a pitch. CELLS: size (x0, y0, x1, y1), and
    `cells` tells what is there, as finely as it is asked.
    """

    shape: int
    size_mm: F8
    low_mm: float
    high_mm: float
    pitch_mm: float = 0.0
    top_mm: F8 | None = None
    earlier: Earlier = field(default_factory=no_earlier)
    cells: Cells | None = None

    def bounds(self) -> tuple[float, float, float, float]:
        """x0, y0, x1, y1."""
        a, b, c, d = (float(v) for v in self.size_mm)
        return (a - c, b - c, a + c, b + c) if self.shape == ROUND else (a, b, c, d)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pieces:
    """Convex pieces with what the stock search needs: widest point, top of what they open when cutting, all (g,)."""

    first_point: I8
    chain_mm: F8
    wide: I8
    grow_mm: F8
    opens_mm: F8


@dataclass(frozen=True, slots=True, kw_only=True)
class Cuts:
    """One row a (straight or level-arc piece, cutting piece), in row order, and the cuts over each tile (CSR)."""

    row: I8
    piece: I8
    from_mm: F8
    to_mm: F8
    centre_mm: F8
    sweep_rad: F8
    low_mm: F8  # tile grid corner
    nx: int
    ny: int
    first: I8
    index: I8


def pieces_of(chains: Chains) -> Pieces:
    """Widest points, and how far up each cutting piece opens: through the cutting pieces above that are as wide."""
    n = len(chains.zone)
    wide, opens = np.zeros(n, dtype=np.int64), np.zeros(n)
    for g in range(n):
        points = chains.chain_mm[chains.first_point[g] : chains.first_point[g + 1]]
        wide[g] = len(points) - 1 - int(np.argmax(points[::-1, 0]))
        opens[g] = points[wide[g], 1]
    for k in range(len(chains.first_piece) - 1):
        mine = range(int(chains.first_piece[k]), int(chains.first_piece[k + 1]))
        for g in mine:
            reach = chains.chain_mm[chains.first_point[g] + wide[g], 0] + chains.round_mm[g]
            for other in mine:
                points = chains.chain_mm[chains.first_point[other] : chains.first_point[other + 1]]
                as_wide = points[:, 0] + chains.round_mm[other] >= reach - 1e-9
                starts = float(points[0, 1]) <= opens[g] + 1e-9
                if other > g and chains.zone[other] == Zone.CUTTING and starts and bool(np.all(as_wide)):
                    opens[g] = float(points[-1, 1])
    return Pieces(
        first_point=chains.first_point, chain_mm=chains.chain_mm, wide=wide, grow_mm=chains.round_mm, opens_mm=opens
    )


def chords(legs: Legs) -> Legs:
    """Legs with every arc that is not level and round in XY replaced by chords within SAG_MM of it."""
    n = np.ones(len(legs), dtype=np.int64)
    for i in np.flatnonzero(legs.sweep_rad):
        sweep, a, b = float(legs.sweep_rad[i]), (int(legs.normal[i]) + 1) % 3, (int(legs.normal[i]) + 2) % 3
        r0 = float(np.hypot(legs.from_mm[i, a] - legs.centre_mm[i, a], legs.from_mm[i, b] - legs.centre_mm[i, b]))
        r1 = float(np.hypot(legs.to_mm[i, a] - legs.centre_mm[i, a], legs.to_mm[i, b] - legs.centre_mm[i, b]))
        level = legs.normal[i] == 2 and abs(legs.to_mm[i, 2] - legs.from_mm[i, 2]) < 1e-9
        if not (level and abs(r0 - r1) < SAG_MM):
            bend = sweep * sweep * max(r0, r1) + 2 * abs(sweep) * abs(r1 - r0)
            n[i] = -max(1, math.ceil(math.sqrt(bend / (8 * SAG_MM))))
    if not np.any(n < 0):
        return legs
    keep = [(k, j / abs(m), (j + 1) / abs(m), m < 0) for k, m in enumerate(n.tolist()) for j in range(abs(m))]
    index = np.array([i for i, *_ in keep], dtype=np.int64)
    cut = np.array([flag for *_, flag in keep])
    start, end = legs.from_mm[index].copy(), legs.to_mm[index].copy()
    for j in np.flatnonzero(cut):
        k, t0, t1, _ = keep[j]
        start[j], end[j] = position(k, legs, t0), position(k, legs, t1)
    return Legs(
        row=legs.row[index], path=legs.path[index], tool=legs.tool[index], from_mm=start, to_mm=end,
        centre_mm=legs.centre_mm[index], normal=legs.normal[index],
        sweep_rad=np.where(cut, 0.0, legs.sweep_rad[index]),
    )  # fmt: skip


def cuts_of(legs: Legs, kinds: U1, chains: Chains, pieces: Pieces, raw: Raw) -> Cuts:
    """Everything that can lower the stock: cutting pieces of legs that are lines, arcs or rapids (straight ones)."""
    able = np.isin(kinds[legs.row], (Kind.LINE, Kind.ARC, Kind.RAPID)) & (legs.path != 2)
    legs_in, pieces_in = [np.zeros(0, dtype=np.int64)], [np.zeros(0, dtype=np.int64)]
    for k in np.unique(legs.tool):
        mine = np.flatnonzero(able & (legs.tool == k))
        for g in chains.pieces(int(k)):
            if chains.zone[g] == 0:
                legs_in.append(mine)
                pieces_in.append(np.full(len(mine), g, dtype=np.int64))
    leg, piece = np.concatenate(legs_in), np.concatenate(pieces_in)
    order = np.argsort(leg, kind="stable")
    leg, piece = leg[order], piece[order]
    x0, y0, x1, y1 = raw.bounds()
    nx, ny = max(1, math.ceil((x1 - x0) / TILE_MM)), max(1, math.ceil((y1 - y0) / TILE_MM))
    low = np.array([x0, y0])
    boxes = _boxes(legs, leg, pieces, piece)
    if len(leg):
        seen = boxes[:, 4] < raw.high_mm
        leg, piece, boxes = leg[seen], piece[seen], boxes[seen]
    first, index = _tiles(boxes, low, nx, ny, TILE_MM)
    return Cuts(
        row=legs.row[leg], piece=piece, from_mm=legs.from_mm[leg], to_mm=legs.to_mm[leg],
        centre_mm=legs.centre_mm[leg], sweep_rad=legs.sweep_rad[leg], low_mm=low, nx=nx, ny=ny, first=first,
        index=index,
    )  # fmt: skip


def _boxes(legs: Legs, leg: I8, pieces: Pieces, piece: I8) -> F8:
    """x0, y0, x1, y1 and lowest height, f8 (n,5), of what these pieces sweep."""
    point = pieces.first_point[piece]
    reach = pieces.chain_mm[point + pieces.wide[piece], 0] + pieces.grow_mm[piece]
    a, b, c = legs.from_mm[leg], legs.to_mm[leg], legs.centre_mm[leg, :2]
    low, high = np.minimum(a, b), np.maximum(a, b)
    r = np.hypot(*(a[:, :2] - c).T)[:, None]
    round_ = (legs.sweep_rad[leg] != 0.0)[:, None]
    low_xy, high_xy = np.where(round_, c - r, low[:, :2]), np.where(round_, c + r, high[:, :2])
    bottom = low[:, 2] + pieces.chain_mm[point, 1] - pieces.grow_mm[piece]
    return np.column_stack([low_xy - reach[:, None], high_xy + reach[:, None], bottom])


def _tiles(boxes: F8, low: F8, nx: int, ny: int, side: float) -> tuple[I8, I8]:
    """CSR of which boxes meet each tile, in order: first i8 (nx·ny+1), index i8."""
    counts = np.zeros(nx * ny + 1, dtype=np.int64)
    if not len(boxes):
        return counts, np.zeros(0, dtype=np.int64)
    span = np.empty((len(boxes), 4), dtype=np.int64)
    span[:, 0] = np.clip(np.floor((boxes[:, 0] - low[0]) / side), 0, nx)
    span[:, 1] = np.clip(np.floor((boxes[:, 1] - low[1]) / side), 0, ny)
    span[:, 2] = np.clip(np.floor((boxes[:, 2] - low[0]) / side) + 1, 0, nx)
    span[:, 3] = np.clip(np.floor((boxes[:, 3] - low[1]) / side) + 1, 0, ny)
    _count_tiles(span, ny, counts)
    index = np.empty(int(counts.sum()), dtype=np.int64)
    first = np.concatenate([[0], np.cumsum(counts[:-1])]).astype(np.int64)
    _fill_tiles(span, ny, first[:-1].copy(), index)
    return first, index


@kernel
def _count_tiles(span: I8, ny: int, counts: I8) -> None:
    for j in range(span.shape[0]):
        for a in range(span[j, 0], span[j, 2]):
            for b in range(span[j, 1], span[j, 3]):
                counts[a * ny + b] += 1


@kernel
def _fill_tiles(span: I8, ny: int, at: I8, index: I8) -> None:
    for j in range(span.shape[0]):
        for a in range(span[j, 0], span[j, 2]):
            for b in range(span[j, 1], span[j, 3]):
                index[at[a * ny + b]] = j
                at[a * ny + b] += 1


def stock_top(x: float, y: float, half: float, row: int, cuts: Cuts, pieces: Pieces, raw: Raw) -> float:
    """Top of the stock before `row` in the square of half side `half` round a point: exact for 0, else not below it."""
    field, size = raw.top_mm if raw.top_mm is not None else np.zeros((1, 1)), raw.size_mm
    if raw.cells is not None:
        field = raw.cells.table
        if half <= 0.0:
            field, size = raw.cells.over(x, y), np.array([x - 2.0, y - 2.0, x + 2.0, y + 2.0])
    return float(
        top(
            x, y, half, row, -FAR_DOWN, cuts.row, cuts.piece, cuts.from_mm, cuts.to_mm, cuts.centre_mm,
            cuts.sweep_rad, cuts.low_mm, cuts.nx, cuts.ny, cuts.first, cuts.index, pieces.first_point,
            pieces.chain_mm, pieces.wide, pieces.grow_mm, pieces.opens_mm, raw.shape, size, raw.low_mm,
            raw.high_mm, raw.pitch_mm, field, raw.earlier,
        )
    )  # fmt: skip


def meet(
    legs: Legs,
    which: I8,
    piece: I8,
    before_row: I8,
    shrink_mm: F8,
    grow_mm: F8,
    cuts: Cuts,
    pieces: Pieces,
    raw: Raw,
    most_cells: int | None = None,
    tick: Callable[[], None] = lambda: None,
) -> tuple[U1, F8]:
    """Whether piece[j] of leg which[j] meets the stock as it is before before_row[j], u1 (n,), and a point f8 (n,3).

    The piece is made shrink_mm smaller (less radius, underside raised) or grow_mm larger (all round) first. Answers
    are NO, YES (a point was found) and OPEN (not decided: some cell of LEAF_MM, or too many cells). tick is called
    each time before the search, which is begun again when cells of the stock had to be halved.
    """
    answer, point = np.zeros(len(which), dtype=np.uint8), np.full((len(which), 3), np.nan)
    most = MOST_CELLS if most_cells is None else most_cells
    x0, y0, x1, y1 = raw.bounds()
    left = np.arange(len(which))
    while len(left):
        tick()
        told, spot, asked = np.zeros(len(left), dtype=np.uint8), np.full((len(left), 3), np.nan), np.empty((0, 4))
        if raw.cells is not None:
            field, asked = raw.cells.table, np.empty((ASK_CELLS, 4))
        else:
            field = raw.top_mm if raw.top_mm is not None else np.zeros((1, 1))
        waits, count = np.zeros(len(left), dtype=np.uint8), np.zeros(1, dtype=np.int64)
        _meet_all(
            which[left], piece[left], before_row[left], shrink_mm[left], grow_mm[left], legs.from_mm, legs.to_mm,
            legs.centre_mm, legs.sweep_rad, np.array([x0, y0, x1, y1]),
            LEAF_MM if raw.shape != FIELD else raw.pitch_mm, TILE_MM, most, cuts.row, cuts.piece, cuts.from_mm,
            cuts.to_mm, cuts.centre_mm, cuts.sweep_rad, cuts.low_mm, cuts.nx, cuts.ny, cuts.first, cuts.index,
            pieces.first_point, pieces.chain_mm, pieces.wide, pieces.grow_mm, pieces.opens_mm, raw.shape,
            raw.size_mm, raw.low_mm, raw.high_mm, raw.pitch_mm, field, raw.earlier, told, spot, waits, asked, count,
        )  # fmt: skip
        answer[left], point[left] = told, spot
        left = left[(waits == 1) & (told != YES)]
        if len(left) and (raw.cells is None or not raw.cells.split(asked[: count[0]])):
            break  # as fine as it gets: what waits stays open
    if raw.shape == FIELD:  # between rays nothing can be decided: the caller says how well the edges are known
        answer[answer == OPEN] = NO
    return answer, point


@kernel
def _meet_all(
    which: I8, piece: I8, before: I8, shrink: F8, extra: F8, leg_from: F8, leg_to: F8, leg_centre: F8, leg_sweep: F8,
    box: F8, leaf: float, tile: float, most: int, cut_row: I8, cut_piece: I8, cut_from: F8, cut_to: F8,
    cut_centre: F8, cut_sweep: F8, low: F8, nx: int, ny: int, first: I8, index: I8, first_point: I8, chain: F8,
    wide: I8, grow: F8, opens: F8, shape: int, size: F8, raw_low: float, raw_high: float, pitch: float, field: F8,
    earlier: Earlier, answer: U1, point: F8, waits: U1, asked: F8, count: I8,
) -> None:  # fmt: skip
    """Branch and bound for every (leg, piece). waits: the cells of the stock named in `asked` are too coarse for it."""
    stack = np.empty((512, 3))
    for n in range(which.shape[0]):
        i = which[n]
        g = piece[n]
        line = chain[first_point[g] : first_point[g + 1]]
        gr = grow[g] + extra[n]
        s = shrink[n]
        p = leg_from[i]
        q = leg_to[i]
        c = leg_centre[i]
        reach = line[wide[g], 0] + gr - s
        if reach < 0.0 or min(p[2], q[2]) + line[0, 1] - gr + s >= raw_high:
            continue
        x0, x1, y0, y1 = box_of_leg(p, q, c, leg_sweep[i], reach, box)
        if x0 > x1 or y0 > y1:
            continue
        a0 = min(nx - 1, max(0, int((x0 - low[0]) / tile)))
        a1 = min(nx - 1, max(0, int((x1 - low[0]) / tile)))
        b0 = min(ny - 1, max(0, int((y0 - low[1]) / tile)))
        b1 = min(ny - 1, max(0, int((y1 - low[1]) / tile)))
        if leg_sweep[i] == 0.0 and extra[n] <= 0.0 and went_before(
            p, q, g, before[n], s, raw_high, cut_row, cut_piece, cut_from, cut_to, cut_centre, cut_sweep, low, nx, ny,
            first, index, opens,
        ):  # fmt: skip
            continue
        left = most
        for a in range(a0, a1 + 1):
            for b in range(b0, b1 + 1):
                if answer[n] == 1 or left < 0:
                    continue
                stack[0, 0] = low[0] + (a + 0.5) * tile
                stack[0, 1] = low[1] + (b + 0.5) * tile
                stack[0, 2] = 0.5 * tile
                depth = 1
                while depth > 0:
                    depth -= 1
                    x = stack[depth, 0]
                    y = stack[depth, 1]
                    half = stack[depth, 2]
                    left -= 1
                    if left == most - HARD_CELLS and shape != 3 and look_along(
                        p, q, c, leg_sweep[i], s, line, wide[g], gr, reach, x0, x1, y0, y1, before[n], cut_row,
                        cut_piece, cut_from, cut_to, cut_centre, cut_sweep, low, nx, ny, first, index, first_point,
                        chain, wide, grow, opens, shape, size, raw_low, raw_high, pitch, field, earlier, point[n],
                    ):  # fmt: skip
                        answer[n] = 1
                        break
                    if left < 0:
                        answer[n] = 2
                        depth = 0
                        break
                    bound = low_leg(p, q, c, leg_sweep[i], x, y, s - half * 1.4142135623730951, line, wide[g], gr)
                    if bound >= 1e29:
                        continue
                    bound += s - 1e-4
                    over = top(
                        x, y, half, before[n], bound, cut_row, cut_piece, cut_from, cut_to, cut_centre, cut_sweep, low,
                        nx, ny, first, index, first_point, chain, wide, grow, opens, shape, size, raw_low, raw_high,
                        pitch, field, earlier,
                    )  # fmt: skip
                    if over <= bound:
                        continue
                    here = low_leg(p, q, c, leg_sweep[i], x, y, s, line, wide[g], gr)
                    if here < 1e29:
                        here += s
                        over = top(
                            x, y, 0.0, before[n], here, cut_row, cut_piece, cut_from, cut_to, cut_centre, cut_sweep,
                            low, nx, ny, first, index, first_point, chain, wide, grow, opens, shape, size, raw_low,
                            raw_high, pitch, field, earlier,
                        )  # fmt: skip
                        if over > here:
                            answer[n] = 1
                            point[n, 0] = x
                            point[n, 1] = y
                            point[n, 2] = here
                            break
                    if half <= 0.5 * leaf:
                        answer[n] = 2
                        continue
                    if shape == 3:
                        node = cell_at(x, y, half, size, field)
                        if field[node, 0] < 0.0:
                            answer[n] = 2
                            waits[n] = 1
                            if count[0] < asked.shape[0]:
                                asked[count[0], 0] = node
                                asked[count[0], 1] = x
                                asked[count[0], 2] = y
                                asked[count[0], 3] = half
                                count[0] += 1
                            continue
                    h = 0.5 * half
                    for k in range(4):
                        stack[depth, 0] = x + (h if k & 1 else -h)
                        stack[depth, 1] = y + (h if k & 2 else -h)
                        stack[depth, 2] = h
                        depth += 1
