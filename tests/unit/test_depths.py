"""Lowest tip per tool, on moves whose depths can be read off by hand."""

import numpy as np
import pytest

from halfthou.base.table import empty
from halfthou.nouns.moves import SWEEP, Kind
from halfthou.prove.depths import depths, lowest_z
from tests.unit.clash_scene import box, drill, end_mill, scene


def test_lowest_tip_per_tool_with_the_block_and_the_heights_beside_it() -> None:
    path = [
        ("G0", 10, 10, 5),
        ("G1", 10, 10, -3),
        ("G1", 60, 10, -7.5),
        ("G0", 60, 10, 50),
        ("T", 1),
        ("G0", 30, 30, 2),
        ("G1", 30, 30, -19),
        ("G0", 30, 30, 2),
    ]
    jaw = box("moving jaw", (0, 60, -40), (100, 80, -12))
    made = scene([end_mill(4), drill(5)], path, bodies=(jaw,), at=(100.0, 50.0, -300.0))
    table = depths(made.moves, made.sweeps, made.job, 0, shifts=made.shifts)
    assert [(d.tool, d.line, d.file) for d in table] == [(5, 7, "o1.nc"), (4, 3, "o1.nc")]
    assert [d.lowest_z_mm for d in table] == pytest.approx([-19.0, -7.5])
    assert table[0].rapid_z_mm == pytest.approx(-19.0)  # the way out starts at the bottom
    levels = {level.name: level.above_mm for level in table[0].levels}
    assert levels == pytest.approx({"stock underside": 1.0, "top of moving jaw": -7.0})


@pytest.mark.parametrize(
    ("normal", "start", "end", "sweep", "lowest"),
    [
        (0, (0, -5, 0), (0, 5, 0), np.pi, -5.0),  # YZ, counter-clockwise from -Y through -Z to +Y
        (0, (0, -5, 0), (0, 5, 0), -np.pi, 0.0),  # over the top
        (1, (5, 0, 0), (-5, 0, 0), np.pi, -5.0),  # ZX, counter-clockwise from +X through -Z to -X
        (1, (5, 0, 0), (-5, 0, 0), -np.pi, 0.0),
        (1, (5, 0, 0), (0, 0, 5), -np.pi / 2, 0.0),
        (2, (5, 0, -1), (-5, 0, -4), np.pi, -4.0),  # helix about Z
    ],
)
def test_bottom_of_upright_arcs(
    normal: int, start: tuple[float, ...], end: tuple[float, ...], sweep: float, lowest: float
) -> None:
    rows = empty(SWEEP, 1)
    rows["kind"], rows["normal"], rows["sweep_rad"] = Kind.ARC, normal, sweep
    rows["from_mm"], rows["to_mm"] = start, end
    assert lowest_z(rows)[0] == pytest.approx(lowest, abs=1e-12)
