"""Closed meshes of standing bodies made ready for the clearance search: skins, convex ones known as such, trees."""

from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.geometry.near_mesh import Solids
from halfthou.geometry.near_tree import tree, winding
from halfthou.nouns.stock import BodyMesh

F8 = NDArray[np.float64]
I4 = NDArray[np.int32]
I8 = NDArray[np.int64]

FLAT_MM = 2e-5  # a corner no further than this in front of a facet still counts as behind it
MOST_CONVEX = 6000  # facets of a skin that is looked at for being convex
SLIVER_MM = 1e-3  # a facet narrower than this says nothing about its plane


def no_solids() -> Solids:
    """None at all."""
    return pack_solids([])


def _pieces(vertices_mm: F8, faces: I4) -> list[F8]:
    """Corners f8 (n,3,3) of the triangles that hang together by corners."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    n = len(vertices_mm)
    edges = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]]])
    graph = coo_array((np.ones(len(edges)), (edges[:, 0], edges[:, 1])), shape=(n, n))
    count, label = connected_components(graph, directed=False)
    corners = np.ascontiguousarray(vertices_mm[faces], dtype=np.float64)
    if count == 1:
        return [corners]
    own = label[faces[:, 0]]
    return [corners[own == k] for k in range(count) if np.any(own == k)]


def skins(vertices_mm: F8, faces: I4) -> list[F8]:
    """Corners f8 (n,3,3) of the closed skins of a mesh; all in one when one of them bounds a hollow."""
    found = _pieces(vertices_mm, faces)
    hollow = len(found) > 1 and any(volume_of(skin) <= 0.0 for skin in found)
    return [np.concatenate(found)] if hollow else found


def outside_in(vertices_mm: F8, faces: I4) -> F8 | None:
    """A point f8 (3,) of a skin that looks inwards and bounds no hollow of another skin; None if there is none."""
    found = _pieces(vertices_mm, faces)
    for k, skin in enumerate(found):
        if volume_of(skin) > 0.0:
            continue
        others = [other for j, other in enumerate(found) if j != k and volume_of(other) > 0.0]
        spot: F8 = skin[0].mean(axis=0)
        if not others or not inside_of(np.concatenate(others), spot[None])[0]:
            return spot
    return None


def inside_of(corners: F8, points: F8) -> NDArray[np.bool_]:
    """Which of the points f8 (n,3) lie inside closed triangles f8 (m,3,3)."""
    return _answers(_planted(corners), points)


def in_mesh(mesh: BodyMesh, points: F8) -> NDArray[np.bool_]:
    """Which of the points f8 (n,3) lie inside a body."""
    return _answers(_tree_of(mesh), points)


@lru_cache(maxsize=64)
def _tree_of(mesh: BodyMesh) -> Any:
    return _planted(mesh.vertices_mm[mesh.faces])


def _planted(corners: F8) -> Any:
    order, low, high, child, first, many = tree(corners)
    return corners[order], low, high, child, first, many


def _answers(where: Any, points: F8) -> NDArray[np.bool_]:
    out = np.zeros(len(points), dtype=np.bool_)
    corners, low, high, child, first, many = where
    _inside(np.ascontiguousarray(points, dtype=np.float64), corners, low, high, child, first, many, out)
    return out


@kernel
def _inside(
    points: F8, corners: F8, low: F8, high: F8, child: I8, first: I8, count: I8, out: NDArray[np.bool_]
) -> None:  # fmt: skip
    for i in range(points.shape[0]):
        out[i] = winding(points[i, 0], points[i, 1], points[i, 2], corners, low, high, child, first, count, 0) > 0


def volume_of(corners: F8) -> float:
    """Signed volume of a closed skin f8 (n,3,3) (divergence theorem)."""
    a, b, c = ((corners[:, k] - corners.reshape(-1, 3).mean(axis=0)) for k in range(3))
    return float((a * np.cross(b, c)).sum() / 6)


def convex_of(corners: F8) -> tuple[F8, F8] | None:
    """(corners f8 (n,3), outward unit normals f8 (k,3)) of a convex skin, None if it is not convex to FLAT_MM."""
    if len(corners) > MOST_CONVEX or volume_of(corners) <= 0.0:
        return None
    points: F8 = np.unique(corners.reshape(-1, 3), axis=0)
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size = np.linalg.norm(cross, axis=1)
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    good = size > SLIVER_MM * longest
    if not good.any():
        return None
    normal = cross[good] / size[good, None]
    level = (normal * corners[good, 0]).sum(axis=1)
    for first in range(0, len(normal), 256):
        front = normal[first : first + 256] @ points.T - level[first : first + 256, None]
        if float(front.max()) > FLAT_MM:
            return None
    return _outermost(points), np.asarray(np.unique(np.round(normal, 9), axis=0))


def _outermost(points: F8) -> F8:
    """The corners of the hull of points: those in the middle of its faces and edges say nothing more."""
    from scipy.spatial import ConvexHull, QhullError

    try:
        return np.asarray(points[ConvexHull(points).vertices])
    except QhullError:
        return points


def below(vertices_mm: F8, faces: I4, z_mm: float) -> tuple[F8, I4] | None:
    """The part of a closed mesh under a level, closed again; empty arrays if nothing is; None if it cannot be cut."""
    from manifold3d import Error, Manifold, Mesh64

    whole = Manifold(
        Mesh64(
            vert_properties=np.array(vertices_mm, dtype=np.float64, order="C"),
            tri_verts=np.array(faces, dtype=np.uint64, order="C"),
        )
    )
    if whole.status() != Error.NoError:
        return None
    cut = whole.trim_by_plane((0.0, 0.0, -1.0), -float(z_mm))
    if cut.status() != Error.NoError:
        return None
    mesh = cut.to_mesh64()
    points = np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3]
    return points, np.asarray(mesh.tri_verts, dtype=np.int32).reshape(-1, 3)


def pack_solids(bodies: Sequence[tuple[int, int, F8, I4]]) -> Solids:
    """(body row, BOTH/CUTTER/REST, vertices f8 (n,3) in the table frame, faces i4 (m,3) outward) as `Solids`."""
    body, only, convex, root = [], [], [], []
    hulls, faces_of, trees = [np.zeros((0, 3))], [np.zeros((0, 3))], []
    hull_first, face_first = [0], [0]
    nodes, triangles = 0, 0
    for row, zones, vertices, faces in bodies:
        if not len(faces):
            continue
        for skin in skins(vertices, faces):
            order, low, high, child, first, count = tree(skin)
            trees.append((skin[order], low, high, np.where(child >= 0, child + nodes, -1), first + triangles, count))
            known = convex_of(skin)
            if known is not None:
                hulls.append(known[0])
                faces_of.append(known[1])
            hull_first.append(hull_first[-1] + (0 if known is None else len(known[0])))
            face_first.append(face_first[-1] + (0 if known is None else len(known[1])))
            body.append(row)
            only.append(zones)
            convex.append(int(known is not None))
            root.append(nodes)
            nodes += len(low)
            triangles += len(skin)

    def joined(k: int, empty: NDArray[np.float64] | I8) -> NDArray[np.float64]:
        return np.ascontiguousarray(np.concatenate([empty, *(one[k] for one in trees)]))

    whole = np.zeros(0, dtype=np.int64)
    return Solids(
        body=np.array(body, dtype=np.int64), only=np.array(only, dtype=np.int64),
        convex=np.array(convex, dtype=np.int64), root=np.array(root, dtype=np.int64),
        hull_first=np.array(hull_first, dtype=np.int64), face_first=np.array(face_first, dtype=np.int64),
        hull=np.ascontiguousarray(np.concatenate(hulls)), faces=np.ascontiguousarray(np.concatenate(faces_of)),
        corners=joined(0, np.zeros((0, 3, 3))), low=joined(1, np.zeros((0, 3))), high=joined(2, np.zeros((0, 3))),
        child=joined(3, whole).astype(np.int64), first=joined(4, whole).astype(np.int64),
        many=joined(5, whole).astype(np.int64),
    )  # fmt: skip
