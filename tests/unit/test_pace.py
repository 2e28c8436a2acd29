"""The time model of calibration against hand-worked times, the fit on data it made itself, and the door for times."""

from pathlib import Path

import numpy as np
import pytest

import halfthou
from halfthou.base.errors import ReadingError
from halfthou.files.readings import load_times
from halfthou.flow.pace import pace_of
from halfthou.physics.pace import CAPPED, INDEX, JUMP, NAMES, ROUNDED, corner_of, reach, rounded_s, stretch_s
from halfthou.prove.pace_log import step_of
from tests.unit.pace_scene import write


def test_ramps_by_hand() -> None:
    assert rounded_s(100.0, 1000.0, 0.0) == pytest.approx(0.1)
    assert rounded_s(100.0, 1000.0, 0.05) == pytest.approx(0.15)  # dv/a + a/j
    assert rounded_s(20.0, 1000.0, 0.05) == pytest.approx(2 * (20.0 / 20000.0) ** 0.5)  # 2 √(dv/j), j = a/t


@pytest.mark.parametrize(
    ("v", "h", "t"),
    [
        (0.0, 10.0, 0.0),
        (5.0, 3.0, 0.02),
        (0.0, 0.01, 0.05),
        (50.0, 0.2, 0.1),
    ],
)
def test_reach_is_the_end_of_its_ramp(v: float, h: float, t: float) -> None:
    end = reach(v, h, 2000.0, t)
    assert 0.5 * (v + end) * rounded_s(end - v, 2000.0, t) == pytest.approx(h, rel=1e-9)


def test_a_move_that_reaches_nothing_takes_the_published_time() -> None:
    jerk, a = 30000.0, 1e5
    h = 2.0  # rest to rest, neither speed nor acceleration reached: 4 (h/2j)^(1/3), Biagiotti & Melchiorri 2008, ch. 3
    assert stretch_s(h, 0.0, 0.0, 1e6, a, a / jerk) == pytest.approx(4 * (h / (2 * jerk)) ** (1 / 3), rel=1e-6)


def test_a_trapezoid_by_hand() -> None:
    # 100 mm, 50 mm/s, 500 mm/s²: 0.1 s up over 2.5 mm, the same down, 95 mm at 50 mm/s
    assert stretch_s(100.0, 0.0, 0.0, 50.0, 500.0, 0.0) == pytest.approx(0.2 + 95 / 50)


def test_square_corner_by_hand() -> None:
    s = 0.5**0.5
    # a circle that stays within d of a square corner: r = d·s/(1 − s) = 2.414 d
    assert corner_of(ROUNDED, 3000 * 0.01, s, 2**0.5, 1.0, 5.0, 3000.0, 0.0) ** 2 == pytest.approx(
        3000 * 0.0241421, rel=1e-4
    )
    assert corner_of(JUMP, 14.142136, s, 2**0.5, 1.0, 5.0, 3000.0, 0.0) == pytest.approx(10.0)
    # capped: the tangent length of a circle in a square corner is its radius; half a block of 0.02 is 0.01
    assert corner_of(CAPPED, 3000 * 1.0, s, 2**0.5, 1.0, 0.01, 3000.0, 0.0) ** 2 == pytest.approx(3000 * 0.01)


def test_names_are_those_the_kernel_reads() -> None:
    assert [INDEX[n] for n in ("accel", "round", "corner", "block", "rest_feed", "rest_rapid", "rapid", "feed")] == [
        0, 6, 7, 8, 9, 10, 11, 13,
    ]  # fmt: skip
    assert NAMES[18:] == ("long", "short", "arc", "fast", "split")


def test_the_step_of_a_clock() -> None:
    assert step_of(np.array([0.0, 1.3, 2.9])) == 0.1
    assert step_of(np.array([0.0, 1.301, 2.9])) == 0.001


def log_lines(change: float) -> str:
    """A log by hand: lines of the scene, with tool changes of `change` s."""
    lines = [(4, change), (5, 0.8), (6, 1.3), (7, 2.3), (8, 2.6), (9, 2.6), (10, 2.6), (11, 2.6), (12, 0.3)]
    lines += [(13, change), (14, 0.5), (21, 0.4), (22, 0.3), (23, 2.2), (24, 0.2), (16, 0.3), (21, 0.2), (22, 0.1)]
    lines += [(23, 2.2), (24, 0.2), (18, 0.4)]
    text, now = "time,line\n", 0.0
    for line, seconds in lines:
        text += f"{now:.2f},{line}\n"
        now += seconds
    return text + f"{now:.2f},end\n"


def test_a_log_pins_the_tool_change_down_and_says_what_it_cannot_tell(tmp_path: Path) -> None:
    answer = pace_of(tmp_path, write(tmp_path, log_lines(7.0)))
    numbers = {n.name: n for n in answer.numbers}
    assert numbers["tool change"].best == pytest.approx(7.0, rel=0.15)
    assert numbers["tool change"].told
    assert not numbers["sideways acceleration on arcs"].told
    assert "sideways acceleration on arcs" in " ".join(answer.said)
    assert answer.whole.low_s < answer.whole.best_s < answer.whole.high_s
    assert any("overrides" in text for text in answer.said)
    total = 7.0 * 2 + 22.2
    assert answer.whole.low_s < total < answer.whole.high_s
    again = halfthou.open(tmp_path).pace(tmp_path / "times.csv")
    assert again == answer


def test_a_stopwatch_total_narrows_the_total_and_little_else(tmp_path: Path) -> None:
    one = pace_of(tmp_path, write(tmp_path, "feed_override = 100\nrapid_override = 100\nseconds\n36.0\n"))
    assert one.whole.low_s < 36.0 < one.whole.high_s
    told = [n.name for n in one.numbers if n.told]
    assert len(told) <= 4, told
    loose = pace_of(tmp_path, write(tmp_path, "plus_minus = 8\nseconds\n36.0\n"))
    assert loose.whole.high_s - loose.whole.low_s > one.whole.high_s - one.whole.low_s


def test_times_of_tools(tmp_path: Path) -> None:
    answer = pace_of(tmp_path, write(tmp_path, "tool,seconds\n1,21.0\n2,13.0\n"))
    assert answer.kind == "tool"
    assert answer.whole.low_s < 34.0 < answer.whole.high_s


def test_clocks_are_read_in_three_ways_and_over_midnight(tmp_path: Path) -> None:
    text = "feed_override = 80\nrapid_override = 50\ntime,block\n23:59:59.5,70\n0:00:01.25,80\n0:00:05,90\n"
    times = load_times(write(tmp_path, text))
    assert np.diff([r.time_s for r in times.rows]) == pytest.approx([1.75, 3.75])
    assert [r.block for r in times.rows] == [70, 80, 90]
    assert times.rows[0].feed_ratio == 0.8 and times.rows[0].rapid_ratio == 0.5 and times.overrides_stated
    stamped = load_times(write(tmp_path, "time,line\n2026-03-04T10:11:12.5,4\n2026-03-04T10:11:13.0,end\n"))
    assert stamped.rows[1].time_s - stamped.rows[0].time_s == pytest.approx(0.5)
    assert stamped.rows[1].line == 0


def test_everything_wrong_is_said_at_once(tmp_path: Path) -> None:
    text = "speed = 3\ntime,line,feed_override\n1;0,4,100\nsoon,5,0\n"
    with pytest.raises(ReadingError) as caught:
        load_times(write(tmp_path, text))
    assert {"F003", "F701", "F009"} <= {c.code for c in caught.value.complaints}
