"""How far the machined surface lies from points of the design, along their normals: exact columns, bisection."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from halfthou.base.watch import Watch

F8 = NDArray[np.float64]

FINE_MM = 1e-4  # the bisection stops here: the error bound of a deviation, besides that of the material itself
FAR_MM = 60.0  # no surface is looked for farther away than this
CHUNK = 2000  # points between two looks at the watch


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


def _stride(material: Material, spot: F8, way: F8, first: F8, *, find: bool) -> tuple[F8, F8, NDArray[np.bool_]]:
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


def reach(material: Material, spot: F8, way: F8, most: F8, *, find: NDArray[np.bool_]) -> F8:
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
