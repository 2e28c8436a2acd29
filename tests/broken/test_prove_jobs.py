"""One wrong job for every code of reach, time, tables as found and what-if; the right job earns none of them."""

from pathlib import Path

import pytest

import halfthou
from halfthou.base.finding import Finding

JOB = """format = 1
units = "mm"
part = "block"
tools = "tools.csv"
invented = true
{found}
[machine]
name = "m"
travel = {{ X = [-500, 0], Y = [-400, 0], Z = [-420, 0] }}
rapid = {{ X = 24000, Y = 24000, Z = 18000 }}
acceleration = {{ X = 3.0, Y = 3.0, Z = 2.5 }}
feed_limit = 8000
corner_tolerance = 0.01
[machine.spindle]
rpm = [50, 12000]
run_up = 1.5
nose = {{ diameter = 90, length = 120 }}
through_coolant = true
[machine.magazine]
positions = 20
change = 4.0
max_diameter = 80
max_diameter_alone = 125
max_length = 200
max_mass = 6
[machine.control]
length = "gauge line"
radius = "diameter"
rapid_path = "straight"
extra_offsets = 0
[[machine.code]]
word = "O9023"
what = "measures the tool at the setter"
time = 6.0
ends_at = {{ Z = 0 }}
sweeps = {{ low = {sweep}, high = [-250, -150, 0] }}
sets_length = true
[[machine.code]]
word = "M88"
what = "through-spindle coolant on"
coolant = "through"
[[operation]]
name = "op 1"
program = "op1.nc"
[[operation.offset]]
system = "G54"
origin = {origin}
band = [0.2, 0.2, 0.2]
{more}
[[operation.place]]
name = "vise"
offset = "G54"
[operation.place.stock]
kind = "box"
low = [0, 0, -20]
high = [100, 60, 0]
{band}
[[operation.place.body]]
name = "fixed jaw"
kind = "fixed jaw"
low = [-10, -40, -36]
high = [110, 0, -12]
[[operation.place.body]]
name = "moving jaw"
kind = "moving jaw"
low = [-10, 60, -36]
high = [110, 90, -12]
"""
HEAD = "number,name,kind,diameter,cutting_length,shank_diameter,stick_out,length,holder_diameter,holder_length,mass,max_rpm,coolant_channel"
TOOL = "{n},end mill 10,flat,10,{cut},10,35,{length},{wide},40,{mass},{rpm},{channel}"
NC = """%
G21 G90 G17 G54
T1 M6
S{s} M3
G0 X50. Y30.
{g43}Z20.
G0 Z{up}
G1 Z-2. F500
{body}
G0 Z20.
M5
M30
%
"""


def prove(folder: Path, *, what_if: bool = False, **changes: str) -> list[Finding]:
    """Findings of the base job with some texts changed."""
    text = {"origin": "[-300, -200, -300]", "more": "", "band": "", "found": "", "sweep": "[-290, -190, -90]"}
    nc = {"s": "5000", "g43": "G43 H1 ", "up": "2.", "body": "X115. F500"}
    tool = {"n": "1", "cut": "22", "length": "110", "wide": "40", "mass": "1.5", "rpm": "12000", "channel": "true"}
    extra = changes.pop("tools", "")
    for name, value in changes.items():
        if name not in ("table", "offsets"):
            next(t for t in (text, nc, tool) if name in t)[name] = value
    if "table" in changes or "offsets" in changes:
        text["found"] = "[found]\n"
    if "table" in changes:
        (folder / "t.csv").write_text(changes["table"])
        text["found"] += 'tool_table = "t.csv"\n'
    if "offsets" in changes:
        (folder / "o.csv").write_text(changes["offsets"])
        text["found"] += 'offsets = "o.csv"\n'
    (folder / "job.toml").write_text(JOB.format(**text))
    (folder / "tools.csv").write_text("\n".join(["units = mm", HEAD, TOOL.format(**tool), extra]).strip() + "\n")
    (folder / "op1.nc").write_text(NC.format(**nc).replace("T1 M6", f"T{tool['n']} M6"))
    return list(halfthou.open(folder).prove(what_if=what_if, pitch_mm=1.0).findings)


def codes(found: list[Finding]) -> set[str]:
    return {finding.code for finding in found}


WIDE = "2,end mill 5,flat,5,15,5,30,120,40,40,1,12000,true"
LONG_LINES = "\n".join(f"X{50 + 0.05 * k:.2f} Y{30 + 0.05 * (k % 2):.2f} F6000" for k in range(1, 200))
WRONG = {
    "P101": {"origin": "[-100, -200, -300]"},
    "P102": {"body": "X600. F500"},
    "P103": {"s": "15000", "rpm": "20000"},
    "P104": {"s": "9000", "rpm": "8000"},
    "P105": {"channel": "false", "body": "M88\nX115. F500\nM9"},
    "P110": {"n": "25", "g43": "G43 H25 "},
    "P111": {"wide": "100", "tools": WIDE},
    "P112": {"length": "230"},
    "P113": {"mass": "7.5"},
    "P401": {"body": "X115. F9000"},
    "P402": {"body": LONG_LINES},
    "P501": {"table": "units = mm\nslot,length,length_wear,diameter,diameter_wear\n1,109.0,0,10,0\n"},
    "P502": {"table": "units = mm\nslot,length,length_wear,diameter,diameter_wear\n1,110,0,20,0\n"},
    "P503": {"offsets": "units = mm\nsystem,X,Y,Z\nG54,-301,-200,-300\n"},
    "P504": {"table": "units = mm\nslot,length,length_wear,diameter,diameter_wear\n1,,0,10,0\n"},
}
FAMILY = ("P1", "P4", "P5", "P6")


def test_the_right_job_earns_none(tmp_path: Path) -> None:
    assert {c for c in codes(prove(tmp_path)) if c.startswith(FAMILY)} == set()


@pytest.mark.parametrize("code", sorted(WRONG))
def test_wrong_job_earns_its_code(code: str, tmp_path: Path) -> None:
    found = prove(tmp_path, **WRONG[code])
    own = [f for f in found if f.code == code]
    assert own, codes(found)
    assert own[0].what.endswith(".")
    assert own[0].place.line > 0 or code == "P102"
    also = {"P102": {"P101"}, "P104": set(), "P110": set()}.get(code, set())
    assert {c for c in codes(found) if c.startswith(FAMILY)} - {code} <= also


def test_no_length_offset_is_a_stop(tmp_path: Path) -> None:
    found = prove(tmp_path, g43="", origin="[-300, -200, -200]")
    assert "P106" in codes(found)


def test_found_short_length_takes_the_tip_down(tmp_path: Path) -> None:
    table = "units = mm\nslot,length,length_wear,diameter,diameter_wear\n1,107.0,0,10,0\n"
    found = prove(tmp_path, table=table)
    assert {"P501", "P211"} <= codes(found)


def test_what_if_datum_is_shifted(tmp_path: Path) -> None:
    found = prove(tmp_path, what_if=True, up="0.1")
    assert "P601" in codes(found)
    assert not {c for c in codes(prove(tmp_path, what_if=True)) if c.startswith("P6")}


def test_what_if_neighbouring_register(tmp_path: Path) -> None:
    more = '[[operation.offset]]\nsystem = "G55"\norigin = [-300, -200, -310]\n'
    found = prove(tmp_path, what_if=True, more=more)
    assert "P602" in codes(found)


def test_what_if_stock_is_larger(tmp_path: Path) -> None:
    found = prove(tmp_path, what_if=True, band="plus = [0, 0, 0, 0, 0, 3]")
    assert "P603" in codes(found)


def test_what_if_block_delete(tmp_path: Path) -> None:
    found = prove(tmp_path, what_if=True, body="X60. F500\n/G0 Z5.\nG0 X80. Y50.\nG1 X115. Y70.")
    assert "P604" in codes(found)


def test_declared_space_that_reaches_into_a_jaw(tmp_path: Path) -> None:
    body = "X115. F500\nG65 P9023"
    assert "P207" not in codes(prove(tmp_path, body=body))
    own = [f for f in prove(tmp_path, body=body, sweep="[-290, -190, -260]") if f.code == "P207"]
    assert own
    assert {f.body for f in own} <= {"fixed jaw", "moving jaw", "stock"}
