"""Tables, machines and findings of two jobs compared."""

from dataclasses import replace
from pathlib import Path

import pytest

from halfthou.base.finding import Finding, Severity
from halfthou.base.place import Place
from halfthou.base.units import Display
from halfthou.base.value import Value
from halfthou.files.job import load_job
from halfthou.nouns.job import Job
from halfthou.prove.revision_findings import finding_changes
from halfthou.prove.revision_tables import (
    design_differences,
    machine_differences,
    setup_differences,
    tool_differences,
)

PLATE = Path(__file__).resolve().parents[2] / "examples" / "ice-core-plate"
SHOW = Display()


@pytest.fixture(scope="module")
def job() -> Job:
    return load_job(PLATE).job


def test_a_job_against_itself(job: Job) -> None:
    assert tool_differences(job, job, SHOW) == ()
    assert setup_differences(job, job, [(0, 0), (1, 1)], SHOW) == ()
    assert machine_differences(job.machine, job.machine, SHOW) == ()
    assert design_differences(job.design, job.design, SHOW) == ()


def test_a_longer_tool_and_a_missing_one(job: Job) -> None:
    first = job.tools[0]
    longer = replace(first, gauge_length_mm=first.gauge_length_mm + 0.5)
    other = replace(job, tools=(longer, *job.tools[2:]))
    found = tool_differences(other, job, SHOW)
    assert [(d.what, d.now, d.before) for d in found if d.group.startswith(f"T{first.number} ")] == [
        ("gauge length", SHOW.length(longer.gauge_length_mm), SHOW.length(first.gauge_length_mm))
    ]
    gone = [d for d in found if d.group == f"T{job.tools[1].number}"]
    assert [(d.now, d.before) for d in gone] == [("not there", job.tools[1].name)]
    assert len(found) == 2


def test_register_offset_stock_and_machine(job: Job) -> None:
    register = replace(job.registers[0], length_wear_mm=-0.02)
    found = tool_differences(replace(job, registers=(register, *job.registers[1:])), job, SHOW)
    assert [(d.group, d.what, d.now) for d in found] == [
        (f"register {register.slot} planned", "length wear", "-0.020 mm")
    ]
    op = job.ops[0]
    place = replace(op.places[0], stock=replace(op.places[0].stock, high_mm=(142.5, 92.5, 2.0)))
    found = setup_differences(replace(job, ops=(replace(op, places=(place,)), job.ops[1])), job, [(0, 0)], SHOW)
    assert len(found) == 1
    assert "stock high" in found[0].what
    assert "2.000 mm" in found[0].now
    slow = replace(job.machine, spindle=replace(job.machine.spindle, most_rpm=8000.0))
    found = machine_differences(slow, job.machine, SHOW)
    assert [(d.what, d.now, d.before) for d in found] == [("spindle most", "8000 1/min", "12000 1/min")]


def test_a_moved_face_of_the_design(job: Job) -> None:
    part = job.design
    assert part is not None
    plane = next(s for s in part.surfaces if s.form == "plane")
    x, y, z = (p + 0.1 * a for p, a in zip(plane.origin_mm, plane.axis, strict=True))
    surfaces = tuple(replace(s, origin_mm=(x, y, z)) if s.index == plane.index else s for s in part.surfaces)
    found = design_differences(replace(part, surfaces=surfaces), part, SHOW)
    assert [d.what for d in found] == [plane.name]
    assert found[0].now != found[0].before


def _finding(line: int, text: str, amount: float = 1.0, code: str = "P211", tool: int = 1) -> Finding:
    return Finding(
        code=code, severity=Severity.STOP, place=Place(file="a.nc", line=line, text=text), what="x.", tool=tool, op=0,
        amount=Value(best=amount, u=0.0, unit="mm", bound=0.01),
    )  # fmt: skip


def test_findings_are_matched_by_what_they_are_about() -> None:
    before = [_finding(10, "N10 G0 Z-2."), _finding(12, "G0 X5."), _finding(20, "G1 X9.", 0.5)]
    now = [_finding(31, "N300 G0 Z-2. (down)"), _finding(44, "G1 X9.", 0.8), _finding(50, "G0 X5.", tool=2)]
    changes, kept = finding_changes(now, before, ["op 1"], ["op 1"])
    assert kept == 1
    assert [(c.kind, c.finding.place.text) for c in changes] == [
        ("gained", "G0 X5."), ("amount", "G1 X9."), ("lost", "G0 X5."),
    ]  # fmt: skip
    assert finding_changes(before, before, ["op 1"], ["op 1"]) == ((), 3)


def test_one_of_two_like_findings_is_lost() -> None:
    two = [_finding(10, "G0 Z-2."), _finding(30, "G0 Z-2.")]
    changes, kept = finding_changes(two[:1], two, ["op 1"], ["op 1"])
    assert (kept, [c.kind for c in changes]) == (1, ["lost"])
