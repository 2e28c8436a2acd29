"""Travel limits and the window of work offsets: extents of moves, what is judged, amounts, windows by hand and by trial."""

import itertools
import math

import numpy as np
import pytest

from halfthou.nouns.moves import MACHINE_POINT, Kind
from halfthou.prove.place import sweeps_of
from halfthou.prove.reach import extents, travel_findings, window_findings, windows_of
from tests.unit.place_scene import job_of, moves_of, plain_tool

INF = math.inf
TRAVEL = ((-500.0, 0.0), (-400.0, 0.0), (-420.0, 0.0))
TOOL, LENGTH = plain_tool(1, 100.0), 100.0


def line(start, end, **more):
    return {"start_mm": start, "end_mm": end, "tool": 1, **more}


def placed(rows, *, origin=(-300.0, -200.0, -350.0), travel=TRAVEL, systems=(1,), frames=None, known=(1, 1, 1)):
    """Moves, sweeps and job; the register in force is right."""
    moves = moves_of(rows, frames=frames or [(1, origin)], lengths=[LENGTH], known=known)
    job = job_of([TOOL], systems=systems, travel=travel)
    return moves, sweeps_of(moves, job, 0), job


# -- extents --------------------------------------------------------------------------------------------------------


def test_extents_of_a_straight_move_are_its_ends() -> None:
    _, sweeps, _ = placed([line((10, 50, 20), (-5, 60, -8))], origin=(0, 0, 0))
    low, high = extents(sweeps)
    assert low.tolist() == [[-5, 50, 92]] and high.tolist() == [[10, 60, 120]]  # the gauge line is 100 above the tip


@pytest.mark.parametrize("normal", [0, 1, 2])
@pytest.mark.parametrize("turn", [0.4, 2.5, 4.0, 6.283, 9.0, -0.4, -2.5, -5.5, -9.0])
def test_extents_of_arcs_and_helices_are_those_of_many_points(normal: int, turn: float) -> None:
    i, j = (normal + 1) % 3, (normal + 2) % 3
    for begin in (0.3, 1.9, 3.3, 5.0):
        centre, a, b = np.array([7.0, -4.0, 12.0]), np.zeros(3), np.zeros(3)
        for point, angle, radius, along in ((a, begin, 20.0, 3.0), (b, begin + turn, 26.0, 9.0)):
            point[i], point[j] = centre[i] + radius * math.cos(angle), centre[j] + radius * math.sin(angle)
            point[normal] = along
        row = line(a, b, kind=Kind.ARC, centre_mm=centre, normal=normal, sweep_rad=turn)
        _, sweeps, _ = placed([row], origin=(100.0, 50.0, 25.0))
        t = np.linspace(0, 1, 20001)
        angle, radius = begin + turn * t, 20 + 6 * t
        way = np.empty((len(t), 3))
        way[:, i], way[:, j] = centre[i] + radius * np.cos(angle), centre[j] + radius * np.sin(angle)
        way[:, normal] = 3 + 6 * t
        way += [100, 50, 25 + LENGTH]
        low, high = extents(sweeps)
        # a growing radius moves the extreme off the axis, and past it by (dr/dangle)²/2r
        slack = 1e-4 + (6 / turn) ** 2 / (2 * 20)
        assert np.abs(low[0] - way.min(0)).max() < slack and np.abs(high[0] - way.max(0)).max() < slack


@pytest.mark.parametrize(
    ("sweep", "out_and_back"), [(6 * math.pi, [(-12.75, 12.25), (-12.25, 12.75)]), (-6 * math.pi, [(-12.25, 12.75), (-12.75, 12.25)])]
)  # fmt: skip
def test_a_spiral_is_widest_in_its_outermost_turn(sweep: float, out_and_back) -> None:
    """Three turns from radius 10 to 13 and back: the top is passed 1/4, 5/4 and 9/4 of a turn in, and so on."""
    rows = [line(a, b, kind=Kind.ARC, sweep_rad=sweep) for a, b in (((10, 0, 0), (13, 0, 0)), ((13, 0, 0), (10, 0, 0)))]
    low, high = extents(placed(rows, origin=(0, 0, 0))[1])
    assert low[:, 0] == pytest.approx([-12.5, -12.5]) and high[:, 0] == pytest.approx([13, 13])
    assert np.column_stack([low[:, 1], high[:, 1]]) == pytest.approx(np.array(out_and_back))


def test_a_quarter_arc_bulges_over_its_ends_and_its_complement_elsewhere() -> None:
    a, b = (10 / math.sqrt(2), -10 / math.sqrt(2), 0), (10 / math.sqrt(2), 10 / math.sqrt(2), 0)
    short = line(a, b, kind=Kind.ARC, sweep_rad=math.pi / 2)
    far = line(a, b, kind=Kind.ARC, sweep_rad=-1.5 * math.pi)
    _, sweeps, _ = placed([short, far], origin=(0, 0, 0))
    low, high = extents(sweeps)
    assert high[0] == pytest.approx([10, 7.0710678, 100]) and low[0] == pytest.approx([7.0710678, -7.0710678, 100])
    assert high[1] == pytest.approx([7.0710678, 10, 100]) and low[1] == pytest.approx([-10, -10, 100])


# -- travels --------------------------------------------------------------------------------------------------------


def test_inside_the_travels_nothing_is_found() -> None:
    moves, sweeps, job = placed([line((0, 0, 250), (300, 200, -170)), line((300, 200, -170), (-200, -200, 250))])
    assert travel_findings(moves, sweeps, job, 0) == ([], [])


@pytest.mark.parametrize(
    ("end", "axis", "amount", "limit", "way"),
    [
        ((306.5, 0, 0), "X", 6.5, 0.0, "X-"),
        ((-203, 0, 0), "X", 3.0, -500.0, "X+"),
        ((0, 200.25, 0), "Y", 0.25, 0.0, "Y-"),
        ((0, -210, 0), "Y", 10.0, -400.0, "Y+"),
        ((0, 0, 251), "Z", 1.0, 0.0, "Z-"),
        ((0, 0, -172), "Z", 2.0, -420.0, "Z+"),
    ],
)
def test_over_travel_by_axis_and_side(end, axis: str, amount: float, limit: float, way: str) -> None:
    moves, sweeps, job = placed([line((0, 0, 0), (1, 1, 1)), line((1, 1, 1), end)])
    (found,), said = travel_findings(moves, sweeps, job, 0)
    assert found.code == "P101" and found.what.startswith(f"{axis} leaves its travel by {amount:.3f} mm")
    assert found.amount.best == pytest.approx(amount, abs=1e-12)
    assert (found.limit_mm, found.move, found.place.line, found.tool) == (limit, 1, 2, 1)
    assert f"towards {way}" in found.do and said == []
    assert f"{limit + (amount if way[1] == '-' else -amount):.3f} mm" in found.why
    step = {"X": 0, "Y": 1, "Z": 2}[axis]
    origin = np.array([-300.0, -200.0, -350.0])
    origin[step] += amount if way[1] == "+" else -amount  # doing what it says clears it
    moves, sweeps, job = placed([line((0, 0, 0), (1, 1, 1)), line((1, 1, 1), end)], origin=tuple(origin))
    assert travel_findings(moves, sweeps, job, 0)[0] == []


def test_the_worst_and_the_first_of_many_are_named() -> None:
    ends = [(299, 0, 0), (301, 0, 0), (340, 0, 0), (302, 0, 0), (-100, 0, 0)]
    rows = [line(a, b) for a, b in zip([(0, 0, 0), *ends], ends, strict=False)]
    moves, sweeps, job = placed(rows)
    (found,), _ = travel_findings(moves, sweeps, job, 0)
    assert (found.move, found.count) == (1, 4)  # the last begins outside
    assert found.amount.best == pytest.approx(40.0) and "farthest in line 3" in found.why


def test_an_arc_that_leaves_between_its_ends_is_found() -> None:
    row = line((290, 0, 0), (290, 20, 0), kind=Kind.ARC, centre_mm=(290, 10, 0), sweep_rad=math.pi)
    moves, sweeps, job = placed([row])
    assert travel_findings(moves, sweeps, job, 0)[0] == []
    row = line((295, 0, 0), (295, 20, 0), kind=Kind.ARC, centre_mm=(295, 10, 0), sweep_rad=math.pi)
    moves, sweeps, job = placed([row])
    (found,), _ = travel_findings(moves, sweeps, job, 0)
    assert found.amount.best == pytest.approx(5.0)


def test_dwells_and_stops_do_not_travel() -> None:
    for kind, n in ((Kind.DWELL, 0), (Kind.STOP, 0), (Kind.PROBE, 1), (Kind.TOOL_CHANGE, 1), (Kind.DECLARED, 1)):
        moves, sweeps, job = placed([line((310, 0, 0), (310, 0, 0), kind=kind)])
        assert len(travel_findings(moves, sweeps, job, 0)[0]) == n, kind


def test_an_axis_without_offset_is_not_judged_and_that_is_said() -> None:
    rows = [line((0, 0, 0), (400, 300, 0))]
    moves, sweeps, job = placed(rows, known=(1, 0, 0))
    found, said = travel_findings(moves, sweeps, job, 0)
    assert [f.what[0] for f in found] == ["X"]
    assert len(said) == 1 and "Y, Z" in said[0] and "no work offset is given" in said[0]
    rows = [line((0, 0, 0), (400, 300, 0), flags=MACHINE_POINT)]  # a machine position needs no offset
    moves, sweeps, job = placed(rows, known=(0, 0, 0))
    found, said = travel_findings(moves, sweeps, job, 0)
    assert [f.what[0] for f in found] == ["X", "Y"] and said == []


def test_frames_are_judged_each_by_its_own_offset() -> None:
    frames = [(1, (-300.0, -200.0, -350.0)), (2, (-100.0, -200.0, -350.0))]
    rows = [line((0, 0, 0), (250, 0, 0), frame=k) for k in range(2)]
    moves, sweeps, job = placed(rows, frames=frames, systems=(1, 2), known=((1, 1, 1), (0, 1, 1)))
    assert travel_findings(moves, sweeps, job, 0)[0] == []  # the second is 150 outside, but its offset is a stand-in
    moves, sweeps, job = placed(rows, frames=frames, systems=(1, 2))
    (found,), _ = travel_findings(moves, sweeps, job, 0)
    assert (found.move, found.amount.best) == (1, pytest.approx(150.0))


def test_travels_that_are_not_stated_are_said() -> None:
    moves, sweeps, job = placed([line((0, 0, 0), (9999, 0, 0))], travel=((-INF, INF),) * 3)
    assert travel_findings(moves, sweeps, job, 0) == ([], ["over-travel: the machine's travels are not stated"])


# -- the window of work offsets ---------------------------------------------------------------------------------------


def window(rows, **more):
    moves, sweeps, job = placed(rows, **more)
    (one,) = windows_of(moves, sweeps, job, 0, {1: (-300.0, None, -350.0)})
    return one


ROWS = (
    line((0, 0, 200), (-10, -20, 50), kind=Kind.RAPID),
    line((-10, -20, 50), (110, 70, -15)),
    line((110, 70, -15), (110, 90, -15), kind=Kind.ARC, centre_mm=(110, 80, -15), sweep_rad=math.pi),
)


def test_window_by_hand() -> None:
    one = window(ROWS)
    # machine X = offset + x for x in -10 … 120 (the arc bulges), Y -20 … 90, gauge Z = offset + 100 + z for z -15 … 50
    assert one.low_mm == pytest.approx((-490.0, -380.0, -505.0))
    assert one.high_mm == pytest.approx((-120.0, -90.0, -150.0))
    assert (one.op, one.system, one.given_mm) == (0, 1, (-300.0, None, -350.0))


def test_the_window_does_not_depend_on_the_offset_the_run_used() -> None:
    one, two = window(ROWS), window(ROWS, origin=(-17.0, 333.0, 12.5), known=(0, 0, 0))
    assert np.allclose([one.low_mm, one.high_mm], [two.low_mm, two.high_mm], atol=1e-9)


@pytest.mark.parametrize("seed", range(12))
def test_inside_the_window_no_over_travel_and_outside_there_is(seed: int) -> None:
    """The two halves of the room against each other: every offset tried is judged by the travel search."""
    rng = np.random.default_rng(7000 + seed)
    points = np.column_stack([rng.uniform(-80, 180, 9), rng.uniform(-80, 120, 9), rng.uniform(-40, 60, 9)])
    rows = [line(a, b) for a, b in itertools.pairwise(points)]
    r, turn = rng.uniform(5, 40), rng.choice([-1, 1]) * rng.uniform(0.5, 6)
    centre = points[-1] + [r, 0, 0]
    end = centre + np.array([-r * math.cos(turn), -r * math.sin(turn), rng.uniform(-9, 9)])
    rows.append(line(points[-1], end, kind=Kind.ARC, centre_mm=centre, sweep_rad=turn))
    rows.insert(0, line(points[0], points[0]))
    rows[0]["start_mm"] = points[0] + 1e-3  # the way there begins beside it
    one = window(rows)
    low, high = np.array(one.low_mm), np.array(one.high_mm)
    assert (low < high).all()
    for at in (low, high, low + rng.uniform(0, 1, 3) * (high - low)):
        moves, sweeps, job = placed(rows[1:], origin=tuple(at))
        assert travel_findings(moves, sweeps, job, 0)[0] == []
    for k in range(3):
        for bad in (low[k] - 0.01, high[k] + 0.01):
            at = (low + high) / 2
            at[k] = bad
            moves, sweeps, job = placed(rows[1:], origin=tuple(at))
            (found,), _ = travel_findings(moves, sweeps, job, 0)
            assert found.what[0] == "XYZ"[k] and found.amount.best == pytest.approx(0.01, abs=1e-9)


def test_an_axis_that_is_never_programmed_has_no_window() -> None:
    one = window([line((0, 0, 200), (0, 0, 50)), line((0, 0, 50), (0, 0, -15))])
    assert one.low_mm[:2] == (None, None) and one.high_mm[:2] == (None, None)
    assert one.low_mm[2] == pytest.approx(-505.0)


def test_machine_positions_and_rows_that_do_not_cut_are_left_out() -> None:
    home = [line((110, 70, -15), (400, 300, 300), kind=Kind.RAPID, flags=MACHINE_POINT),
            line((400, 300, 300), (400, 300, 300), kind=Kind.TOOL_CHANGE)]  # fmt: skip
    plain, more = window(ROWS), window([*ROWS, *home])
    assert (plain.low_mm, plain.high_mm) == (more.low_mm, more.high_mm)


def test_where_the_first_move_comes_from_is_not_programmed() -> None:
    """The way from home to the first point begins at a machine position, whatever the offset."""
    for home in ((-900, -900, -900), (900, 900, 900)):
        one = window([line(home, (0, 0, 200), kind=Kind.RAPID), *ROWS])
        assert one.low_mm == pytest.approx((-490.0, -380.0, -505.0))
        assert one.high_mm == pytest.approx((-120.0, -90.0, -300.0))


def test_an_axis_left_over_from_home_does_not_count() -> None:
    """After a machine move in X, plain moves in Z only stay at that X: it is no work position."""
    home = [line((110, 90, -15), (400, 90, -15), flags=MACHINE_POINT), line((400, 90, -15), (400, 90, -20)),
            line((400, 90, -20), (400, 95, -20))]  # fmt: skip
    one = window([*ROWS, *home])
    assert one.low_mm == pytest.approx((-490.0, -380.0, -500.0))
    assert one.high_mm == pytest.approx((-120.0, -95.0, -150.0))


def test_one_window_a_system() -> None:
    frames = [(1, (-300.0, -200.0, -350.0)), (2, (-100.0, -200.0, -350.0)), (3, (0, 0, 0))]
    rows = [line((0, 0, 0), (50, 40, 10)), line((0, 0, 0), (90, 80, 70), frame=1)]
    moves, sweeps, job = placed(rows, frames=frames, systems=(1, 2))
    one, two = windows_of(moves, sweeps, job, 0, {})
    assert (one.system, two.system, one.given_mm) == (1, 2, (None, None, None))
    assert one.high_mm == pytest.approx((-50, -40, -110)) and two.high_mm == pytest.approx((-90, -80, -170))


def test_two_frames_of_one_system_share_its_window() -> None:
    """A local shift of 30 mm makes a second frame of the same system; the window is that of the offset itself."""
    frames = [(1, (-300.0, -200.0, -350.0)), (1, (-270.0, -200.0, -350.0))]
    rows = [line((0, 0, 0), (50, 40, 10)), line((0, 0, 0), (50, 41, 11), frame=1)]
    moves, sweeps, job = placed(rows, frames=frames)
    (one,) = windows_of(moves, sweeps, job, 0, {})
    assert one.high_mm == pytest.approx((-80, -41, -111))


def test_travels_that_are_not_stated_leave_no_window() -> None:
    one = window(ROWS, travel=((-INF, INF), (-400.0, 0.0), (-INF, 0.0)))
    assert one.low_mm == (None, pytest.approx(-380.0), None)
    assert one.high_mm == (None, pytest.approx(-90.0), None)


def test_a_program_wider_than_the_travel_has_an_empty_window() -> None:
    rows = [line((0, 0, 0), (-10, 1, 1)), line((-10, 1, 1), (496, 2, 2))]
    moves, sweeps, job = placed(rows)
    windows = windows_of(moves, sweeps, job, 0, {})
    (found,) = window_findings(moves, job, 0, windows)
    assert found.code == "P102" and "6.000 mm farther in X" in found.what
    assert found.amount.best == pytest.approx(6.0)
    moves, sweeps, job = placed([line((0, 0, 0), (-4, 1, 1)), line((-4, 1, 1), (496, 2, 2))])
    assert window_findings(moves, job, 0, windows_of(moves, sweeps, job, 0, {})) == []  # just fits
