"""Laws of comparing revisions: what is told is true on the rays, and what moved on the rays is told."""

import numpy as np
import pytest

from halfthou.nouns.frame import shifted
from halfthou.prove.remove import Removal
from halfthou.prove.revision_probe import Seen, Spots, surface_of
from halfthou.prove.revision_surface import Moved, compare_surfaces
from tests.unit.remove_scene import cut, flat

NONE = Spots(point_mm=np.zeros((0, 3)), way=np.zeros((0, 3)))
LOW, HIGH = (0, 0, -20), (40, 30, 0)


def path(passes: list[tuple[float, float, float, float, float]]) -> list:
    """Straight level passes: from (x, y) to (x, y) at a depth, with the tool lifted in between."""
    out = []
    for x0, y0, x1, y1, z in passes:
        out += [("rapid", (x0, y0, 5)), ("feed", (x0, y0, z)), ("feed", (x1, y1, z)), ("rapid", (x1, y1, 5))]
    return out


def made(passes: list[tuple[float, float, float, float, float]]) -> Removal:
    return cut([flat(8)], path(passes), low=LOW, high=HIGH, pitch=1.0)


def moved(now: Removal, before: Removal) -> Moved:
    a, b = Seen(removal=now, pose=shifted()), Seen(removal=before, pose=shifted())
    rays = np.zeros((0, 2))
    return compare_surfaces(a, b, surface_of(a, NONE, rays).spots, surface_of(b, NONE, rays).spots, None).moved


def tops(removal: Removal, xy: np.ndarray) -> np.ndarray:
    """Height of the highest material over points (program coordinates)."""
    local = xy - removal.shift_mm[:2]
    first, spans = removal.columns(np.ascontiguousarray(local[:, 0]), np.ascontiguousarray(local[:, 1]))
    return spans["high_mm"][first[1:] - 1] + removal.shift_mm[2]


@pytest.mark.parametrize("seed", range(6))
def test_told_is_true_and_what_moved_is_told(seed: int) -> None:
    draw = np.random.default_rng(seed)
    passes = [
        (*draw.uniform((2, 2), (38, 28)), *draw.uniform((2, 2), (38, 28)), -float(draw.uniform(1, 8))) for _ in range(5)
    ]
    k = int(np.argmin([p[4] for p in passes]))  # the deepest: nothing hides it
    by = (-0.3, -0.02, -0.004, 0.004, 0.05, 0.6)[seed]
    other = [(*p[:4], p[4] + by) if i == k else p for i, p in enumerate(passes)]
    now, before = made(other), made(passes)
    found = moved(now, before)
    floor = (found.way[:, 2] == 1.0) & np.isfinite(found.amount_mm)
    spots = found.point_mm[floor]
    true = tops(now, spots[:, :2]) - tops(before, spots[:, :2])
    assert found.amount_mm[floor] == pytest.approx(true, abs=2e-4)
    rays = draw.uniform((0.5, 0.5), (39.5, 29.5), (3000, 2))
    rise = tops(now, rays) - tops(before, rays)
    around = np.concatenate([rays + step for step in ((0.6, 0.6), (0.6, -0.6), (-0.6, 0.6), (-0.6, -0.6))])
    wide = (np.abs(tops(now, around) - tops(before, around)) > 2e-3).reshape(4, -1).all(axis=0)
    sure = rays[wide & (np.abs(rise) > 2e-3) & (np.abs(rise) < 4.9)]
    assert len(sure) > 50
    for spot in sure:
        assert np.hypot(*(spots[:, :2] - spot).T).min() < 1.5
    assert (np.abs(found.amount_mm[np.isfinite(found.amount_mm)]) > 1e-3).all()


@pytest.mark.parametrize("seed", range(3))
def test_the_other_way_round_has_the_other_sign(seed: int) -> None:
    draw = np.random.default_rng(100 + seed)
    passes = [(*draw.uniform((2, 2), (38, 28)), *draw.uniform((2, 2), (38, 28)), -3.0 - k) for k in range(3)]
    other = [(*p[:4], p[4] - 0.02) for p in passes]
    now, before = made(other), made(passes)
    one, two = moved(now, before), moved(before, now)
    assert len(one.amount_mm) == len(two.amount_mm) > 0
    a, b = np.sort(one.amount_mm), np.sort(-two.amount_mm)
    assert a == pytest.approx(b, abs=2e-4, nan_ok=True)
