"""Where gauge line and real tip go: work offsets, what the length registers say, length models, several places."""

import numpy as np
import pytest

from halfthou.nouns.moves import Kind
from halfthou.prove.place import place_shift_mm, sweeps_of, zero_offset_mm
from tests.unit.place_scene import job_of, moves_of, plain_tool

SHIFT = (-312.0, -205.0, -371.0)


def line(start, end, **more):
    return {"start_mm": start, "end_mm": end, "tool": 1, **more}


def test_the_gauge_line_goes_where_offset_and_length_put_it() -> None:
    moves = moves_of([line((1, 2, 30), (5, 6, -4))], frames=[(1, SHIFT)], lengths=[110.5])
    row = sweeps_of(moves, job_of([plain_tool(1, 110.5)]), 0)[0]
    assert row["gauge_from_mm"].tolist() == [-311.0, -203.0, -230.5]
    assert row["gauge_to_mm"].tolist() == [-307.0, -199.0, -264.5]
    assert row["from_mm"].tolist() == [-311.0, -203.0, -341.0]  # work + offset: the register is right
    assert row["to_mm"].tolist() == [-307.0, -199.0, -375.0]
    assert row["tool"] == 0


@pytest.mark.parametrize(
    ("in_force", "tip"),
    [(110.0, -4.0), (115.0, 1.0), (100.0, -14.0), (0.0, -114.0)],
    ids=["right", "5 too long", "10 too short", "no length in force"],
)
def test_a_wrong_register_moves_the_real_tip(in_force: float, tip: float) -> None:
    moves = moves_of([line((0, 0, 30), (0, 0, -4))], lengths=[in_force])
    row = sweeps_of(moves, job_of([plain_tool(1, 110.0)]), 0)[0]
    assert row["to_mm"].tolist() == [0.0, 0.0, tip]
    assert row["gauge_to_mm"][2] == in_force - 4


def test_each_row_has_its_own_tool_frame_and_length() -> None:
    tools = [plain_tool(7, 80.0), plain_tool(3, 140.0)]
    rows = [
        line((0, 0, 0), (1, 0, 0), tool=3, frame=1, state=2),
        line((0, 0, 0), (1, 0, 0), tool=7, frame=0, state=1),
        line((0, 0, 0), (1, 0, 0), tool=7, frame=0, state=2),
        line((0, 0, 0), (1, 0, 0), tool=0, frame=0, state=0),
    ]
    frames = [(1, (10.0, 0.0, 0.0)), (2, (20.0, 0.0, 5.0))]
    out = sweeps_of(moves_of(rows, frames=frames, lengths=[0.0, 80.0, 140.0]), job_of(tools, systems=(1, 2)), 0)
    assert out["tool"].tolist() == [1, 0, 0, -1]
    assert out["from_mm"].tolist() == [[20, 0, 5], [10, 0, 0], [10, 0, 60], [10, 0, 0]]
    assert out["gauge_from_mm"][:, 2].tolist() == [145, 80, 140, 0]
    assert np.array_equal(out["from_mm"][3], out["gauge_from_mm"][3])  # no tool: the nose itself


def test_kinds_rapids_and_the_spindle_are_handed_on() -> None:
    kinds = [Kind.RAPID, Kind.LINE, Kind.TOOL_CHANGE, Kind.PROBE, Kind.DWELL]
    speeds = [8000.0, -300.0, 0.0, 0.0, 5.0]
    rows = [line((0, 0, 0), (0, 0, 0), kind=k, spindle_rpm=s) for k, s in zip(kinds, speeds, strict=True)]
    out = sweeps_of(moves_of(rows), job_of([plain_tool(1, 100.0)]), 0)
    assert out["kind"].tolist() == [int(k) for k in kinds]
    assert out["rapid"].tolist() == [1, 0, 1, 0, 0]
    assert out["turning"].tolist() == [1, -1, 0, 0, 1]


def test_an_arc_keeps_its_centre_under_the_tip() -> None:
    rows = [line((10, 0, -2), (0, 10, -6), kind=Kind.ARC, centre_mm=(0, 0, -2), sweep_rad=1.5, normal=2)]
    row = sweeps_of(moves_of(rows, frames=[(1, SHIFT)], lengths=[93.0]), job_of([plain_tool(1, 90.0)]), 0)[0]
    assert row["centre_mm"].tolist() == [-312.0, -205.0, -370.0]  # 3 mm too high, as from and to
    assert np.hypot(*(row["from_mm"] - row["centre_mm"])[:2]) == np.hypot(*(row["to_mm"] - row["centre_mm"])[:2]) == 10
    assert (row["sweep_rad"], row["normal"]) == (1.5, 2)


def test_no_moves_give_no_rows_and_rows_are_read_only() -> None:
    job = job_of([plain_tool(1, 100.0)])
    assert len(sweeps_of(moves_of([]), job, 0)) == 0
    with pytest.raises(ValueError, match="read-only"):
        sweeps_of(moves_of([line((0, 0, 0), (1, 0, 0))]), job, 0)["from_mm"] = 0.0


# -- length models ------------------------------------------------------------------------------------------------

REAL = {1: 80.0, 2: 110.0, 3: 140.0}


@pytest.mark.parametrize(
    ("method", "registers", "zero"),
    [
        ("gauge-line", REAL, 0.0),
        (None, REAL, 0.0),
        ("gauge-line", {1: 85.0, 2: 115.0, 3: 145.0}, 0.0),  # all wrong alike: the part does not follow
        ("reference-tool", {1: -20.0, 2: 10.0, 3: 40.0}, -100.0),
        ("touched-off", {1: -420.0, 2: -390.0, 3: -360.0}, -500.0),
        ("touched-off", {}, 0.0),
        ("none", {}, 0.0),
    ],
)
def test_height_of_the_program_zero(method, registers, zero: float) -> None:
    job = job_of([plain_tool(n, v) for n, v in REAL.items()], registers=registers, method=method)
    assert zero_offset_mm(job, 0) == zero
    assert place_shift_mm(job, 0, 0, {1: SHIFT}).tolist() == [-312.0, -205.0, -371.0 + zero]


@pytest.mark.parametrize("method", ["gauge-line", "reference-tool", "touched-off"])
def test_the_right_registers_put_every_tip_where_the_program_says(method: str) -> None:
    short = {"gauge-line": 0.0, "reference-tool": 95.5, "touched-off": 480.25}[method]
    registers = {n: v - short for n, v in REAL.items()}
    job = job_of([plain_tool(n, v) for n, v in REAL.items()], registers=registers, method=method)
    rows = [line((0, 0, 50), (3, 4, -5), tool=n, state=k) for k, n in enumerate(REAL)]
    out = sweeps_of(moves_of(rows, frames=[(1, SHIFT)], lengths=list(registers.values())), job, 0)
    shift = place_shift_mm(job, 0, 0, {1: SHIFT})
    assert (out["to_mm"] - shift).tolist() == [[3.0, 4.0, -5.0]] * 3


def test_one_mistyped_length_moves_its_tool_and_not_the_part() -> None:
    registers = {1: -20.0, 2: 10.0, 3: 46.0}  # the third is 6 mm too long for a reference of 100 mm
    job = job_of([plain_tool(n, v) for n, v in REAL.items()], registers=registers, method="reference-tool")
    assert zero_offset_mm(job, 0) == -100.0
    rows = [line((0, 0, 50), (0, 0, -5), tool=n, state=k) for k, n in enumerate(REAL)]
    out = sweeps_of(moves_of(rows, lengths=list(registers.values())), job, 0)
    tip = out["to_mm"][:, 2] - place_shift_mm(job, 0, 0, {})[2]
    assert tip.tolist() == [-5.0, -5.0, 1.0]


def test_registers_without_a_tool_or_a_length_do_not_count() -> None:
    registers = {1: -20.0, 2: None, 3: 40.0, 17: 12.0, 18: 13.0, 19: 14.0}
    job = job_of([plain_tool(n, v) for n, v in REAL.items()], registers=registers, method="reference-tool")
    assert zero_offset_mm(job, 0) == -100.0


# -- several places -----------------------------------------------------------------------------------------------


def test_rows_belong_to_the_place_whose_frame_they_speak_in() -> None:
    job = job_of([plain_tool(1, 100.0)], systems=(2, 101, 1))
    frames = [(1, SHIFT), (101, (0, 0, 0)), (2, (5, 5, 5)), (6, (0, 0, 0)), (101, (1, 0, 0))]
    rows = [line((0, 0, 0), (1, 0, 0), frame=k) for k in range(5)]
    out = sweeps_of(moves_of(rows, frames=frames), job, 0)
    assert out["place"].tolist() == [2, 1, 0, 0, 1]  # a frame nobody speaks of goes with the first place
    assert [place_shift_mm(job, 0, k, {1: SHIFT, 2: (5, 5, 5)}).tolist() for k in range(3)] == [
        [5, 5, 5], [0, 0, 0], list(SHIFT)
    ]  # fmt: skip


def test_the_same_program_point_is_the_same_part_point_in_each_place() -> None:
    job = job_of([plain_tool(1, 100.0)], systems=(1, 2))
    origins = {1: SHIFT, 2: (-112.0, -205.0, -368.0)}
    rows = [line((0, 0, 9), (20, 10, -3), frame=k) for k in range(2)]
    out = sweeps_of(moves_of(rows, frames=list(origins.items()), lengths=[100.0]), job, 0)
    for k in range(2):
        assert (out["to_mm"][k] - place_shift_mm(job, 0, int(out["place"][k]), origins)).tolist() == [20, 10, -3]
    assert (out["to_mm"][1] - out["to_mm"][0]).tolist() == [200, 0, 3]
