"""The pace oracle on fresh seeds: three simulated controllers, four programs each; and a broken model it must notice."""

import random

import numpy as np
import pytest

import halfthou.physics.pace_forecast as pace_forecast
from halfthou.physics.pace import INDEX
from tests.oracle.controller_programs import ZERO, draw_program
from tests.oracle.pace_study import study
from tests.product_pace import machine_of, moves_of


def fresh() -> int:
    seed = random.SystemRandom().randrange(10**9)
    print(f"seed {seed}")
    return seed


def test_a_program_means_the_same_to_both() -> None:
    draw = random.Random(fresh())
    text, events = draw_program(draw)
    control = machine_of((1, 1, 1), None, None, None, 1, None, "straight").control
    rows = moves_of(text, ZERO, control).moves
    way = sum(float(np.linalg.norm(np.subtract(e.end, e.start))) for e in events if e.kind in ("rapid", "line"))
    own = rows[np.isin(rows["kind"], (0, 1))]
    assert float(np.linalg.norm(own["end_mm"] - own["start_mm"], axis=1).sum()) == pytest.approx(way, rel=1e-6)
    assert float(np.abs(rows["sweep_rad"]).sum()) == pytest.approx(sum(abs(e.sweep) for e in events), rel=1e-6)
    assert float(rows["dwell_s"].sum()) == pytest.approx(sum(e.value for e in events if e.kind == "dwell"))


def test_other_programs_are_predicted_from_one_log() -> None:
    found = study(3, 4, fresh())
    assert np.median(np.abs(found.error)) <= 0.01
    assert found.coverage >= 0.5  # 12 pairs of 3 machines hang together; the study of 2,000 judges coverage
    assert found.median_half <= 0.03


def test_a_wrong_model_is_noticed(monkeypatch: pytest.MonkeyPatch) -> None:
    right = pace_forecast.pace_rows_s

    def wrong(course, vector, habits):  # type: ignore[no-untyped-def]
        bent = vector.copy()
        bent[INDEX["feed"]] *= 0.95
        return right(course, bent, habits)

    monkeypatch.setattr(pace_forecast, "pace_rows_s", wrong)
    found = study(1, 4, fresh())
    assert np.abs(found.error).max() > 0.01
    assert found.coverage < 1.0
