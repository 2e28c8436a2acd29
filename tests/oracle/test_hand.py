"""Twenty cases worked by hand: gouge, left-over and nearest approach, each within 0.02 mm.

The working stands beside each case. Job folders are written here; nothing of the prover's geometry is used.
"""

import math
from pathlib import Path

import numpy as np
import pytest
import trimesh

import halfthou

TOLERANCE_MM = 0.02
JOB = """format = 1
units = "mm"
part = "hand"
tools = "tools.csv"
invented = true
{design}
[[operation]]
name = "op 1"
program = "op1.nc"
[[operation.offset]]
system = "G54"
origin = [-300, -200, -300]
[[operation.place]]
name = "vise"
offset = "G54"
[operation.place.stock]
kind = "box"
low = [0, 0, -20]
high = [100, 60, 1]
[[operation.place.body]]
name = "fixed jaw"
kind = "fixed jaw"
low = [0, -40, -40]
high = [100, 0, -10]
[[operation.place.body]]
name = "clamp"
kind = "clamp"
low = [70, 20, 1]
high = [120, 40, 25]
{place}
"""
DESIGN = '[design]\nfile = "part.stl"\nunits = "mm"\ngouge = 0.02\nleft_over = 0.02\n'
PLACE = '[operation.place.design]\nturn = "none"\nshift = [0, 0, 0]\n'
TOOLS = """units = mm
number,name,kind,diameter,cutting_length,shank_diameter,stick_out,length,holder_diameter,holder_length
1,flat 10,flat,10,25,10,30,100,40,70
2,ball 8,ball,8,25,8,30,100,30,70
3,flat 12,flat,12,25,12,32,100,36,68
"""


def prove(folder: Path, tool: int, path: str, design: trimesh.Trimesh | None = None):  # type: ignore[no-untyped-def]
    if design is not None:
        design.export(folder / "part.stl")
    (folder / "job.toml").write_text(
        JOB.format(design=DESIGN if design is not None else "", place=PLACE if design is not None else "")
    )
    (folder / "tools.csv").write_text(TOOLS)
    (folder / "op1.nc").write_text(
        f"%\nG21 G90 G17 G54\nT{tool} M6\nS6000 M3\nG0 X-30. Y30.\nG43 H{tool} Z60.\n{path}\nG0 Z60.\nM30\n%\n"
    )
    return halfthou.open(folder).prove(what_if=False)


def block(low: tuple[float, ...], high: tuple[float, ...]) -> trimesh.Trimesh:
    mesh = trimesh.creation.box(extents=np.subtract(high, low))
    mesh.apply_translation(np.add(low, high) / 2)
    return mesh


def rows(z: float, step: float, y0: float = -4.0, y1: float = 64.0, x1: float = 60.0) -> str:
    """A zigzag at one height over X-10 … x1."""
    out, y, way = [f"G0 X-20. Y{y0:.4f}", f"G0 Z{z + 5:.4f}", f"G1 Z{z:.4f} F500."], y0, True
    while True:
        out.append(f"G1 X{x1 if way else -20.0:.4f} Y{y:.4f}")
        if y >= y1:
            return "\n".join(out)
        y = min(y1, y + step)
        out.append(f"G1 Y{y:.4f}")
        way = not way


# -- 1 to 6: a face at the wrong height: the difference is the gouge (below) or the left-over (above) ------------------
@pytest.mark.parametrize("z", [0.12, 0.35, 0.05, -0.06, -0.2, -0.45])
def test_face_height(z: float, tmp_path: Path) -> None:
    # wanted: a block whose top is z = 0 up to x = 50; cut at z instead
    proof = prove(tmp_path, 1, rows(z, 8.0), block((0, 0, -20), (50, 60, 0)))
    gouge = max(g for _, g, _ in proof.design_worst)
    left = max(o for name, _, o in proof.design_worst if name == top_face(proof))
    assert gouge == pytest.approx(max(0.0, -z), abs=TOLERANCE_MM)
    assert left == pytest.approx(max(0.0, z), abs=TOLERANCE_MM)


def top_face(proof) -> str:  # type: ignore[no-untyped-def]
    part = proof.job.design
    return next(s.name for s in part.surfaces if s.form == "plane" and s.axis[2] > 0.99 and abs(s.origin_mm[2]) < 1e-6)


# -- 7 to 10: a slot of 12 mm cut 0.1 … mm off its centre: one wall gouged, the other left by as much ------------------
@pytest.mark.parametrize("off", [0.1, 0.04, -0.25, 0.33])
def test_slot_off_centre(off: float, tmp_path: Path) -> None:
    # slot y 24 … 36, floor z -5, right through in x; a 12 mm cutter at y = 30 + off reaches 24 + off … 36 + off
    whole = block((0, 0, -20), (100, 60, 1))
    wanted = whole.difference(block((-5, 24, -5), (105, 36, 9)))
    proof = prove(tmp_path, 3, f"G0 X-20. Y{30 + off:.4f}\nG0 Z5.\nG1 Z-5. F500.\nG1 X60.\nG1 Z10.\nG0 Z60.", wanted)
    del whole
    gouge = max(g for _, g, _ in proof.design_worst)
    assert gouge == pytest.approx(abs(off), abs=TOLERANCE_MM)


# -- 11, 12: ball rows s apart leave ridges of R - sqrt(R² - s²/4) ------------------------------------------------------
@pytest.mark.parametrize("step", [1.6, 2.4])
def test_ridges_of_a_ball_mill(step: float, tmp_path: Path) -> None:
    want = 4 - math.sqrt(16 - step * step / 4)  # 0.081 and 0.184 mm
    proof = prove(
        tmp_path, 2, rows(0.0, step, y0=-4.0, y1=-4.0 + step * math.ceil(68 / step)), block((0, 0, -20), (50, 60, 0))
    )
    left = max(o for name, _, o in proof.design_worst if name == top_face(proof))
    # points on the design stand 0.5 to 2 mm apart: the highest of them lies a little below the ridge
    assert want - 0.02 <= left <= want + 0.001


def nearest(proof, part: str, body: str) -> float:  # type: ignore[no-untyped-def]
    return min(a.clearance_mm for a in proof.approaches if a.part == part and a.body == body)


# -- 13 to 20: nearest approaches ---------------------------------------------------------------------------------------
CASES = [
    # cutter beside the jaw's inner face y = 0 below its top z = -10: axis y = 5 + 0.7
    (
        "flat beside the jaw",
        1,
        "G0 X-20. Y5.7\nG0 Z-12.\nG1 X-8. F500.",
        "cutter",
        "fixed jaw",
        math.hypot(8 - 0, 5.7) - 5,
    ),
    # cutter over the jaw: tip 1.3 above its top
    ("flat over the jaw", 1, "G0 X-20. Y-20.\nG0 Z-8.7\nG1 X50. F500.\nG1 X-20.", "cutter", "fixed jaw", 1.3),
    # ball beside the clamp's face x = 70: axis at 70 - 4 - 0.45, above the ball's middle
    ("ball beside the clamp", 2, "G0 X30. Y30.\nG0 Z3.\nG1 X65.55 F500.\nG1 X30.", "cutter", "clamp", 0.45),
    # ball above the clamp's edge: centre 3 beside and 4 + 0.9 above the top edge (z 25): distance to the edge - 4
    (
        "ball over the clamp's edge",
        2,
        "G0 X30. Y30.\nG0 Z25.9\nG1 X67. F500.\nG1 X30.",
        "cutter",
        "clamp",
        math.hypot(3, 4.9) - 4,
    ),
    # holder (radius 20, 30 above the tip) beside the clamp: axis at 70 - 20 - 0.6
    ("holder beside the clamp", 1, "G0 X20. Y30.\nG0 Z2.\nG1 Z-6. F500.\nG1 X49.4\nG1 X20.", "holder", "clamp", 0.6),
    # holder over the clamp: its face at tip + 30 = 25.8
    ("holder over the clamp", 1, "G0 X20. Y52.\nG0 Z2.\nG1 Z-4.2 F500.\nG1 X60.\nG1 X20.", "holder", "clamp", 0.8),
    # cutter round the clamp's corner (70, 40): arc of radius 7 about the corner, cutter 5
    (
        "arc round the clamp's corner",
        1,
        "G0 X30. Y47.\nG0 Z3.\nG1 X70. F500.\nG3 X63. Y40. I0. J-7.\nG1 X30.",
        "cutter",
        "clamp",
        2.0,
    ),
    # shank is as wide as the cutter; a ramp that passes the jaw's top edge: tip 2 above at its lowest over the jaw
    ("ramp over the jaw", 1, "G0 X-20. Y-20.\nG0 Z-3.\nG1 X30. Z-8. F500.\nG1 X-20. Z-3.", "cutter", "fixed jaw", 2.0),
]


@pytest.mark.parametrize("case", CASES, ids=[case[0] for case in CASES])
def test_nearest_approach(case: tuple[str, int, str, str, str, float], tmp_path: Path) -> None:
    _name, tool, path, part, body, want = case
    proof = prove(tmp_path, tool, path)
    assert nearest(proof, part, body) == pytest.approx(want, abs=TOLERANCE_MM)
