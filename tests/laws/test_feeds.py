"""Suggested feeds: with the feeds put in, the loads worked out anew reach the binding limit and pass none.

The tiny job is run once; shop, tools and limits are then changed on what was found.
"""

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from halfthou.files.job import load_job
from halfthou.flow.feeds import case_of, load_run
from halfthou.flow.prove import Proved, ProveOptions, prove_loaded
from halfthou.nouns.feeds import Feeds, FeedSuggestion
from halfthou.nouns.job import Job
from halfthou.nouns.material import Band, Cutting, LifeLine
from halfthou.physics.spindle import curve_at
from halfthou.prove.feed_limits import BLIND_RATIO, MOST_RATIO, FeedCase, Steady
from halfthou.prove.feeds import scaled, suggest
from halfthou.prove.loads import LoadRun, loads_of
from tests.jobs.feed_job import write

MILL, DRILL, TAP = (0, 1), (0, 2), (0, 3)


@pytest.fixture(scope="module")
def proved(tmp_path_factory: pytest.TempPathFactory) -> Proved:
    folder = write(tmp_path_factory.mktemp("feeds"))
    return prove_loaded(load_job(folder), ProveOptions(pitch_mm=0.5, what_if=False))


@pytest.fixture(scope="module")
def base(proved: Proved) -> FeedCase:
    return case_of(proved.run, load_run(proved), 10.0)  # bending out of the way


def with_(case: FeedCase, job: Job | None = None, cutting: Cutting | None = None, **fields: object) -> FeedCase:
    """The case with another job or material, its loads worked out anew."""
    job = job or case.job
    timing = np.zeros(len(case.moves.moves), dtype=[("start_s", "f8"), ("dur_s", "f8")])
    timing["dur_s"] = 1.0
    loads = loads_of(case.engaged, case.moves, timing, job, cutting or case.loads.cutting, case.loads.pitch_mm)
    return replace(case, job=job, loads=loads, **fields)  # type: ignore[arg-type]


def tool(case: FeedCase, number: int, **fields: object) -> Job:
    own = tuple(replace(t, **fields) if t.number == number else t for t in case.job.tools)  # type: ignore[arg-type]
    return replace(case.job, tools=own)


def spindle(case: FeedCase, **fields: object) -> Job:
    machine = case.job.machine
    return replace(case.job, machine=replace(machine, spindle=replace(machine.spindle, **fields)))  # type: ignore[arg-type]


def of(feeds: Feeds, key: tuple[int, int]) -> FeedSuggestion:
    return next(s for s in feeds.suggestions if (s.op, s.tool) == key)


def loads_after(case: FeedCase, feeds: Feeds) -> LoadRun:
    ratios = {(s.op, s.tool): (s.feed_ratio, s.speed_ratio) for s in feeds.suggestions if not s.leave}
    moves = scaled(case.moves, ratios)
    timing = np.zeros(len(moves.moves), dtype=[("start_s", "f8"), ("dur_s", "f8")])
    return loads_of(case.engaged, moves, timing, case.job, case.loads.cutting, case.loads.pitch_mm)


def most(run: LoadRun, key: tuple[int, int], name: str) -> float:
    own = run.table[(run.table["op"] == key[0]) & (run.table["tool"] == key[1])]
    return float(np.nanmax(np.abs(own[name])))


LOOSE = ((50.0, 1e6, 1e9), (12000.0, 1e6, 1e9))


def flat(power: float, torque: float) -> tuple[tuple[float, float, float], ...]:
    return ((50.0, torque, power), (12000.0, torque, power))


@pytest.mark.parametrize("mc", [0.0, 0.25, 0.4])
def test_power_binds_where_the_highest_load_reaches_what_the_spindle_has(base: FeedCase, mc: float) -> None:
    cutting = replace(base.loads.cutting, mc=mc, kc11_mpa=Band(low=600.0, best=800.0, high=900.0))
    now = most(with_(base, cutting=cutting).loads, MILL, "power_w")
    case = with_(base, spindle(base, curve=flat(1.3 * now, 1e3), short_curve=LOOSE), cutting)
    found = suggest(case)
    one = of(found, MILL)
    assert one.binding == "power"
    assert one.feed_ratio == pytest.approx((1.3 / (900 / 800)) ** (1 / (1 - mc)), rel=1e-4)
    assert one.best_ratio == pytest.approx(min(MOST_RATIO, 1.3 ** (1 / (1 - mc))), rel=1e-4)
    assert 900 / 800 * most(loads_after(case, found), MILL, "power_w") == pytest.approx(1.3 * now, rel=1e-4)


def test_torque_is_held_against_the_short_time_curve_where_there_is_one(base: FeedCase) -> None:
    peak = most(base.loads, MILL, "peak_nm")
    high = base.loads.cutting.spread()[1]
    short = with_(base, spindle(base, curve=LOOSE, short_curve=flat(1e6, 1.2 * high * peak)))
    found = suggest(short)
    assert of(found, MILL).binding == "torque"
    assert of(found, MILL).feed_ratio == pytest.approx(1.2 ** (1 / 0.75), rel=1e-4)
    assert high * most(loads_after(short, found), MILL, "peak_nm") == pytest.approx(1.2 * high * peak, rel=1e-4)
    steady = suggest(with_(base, spindle(base, curve=flat(1e6, 1.1 * high * peak))))
    assert of(steady, MILL).feed_ratio == pytest.approx(1.1 ** (1 / 0.75), rel=1e-4)


def test_bending_counts_only_where_the_wall_stays(base: FeedCase) -> None:
    table, walls = base.loads.table, base.walls
    own = (table["tool"] == 1) & walls
    assert own.any() and not walls[table["tool"] == 1].all()
    bend = float(np.abs(table["bend_mm"][own]).max())
    t = next(t for t in base.loads.tools if t.tool.number == 1)
    high = base.loads.cutting.spread()[1] * t.stiffness_n_per_mm / t.stiffness_low_n_per_mm
    one = of(suggest(replace(base, bend_limit_mm=1.2 * bend * high)), MILL)
    assert one.binding == "bending"
    assert one.feed_ratio == pytest.approx(1.2 ** (1 / 0.75), rel=1e-4)
    assert one.most_ratio >= one.best_ratio >= one.feed_ratio
    none = of(suggest(replace(base, bend_limit_mm=1.2 * bend * high, walls=np.zeros_like(walls))), MILL)
    assert "bending" not in {limit.name for limit in none.limits}
    assert any(text.startswith("bending") for text in none.not_limited)


def test_past_a_limit_at_best_the_feed_goes_down_else_it_is_left(base: FeedCase) -> None:
    now = most(base.loads, MILL, "power_w")
    low, high = base.loads.cutting.spread()
    assert low < 1 < high
    over = of(suggest(with_(base, spindle(base, curve=flat(0.9 * now, 1e3), short_curve=LOOSE))), MILL)
    assert not over.leave
    assert over.feed_ratio == pytest.approx((0.9 / high) ** (1 / 0.75), rel=1e-4)
    assert over.after_s > over.before_s
    perhaps = of(suggest(with_(base, spindle(base, curve=flat(1.1 * now, 1e3), short_curve=LOOSE))), MILL)
    assert perhaps.feed_ratio == perhaps.speed_ratio == 1.0
    assert "power may be past its limit" in perhaps.leave
    far = of(suggest(with_(base, spindle(base, curve=flat(0.5 * now, 1e3), short_curve=LOOSE))), MILL)
    assert "less than 50 %" in far.leave
    thin = with_(
        base, spindle(with_(base, tool(base, 1, chip_low_mm=0.058)), curve=flat(0.9 * now, 1e3), short_curve=LOOSE)
    )
    assert "its maker gives" in of(suggest(thin), MILL).leave


def test_the_chip_range_of_the_maker_is_reached_exactly(base: FeedCase) -> None:
    case = with_(base, tool(base, 1, chip_high_mm=0.075))
    found = suggest(case)
    assert of(found, MILL).binding == "chip"
    assert of(found, MILL).feed_ratio == pytest.approx(0.075 / 0.06, rel=1e-6)
    assert most(loads_after(case, found), MILL, "chip_high_mm") == pytest.approx(0.075, rel=1e-6)
    blind = suggest(with_(base, tool(base, 1, chip_high_mm=None)))
    assert of(blind, MILL).feed_ratio == BLIND_RATIO
    assert any("chip" in text for text in of(blind, MILL).not_limited)


@pytest.mark.parametrize(("rpm", "speed", "held"), [(15000.0, 1.25, "chip, life"), (5500.0, 1.1, "chip, marked rpm")])
def test_a_life_line_raises_the_speed_and_the_chip_stays(base: FeedCase, rpm: float, speed: float, held: str) -> None:
    edge = np.pi * 10 * 5000 / 60
    line = LifeLine(speed_mm_per_s=1.25 * edge, life_s=1200.0, n=0.25)
    cutting = replace(base.loads.cutting, life=line)
    case = with_(base, tool(base, 1, chip_high_mm=0.06, most_rpm=rpm, edge="carbide"), cutting)
    one = of(suggest(case), MILL)
    assert one.binding == held
    assert (one.feed_ratio, one.speed_ratio) == pytest.approx((speed, speed), rel=1e-6)
    assert one.life_ratio == pytest.approx(speed**-4.0)
    after = loads_after(case, suggest(case))
    assert most(after, MILL, "chip_high_mm") == pytest.approx(0.06, rel=1e-6)
    assert most(after, MILL, "edge_mm_per_s") == pytest.approx(speed * edge, rel=1e-6)
    steel = of(suggest(with_(case, tool(case, 1, edge="hss"))), MILL)
    assert steel.speed_ratio == 1.0


def test_too_short_a_life_lowers_the_speed(base: FeedCase) -> None:
    edge = np.pi * 10 * 5000 / 60
    line = LifeLine(speed_mm_per_s=0.8 * edge, life_s=1200.0, n=0.25)
    case = with_(base, tool(base, 1, chip_high_mm=0.06), replace(base.loads.cutting, life=line))
    one = of(suggest(case), MILL)
    assert (one.feed_ratio, one.speed_ratio) == pytest.approx((0.8, 0.8), rel=1e-6)
    assert one.life_ratio == pytest.approx(0.8**-4.0)
    seen = with_(case, tool(case, 1, life_s=2 * 1200.0))  # the shop knows it lasts twice that
    assert of(suggest(seen), MILL).speed_ratio == pytest.approx(2**0.25, rel=1e-6)


def test_power_at_another_speed_is_that_of_the_curve_there(base: FeedCase) -> None:
    edge = np.pi * 10 * 5000 / 60
    cutting = replace(base.loads.cutting, life=LifeLine(speed_mm_per_s=1.4 * edge, life_s=1200.0, n=0.25))
    now = most(base.loads, MILL, "power_w")
    high = base.loads.cutting.spread()[1]
    curve = ((50.0, 1e3, 1.2 * high * now), (5000.0, 1e3, 1.2 * high * now), (7000.0, 1e3, 0.8 * high * now))
    case = with_(base, spindle(with_(base, tool(base, 1, chip_high_mm=0.06)), curve=curve, short_curve=LOOSE), cutting)
    found = suggest(case)
    one = of(found, MILL)
    after = loads_after(case, found)
    assert 1.0 < one.speed_ratio < 1.4
    has = curve_at(curve, 5000 * one.speed_ratio)[1]
    assert high * most(after, MILL, "power_w") <= has * (1 + 1e-6)
    assert one.feed_ratio <= one.speed_ratio * (1 + 1e-6)  # the chip is at its maker's limit


def test_machine_feed_step_and_chatter_bind(base: FeedCase) -> None:
    machine = replace(base.job.machine, feed_limit_mm_per_s=18.0)
    one = of(suggest(with_(base, replace(base.job, machine=machine))), MILL)
    assert (one.binding, one.feed_ratio) == ("machine feed", pytest.approx(18.0 / 15.0))
    assert (of(suggest(base), MILL).binding, of(suggest(base), MILL).feed_ratio) == ("step", MOST_RATIO)

    def at(measured: bool) -> Callable[[tuple[int, int], float], Steady | None]:
        told = Steady(depth_mm=4.0, low_mm=1.0, best_mm=2.0, measured=measured, move=3, words="deep")
        return lambda key, _: told if key == MILL else None

    bound = of(suggest(replace(base, stable=at(True))), MILL)
    assert bound.leave.startswith("stability is at its limit")
    guess = of(suggest(replace(base, stable=at(False))), MILL)
    assert guess.feed_ratio == MOST_RATIO
    assert any("only estimated" in text for text in guess.said)


def test_reasons_to_leave_a_tool(base: FeedCase) -> None:
    found = suggest(base)
    assert "pitch" in of(found, TAP).leave
    bare = suggest(with_(base, tool(base, 2, chip_high_mm=None)))
    assert "chip range" in of(bare, DRILL).leave
    assert "teeth" in of(suggest(with_(base, tool(base, 1, teeth=0))), MILL).leave
    slow = replace(base.job.machine.axes[0], accel_mm_per_s2=2.0)
    machine = replace(base.job.machine, axes=(slow, replace(slow, name="Y"), replace(slow, name="Z")))
    assert "saves" in of(suggest(with_(base, replace(base.job, machine=machine))), DRILL).leave


def test_times_are_those_of_the_motion_model_and_add_up(base: FeedCase) -> None:
    found = suggest(base)
    changed = [s for s in found.suggestions if not s.leave]
    assert changed
    for one in changed:
        assert one.saved.best == pytest.approx(one.before_s - one.after_s)  # type: ignore[union-attr]
        assert 0 < one.saved.best < one.before_s * (1 - 1 / one.feed_ratio)  # type: ignore[union-attr]  # rapids stay
    assert found.saved.best == pytest.approx(sum(s.saved.best for s in changed))  # type: ignore[union-attr]


def test_a_wider_band_never_allows_more(base: FeedCase) -> None:
    now = most(base.loads, MILL, "power_w")
    last = 9.0
    for wide in (0.05, 0.1, 0.2, 0.3):
        cutting = replace(base.loads.cutting, kc11_mpa=Band(low=800 * (1 - wide), best=800.0, high=800 * (1 + wide)))
        one = of(suggest(with_(base, spindle(base, curve=flat(1.35 * now, 1e3), short_curve=LOOSE), cutting)), MILL)
        assert one.feed_ratio <= last
        last = one.feed_ratio


def test_chips_at_the_floor_of_the_model_are_taken_back_until_the_limit_holds(base: FeedCase) -> None:
    """Below 2 µm loads go with the chip itself, so the law c^(1 − mc) would go too far."""
    thin = replace(base, moves=scaled(base.moves, {MILL: (0.02, 1.0), DRILL: (0.02, 1.0)}))
    now = most(with_(thin).loads, MILL, "power_w")
    case = with_(thin, spindle(thin, curve=flat(1.5 * now, 1e3), short_curve=LOOSE))
    found = suggest(case)
    one = of(found, MILL)
    high = case.loads.cutting.spread()[1]
    after = high * most(loads_after(case, found), MILL, "power_w")
    assert after <= 1.5 * now * (1 + 1e-5)
    assert after >= 1.5 * now * 0.95  # the way back overshoots a little
    assert one.feed_ratio < (1.5 / high) ** (1 / 0.75) * 0.99
