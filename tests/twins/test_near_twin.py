"""The fast clearance search against the slow one, on random scenes."""

import math

import numpy as np
import pytest

from halfthou.base.place import Place
from halfthou.geometry.near import Legs, clearances, position
from halfthou.geometry.near_chain import pack_bodies, pack_tools
from halfthou.nouns.stock import Prism
from halfthou.nouns.tool import Tool
from tests.twins.near_twin import least_clearance, parting_shift, path_points

pytestmark = pytest.mark.slow
STEP = 0.8


def random_scene(seed):
    rng = np.random.default_rng(seed)
    r = rng.uniform(1, 6)
    profile = [[0, 0], [r, 0 if rng.random() < 0.5 else r * 0.6]]
    for _ in range(rng.integers(1, 4)):
        profile.append([profile[-1][0], profile[-1][1] + rng.uniform(2, 8)])
        profile.append([rng.uniform(1, 9), profile[-1][1] + (0 if rng.random() < 0.6 else rng.uniform(0, 3))])
    profile.append([profile[-1][0], profile[-1][1] + 5])
    profile = np.array(profile, dtype=float)
    k = rng.integers(3, 7)
    a = np.sort(rng.uniform(0, 2 * math.pi, k))
    if np.max(np.diff(np.append(a, a[0] + 2 * math.pi))) > 3.0:
        a = np.arange(k) * 2 * math.pi / k
    foot = np.column_stack([rng.uniform(3, 12) * np.cos(a), rng.uniform(3, 12) * np.sin(a)])
    z0 = rng.uniform(-10, 5)
    z1 = z0 + rng.uniform(2, 20)
    start, end = rng.uniform(-25, 25, 3), rng.uniform(-25, 25, 3)
    centre, normal, sweep = np.zeros(3), int(rng.integers(0, 3)), 0.0
    if rng.random() < 0.5:
        centre = start + rng.uniform(-10, 10, 3)
        sweep = float(rng.uniform(-7, 7))
        b, c = (normal + 1) % 3, (normal + 2) % 3
        angle = math.atan2(start[c] - centre[c], start[b] - centre[b]) + sweep
        radius = math.hypot(start[b] - centre[b], start[c] - centre[c]) * rng.uniform(0.8, 1.2)
        end[b], end[c] = centre[b] + radius * math.cos(angle), centre[c] + radius * math.sin(angle)
    return profile, foot, z0, z1, start, end, centre, normal, sweep


def fast(profile, foot, z0, z1, start, end, centre, normal, sweep):
    here = Place(file="")
    zone = np.zeros(len(profile) - 1, dtype=np.uint8)
    tool = Tool(number=1, name="", kind="flat", diameter_mm=1.0, profile_mm=profile, zone=zone, place=here)
    body = Prism(name="b", kind="clamp", footprint_mm=foot, low_z_mm=z0, high_z_mm=z1, place=here)
    legs = Legs(
        row=np.zeros(1, dtype=np.int64), path=np.zeros(1, dtype=np.uint8), tool=np.zeros(1, dtype=np.int64),
        from_mm=start[None], to_mm=end[None], centre_mm=centre[None], normal=np.array([normal], dtype=np.int64),
        sweep_rad=np.array([sweep]),
    )  # fmt: skip
    out, at = clearances(legs, pack_tools([tool]), pack_bodies([(body, 0, np.zeros(3))]), keep_mm=1e9)
    return float(out[0, 0, 0]), position(0, legs, float(at[0, 0, 0]))


@pytest.mark.parametrize("seed", range(16))
def test_random_scene(seed):
    scene = random_scene(seed)
    profile, foot, z0, z1, *move = scene
    value, tip = fast(*scene)
    slow = least_clearance(profile, path_points(*move, step=STEP), foot, z0, z1, STEP)
    if value > 0:  # the slow one samples: it can only be above, by half a step of path and one of the surface
        assert -0.002 <= slow - value <= 1.5 * STEP
    else:  # the deepest point is never deeper than the parting shift
        assert slow >= value - 0.002
        piece = parting_shift(profile, tip, foot, z0, z1, STEP, directions=40)
        assert piece >= -value - STEP  # all pieces together need at least what the worst one needs


@pytest.mark.parametrize("seed", range(100, 103))
def test_parting_shift_of_one_convex_piece(seed):
    rng = np.random.default_rng(seed)
    *_, foot, z0, z1, _, _, _, _, _ = random_scene(seed)
    r = rng.uniform(2, 8)
    profile = np.array([[0, 0], [r * 0.5, 0], [r, r * 0.7], [r, 12.0]])
    tip = np.array([*(rng.uniform(-4, 4, 2)), rng.uniform(z0 - 4, z1)])
    value, _ = fast(profile, foot, z0, z1, tip, tip, np.zeros(3), 2, 0.0)
    if value >= 0:
        pytest.skip("apart")
    slow = parting_shift(profile, tip, foot, z0, z1, 0.25, directions=400)
    assert slow == pytest.approx(-value, abs=0.6)
