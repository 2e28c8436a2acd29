"""Laws of a part turned between cuts: there and back changes nothing; a cut at an angle is the cut on a turned part."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from halfthou.base.table import lock
from halfthou.nouns.frame import TurnOver
from halfthou.nouns.machine import Rotary
from halfthou.nouns.stock import Stock
from halfthou.prove.engaged import engagement
from halfthou.prove.remove import Removal, remove
from halfthou.prove.remove_point import turned_normal
from halfthou.prove.remove_turned import remove_turned
from halfthou.prove.remove_volume import volume_of
from halfthou.prove.turning import matrix, pose_at, stretches_of
from tests.unit.clash_scene import scene
from tests.unit.remove_scene import ball, flat

SHIFT_YZ = (0.0, -10.0)  # the centre line of the tests, program coordinates (no work offset)
AT_90 = TurnOver(turn=((1, 0, 0), (0, 0, -1), (0, 1, 0)), shift_mm=(0.0, -10.0, -10.0), words="90 about X")
SLOT = [("G0", 30.0, -40.0, 60.0), ("G0", 30.0, -40.0, 5.0), ("G1", 30.0, 40.0, 5.0), ("G0", 30.0, 40.0, 60.0)]
ROUND = [
    ("G0", 60.0, -8.0, 60.0),
    ("G1", 60.0, -8.0, 6.0),
    ("G3", 60.0, 12.0, 6.0, 60.0, 2.0),
    ("G0", 60.0, 12.0, 60.0),
]
RAMP = [("G0", 10.0, -4.0, 60.0), ("G1", 10.0, -4.0, 8.0), ("G1", 50.0, 7.0, 3.0), ("G0", 50.0, 7.0, 60.0)]
LOW, HIGH = (0, -20, -30), (80, 20, 10)


def rotary(centre=SHIFT_YZ, axis="A", left=False) -> Rotary:
    return Rotary(axis=axis, centre_mm=centre, left_handed=left)


def turned(paths, degrees, *, axis=None, tools=None, pitch=0.5, first_row=0) -> Removal:
    """Each path cut at its angle."""
    whole = [("T", 0), *[move for path in paths for move in path]]
    made = scene(tools or [ball(10.0)], whole, low=LOW, high=HIGH)
    angles = np.concatenate([[0.0], *[[d] * len(p) for p, d in zip(paths, degrees, strict=True)]])
    rows = made.moves.moves.copy()
    assert len(rows) == len(angles)
    own = axis or rotary()
    rows["turn_rad"][:, "AB".index(own.axis)] = np.radians(angles)
    job = replace(made.job, machine=replace(made.job.machine, rotary=own))
    return remove_turned(
        replace(made.moves, moves=lock(rows)), made.sweeps, job, 0, 0, shift_mm=made.shifts[0], pitch_mm=pitch,
        first_row=first_row,
    )  # fmt: skip


def spots(n=10_000, seed=3):
    return np.random.default_rng(seed).uniform(np.array(LOW) - 1, np.array(HIGH) + 1, (n, 3))


def columns(removal: Removal, n=400):
    draw = np.random.default_rng(5)
    x, y = draw.uniform(0.0, 80.0, n), draw.uniform(-20.0, 20.0, n)
    shift = removal.shift_mm
    first, spans = removal.columns(x - shift[0], y - shift[1])
    return first, np.stack([spans["low_mm"], spans["high_mm"]], axis=1) + shift[2], spans


def test_a_whole_turn_in_three_steps_changes_no_column() -> None:
    still = turned([SLOT, ROUND], [0, 0])
    steps = turned([SLOT, ROUND, RAMP[:1], RAMP[:1], RAMP[:1]], [0, 0, 120, 240, 360])
    assert not still.stretches
    assert len(steps.stretches) == 4
    (a_first, a, _), (b_first, b, _) = columns(still), columns(steps)
    np.testing.assert_array_equal(a_first, b_first)
    assert float(np.abs(a - b).max()) < 0.002
    rays = np.abs(
        np.stack([still.record.spans[k] for k in ("low_mm", "high_mm")])
        - np.stack([steps.record.spans[k] for k in ("low_mm", "high_mm")])
    )
    assert float(rays.max()) < 0.002
    assert steps.record.grid.low_mm == still.record.grid.low_mm


@pytest.mark.parametrize("path", [SLOT, ROUND, RAMP])
def test_a_cut_at_90_is_the_cut_on_a_part_turned_over(path) -> None:
    made = turned([SLOT, path], [0, 90])
    base = scene([ball(10.0)], [("T", 0), *SLOT], low=LOW, high=HIGH)
    first = remove(base.moves, base.sweeps, base.job, 0, 0, shift_mm=base.shifts[0], pitch_mm=0.5)
    after = scene([ball(10.0)], [("T", 0), *path], low=LOW, high=HIGH)
    place = replace(after.job.ops[0].places[0], stock=Stock(kind="from", from_op=0, from_place=0, turn_over=AT_90))
    job = replace(after.job, ops=(replace(after.job.ops[0], places=(place,)),))
    second = remove(
        after.moves,
        after.sweeps,
        job,
        0,
        0,
        shift_mm=after.shifts[0],
        pitch_mm=0.5,
        before=first,
        first_row=len(base.moves.moves),
    )
    points = spots()
    over = points @ AT_90.matrix().T + np.array(AT_90.shift_mm)
    np.testing.assert_array_equal(made.inside(points), second.inside(over))
    (_, a), (_, b) = volume_of(made), volume_of(second)
    assert abs(a.best - b.best) <= a.bound + b.bound
    # rows: the tool stands in row 0 of each, so rows of the second are one further on
    both = made.makers(points[:200]), second.makers(over[:200])
    np.testing.assert_array_equal(np.where(both[0] > 4, both[0] + 1, both[0]), both[1])


@pytest.mark.parametrize(("axis", "left"), [("A", False), ("A", True), ("B", False)])
def test_any_angle_by_the_tool_turned_instead(axis, left) -> None:
    """Points inside by plain membership: swept by a flat tool along a line, asked in the turned coordinates."""
    own = rotary((0.0, -10.0) if axis == "A" else (40.0, -10.0), axis, left)
    degrees = [0.0, 37.0, 200.0]
    paths = [
        SLOT,
        [("G0", 25.0, 0.0, 70.0), ("G1", 25.0, 0.0, 1.0), ("G1", 45.0, 5.0, 1.0), ("G0", 45.0, 5.0, 70.0)],
        RAMP,
    ]
    made = turned(paths, degrees, axis=own, tools=[flat(8.0)])
    points = spots(4000)
    solid = np.all((points > LOW) & (points < HIGH), axis=1)
    for path, angle in zip(paths, degrees, strict=True):
        pose = pose_at(own, math.radians(angle), np.zeros(3))
        at = points @ pose.turn.T + pose.shift_mm
        for a, b in pairwise(path):
            solid &= ~_in_flat(at, np.array(a[1:]), np.array(b[1:]), 4.0)
    assert np.count_nonzero(made.inside(points) != solid) == 0
    x, y = points[:, 0] - made.shift_mm[0], points[:, 1] - made.shift_mm[1]
    first, spans = made.columns(np.ascontiguousarray(x), np.ascontiguousarray(y))
    owner = np.repeat(np.arange(len(points)), np.diff(first))
    z = points[owner, 2] - made.shift_mm[2]
    by_column = np.bincount(owner[(z > spans["low_mm"]) & (z < spans["high_mm"])], minlength=len(points)) > 0
    np.testing.assert_array_equal(by_column, solid)


def _in_flat(p, a, b, r):
    """Whether points lie in what a flat tool of radius r and endless length sweeps from a to b, by fine sampling."""
    hit = np.zeros(len(p), dtype=bool)
    level, rise = (b - a)[:2], b[2] - a[2]
    length2 = float(level @ level)
    if length2 == 0:
        return (np.hypot(*(p[:, :2] - a[:2]).T) < r) & (p[:, 2] > min(a[2], b[2])) & (p[:, 2] < max(a[2], b[2]) + 60)
    # shares at which the axis is within r of the point: an interval of the line
    along = ((p[:, :2] - a[:2]) @ level) / length2
    off2 = ((p[:, :2] - a[:2] - along[:, None] * level) ** 2).sum(axis=1)
    half = np.sqrt(np.maximum(r * r - off2, 0.0) / length2)
    low, high = np.maximum(along - half, 0.0), np.minimum(along + half, 1.0)
    hit = (off2 < r * r) & (low < high)
    lowest = a[2] + rise * np.where(rise < 0, high, low)
    highest = a[2] + rise * np.where(rise < 0, low, high)
    return hit & (p[:, 2] > lowest) & (p[:, 2] < highest + 60)


def test_states_removed_and_rows() -> None:
    made = turned([SLOT, ROUND, RAMP], [0, 90, 33.0], first_row=7)
    assert len(made.removed) == len(made.moves.moves) == 13
    volume = float(made.removed["mm3"].sum())
    left = volume_of(made)[0]
    assert volume == pytest.approx(80 * 40 * 40 - left.best, rel=0.01)
    assert set(np.unique(made.engaged["move"])) <= {int(k) for k in 7 + np.flatnonzero(made.removed["mm3"] > 0)}
    points = spots(3000)
    shorter = turned([SLOT, ROUND], [0, 90], first_row=7)
    cut = made.cut_off(7 + 8)
    np.testing.assert_array_equal(cut.inside(points), shorter.inside(points))
    state = made.state_at(7 + 8)
    np.testing.assert_allclose(state.spans["high_mm"], shorter.record.spans["high_mm"], atol=0.002)
    np.testing.assert_array_equal(made.inside_before(points, 7 + 9), shorter.inside(points))
    assert len(made.state_at(6).spans) == 80 * 2 * 40 * 2


def test_normals_of_a_slot_at_an_angle() -> None:
    """Floor and walls of a flat tool's slot cut at 90: floor looks along +Y at rest turned back, walls along X."""
    made = turned([SLOT[:0], SLOT], [0, 90], tools=[flat(8.0)])
    # at A90 the floor is z = 5; centre line y 0, z -10: at rest y = z_at - (-10) = 15, and z = -10 - y_at
    found = made.surface_points(np.array([[30.0, 15.0 - 1e-9, 9.0]]))
    assert len(found.points) == 1
    walls = made.surface_points(np.array([[26.0 - 1e-6, 18.0, 10.0]]))
    assert len(walls.points) == 1
    own = made.stretches[1][1]
    zone, normal = turned_normal(made.stretches, 3, np.array([30.0, 15.0, 0.0]) - made.shift_mm, 1.0)
    assert zone == 2
    np.testing.assert_allclose(normal, [0.0, 1.0, 0.0], atol=1e-5)
    zone, normal = turned_normal(made.stretches, 3, np.array([26.0, 18.0, 0.0]) - made.shift_mm, 1.0)
    assert zone == 0
    np.testing.assert_allclose(normal, [1.0, 0.0, 0.0], atol=1e-5)
    assert own.first_row == 1


def test_points_carried_to_rest_and_the_arcs_round_the_tool() -> None:
    made = turned([SLOT, ROUND], [0, 90], tools=[flat(8.0)], first_row=3)
    points = np.array([[1.0, 2.0, 3.0], [1.0, 2.0, 3.0]])
    rest = made.at_rest(points, np.array([4, 9]))
    np.testing.assert_array_equal(rest[0], points[0])
    np.testing.assert_allclose(rest[1], [1.0, 13.0, -12.0], atol=1e-12)  # y = z_at + 10, z = -10 - y_at
    plain = scene([flat(8.0)], [("T", 0), *ROUND], low=(0, -20, -30), high=(80, 20, 10))
    own = remove(plain.moves, plain.sweeps, plain.job, 0, 0, shift_mm=plain.shifts[0], pitch_mm=0.5)
    # the part reaches up to z 10 at 90 too, and ROUND stays clear of the slot
    a = engagement(made, 3 + 7, share=0.5, height_mm=1.0)
    b = engagement(own, 3, share=0.5, height_mm=1.0)
    np.testing.assert_allclose(a.arcs_rad, b.arcs_rad, atol=1e-3)
    assert len(a.arcs_rad) == 1


def test_two_angles_then_turned_over_is_labelled_through() -> None:
    made = turned([SLOT, RAMP], [0, 90], tools=[flat(8.0)])
    back = scene([flat(8.0)], [("T", 0), ("G0", 5.0, 0.0, 70.0)], low=LOW, high=HIGH)
    place = replace(back.job.ops[0].places[0], stock=Stock(kind="from", from_op=0, from_place=0, turn_over=AT_90))
    job = replace(back.job, ops=(replace(back.job.ops[0], places=(place,)),))
    after = remove(
        back.moves, back.sweeps, job, 0, 0, shift_mm=back.shifts[0], pitch_mm=0.5, before=made,
        first_row=len(made.moves.moves),
    )  # fmt: skip
    points = spots(3000)
    over = points @ AT_90.matrix().T + np.array(AT_90.shift_mm)
    np.testing.assert_array_equal(made.inside(points), after.inside(over))
    # the slot's floor z 5 at rest now looks along -Y, at y -15
    floor = np.array([[30.0, 5.0, 5.0]]) @ AT_90.matrix().T + np.array(AT_90.shift_mm)
    assert after.makers(floor).tolist() == [3]
    zone, normal = turned_normal(after._chain(), 3, floor[0] - after.shift_mm, 1.0)
    assert zone == 2
    np.testing.assert_allclose(normal, [0.0, -1.0, 0.0], atol=1e-5)


def test_stretches() -> None:
    assert [(s.first, s.last) for s in stretches_of(np.radians([0, 0, 90, 90, 450, 10]))] == [(0, 2), (2, 5), (5, 6)]
    assert [(s.first, s.last) for s in stretches_of(np.radians([90.0]))] == [(0, 0), (0, 1)]
    quarter = matrix(rotary(), math.radians(90))
    np.testing.assert_array_equal(quarter @ np.array([0.0, 1.0, 0.0]), [0.0, 0.0, 1.0])
    np.testing.assert_array_equal(
        matrix(rotary(axis="B"), math.radians(90)) @ np.array([0.0, 0.0, 1.0]), [1.0, 0.0, 0.0]
    )
