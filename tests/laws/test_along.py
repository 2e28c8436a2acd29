"""Laws of parts laid on their side: lines against dense sampling of the same sweeps, volumes, four quarter turns."""

import random

import numpy as np
import pytest

from halfthou.nouns.frame import TurnOver
from halfthou.nouns.stock import Stock
from halfthou.prove.remove import ROUND_ABOUT
from halfthou.prove.remove_lines import along
from tests.unit.remove_scene import ball, bull, cone, cut, flat, random_path, tslot

QUARTER_X = ((1, 0, 0), (0, 0, -1), (0, 1, 0))
QUARTER_Y = ((0, 0, 1), (0, 1, 0), (-1, 0, 0))
TOOLS = {"flat": flat(8), "ball": ball(7), "bull": bull(12, 2), "cone": cone(10, 90, 1), "tslot": tslot(12, 6, 4)}


def over(turn, shift=(0.0, 0.0, 0.0)) -> Stock:
    return Stock(kind="from", from_op=0, from_place=0, turn_over=TurnOver(turn=turn, shift_mm=shift, words="quarter"))


@pytest.fixture
def draw(request) -> random.Random:
    seed = random.SystemRandom().randrange(10**9)
    print("seed", seed)
    return random.Random(seed)


def ends_by_asking(removal, origin, direction, step=0.02, far=140.0):
    """Interval ends by walking along the line in small steps and halving at each change."""
    t = np.arange(-far, far, step)

    def inside(at):
        return removal.inside(origin + np.asarray(at)[:, None] * direction + removal.shift_mm)

    hit = inside(t)
    change = np.flatnonzero(hit[1:] != hit[:-1])
    low, high, now = t[change], t[change + 1], hit[change]
    for _ in range(30):
        middle = (low + high) / 2
        same = inside(middle) == now
        low, high = np.where(same, middle, low), np.where(same, high, middle)
    return (low + high) / 2


@pytest.mark.parametrize("name", list(TOOLS))
def test_lines_of_any_direction(name, draw):
    """Every end found by walking is found, to the chord bound; extra ones only where the walk steps over slivers."""
    removal = cut([TOOLS[name]], random_path(draw, 15), pitch=0.5)
    bound = removal.record.error_mm + 0.0005 + 1e-6
    for _ in range(12):
        direction = np.array([draw.gauss(0, 1), draw.gauss(0, 1), draw.choice([0.0, draw.gauss(0, 1)])])
        direction /= np.linalg.norm(direction)
        origin = np.array([draw.uniform(5, 95), draw.uniform(5, 55), draw.uniform(-15, -0.5)])
        first, spans = along(removal, origin[None, :], direction)
        assert first.tolist() == [0, len(spans)]
        ends = np.stack([spans["low_mm"], spans["high_mm"]], axis=1)
        ends = ends[ends[:, 1] - ends[:, 0] > 0.05]
        gaps = ends[1:, 0] - ends[:-1, 1]
        if np.any(gaps < 0.05) or len(ends) < len(spans):
            continue  # slivers thinner than the walk's step
        walked = ends_by_asking(removal, origin, direction)
        if not ends.size or len(walked) != ends.size:  # the line only grazes something
            continue
        lean = 60 * bound  # a curve met at a small angle moves the end by bound / sin
        assert ends.ravel() == pytest.approx(walked, abs=lean)
        assert np.median(np.abs(ends.ravel() - walked)) <= 4 * bound


def nearly_inside(removal, points, near=0.0008):
    """Inside, or within the chord bound of it: a line that grazes an arc is moved far along itself by half a micrometre."""
    about = points[:, None, :] + near * ROUND_ABOUT[None, :, :]
    return removal.inside(points) | removal.inside(about.reshape(-1, 3)).reshape(len(points), -1).any(axis=1)


@pytest.mark.parametrize("turn", [QUARTER_X, QUARTER_Y])
@pytest.mark.parametrize("name", list(TOOLS))
def test_laid_on_its_side_is_the_same_solid(name, turn, draw):
    """Columns of the part on its side agree with asking points; its labels are moves of the first operation."""
    first = cut([TOOLS[name]], random_path(draw, 15), pitch=0.5)
    second = cut(
        [flat(6)], [("T", 0), ("G0", 500, 500, 90)], stock=over(turn, (7.0, 3.0, -2.0)), before=first, pitch=0.5
    )
    grid = second.record.grid
    x = np.array([draw.uniform(grid.low_mm[0], grid.low_mm[0] + grid.nx * 0.5) for _ in range(60)])
    y = np.array([draw.uniform(grid.low_mm[1], grid.low_mm[1] + grid.ny * 0.5) for _ in range(60)])
    rows, spans = second.columns(x, y)
    wrong = total = 0
    for k in range(60):
        for span in spans[rows[k] : rows[k + 1]]:
            if span["high_mm"] - span["low_mm"] < 0.01:
                continue
            inner = np.linspace(span["low_mm"] + 2e-3, span["high_mm"] - 2e-3, 7)
            points = np.stack([np.full(7, x[k]), np.full(7, y[k]), inner], axis=1) + second.shift_mm
            wrong += int((~nearly_inside(second, points)).sum())
            total += 7
            for label in (span["low_move"], span["high_move"]):
                assert -1 <= label < second.first_row
    assert total > 100 and wrong == 0


@pytest.mark.parametrize("turn", [QUARTER_X, QUARTER_Y])
def test_volume_and_four_quarters(turn, draw):
    """Volume of the records agrees to the pitch; after four quarter turns the columns are the old ones."""
    first = cut([TOOLS["flat"]], random_path(draw, 15), pitch=0.5)
    now = first
    volumes = []
    for _ in range(4):
        now = cut([flat(6)], [("T", 0), ("G0", 500, 500, 90)], stock=over(turn), before=now, pitch=0.5)
        spans = now.record.spans
        volumes.append(float((spans["high_mm"] - spans["low_mm"]).sum()) * 0.25)
    raw = 100 * 60 * 20
    assert volumes == pytest.approx([volumes[-1]] * 4, rel=0.01) and volumes[0] < raw
    x = np.array([draw.uniform(1, 99) for _ in range(40)])
    y = np.array([draw.uniform(1, 59) for _ in range(40)])
    a, b = first.columns(x, y), now.columns(x, y)
    long = [s[1][(s[1]["high_mm"] - s[1]["low_mm"]) > 0.01] for s in (a, b)]
    assert long[0]["low_mm"] == pytest.approx(long[1]["low_mm"], abs=0.005)
    assert long[0]["high_mm"] == pytest.approx(long[1]["high_mm"], abs=0.005)


def test_a_cut_from_the_side_meets_the_slot():
    """Slot 8 wide, 6 deep along X at y 30; laid on its side, a 4 mm drill from the old +Y face opens into it."""
    first = cut([flat(8)], [("T", 0), ("G0", -20, 30, 5), ("G1", -20, 30, -6), ("G1", 120, 30, -6)], pitch=0.25)
    # quarter turn about X: old y becomes new z, old z becomes -new y
    second = cut(
        [flat(4, number=2)], [("T", 0), ("G0", 50, 3, 80), ("G1", 50, 3, 32)], stock=over(QUARTER_X), before=first,
        pitch=0.25,
    )  # fmt: skip
    rows, spans = second.columns(np.array([50.0, 10.0, 50.0]), np.array([3.0, 3.0, 10.0]))
    found = [
        [(round(float(s["low_mm"]), 6), round(float(s["high_mm"]), 6)) for s in spans[rows[k] : rows[k + 1]]]
        for k in range(3)
    ]
    assert found == [[(0.0, 26.0)], [(0.0, 26.0), (34.0, 60.0)], [(0.0, 60.0)]]
    removed = float(second.removed["mm3"].sum())
    assert removed == pytest.approx(np.pi * 4 * 26, rel=0.05)
    maker = second.makers(np.array([[52.0, 3.0, 50.0], [20.0, 3.0, 34.0], [50.0, 6.0, 30.0]]))
    assert maker[0] == second.first_row + 2 and 0 <= maker[1] < second.first_row and 0 <= maker[2] < second.first_row
