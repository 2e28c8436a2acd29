"""Third operations on parts that lay on their side, against a slow judge that asks dense points of material.

The judge imports nothing of the search: cutters are cylinders here, so a point is cut when it is nearer to a straight
leg than the radius, in the axes of that operation, and above the tip. The last rapid is set 0.05 … 0.3 mm into, or over,
what the judge finds under its footprint. The seed is drawn anew in each run and printed with what fails.
"""

import secrets

import numpy as np
import pytest

from halfthou.nouns.frame import TurnOver
from tests.unit.clash_chain import BACK_UP, ON_SIDE, asked, chain
from tests.unit.clash_scene import end_mill
from tests.unit.remove_scene import flat

BACK_AND_OVER = TurnOver(turn=((1, 0, 0), (0, 0, -1), (0, 1, 0)), shift_mm=(0.0, 0.0, -20.0), words="bottom up")
TOOLS = [flat(5), end_mill(2, d=6.0, edge=22.0, out=60.0, holder=20.0)]
CUT_R, R = 2.5, 3.0
STEP, RISE = 0.1, 0.02  # of the judge's columns and heights
CASES = 6  # each draws its own seed


def slots(draw, low, high, deep, n):
    """n straight level slots: (a, b, tip height)."""
    return [(draw.uniform(low, high), draw.uniform(low, high), draw.uniform(*deep)) for _ in range(n)]


def path_of(cuts):
    path = []
    for a, b, z in cuts:
        path += [("G0", *a, 9.0), ("G1", *a, z), ("G1", *b, z), ("G0", *b, 9.0)]
    return path


def from_leg(x, y, a, b):
    """Distance in the plane of points from a segment."""
    d = b - a
    t = np.clip(((x - a[0]) * d[0] + (y - a[1]) * d[1]) / max(float(d @ d), 1e-12), 0, 1)
    return np.hypot(x - a[0] - t * d[0], y - a[1] - t * d[1])


def material(x, y, z, one, two):
    """Which points, axes of the first operation, are left after both."""
    solid = (x > 0) & (x < 100) & (y > 0) & (y < 60) & (z > -20) & (z < 0)
    for a, b, tip in one:
        solid &= ~((from_leg(x, y, a, b) < CUT_R) & (z > tip))
    for a, b, tip in two:  # laid on its side: (x, -z, y - 60)
        solid &= ~((from_leg(x, -z, a, b) < CUT_R) & (y - 60 > tip))
    return solid


class Judge:
    """Points of material near the last rapid, axes of the third operation."""

    def __init__(self, a, b, one, two, flipped):
        self.a, self.b, self.one, self.two, self.flipped = a, b, one, two, flipped
        low, high = np.minimum(a, b) - R - 0.6, np.maximum(a, b) + R + 0.6
        x, y = np.meshgrid(np.arange(low[0], high[0], STEP), np.arange(low[1], high[1], STEP), indexing="ij")
        near = from_leg(x, y, a, b)
        keep = near < R + 0.5
        self.x, self.y, self.far = x[keep], y[keep], near[keep]
        self.z = np.arange(-20.0 if flipped else -9.0, 0.0, RISE) + 0.0137
        self.solid = self.inside(self.x[:, None], self.y[:, None], self.z[None, :])

    def inside(self, x, y, z):
        return (
            material(x, 60 - y, -20 - z, self.one, self.two) if self.flipped else material(x, y, z, self.one, self.two)
        )

    def top(self, radius):
        """Highest material within a radius of the rapid."""
        rows = self.solid[self.far < radius]
        has = rows.any(axis=0)
        return float(self.z[np.flatnonzero(has)[-1]]) if has.any() else None

    def gap(self, height):
        """Least distance of its points of material from the cutter, swept at that height."""
        aside = np.maximum(self.far - R, 0.0)[:, None]
        below = np.maximum(height - self.z, 0.0)[None, :]
        return float(np.where(self.solid, np.hypot(aside, below), np.inf).min())

    def holds(self, x, y, height):
        """Whether material stands over a point of the cutter's underside."""
        z = np.arange(height, 0.0, 1e-4)
        return bool(self.inside(np.full_like(z, x), np.full_like(z, y), z).any())


def met(one, two, a, b, height, turn):
    last = [("T", 1), ("G0", *a, 20.0), ("G0", *a, height), ("G0", *b, height), ("G0", *b, 20.0)]
    return asked(*chain(TOOLS, [(None, path_of(one)), (ON_SIDE, path_of(two)), (turn, last)]))


@pytest.mark.parametrize("case", range(CASES))
@pytest.mark.parametrize("flipped", [False, True])
def test_random_third_operation(case, flipped):
    seed = secrets.randbelow(2**31)
    print("seed", seed)
    draw = np.random.default_rng([seed, flipped])
    turn = BACK_AND_OVER if flipped else BACK_UP
    one = slots(draw, [28, 40], [72, 64], (-23 if draw.random() < 0.5 else -8, -1), 3)
    two = slots(draw, [28, 0], [72, 14], (-9, -2), 3)
    if draw.random() < 0.7:  # a slanted cut from the side takes the whole top off where the rapid runs
        edge = draw.uniform(17.5, 19.5, 2) if flipped else draw.uniform(0.5, 2.5, 2)
        two.append((np.array([20.0, edge[0]]), np.array([80.0, edge[1]]), -20.0))
    elif not flipped:  # or passes of the first operation, each at a height of its own
        one += [
            (np.array([20.0, y]), np.array([80.0, y + draw.uniform(-1, 1)]), draw.uniform(-3, -0.5))
            for y in range(40, 65, 3)
        ]
    shift = (lambda y: 60 - y) if flipped else (lambda y: y)
    a, b = draw.uniform([32, 46], [68, 63]), draw.uniform([32, 46], [68, 63])
    b = a + (b - a) * min(1.0, 16 / float(np.hypot(*(b - a))))
    a, b = np.array([a[0], shift(a[1])]), np.array([b[0], shift(b[1])])
    judge = Judge(a, b, one, two, flipped)
    inner = judge.top(R - 0.3)
    deep, over = draw.uniform(0.05, 0.3, 2)
    if inner is not None:
        found = met(one, two, a, b, inner - deep, turn)[0]
        stops = [f for f in found if f.code == "P211"]
        assert stops, f"seed {seed}: {deep:.3f} into {inner:.3f} was missed; {[f.code for f in found]}"
        assert stops[0].amount.best + stops[0].amount.bound >= min(deep, 0.3) - 0.005, seed
        x, y, z = stops[0].point_mm
        assert from_leg(x, y, a, b) < R and judge.holds(x, y, z), f"seed {seed}: no material at {x, y, z}"
    outer = judge.top(R + 0.4)
    height = over if outer is None else outer + RISE + over
    found, near, said = met(one, two, a, b, height, turn)
    for stop in (f for f in found if f.severity.name == "STOP"):
        x, y, z = stop.point_mm
        assert from_leg(x, y, a, b) < R and judge.holds(x, y, z), f"seed {seed}: false STOP at {x, y, z}"
    assert not any("known to" in line for line in said)
    if not found and outer is not None:
        gap = judge.gap(height)
        mine = near[(near["zone"] == 0) & (near["body"] == -1)]
        assert len(mine) == 1, seed
        low, bound = float(mine[0]["clearance_mm"]), float(mine[0]["bound_mm"])
        assert low <= gap + bound, f"seed {seed}: {low:.4f} said, a point lies at {gap:.4f}"
        assert gap - low <= bound + STEP + RISE, f"seed {seed}: {low:.4f} ± {bound:.4f} said, nearest point {gap:.4f}"
