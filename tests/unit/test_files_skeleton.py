"""A job file made from plain facts: it says what was seen, asks for the rest, and loads once that is filled in."""

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import pytest

from halfthou.base.errors import JobError
from halfthou.files.job import load_job
from halfthou.files.skeleton import Facts, OpFacts, Seen, ToolUse, skeleton
from tests.unit.files_scene import PROGRAM, SHOP

OP1 = OpFacts(
    program="op1.nc",
    tools=(
        ToolUse(number=1, lengths=(1,), radii=(1, 21), line=3, comment="(END MILL 10)", lowest_z_mm=-12.7),
        ToolUse(number=4, lengths=(7,), line=20, comment='(DRILL "5")\x07'),
    ),
    offsets=("G54",),
    low_mm=(-6.0, -5.0, -12.7),
    high_mm=(106.0, 65.0, 2.0),
    unknown=(Seen(word="M88", count=3, line=17, text="M88 (COOLANT)"),),
    missing=(Seen(word="O9001", count=1, line=31, text="M98 P9001"),),
)
OP2 = OpFacts(program="op2.nc", tools=(ToolUse(number=1, line=2),), offsets=("G55", "G54.1 P2"))
FACTS = Facts(part='plate "A"\\7', unit="mm", unit_said=True, ops=(OP1, OP2))
FILL = {
    "number": "1", "kind": '"drill"\npoint_angle = 118', "diameter": "10", "cutting_length": "22", "stick_out": "32", "length": "107",
    "holder_diameter": "34", "origin": "[-300, -200, -380]", "low": "[0, 0, -20]", "high": "[100, 60, 0]",
    "turn": '"180 about X"', "shift": "[0, 60, -14]", "machine": '"compact"',
}  # fmt: skip


def filled(text: str) -> str:
    """Every marked line with something plausible in it."""
    lines = []
    for line in text.split("\n"):
        if line.endswith("# <--") or "# <-- " in line:
            assert '"?"' in line
            key = line.split(" = ")[0]
            line = f"{key} = {FILL[key]}"
        lines.append(line)
    return "\n".join(lines)


def put(folder: Path, text: str) -> Path:
    for name in ("op1.nc", "op2.nc"):
        (folder / name).write_text(PROGRAM)
    (folder / "job.toml").write_text(text)
    return folder


@pytest.mark.parametrize("unit", ["mm", "inch"])
def test_it_is_toml_and_loading_it_asks_for_every_marked_line(unit: str, tmp_path: Path) -> None:
    text = skeleton(replace(FACTS, unit=unit))
    assert tomllib.loads(text)["part"] == 'plate "A"\\7'
    marked = [k for k, line in enumerate(text.split("\n"), 1) if "# <--" in line]
    with pytest.raises(JobError) as caught:
        load_job(put(tmp_path, text))
    assert {c.code for c in caught.value.complaints} == {"F004"}
    assert sorted(c.place.line for c in caught.value.complaints) == marked
    assert all("not filled in yet" in c.what for c in caught.value.complaints)


def test_filled_in_it_loads(tmp_path: Path) -> None:
    loaded = load_job(put(tmp_path, filled(skeleton(FACTS))))
    job = loaded.job
    assert [tool.number for tool in job.tools] == [1, 4]
    assert [op.program for op in job.ops] == ["op1.nc", "op2.nc"]
    assert [place.offset for op in job.ops for place in op.places] == [1, 2, 102]
    assert [o.system for op in job.ops for o in op.offsets] == [1, 2, 102]
    assert job.ops[1].places[0].stock.kind == "from"
    assert len(job.ops[0].places[0].bodies) == 2
    assert job.machine.name == "not stated"


def test_with_a_shop_file_of_several_machines_the_machine_is_asked(tmp_path: Path) -> None:
    (tmp_path / "shop.toml").write_text(SHOP)
    text = skeleton(replace(FACTS, shop="shop.toml", machines=("compact", "small"), shop_tools=("em10",)))
    assert 'machine = "?"   # <-- one of: compact, small' in text
    assert '# So may tools of the shop file: magazine = { 1 = "em10" }' in text
    text = filled(text).replace('system = "G54.1 P2"', 'system = "G54.1 P2"')
    assert load_job(put(tmp_path, text)).job.machine.name == "compact"
    one = skeleton(replace(FACTS, shop="shop.toml", machines=("compact",)))
    assert load_job(put(tmp_path, filled(one))).job.machine.name == "compact"


def test_it_says_what_was_seen_in_the_unit_of_the_program() -> None:
    text = skeleton(FACTS)
    assert "op1.nc:3, length register H1, radius register D1, 21, cuts down to Z-12.700" in text
    assert "op1.nc:20, length register H7 (not the tool's own number)" in text
    assert "op2.nc:2, no length register called" in text
    assert "the program says: (END MILL 10)" in text
    assert "# M88 (3 times, first op1.nc:17: M88 (COOLANT)) is not known" in text
    assert "# O9001 (once op1.nc:31: M98 P9001) is called and not there" in text
    assert "cutting moves reach X -6.000 to 106.000, Y -5.000 to 65.000, Z -12.700 to 2.000" in text
    assert "\x07" not in text
    inch = skeleton(replace(FACTS, unit="inch", unit_said=False))
    assert "cuts down to Z-0.5000" in inch
    assert 'units = "inch"   # no program says G20 or G21: check this' in inch


def test_a_program_that_calls_no_tool_asks_for_one(tmp_path: Path) -> None:
    facts = Facts(part="x", unit="mm", unit_said=True, ops=(OpFacts(program="op1.nc"),))
    text = skeleton(facts)
    assert re.search(r'number = "\?"   # <--', text)
    assert [tool.number for tool in load_job(put(tmp_path, filled(text))).job.tools] == [1]
