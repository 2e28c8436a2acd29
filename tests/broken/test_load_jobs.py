"""One wrong job for every code of the loads; the right job earns none of them, and without a material that is said."""

from pathlib import Path

import pytest

import halfthou
from halfthou.base.value import Value
from halfthou.nouns.answers import Proof

SHOP = """format = 1
units = "mm"
[[machine]]
name = "m"
travel = {{ X = [-500, 0], Y = [-400, 0], Z = [-420, 0] }}
rapid = {{ X = 24000, Y = 24000, Z = 18000 }}
acceleration = {{ X = 3.0, Y = 3.0, Z = 2.5 }}
feed_limit = 8000
corner_tolerance = 0.01
[machine.spindle]
rpm = [50, 12000]
curve = [[1500, {nm}, {w}], [12000, {nm2}, {w}]]
{short}
run_up = 1.5
stiffness = 40
through_coolant = {through}
[machine.magazine]
positions = 20
change = 4.0
[machine.control]
length = "gauge line"
radius = "diameter"
rapid_path = "straight"
dwell = "ms"
start_units = "mm"
[[machine.code]]
word = "M88"
what = "through-spindle coolant on"
coolant = "through"
[[material]]
name = "al"
group = "wrought aluminium"
"""
JOB = """format = 1
units = "mm"
part = "block"
quantity = 20
shop = "shop.toml"
machine = "m"
material = "{material}"
tools = "tools.csv"
invented = true
[[operation]]
name = "op 1"
program = "op1.nc"
[[operation.offset]]
system = "G54"
origin = [-300, -200, -300]
[[operation.place]]
name = "vise"
offset = "G54"
[operation.place.stock]
kind = "box"
low = [0, 0, -40]
high = [100, 60, 0]
[[operation.place.body]]
name = "fixed jaw"
kind = "fixed jaw"
low = [-10, -40, -56]
high = [110, 0, -32]
"""
HEAD = "number,name,kind,diameter,point_angle,cutting_length,shank_diameter,stick_out,length,holder_diameter,holder_length,max_rpm,teeth,helix,material,life,chip_high,coolant_channel,pitch"
MILL = "1,end mill 10,flat,10,,26,10,{stick},110,40,40,12000,3,40,carbide,{life},{chip},true,"
DRILL = "2,drill 5,drill,5,140,45,5,60,140,40,40,12000,2,30,carbide,300,,true,"
SLOT = "G0 X-10. Y30.\nG43 H1 Z20.\nG0 Z-{ap}\nG1 X110. F{feed}\nG0 Z20."
WALL = "G0 X-10. Y{y}\nG43 H1 Z20.\nG0 Z-{ap}\nG1 X110. F{feed}\nG0 Z20."
HOLE = "M5\nT2 M6\nS4000 M3\nG0 X50. Y15.\nG43 H2 Z20.\n{hole}\nG80\nG0 Z20."
NC = "%\nG21 G90 G17 G54\nT1 M6\nS{s} M3\n{first}\n{more}\nM5\nM30\n%\n"
TAP = "3,tap M6,tap,6,,20,6,50,140,40,40,3000,3,0,hss,,,true,1"
TAPPED = "M5\nT3 M6\nS500 M3\nG0 X50. Y15.\nG43 H3 Z20.\nG84 X50. Y15. Z-10. R5. F{tap}\nG80\nG0 Z20."
HOLE_AND_TAP = HOLE + "\n" + TAPPED
GOOD = {
    "tap": "500", "short": "",
    "nm": "20", "nm2": "4.7", "w": "6000", "through": "true", "material": "al", "stick": "30", "life": "300", "chip": "0.12",
    "s": "8000", "ap": "4.", "feed": "500", "first": SLOT, "more": "", "y": "64.", "hole": "G81 X50. Y15. Z-12. R2. F400",
}  # fmt: skip


def prove(folder: Path, **changes: str) -> Proof:
    """The base job with some texts changed."""
    own = {**GOOD, **changes}
    own["first"], own["more"] = own["first"].format(**own), own["more"].format(**own)
    (folder / "shop.toml").write_text(SHOP.format(**own))
    (folder / "job.toml").write_text(JOB.format(**own))
    (folder / "tools.csv").write_text("\n".join(["units = mm", HEAD, MILL.format(**own), DRILL, TAP]) + "\n")
    (folder / "op1.nc").write_text(NC.format(**own))
    return halfthou.open(folder).prove(what_if=False, pitch_mm=0.5)


def codes(proof: Proof) -> set[str]:
    """Codes of the loads; chatter (P711, P712) has jobs of its own."""
    return {f.code for f in proof.findings if f.code.startswith("P70") or f.code == "P710"}


WRONG = {
    "P701": {"w": "700", "nm": "4.4", "nm2": "0.55", "feed": "1400"},
    "P702": {"nm": "1.5", "nm2": "0.9", "feed": "1400"},
    "P703": {"stick": "52"},
    "P704": {"first": WALL, "ap": "20.", "stick": "49", "y": "60.", "feed": "700"},
    "P705": {"first": WALL, "feed": "50"},
    "P706": {"chip": "0.02"},
    "P707": {"more": HOLE_AND_TAP, "tap": "550"},
    "P708": {"life": "0.9"},
    "P709": {"through": "false", "more": "M88\nG4 P100\nM9"},
    "P710": {"more": HOLE, "hole": "G81 X50. Y15. Z-30. R2. F400"},
}
WRONG["P713"] = {
    "w": "450", "nm": "2.8", "nm2": "0.35", "feed": "900",
    "short": "short_curve = [[1500, 20, 6000], [12000, 4.7, 6000]]\nshort_time = 60", "more": "\n".join(SLOT.replace("Y30", f"Y{y}") for y in (16, 44)),
}  # fmt: skip
ALSO = {"P713": {"P704"}, "P701": {"P702", "P704"}, "P702": {"P701", "P704"}, "P703": {"P704"}}


def test_the_right_job_earns_none(tmp_path: Path) -> None:
    proof = prove(tmp_path, more=HOLE_AND_TAP)
    assert codes(proof) == set()
    assert proof.loads is not None
    own = {t.tool: t for t in proof.loads.tools}
    # slot 10 wide 4 deep at 500 mm/min: 20 cm³/min; 725 MPa · (2/π · 0.0208)^(−0.25) = 2136 MPa at the mean chip: 0.71 kW
    assert own[1].peak_mm3_per_s == pytest.approx(10 * 4 * 500 / 60, rel=0.02)
    assert isinstance(own[1].power, Value) and own[1].power.best == pytest.approx(712, rel=0.05)
    assert isinstance(own[1].chip_high, Value) and own[1].chip_high.best == pytest.approx(500 / 8000 / 3, rel=0.01)
    # drill 5 mm, 0.1 a turn, 0.047 thick chips, kc 1557 MPa: kc·f·D²/8 = 0.487 N·m
    assert isinstance(own[2].torque, Value) and own[2].torque.best == pytest.approx(0.487, rel=0.02)


@pytest.mark.parametrize("code", sorted(WRONG))
def test_wrong_job_earns_its_code(code: str, tmp_path: Path) -> None:
    proof = prove(tmp_path, **WRONG[code])
    own = [f for f in proof.findings if f.code == code]
    assert own, codes(proof)
    assert own[0].what.endswith(".") and own[0].place.line > 0 and own[0].do
    assert codes(proof) - {code} <= ALSO.get(code, set())


def test_a_material_nobody_described_is_said(tmp_path: Path) -> None:
    proof = prove(tmp_path, material="unobtainium")
    assert proof.loads is None and any("'unobtainium'" in text for text in proof.not_checked)
