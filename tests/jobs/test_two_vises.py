"""Both operations of a part in one program: the part from the first vise, turned over, is the stock in the second."""

from pathlib import Path

import numpy as np
import pytest

import halfthou
from halfthou.files.job import load_job
from halfthou.flow.run import run_job

FOLDER = Path(__file__).parent / "two_vises"


def test_second_vise_cuts_what_the_first_left() -> None:
    loaded = load_job(FOLDER)
    run = run_job(loaded.job, loaded.programs, pitch_mm=0.5)
    first, second = run.removals[0]
    # the slot y 10 … 30, 6 deep, lies underneath now at y 30 … 50, z -20 … -14; the new one is y 10 … 30, 4 deep
    spots = np.array([[50.0, 40.0, -15.0], [50.0, 40.0, -13.0], [50.0, 20.0, -3.0], [50.0, 20.0, -5.0]])
    assert second.inside(spots).tolist() == [False, True, False, True]
    assert first.inside(np.array([[50.0, 20.0, -5.0], [50.0, 40.0, -5.0]])).tolist() == [False, True]


def test_rapid_into_the_second_part_is_found() -> None:
    stops = [f for f in halfthou.open(FOLDER).prove(what_if=False).findings if f.severity.name == "STOP"]
    assert [(f.code, f.place.line, f.body) for f in stops] == [("P211", 19, "stock (vise 2)")]
    assert stops[0].amount is not None
    assert stops[0].amount.best == pytest.approx(9.0, abs=0.1)  # type: ignore[union-attr]
