"""What a round tool leaves in inner corners of the design, measured across the corner, and which surfaces are edge breaks."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from halfthou.nouns.part import Part
from halfthou.nouns.tool import Tool
from halfthou.prove.compare_measure import ASIDE_MM, FINE_MM, Material, reach
from halfthou.prove.compare_own import Laid
from halfthou.prove.compare_points import EDGE_STEP_MM, Edges, Samples

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
Flags = NDArray[np.bool_]

BREAK_MM = 0.8  # narrower sloping surfaces are edge breaks; a chamfer tool's cut nearer than this to an edge is one
BREAK_KINDS = ("chamfer", "countersink", "spot")
MOSTLY = 0.5  # share of a break's edge points, inner ones subtracted, that must be outer edges
BESIDE_MM = 0.5  # a point this far beyond the end of an edge still lies beside it
UPRIGHT = 0.9  # |cosine| of an edge with the spindle, beyond which the tool's diameter makes the corner
BOTH_WAYS = np.sqrt(2.0) * 1.01  # a right corner both of whose walls stand proud by x stands proud by √2 x across
LAYER_MM = 1.0  # a thicker layer at the end of an edge is not looked past
BARELY = 0.9  # share of the tool's radius
FAN = 15  # directions tried across a corner


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """Per row: edge point of the inner corner it lies in (-1 none), the tool radius there, how much that must leave.

    toward f8 (m,3): direction (program) from the point to the middle of the tool that touches both sides. beside: the
    point is not on one of the two surfaces of the edge but on a third one, between them. end_mm f8 (m,): how far it is
    along the edge to its nearer end, + where that is the end that `along` points to.
    """

    rim: I8
    radius_mm: F8
    must_mm: F8
    toward: F8
    beside: Flags
    end_mm: F8

    def some(self, which: I8) -> "Corner":
        """The rows named."""
        return Corner(
            rim=self.rim[which], radius_mm=self.radius_mm[which], must_mm=self.must_mm[which], toward=self.toward[which],
            beside=self.beside[which], end_mm=self.end_mm[which],
        )  # fmt: skip


def corners_near(laid: Laid, rows: I8, aside: Flags, tool: I8, tools: Mapping[int, Tool]) -> Corner:
    """The inner corner that each design point (rows) lies in: where the tool that was there cannot reach.

    aside bool (m,): rows that also count a little inside the tool's circle (by BARELY of its radius).

    A tool of radius r touches both sides of a corner of air angle θ when its middle C stands on the bisector,
    r / sin(θ/2) from the edge. Between the edge and the tool a point keeps at least its distance from C less r.
    (Plane geometry; holds for straight edges.)
    """
    n = len(rows)
    out = Corner(
        rim=np.full(n, -1, dtype=np.int64), radius_mm=np.zeros(n), must_mm=np.zeros(n), toward=np.zeros((n, 3)),
        beside=np.zeros(n, dtype=np.bool_), end_mm=np.zeros(n),
    )  # fmt: skip
    concave = np.flatnonzero(laid.rims.concave)
    if not len(concave) or not n:
        return out
    rims, spots = laid.rims, laid.points.point_mm[rows]
    largest = max((each.diameter_mm / 2 for each in tools.values()), default=0.0)
    barely = np.where(aside, BARELY, 0.0)
    radii = {up: _radii(tool, tools, upright=up) for up in (True, False)}
    pairs, group = np.unique(np.sort(rims.surfaces[concave], axis=1), axis=0, return_inverse=True)
    for k in range(len(pairs)):
        own = concave[group.ravel() == k]
        low, high = rims.point_mm[own].min(axis=0) - 2 * largest, rims.point_mm[own].max(axis=0) + 2 * largest
        near = np.flatnonzero(((spots >= low) & (spots <= high)).all(axis=1))
        if not len(near):
            continue
        _, index = cKDTree(rims.point_mm[own]).query(spots[near])
        _between(laid, rows, near, own, own[index], radii, barely[near], out)
    return out


def _between(
    laid: Laid, rows: I8, near: I8, edge: I8, rim: I8, radii: dict[bool, F8], barely: F8, out: Corner
) -> None:  # fmt: skip
    """Enter the rows that lie between the edge points `rim` and the tool there, where that leaves more than known."""
    rims, spots = laid.rims, laid.points.point_mm[rows[near]]
    along = rims.along[rim]
    r = np.where(np.abs(along @ laid.turn[2]) > UPRIGHT, radii[True][near], radii[False][near])
    one, two = rims.normals[rim, 0], rims.normals[rim, 1]
    inward = one + two
    inward /= np.maximum(np.linalg.norm(inward, axis=1), 1e-12)[:, None]
    sine = np.sin((np.pi - np.arccos(np.clip((one * two).sum(axis=1), -1, 1))) / 2)
    off = spots - rims.point_mm[rim]
    beyond = np.abs((off * along).sum(axis=1))
    flat = off - (off * along).sum(axis=1)[:, None] * along
    to = (r / np.maximum(sine, 1e-6))[:, None] * inward - flat
    size = np.linalg.norm(to, axis=1)
    facing = (to * inward).sum(axis=1) >= size * sine - 1e-9  # on the edge's side of the two points of touch
    above = ((flat * one).sum(axis=1) > -1e-3) & ((flat * two).sum(axis=1) > -1e-3)
    put = (size > (1 - barely) * r) & (size > 1e-9)
    must = np.maximum(size - r, 0.0)
    put &= (r > 0) & facing & above & (beyond <= BESIDE_MM) & ((must > out.must_mm[near]) | (out.rim[near] < 0))
    at = near[put]
    out.rim[at], out.radius_mm[at], out.must_mm[at] = rim[put], r[put], must[put]
    out.toward[at] = (to[put] / size[put, None]) @ laid.turn.T
    far = (rims.point_mm[edge][None, :, :] * along[put, None, :]).sum(axis=2)
    here = (spots[put] * along[put]).sum(axis=1)
    up, down = far.max(axis=1, initial=-np.inf) - here, here - far.min(axis=1, initial=np.inf)
    out.end_mm[at] = np.where(up <= down, np.maximum(up, 0.0), -np.maximum(down, 0.0))
    out.beside[at] = ~(rims.surfaces[rim[put]] == laid.points.surface[rows[at], None]).any(axis=1)


def _radii(tool: I8, tools: Mapping[int, Tool], *, upright: bool) -> F8:
    """Radius each tool leaves in a corner; the largest there is where the tool is not known."""
    own = {number: _corner_radius(each, upright) for number, each in tools.items()}
    largest = max(own.values(), default=0.0)
    return np.array([own.get(int(t), largest) for t in tool])


def _corner_radius(tool: Tool, upright: bool) -> float:
    if upright:
        return tool.diameter_mm / 2
    return tool.diameter_mm / 2 if tool.kind == "ball" else tool.corner_mm


def ends_of(laid: Laid, rim: I8, proud_mm: F8) -> F8:
    """Most that the surfaces at the ends of inner edges (rim i8 (m,)) keep, f8 (m,), by proud_mm of every surface.

    The surface at an end (a floor) meets both surfaces of the edge (two walls) in inner edges of its own.
    """
    pairs = laid.rims.surfaces[laid.rims.concave]
    beside: dict[int, set[int]] = {}
    for a, b in np.unique(pairs, axis=0).tolist():
        beside.setdefault(a, set()).add(b)
        beside.setdefault(b, set()).add(a)
    out = np.zeros(len(rim))
    known: dict[tuple[int, int], float] = {}
    for k, (a, b) in enumerate(laid.rims.surfaces[rim].tolist()):
        if (a, b) not in known:
            third = beside.get(a, set()) & beside.get(b, set())
            known[a, b] = max((float(proud_mm[s]) for s in third), default=0.0)
        out[k] = known[a, b]
    return out


def excess(material: Material, laid: Laid, rows: I8, corner: Corner, spare_mm: F8, layer_mm: F8) -> F8:
    """What stands in the corner beyond what the tool must leave, f8 (m,): 0 where at most spare_mm, else infinite or mm.

    layer_mm f8 (m,): a layer so thick at the end of the edge (the left-over of a floor) is looked past.
    """
    spot = laid.spot[rows] + ASIDE_MM * laid.normal[rows]
    enough = corner.must_mm + spare_mm + FINE_MM
    layer = np.minimum(layer_mm, LAYER_MM)
    within = np.where(np.abs(corner.end_mm) <= layer + 0.5 * EDGE_STEP_MM, layer, 0.0)
    past = laid.rims.along[corner.rim] @ laid.turn.T * (-np.copysign(within, corner.end_mm))[:, None]
    out = np.zeros(len(rows))
    solid = np.arange(len(rows))
    for share in (0.0, 1.0):
        end = spot[solid] + enough[solid, None] * corner.toward[solid] + share * past[solid]
        solid = solid[material.inside(end)]
    most = corner.must_mm[solid] + corner.radius_mm[solid]  # the middle of the tool
    ends = reach(
        material, spot[solid] + enough[solid, None] * corner.toward[solid], corner.toward[solid],
        np.maximum(most - enough[solid], 0.0), find=np.zeros(len(solid), dtype=np.bool_),
    )  # fmt: skip
    out[solid] = spare_mm[solid] + ends
    return out


def across(material: Material, laid: Laid, rim: I8, most_mm: F8) -> F8:
    """Distance from points of inner edges (rim i8 (m,)) to the machined surface, square to the edge, f8 (m,).

    Least of a fan of directions between the two normals, then of narrower fans; NaN beyond most_mm.
    """
    one, two = laid.rims.normals[rim, 0], laid.rims.normals[rim, 1]
    start = laid.rims.point_mm[rim]
    at, wide = np.full(len(rim), 0.5), 0.5
    best = np.full(len(rim), np.inf)
    for _ in range(3):
        share = np.clip(at[:, None] + np.linspace(-wide, wide, FAN), 0.0, 1.0)
        ways = (1 - share)[..., None] * one[:, None, :] + share[..., None] * two[:, None, :]
        ways /= np.maximum(np.linalg.norm(ways, axis=2, keepdims=True), 1e-9)
        spot = laid.program(np.repeat(start, FAN, axis=0))
        found = reach(
            material, spot, ways.reshape(-1, 3) @ laid.turn.T, np.repeat(most_mm, FAN),
            find=np.zeros(len(spot), dtype=np.bool_),
        ).reshape(len(rim), FAN)  # fmt: skip
        k = found.argmin(axis=1)
        least = found[np.arange(len(rim)), k]
        at = np.where(least < best, share[np.arange(len(rim)), k], at)
        best = np.minimum(best, least)
        wide /= FAN / 2
    return np.where(np.isfinite(best), best, np.nan)


def must_across(laid: Laid, rim: I8, radius_mm: F8) -> F8:
    """What a tool of this radius leaves between itself and the edge, f8 (m,): r / sin(θ/2) - r."""
    cosine = (laid.rims.normals[rim, 0] * laid.rims.normals[rim, 1]).sum(axis=1)
    return np.asarray(radius_mm / np.sin((np.pi - np.arccos(np.clip(cosine, -1, 1))) / 2) - radius_mm)


def breaks_of(
    part: Part, points: Samples, rims: Edges, rows: I8, owner: I8, made_by: NDArray[np.object_]
) -> Flags:  # fmt: skip
    """Deviations of edge breaks: on narrow sloping surfaces along outer edges, or cut by a chamfer tool beside one.

    owner i8 (len(rows),): the surface each deviation belongs to. Narrow fillets of inner corners are no edge breaks.
    """
    corners = part.vertices_mm[part.faces]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    narrow = set()
    for surface in part.surfaces:
        area = float(areas[part.face_surface == surface.index].sum())
        there = (rims.surfaces == surface.index).any(axis=1)
        length = float(rims.step_mm[there].sum())
        own = points.normal[points.surface == surface.index]
        slope = np.abs(own[:, 2]).mean() if len(own) else 0.0
        outer = length > 0 and float(rims.rise[there] @ rims.step_mm[there]) <= -MOSTLY * length
        if outer and 2 * area / length < BREAK_MM and 0.1 < slope < 0.995:
            narrow.add(surface.index)
    result = np.isin(owner, list(narrow))
    outside = np.flatnonzero(rims.rise < 0)
    if len(outside) and len(rows):
        away, _ = cKDTree(rims.point_mm[outside]).query(points.point_mm[rows])
        result |= np.isin(made_by, BREAK_KINDS) & (away < BREAK_MM)
    return result
