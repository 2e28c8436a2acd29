"""Nearest points of a mesh against all triangles tried one by one, and deviations against forms known by heart."""

import numpy as np
import pytest
import trimesh

from halfthou.geometry.closest import cells_of, closest, near_triangle
from halfthou.nouns.part import Part, Surface
from halfthou.prove.surface_deviation import NEAREST_MM, deviations_of


def test_the_nearest_of_all_triangles_is_found():
    body = trimesh.creation.icosphere(subdivisions=2, radius=7.0)
    corners = np.ascontiguousarray(body.triangles)
    draw = np.random.default_rng(4)
    points = draw.uniform(-11, 11, (400, 3))
    low, n, first, index = cells_of(corners, 1.5)
    foot, which = np.zeros_like(points), np.zeros(len(points), dtype=np.int64)
    closest(points, corners, np.array(body.face_normals), low, 1.5, *n, first, index, 4, foot, which)
    spot = np.zeros(3)
    for k, point in enumerate(points):
        least = min(np.sqrt(near_triangle(corners, m, point, spot)) for m in range(len(corners)))
        if least > 6.0:
            assert which[k] == -1
        else:
            assert np.linalg.norm(point - foot[k]) == pytest.approx(least, abs=1e-9)


def test_the_nearest_point_of_a_triangle_beats_every_sampled_one():
    draw = np.random.default_rng(8)
    u = draw.uniform(0, 1, (4000, 2))
    u = np.where((u.sum(axis=1) > 1)[:, None], 1 - u, u)
    spot = np.zeros(3)
    for _ in range(60):
        corners, point = draw.uniform(-1, 1, (1, 3, 3)), draw.uniform(-2, 2, 3)
        found = np.sqrt(near_triangle(corners, 0, point, spot))
        a, b, c = corners[0]
        sampled = np.linalg.norm(a + u[:, :1] * (b - a) + u[:, 1:] * (c - a) - point, axis=1).min()
        assert found <= sampled + 1e-12 and found > sampled - 0.1
        assert np.linalg.norm(point - spot) == pytest.approx(found)


def _part(body, surfaces, owner, chord):
    return Part(
        name="p", vertices_mm=np.array(body.vertices), faces=np.array(body.faces, dtype=np.int32),
        face_surface=np.array(owner, dtype=np.int32), surfaces=surfaces, chord_mm=chord,
    )  # fmt: skip


@pytest.mark.parametrize("form", ["free", "plane", "apart"])
def test_deviations_from_a_box_are_signed_also_beside_edges_and_corners(form):
    body = trimesh.creation.box(extents=(20, 16, 10))
    if form == "free":
        part = _part(body, (Surface(index=0, name="all", form="free"),), np.zeros(12), 0.0)
    else:
        faces = [(tuple(t[0]), tuple(n)) for t, n in zip(body.triangles, body.face_normals, strict=True)]
        named = tuple(
            Surface(index=k, name=str(k), form="plane", origin_mm=at, axis=way) for k, (at, way) in enumerate(faces)
        )
        if form == "apart":
            body = trimesh.Trimesh(body.triangles.reshape(-1, 3), np.arange(36).reshape(12, 3), process=False)
        part = _part(body, named, np.arange(12), 0.0)
    turn = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])
    shift = np.array([3.0, -4, 5])
    draw = np.random.default_rng(2)
    points = draw.uniform(-13, 13, (3000, 3))
    over = np.abs(points) - np.array([10, 8, 5])
    outside = np.linalg.norm(np.maximum(over, 0), axis=1)
    expected = np.where(outside > 0, outside, over.max(axis=1))
    found = deviations_of(points @ turn.T + shift, part, turn, shift)
    known = np.abs(expected) < NEAREST_MM - 1e-6
    assert np.isnan(found[np.abs(expected) > NEAREST_MM + 1e-6]).all()
    assert np.abs(found[known] - expected[known]).max() < 1e-9


def test_deviations_from_a_coarse_cylinder_are_those_from_the_true_one():
    body = trimesh.creation.cylinder(radius=8.0, height=20.0, sections=24)
    side = np.abs(np.array(body.face_normals)[:, 2]) < 0.5
    top = np.array(body.face_normals)[:, 2] > 0.5
    surfaces = (
        Surface(index=0, name="side", form="cylinder", radius_mm=8.0),
        Surface(index=1, name="top", form="plane", origin_mm=(0, 0, 10.0)),
        Surface(index=2, name="bottom", form="plane", origin_mm=(0, 0, -10.0), axis=(0, 0, -1.0)),
    )
    part = _part(body, surfaces, np.where(side, 0, np.where(top, 1, 2)), 0.07)
    draw = np.random.default_rng(2)
    angle, away = draw.uniform(0, 6.3, 500), draw.uniform(-0.5, 0.5, 500)
    points = np.stack(
        [(8 + away) * np.cos(angle), (8 + away) * np.sin(angle), draw.uniform(-9, 9, 500)], axis=1
    )  # fmt: skip
    found = deviations_of(points, part, np.eye(3), np.zeros(3))
    assert np.abs(found - away).max() < 1e-9
