"""Compile the kernels ahead of the first proof: a small job in memory is proved once."""

import time
from pathlib import Path

import numpy as np

from halfthou.base.place import Place
from halfthou.files.program import program_of
from halfthou.flow.join import rows_of
from halfthou.flow.loads import load_answer
from halfthou.flow.run import run_job
from halfthou.nouns.job import Job, Op, PartPlace
from halfthou.nouns.machine import Axis, Control, Machine, Magazine, Spindle
from halfthou.nouns.material import Material
from halfthou.nouns.stock import BodyMesh, Stock, box_prism, mesh_prism
from halfthou.nouns.tool import Register, Tool, Zone
from halfthou.prove.clash_cells import StockCells
from halfthou.prove.motion import motion_of

TEXT = """G21 G90 G17 G54
T1 M6
S5000 M3
G0 X-10. Y5. Z20.
G43 H1 Z5.
G1 Z-2. F500
X30. Z-3.
G2 X40. Y15. I0. J10.
G3 X40. Y15. Z-4. I-5. J0.
G0 Z20.
M30
"""
CORNERS = np.array([[-40.0, -20, -30], [-30, -20, -30], [-40, -10, -30], [-40, -20, -20]])  # a small clamp, as a mesh
FACES = [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]


def warm() -> str:
    """Compile; returns one line that says how long it took."""
    began = time.monotonic()
    profile = np.array([[0.0, 0.0], [2.0, 0.0], [3.0, 1.0], [3.0, 20.0], [3.0, 30.0], [20.0, 30.0], [20.0, 80.0]])
    zones = (Zone.CUTTING, Zone.CUTTING, Zone.CUTTING, Zone.SHANK, Zone.HOLDER, Zone.HOLDER)
    here = Place(file="warm")
    tool = Tool(
        number=1, name="6 bull", kind="bull", diameter_mm=6.0, corner_mm=1.0, teeth=2, gauge_length_mm=80.0, profile_mm=profile,
        zone=np.array(zones, dtype=np.uint8), place=here,
    )  # fmt: skip
    x, y, z = (Axis(name=n, low_mm=-500.0, high_mm=500.0, rapid_mm_per_s=400.0, accel_mm_per_s2=3000.0) for n in "XYZ")
    machine = Machine(
        name="warm", axes=(x, y, z), feed_limit_mm_per_s=200.0, spindle=Spindle(least_rpm=50, most_rpm=12000),
        magazine=Magazine(positions=10), control=Control(),
    )  # fmt: skip
    place = PartPlace(
        name="vise", op=0, offset=1, stock=Stock(kind="box", low_mm=(0, 0, -20), high_mm=(50, 30, 0)),
        bodies=(
            box_prism("jaw", "fixed jaw", (-10, -20, -30), (60, 0, -8), here),
            mesh_prism("clamp", "clamp", BodyMesh(vertices_mm=CORNERS, faces=np.array(FACES, dtype=np.int32)), here),
        ),
    )  # fmt: skip
    job = Job(
        name="warm", revision="", length_unit="mm", machine=machine, material="", quantity=1, tools=(tool,),
        registers=(Register(slot=1, length_mm=80.0, radius_mm=3.0),),
        ops=(Op(name="op 1", program="warm.nc", subprograms=(), places=(place,), offsets=()),),
        work=Material(name="warm", group="wrought aluminium"),
    )  # fmt: skip
    run = run_job(job, ((program_of(str(Path("warm.nc")), TEXT.encode(), []),),), pitch_mm=1.0)
    run.removals[0][0].makers(np.array([[10.0, 5.0, -2.0]]))
    StockCells(run.removals[0][0], run.shifts[0][0])
    load_answer(run, motion_of(rows_of(run.moves, run.rows[0]), job, 0).timing)
    return f"kernels are compiled ({time.monotonic() - began:.1f} s)"
