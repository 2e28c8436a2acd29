"""What is left of a stock as one solid for short lines: all operations' sweeps, the raw surface, in one set of axes."""

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import in_threads, kernel
from halfthou.base.limits import LABEL_MM
from halfthou.base.table import Rows, dtype, lock
from halfthou.base.watch import Watch
from halfthou.geometry.cutting import tiles_of
from halfthou.geometry.exits import UNKNOWN, exits, normals
from halfthou.geometry.profile import Body
from halfthou.geometry.settle import settle
from halfthou.nouns.stock import Stock
from halfthou.prove.remove import LIST_MM, Removal
from halfthou.prove.remove_raw import raw_inside

F8 = NDArray[np.float64]
I1 = NDArray[np.int8]
I8 = NDArray[np.int64]

BOX = dtype(("bx0", "f8"), ("by0", "f8"), ("bx1", "f8"), ("by1", "f8"))
CHUNK = 4000  # lines or vertices between two looks at the watch
BESIDE_MM = 0.002  # an end is looked for this far past the node: rays and sweeps may differ by a chord


@dataclass(frozen=True, slots=True, kw_only=True)
class Raw:
    """The raw stock's surfaces: rows (normal, offset), or (cx, cy, r, 0) where form is 1; triangles if from a mesh."""

    rows: F8
    form: I1
    corners: F8  # (m,3,3), empty unless a mesh
    low_mm: tuple[float, float] = (0.0, 0.0)
    nx: int = 0
    ny: int = 0
    first: I8
    index: I8


@dataclass(frozen=True, slots=True, kw_only=True)
class Solid:
    """Levels in order of the operations; the axes of all answers are the grid axes of the last one."""

    turn: F8  # (levels,3,3): x_level = turn · x + shift
    shift: F8
    low_mm: F8  # (levels,2)
    side: I8  # (levels,3): list squares in x and y, event row after the level's last
    list_from: I8
    first: I8
    index: I8
    events: Rows
    body: Body
    stock: Stock  # of the first level
    raw: Raw


@dataclass(frozen=True, slots=True, kw_only=True)
class Ends:
    """Where lines leave the material: share of the line f8 (n,), surface i8 and side i1 it leaves through (`plane_at`)."""

    t: F8
    surface: I8
    kind: I1

    def known(self) -> NDArray[np.bool_]:
        """Which lines were found to leave at all."""
        out: NDArray[np.bool_] = self.surface != UNKNOWN
        return out


def solid_of(removal: Removal) -> Solid:
    """All sweeps of the operations up to this one."""
    chain = [removal]
    turns, shifts = [np.eye(3)], [np.zeros(3)]
    while chain[-1].before is not None:
        last = chain[-1]
        assert last.before is not None and last.back is not None
        turns.append(last.back.turn @ turns[-1])
        shifts.append(last.back.turn @ shifts[-1] + last.back.shift_mm)
        chain.append(last.before)
    chain, turns, shifts = chain[::-1], turns[::-1], shifts[::-1]
    side, list_from, first, index = np.zeros((len(chain), 3), dtype=np.int64), [], [], []
    events = listed = at = 0
    for v, own in enumerate(chain):
        list_from.append(at)
        first.append(own.near.first + listed)
        index.append(own.near.index + events)
        at += len(own.near.first)
        listed += len(own.near.index)
        events += len(own.events)
        side[v] = own.near.nx, own.near.ny, events
    return Solid(
        turn=np.stack(turns), shift=np.stack(shifts), low_mm=np.array([own.near.low_mm for own in chain]), side=side,
        list_from=np.array(list_from, dtype=np.int64), first=np.concatenate(first), index=np.concatenate(index),
        events=lock(np.concatenate([own.events for own in chain])), body=removal.body, stock=chain[0].stock, raw=raw_of(chain[0].stock),
    )  # fmt: skip


def raw_of(stock: Stock) -> Raw:
    """Planes, cylinder or triangles of a stock that is not 'from'."""
    none, empty = np.zeros(0, dtype=np.int64), np.zeros((0, 3, 3))
    if stock.kind == "mesh":
        assert stock.vertices_mm is not None and stock.faces is not None
        return _raw_mesh(np.ascontiguousarray(stock.vertices_mm[stock.faces], dtype=np.float64))
    rows = [[0.0, 0.0, -1.0, -stock.low_mm[2]], [0.0, 0.0, 1.0, stock.high_mm[2]]]
    form = [0, 0]
    if stock.kind == "cylinder":
        rows.append([*stock.centre_mm, stock.diameter_mm / 2, 0.0])
        form.append(1)
    else:
        for axis in (0, 1):
            way = np.eye(3)[axis].tolist()
            rows += [[-c for c in way] + [-stock.low_mm[axis]], [*way, stock.high_mm[axis]]]
            form += [0, 0]
    return Raw(rows=np.array(rows), form=np.array(form, dtype=np.int8), corners=empty, first=none, index=none)


def _raw_mesh(corners: F8) -> Raw:
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(cross, axis=1)
    keep = size > 0
    corners, way = corners[keep], cross[keep] / size[keep, None]
    if float((corners[:, 0] * cross[keep]).sum()) < 0:  # inward triangles: turn them round
        corners, way = np.ascontiguousarray(corners[:, ::-1]), -way
    boxes = np.zeros(len(corners), dtype=BOX)
    boxes["bx0"], boxes["by0"] = corners[:, :, 0].min(axis=1) - 1e-3, corners[:, :, 1].min(axis=1) - 1e-3
    boxes["bx1"], boxes["by1"] = corners[:, :, 0].max(axis=1) + 1e-3, corners[:, :, 1].max(axis=1) + 1e-3
    low = (float(boxes["bx0"].min()), float(boxes["by0"].min()))
    nx = max(1, math.ceil((float(boxes["bx1"].max()) - low[0]) / LIST_MM))
    ny = max(1, math.ceil((float(boxes["by1"].max()) - low[1]) / LIST_MM))
    first, index = tiles_of(boxes, low[0], low[1], LIST_MM, nx, ny)
    rows = np.concatenate([way, (way * corners[:, 0]).sum(axis=1)[:, None]], axis=1)
    return Raw(
        rows=rows, form=np.zeros(len(rows), dtype=np.int8), corners=np.ascontiguousarray(corners), low_mm=low, nx=nx,
        ny=ny, first=first, index=index,
    )  # fmt: skip


@kernel
def _leave_mesh(
    a: F8, b: F8, corners: F8, rows: F8, low_x: float, low_y: float, square: float, nx: int, ny: int, first: I8, index: I8,
    t: F8, which: I8,
) -> None:  # fmt: skip
    """First outward crossing of each line with the triangles; t stays where there is none."""
    d = np.zeros(3)
    p = np.zeros(3)
    for n in range(a.shape[0]):
        for q in range(3):
            d[q] = b[n, q] - a[n, q]
        i0 = max(0, int(math.floor((min(a[n, 0], b[n, 0]) - low_x) / square)))
        i1 = min(nx - 1, int(math.floor((max(a[n, 0], b[n, 0]) - low_x) / square)))
        j0 = max(0, int(math.floor((min(a[n, 1], b[n, 1]) - low_y) / square)))
        j1 = min(ny - 1, int(math.floor((max(a[n, 1], b[n, 1]) - low_y) / square)))
        for i in range(i0, i1 + 1):
            for j in range(j0, j1 + 1):
                for s in range(first[i * ny + j], first[i * ny + j + 1]):
                    m = index[s]
                    speed = rows[m, 0] * d[0] + rows[m, 1] * d[1] + rows[m, 2] * d[2]
                    if speed <= 0.0:
                        continue
                    away = rows[m, 3] - (rows[m, 0] * a[n, 0] + rows[m, 1] * a[n, 1] + rows[m, 2] * a[n, 2])
                    at = away / speed
                    if at < -1e-4 or at > 1.0001 or at >= t[n]:
                        continue
                    for q in range(3):
                        p[q] = a[n, q] + at * d[q]
                    inner = True
                    for e in range(3):
                        f = (e + 1) % 3
                        ex = corners[m, f, 0] - corners[m, e, 0]
                        ey = corners[m, f, 1] - corners[m, e, 1]
                        ez = corners[m, f, 2] - corners[m, e, 2]
                        px = p[0] - corners[m, e, 0]
                        py = p[1] - corners[m, e, 1]
                        pz = p[2] - corners[m, e, 2]
                        out = (
                            rows[m, 0] * (ey * pz - ez * py) + rows[m, 1] * (ez * px - ex * pz)
                            + rows[m, 2] * (ex * py - ey * px)
                        )  # fmt: skip
                        if out < -1e-6 * math.sqrt(ex * ex + ey * ey + ez * ez):
                            inner = False
                            break
                    if inner:
                        t[n] = max(at, 0.0)
                        which[n] = m


def leave_raw(solid: Solid, a: F8, b: F8) -> tuple[F8, I8]:
    """(share, surface) where lines from inside the raw stock leave it; (1, UNKNOWN) where they do not."""
    p = a @ solid.turn[0].T + solid.shift[0]
    d = (b - a) @ solid.turn[0].T
    raw = solid.raw
    best, which = np.full(len(a), np.inf), np.full(len(a), -1, dtype=np.int64)
    if len(raw.corners):
        best[:] = 1e300
        _leave_mesh(
            p, np.ascontiguousarray(p + d), raw.corners, raw.rows, *raw.low_mm, LIST_MM, raw.nx, raw.ny, raw.first,
            raw.index, best, which,
        )  # fmt: skip
    else:
        with np.errstate(divide="ignore", invalid="ignore"):
            for k, row in enumerate(raw.rows):
                t = _leave_side(row, p, d) if raw.form[k] == 1 else (row[3] - p @ row[:3]) / (d @ row[:3])
                speeds = np.ones(len(a)) if raw.form[k] == 1 else d @ row[:3]
                nearer = (speeds > 0) & (t < best)
                best[nearer], which[nearer] = t[nearer], k
    there = best <= 1.0001
    return np.where(there, np.clip(best, 0.0, 1.0), 1.0), np.where(there, -1 - which, UNKNOWN)


def _leave_side(row: F8, p: F8, d: F8) -> F8:
    """Share of the line where it leaves an upright cylinder (cx, cy, r, 0)."""
    q, way = p[:, :2] - row[:2], d[:, :2]
    square, half = (way**2).sum(axis=1), (q * way).sum(axis=1)
    root = np.sqrt(np.maximum(half**2 - square * ((q**2).sum(axis=1) - row[2] ** 2), 0.0))
    return np.where(square > 0, (root - half) / square, np.inf)


def in_chunks(n: int, work: Callable[[int, int], None], threads: int | None, watch: Watch, name: str) -> None:
    """Call work(from, to) over n rows in threads, looking at the watch in between."""
    starts = list(range(0, n, CHUNK))

    def one(k: int) -> None:
        watch.step(name, starts[k], n)
        work(starts[k], min(n, starts[k] + CHUNK))

    in_threads(one, len(starts), threads)


def leave(
    solid: Solid, a: F8, b: F8, threads: int | None, watch: Watch, name: str, *, sure: bool = False
) -> Ends:  # fmt: skip
    """Where lines a → b (f8 (n,3)) leave the material; share 0 where a is not in it (sure: a is known to be)."""
    a, b = np.ascontiguousarray(a), np.ascontiguousarray(b)
    t, surface, kind = np.zeros(len(a)), np.full(len(a), UNKNOWN), np.zeros(len(a), dtype=np.int8)
    body = solid.body

    def work(c0: int, c1: int) -> None:
        part = slice(c0, c1)
        t[part], surface[part] = leave_raw(solid, a[part], b[part])
        if not sure:
            aside = ~raw_inside(solid.stock, np.ascontiguousarray(a[part] @ solid.turn[0].T + solid.shift[0]))
            t[part][aside], surface[part][aside] = 0.0, UNKNOWN
        exits(
            a, b, c0, c1, solid.turn, solid.shift, solid.low_mm, solid.side, solid.list_from, solid.first, solid.index,
            LIST_MM, solid.events, body.pieces, body.segments, LABEL_MM, t, surface, kind,
        )  # fmt: skip

    in_chunks(len(a), work, threads, watch, name)
    return Ends(t=t, surface=surface, kind=kind)


def leave_nodes(solid: Solid, a: F8, b: F8, threads: int | None, watch: Watch, name: str) -> Ends:
    """The same for b known to be air: where nothing is found, a little past b is looked at."""
    ends = leave(solid, a, b, threads, watch, name, sure=True)
    rows = np.flatnonzero(~ends.known())
    if not len(rows):
        return ends
    way = b[rows] - a[rows]
    more = 1.0 + BESIDE_MM / np.linalg.norm(way, axis=1)
    again = leave(solid, a[rows], a[rows] + more[:, None] * way, threads, watch, name, sure=True)
    t, surface, kind = ends.t.copy(), ends.surface.copy(), ends.kind.copy()
    t[rows], surface[rows], kind[rows] = np.minimum(again.t * more, 1.0), again.surface, again.kind
    return replace(ends, t=t, surface=surface, kind=kind)


def ways(solid: Solid, at: F8, ends: Ends, threads: int | None, watch: Watch, name: str) -> F8:
    """The way into the air at the ends of lines, f8 (n,3); 0 where unknown."""
    out = np.zeros((len(at), 3))
    body, raw = solid.body, solid.raw

    def work(c0: int, c1: int) -> None:
        normals(
            at[c0:c1], ends.surface[c0:c1], ends.kind[c0:c1], solid.turn, solid.shift, solid.side, solid.events,
            body.pieces, body.segments, raw.rows, raw.form, out[c0:c1],
        )  # fmt: skip

    in_chunks(len(at), work, threads, watch, name)
    return out


def settled(
    solid: Solid, first: I8, member: I8, at: F8, ends: Ends, way: F8, low: F8, high: F8, threads: int | None,
    watch: Watch, name: str,
) -> tuple[F8, F8, I1]:  # fmt: skip
    """(points, mean way into the air, number of surfaces) of vertices in their cells low … high (`geometry.settle`)."""
    n = len(first) - 1
    points, mean, several = np.zeros((n, 3)), np.zeros((n, 3)), np.zeros(n, dtype=np.int8)
    body, raw = solid.body, solid.raw

    def work(v0: int, v1: int) -> None:
        settle(
            v0, v1, first, member, at, ends.surface, ends.kind, way, low, high, solid.turn, solid.shift, solid.side,
            solid.events, body.pieces, body.segments, raw.rows, raw.form, points, mean, several,
        )  # fmt: skip

    in_chunks(n, work, threads, watch, name)
    return points, mean, several


def cut_off(removal: Removal, move: int) -> Removal:
    """The removal as a run cut off after row `move` leaves it; the one before it if the move belongs to that."""
    return removal.cut_off(move)
