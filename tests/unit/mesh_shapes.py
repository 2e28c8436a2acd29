"""Closed meshes made by hand for the tests: boxes, prisms, slanted clamps, vises with many triangles; binary STL of them."""

import struct

import numpy as np

from halfthou.nouns.stock import BodyMesh, mesh_prism
from tests.unit.clash_scene import HERE


def prism_mesh(foot, low, high):
    """A prism over a convex counter-clockwise outline: (vertices, faces)."""
    n = len(foot)
    flat = np.asarray(foot, dtype=float)
    points = np.vstack([np.column_stack([flat, np.full(n, low)]), np.column_stack([flat, np.full(n, high)])])
    faces = []
    for i in range(1, n - 1):
        faces += [[0, i + 1, i], [n, n + i, n + i + 1]]
    for i in range(n):
        j = (i + 1) % n
        faces += [[i, j, n + j], [i, n + j, n + i]]
    return points, np.array(faces, dtype=np.int32)


def box_mesh(low, high):
    (x0, y0, z0), (x1, y1, z1) = low, high
    return prism_mesh([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], z0, z1)


def along_y(outline, low, high):
    """An outline in X and Z (any simple one, counter-clockwise seen from -Y), drawn out from y = low to y = high."""
    from shapely.geometry import Polygon
    from trimesh.creation import triangulate_polygon

    flat, three = triangulate_polygon(Polygon(outline), engine="manifold")
    n = len(flat)
    at = np.column_stack([flat[:, 0], np.zeros(n), flat[:, 1]])
    points = np.vstack([at + np.array([0, low, 0]), at + np.array([0, high, 0])])
    a, b, c = (flat[three[:, k]] for k in range(3))
    turn = (b[:, 0] - a[:, 0]) * (c[:, 1] - a[:, 1]) - (b[:, 1] - a[:, 1]) * (c[:, 0] - a[:, 0])
    three = np.where((turn < 0)[:, None], three[:, ::-1], three)
    edges = np.concatenate([three[:, [0, 1]], three[:, [1, 2]], three[:, [2, 0]]])
    there = {tuple(e) for e in edges.tolist()}
    rim = [e for e in there if (e[1], e[0]) not in there]
    faces = [*three.tolist(), *(three[:, ::-1] + n).tolist()]
    for i, j in rim:
        faces += [[j, i, i + n], [j, i + n, j + n]]
    return points, np.array(faces, dtype=np.int32)


def finer(points, faces, at_least):
    """The same solid with at least so many triangles: every triangle is cut in four until there are enough."""
    while len(faces) < at_least:
        edges = {}
        made = [*points]

        def middle(i, j, edges=edges, made=made):
            key = (min(i, j), max(i, j))
            if key not in edges:
                edges[key] = len(made)
                made.append((made[i] + made[j]) / 2)
            return edges[key]

        new = []
        for a, b, c in faces.tolist():
            d, e, f = middle(a, b), middle(b, c), middle(c, a)
            new += [[a, d, f], [d, b, e], [f, e, c], [d, e, f]]
        points, faces = np.array(made), np.array(new, dtype=np.int32)
    return points, faces


def joined(*meshes):
    """Several solids in one mesh."""
    points, faces, n = [], [], 0
    for own, three in meshes:
        points.append(own)
        faces.append(three + n)
        n += len(own)
    return np.vstack(points), np.vstack(faces).astype(np.int32)


def body(mesh, name="vise", kind="clamp", may_cut=0.0, error=0.0):
    return mesh_prism(name, kind, BodyMesh(vertices_mm=mesh[0], faces=mesh[1], error_mm=error), HERE, may_cut)


def stl(points, faces):
    """A binary STL."""
    corners = np.asarray(points)[faces].astype("<f4")
    out = [b"\0" * 80, struct.pack("<I", len(faces))]
    out += [struct.pack("<3f", 0, 0, 0) + three.tobytes() + b"\0\0" for three in corners]
    return b"".join(out)
