"""How far the machined surface lies from points of the design, along their normals: exact columns, bisection."""

from dataclasses import dataclass
from itertools import product
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from halfthou.base.watch import Watch

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
Flags = NDArray[np.bool_]

FINE_MM = 1e-4  # the bisection stops here: the error bound of a deviation, besides that of the material itself
FAR_MM = 60.0  # no surface is looked for farther away than this
CHUNK = 2000  # points between two looks at the watch
NEAR_CHUNK = 200  # the same where the nearest surface is looked for all round
FIRST_MM = 0.02  # radius of the first sphere round a point
ASIDE_MM = 1e-3  # that sphere's centre stands off the design, so that a face in the same plane is not in doubt
TURNS_RAD = (0.35, 0.17, 0.08, 0.04, 0.02, 0.01)  # by so much the direction found is turned, again and again
MOST_TURNS = 8
ABOUT_RAD = np.arange(6) * np.pi / 3
_Z = (2 * np.arange(200) + 1) / 200 - 1
_TURN = np.arange(200) * np.pi * (3 - np.sqrt(5))  # golden angle: evenly spread over the sphere
FINER = np.column_stack([np.sqrt(1 - _Z**2) * np.cos(_TURN), np.sqrt(1 - _Z**2) * np.sin(_TURN), _Z])
ROUND = np.concatenate([np.eye(3), -np.eye(3), np.array(list(product((-1.0, 1.0), repeat=3))) / np.sqrt(3)])


class Material(Protocol):
    """What is left of a place's stock, in the program coordinates of the place."""

    def inside(self, points_mm: F8) -> NDArray[np.bool_]:
        """Whether each point f8 (n,3) lies in material."""

    def makers(self, points_mm: F8) -> NDArray[np.int64]:
        """The move (row of the operation's or the job's moves) that made the surface at each point, -1 = raw stock."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviations:
    """Signed distance along the outward normal: positive = left-over, negative = gouge; f8 (n,).

    far: no surface within 60 mm along the normal (the deviation is then that limit, signed).
    """

    mm: F8
    far: NDArray[np.bool_]


def _bisect(material: Material, spot: F8, way: F8, low: F8, high: F8) -> F8:
    """Where material (at low) turns to air (at high) along `way` from `spot`; all f8 (n,)."""
    low, high = low.copy(), high.copy()
    while len(low) and float((high - low).max()) > FINE_MM:
        middle = (low + high) / 2
        solid = material.inside(spot + middle[:, None] * way)
        low, high = np.where(solid, middle, low), np.where(solid, high, middle)
    return (low + high) / 2


def _stride(material: Material, spot: F8, way: F8, first: F8, *, find: bool) -> tuple[F8, F8, Flags]:
    """Step on from `first` along `way` (1, 1.5, 2.25 … times) until material is (find) or is no longer met.

    Returns the last step before, the step that met it, and whether it was met at all.
    """
    last, now = first.copy(), first * 1.5
    met = np.zeros(len(first), dtype=np.bool_)
    open_ = np.ones(len(first), dtype=np.bool_)
    while open_.any():
        rows = np.flatnonzero(open_)
        solid = material.inside(spot[rows] + now[rows, None] * way[rows])
        hit = solid == find
        met[rows[hit]] = True
        open_[rows[hit]] = False
        on = rows[~hit]
        last[on] = now[on]
        now[on] = now[on] * 1.5
        gone = on[now[on] > FAR_MM * 1.5]
        open_[gone] = False
    return last, now, met


def deviations(
    material: Material, spot: F8, normal: F8, gouge_mm: F8, left_mm: F8, watch: Watch, name: str = "against the design"
) -> Deviations:
    """Signed deviations of the machined surface at design points; limits f8 (n,) say where to look first.

    Bound: 1e-4 mm on top of the material's own; a deviation beyond the limits is the first change of material met in
    steps that grow by half, so a wall thinner than a third of the deviation may be stepped over there.
    """
    mm, far = np.zeros(len(spot)), np.zeros(len(spot), dtype=np.bool_)
    for start in range(0, len(spot), CHUNK):
        watch.step(name, start, len(spot))
        part = slice(start, start + CHUNK)
        mm[part], far[part] = _chunk(material, spot[part], normal[part], gouge_mm[part], left_mm[part])
    return Deviations(mm=mm, far=far)


def _chunk(material: Material, spot: F8, normal: F8, gouge: F8, left: F8) -> tuple[F8, NDArray[np.bool_]]:
    mm, far = np.zeros(len(spot)), np.zeros(len(spot), dtype=np.bool_)
    under = material.inside(spot - gouge[:, None] * normal)
    over = material.inside(spot + left[:, None] * normal)
    rows = np.flatnonzero(under & ~over)
    mm[rows] = _bisect(material, spot[rows], normal[rows], -gouge[rows], left[rows])
    rows = np.flatnonzero(~under)
    last, now, met = _stride(material, spot[rows], -normal[rows], gouge[rows], find=True)
    edge = _bisect(material, spot[rows], normal[rows], -now, -last)
    mm[rows] = np.where(met, edge, -FAR_MM)
    far[rows] = ~met
    rows = np.flatnonzero(under & over)
    last, now, met = _stride(material, spot[rows], normal[rows], left[rows], find=False)
    edge = _bisect(material, spot[rows], normal[rows], last, now)
    mm[rows] = np.where(met, edge, FAR_MM)
    far[rows] = ~met
    return mm, far


def gouges(material: Material, spot: F8, normal: F8, limit_mm: F8, watch: Watch) -> F8:
    """Only the gouge beyond the limits: signed deviations f8 (n,), 0 where the surface is not gouged."""
    mm = np.zeros(len(spot))
    for start in range(0, len(spot), CHUNK):
        watch.step("gouge", start, len(spot))
        rows = np.arange(start, min(start + CHUNK, len(spot)))
        rows = rows[~material.inside(spot[rows] - limit_mm[rows, None] * normal[rows])]
        last, now, met = _stride(material, spot[rows], -normal[rows], limit_mm[rows], find=True)
        mm[rows] = np.where(met, _bisect(material, spot[rows], normal[rows], -now, -last), -FAR_MM)
    return mm


def reach(material: Material, spot: F8, way: F8, most: F8, *, find: Flags) -> F8:
    """How far along `way` from `spot` material begins (find) or ends; infinite when not before `most`, f8 (n,).

    Steps grow by half from 0.005 mm, then bisection to 1e-4 mm.
    """
    away = np.full(len(spot), np.inf)
    last, now = np.zeros(len(spot)), np.full(len(spot), 0.005)
    open_ = now < most
    while open_.any():
        rows = np.flatnonzero(open_)
        hit = material.inside(spot[rows] + now[rows, None] * way[rows]) == find[rows]
        got, on = rows[hit], rows[~hit]
        away[got] = now[got]
        open_[got] = False
        last[on] = now[on]
        now[on] = np.minimum(now[on] * 1.5, most[on])
        open_[on[last[on] >= most[on]]] = False
    rows = np.flatnonzero(np.isfinite(away))
    ends = rows[find[rows]]  # material lies beyond: look from there towards the start
    away[ends] = -_bisect(material, spot[ends], -way[ends], -now[ends], -last[ends])
    starts = rows[~find[rows]]
    away[starts] = _bisect(material, spot[starts], way[starts], last[starts], now[starts])
    return away


def nearest(
    material: Material, spot: F8, normal: F8, sign: F8, most: F8, more: F8, watch: Watch, name: str = "nearest surface"
) -> tuple[F8, F8]:
    """(distance f8 (n,), end f8 (n,3)) from points of the design to the nearest machined surface, `most` f8 (n,) at most.

    sign -1: the point is in air and material is looked for; +1: the other way round. more f8 (n,k,3): unit directions
    that are likely; besides them 14 all round are tried, on spheres that double (where that meets nothing: 200, on
    spheres that grow by a quarter). The best direction is then turned to
    the shortest way: on planes and round faces to 1e-4 mm + 1e-4 of the distance, at sharp edges and tips to 0.5 %. An end that none of the
    directions meets makes the answer too long, never too short.
    """
    to, end = most.copy(), spot + (sign * most)[:, None] * normal
    for start in range(0, len(spot), NEAR_CHUNK):
        watch.step(name, start, len(spot))
        part = slice(start, start + NEAR_CHUNK)
        to[part], end[part] = _nearest(material, spot[part], normal[part], sign[part], most[part], more[part])
    return to, end


def _nearest(material: Material, spot: F8, normal: F8, sign: F8, most: F8, more: F8) -> tuple[F8, F8]:
    find = sign < 0
    to, way = most.copy(), sign[:, None] * normal
    start = spot + (sign * ASIDE_MM)[:, None] * normal
    to[material.inside(start) == find] = 0.0
    _spheres(material, start, find, to, way, more, 1.5)
    _spheres(material, start, find, to, way, np.broadcast_to(ROUND, (len(spot), *ROUND.shape)), 2.0)
    lost = np.flatnonzero(to >= FAR_MM)
    if len(lost):
        far, turn = to[lost], way[lost]
        _spheres(material, start[lost], find[lost], far, turn, np.broadcast_to(FINER, (len(lost), *FINER.shape)), 1.25)
        to[lost], way[lost] = far, turn
    met = np.flatnonzero((to > 0) & (to < FAR_MM))
    for angle in TURNS_RAD:
        _turned(material, start, find, to, way, met, angle)
    to[met] = _edge(material, start[met], way[met], 0.9 * to[met], to[met], find[met], FINE_MM)
    return to, start + to[:, None] * way


def _spheres(material: Material, spot: F8, find: Flags, to: F8, way: F8, ways: F8, grow: float) -> None:
    """Go out along ways f8 (n,k,3) in steps that grow, until one meets what is looked for; to and way are changed in place."""
    open_, last, now = np.flatnonzero(to > FIRST_MM), 0.0, FIRST_MM
    while len(open_) and ways.shape[1]:
        probe = spot[open_, None, :] + now * ways[open_]
        hit = (material.inside(probe.reshape(-1, 3)) == np.repeat(find[open_], ways.shape[1])).reshape(len(open_), -1)
        which, k = np.nonzero(hit)
        _shorter(material, spot, find, to, way, open_[which], ways[open_[which], k], last, now, 0.05 * now)
        last, now = now, now * grow
        open_ = open_[~hit.any(axis=1) & (to[open_] > now)]


def _turned(material: Material, spot: F8, find: Flags, to: F8, way: F8, rows: I8, angle: float) -> None:
    """Turn the directions `way` by an angle to shorter ways while that helps; to and way are changed in place."""
    missed = np.zeros(len(to), dtype=np.int8)
    for k in range(MOST_TURNS):
        a = np.cross(way[rows], np.eye(3)[np.argmin(np.abs(way[rows]), axis=1)])
        a /= np.linalg.norm(a, axis=1)[:, None]
        b = np.cross(way[rows], a)
        about = ABOUT_RAD + k * np.pi / 6  # every other time between those of the last
        aside = np.cos(about)[:, None] * a[:, None, :] + np.sin(about)[:, None] * b[:, None, :]
        tilted = np.cos(angle) * way[rows, None, :] + np.sin(angle) * aside
        less = np.maximum(to[rows] * (1 - angle**2 / 4) - FINE_MM, 0.0)
        probe = (spot[rows, None, :] + less[:, None, None] * tilted).reshape(-1, 3)
        hit = (material.inside(probe) == np.repeat(find[rows], len(about))).reshape(len(rows), -1)
        which, n = np.nonzero(hit)
        at, low = rows[which], less[which] * max(0.0, 1 - 2 * angle)
        _shorter(material, spot, find, to, way, at, tilted[which, n], low, less[which], to[at] * angle**2 / 2)
        missed[rows] = np.where(hit.any(axis=1), 0, missed[rows] + 1)
        rows = rows[missed[rows] < 2]
        if not len(rows):
            return


def _shorter(
    material: Material, spot: F8, find: Flags, to: F8, way: F8, at: I8, ways: F8, low: F8 | float, high: F8 | float,
    fine: F8 | float,
) -> None:  # fmt: skip
    """Enter the ways (of rows `at`) that meet what is looked for at `high`, where they are shorter than those known."""
    if not len(at):
        return
    low, high = np.broadcast_to(low, len(at)), np.broadcast_to(high, len(at))
    edge = _edge(material, spot[at], ways, low, high, find[at], fine)
    for n in np.lexsort((-edge, at)):  # the shortest comes last
        if edge[n] <= to[at[n]]:
            to[at[n]], way[at[n]] = edge[n], ways[n]


def _edge(material: Material, spot: F8, way: F8, low: F8, high: F8, find: Flags, fine: F8 | float) -> F8:
    """Where along `way` what is looked for begins, f8 (n,): it is there at high, and not yet at low (or low is 0).

    To `fine` mm (at least FINE_MM); never too short.
    """
    low, high = low.copy(), high.copy()
    while len(low) and bool((high - low > np.maximum(fine, FINE_MM)).any()):
        middle = (low + high) / 2
        there = material.inside(spot + middle[:, None] * way) == find
        low, high = np.where(there, low, middle), np.where(there, middle, high)
    return high
