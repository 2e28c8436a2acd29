"""Removal and loads of a surfacing program: moves a second, loads against removal, one thread against two, peers built in."""

import math
import tempfile
import time
from pathlib import Path

import numpy as np

from halfthou.files.job import load_job
from halfthou.flow.run import Run, run_job
from halfthou.physics.groups import group_cutting
from halfthou.prove.loads import loads_of
from halfthou.prove.motion import motion_of
from halfthou.prove.remove import Removal, remove

JOB = """format = 1
units = "mm"
part = "bench"
invented = true
tools = "tools.csv"
[machine]
name = "m"
travel = { X = [-500, 0], Y = [-400, 0], Z = [-420, 0] }
rapid = { X = 24000, Y = 24000, Z = 18000 }
acceleration = { X = 3.0, Y = 3.0, Z = 2.5 }
[machine.spindle]
rpm = [50, 24000]
curve = [[1500, 20, 3100], [24000, 2.4, 6000]]
[machine.control]
length = "gauge line"
radius = "diameter"
rapid_path = "straight"
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
high = [100, 60, 0]
[[operation.place.body]]
name = "bed"
kind = "vise bed"
low = [0, 0, -60]
high = [100, 60, -20]
"""
TOOLS = """units = mm
number,name,kind,diameter,cutting_length,shank_diameter,stick_out,length,holder_diameter,holder_length,max_rpm,teeth,helix,material
1,ball 6,ball,6,20,6,40,110,30,40,24000,2,30,carbide
"""


def surfacing(moves: int) -> str:
    """A program of `moves` short ball moves over a wavy surface, back and forth."""
    rows = max(2, round(math.sqrt(moves * 0.6)))
    per = moves // rows
    lines = ["%", "G21 G90 G17 G54", "T1 M6", "S20000 M3", "G0 X0. Y0.", "G43 H1 Z30.", "G1 Z1. F3000"]
    for r in range(rows):
        y = 60.0 * r / rows
        xs = np.linspace(0, 100, per)
        for x in xs if r % 2 == 0 else xs[::-1]:
            lines.append(f"X{x:.3f}Y{y:.3f}Z{-3 - 2 * math.sin(x / 9) - math.cos(y / 7):.3f}")
    return "\n".join([*lines, "G0 Z30.", "M5", "M30", "%", ""])


def _run(moves: int, folder: Path) -> Run:
    (folder / "job.toml").write_text(JOB)
    (folder / "tools.csv").write_text(TOOLS)
    (folder / "op1.nc").write_text(surfacing(moves))
    loaded = load_job(folder)
    return run_job(loaded.job, loaded.programs, pitch_mm=1.0, near=False)


def _removal(run: Run, pitch: float, threads: int) -> tuple[Removal, float]:
    began = time.perf_counter()
    made = remove(run.moves, run.sweeps[0], run.job, 0, 0, shift_mm=run.shifts[0][0], pitch_mm=pitch, threads=threads)
    return made, time.perf_counter() - began


def engine(moves: int = 100_000) -> dict[str, float]:
    """Ratios and rates on one program; the first call warms the kernels."""
    with tempfile.TemporaryDirectory() as folder:
        run = _run(moves, Path(folder))
    timing = motion_of(run.moves, run.job, 0).timing
    _removal(run, 0.25, 1)
    one, one_s = _removal(run, 0.25, 1)
    two, two_s = _removal(run, 0.25, 2)
    assert one.record.spans.tobytes() == two.record.spans.tobytes()
    assert one.engaged.tobytes() == two.engaged.tobytes()
    _, fine_s = _removal(run, 0.1, 1)
    cutting = group_cutting("wrought aluminium")
    loads_of([one.engaged], run.moves, timing, run.job, cutting, 0.25)
    began = time.perf_counter()
    found = loads_of([one.engaged], run.moves, timing, run.job, cutting, 0.25)
    loads_s = time.perf_counter() - began
    assert len(found.table) > 0.5 * moves
    return {
        "loads over removal, 100,000 moves": loads_s / one_s,
        "two threads over one, 0.25 mm": one_s / two_s,
        "moves a second, 0.25 mm, one thread, labels and engagement": moves / one_s,
        "moves a second, 0.1 mm, one thread, labels and engagement": moves / fine_s,
    }
