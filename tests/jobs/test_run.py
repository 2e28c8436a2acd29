"""The run behind a proof, from Python: states in between and labelled surface points of the demo job."""

from pathlib import Path

import numpy as np

import halfthou

PLATE = Path(__file__).resolve().parents[2] / "examples" / "ice-core-plate"


def test_states_and_surface_points_of_the_demo_job() -> None:
    run = halfthou.open(PLATE).run(pitch_mm=1.0)
    first, second = run.removals[0][0], run.removals[1][0]
    assert second.before is first
    last = first.first_row + len(first.moves.moves) - 1
    assert first.state_at(last).spans.tobytes() == first.record.spans.tobytes()
    assert first.state_at(-1).spans.tobytes() == first.start.spans.tobytes()
    found = second.surface_points(np.array([[30.0, 40.0, 0.0], [70.0, 40.0, 0.0]])).points
    assert len(found) == 2
    assert (found["move"] >= second.first_row).all()  # the top of the second operation is faced there
    assert np.abs(found["point_mm"][:, 2]).max() < 1e-4
    assert set(run.moves.moves["tool"][found["move"]].tolist()) <= {tool.number for tool in run.job.tools}
    kept = [name for name in ("tool", "frame", "length_slot", "radius_slot", "bound_mm") if name in found.dtype.names]
    assert len(kept) == 5
