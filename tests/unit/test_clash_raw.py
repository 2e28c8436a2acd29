"""Stock before an operation that is neither box nor cylinder: rays of a record, turned over."""

import numpy as np
import pytest

from halfthou.nouns.cut import SPAN, CutRecord, Grid
from halfthou.nouns.frame import Pose
from halfthou.nouns.stock import Stock
from halfthou.prove.clash import contacts
from halfthou.prove.clash_raw import field_of
from tests.unit.clash_scene import end_mill, scene

FLIP = np.diag([1.0, -1.0, -1.0])  # 180° about X
QUARTER = np.array([[0.0, -1, 0], [1, 0, 0], [0, 0, 1]])  # 90° about Z


def record(turn, shift, nx=6, ny=4, pitch=1.0):
    """Ray (i, j) holds one span from i to 10 + j, but ray (0, 0) is empty and ray (5, 3) has two spans."""
    spans, first = [], [0]
    for i in range(nx):
        for j in range(ny):
            if (i, j) == (5, 3):
                spans += [(0, 2, -1, -1), (7, 13, -1, -1)]
            elif (i, j) != (0, 0):
                spans.append((i, 10 + j, -1, -1))
            first.append(len(spans))
    grid = Grid(low_mm=(0.0, 0.0), pitch_mm=pitch, nx=nx, ny=ny, pose=Pose(turn=turn, shift_mm=np.array(shift)))
    return CutRecord(
        op=0, place=0, grid=grid, first=np.array(first), spans=np.array(spans, dtype=SPAN), after_move=-1, error_mm=0.0
    )


def test_upright_rays():
    raw = field_of(record(np.eye(3), [0, 0, 0]), np.array([100.0, 0, 5]))
    assert raw.size_mm.tolist() == [100, 0, 106, 4] and raw.top_mm.shape == (6, 4)
    assert raw.top_mm[2, 3] == 18 and raw.top_mm[5, 3] == 18 and raw.top_mm[0, 0] < -1e29
    assert (raw.low_mm, raw.high_mm) == (5, 18)


def test_turned_over_about_x():
    # (x, y, z) → (x, 4 - y, 20 - z): ray (i, j) lies at index (i, 3 - j), its top is 20 - lowest
    raw = field_of(record(FLIP, [0, 4, 20]), np.zeros(3))
    assert raw.size_mm.tolist() == [0, 0, 6, 4]
    assert raw.top_mm[2, 0] == 18 and raw.top_mm[5, 0] == 20 and raw.top_mm[0, 3] < -1e29


def test_a_quarter_turn_about_z():
    # (x, y) → (4 - y, x): ray (i, j) lies at index (3 - j, i)
    raw = field_of(record(QUARTER, [4, 0, 0]), np.zeros(3))
    assert raw.size_mm.tolist() == [0, 0, 4, 6] and raw.top_mm.shape == (4, 6)
    assert raw.top_mm[3 - 1, 2] == 11 and raw.top_mm[3, 0] < -1e29


def test_a_tilted_record_is_said():
    assert "upright" in field_of(record(np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]]), [0, 0, 0]), np.zeros(3))


def step_record():
    """40 × 20, 0 high for x < 20 and -5 from there on, pitch 0.5."""
    nx, ny, pitch = 80, 40, 0.5
    spans = [(-15, 0 if (i + 0.5) * pitch < 20 else -5, -1, -1) for i in range(nx) for _ in range(ny)]
    grid = Grid(low_mm=(0.0, 0.0), pitch_mm=pitch, nx=nx, ny=ny, pose=Pose(turn=np.eye(3), shift_mm=np.zeros(3)))
    return CutRecord(
        op=0, place=0, grid=grid, first=np.arange(nx * ny + 1), spans=np.array(spans, dtype=SPAN), after_move=-1,
        error_mm=0.0,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("x", "z", "found"), [(60, -4, []), (27, -4, []), (10, 0.5, []), (10, -0.5, ["P211"]), (30, -5.5, ["P211"])]
)
def test_rapids_over_a_part_from_an_earlier_operation(x, z, found):
    s = scene([end_mill()], [("G0", x, -20, z), ("G0", x, 40, z)], start=(60, -20, 50))
    stock = Stock(kind="from", from_op=0, from_place=0)
    place = s.job.ops[0].places[0]
    place = type(place)(name=place.name, op=0, offset=1, stock=stock, bodies=())
    op = s.job.ops[0]
    job = type(s.job)(
        name="n", revision="", length_unit="mm", machine=s.job.machine, material="", quantity=1, tools=s.job.tools,
        registers=(), ops=(type(op)(name="op", program="", subprograms=(), places=(place,), offsets=()),),
    )  # fmt: skip
    got = contacts(s.moves, s.sweeps, job, 0, shifts=s.shifts, rapid_path="straight", starts=[step_record()])
    assert [f.code for f in got[0]] == found
    assert any("0.500 mm" in line for line in got[2])
    bare = contacts(s.moves, s.sweeps, job, 0, shifts=s.shifts, rapid_path="straight")
    assert bare[0] == () and any("not at hand" in line for line in bare[2])
