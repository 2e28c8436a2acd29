"""A job on another machine of the shop: side by side, what must change; counter-example: its own machine."""

import json
from pathlib import Path

import pytest

import halfthou
from halfthou.base.errors import JobError
from halfthou.cli.main import app
from halfthou.flow.other_machine import BothMachines, on_other_machine
from halfthou.flow.prove import ProveOptions
from tests.jobs.revision_job import MACHINE, ONE, write

OPTIONS = ProveOptions(pitch_mm=1.0, what_if=False)
NAMES = 'shop = "../shop.toml"\nmachine = "first"'
M88 = '[[machine.code]]\nword = "M88"\nwhat = "{}"\ncoolant = "{}"'


def shop(folder: Path, *, first: str = "", nc: dict[str, str] | None = None, **second: str) -> Path:
    """A shop of two machines and a job on the first; `second` says where the other differs."""
    machines = [ONE | {"table": "[machine]", "codes": first}, ONE | {"table": "[machine]", "name": "second"} | second]
    folder.mkdir(exist_ok=True)
    text = "".join(MACHINE.format(**machine) for machine in machines)
    (folder / "shop.toml").write_text(f'format = 1\nunits = "mm"\n{text}')
    return write(folder / "job", shop=NAMES, nc=nc)


def ask(job: Path, name: str = "second") -> BothMachines:
    return on_other_machine(job, name, OPTIONS)


def test_its_own_machine_changes_nothing(tmp_path: Path) -> None:
    found = ask(shop(tmp_path), "first").sides
    assert found.runs_as_it_is
    assert not (found.must or found.refused or found.findings or found.habits or found.capped)
    assert all(t.now_s == pytest.approx(t.before_s) for t in found.times)
    assert {m.fits for m in found.mapped} == {True}
    assert "first-piece check" in found.first_piece
    assert dict(found.here.options).get("machine") is None
    assert dict(found.there.options)["machine"] == "first"
    assert found.here.short != found.there.short


def test_a_smaller_machine_binds_and_caps(tmp_path: Path) -> None:
    job = shop(tmp_path, travel="75", most_rpm="5000", positions="1", table_z="-450", radius="radius")
    found = ask(job).sides
    assert not found.runs_as_it_is
    fits = {f.what: f.fits_there for f in found.fits}
    assert fits["X travel, op 1"] is False  # from X-10 to X70
    assert fits["Y travel, op 1"] is True
    assert fits["highest S"] is False
    assert fits["highest T number"] is False
    assert [f.asked for f in found.fits if f.what == "X travel, op 1"] == ["80.000 mm"]
    cap = found.capped[0]
    assert (cap.what, cap.tool, cap.place.line, cap.place.word) == ("S", 1, 4, "S")
    assert cap.share_ratio == pytest.approx(5 / 6)
    assert cap.slower_s == pytest.approx(80 / 10 * 0.2, rel=0.05)  # 80 mm at 10 mm/s, a fifth longer
    assert found.placed[0].there_mm[2] == pytest.approx(-300 + 520 - 450)
    tools = {m.what: m.there for m in found.mapped if m.kind == "tool"}
    assert tools == {"T1 end mill 10": "position 1", "T2 drill 6": "by hand"}
    assert [m.there for m in found.mapped if m.kind == "stop"] == ["by hand, once a part"]
    assert any(h.what == "control radius register" and h.now == "radius" for h in found.habits)


def test_a_code_without_meaning_is_told_and_the_rest_is_still_judged(tmp_path: Path) -> None:
    job = shop(tmp_path, first=M88.format("oil mist on", "mist"), nc={"extra": "M88\n"}, most_rpm="5000")
    found = ask(job)
    assert found.there is None
    sides = found.sides
    assert [c.code for c in sides.refused] == ["N203"]
    code = next(m for m in sides.mapped if m.kind == "code")
    assert (code.what, code.here, code.there, code.fits, code.place.line) == (
        "M88",
        "oil mist on",
        "no meaning",
        False,
        5,
    )
    assert sides.capped
    assert any("does not run there" in text for text in sides.not_checked)
    assert next(t.now_s for t in sides.times if t.op == "") is not None


def test_a_code_that_means_something_else_there(tmp_path: Path) -> None:
    job = shop(tmp_path, first=M88.format("mist on", "mist"), nc={"extra": "M88\n"}, codes=M88.format("flood", "flood"))
    found = ask(job).sides
    assert not found.refused
    code = next(m for m in found.mapped if m.kind == "code")
    assert code.fits is False
    assert "coolant mist here, flood there" in code.note
    same = ask(
        shop(tmp_path / "s", first=M88.format("a", "mist"), nc={"extra": "M88\n"}, codes=M88.format("b", "mist"))
    )
    assert [m.fits for m in same.sides.mapped if m.kind == "code"] == [True]


def test_a_work_offset_the_other_control_lacks(tmp_path: Path) -> None:
    found = ask(shop(tmp_path, nc={"system": "G54.1 P3"}, extra="0")).sides
    row = next(m for m in found.mapped if m.kind == "work offset" and m.what == "G54.1 P3")
    assert row.fits is False
    assert "use G5" in row.note
    assert found.refused


def test_a_lower_table_hits_nothing_and_a_high_one_leaves_the_travel(tmp_path: Path) -> None:
    assert not ask(shop(tmp_path / "a", table_z="-500")).sides.must
    high = ask(shop(tmp_path / "b", table_z="-250")).sides  # Z zero at -30: the way to Z20 plus 130 mm tool is too long
    assert any(text.startswith("P101") and "Z leaves" in text for text in high.must)


def test_from_python(tmp_path: Path) -> None:
    found = halfthou.open(shop(tmp_path)).on_machine("second", pitch_mm=1.0, what_if=False)
    assert found.there is not None
    assert found.there.job.machine.name == "second"
    assert found.here.job.machine.name == "first"


def test_names_are_complained_of(tmp_path: Path) -> None:
    with pytest.raises(JobError) as caught:
        ask(shop(tmp_path), "secnd")
    assert [c.code for c in caught.value.complaints] == ["F101"]
    assert "'second'" in caught.value.complaints[0].do


def cli(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        app(["prove", *words, "--pitch", "1", "--no-what-if", "--quiet"])
    out = capsys.readouterr()
    return int(ended.value.code or 0), out.out, out.err


def test_command_line_json_and_page(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = shop(tmp_path, most_rpm="5000")
    report = tmp_path / "r.pdf"
    code, out, err = cli(capsys, str(job), "--machine", "second", "--report", str(report))
    assert code == 1, err
    assert "T1: S 6000 1/min is beyond 5000 1/min" in out
    assert "First piece: A change of machine calls for a new first-piece check" in out
    assert report.read_bytes().startswith(b"%PDF")
    assert cli(capsys, str(job), "--machine", "first")[0] == 0
    body = json.loads(cli(capsys, str(job), "--machine", "second", "--json")[1])
    assert body["schema"] == "halfthou.machines/1"
    assert body["sides"]["runs_as_it_is"] is False
    assert body["proof_there"]["job"]["machine"] == "second"
    keys = (Path(__file__).resolve().parents[2] / "docs" / "json.md").read_text()
    assert [key for key in body["sides"] if f"`{key}`" not in keys] == []
    assert cli(capsys, str(job), "--machine", "second", "--against", str(job))[0] == 2
