"""How far each deviating point really is from the machined surface, and which surface of the design that deviation belongs to.

The way along the normal is right where the machined point it ends at lies as far from the whole design as from the
point it started at. Where it does not (the normal runs along a neighbouring wall, through a rib that is gone, down a
column of material in a corner) the nearest machined point takes its place. That point's own distance from the design
says whose deviation it is: that of the face it is nearest to, if it accounts for the way. (Own derivation.)
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from halfthou.base.watch import Watch
from halfthou.nouns.part import Part
from halfthou.prove.compare_measure import FAR_MM, FINE_MM, Material, nearest, reach
from halfthou.prove.compare_points import WIDEST_MM, Edges, Samples
from halfthou.prove.surface_deviation import EXACT, NEAREST_MM, Faces

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
Flags = NDArray[np.bool_]

TIE_MM = 2e-3  # a machined point this little nearer to another face is still the point's own
TIE_SHARE = 0.02  # the same as a share of the way: normals of meshed faces are those of their triangles
ACCOUNTS = 1.5
"""Nearest machined point at most so many times as far off as it deviates itself: at a right edge both of whose faces are
cut back alike it is √2 times. Ours, no source."""
BESIDE_MM = 4.0  # so far into (over) its own surface a point looks for a neighbour's deviation
LOOK_MM = 0.005  # so far to either side the slope of the machined surface is looked at
LEAN = 0.75  # a machined surface that rises by more than this (37°) off a point's own need not be that one's
FURTHER = 1.5  # growth of the steps by which a neighbour's deviation is looked for
ALIKE = 1.0  # a machined surface that rises by less than this (45°) off a face may be that one's
STAYS = 0.8  # share of a deviation that is still there a little further from a neighbouring face
LONGER = 3.0  # so many times the shortest way the machined surface is looked for there


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """The design as it lies in the place: x_program = turn · x_design + shift_mm; its points, normals and edges."""

    part: Part
    points: Samples
    rims: Edges
    turn: F8
    shift_mm: F8
    spot: F8  # f8 (n,3) points in program coordinates
    normal: F8  # f8 (n,3)
    ready: list[Faces] = field(default_factory=list)  # the faces, made ready when first asked

    def faces(self) -> Faces:
        """The faces of the design, made ready for the nearest point."""
        if not self.ready:
            self.ready.append(Faces.of(self.part))
        return self.ready[0]

    def design(self, program: F8) -> F8:
        """Program to design coordinates, f8 (n,3)."""
        return np.asarray((program - self.shift_mm) @ self.turn, dtype=np.float64)

    def program(self, design: F8) -> F8:
        """Design to program coordinates, f8 (n,3)."""
        return np.asarray(design @ self.turn.T + self.shift_mm, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Met:
    """Per row: the machined point (program coordinates) that counts, how far off it is (signed as the deviation).

    straight: it was met along the normal. owner: the surface whose deviation it is; own_mm: the deviation of that
    surface, NaN where there is only the mesh's error between them.
    """

    point: F8
    mm: F8
    straight: Flags
    owner: I8
    own_mm: F8


def met_by(material: Material, laid: Laid, mm: F8, rows: I8, limit_mm: F8, watch: Watch) -> Met:
    """What the deviations mm f8 (n,) along the normal at `rows` i8 (m,) really are; limit_mm f8 (m,): below it all is well."""
    away = mm[rows]
    sign = np.where(away < 0, -1.0, 1.0)
    point = laid.spot[rows] + away[:, None] * laid.normal[rows]
    surface = laid.points.surface[rows].astype(np.int64)
    of, face, foot = _distance(laid, point, watch)
    meshed = _meshed(laid.part, surface) | _meshed(laid.part, face)
    slack = TIE_MM + TIE_SHARE * np.abs(away) + 2 * laid.part.chord_mm * meshed
    straight = (np.abs(away) < FAR_MM) & (np.abs(of) >= np.abs(away) - slack)
    doubt = np.flatnonzero(~straight & (np.abs(away) < FAR_MM))
    straight[doubt] = _goes_on(material, laid, rows[doubt], away[doubt], of[doubt], point[doubt] - foot[doubt], watch)
    owner, own = surface.copy(), away.copy()
    leans = straight & ~_faces(material, point, laid.normal[rows], LEAN)
    aside = np.flatnonzero(~straight | leans)
    if len(aside):
        found, kept = rows[aside], leans[aside]
        known = _machined(laid, mm, rows, rows[straight])
        to, end = nearest(
            material, laid.spot[found], laid.normal[found], sign[aside], np.abs(away[aside]),
            _ways(laid, found, sign[aside], known), watch,
        )  # fmt: skip
        before = point[aside], away[aside]
        point[aside], away[aside] = end, sign[aside] * to
        own[aside] = away[aside]
        far = to > limit_mm[aside]
        given = _assign(material, laid, rows, aside, point, away, owner, own, watch)
        given |= _seen(laid, mm, rows, straight & ~leans, aside, away, owner, own, ~given & ~kept)
        slight = aside[given & ~far]  # not beyond the limit, and not the point's own either
        owner[slight], own[slight] = surface[slight], np.nan
        back = kept & far & ~given
        point[aside[back]], away[aside[back]] = before[0][back], before[1][back]
        own[aside[back]], straight[aside] = before[1][back], back
        own[aside[(to <= 2 * laid.part.chord_mm) & ~back]] = np.nan
    return Met(point=point, mm=away, straight=straight, owner=owner, own_mm=own)


def _faces(material: Material, point: F8, normal: F8, lean: float) -> Flags:
    """Whether the machined surface at `point` rises by no more than `lean` off square to `normal`, bool (n,).

    Looked at to both sides along two directions; one side of each is enough (the other may be an edge).
    """
    out = np.ones(len(point), dtype=np.bool_)
    one = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal), axis=1)])
    one /= np.linalg.norm(one, axis=1)[:, None]
    for way in (one, np.cross(normal, one)):
        either = np.zeros(len(point), dtype=np.bool_)
        for step in (LOOK_MM, -LOOK_MM):
            below = material.inside(point + step * way - LOOK_MM * lean * normal)
            either |= below & ~material.inside(point + step * way + LOOK_MM * lean * normal)
        out &= either
    return out


def _goes_on(material: Material, laid: Laid, rows: I8, away: F8, of: F8, off: F8, watch: Watch) -> Flags:
    """Whether a deviation along the normal goes on away from the other face that its end is nearer to, bool (m,).

    Near an edge the end is nearer to the face beyond it even where that face is right. So the same is measured a
    little further from it (off f8 (m,3): from the other face to the end), where the own face is the nearest.
    """
    out = np.zeros(len(rows), dtype=np.bool_)
    sign, to = np.sign(away), np.abs(away)
    aside = off / np.maximum(np.linalg.norm(off, axis=1), 1e-12)[:, None]
    surface = laid.points.surface[rows]
    slack = TIE_MM + TIE_SHARE * to + 2 * laid.part.chord_mm * _meshed(laid.part, surface.astype(np.int64))
    for step in (1.1 * (to - np.abs(of)), 2 * to):
        k = np.flatnonzero(~out & (step < BESIDE_MM))
        start = laid.spot[rows[k]] + step[k, None] * aside[k]
        way, find = sign[k, None] * laid.normal[rows[k]], sign[k] < 0
        clear = material.inside(start) != find
        further = reach(material, start, way, LONGER * to[k] + 0.01, find=find)
        ok = np.flatnonzero(clear & np.isfinite(further))
        k = k[ok]
        end, face, _ = _distance(laid, start[ok] + further[ok, None] * way[ok], watch)
        end = np.abs(end)
        out[k] = (face == surface[k]) & (end >= STAYS * to[k]) & (end >= further[ok] - to[k] / 2 - slack[k])
    return out


def _assign(
    material: Material, laid: Laid, rows: I8, aside: I8, point: F8, away: F8, owner: I8, own: F8, watch: Watch
) -> Flags:  # fmt: skip
    """Give the deviations that a neighbouring face accounts for to that face (owner and own are changed in place).

    Returns which those are, bool (len(aside),).

    The nearest machined point itself may lie right on the point's own surface (the rim of the strip that a neighbour
    took along), so the machined surface is looked at further on: from under the point (over it, where material is
    left), in the same direction.
    """
    to, sign = np.abs(away[aside]), np.sign(away[aside])
    spot, surface, find = laid.spot[rows[aside]], owner[aside].copy(), sign < 0
    way = point[aside] - spot
    way /= np.maximum(np.linalg.norm(way, axis=1), 1e-12)[:, None]
    off = sign[:, None] * laid.normal[rows[aside]]
    given = np.zeros(len(aside), dtype=np.bool_)
    step = to.copy()
    open_ = np.flatnonzero((to > FINE_MM) & (to < FAR_MM))
    while len(open_):
        for back in (step, np.zeros(len(aside))):
            k = open_[~given[open_]]
            start = spot[k] + step[k, None] * off[k] - back[k, None] * way[k]
            clear = material.inside(start) != find[k]
            further = reach(material, start, way[k], LONGER * to[k] + 2 * back[k] + 0.01, find=find[k])
            ok = np.flatnonzero(clear & np.isfinite(further))
            k = k[ok]
            met = start[ok] + further[ok, None] * way[k]
            of, face, foot = _distance(laid, met, watch)
            slack = TIE_MM + 2 * laid.part.chord_mm * (_meshed(laid.part, surface[k]) | _meshed(laid.part, face))
            other = (np.sign(of) == sign[k]) & (face != surface[k])
            away_from = (met - foot) / np.maximum(np.abs(of), 1e-12)[:, None]
            like = _faces(material, met, sign[k, None] * away_from, ALIKE)
            same = other & like & (to[k] <= ACCOUNTS * np.abs(of) + slack)
            whose = k[same]
            owner[aside[whose]], own[aside[whose]], given[whose] = face[same], of[same], True
            point[aside[whose]] = met[same]
            turned = other & ~like  # nearest to a face that it is no image of: look further away from that one
            off[k[turned]] += away_from[turned]
        step *= FURTHER
        open_ = open_[~given[open_] & (step[open_] < BESIDE_MM)]
    return given


def _seen(
    laid: Laid, mm: F8, rows: I8, straight: Flags, aside: I8, away: F8, owner: I8, own: F8, open_: Flags
) -> Flags:  # fmt: skip
    """Whether points of other faces close by show a deviation along their own normal that accounts for it, bool.

    For the rest of notches that cross an edge aslant; such a point counts for no surface (own becomes NaN).
    """
    given = np.zeros(len(aside), dtype=np.bool_)
    shown = rows[straight]
    if not len(shown):
        return given
    tree = cKDTree(laid.spot[shown])
    for k in np.flatnonzero(open_ & (np.abs(away[aside]) < FAR_MM)).tolist():
        to = abs(float(away[aside[k]]))
        near = shown[tree.query_ball_point(laid.spot[rows[aside[k]]], min(2 * to + WIDEST_MM, BESIDE_MM))]
        near = near[laid.points.surface[near] != owner[aside[k]]]
        if (to <= ACCOUNTS * mm[near] * np.sign(away[aside[k]])).any():
            given[k], own[aside[k]] = True, np.nan
    return given


def _distance(laid: Laid, point: F8, watch: Watch) -> tuple[F8, I8, F8]:
    """Signed distance of machined points from the design, the face and its point; from the sampled points where it is large."""
    at = np.ascontiguousarray(laid.design(point))
    of, face, foot = laid.faces().feet(at, watch=watch)
    far = np.flatnonzero(~np.isfinite(of))
    if len(far):
        to, index = cKDTree(laid.points.point_mm).query(at[far])
        face[far], foot[far] = laid.points.surface[index], laid.points.point_mm[index]
        side = ((at[far] - foot[far]) * laid.points.normal[index]).sum(axis=1)
        of[far] = np.copysign(np.maximum(to, NEAREST_MM), side)
    return of, face, laid.program(foot)


def _meshed(part: Part, surface: I8) -> Flags:
    exact = [s.index for s in part.surfaces if s.form in EXACT]
    return np.asarray(~np.isin(surface, exact), dtype=np.bool_)


def _machined(laid: Laid, mm: F8, rows: I8, straight: I8) -> F8:
    """Points known to lie on the machined surface, f8 (k,3): all within their limits, and those met along the normal."""
    keep = np.ones(len(mm), dtype=np.bool_)
    keep[rows] = False
    keep[straight] = True
    return np.asarray(laid.spot[keep] + mm[keep, None] * laid.normal[keep], dtype=np.float64)


def _ways(laid: Laid, rows: I8, sign: F8, known: F8) -> F8:
    """Directions to try besides all round, f8 (m,k,3): against the two faces at the nearest edge, to machined points near."""
    ways = []
    if len(laid.rims.point_mm):
        _, rim = cKDTree(laid.rims.point_mm).query(laid.points.point_mm[rows])
        two = laid.rims.normals[rim] @ laid.turn.T * sign[:, None, None]
        ways += [two[:, 0], two[:, 1], two[:, 0] + two[:, 1]]
    if len(known):
        count = min(3, len(known))
        _, index = cKDTree(known).query(laid.spot[rows], k=count)
        to = known[np.asarray(index).reshape(len(rows), count)] - laid.spot[rows, None, :]
        ways += [to[:, k] for k in range(count)]
    if not ways:
        return np.zeros((len(rows), 0, 3))
    out = np.stack(ways, axis=1)
    size = np.linalg.norm(out, axis=2, keepdims=True)
    up = np.broadcast_to(laid.normal[rows, None, :], out.shape)
    return np.where(size > 1e-9, out / np.maximum(size, 1e-9), up)
