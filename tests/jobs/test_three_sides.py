"""A part cut from three sides: op 3 lies on its long side, drills into the slot of op 1 and then moves too low."""

from pathlib import Path

import numpy as np
import pytest

import halfthou
from halfthou.files.job import load_job
from halfthou.flow.run import run_job

FOLDER = Path(__file__).parent / "three_sides"


def test_the_cross_hole_meets_the_slot_of_the_first_operation() -> None:
    loaded = load_job(FOLDER)
    run = run_job(loaded.job, loaded.programs, pitch_mm=0.5, near=False)
    side = run.removals[2][0]
    # op 1: slot y 19 … 31, z -8 … 0; turned over: y 19 … 31, z -30 … -22; on its side: y 22 … 30, z -31 … -19
    spots = np.array(
        [[20.0, 26.0, -25.0], [20.0, 21.0, -25.0], [40.0, 4.0, -10.0], [40.0, 20.0, -10.0], [20.0, 4.0, -45.0]]
    )
    assert side.inside(spots).tolist() == [False, True, False, True, False]
    first, spans = side.columns(np.array([20.0]) - side.shift_mm[0], np.array([26.0]) - side.shift_mm[1])
    ends = [(float(s["low_mm"] + side.shift_mm[2]), float(s["high_mm"] + side.shift_mm[2])) for s in spans]
    assert first.tolist() == [0, 2]
    assert ends == [pytest.approx((-50, -31), abs=1e-6), pytest.approx((-19, 0), abs=1e-6)]
    labels = {int(s[k]) for s in spans for k in ("low_move", "high_move")}
    slot = [row for row in labels if row >= 0]
    assert slot and all(run.rows[0].start <= row < run.rows[0].stop for row in slot)


def test_the_low_rapid_is_found_with_its_depth() -> None:
    stops = [f for f in halfthou.open(FOLDER).prove(what_if=False).findings if f.severity.name == "STOP"]
    assert [(f.code, Path(f.place.file).name, f.place.line) for f in stops] == [("P211", "op3.nc", 13)]
    assert stops[0].amount is not None
    assert stops[0].amount.best == pytest.approx(3.0, abs=0.03)  # type: ignore[union-attr]
