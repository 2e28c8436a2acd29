"""Turned profiles of tools: forms worked out by hand, and laws that hold for any measures that are let through."""

import math
import random

import numpy as np
import pytest

from halfthou.files.profile import Measures, cutting_problem, profile_of, round_outside
from halfthou.nouns.tool import KINDS, Zone

RIGHT = math.pi / 2


def made(**measures: object) -> tuple[np.ndarray, np.ndarray]:
    m = Measures(**{"stick_out_mm": 40.0, "gauge_length_mm": 100.0, "shank_diameter_mm": 10.0, **measures})  # type: ignore[arg-type]
    assert cutting_problem(m) == ""
    return profile_of(m)


def rows(profile: np.ndarray) -> list[tuple[float, float]]:
    return [(round(r, 9), round(z, 9)) for r, z in profile.tolist()]


def test_flat_end_mill_with_neck_holder_and_nose() -> None:
    profile, zone = made(kind="flat", diameter_mm=10.0, cutting_mm=20.0, neck_diameter_mm=9.0, neck_mm=10.0,
                         holder=((17.0, 17.0, 30.0), (17.0, 25.0, 10.0)), nose_diameter_mm=90.0, nose_length_mm=120.0)  # fmt: skip
    assert rows(profile) == [
        (0, 0), (5, 0), (5, 20), (4.5, 20), (4.5, 30), (5, 30), (5, 40), (17, 40), (17, 70), (25, 80), (25, 100),
        (45, 100), (45, 220),
    ]  # fmt: skip
    assert (
        zone.tolist() == [Zone.CUTTING] * 2 + [Zone.NECK] * 2 + [Zone.SHANK] * 2 + [Zone.HOLDER] * 4 + [Zone.NOSE] * 2
    )


def test_without_a_holder_the_shank_reaches_the_gauge_line() -> None:
    profile, zone = made(kind="flat", diameter_mm=10.0, cutting_mm=20.0)
    assert rows(profile)[-1] == (5, 100)
    assert set(zone.tolist()) == {Zone.CUTTING, Zone.SHANK}


def test_points_of_drill_spot_and_chamfer() -> None:
    drill, _ = made(kind="drill", diameter_mm=8.0, cutting_mm=30.0, point_rad=math.radians(118), shank_diameter_mm=8.0)
    assert rows(drill)[1] == (4, round(4 / math.tan(math.radians(59)), 9))
    chamfer, _ = made(kind="chamfer", diameter_mm=10.0, cutting_mm=6.0, point_rad=RIGHT, tip_diameter_mm=2.0)
    assert rows(chamfer)[:4] == [(0, 0), (1, 0), (5, 4), (5, 6)]
    flat, _ = made(kind="drill", diameter_mm=8.0, cutting_mm=30.0, point_rad=math.pi, shank_diameter_mm=8.0)
    assert rows(flat)[:3] == [(0, 0), (4, 0), (4, 30)]


def test_undercutting_tools_keep_their_neck() -> None:
    slot, zone = made(kind="tslot", diameter_mm=20.0, cutting_mm=5.0, neck_diameter_mm=8.0, neck_mm=25.0)
    assert rows(slot)[:6] == [(0, 0), (10, 0), (10, 5), (4, 5), (4, 30), (5, 30)]
    assert zone[2] == Zone.NECK
    dovetail, _ = made(
        kind="dovetail", diameter_mm=20.0, cutting_mm=6.0, point_rad=math.radians(60), shank_diameter_mm=8.0
    )
    assert rows(dovetail)[:3] == [(0, 0), (10, 0), (round(10 - 6 / math.tan(math.radians(60)), 9), 6)]


def test_probe_is_a_ball_on_a_stem() -> None:
    profile, zone = made(kind="probe", diameter_mm=6.0, cutting_mm=40.0, neck_diameter_mm=3.0)
    ball = profile[(profile[:, 1] > 0.01) & (profile[:, 1] < 5.5)]
    assert np.abs(np.hypot(ball[:, 0], ball[:, 1] - 3) - 3).max() < 0.00051
    assert profile[:, 0].max() == 3
    assert rows(profile)[-1] == (1.5, 100)
    assert set(zone.tolist()) == {Zone.STYLUS}


@pytest.mark.parametrize("corner", [0.05, 0.5, 3.0, 25.0])
def test_rounds_touch_and_are_nowhere_inside(corner: float) -> None:
    points = np.array(round_outside(2.0, corner))
    assert (points[0, 1], points[-1, 0]) == (0.0, pytest.approx(2 + corner))
    ends = np.concatenate([[[2.0, 0.0]], points, [[2 + corner, corner]]])
    t = np.linspace(0, 1, 50)[:, None, None]
    along = (ends[:-1] * (1 - t) + ends[1:] * t).reshape(-1, 2)
    off = np.hypot(along[:, 0] - 2, along[:, 1] - corner) - corner
    assert off.min() > -1e-9
    assert off.max() < 0.0005 + 1e-9


def test_laws_of_any_profile() -> None:
    """Tip at (0, 0), heights never fall, no empty piece, cutting part as wide as stated, top at gauge line or nose."""
    let_through = 0
    for seed in range(6000):
        pick = random.Random(seed)
        d, stick = pick.uniform(0.1, 80), pick.uniform(5, 150)
        holder = tuple(
            (pick.uniform(2, 40), pick.uniform(2, 40), pick.uniform(1, 60)) for _ in range(pick.randrange(4))
        )
        m = Measures(
            kind=pick.choice(KINDS), diameter_mm=d, corner_mm=pick.choice((0.0, pick.uniform(0, d))),
            point_rad=pick.uniform(0.5, math.pi), tip_diameter_mm=pick.choice((0.0, pick.uniform(0, d))),
            cutting_mm=pick.uniform(0.1, 80), neck_diameter_mm=pick.choice((None, pick.uniform(0.1, d))),
            neck_mm=pick.choice((0.0, pick.uniform(0, 60))), shank_diameter_mm=pick.uniform(0.5, 40), stick_out_mm=stick,
            gauge_length_mm=stick + pick.uniform(0, 200), holder=holder,
            nose_diameter_mm=pick.choice((None, 90.0)), nose_length_mm=100.0,
        )  # fmt: skip
        if cutting_problem(m):
            continue
        let_through += 1
        profile, zone = profile_of(m)
        r, z = profile.T
        assert (r[0], z[0]) == (0, 0), f"seed {seed}"
        assert (np.diff(z) >= 0).all(), f"seed {seed}"
        assert (r >= 0).all(), f"seed {seed}"
        assert (np.hypot(np.diff(r), np.diff(z)) > 0).all(), f"seed {seed}"
        assert len(zone) == len(profile) - 1, f"seed {seed}"
        cutting = np.isin(zone, (Zone.CUTTING, Zone.STYLUS))
        assert np.maximum(r[:-1], r[1:])[cutting].max() == pytest.approx(d / 2, abs=0.0006), f"seed {seed}"
        top = m.gauge_length_mm + (100 if m.nose_diameter_mm else 0)
        assert z[-1] == pytest.approx(top, abs=0.011), f"seed {seed}"
        assert (np.diff(zone[~cutting].astype(int)) >= 0).all(), f"seed {seed}"
    assert let_through > 300
