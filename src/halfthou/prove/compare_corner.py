"""Which deviations near an edge of the design belong to the neighbour, to a sharp inner corner, or to an edge break."""

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from halfthou.nouns.part import Part
from halfthou.nouns.tool import Tool
from halfthou.prove.compare_measure import FINE_MM, Material, reach
from halfthou.prove.compare_points import Edges, Samples

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
Flags = NDArray[np.bool_]

BESIDE_MM = 4.0  # how far from an edge a deviation may belong to the surface beyond it
AGREES = 0.7  # share of the neighbour's deviation that must be seen on the neighbour's own points
NEAREST = 8  # own points of the neighbour that are asked
BREAK_MM = 0.8  # narrower sloping surfaces are edge breaks; a chamfer tool's cut nearer than this to an edge is one
BREAK_KINDS = ("chamfer", "countersink", "spot")


def _pairs(points: Samples, rims: Edges, rows: I8, within_mm: float) -> tuple[I8, I8, I8]:
    """(index into rows, edge point, side of the neighbour): one nearest edge point a neighbour of each point."""
    mine, rim, side = [], [], []
    if not len(rims.point_mm) or not len(rows):
        none = np.zeros(0, dtype=np.int64)
        return none, none, none
    tree = cKDTree(rims.point_mm)
    for k, near in enumerate(tree.query_ball_point(points.point_mm[rows], within_mm)):
        if not near:
            continue
        own = rims.surfaces[near] == points.surface[rows[k]]
        hit = np.flatnonzero(own.any(axis=1))
        if not len(hit):
            continue
        spots = np.array(near)[hit]
        away = np.linalg.norm(rims.point_mm[spots] - points.point_mm[rows[k]], axis=1)
        others = np.where(own[hit, 0], 1, 0)
        seen: set[int] = set()
        for j in np.argsort(away):
            beyond = int(rims.surfaces[spots[j], others[j]])
            if beyond not in seen:
                seen.add(beyond)
                mine.append(k)
                rim.append(int(spots[j]))
                side.append(int(others[j]))
    return np.array(mine, dtype=np.int64), np.array(rim, dtype=np.int64), np.array(side, dtype=np.int64)


def explained(
    material: Material,
    points: Samples,
    rims: Edges,
    turn: F8,
    shift_mm: F8,
    mm: F8,
    rows: I8,
    chord_mm: float,
) -> Flags:
    """For points beyond their limits (rows): is it the neighbouring surface that deviates? bool (len(rows),).

    True where the machined surface is nearer along the neighbour's normal than along the own one, and the
    neighbour's own nearest points show at least 0.7 of the deviation that this takes, or where the point lies beyond
    the neighbour only by the mesh's own error (twice chord_mm: both surfaces are meshed).
    """
    gone = np.zeros(len(rows), dtype=np.bool_)
    mine, rim, side = _pairs(points, rims, rows, BESIDE_MM)
    if not len(mine):
        return gone
    at = rows[mine]
    sign = np.sign(mm[at])
    beyond = rims.normals[rim, side]
    depth = np.abs(((points.point_mm[at] - rims.point_mm[rim]) * beyond).sum(axis=1))
    # start a hair inside the deviation, so that the own surface's plane is not looked at
    inset = points.point_mm[at] + (sign * np.minimum(np.abs(mm[at]) / 2, 0.02))[:, None] * points.normal[at]
    spot = inset @ turn.T + shift_mm
    way = (beyond * sign[:, None]) @ turn.T
    away = reach(material, spot, way, np.abs(mm[at]), find=sign < 0)
    near = away < np.abs(mm[at]) - FINE_MM
    trees: dict[int, tuple[cKDTree, I8]] = {}
    for k in np.flatnonzero(near):
        index = int(rims.surfaces[rim[k], side[k]])
        if index not in trees:
            own = np.flatnonzero(points.surface == index)
            trees[index] = (cKDTree(points.point_mm[own]), own)
        tree, own = trees[index]
        _, found = tree.query(points.point_mm[at[k]], k=min(NEAREST, len(own)))
        seen = (mm[own[np.atleast_1d(found)]] * sign[k]).max()
        if away[k] <= 2 * chord_mm or seen >= AGREES * (depth[k] + away[k]):
            gone[mine[k]] = True
    return gone


def corners_of(
    points: Samples,
    rims: Edges,
    turn: F8,
    mm: F8,
    limit_l: F8,
    rows: I8,
    tool: I8,
    tools: Mapping[int, Tool],
) -> Flags:
    """Left-over that a round tool cannot avoid in an inner corner of the design. bool (len(rows),).

    In a corner with air angle θ a tool of radius r touches both sides at L = r / tan(θ/2) from the corner; at
    s < L from it the wall keeps r - √(r² - (L - s)²). (Plane geometry; holds for straight edges.)
    """
    inner = np.zeros(len(rows), dtype=np.bool_)
    concave = np.flatnonzero(rims.concave)
    if not len(concave):
        return inner
    only = Edges(
        point_mm=rims.point_mm[concave],
        normals=rims.normals[concave],
        along=rims.along[concave],
        surfaces=rims.surfaces[concave],
        concave=rims.concave[concave],
    )
    largest = max((each.diameter_mm / 2 for each in tools.values()), default=0.0)
    mine, rim, _ = _pairs(points, only, rows, min(largest * 2, 30.0))
    for k, e in zip(mine, rim, strict=True):
        row = rows[k]
        if mm[row] <= 0:
            continue
        upright = abs(float((turn @ only.along[e])[2])) > 0.9
        made = tools.get(int(tool[row]))
        r = _corner_radius(made, upright) if made else max(_corner_radius(t, upright) for t in tools.values())
        cosine = float(np.clip(only.normals[e, 0] @ only.normals[e, 1], -1.0, 1.0))
        half = (np.pi - np.arccos(cosine)) / 2
        touch = r / max(np.tan(half), 1e-6)
        off = points.point_mm[row] - only.point_mm[e]
        s = float(np.linalg.norm(off - (off @ only.along[e]) * only.along[e]))
        if s < touch and touch - s < r:
            must = r - np.sqrt(r**2 - (touch - s) ** 2)
            inner[k] |= mm[row] <= must + limit_l[row]
    return inner


def _corner_radius(tool: Tool, upright: bool) -> float:
    if upright:
        return tool.diameter_mm / 2
    return tool.diameter_mm / 2 if tool.kind == "ball" else tool.corner_mm


def breaks_of(part: Part, points: Samples, rims: Edges, rows: I8, made_by: NDArray[np.object_]) -> Flags:
    """Deviations of edge breaks: on narrow sloping surfaces, or cut by a chamfer tool right beside an edge."""
    corners = part.vertices_mm[part.faces]
    areas = np.linalg.norm(np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1) / 2
    narrow = set()
    for surface in part.surfaces:
        area = float(areas[part.face_surface == surface.index].sum())
        length = float((rims.surfaces == surface.index).any(axis=1).sum()) * 0.25
        own = points.normal[points.surface == surface.index]
        slope = np.abs(own[:, 2]).mean() if len(own) else 0.0
        if length > 0 and 2 * area / length < BREAK_MM and 0.1 < slope < 0.995:
            narrow.add(surface.index)
    result = np.isin(points.surface[rows], list(narrow))
    if len(rims.point_mm) and len(rows):
        away, _ = cKDTree(rims.point_mm).query(points.point_mm[rows])
        result |= np.isin(made_by, BREAK_KINDS) & (away < BREAK_MM)
    return result
