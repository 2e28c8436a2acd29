"""Suggested feeds from files to answer: the copy is proved again, the original stays, what cannot be written is refused."""

import json
import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

import halfthou
from halfthou.base.errors import CannotAnswer
from halfthou.base.value import Value
from halfthou.cli.main import app
from halfthou.flow.feeds import FeedAnswer, feeds
from halfthou.flow.prove import ProveOptions
from halfthou.sheets.feeds_json import feeds_json
from tests.jobs.feed_job import NC, SUB, write

OPTIONS = ProveOptions(pitch_mm=1.0, what_if=False)
PLATE = Path(__file__).resolve().parents[2] / "examples" / "ice-core-plate"
EASY = 10.0  # mm of bending: out of the way


def ask(folder: Path, into: Path | None = None) -> FeedAnswer:
    return feeds(folder, OPTIONS, into=into, bend_limit_mm=EASY)


def held(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


@pytest.fixture(scope="module")
def done(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, FeedAnswer, dict[str, bytes]]:
    root = tmp_path_factory.mktemp("feeds")
    job = write(root / "job")
    before = held(job)
    return job, root / "copy", ask(job, root / "copy"), before


def test_the_copy_differs_in_the_feeds_alone_and_the_original_in_nothing(
    done: tuple[Path, Path, FeedAnswer, dict[str, bytes]],
) -> None:
    job, into, _, before = done
    assert held(job) == before
    copy = held(into)
    assert set(copy) == {"op1.nc", "sub.nc"}
    want = before["op1.nc"].replace(b"f 900.", b"f 1350.").replace(b"F400\r", b"F600\r")
    assert copy["op1.nc"] == want
    assert copy["sub.nc"] == before["sub.nc"].replace(b"F800.0", b"F1200.0")


def test_the_copy_is_proved_and_set_beside_the_original(
    done: tuple[Path, Path, FeedAnswer, dict[str, bytes]],
) -> None:
    _, into, answer, _ = done
    copy = answer.copy
    assert copy is not None
    assert isinstance(copy.before_s, Value) and isinstance(copy.after_s, Value)
    assert isinstance(answer.feeds.saved, Value)
    assert copy.before_s.best - copy.after_s.best == pytest.approx(answer.feeds.saved.best, abs=1e-6)
    assert copy.findings == ()
    assert [(w.before, w.after) for w in copy.words] == [
        ("F900.", "F1350."), ("F400", "F600"), ("F800.0", "F1200.0")
    ]  # fmt: skip
    mill = next(p for p in copy.peaks if p.tool == 1)
    assert mill.chip_mm[0] == pytest.approx(0.06, rel=1e-6)
    assert mill.chip_mm[1] == pytest.approx(0.09, rel=1e-6)
    assert mill.power_w[0] is not None and mill.power_w[1] is not None
    assert mill.power_w[1] / mill.power_w[0] == pytest.approx(1.5**0.75, rel=1e-4)
    tap = next(p for p in copy.peaks if p.tool == 3)
    assert tap.torque_n_m[0] == tap.torque_n_m[1]
    again = halfthou.open(write(into.parent / "again", nc="", sub="")).path
    for name in ("op1.nc", "sub.nc"):
        (again / name).write_bytes((into / name).read_bytes())
    proof = halfthou.open(again).prove(pitch_mm=1.0, what_if=False)
    assert isinstance(proof.cycle, Value)
    assert proof.cycle.best == pytest.approx(copy.after_s.best, abs=1e-9)


def test_nothing_is_ever_written_over(done: tuple[Path, Path, FeedAnswer, dict[str, bytes]]) -> None:
    job, into, _, before = done
    copied = held(into)
    for folder in (into, job):
        with pytest.raises(CannotAnswer, match="not written over"):
            ask(job, folder)
    assert held(job) == before
    assert held(into) == copied


def test_json_has_the_suggestions_and_the_copy(done: tuple[Path, Path, FeedAnswer, dict[str, bytes]]) -> None:
    _, _, answer, _ = done
    told = json.loads(feeds_json(answer.proof, answer.feeds, answer.copy))
    assert told["schema"] == "halfthou.proof/1"
    tools = {t["tool"]: t for t in told["feeds"]["tools"]}
    assert (tools[1]["feed_factor"], tools[1]["binding"], tools[1]["leave"]) == (1.5, "step", None)
    assert tools[3]["leave"] and tools[3]["feed_factor"] == 1.0
    assert {limit["name"] for limit in tools[1]["limits"]} >= {"power", "torque", "bending", "chip", "machine feed"}
    assert [w["after"] for w in told["feed_copy"]["words"]] == ["F1350.", "F600", "F1200.0"]
    assert told["feed_copy"]["findings"] == []


def test_a_feed_from_a_variable_stays_and_the_rest_is_written(tmp_path: Path) -> None:
    nc = NC.replace("g1 x70. f 900. (slot)", "#1=900.\r\ng1 x70. f#1 (slot)")
    copy = ask(write(tmp_path / "job", nc=nc), tmp_path / "copy").copy
    assert copy is not None
    assert [(one.tool, "variable" in one.why) for one in copy.not_written] == [(1, True)]
    assert [w.after for w in copy.words] == ["F600"]
    assert (tmp_path / "copy" / "sub.nc").read_bytes() == SUB.encode()


def test_a_subprogram_of_two_tools_with_other_factors_is_refused(tmp_path: Path) -> None:
    nc = NC.replace("G80\r\nT3 M6", "G80\r\nG0 X-10. Y20.\r\nG0 Z2.\r\nM98 P100\r\nT3 M6")
    answer = ask(write(tmp_path / "job", nc=nc, drill="0.07"), tmp_path / "copy")
    assert answer.copy is not None
    assert answer.copy.files == ()
    assert {one.tool for one in answer.copy.not_written} == {1, 2}
    assert all("sub.nc:2 also governs" in one.why for one in answer.copy.not_written)
    assert not (tmp_path / "copy").exists()


def test_a_program_whose_way_depends_on_its_feed_is_left(tmp_path: Path) -> None:
    nc = NC.replace("G0 Z20.\r\nT2", "IF[#4109GT900]GOTO9\r\nG0 Z21.\r\nN9 G0 Z20.\r\nT2")
    copy = ask(write(tmp_path / "job", nc=nc), tmp_path / "copy").copy
    assert copy is not None and copy.files == ()
    assert all("reads its own feed" in one.why for one in copy.not_written)


def test_findings_gained_by_the_copy_are_told(tmp_path: Path) -> None:
    job = write(tmp_path / "job", curve="curve = [[1000, 10, 1047], [5000, 5.5, 2880], [12000, 2.3, 2880]]")
    answer = feeds(job, OPTIONS, into=tmp_path / "copy")
    assert answer.copy is not None
    before = {(f.code, f.tool) for f in answer.proof.findings}
    gone = {(c.finding.code, c.finding.tool) for c in answer.copy.findings if c.kind == "lost"}
    assert gone <= before


def test_a_material_without_coefficients_has_no_answer(tmp_path: Path) -> None:
    job = write(tmp_path / "job")
    text = (job / "job.toml").read_text().replace('"test alloy"', '"unknown stuff"')
    (job / "job.toml").write_text(text)
    with pytest.raises(CannotAnswer, match="unknown stuff"):
        ask(job)


def test_on_the_command_line(tmp_path: Path) -> None:
    job = write(tmp_path / "job")
    call = ["prove", str(job), "--pitch", "1", "--no-what-if", "--bend-limit", "10"]
    shown = CliRunner().invoke(app, [*call, "--feeds-into", str(tmp_path / "copy")])
    assert shown.exit_code == 0, shown.output
    assert re.search(r"T1 +end mill 10 +900 mm/min +1350 mm/min +1\.500", shown.stdout)
    assert "T3 tap M6: its feed is tied to the spindle by the pitch" in shown.stdout
    assert "The copy proved again" in shown.stdout
    twice = CliRunner().invoke(app, [*call, "--feeds-into", str(tmp_path / "copy")])
    assert twice.exit_code == 3
    as_json = CliRunner().invoke(app, [*call, "--feeds", "--json"])
    assert json.loads(as_json.stdout)["feeds"]["tools"][0]["tool"] == 1
    assert "feed_copy" not in json.loads(as_json.stdout)
    assert CliRunner().invoke(app, [*call]).exit_code == 2  # --bend-limit goes with --feeds
    assert CliRunner().invoke(app, [*call, "--feeds", "--machine", "m"]).exit_code == 2


def test_the_demo_plate(tmp_path: Path) -> None:
    before = held(PLATE)
    answer = feeds(PLATE, OPTIONS, into=tmp_path / "copy")
    assert held(PLATE) == before
    copy = answer.copy
    assert copy is not None and copy.not_written == ()
    changed = {(s.op, s.tool) for s in answer.feeds.suggestions if not s.leave}
    assert {(w.op, w.tool) for w in copy.words} == changed
    assert (0, 9) not in changed and (0, 10) not in changed  # tap, reamer
    assert (
        isinstance(copy.before_s, Value) and isinstance(copy.after_s, Value) and isinstance(answer.feeds.saved, Value)
    )
    assert copy.before_s.best - copy.after_s.best == pytest.approx(
        answer.feeds.saved.best, rel=0.01
    )  # words round down
    number = re.compile(rb"F\d+\.?\d*")
    for name in ("op1.nc", "op2.nc", "holes.nc"):
        old, new = (PLATE / name).read_bytes(), (tmp_path / "copy" / name).read_bytes()
        assert number.sub(b"F", old) == number.sub(b"F", new)
    assert [c for c in copy.findings if c.kind == "gained" and c.finding.code.startswith(("P1", "P2", "P3"))] == []


def test_with_a_life_line_the_speed_word_changes_too(tmp_path: Path) -> None:
    job = write(tmp_path / "job", chip="0.06", life="life = { speed = 200, minutes = 20, n = 0.25 }")
    answer = ask(job, tmp_path / "copy")
    one = answer.feeds.suggestions[0]
    speed = 200e3 / (3.141592653589793 * 10 * 5000)  # m/min over the cutting speed now
    assert (one.feed_ratio, one.speed_ratio) == pytest.approx((speed, speed), rel=1e-6)
    assert one.binding == "chip, life"
    assert answer.copy is not None
    mine = [(w.before, w.after) for w in answer.copy.words if w.tool == 1]
    assert mine == [("S5000", "S6366"), ("F900.", "F1145."), ("F800.0", "F1018.5")]
    mill = next(p for p in answer.copy.peaks if p.tool == 1)
    assert mill.chip_mm[1] == pytest.approx(mill.chip_mm[0], rel=1e-3)
