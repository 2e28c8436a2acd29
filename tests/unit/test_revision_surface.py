"""Surfaces of two revisions compared: exactly what moved, by how much, and nothing else."""

import numpy as np
import pytest

from halfthou.nouns.frame import shifted
from halfthou.nouns.stock import Stock
from halfthou.prove.remove import Removal
from halfthou.prove.revision_probe import Seen, Spots, near_moves, surface_of
from halfthou.prove.revision_surface import Moved, compare_surfaces
from tests.unit.clash_scene import scene
from tests.unit.remove_scene import ball, cut, flat

NONE = Spots(point_mm=np.zeros((0, 3)), way=np.zeros((0, 3)))
LOW, HIGH = (0, 0, -20), (40, 30, 0)


def slot(z: float = -5.0, y: float = 15.0, x: float = 45.0) -> list:
    return [("rapid", (-10, y, 5)), ("rapid", (-10, y, z)), ("feed", (x, y, z)), ("rapid", (x, y, 5))]


def made(path: list, tools=None) -> Removal:
    return cut(tools or [flat(10)], path, low=LOW, high=HIGH, pitch=1.0)


def moved(now: Removal, before: Removal) -> Moved:
    a, b = Seen(removal=now, pose=shifted()), Seen(removal=before, pose=shifted())
    rays = np.zeros((0, 2))
    return compare_surfaces(a, b, surface_of(a, NONE, rays).spots, surface_of(b, NONE, rays).spots, None).moved


def test_the_same_moves_move_nothing() -> None:
    assert len(moved(made(slot()), made(slot())).point_mm) == 0
    split = [*slot(x=12.3)[:3], ("feed", (45, 15, -5)), ("rapid", (45, 15, 5))]
    assert len(moved(made(slot()), made(split)).point_mm) == 0


def test_a_floor_one_hundredth_deeper_is_that_floor_alone() -> None:
    found = moved(made(slot(-5.01)), made(slot(-5.0)))
    assert len(found.point_mm) > 100
    assert found.amount_mm == pytest.approx(-0.01, abs=1e-4)
    assert (found.way[:, 2] == 1.0).all()
    assert (np.abs(found.point_mm[:, 1] - 15) < 5).all()
    assert len(moved(made(slot(-5.0005)), made(slot(-5.0))).point_mm) == 0


def test_a_slot_moved_sideways_moves_both_walls() -> None:
    found = moved(made(slot(y=15.02)), made(slot(y=15.0)))
    assert (found.way[:, 2] == 0.0).all()
    upper = found.point_mm[:, 1] > 15
    assert found.amount_mm[upper] == pytest.approx(-0.02, abs=2e-4)
    assert found.amount_mm[~upper] == pytest.approx(0.02, abs=2e-4)
    assert upper.any()
    assert (~upper).any()


def test_a_wall_at_an_angle_is_measured_along_its_normal() -> None:
    def way(by: float) -> list:
        a, b = np.array([-10.0, -5.0 + by]), np.array([50.0, 40.0 + by])  # 3-4-5: sideways shift 0.8 of by
        return [("rapid", (*a, 5)), ("rapid", (*a, -5)), ("feed", (*b, -5)), ("rapid", (*b, 5))]

    found = moved(made(way(0.05)), made(way(0.0)))
    assert len(found.point_mm) > 20
    assert np.abs(found.amount_mm) == pytest.approx(0.04, abs=1e-3)


def test_a_hole_more_is_new_and_the_top_is_gone_there() -> None:
    hole = [("rapid", (20, 15, 5)), ("feed", (20, 15, -15)), ("rapid", (20, 15, 5))]
    found = moved(made(hole, [flat(6)]), made([("rapid", (20, 15, 5))], [flat(6)]))
    lost = found.point_mm[np.isnan(found.amount_mm) & ~found.first]
    fresh = found.point_mm[np.isnan(found.amount_mm) & found.first]
    assert len(lost) > 5
    assert len(fresh) > 5
    assert np.abs(lost[:, 2]).max() < 1e-9
    assert (np.hypot(found.point_mm[:, 0] - 20, found.point_mm[:, 1] - 15) < 3.001).all()


def test_a_round_floor_is_measured_along_its_normal() -> None:
    found = moved(made(slot(-5.01), [ball(10)]), made(slot(-5.0), [ball(10)]))
    level = found.way[:, 2] > 0.99
    side = np.clip(np.abs(found.point_mm[level, 1] - 15) / 5, 0, 0.8)
    own = found.amount_mm[level][side < 0.8]
    assert own == pytest.approx(-0.01 * np.sqrt(1 - side[side < 0.8] ** 2), abs=6e-4)


def test_more_stock_on_one_side_is_one_side() -> None:
    a = Stock(kind="box", low_mm=(0, 0, -20), high_mm=(40.5, 30, 0))
    now = cut([flat(10)], slot(), low=LOW, high=HIGH, pitch=1.0, stock=a)
    found = moved(now, made(slot()))
    assert found.amount_mm == pytest.approx(0.5, abs=2e-4)
    assert (found.way[:, 0] == 1.0).all()


def test_points_beside_changed_moves_lie_on_the_surface() -> None:
    removal = made(slot())
    drawn = scene([flat(10)], slot(), low=LOW, high=HIGH)
    walls, rays, count = near_moves(
        removal, drawn.sweeps, np.arange(len(drawn.sweeps)), drawn.shifts[0], drawn.job.tools
    )  # fmt: skip
    assert count > 0
    assert len(rays)
    assert len(walls.point_mm)
    assert removal.inside(walls.point_mm - 1e-4 * walls.way).all()
    assert not removal.inside(walls.point_mm + 1e-4 * walls.way).any()
