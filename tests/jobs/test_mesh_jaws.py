"""A whole job whose jaws are an STL in inches and a STEP that is turned, beside the same job with boxes."""

import math
from pathlib import Path

import pytest

import halfthou
from halfthou.base.value import Value
from halfthou.files.job import load_job

FOLDER = Path(__file__).parent / "mesh_jaws"


def test_bodies_are_where_they_should_be() -> None:
    meshes, boxes = (load_job(FOLDER / name).job.ops[0].places[0].bodies for name in ("job.toml", "boxes.toml"))
    for mesh, box in zip(meshes, boxes, strict=True):
        assert mesh.mesh is not None
        assert mesh.low_z_mm == pytest.approx(box.low_z_mm, abs=1e-4)
        assert mesh.high_z_mm == pytest.approx(box.high_z_mm, abs=1e-4)
        assert mesh.footprint_mm == pytest.approx(box.footprint_mm, abs=1e-4)
    jaw, clamp = meshes[0].mesh, meshes[2].mesh
    assert jaw is not None
    assert clamp is not None
    assert not jaw.exact
    assert jaw.error_mm < 1e-4  # flat faces: rounding only
    assert clamp.exact
    assert 1e-4 < clamp.error_mm < 0.02  # a hole of 3 mm radius, to the chord that was asked for
    assert not any("drawn" in said for said in load_job(FOLDER / "job.toml").questions)


def test_findings_and_clearances_are_those_of_the_boxes() -> None:
    mesh, box = (halfthou.open(FOLDER / name).prove(what_if=False) for name in ("job.toml", "boxes.toml"))
    touching = [f for f in mesh.findings if f.severity.name == "STOP"]
    assert [(f.code, f.place.line, f.body, f.part) for f in touching] == [
        ("P202", 11, "fixed jaw", "cutter"), ("P201", 15, "moving jaw", "cutter"),
    ]  # fmt: skip
    for finding, depth in zip(touching, (0.5, 0.2), strict=True):
        assert isinstance(finding.amount, Value)
        assert finding.amount.best == pytest.approx(depth, abs=0.002)
    assert [(f.code, f.what, f.do, f.why, f.more) for f in mesh.findings] == [
        (f.code, f.what, f.do, f.why, f.more) for f in box.findings
    ]
    one, two = ({(a.tool, a.part, a.body): a for a in proof.approaches} for proof in (mesh, box))
    assert one.keys() == two.keys()
    for key, a in one.items():
        assert a.clearance_mm == pytest.approx(two[key].clearance_mm, abs=0.002)


def test_clearance_to_the_slanted_clamp_by_hand() -> None:
    """Lower rim at x = -47, 6 mm over the clamp's base; the slope leans 10 mm over 12: 2 mm · 12 / √(10² + 12²)."""
    proof = halfthou.open(FOLDER).prove(what_if=False)
    near = next(a for a in proof.approaches if (a.part, a.body) == ("cutter", "clamp"))
    assert near.clearance_mm == pytest.approx(2 * 12 / math.hypot(10, 12), abs=near.bound_mm)
    assert 0.001 < near.bound_mm < 0.03
