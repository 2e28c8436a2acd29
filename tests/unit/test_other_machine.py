"""Tools and places mapped onto another machine."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from halfthou.base.table import lock
from halfthou.base.units import Display
from halfthou.files.job import load_job
from halfthou.nouns.job import Job
from halfthou.nouns.moves import CALL, FRAME, MOVE, STATE, SWEEP, TIMING, MoveList
from halfthou.prove.other_machine_fit import Ran
from halfthou.prove.other_machine_map import tools_mapped

PLATE = Path(__file__).resolve().parents[2] / "examples" / "ice-core-plate"
SHOW = Display()


@pytest.fixture(scope="module")
def job() -> Job:
    return load_job(PLATE).job


def ran(job: Job) -> list[Ran]:
    """One move for every tool of the job, of a program without text."""
    rows = np.zeros(len(job.tools), dtype=MOVE)
    rows["tool"] = [tool.number for tool in job.tools]
    moves = MoveList(
        moves=lock(rows), frames=np.zeros(1, FRAME), states=np.zeros(1, STATE), calls=np.zeros(0, CALL),
        programs=load_job(PLATE).programs[0],
    )  # fmt: skip
    return [Ran(moves=moves, sweeps=np.zeros(len(rows), SWEEP), timing=np.zeros(len(rows), TIMING))]


def mapped(job: Job, **limits: float) -> dict[int, tuple[str, bool | None]]:
    machine = replace(job.machine, magazine=replace(job.machine.magazine, **limits))  # type: ignore[arg-type]
    return {int(m.what.split()[0][1:]): (m.there, m.fits) for m in tools_mapped(job, ran(job), machine, SHOW)}


def test_tools_stay_where_they_fit(job: Job) -> None:
    assert {fits for _, fits in mapped(job).values()} == {True}


def test_a_tool_beyond_the_magazine_gets_a_free_position_of_its_own(job: Job) -> None:
    last = max(tool.number for tool in job.tools)
    there = mapped(job, positions=last - 1)
    others = {f"position {n}" for n in there if n != last}
    assert there[last][1] is False
    assert there[last][0].startswith("position ")
    assert there[last][0] not in others
    assert {fits for n, (_, fits) in there.items() if n != last} == {True}


def test_a_full_magazine_leaves_tools_to_be_changed_by_hand(job: Job) -> None:
    few = len(job.tools) - 2
    there = mapped(job, positions=few)
    assert sum(where == "by hand" for where, _ in there.values()) == 2
    places = [where for where, _ in there.values() if where != "by hand"]
    assert len(set(places)) == len(places) == few


def test_a_tool_too_long_is_changed_by_hand(job: Job) -> None:
    longest = max(job.tools, key=lambda tool: tool.gauge_length_mm)
    there = mapped(job, most_length_mm=longest.gauge_length_mm - 0.1)
    assert there[longest.number] == ("by hand", False)


def test_a_wide_tool_keeps_its_neighbours_empty(job: Job) -> None:
    numbers = {tool.number for tool in job.tools}
    beside = next(n for n in numbers if n + 1 in numbers)
    there = mapped(job, most_diameter_mm=20.0, most_diameter_alone_mm=200.0)
    assert there[beside][1] is False
