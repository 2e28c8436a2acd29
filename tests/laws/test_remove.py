"""Laws of removal: volume balance, states in between, threads, turn-overs, shifts, order; seeds are drawn and printed."""

import random

import numpy as np
import pytest

from halfthou.nouns.frame import TurnOver
from halfthou.prove.remove_raw import turned_over
from tests.unit.remove_scene import ball, bull, cut, flat, random_path


@pytest.fixture
def draw() -> random.Random:
    seed = random.SystemRandom().randrange(10**9)
    print(f"seed {seed}")
    return random.Random(seed)


def tool_of(draw: random.Random):
    return draw.choice([flat(8), ball(6), bull(10, 1.5)])


def rest(record) -> float:
    return float((record.spans["high_mm"] - record.spans["low_mm"]).sum()) * record.grid.pitch_mm**2


def same(a, b) -> bool:
    return np.array_equal(a.first, b.first) and a.spans.tobytes() == b.spans.tobytes()


def test_what_is_removed_and_what_is_left_make_the_stock(draw: random.Random) -> None:
    for _ in range(4):
        done = cut([tool_of(draw)], random_path(draw, 25), pitch=0.5)
        balance = rest(done.start) - float(done.removed["mm3"].sum()) - rest(done.record)
        assert abs(balance) < 1e-6 * rest(done.start)
        assert (done.removed["rays"] > 0).any()


def test_state_in_between_is_the_run_cut_off_there(draw: random.Random) -> None:
    tool, path = tool_of(draw), random_path(draw, 40)
    done = cut([tool], path, pitch=0.5)
    for row in sorted(draw.sample(range(1, len(path)), 5)):
        short = cut([tool], path[: row + 1], pitch=0.5)
        assert same(done.state_at(row), short.record), row


def test_any_number_of_threads_gives_the_same_bytes(draw: random.Random) -> None:
    tool, path = tool_of(draw), random_path(draw, 30)
    runs = [cut([tool], path, pitch=0.5, threads=n) for n in (1, 2, 3)]
    for other in runs[1:]:
        assert same(runs[0].record, other.record)
        assert runs[0].removed.tobytes() == other.removed.tobytes()
        assert runs[0].engaged.tobytes() == other.engaged.tobytes()


@pytest.mark.parametrize(
    ("turn", "times"),
    [(((1, 0, 0), (0, -1, 0), (0, 0, -1)), 2), (((-1, 0, 0), (0, 1, 0), (0, 0, -1)), 2), (((0, -1, 0), (1, 0, 0), (0, 0, 1)), 4)],
)  # fmt: skip
def test_turning_over_and_back_changes_no_bit(turn, times: int, draw: random.Random) -> None:
    done = cut([tool_of(draw)], random_path(draw, 25), pitch=0.3)
    over = TurnOver(turn=turn, shift_mm=(1.1, 2.2, 3.3))
    now = done.record
    for _ in range(times):
        now = turned_over(now, over, 0, 0)
        assert now.grid.nx * now.grid.ny == done.record.grid.nx * done.record.grid.ny
    assert same(now, done.record)
    assert now.grid.low_mm == done.record.grid.low_mm
    assert rest(turned_over(done.record, over, 0, 0)) == pytest.approx(rest(done.record), rel=1e-12)


def test_a_work_offset_changes_nothing_but_the_table_frame(draw: random.Random) -> None:
    tool, path = tool_of(draw), random_path(draw, 20)
    plain = cut([tool], path, pitch=0.5)
    moved = cut([tool], path, pitch=0.5, at=(-320.0, -256.0, -384.0))
    assert np.array_equal(plain.record.first, moved.record.first)
    assert np.allclose(plain.record.spans["high_mm"], moved.record.spans["high_mm"], atol=1e-9)


def test_order_of_cuts_does_not_change_the_shape(draw: random.Random) -> None:
    cuts = []
    for _ in range(12):
        x, y, z = draw.uniform(0, 100), draw.uniform(0, 60), draw.uniform(-9, -1)
        cuts.append([("G0", x, y, 30.0), ("G1", x, y, z), ("G1", draw.uniform(0, 100), draw.uniform(0, 60), z)])
    shapes = []
    for _ in range(2):
        path = [("T", 0), ("G0", 0, 0, 40)]
        for one in cuts:
            path += [("G0", *path[-1][1:3], 40.0), ("G0", one[0][1], one[0][2], 40.0), *one]
        shapes.append(cut([bull(8, 1)], path, pitch=0.5).record)
        draw.shuffle(cuts)
    assert np.array_equal(shapes[0].first, shapes[1].first)
    assert np.abs(shapes[0].spans["high_mm"] - shapes[1].spans["high_mm"]).max() < 2e-5


def test_rays_points_and_columns_agree(draw: random.Random) -> None:
    done = cut([tool_of(draw)], random_path(draw, 30), pitch=0.5)
    grid, record = done.record.grid, done.record
    rays = np.array(draw.sample(range(grid.nx * grid.ny), 300))
    x = grid.low_mm[0] + (rays // grid.ny + 0.5) * grid.pitch_mm
    y = grid.low_mm[1] + (rays % grid.ny + 0.5) * grid.pitch_mm
    first, spans = done.columns(x, y)
    for k, ray in enumerate(rays.tolist()):
        own = record.spans[record.first[ray] : record.first[ray + 1]]
        assert own.tobytes() == spans[first[k] : first[k + 1]].tobytes()
    z = np.array([draw.uniform(-20, 0) for _ in rays])
    hold = np.array(
        [any(s["low_mm"] < z[k] < s["high_mm"] for s in spans[first[k] : first[k + 1]]) for k in range(len(rays))]
    )
    close = np.array(
        [
            min((abs(s[e] - z[k]) for s in spans[first[k] : first[k + 1]] for e in ("low_mm", "high_mm")), default=9.0)
            for k in range(len(rays))
        ]
    )
    clear = close > 2e-5
    assert np.array_equal(done.inside(np.stack([x, y, z], axis=1))[clear], hold[clear])
