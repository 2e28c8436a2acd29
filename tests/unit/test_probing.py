"""Probe moves: where the ball meets bodies, raw stock and what is left of it, and that the datum found is used."""

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial import ConvexHull

import halfthou
from halfthou.base.errors import ProgramError
from halfthou.nouns.moves import PROBE_CONTACT, Kind
from halfthou.prove.probing import FINE_MM, GAP, SAG, ball_points, ball_radius_mm, first_contact, in_bodies
from tests.unit.clash_scene import box, probe
from tests.unit.remove_scene import heights

R = 3.0


def contact(start, target, inside, radius=R):
    """Tip position at the first contact, None when there is none."""
    start, target = np.array(start, dtype=float), np.array(target, dtype=float)
    share = first_contact(start, target, radius, inside)
    return None if share is None else start + share * (target - start)


# -- the ball ---------------------------------------------------------------------------------------------------------


def test_points_of_the_ball_lie_on_it_and_leave_no_wider_gap_than_said() -> None:
    points = ball_points(R) - [0, 0, R]
    assert np.allclose(np.linalg.norm(points, axis=1), R, atol=1e-12)
    hull = -ConvexHull(points / R).equations[:, 3]  # distance of the facets from the centre: exact, every facet
    assert 1 - SAG <= hull.min() < 1 - 0.8 * SAG  # the bounds hold and are no idle ones
    assert 0.9 * GAP < math.acos(hull.min()) <= GAP
    for axis in range(3):
        assert points[:, axis].min() == -R and points[:, axis].max() == R


def test_radius_of_the_ball() -> None:
    assert ball_radius_mm(probe()) == 3.0
    assert ball_radius_mm(replace(probe(), diameter_mm=0.0)) == 3.0


# -- contacts with simple solids --------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("start", "target", "solid", "tip"),
    [
        ((5, 5, 40), (5, 5, -9), lambda p: p[:, 2] < 7.3, (5, 5, 7.3)),
        ((-30, 5, -10), (20, 5, -10), lambda p: p[:, 0] > 1.7, (-1.3, 5, -10)),
        ((80, 5, -10), (20, 5, -10), lambda p: p[:, 0] < 41.7, (44.7, 5, -10)),
        ((5, 50, -10), (5, -20, -10), lambda p: p[:, 1] < 0.0, (5, 3, -10)),
        ((5, -50, -10), (5, 20, -10), lambda p: p[:, 1] > 0.0, (5, -3, -10)),
        ((5, 5, -50), (5, 5, 0), lambda p: p[:, 2] > -3.0, (5, 5, -9)),
        ((0, 0, 20), (40, 30, -30), lambda p: p[:, 2] < 0.0, (16, 12, 0)),
    ],
)
def test_faces_square_to_an_axis_are_met_exactly(start, target, solid, tip) -> None:
    at = contact(start, target, solid)
    assert at == pytest.approx(tip, abs=2 * FINE_MM)
    way = np.subtract(target, start) / np.linalg.norm(np.subtract(target, start))
    assert (at - tip) @ way >= -1e-9  # never early


@pytest.mark.parametrize("degrees", [10, 25, 40, 55, 70, 85])
def test_slanted_faces_are_met_late_by_no_more_than_the_sag(degrees: float) -> None:
    n = np.array([math.sin(math.radians(degrees)), 0.0, math.cos(math.radians(degrees))])
    start, target = np.array([30.0, 4.0, 30.0]), np.array([-30.0, 4.0, -40.0])
    at = contact(start, target, lambda p: p @ n < 0)
    # the ball's centre is R above the face where it touches
    true = start + (target - start) * ((R - (start + np.array([0, 0, R])) @ n) / ((target - start) @ n))
    late = float((at - true) @ (target - start) / np.linalg.norm(target - start))
    speed = abs(float((target - start) @ n)) / float(np.linalg.norm(target - start))
    assert -1e-9 <= late <= (SAG * R) / speed + FINE_MM


@pytest.mark.parametrize("high", [-2.9, -2.0, -0.5, 0.5, 2.0, 2.9])
def test_edges_are_met_late_by_no_more_than_the_gap(high: float) -> None:
    """A ledge whose edge stands `high` over the middle of the ball: the ball touches it sqrt(R² - high²) before it."""
    at = contact((-20, 0.37, 0), (20, 0.37, 0), lambda p: (p[:, 0] > 0) & (p[:, 2] > R + high))
    ahead = math.sqrt(R * R - high * high)
    true = -ahead if high > 0 else -R
    assert true - 1e-9 <= at[0] <= true + GAP * R / (ahead / R if high > 0 else 1) + FINE_MM


def test_nothing_on_the_way_and_no_way() -> None:
    assert contact((5, 5, 40), (5, 5, 8), lambda p: p[:, 2] < 7.3) is None
    assert contact((5, 5, 40), (5, 5, 40), lambda p: p[:, 2] < 7.3) is None
    assert contact((5, 5, 40), (5, 5, 40), lambda p: np.ones(len(p), dtype=bool)) is None


def test_a_probe_that_begins_in_material_has_met_it() -> None:
    assert contact((5, 5, 0), (5, 5, 40), lambda p: p[:, 2] < 7.3).tolist() == [5, 5, 0]


def test_the_first_of_several_is_met_also_on_a_long_way() -> None:
    def steps(p):
        return ((p[:, 0] > 700) & (p[:, 0] < 700.5)) | (p[:, 0] > 900)

    assert contact((0, 0, 0), (1000, 0, 0), steps) == pytest.approx((697, 0, 0), abs=2 * FINE_MM)


def test_points_in_standing_bodies() -> None:
    jaws = [box("a", (0, 0, -10), (20, 10, 0)), box("b", (30, 0, -10), (50, 10, 5))]
    points = [[1, 1, -1], [1, 1, 1], [40, 9.99, 4.9], [40, 10.01, 4.9], [25, 5, -5], [-0.1, 5, -5], [19.9, 0.1, -9.9]]
    assert in_bodies(jaws, np.array(points)).tolist() == [True, False, True, False, False, False, True]
    assert in_bodies([], np.array(points)).tolist() == [False] * 7


# -- in a job: raw stock, jaws, what is left of the stock, datums ---------------------------------------------------------

JOB = """format = 1
units = "mm"
part = "block"
tools = "tools.csv"
invented = true
{found}
[machine]
name = "m"
travel = {{ X = [-600, 100], Y = [-400, 100], Z = [-520, 0] }}
rapid = {{ X = 24000, Y = 24000, Z = 18000 }}
acceleration = {{ X = 3.0, Y = 3.0, Z = 2.5 }}
feed_limit = 8000
[machine.spindle]
rpm = [50, 12000]
[machine.control]
length = "gauge line"
radius = "diameter"
rapid_path = "straight"
[[operation]]
name = "op 1"
program = "op1.nc"
[[operation.offset]]
system = "G54"
origin = [-330.0, -240.0, -430.0]
[[operation.offset]]
system = "G55"
origin = [-130.0, -240.0, -432.5]
[[operation.place]]
name = "one"
offset = "G54"
[operation.place.stock]
kind = "box"
low = [{x}, {y}, -25]
high = [100, 60, {z}]
[[operation.place.body]]
name = "jaw"
kind = "fixed jaw"
low = [-20.0, -45.0, -50.0]
high = [120.0, 0.0, -12.0]
[[operation.place]]
name = "two"
offset = "G55"
[operation.place.stock]
kind = "cylinder"
centre = [30.0, 20.0]
diameter = 40
low_z = -25
high_z = 2
{more}
"""
TOOLS = """number,name,kind,diameter,cutting_length,shank_diameter,stick_out,length,holder_diameter,holder_length,mass,max_rpm{column}
20,probe 6,probe,6,3,4,60,150,40,90,0.8,,{register}
1,mill 10,flat,10,30,10,45,110,40,50,1,12000,{plain}
"""
OVER = """[[operation]]
name = "op 2"
program = "op2.nc"
[[operation.offset]]
system = "G54"
origin = [-333.0, -244.0, -431.0]
[[operation.place]]
name = "one"
offset = "G54"
[operation.place.stock]
kind = "from"
operation = "op 1"
place = "one"
turn = "180 about X"
shift = [0, 60, -25]
"""
MILL = "T1 M6\nS4000 M3\nG0 X-20 Y30\nG43 H1 Z50\nZ5\nG1 Z-6.5 F900\nX40\nG0 Z50\nM5\n"  # a slot y 25 … 35, x up to 45
PROBE = "T20 M6\nG0 X{x} Y{y}\nG43 H20 Z50\nG1 Z{z} F900\n"


def run(folder: Path, program: str, *, second: str = "", x=0.0, y=0.0, z=0.0, register="", offsets=""):
    """The run of a program between head and end; `second`: program of a second operation, turned about X."""
    found = ""
    if offsets:
        found = '[found]\noffsets = "o.csv"'
        (folder / "o.csv").write_text(f"units = mm\nsystem,X,Y,Z\n{offsets}\n")
    (folder / "job.toml").write_text(JOB.format(found=found, x=x, y=y, z=z, more=OVER if second else ""))
    column = ",length_register" if register else ""
    table = TOOLS.format(column=column, register=register, plain="110" if register else "")
    if not register:
        table = "\n".join(line.removesuffix(",") for line in table.splitlines())
    (folder / "tools.csv").write_text(f"units = mm\n{table}\n")
    for name, text in (("op1.nc", program), ("op2.nc", second)):
        if text:
            (folder / name).write_text(f"%\nG21 G17 G40 G49 G80 G90 G54\n{text}G91 G28 Z0\nM30\n%\n")
    return halfthou.open(folder).run(pitch_mm=1.0)


def touches(done, op: int = 0) -> list[tuple[float, ...]]:
    """Where the probe moves of an operation ended, work coordinates; all of them contacts."""
    rows = done.moves.moves[done.rows[op]]
    rows = rows[rows["kind"] == Kind.PROBE]
    assert (rows["flags"] & PROBE_CONTACT).all()
    return [tuple(row) for row in rows["end_mm"].tolist()]


def at(*point: float):
    return pytest.approx(point, abs=1e-4)


@pytest.mark.parametrize(
    ("x", "y", "high", "word", "tip"),
    [
        (70, 30, 20, "Z-4", (70, 30, 0.4)),  # raw top
        (-30, 30, -10, "X5", (-3.25, 30, -10)),  # raw side, at the ball's radius
        (130, 30, -10, "X80", (103, 30, -10)),
        (50, 90, -10, "Y40", (50, 63, -10)),
        (50, -20, 20, "Z-20", (50, -20, -12)),  # jaw
        (-10, 30, 20, "X5 Z0.9", None),  # over the raw stock
    ],
)
def test_raw_stock_and_jaws(tmp_path: Path, x, y, high, word, tip) -> None:
    program = PROBE.format(x=x, y=y, z=high) + f"G38.2 {word} F200\nG0 X{x} Y{y} Z{high}\nG0 Z50\n"
    if tip is None:
        with pytest.raises(ProgramError, match="meets nothing"):
            run(tmp_path, program, x=-0.25, z=0.4)
        return
    assert touches(run(tmp_path, program, x=-0.25, z=0.4)) == [at(*tip)]


def test_what_was_milled_before_is_met_and_what_is_milled_after_is_not(tmp_path: Path) -> None:
    down = PROBE.format(x=20, y=30, z=20) + "G38.2 Z-15 F200\nG0 Z50\n"
    side = "X20 Y30\nG1 Z-5 F900\nG38.2 Y50 F200\nG0 Y30\nG38.2 X60 F200\nG0 X20\nG0 Z50\n"
    before, floor, wall, end = touches(run(tmp_path, down + MILL + down + side))
    assert before == at(20, 30, 0)
    assert floor == at(20, 30, -6.5)
    assert wall == at(20, 32, -5)  # the wall at 35, less the ball
    assert end == pytest.approx((42, 30, -5), abs=2e-3)  # the round end of the slot


def test_a_post_is_probed_in_its_own_place(tmp_path: Path) -> None:
    program = "G55\n" + PROBE.format(x=90, y=20, z=-8) + "G38.2 X40 F200\nG0 X90\nG0 Z50\nX30\nG38.2 Z-3 F200\nG0 Z50\n"
    side, top = touches(run(tmp_path, program))
    assert side == at(53, 20, -8)
    assert top == at(30, 20, 2)


def test_the_second_operation_meets_what_the_first_left_turned_over(tmp_path: Path) -> None:
    second = PROBE.format(x=20, y=30, z=20) + "G38.2 Z-9 F200\nG0 Z50\nX-30\nG1 Z-24.9 F900\n"
    second += "G38.2 X80 F200\nG0 X-30\nG0 Z50\nY10\nG1 Z-24.9 F900\nG38.2 X80 F200\nG0 X-30\nG0 Z50\n"
    top, end, face = touches(run(tmp_path, MILL, second=second), op=1)
    assert top == at(20, 30, 0)  # the slot is below now: z -25 … -18.5, y 25 … 35
    assert end == pytest.approx((42, 30, -24.9), abs=2e-3)  # under its roof to the round end
    assert face == at(-3, 10, -24.9)


# -- the datum found is used ------------------------------------------------------------------------------------------------

TOP = PROBE.format(x=70, y=30, z=20) + "G38.2 Z-4 F200\nG0 Z20\n"
FACE = "T1 M6\nS4000 M3\nG0 X-20 Y30\nG43 H1 Z50\nZ5\nG1 Z-1 F900\nX60\nG0 Z50\nM5\n"  # 1 mm deep over (20, 30)
SET_Z = "G10 L2 P1 Z[#5223+#5063]\n"


def floor(done, x=20.0, y=30.0) -> float:
    """Top of what is left over a point of the first place, planned program coordinates."""
    return heights(done.removals[0][0], [(x, y)])[0][-1][1]


@pytest.mark.parametrize("high", [0.0, 0.4, 1.75, -0.6])
def test_the_height_found_is_where_the_cut_starts(tmp_path: Path, high: float) -> None:
    done = run(tmp_path, TOP + SET_Z + FACE, z=high)
    assert dict(done.readings[0].parameters)[5063] == pytest.approx(high, abs=1e-4)
    assert floor(done) == pytest.approx(high - 1, abs=2e-4)
    frames = done.moves.frames[done.moves.frames["system"] == 1]
    assert sorted(set(np.round(frames["shift_mm"][:, 2], 3))) == sorted({-430.0, round(-430 + high, 3)})
    assert floor(run(tmp_path, TOP + FACE, z=high)) == pytest.approx(-1, abs=1e-9)  # found, but not used


def test_a_work_offset_found_wrong_is_put_right_by_probing(tmp_path: Path) -> None:
    """The control's G54 is 0.7 mm high and 1.2 mm off in X; the part lies where it was planned."""
    wrong = "G54,-328.8,-240,-429.3"
    side = PROBE.format(x=-30, y=30, z=-10) + "G38.2 X5 F200\nG0 X-30\nG0 Z50\n"
    set_x = "G10 L2 P1 X[#5221+#5061+3]\n"
    done = run(tmp_path, TOP + SET_Z + side + set_x + FACE, offsets=wrong)
    assert floor(done) == pytest.approx(-1, abs=2e-4)
    shift = done.moves.frames["shift_mm"][done.moves.moves["frame"][done.moves.moves["tool"] == 1][-1]]
    assert shift == pytest.approx([-330, -240, -430], abs=3e-4)
    assert floor(run(tmp_path, FACE, offsets=wrong)) == pytest.approx(-0.3, abs=1e-9)


@pytest.mark.parametrize("error", [0.5, -0.3])
def test_a_wrong_length_of_the_probe_goes_into_the_datum(tmp_path: Path, error: float) -> None:
    """Too long in the register: the real tip is higher than the control thinks, it reads low, the cut goes deep."""
    done = run(tmp_path, TOP + SET_Z + FACE, register=f"{150 + error}")
    assert touches(done) == [at(70, 30, -error)]
    assert floor(done) == pytest.approx(-1 - error, abs=2e-4)


def test_the_middle_of_a_bore_found_by_four_touches_is_the_datum(tmp_path: Path) -> None:
    """A round hole of 30 mm milled round (40, 32) is found from a start that is off, and set as X0 Y0 of G56."""
    bore = "T1 M6\nS4000 M3\nG0 X50 Y32\nG43 H1 Z50\nZ5\nG1 Z-9 F900\nG3 X50 Y32 I-10 J0\nG1 X45\nG3 X45 Y32 I-5 J0\n"
    bore += "G1 X40\nG0 Z50\nM5\n"
    touch = "G38.2 {a}{low} F200\n#101=#{p}\nG0 {a}{home}\nG38.2 {a}{high} F200\n#102=#{p}\nG0 {a}{home}\n"
    x = touch.format(a="X", low=10, high=70, home=38.5, p=5061) + "#110=[[#101+#102]/2]\nG0 X#110\n"
    y = touch.format(a="Y", low=2, high=60, home=33, p=5062) + "#111=[[#101+#102]/2]\nG0 Y#111\n"
    use = "G10 L2 P3 X[#5221+#110] Y[#5222+#111] Z#5223\nG0 Z50\nG56\nT1 M6\nS4000 M3\nG0 X0 Y0\nG43 H1 Z50\nZ-8\nG1 Z-20 F300\nG0 Z50\nM5\n"
    done = run(tmp_path, bore + PROBE.format(x=38.5, y=33, z=-6) + x + y + use)
    last = done.moves.frames[done.moves.frames["system"] == 3][-1]["shift_mm"]
    assert last == pytest.approx([-290, -208, -430], abs=5e-3)
    assert [floor(done, 40 + d, 32) for d in (0, 4.9, -4.9)] == pytest.approx([-20] * 3)
    assert [floor(done, 40 + d, 32) for d in (5.1, -5.1)] == pytest.approx([-9] * 2)


def test_a_probe_that_may_miss_goes_on_from_its_target(tmp_path: Path) -> None:
    away = PROBE.format(x=-30, y=30, z=20) + "G38.3 Z-4 F200\n"
    done = run(tmp_path, away + "G0 Z50\n" + FACE)
    rows = done.moves.moves[done.moves.moves["kind"] == Kind.PROBE]
    assert rows["end_mm"].tolist() == [[-30, 30, -4]] and not (rows["flags"] & PROBE_CONTACT).any()
    assert floor(done) == pytest.approx(-1)
