"""Files of spindle-load readings that are wrong, and the complaint each must earn; right ones teach kc."""

from pathlib import Path

import numpy as np
import pytest

import halfthou
from halfthou.base.errors import Complaint, ReadingError
from halfthou.base.value import Unknown, Value
from halfthou.files.load_readings import readings_of
from halfthou.flow.prove import ProveOptions, prove
from halfthou.nouns.answers import Proof
from halfthou.nouns.material import Band
from tests.broken.test_chatter_jobs import TOOL
from tests.broken.test_load_jobs import GOOD, JOB, SHOP

LINES = {"6.": (300, 5), "4.": (500, 8), "2.": (900, 11), "1.": (1500, 14)}  # depth: feed, line of the cut
NC = "%\nG21 G90 G17 G54\nT1 M6\nS8000 M3\n{cuts}G0 Z50.\nM5\nM30\n%\n"


def scene(folder: Path, material: str = "al") -> None:
    """Four slots side by side, 10 wide, each deeper and slower than the next: line 7, 11, 15, 19 cut."""
    cuts = ""
    for k, (depth, (feed, _)) in enumerate(LINES.items()):
        y = 8 + 14 * k
        cuts += f"G0 X-10. Y{y}.\n{'G43 H1 ' if k == 0 else ''}G0 Z20.\nG0 Z-{depth}\nG1 X110. F{feed}\n"
        cuts += "G0 Z20.\n" if k < 3 else ""
    own = {**GOOD, "material": material}
    (folder / "shop.toml").write_text(SHOP.format(**own))
    (folder / "job.toml").write_text(JOB.format(**own).replace('tools = "tools.csv"\n', "") + TOOL)
    (folder / "op1.nc").write_text(NC.format(cuts=cuts))


def cutting_lines(folder: Path) -> list[int]:
    return [k for k, text in enumerate((folder / "op1.nc").read_text().splitlines(), 1) if text.startswith("G1 X110")]


def learn(folder: Path, text: str) -> Proof:
    (folder / "loads.csv").write_text(text)
    return prove(folder, ProveOptions(pitch_mm=0.5, what_if=False, readings=folder / "loads.csv"))


WRONG = (
    ("F001", None, ""),
    ("F302", "line,power_w\n", "no readings"),
    ("F302", "line,watts\n8,900\n", "'watts' is not known"),
    ("F003", "rated = 5500\nline,load_percent\n8,20\n", "`rated` is not a known key"),
    ("F005", "rated_power_w = much\nline,load_percent\n8,20\n", "not a number"),
    ("F009", "rated_power_w = 5.5\nline,load_percent\n8,20\n", "5.5 kW is 5500"),
    ("F009", "efficiency = 85\nline,power_w\n8,900\n", "a share"),
    ("F009", "idle_load_percent = 120\nline,load_percent\n8,20\n", "in air"),
    ("F009", "line,load_percent\n8,900\n", "cannot be"),
    ("F009", "line,power_w,feed_override\n8,900,1\n", "percent"),
    ("F202", "operation,line,power_w\nop 9,8,900\n", "'op 9' is not in the job"),
    ("F301", "line;power_w\n8;900,5\n", "decimal comma"),
    ("F711", "line,power_w,load_percent\n8,900,20\n", "stands twice"),
    ("F711", "line,power_w,note\n8,,coolant on\n", "no reading"),
    ("F711", "idle_power_w = 200\nidle_load_percent = 4\nline,power_w\n8,900\n", "leave one out"),
    ("F711", "idle_power_w = 950\nline,power_w\n8,900\n", "not more than"),
    ("F712", "line,power_w\n900,900\n", "line 900 is not in the program"),
    ("F712", "line,power_w\n3,900\n", "takes nothing off"),
    ("F712", "file,line,power_w\nq.nc,8,900\n", "'q.nc' is not in the job"),
    ("F712", "line,tool,power_w\n8,7,900\n", "cut by T1, not by T7"),
)


@pytest.mark.parametrize(("code", "text", "says"), WRONG)
def test_wrong_readings_earn_their_complaint(tmp_path: Path, code: str, text: str | None, says: str) -> None:
    scene(tmp_path)
    assert cutting_lines(tmp_path)[0] == 8
    with pytest.raises(ReadingError) as caught:
        if text is None:
            prove(tmp_path, ProveOptions(pitch_mm=0.5, what_if=False, readings=tmp_path / "none.csv"))
        else:
            learn(tmp_path, text)
    assert code in {c.code for c in caught.value.complaints}, caught.value
    assert says in str(caught.value)
    assert all(c.do for c in caught.value.complaints if c.code in ("F711", "F712"))


def test_the_example_of_the_docs_reads() -> None:
    text = (
        "rated_power_w = 5500      # what 100 % stands for\nidle_load_percent = 6     # in air\nefficiency = 0.85\n"
        "operation,line,tool,load_percent,note\nop 1,41,2,38,steady\nop 1,96,3,22,\n"
    )
    complaints: list[Complaint] = []
    found = readings_of("loads.csv", text.encode(), complaints)
    assert found is not None and not complaints
    assert (found.rated_w, found.idle_ratio, found.efficiency_ratio) == (5500.0, 0.06, 0.85)
    assert [(r.line, r.tool, r.load_ratio, r.place.line) for r in found.rows] == [(41, 2, 0.38, 5), (96, 3, 0.22, 6)]


def _powers(folder: Path, kc: float, idle: float, efficiency: float) -> dict[int, float]:
    """What a drive would show, by hand: slot 10 wide, kc·removal at the mean chip of the mean-force model (mc 0.25)."""
    out = {}
    for line, (depth, (feed, _)) in zip(cutting_lines(folder), LINES.items(), strict=True):
        fz = feed / 8000 / 3
        rate = 10 * float(depth) * feed / 60  # mm³/s
        # mean of kc over the slot: P = z·ω/2π·R·kc11·ap·fz^(1−mc)·∫ sin^(1−mc)
        phi = (np.arange(20000) + 0.5) * np.pi / 20000
        mean = kc * fz**-0.25 * float(np.mean(np.sin(phi) ** 0.75)) / float(np.mean(np.sin(phi)))
        out[line] = idle + mean * rate / 1000 / efficiency
    return out


def test_readings_teach_kc(tmp_path: Path) -> None:
    """Made for kc1.1 950, idle 240 W, efficiency 0.85: found within the band, and narrower than what was held before."""
    scene(tmp_path)
    shown = _powers(tmp_path, 950.0, 240.0, 0.85)
    text = "idle_power_w = 240\nefficiency = 0.85\nline,power_w\n" + "".join(f"{n},{w:.0f}\n" for n, w in shown.items())
    proof = learn(tmp_path, text)
    assert proof.loads is not None and proof.loads.learned is not None
    own = proof.loads.learned
    at_pivot = own.kc11_mpa.best * own.pivot_mm**-own.mc
    assert at_pivot == pytest.approx(950.0 * own.pivot_mm**-0.25, rel=0.05)
    assert own.readings == own.blocks == 4
    assert own.kc11_mpa.high / own.kc11_mpa.low < own.before_mpa.high / own.before_mpa.low
    assert isinstance(own.left_out, Value) and own.left_out.best < 0.08
    assert isinstance(own.noise, Unknown) and isinstance(own.model, Unknown)
    plain = halfthou.open(tmp_path).prove(what_if=False, pitch_mm=0.5)
    before, after = plain.loads.tools[0], proof.loads.tools[0]  # type: ignore[union-attr]
    assert isinstance(before.power, Value) and isinstance(after.power, Value)
    assert after.power.best > 1.15 * before.power.best  # 950 against the group's 725
    assert after.high_ratio - after.low_ratio < before.high_ratio - before.low_ratio
    assert "learned from 4 readings" in after.source
    assert any(role == "readings" for role, _ in proof.stamp.inputs)


def test_percent_of_the_rated_power_and_an_unread_idle_are_said(tmp_path: Path) -> None:
    scene(tmp_path)
    shown = _powers(tmp_path, 950.0, 480.0, 0.85)
    text = "line,load_percent\n" + "".join(f"{n},{round(100 * w / 6000)}\n" for n, w in shown.items())
    own = learn(tmp_path, text).loads.learned  # type: ignore[union-attr]
    assert own is not None
    said = " ".join(own.said)
    assert "100 % is taken as 6000 W" in said and "idle power was not read" in said and "0.80 … 0.90" in said
    wide, idle = own.kc11_mpa, own.idle
    assert isinstance(idle, Value) and abs(idle.best - 480) < 2.5 * idle.u
    assert wide.low < 950 * own.pivot_mm ** (own.mc - 0.25) < wide.high


def test_repeated_blocks_tell_the_noise(tmp_path: Path) -> None:
    scene(tmp_path)
    shown = _powers(tmp_path, 700.0, 240.0, 0.85)
    rng = np.random.default_rng(2)
    rows = [
        f"{n},{240 + (w - 240) * (1 + 0.04 * rng.standard_normal()):.0f}\n" for n, w in shown.items() for _ in range(5)
    ]
    own = learn(tmp_path, "idle_power_w = 240\nline,power_w\n" + "".join(rows)).loads.learned  # type: ignore[union-attr]
    assert own is not None and own.readings == 20 and own.blocks == 4
    assert isinstance(own.noise, Value) and own.noise.dof == 16 and 0.01 < own.noise.best < 0.06
    assert isinstance(own.model, Value) and isinstance(own.left_out, Value)


def test_a_material_nobody_described_can_be_learned(tmp_path: Path) -> None:
    scene(tmp_path, material="unobtainium")
    shown = _powers(tmp_path, 1900.0, 240.0, 0.85)
    text = "idle_power_w = 240\nline,power_w\n" + "".join(f"{n},{w:.0f}\n" for n, w in shown.items())
    proof = learn(tmp_path, text)
    assert proof.loads is not None and proof.loads.learned is not None
    own = proof.loads.learned
    assert isinstance(own.kc11_mpa, Band)
    assert own.kc11_mpa.best * own.pivot_mm**-own.mc == pytest.approx(1900.0 * own.pivot_mm**-0.25, rel=0.08)
    assert own.kc11_mpa.high / own.kc11_mpa.low < 2.0 < own.before_mpa.high / own.before_mpa.low
