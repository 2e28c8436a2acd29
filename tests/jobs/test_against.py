"""A job against another revision of it, from files to answer; counter-examples: nothing changed, only numbers changed."""

import json
import shutil
from pathlib import Path

import pytest

import halfthou
from halfthou.base.value import Value
from halfthou.cli.main import app
from halfthou.flow.against import Against, against
from halfthou.flow.prove import ProveOptions
from halfthou.sheets.against_json import against_json
from tests.jobs.revision_job import renumbered, write

OPTIONS = ProveOptions(pitch_mm=1.0, what_if=False)


def ask(folder: Path, base: Path) -> Against:
    return against(folder, base, OPTIONS)


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write(tmp_path_factory.mktemp("base"), design_z=-5.0)


def test_a_job_against_itself_has_no_difference(base: Path) -> None:
    found = ask(base, base)
    assert found.revision.same
    assert found.revision.now.inputs == found.revision.before.inputs
    assert found.revision.surfaces.points > 1000
    assert found.revision.surfaces.missed
    assert all(t.now_s == t.before_s for t in found.revision.times)


def test_renumbered_lines_are_no_difference_in_moves(base: Path, tmp_path: Path) -> None:
    found = ask(write(tmp_path, design_z=-5.0, program=renumbered()), base).revision
    assert found.same
    assert found.ops[0].text_only > 10
    assert dict(found.now.inputs) != dict(found.before.inputs)  # the bytes differ all the same


def test_a_slot_a_hundredth_deeper_is_exactly_that_floor(base: Path, tmp_path: Path) -> None:
    found = ask(write(tmp_path, design_z=-5.0, nc={"z": "-5.01"}), base).revision
    assert [(c.kind, c.now_lines, c.before_lines) for c in found.ops[0].changes if c.kind != "effect"] == [
        ("changed", ("N70 G0 Z-5.01",), ("N70 G0 Z-5.",))
    ]
    assert len(found.surfaces.moved) == 1
    one = found.surfaces.moved[0]
    assert (one.kind, one.tool, one.now.line, one.before.line) == ("moved", 1, 9, 9)
    assert one.surface.startswith("face ")
    assert isinstance(one.amount, Value)
    assert one.amount.best == pytest.approx(-0.010, abs=one.amount.bound)
    assert one.amount.bound < 5e-4
    assert one.points == one.of
    assert one.point_mm[2] == pytest.approx(-5.01, abs=1e-3)
    assert not found.findings
    assert not (found.tools or found.setup or found.machine or found.design)


def test_a_faster_feed_changes_time_and_no_surface(base: Path, tmp_path: Path) -> None:
    found = ask(write(tmp_path, design_z=-5.0, nc={"f": "900"}), base).revision
    assert not found.surfaces.moved
    by = {(t.op, t.tool): (t.now_s or 0) - (t.before_s or 0) for t in found.times}
    assert by["op 1", 1] == pytest.approx(80 / (900 / 60) - 80 / (600 / 60), abs=0.02)
    assert by["op 1", 2] == 0
    assert by["", -1] == pytest.approx(by["op 1", 1])


def test_a_shorter_register_alone_moves_the_floor(base: Path, tmp_path: Path) -> None:
    """The tool is as long as before; only the table says 0.03 less, so the tip goes 0.03 deeper."""
    folder = write(tmp_path, design_z=-5.0)
    text = (folder / "tools.csv").read_text().replace("max_rpm,", "max_rpm,length_register,")
    text = text.replace("15000,true,0", "15000,109.97,true,0").replace("15000,true,118", "15000,130,true,118")
    (folder / "tools.csv").write_text(text)
    found = ask(folder, base).revision
    assert found.ops[0].changes == ()
    assert [d.group for d in found.tools] == ["register 1 planned"]
    assert len(found.surfaces.moved) == 1
    assert isinstance(found.surfaces.moved[0].amount, Value)
    assert found.surfaces.moved[0].amount.best == pytest.approx(-0.030, abs=3e-4)


def test_findings_gained_and_lost(base: Path, tmp_path: Path) -> None:
    folder = write(tmp_path / "now", design_z=-5.0, nc={"extra": "G0 X30. Y30. \nN35 G43 H1 Z-3.\nG49 G0 Z100.\n"})
    found = ask(folder, base).revision
    gained = [c for c in found.findings if c.kind == "gained"]
    assert {c.finding.code for c in gained} >= {"P211"}
    back = ask(base, folder).revision
    assert sorted((c.finding.code, c.finding.place.text) for c in back.findings if c.kind == "lost") == sorted(
        (c.finding.code, c.finding.place.text) for c in gained
    )


def test_a_design_with_a_deeper_slot_loses_and_gains(base: Path, tmp_path: Path) -> None:
    found = ask(write(tmp_path, design_z=-5.2), base).revision
    assert not found.surfaces.moved
    assert any("plane at" in d.now and d.now != d.before for d in found.design)
    assert any(c.kind == "gained" and c.finding.code.startswith("P30") for c in found.findings)


def test_another_machine_and_offset_are_told(base: Path, tmp_path: Path) -> None:
    found = ask(write(tmp_path, design_z=-5.0, x="-310", machine={"most_rpm": "5000"}), base).revision
    assert [(d.what, d.now) for d in found.machine] == [("spindle most", "5000 1/min")]
    assert [(d.group, d.what) for d in found.setup] == [("G54 planned, op 1", "origin")]
    assert any(c.kind == "gained" and c.finding.code == "P103" for c in found.findings)
    assert not found.surfaces.moved


def cli(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    """Exit code, standard output and error of the command as typed."""
    with pytest.raises(SystemExit) as ended:
        app(["prove", *words])
    out = capsys.readouterr()
    return int(ended.value.code or 0), out.out, out.err


SHORT = ("--pitch", "1", "--no-what-if", "--quiet")


def test_the_command_line_prints_differences_and_its_exit_code_is_the_job_s(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    good, deeper = write(tmp_path / "a"), write(tmp_path / "b", nc={"z": "-5.01"})
    code, out, _ = cli(capsys, str(deeper), "--against", str(good), *SHORT)
    assert code == 0
    assert "- N70 G0 Z-5.\n" in out
    assert "+ N70 G0 Z-5.01\n" in out
    assert "MOVED  floor at Z-5.010 made by T1\n      -0.010 mm along the normal (within 0.001 mm)" in out
    wrong = write(tmp_path / "c", nc={"s": "13000"})
    code, out, _ = cli(capsys, str(wrong), "--against", str(good), *SHORT)
    assert code == 1
    assert "GAINED  op 1: STOP P103" in out


def test_json_and_report(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    good, deeper = write(tmp_path / "a"), write(tmp_path / "b", nc={"z": "-5.01"})
    report = tmp_path / "r.pdf"
    code, out, err = cli(capsys, str(deeper), "--against", str(good), "--json", "--report", str(report), *SHORT)
    assert code == 0, err
    body = json.loads(out)
    assert body["schema"] == "halfthou.against/1"
    assert body["against"]["same"] is False
    assert [s["amount"]["best"] for s in body["against"]["surfaces"]["moved"]] == [pytest.approx(-0.010, abs=2e-4)]
    assert body["proof"]["schema"] == "halfthou.proof/1"
    assert body["stamp"] == body["against"]["now"]["stamp"]
    assert report.read_bytes().startswith(b"%PDF")
    keys = (Path(__file__).resolve().parents[2] / "docs" / "json.md").read_text()
    assert [key for key in body["against"] if f"`{key}`" not in keys] == []


def test_an_earlier_proof_is_out_of_date_when_an_input_changed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job, old = write(tmp_path / "a"), tmp_path / "old.json"
    code, out, _ = cli(capsys, str(job), "--json", *SHORT)
    old.write_text(out)
    assert cli(capsys, str(job), "--still", str(old))[0] == code == 0
    program = job / "op1.nc"
    program.write_text(program.read_text().replace("Z-5.", "Z-5.1"))
    code, out, _ = cli(capsys, str(job), "--still", str(old))
    assert code == 1
    assert [line.split(":")[0].strip() for line in out.splitlines() if ": changed (" in line] == ["program op1.nc"]
    body = json.loads(cli(capsys, str(job), "--still", str(old), "--json")[1])
    assert [c["role"] for c in body["changes"]] == ["program op1.nc"]
    assert body["holds"] is False
    code, _, err = cli(capsys, str(job), "--still", str(program))
    assert code == 2
    assert "F601" in err


def test_a_revision_that_cannot_be_read_is_complained_of(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = cli(capsys, str(write(tmp_path / "a")), "--against", str(tmp_path / "none"), *SHORT)
    assert code == 2
    assert "F001" in err


def test_a_job_moved_as_a_whole_is_compared_by_its_design(base: Path, tmp_path: Path) -> None:
    """Ten further in X: stock, program and design alike; the part is the same."""
    folder = write(tmp_path, design_z=-5.0)
    text = (folder / "job.toml").read_text().replace("shift = [0, 0, 0]", "shift = [10, 0, 0]")
    text = text.replace("low = [0, 0, -20]\nhigh = [60, 40, 0]", "low = [10, 0, -20]\nhigh = [70, 40, 0]")
    (folder / "job.toml").write_text(text)
    program = (folder / "op1.nc").read_text()
    for old, new in (("X-10.", "X0."), ("X70.", "X80."), ("X50.", "X60.")):
        program = program.replace(old, new)
    (folder / "op1.nc").write_text(program)
    found = ask(folder, base).revision
    assert not found.surfaces.moved
    assert any("compared by the design" in text for text in found.surfaces.missed)
    assert len(found.ops[0].changes) > 0
    (folder / "op1.nc").write_text(program.replace("Z-5.", "Z-5.02"))
    one = ask(folder, base).revision.surfaces.moved
    assert len(one) == 1
    assert isinstance(one[0].amount, Value)
    assert one[0].amount.best == pytest.approx(-0.02, abs=2e-4)
    assert 10 <= one[0].point_mm[0] <= 70


def test_a_cut_of_the_first_vise_is_seen_on_the_part_in_the_second(tmp_path: Path) -> None:
    both = Path(__file__).parent / "two_vises"
    other = tmp_path / "other"
    shutil.copytree(both, other)
    program = other / "both.nc"
    program.write_text(program.read_text().replace("G1 Z-6. F500", "G1 Z-6.03 F500"))
    found = ask(other, both).revision
    assert [(s.tool, s.now.line) for s in found.surfaces.moved] == [(1, 10)]
    one = found.surfaces.moved[0]
    assert isinstance(one.amount, Value)
    assert one.amount.best == pytest.approx(-0.03, abs=2e-4)
    assert one.place == "op 1, vise 2"
    assert one.point_mm[2] == pytest.approx(-20 + 6.03, abs=1e-3)  # turned over: it looks down now
    assert one.words.startswith("ceiling")
    assert ask(both, both).revision.same


def test_from_python(base: Path, tmp_path: Path) -> None:
    door = halfthou.open(base)
    found = door.against(write(tmp_path / "b", design_z=-5.0, nc={"z": "-5.01"}), pitch_mm=1.0, what_if=False)
    assert isinstance(found.revision.surfaces.moved[0].amount, Value)
    assert found.revision.surfaces.moved[0].amount.best == pytest.approx(0.01, abs=2e-4)
    old = tmp_path / "old.json"
    old.write_text(against_json(found.proof, found.revision))
    assert door.still(old).holds
    assert not halfthou.open(tmp_path / "b").still(old).holds
