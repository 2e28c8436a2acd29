"""Jobs that earn P711 and P712, and a quiet one; the limit checked by counting unstable roots, another method."""

import math
from pathlib import Path

import pytest

import halfthou
from halfthou.base.finding import Severity
from halfthou.nouns.answers import Proof
from halfthou.physics.stability import Cut, spring_mode, unstable_roots
from tests.broken.test_load_jobs import GOOD, JOB, NC, SHOP, SLOT

TOOL = """
[[tool]]
number = 1
name = "end mill 10"
kind = "flat"
diameter = 10
cutting_length = 26
shank_diameter = 10
stick_out = 30
length = 110
holder_diameter = 40
holder_length = 40
max_rpm = 12000
teeth = 3
helix = 40
material = "carbide"
"""
MODES = "modes = [[1800, 9.0, 0.03]]\n"


def prove(folder: Path, depth: str, modes: str, **changes: str) -> Proof:
    """The base job of the loads with one tool in the job file."""
    own = {**GOOD, **changes, "ap": depth}
    own["first"], own["more"] = SLOT.format(**own), ""
    (folder / "shop.toml").write_text(SHOP.format(**own))
    (folder / "job.toml").write_text(JOB.format(**own).replace('tools = "tools.csv"\n', "") + TOOL + modes)
    (folder / "op1.nc").write_text(NC.format(**own))
    return halfthou.open(folder).prove(what_if=False, pitch_mm=0.5)


def chatter(proof: Proof) -> dict[str, Severity]:
    return {f.code: f.severity for f in proof.findings if f.code in ("P711", "P712")}


def test_deep_slot_with_measured_modes(tmp_path: Path) -> None:
    proof = prove(tmp_path, "4.", MODES)
    assert chatter(proof) == {"P711": Severity.CARE}
    found = next(f for f in proof.findings if f.code == "P711")
    assert "measured by a tap test" in found.why and "1800 Hz" in found.why and found.place.line > 0
    assert proof.loads is not None
    one = proof.loads.chatter[0]
    assert (
        one.speed_rpm == 8000 and one.depth_mm == pytest.approx(4.0) and one.width_mm == pytest.approx(10.0, rel=0.02)
    )
    assert one.arc_rad == pytest.approx((0.0, math.pi), abs=0.1)
    # slope at the thin end of the coefficients (0.05 mm): 0.75 · 725 · 0.05^−0.25 = 1150 MPa
    mode = spring_mode(9000.0, 1800.0, 0.03)
    cut = Cut(teeth=3, ktc_mpa=1150.0, ratio=0.35, arc=one.arc_rad, x=(mode,), y=(mode,))
    limit = one.limit.zero_order_mm
    assert unstable_roots(cut, 8000.0, 0.75 * limit) == 0 < unstable_roots(cut, 8000.0, 1.35 * limit)
    assert one.limit.best_mm <= limit * 1.1 and one.limit.periodic_mm == pytest.approx(limit, rel=0.2)  # a slot


def test_between_low_end_and_best_is_possible_only(tmp_path: Path) -> None:
    first = prove(tmp_path, "4.", MODES).loads
    assert first is not None
    limit = first.chatter[0].limit
    depth = 0.5 * (limit.low_mm + limit.best_mm)
    assert limit.low_mm < limit.best_mm < limit.high_mm
    assert chatter(prove(tmp_path, f"{depth:.4f}", MODES)) == {"P712": Severity.NOTE}
    assert chatter(prove(tmp_path, f"{0.9 * limit.low_mm:.4f}", MODES)) == {}


def test_named_speed_carries_the_depth(tmp_path: Path) -> None:
    """A speed that is named, taken, is quiet: the job run at it with the same feed per tooth earns nothing."""
    modes = "modes = [[500, 9.0, 0.03]]\n"
    slow = prove(tmp_path, "0.8", modes)
    assert slow.loads is not None and chatter(slow) == {"P711": Severity.CARE}
    one = slow.loads.chatter[0]
    assert one.other_rpm is not None and 8000 < one.other_rpm < 10000  # towards 60 · 500 / 3
    feed = 500 * one.other_rpm / 8000
    assert chatter(prove(tmp_path, "0.8", modes, s=f"{one.other_rpm:.0f}", feed=f"{feed:.1f}")) == {}


def test_estimated_is_said_and_only_care_beyond_the_band(tmp_path: Path) -> None:
    proof = prove(tmp_path, "4.", "")
    assert proof.loads is not None
    limit = proof.loads.chatter[0].limit
    found = next(f for f in proof.findings if f.code == "P711")
    assert "estimated, not measured" in found.why and "tap test" in found.do
    assert limit.high_mm / limit.low_mm > 3  # nobody measured anything
    within = 0.5 * (limit.best_mm + limit.high_mm)
    assert chatter(prove(tmp_path, f"{within:.4f}", "")) == {"P711": Severity.NOTE}
    assert chatter(prove(tmp_path, f"{1.3 * limit.high_mm:.4f}", "")) == {"P711": Severity.CARE}
