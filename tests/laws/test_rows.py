"""Laws of the fast rows: the record cut row by row is the one that asks every move ray by ray; each kind of row is met."""

import random

import numpy as np
import pytest

from halfthou.geometry.rows import form_of
from halfthou.prove.remove_raw import ray_lines
from tests.unit.remove_scene import ball, bull, cone, cut, flat, random_path, tslot

TOOLS = {
    "flat": (flat(8), 1), "ball": (ball(7), 2), "bull": (bull(12, 2), 3), "cone": (cone(10, 90, 1), 4), "spot": (cone(9, 118, kind="drill"), 4),
    "tslot": (tslot(12, 6, 4), 1),
}  # fmt: skip


@pytest.mark.parametrize("name", list(TOOLS))
def test_rows_are_rays(name):
    seed = random.SystemRandom().randrange(10**9)
    print("seed", seed)
    draw = random.Random(seed)
    tool, kind = TOOLS[name]
    path = [
        *random_path(draw, 25),
        ("G0", 20, 20, 30),
        ("G1", 20, 20, -7),
        ("G0", 20, 20, 30),
        ("G0", 61.3, 33.3, 30),
        ("G1", 61.3, 33.3, -4),
    ]
    path += [("G1", 70.2, 41.7, -4), ("G1", 70.2, 20.2, -4), ("G1", 33.1, 20.2, -4), ("G1", 60.0, 41.0, -9)]
    removal = cut([tool], path, pitch=0.5)
    x, y = (axis.ravel() for axis in np.meshgrid(*ray_lines(removal.record.grid), indexing="ij"))
    first, spans = removal.columns(np.ascontiguousarray(x), np.ascontiguousarray(y))
    record = removal.record
    assert np.array_equal(first, record.first)
    for end in ("low_mm", "high_mm"):
        assert np.abs(spans[end] - record.spans[end]).max() < 1e-9
    for end in ("low_move", "high_move"):
        assert (spans[end] != record.spans[end]).mean() < 1e-3
    kinds = {form_of(e, removal.body.pieces[e["piece"]], removal.body.segments, np.empty(6)) for e in removal.events}
    assert kind in kinds and 0 in kinds
