"""Laws of the time model: a time-optimal path library is a lower bound, more never takes longer, splits change nothing."""

import random

import numpy as np
import pytest

from halfthou.base.table import lock
from halfthou.nouns.moves import CALL, FRAME, MOVE, STATE, Kind, MoveList
from halfthou.physics.drive import look_ahead
from halfthou.prove.motion import Drives, run_times


@pytest.fixture
def draw() -> random.Random:
    seed = random.SystemRandom().randrange(10**9)
    print(f"seed {seed}")
    return random.Random(seed)


def drives(accel: float = 2000.0, corner: float = 0.02, jerk: float = 0.0) -> Drives:
    three = np.full(3, accel)
    return Drives(three, np.full(3, jerk), np.full(3, 400.0), 400.0, corner, 0.0, 0.0, 0.0, 10000.0, False)


def lines(points: np.ndarray, feed: float) -> MoveList:
    rows = np.zeros(len(points) - 1, dtype=MOVE)
    rows["kind"], rows["feed_mm_per_s"], rows["tool"] = Kind.LINE, feed, 1
    rows["start_mm"], rows["end_mm"] = points[:-1], points[1:]
    states = np.zeros(1, dtype=STATE)
    states["path"] = 640
    return MoveList(
        moves=lock(rows),
        frames=lock(np.zeros(1, FRAME)),
        states=lock(states),
        calls=lock(np.zeros(0, CALL)),
        programs=(),
    )


def path(draw: random.Random, n: int) -> np.ndarray:
    steps = np.array([[draw.uniform(-9, 9), draw.uniform(-9, 9), draw.uniform(-2, 2)] for _ in range(n)])
    return np.concatenate([np.zeros((1, 3)), np.cumsum(steps, axis=0)])


def total(points: np.ndarray, feed: float, machine: Drives) -> float:
    return float(run_times(lines(points, feed), machine)[0].sum())


def test_never_faster_than_the_time_optimal_path(draw: random.Random) -> None:
    """Single straight moves at any feed: the library's optimum for the same axis limits, on a grid close at the ends."""
    from tests.laws.test_motion_paths import Course, optimum

    for _ in range(4):
        points = np.array([np.zeros(3), [draw.uniform(-60, 60) for _ in range(3)]])
        machine = drives()
        best = optimum(Course(points, np.zeros(2)), machine, np.array([1e9]))
        assert best * 0.999 <= total(points, 1e9, machine) <= best * 1.001


def test_more_acceleration_never_takes_longer(draw: random.Random) -> None:
    points = path(draw, 60)
    times = [total(points, 80.0, drives(accel=a)) for a in (500.0, 1000.0, 2000.0, 5000.0)]
    assert times == sorted(times, reverse=True)
    assert total(points, 80.0, drives(jerk=20000.0)) >= total(points, 80.0, drives())
    assert total(points, 80.0, drives(corner=0.0)) >= total(points, 80.0, drives(corner=0.05))


def test_splitting_a_line_changes_nothing(draw: random.Random) -> None:
    points = path(draw, 12)
    share = draw.uniform(0.2, 0.8)
    k = draw.randrange(len(points) - 1)
    middle = points[k] + share * (points[k + 1] - points[k])
    split = np.insert(points, k + 1, middle, axis=0)
    assert total(split, 50.0, drives()) == pytest.approx(total(points, 50.0, drives()), rel=1e-9)


def test_reversed_path_takes_as_long(draw: random.Random) -> None:
    points = path(draw, 40)
    assert total(points[::-1].copy(), 60.0, drives()) == pytest.approx(total(points, 60.0, drives()), rel=1e-9)


def test_compiled_and_plain_look_ahead_agree(draw: random.Random) -> None:
    n = 200
    h = np.array([draw.uniform(0.01, 5) for _ in range(n)])
    most = np.array([draw.uniform(5, 100) for _ in range(n)])
    a, j = np.full(n, 2000.0), np.full(n, draw.choice([0.0, 30000.0]))
    corner = np.array([0.0, *(draw.uniform(0, 60) for _ in range(n - 1)), 0.0])
    results = []
    for function in (look_ahead, getattr(look_ahead, "py_func", look_ahead)):
        out = np.zeros(n), np.zeros(n), np.zeros(n + 1)
        function(h, most, a, j, corner, *out)
        results.append(out)
    for one, two in zip(*results, strict=True):
        assert np.array_equal(one, two)
    assert (results[0][2] <= corner + 1e-12).all()


def test_corner_speeds_are_those_of_the_formula(draw: random.Random) -> None:
    from halfthou.physics.drive import corner_mm_per_s
    from halfthou.prove.motion import _blocks, _corners

    points = path(draw, 30)
    moves, machine = lines(points, 50.0), drives()
    rows, blocks = moves.moves, _blocks(moves.moves)
    got = _corners(rows, moves.states, blocks, np.arange(len(rows)), machine).speed
    for k in range(len(rows) - 1):
        a, b = blocks.last[k], blocks.first[k + 1]
        angle = np.arccos(np.clip(a @ b, -1, 1))
        square = (b - a * np.cos(angle)) / np.sin(angle)
        turn = np.linspace(0, angle, 4001)[:, None]
        share = np.abs(np.cos(turn) * square - np.sin(turn) * a).max()  # of one axis, anywhere on the rounding
        room = 0.5 * min(blocks.length[k], blocks.length[k + 1])
        want = corner_mm_per_s(float(machine.accel[0] / share), machine.corner_mm, float(np.cos(angle)), float(room))
        assert got[k + 1] == pytest.approx(want, rel=1e-5)
    assert got[0] == got[-1] == 0.0
