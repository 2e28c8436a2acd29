"""Volumes against closed forms: the refined one within 0.1 % of what was cut, the plain count within its bound."""

import math
import random

import pytest

from halfthou.prove.remove_volume import volume_of
from tests.unit.remove_scene import ball, cone, cut, flat

STOCK = 100 * 60 * 20
HALF = 0.5


def slot(draw):
    d, depth, length, turn = draw.uniform(3, 12), draw.uniform(1, 9), draw.uniform(10, 40), draw.uniform(0, math.pi)
    x, y = draw.uniform(48, 52), draw.uniform(28, 32)
    dx, dy = HALF * length * math.cos(turn), HALF * length * math.sin(turn) * 0.5
    length = 2 * math.hypot(dx, dy)
    path = [("G0", x - dx, y - dy, 30), ("G1", x - dx, y - dy, -depth), ("G1", x + dx, y + dy, -depth)]
    return flat(d), path, depth * (d * length + math.pi * d * d / 4)


def hole(draw):
    d, depth = draw.uniform(2, 12), draw.uniform(3, 15)
    x, y = draw.uniform(20, 80), draw.uniform(15, 45)
    point = d / 2 / math.tan(math.radians(59))
    volume = math.pi * d * d / 4 * (depth - point) + math.pi * d * d / 4 * point / 3 if depth > point else 0
    return cone(d, 118, kind="drill"), [("G0", x, y, 30), ("G1", x, y, -depth)], volume


def groove(draw):
    d, length = draw.uniform(3, 10), draw.uniform(10, 50)
    r = d / 2
    depth = draw.uniform(0.2, 0.95) * r
    x, y = draw.uniform(20, 40), draw.uniform(20, 40)
    area = r * r * math.acos(1 - depth / r) - (r - depth) * math.sqrt(2 * r * depth - depth * depth)
    cap = math.pi * depth * depth * (3 * r - depth) / 3
    return ball(d), [("G0", x, y, 30), ("G1", x, y, -depth), ("G1", x + length, y, -depth)], area * length + cap


def countersink(draw):
    depth = draw.uniform(1, 5)
    x, y = draw.uniform(20, 80), draw.uniform(15, 45)
    return cone(12, 90), [("G0", x, y, 30), ("G1", x, y, -depth)], math.pi * depth**3 / 3


SHAPES = (slot, hole, groove, countersink)


def measured(draw, shape, levels=4, pitch=0.25):
    tool, path, want = shape(draw)
    if want <= 0:
        return None
    exact, plain = volume_of(cut([tool], [("T", 0), *path], pitch=pitch), levels)
    return want, exact, plain


@pytest.mark.parametrize("shape", SHAPES)
def test_refined_volume_is_within_a_thousandth(shape) -> None:
    seed = random.SystemRandom().randrange(10**9)
    print(f"seed {seed}")
    draw = random.Random(seed)
    for _ in range(3):
        got = measured(draw, shape)
        if got is None:
            continue
        want, exact, _plain = got
        assert abs(STOCK - exact.best - want) <= 1e-3 * want
        assert abs(STOCK - exact.best - want) <= exact.bound


def plain_cases(count: int) -> None:
    seed = random.SystemRandom().randrange(10**9)
    print(f"seed {seed}")
    draw, widths = random.Random(seed), []
    for k in range(count):
        got = measured(draw, SHAPES[k % len(SHAPES)], levels=0)
        if got is None:
            continue
        want, _exact, plain = got
        assert abs(STOCK - plain.best - want) <= plain.bound, (k, SHAPES[k % len(SHAPES)].__name__)
        widths.append(plain.bound / want)
    widths.sort()
    print(f"median width of the bound {widths[len(widths) // 2]:.3f} of what was cut")
    assert widths[len(widths) // 2] < 0.35


def test_plain_count_is_within_its_bound() -> None:
    plain_cases(40)


@pytest.mark.slow
def test_plain_count_is_within_its_bound_on_1000_cases() -> None:
    plain_cases(1000)


def test_sinks_cut_in_half_by_a_side_of_the_stock_that_lies_on_no_grid_line() -> None:
    """Middles of cells would all lie equally far from that side: the error of one would be that of all."""
    seed = random.SystemRandom().randrange(10**9)
    print(f"seed {seed}")
    draw = random.Random(seed)
    for _ in range(4):
        side, depth = draw.uniform(-0.3, 0.3), draw.uniform(1, 5)
        path = [("T", 0), ("G0", side, 30, 30), ("G1", side, 30, -depth)]
        removal = cut([cone(12, 90)], path, low=(side, 0, -20), high=(100, 60, 0), pitch=0.25)
        removed = (100 - side) * 60 * 20 - volume_of(removal)[0].best
        assert removed == pytest.approx(math.pi * depth**3 / 6, rel=1e-3)
