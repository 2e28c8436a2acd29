"""Laws of the contact search: what must not change, and what must change with it."""

import math
from dataclasses import replace

import numpy as np
import pytest

from halfthou.geometry.near import Legs, clearances
from halfthou.geometry.near_chain import pack_bodies, pack_tools
from halfthou.nouns.stock import Prism
from halfthou.prove.clash import contacts
from tests.unit.clash_scene import HERE, end_mill, scene

SEEDS = range(60)


def random_legs(rng, n=40):
    start, end = rng.uniform(-40, 40, (n, 3)), rng.uniform(-40, 40, (n, 3))
    centre = start + np.column_stack([rng.uniform(-15, 15, (n, 2)), np.zeros(n)])
    sweep = np.where(rng.random(n) < 0.5, rng.uniform(-6, 6, n), 0.0)
    for i in np.flatnonzero(sweep):
        v = start[i, :2] - centre[i, :2]
        c, s = math.cos(sweep[i]), math.sin(sweep[i])
        end[i, :2] = centre[i, :2] + [c * v[0] - s * v[1], s * v[0] + c * v[1]]
    none = np.zeros(n, dtype=np.int64)
    return Legs(
        row=np.arange(n), path=none.astype(np.uint8), tool=none, from_mm=start, to_mm=end, centre_mm=centre,
        normal=none + 2, sweep_rad=sweep,
    )  # fmt: skip


def random_body(rng):
    a = np.sort(rng.uniform(0, 2 * math.pi, 5))
    foot = np.column_stack([np.cos(a), np.sin(a)]) * rng.uniform(5, 20) + rng.uniform(-10, 10, 2)
    z = rng.uniform(-20, 10)
    return Prism(name="b", kind="clamp", footprint_mm=foot, low_z_mm=z, high_z_mm=z + rng.uniform(3, 30), place=HERE)


def least(legs, body, shift=(0, 0, 0), t=None):
    return clearances(
        legs, pack_tools([t or end_mill()]), pack_bodies([(body, 0, np.array(shift, float))]), keep_mm=1e9
    )[0]


@pytest.mark.parametrize("seed", SEEDS)
def test_turning_or_moving_the_whole_scene_changes_nothing(seed):
    rng = np.random.default_rng(seed)
    legs, body = random_legs(rng), random_body(rng)
    a = rng.uniform(0, 2 * math.pi)
    turn = np.array([[math.cos(a), -math.sin(a), 0], [math.sin(a), math.cos(a), 0], [0, 0, 1]])
    shift = rng.uniform(-300, 300, 3)
    moved = replace(
        legs, from_mm=legs.from_mm @ turn.T + shift, to_mm=legs.to_mm @ turn.T + shift,
        centre_mm=legs.centre_mm @ turn.T + shift,
    )  # fmt: skip
    there = replace(body, footprint_mm=body.footprint_mm @ turn[:2, :2].T)
    assert np.allclose(least(legs, body), least(moved, there, shift), atol=0.0013)


@pytest.mark.parametrize("seed", SEEDS)
def test_backwards_is_the_same_and_halves_are_the_whole(seed):
    rng = np.random.default_rng(1000 + seed)
    legs, body = random_legs(rng), random_body(rng)
    legs = replace(legs, sweep_rad=np.zeros(len(legs)))
    whole = least(legs, body)
    assert np.allclose(whole, least(replace(legs, from_mm=legs.to_mm, to_mm=legs.from_mm), body), atol=3e-4)
    at = legs.from_mm + rng.uniform(0, 1, (len(legs), 1)) * (legs.to_mm - legs.from_mm)
    halves = np.minimum(least(replace(legs, to_mm=at), body), least(replace(legs, from_mm=at), body))
    assert np.allclose(whole, halves, atol=3e-4)


@pytest.mark.parametrize("seed", SEEDS)
def test_clearance_changes_no_faster_than_the_tool_moves(seed):
    rng = np.random.default_rng(2000 + seed)
    legs, body = random_legs(rng), random_body(rng)
    by = rng.normal(0, 1, 3)
    moved = replace(legs, from_mm=legs.from_mm + by, to_mm=legs.to_mm + by, centre_mm=legs.centre_mm + by)
    a, b = least(legs, body), least(moved, body)
    assert np.max(np.abs(a - b)[a < 1e29]) <= np.linalg.norm(by) + 0.0015


@pytest.mark.parametrize("seed", SEEDS)
def test_a_bigger_body_is_never_further_away(seed):
    rng = np.random.default_rng(3000 + seed)
    legs, body = random_legs(rng), random_body(rng)
    middle = body.footprint_mm.mean(axis=0)
    big = replace(body, footprint_mm=middle + 1.2 * (body.footprint_mm - middle), high_z_mm=body.high_z_mm + 1)
    assert np.all(least(legs, big) <= least(legs, body) + 0.0013)


def run(path, **more):
    s = scene([end_mill(d=6, edge=6, out=18, holder=30)], path, low=(0, 0, -15), high=(50, 40, 0), **more)
    found = contacts(s.moves, s.sweeps, s.job, 0, (), shifts=s.shifts, rapid_path="straight")[0]
    return {(f.code, f.move, f.part): (f.amount.best if f.amount else None) for f in found}


def random_path(rng, deepest=-12.0):
    path = [("G0", -10.0, 20.0, 10.0)]
    for _ in range(6):
        x, y, z = path[-1][1:]
        to = rng.choice(3)
        x, y, z = (x, y, rng.uniform(deepest, 5)) if to == 0 else (rng.uniform(-5, 55), rng.uniform(-5, 45), z)
        path.append((str(rng.choice(["G0", "G1"])), float(x), float(y), float(z)))
    return path


@pytest.mark.parametrize("seed", range(25))
def test_a_work_offset_changes_no_finding(seed):
    path = random_path(np.random.default_rng(seed))
    here, there = run(path), run(path, at=(-311.37, 205.11, -47.93))
    assert here.keys() == there.keys()
    for key, amount in here.items():
        assert amount == pytest.approx(there[key], rel=0.03, abs=0.01)


@pytest.mark.parametrize("seed", range(25))
def test_repeating_a_program_of_feed_moves_adds_no_contact(seed):
    """What ran once without a contact finds nothing in its way the second time, at feed or at rapid."""
    rng = np.random.default_rng(100 + seed)
    once = [("G1", *step[1:]) if step[0] == "G0" and i else step for i, step in enumerate(random_path(rng, -5.9))]
    back = ("G0", once[-1][1], once[-1][2], 30.0)
    fast = [("G0", *step[1:]) for step in once[1:]]
    home = [("G0", once[0][1], once[0][2], 30.0), once[0]]
    assert run([*once, back]) == {}  # 6 mm of edge, at most 5.9 deep
    assert run([*once, back, *home, *fast]) == {}
