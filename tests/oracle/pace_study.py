"""Cycle times calibrated from one log, on simulated controllers: `python -m tests.oracle.pace_study --controllers 100
--programs 20 [--seed S]`.

Every controller runs one program with a time-stamped log and then the other programs once each. Judged: share of the
predicted totals within 1 %, coverage of the 95 % intervals, their median half-width.
"""

import argparse
import random
import time
from dataclasses import dataclass

import numpy as np

from tests.oracle.controller_programs import ZERO, draw_program
from tests.oracle.controllers import draw_controller, run


@dataclass
class Study:
    """Per pair: relative error, relative half-width, inside, error over half-width."""

    error: np.ndarray
    half: np.ndarray
    inside: np.ndarray

    @property
    def within(self) -> float:
        return float((np.abs(self.error) <= 0.01).mean())

    @property
    def coverage(self) -> float:
        return float(self.inside.mean())

    @property
    def median_half(self) -> float:
        return float(np.median(self.half))


def study(controllers: int, programs: int, seed: int, *, show: bool = False, total: bool = False) -> Study:
    """Run the study; deterministic in the seed. total: from one stopwatch total instead of a log."""
    from tests import product_pace as product

    draw = random.Random(seed)
    drawn = [draw_program(draw) for _ in range(programs)]
    control = product.machine_of((1, 1, 1), None, None, None, 1, None, "straight").control
    moves = [product.moves_of(text, ZERO, control) for text, _ in drawn]
    error, half, inside = [], [], []
    for k in range(controllers):
        began = time.monotonic()
        c = draw_controller(draw)
        feed, rapid = draw.choice((1.0, 1.0, 0.8)), draw.choice((1.0, 1.0, 0.5))
        path = draw.choice((None, "dog-leg" if c.dog_leg else "straight"))
        machine = product.machine_of(
            c.rapid, c.said_accel, c.said_change, c.said_run_up, c.spindle_top, c.feed_limit, path
        )
        text, events = draw_program(draw)
        clocked = run(c, events, draw, feed, rapid)
        stamps, timed = clocked.stamps, product.moves_of(text, ZERO, control)
        if total:
            paces = product.calibrate_total(machine, timed, round(clocked.total_s, 1), feed, rapid)
        else:
            paces = product.calibrate(machine, timed, stamps, feed, rapid)
        fitted = time.monotonic()
        rows = []
        for (_, own), m in zip(drawn, moves, strict=True):
            true = run(c, own, draw).total_s
            said = product.predict(machine, m, paces)
            rows.append(
                (
                    said.best_s / true - 1,
                    (said.high_s - said.low_s) / 2 / said.best_s,
                    said.low_s <= true <= said.high_s,
                )
            )
        e, h, i = (np.array(v) for v in zip(*rows, strict=True))
        error.append(e)
        half.append(h)
        inside.append(i)
        if show:
            print(
                f"{k:3d} ramp {c.ramp} filter {1000 * c.filter_s:3.0f} corner {c.corner} ahead {c.ahead:3d} block "
                f"{1000 * c.block_s:.1f} rests {c.rest_mixed:d}{c.rest_rapids:d} dog {c.dog_leg:d} | {paces.best.habits.corner} "
                f"{paces.best.habits.blocks_ahead:3d} {paces.best.habits.rest_rapid_feed:d}{paces.best.habits.rest_rapid_rapid:d} "
                f"{len(stamps):5d} stamps | mean {100 * e.mean():+.2f} % rms {100 * np.sqrt((e**2).mean()):.2f} worst "
                f"{100 * np.abs(e).max():.2f} half {100 * np.median(h):.2f} in {i.mean():.2f} noise {paces.best.noise:.4f} class {paces.best.class_ratio:.3f} n {len(paces.guesses)} | {fitted - began:.1f} + {time.monotonic() - fitted:.1f} s",
                flush=True,
            )  # fmt: skip
    return Study(np.concatenate(error), np.concatenate(half), np.concatenate(inside))


def main() -> int:
    """Command line."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--controllers", type=int, default=100)
    parser.add_argument("--programs", type=int, default=20)
    parser.add_argument("--seed", type=int, default=None)
    parser.add_argument("--show", action="store_true", help="one line a controller")
    parser.add_argument("--total", action="store_true", help="from one stopwatch total instead of a log")
    asked = parser.parse_args()
    seed = random.SystemRandom().randrange(10**9) if asked.seed is None else asked.seed
    print(f"seed {seed}", flush=True)
    found = study(asked.controllers, asked.programs, seed, show=asked.show, total=asked.total)
    print(
        f"{len(found.error)} pairs: within 1 % {100 * found.within:.1f} %, coverage {100 * found.coverage:.1f} %, "
        f"median half-width {100 * found.median_half:.2f} %"
    )
    ratio = 1.96 * np.abs(found.error) / found.half
    print(
        "error in standard deviations, quantiles 50 68 90 95 98 %:",
        np.round(np.quantile(ratio, [0.5, 0.68, 0.9, 0.95, 0.98]), 2),
    )
    if asked.total:
        return 0  # no bar: the interval says what one number cannot tell
    good = found.within >= 0.9 and 0.92 <= found.coverage <= 0.98 and found.median_half <= 0.02
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
