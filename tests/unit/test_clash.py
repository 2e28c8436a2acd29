"""Contacts with standing bodies: the finding, its words, and the change that clears it."""

import numpy as np
import pytest

from halfthou.base.finding import Severity
from halfthou.prove.clash import approaches, contacts, move_clearances
from halfthou.prove.clash_legs import dog_leg
from tests.unit.clash_scene import box, drill, end_mill, probe, scene

JAW = box("fixed jaw", (0, -40, -30), (100, 0, 0))
TALL = box("clamp", (120, 0, -30), (140, 60, 30), kind="clamp")


def run(s, **more):
    more.setdefault("rapid_path", s.job.machine.control.rapid_path)
    return contacts(s.moves, s.sweeps, s.job, 0, (), shifts=s.shifts, **more)


def codes(s):
    return [f.code for f in run(s)[0]]


def test_a_clear_job_has_no_findings_and_lists_its_nearest_approaches():
    s = scene(
        [end_mill()], [("G0", 50, 6, 10), ("G1", 50, 6, -10), ("G1", 80, 6, -10), ("G0", 80, 6, 50)], bodies=[JAW]
    )
    found, nearest, _ = run(s)
    assert found == ()
    best = approaches(nearest, s.moves, s.sweeps, s.job, 0, shifts=s.shifts)
    assert [(a.part, a.body, a.line) for a in best] == [
        ("cutter", "fixed jaw", 2),
        ("shank", "fixed jaw", 2),
        ("holder", "fixed jaw", 2),
    ]
    # cutter: axis 6 from the jaw, radius 5; shank from 25 above the tip: √(1 + 15²); holder face: 30 - 10 up
    assert [a.clearance_mm for a in best] == pytest.approx([1.0, np.hypot(1, 15), 20.0], abs=0.001)
    assert all(0 < a.bound_mm <= 0.001 for a in best)


@pytest.mark.parametrize(
    ("gap", "expected"), [(0.05, []), (0.0, []), (-0.005, []), (-0.02, ["P201"]), (-0.05, ["P201"])]
)
def test_the_limit_is_strict_and_near_misses_are_clean(gap, expected):
    s = scene([end_mill()], [("G0", 50, 90, 10), ("G1", 50, 5 + gap, -10), ("G1", 80, 5 + gap, -10)], bodies=[JAW])
    assert codes(s) == expected


def test_cutter_at_rapid_and_at_feed_are_different_codes_and_one_finding_each():
    low = [("G0", 50, -20, 10), ("G0", 50, -20, -0.3), ("G0", 60, -20, -0.3), ("G0", 60, -20, 50)]
    (found,) = run(scene([end_mill()], low, bodies=[JAW]))[0]
    assert (found.code, found.severity, found.count, found.place.line) == ("P202", Severity.STOP, 3, 2)
    assert found.amount.best == pytest.approx(0.3, abs=0.001)
    assert found.part == "cutter" and found.body == "fixed jaw" and found.tool == 1
    assert "0.300 mm" in found.do and "0.300 mm" in found.what
    feed = [(w if w != "G0" or z > 0 else "G1", x, y, z) for w, x, y, z in low]
    assert codes(scene([end_mill()], feed, bodies=[JAW])) == ["P201"]


def test_holder_into_a_clamp_and_the_stick_out_that_clears_it():
    path = [("G0", 90, 30, 40), ("G1", 90, 30, -0.8), ("G1", 104, 30, -0.8), ("G0", 104, 30, 90)]
    (found,) = run(scene([end_mill(out=30)], path, bodies=[TALL]))[0]
    # holder face at 29.2, clamp up to 30: 0.8 in; sideways 124 - 120 = 4: up is shorter
    assert (found.code, found.part, found.place.line) == ("P204", "holder", 3)
    assert found.amount.best == pytest.approx(0.8, abs=0.001)
    assert "0.800 mm more" in found.do
    assert codes(scene([end_mill(out=30.8)], path, bodies=[TALL])) == []


def test_shank_into_a_clamp():
    wide = end_mill(d=6, edge=10, shank=12, out=80)
    path = [("G0", 115, 30, 90), ("G1", 115, 30, -5), ("G1", 115, 35, -5), ("G0", 115, 30, 90)]
    (found,) = run(scene([wide], path, bodies=[TALL]))[0]
    assert (found.code, found.part) == ("P203", "shank")
    assert found.amount.best == pytest.approx(1.0, abs=0.001)  # 115 + 6 - 120


def test_spindle_nose_over_a_tall_clamp():
    tall = box("clamp", (120, 0, -30), (140, 60, 90), kind="clamp")
    stub = end_mill(holder=20)  # gauge line 80 above the tip; nose of 90 mm diameter
    path = [("G0", 80, 30, 120), ("G1", 80, 30, 9.5), ("G0", 80, 30, 120)]
    s = scene([stub], path, bodies=[tall], nose=(90, 100))
    (found,) = run(s)[0]  # nose from 89.5 up, reaches x = 125 over the clamp (120): 0.5 down into 90
    assert (found.code, found.part, found.body) == ("P205", "spindle nose", "clamp")
    assert found.amount.best == pytest.approx(0.5, abs=0.001)
    assert any("spindle nose" in line for line in run(scene([stub], path, bodies=[tall]))[2])


def test_dog_leg_only():
    # from (0, 30, 40) to (130, 160, 10): straight passes the clamp's column (x 120 … 140, y 0 … 60) behind it;
    # with X twice as fast as Y the knee is at (130, 95): also behind. With Y slow: the knee comes at (130, 62.5)
    path = [("G0", 0, 30, 20), ("G0", 130, 160, 20)]
    fast_x = {"bodies": [TALL], "start": (0, 30, 20), "rapid": (400.0, 100.0, 300.0)}
    assert codes(scene([end_mill()], path, rapid_path="straight", **fast_x)) == []
    bent = run(scene([end_mill()], path, rapid_path="dog-leg", **fast_x))[0]
    assert {f.code for f in bent} == {"P202"}
    both = run(scene([end_mill()], path, rapid_path=None, **fast_x))[0]
    assert {f.code for f in both} == {"P202"} and all("dog-leg" in f.why for f in both)


def test_dog_leg_corners_by_hand():
    # 100 at 400/s = 0.25 s, 40 at 400/s = 0.1 s, -60 at 300/s = 0.2 s
    corners = dog_leg(np.zeros(3), np.array([100.0, 40.0, -60.0]), [400.0, 400.0, 300.0])
    assert np.allclose(corners, [[0, 0, 0], [40, 40, -30], [80, 40, -60], [100, 40, -60]])


def test_the_table_counts_where_its_height_is_known():
    path = [("G0", 150, 80, 10), ("G1", 150, 80, -35.5), ("G0", 150, 80, 50)]
    assert codes(scene([end_mill(out=60)], path, table_z=-35.0)) == ["P201"]
    assert run(scene([end_mill(out=60)], path, table_z=-35.0))[0][0].body == "table"
    s = scene([end_mill(out=60)], path, table_z=-35.0, z_known=0)
    assert run(s)[0] == () and any("table" in line for line in run(s)[2])
    assert any("below the part" in line for line in run(scene([drill()], path, bodies=[JAW]))[2])


def test_soft_jaws_may_be_cut_to_the_depth_stated():
    soft = box("soft jaw", (0, -40, -30), (100, 0, 0), kind="soft jaw", may_cut=5.0)
    path = [("G0", 50, -20, 10), ("G1", 50, -20, -4.9), ("G1", 60, -20, -4.9), ("G0", 60, -20, 10)]
    assert codes(scene([end_mill()], path, bodies=[soft])) == []
    deep = [(w, x, y, z - 0.4 if z < 0 else z) for w, x, y, z in path]
    assert codes(scene([end_mill()], deep, bodies=[soft])) == ["P201"]


def test_arcs_and_helices_round_a_post():
    post = box("post", (45, 25, -30), (55, 35, 20), kind="clamp")
    # corner of the post at √50 = 7.071 from (50, 30); arc radius 12.02: 12.02 - 7.071 - 5 = -0.051
    ring = [("G0", 62.02, 30, 40), ("G1", 62.02, 30, 5), ("G3", 62.02, 30, 50, 30, 1), ("G0", 62.02, 30, 40)]
    ring[2] = ("G3", 62.02, 30, 5, 50, 30, 1)
    tall = end_mill(out=60, edge=40)
    (found,) = run(scene([tall], ring, bodies=[post]))[0]
    assert found.code == "P201" and found.amount.best == pytest.approx(0.0511, abs=0.001)
    clear = [(w, *(12.13 - 12.02 + v if i == 0 else v for i, v in enumerate(rest))) for w, *rest in ring]
    assert codes(scene([tall], clear, bodies=[post])) == []


def test_a_probe_may_touch_on_a_probe_move_only():
    path = [
        ("M", 0),
        ("G0", 50, 20, 40),
        ("G0", 50, 20, -5),
        ("P", 50, 2.0, -5),
        ("G0", 50, 20, -5),
        ("G0", 50, 20, 60),
    ]
    away = {"bodies": [JAW], "low": (0, 200, -20), "high": (100, 260, 0)}
    assert codes(scene([probe()], path, **away)) == []
    assert codes(scene([probe()], [("G1", *s[1:]) if s[0] == "P" else s for s in path], **away)) == ["P206"]


def test_spindle_and_coolant_with_the_probe_in():
    path = [("M", 0), ("G0", 50, 20, 40), ("M", 500), ("G0", 50, 40, 40), ("M", 0), ("W", 4), ("G0", 50, 20, 40)]
    assert codes(scene([probe()], path)) == ["P218", "P219"]


def test_at_the_tool_change_both_tools_are_looked_at():
    long = end_mill(2, out=100, edge=25)
    s = scene([end_mill(), long], [("G0", 50, -20, 40), ("T", 1), ("G0", 50, -20, 60)], bodies=[JAW])
    # gauge line 120 up, tool 150 long: tip at -30, shank from -5
    assert [(f.tool, f.part, f.place.line) for f in run(s)[0]] == [(2, "cutter", 2), (2, "shank", 2)]


def test_positions_shift_with_the_work_offset():
    path = [("G0", 50, -20, 10), ("G1", 50, -20, -0.3), ("G0", 50, -20, 50)]
    (found,) = run(scene([end_mill()], path, bodies=[JAW], at=(-312.0, -205.0, -371.0)))[0]
    assert found.amount.best == pytest.approx(0.3, abs=0.001)
    assert found.point_mm == pytest.approx((50, -20, -0.3), abs=0.001)


def test_clearance_of_every_move():
    s = scene([end_mill()], [("G0", 50, 6, 10), ("G1", 50, 6, -10), ("G1", 80, 6, -10)], bodies=[JAW])
    got = move_clearances(s.moves, s.sweeps, s.job, 0, shifts=s.shifts, rapid_path="straight")
    assert got[1:] == pytest.approx([1.0, 1.0], abs=0.001) and got[0] >= 1.0
