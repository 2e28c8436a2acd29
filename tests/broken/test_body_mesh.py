"""Meshes of bodies that are no closed solids earn F206, and only that."""

from pathlib import Path

import numpy as np
import pytest

from halfthou.files.job import load_job
from tests.broken.test_files import complaints_of
from tests.unit.files_scene import files, write
from tests.unit.mesh_shapes import along_y, box_mesh, joined, stl

JAW = ((-20.0, -40.0, -36.0), (60.0, -1.0, -5.0))
BODY = b"""
[[operation.place.body]]
name = "jaw"
kind = "fixed jaw"
mesh = "jaw.stl"
units = "mm"
"""


def content(mesh: bytes, more: bytes = b"") -> dict[str, bytes]:
    """The good job with one more body that is a mesh."""
    all_ = files()
    job = all_["job.toml"]
    at = job.index(b"[[operation.place.body]]")
    all_["job.toml"] = job[:at] + BODY.lstrip() + more + b"\n" + job[at:]
    return {**all_, "jaw.stl": mesh}


def test_a_good_jaw_is_no_complaint(tmp_path: Path) -> None:
    loaded = load_job(write(tmp_path, content(stl(*box_mesh(*JAW)))))
    mesh = next(b.mesh for b in loaded.job.ops[0].places[0].bodies if b.name == "jaw")
    assert mesh is not None
    assert len(mesh.faces) == 12
    np.testing.assert_allclose([mesh.vertices_mm.min(0), mesh.vertices_mm.max(0)], JAW)


@pytest.mark.parametrize("what", ["open", "inside out", "flat"])
def test_no_closed_solid_earns_f206(what: str, tmp_path: Path) -> None:
    points, faces = box_mesh(*JAW)
    if what == "open":
        mesh = stl(points, faces[:-1])
    elif what == "inside out":
        away = box_mesh((100, 0, 0), (110, 10, 10))
        mesh = stl(*joined((points, faces), (away[0], away[1][:, ::-1])))
    else:
        mesh = stl(*joined((points, faces), (points, faces[:, ::-1])))
    error = complaints_of(write(tmp_path, content(mesh)))
    assert [c.code for c in error.complaints] == ["F206"], str(error)
    assert error.complaints[0].place.word == "mesh"
    assert "jaw.stl" in error.complaints[0].what


def test_bodies_that_share_an_edge_can_be_cut_level(tmp_path: Path) -> None:
    two = joined(box_mesh((0, 0, 0), (10, 10, 10)), box_mesh((10, 10, 0), (20, 20, 10)))
    load_job(write(tmp_path, content(stl(*two), b"may_cut = 1\n")))


def test_a_hollow_is_no_complaint(tmp_path: Path) -> None:
    points, faces = box_mesh(*JAW)
    hollow = box_mesh((-10, -30, -30), (50, -10, -10))
    load_job(write(tmp_path, content(stl(*joined((points, faces), (hollow[0], hollow[1][:, ::-1]))))))


def test_a_mesh_needs_its_unit_and_no_corners(tmp_path: Path) -> None:
    mesh = stl(*along_y([[-20, -30], [60, -30], [60, -5], [20, -5], [20, -15], [-20, -15]], -40, -1))
    good = content(mesh)
    without = dict(good)
    without["job.toml"] = good["job.toml"].replace(b'mesh = "jaw.stl"\nunits = "mm"', b'mesh = "jaw.stl"')
    assert [c.code for c in complaints_of(write(tmp_path, without)).complaints] == ["F504"]
    corners = dict(good)
    corners["job.toml"] = good["job.toml"].replace(b'mesh = "jaw.stl"', b'low = [0, 0, 0]\nmesh = "jaw.stl"')
    assert [c.code for c in complaints_of(write(tmp_path, corners)).complaints] == ["F003"]
