"""A part turned between cuts by the rotary axis: the small example job, and wrong variants of it (P107 to P109)."""

import re
import shutil
from pathlib import Path

import numpy as np
import pytest

import halfthou
from halfthou.base.errors import CannotAnswer, InputError, ProgramError

FOLDER = Path(__file__).parent / "rotary"


def variant(tmp_path: Path, *changes: tuple[str, str, str]) -> Path:
    """A copy of the job with (file, old, new) replaced."""
    folder = tmp_path / "job"
    shutil.copytree(FOLDER, folder)
    for file, old, new in changes:
        text = (folder / file).read_text()
        assert old in text
        (folder / file).write_text(text.replace(old, new))
    return folder


def prove(folder: Path, **more):
    return halfthou.open(folder).prove(what_if=False, pitch_mm=0.5, **more)


def codes(folder: Path) -> list[tuple[str, str, int]]:
    return [(f.code, f.severity.name, f.place.line) for f in prove(folder).findings if f.code.startswith(("P1", "P2"))]


def test_four_sides() -> None:
    proof = prove(FOLDER)
    assert [f.code for f in proof.findings if f.severity.name != "NOTE"] == []
    assert any("stands at 0" in said for said in proof.not_checked)
    run = halfthou.open(FOLDER).run(pitch_mm=0.5)
    part = run.removals[0][0]
    spots = {
        (30, 0, 18): False, (30, 0, 15): True,  # slot on top at A0
        (60, 18, 0): False, (60, -18, 0): True,  # at A90 the +Y side is on top
        (30, 0, -18): False, (30, 0, -16): True,  # at A180 the underside is
        (20, 15, 15): False, (20, -15, 15): True, (20, 6, 6): False, (20, 5, 5): True,  # hole in the edge, tip at 8
    }  # fmt: skip
    assert part.inside(np.array(list(spots), dtype=float)).tolist() == list(spots.values())
    assert part.makers(np.array([[60.0, 15.0, 0.0]])).tolist() == [
        int(np.flatnonzero((run.moves.moves["line"] == 13) & (run.moves.moves["kind"] == 1))[0])
    ]


def test_turning_takes_its_time(tmp_path: Path) -> None:
    slow = variant(tmp_path, ("job.toml", "degree = 0.01, turn = 0.8", "degree = 0.02, turn = 1.8"))
    a, b = prove(FOLDER).cycle, prove(slow).cycle
    # 90, 90, 135 and 45 degrees: four turns, 360 degrees
    assert b.best - a.best == pytest.approx(4 * 1.0 + 360 * 0.01, abs=0.01)  # type: ignore[union-attr]


def test_out_of_range(tmp_path: Path) -> None:
    folder = variant(tmp_path, ("job.toml", "range = [-360, 360]", "range = [-120, 120]"))
    found = [f for f in prove(folder).findings if f.code == "P107"]
    assert [(f.severity.name, f.place.line) for f in found] == [("STOP", 15)]
    assert found[0].amount.best == pytest.approx(60.0)  # type: ignore[union-attr]
    assert [c for c in codes(folder) if c[0] != "P107"] == []


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [("A90\nG0 X60 Y-30", "G1 A90 F500\nG0 X60 Y-30", 10), ("G1 Y30 F800 (SLOT ACROSS, SIDE", "G1 Y30 A100 F800 (SIDE", 13),
     ("G0 Z60\nA90\nG0 X60 Y-30\n", "G0 Z20\nA90 X60 Y-30\nG0 Z60\n", 11)],
)  # fmt: skip
def test_cutting_while_it_turns_is_refused(tmp_path: Path, old: str, new: str, line: int) -> None:
    folder = variant(tmp_path, ("op1.nc", old, new))
    with pytest.raises(ProgramError) as caught:
        prove(folder)
    assert {c.code for c in caught.value.complaints} == {"P108"}
    first = caught.value.complaints[0]
    assert "A" in first.place.word
    assert abs(first.place.line - line) <= 1
    assert first.place.file.endswith("op1.nc")


def test_rapid_outside_the_circle_may_turn_and_move(tmp_path: Path) -> None:
    folder = variant(tmp_path, ("op1.nc", "A90\nG0 X60 Y-30", "G0 X60 Y-30 A90"))
    assert codes(folder) == []
    both = [halfthou.open(f).run(pitch_mm=0.5).removals[0][0] for f in (FOLDER, folder)]
    points = np.random.default_rng(1).uniform([0, -20, -20], [80, 20, 20], (3000, 3))
    np.testing.assert_array_equal(both[0].inside(points), both[1].inside(points))


def test_tool_inside_the_circle(tmp_path: Path) -> None:
    beside = ("op1.nc", "G0 Z60\nA90\n", "G0 Z8\nA10\nG0 Z60\nA90\n")
    found = [f for f in prove(variant(tmp_path, beside)).findings if f.code in ("P109", "P211")]
    assert [(f.code, f.severity.name, f.place.line, f.body) for f in found] == [("P109", "CARE", 10, "stock")]
    amount = found[0].amount.best  # type: ignore[union-attr]
    assert amount == pytest.approx(np.hypot(20, 20) - np.hypot(25, 8), abs=0.001)


def test_a_corner_that_comes_by(tmp_path: Path) -> None:
    low = variant(tmp_path, ("op1.nc", "G0 Z60\nA90\nG0 X60 Y-30\n", "G0 X60 Y0\nG0 Z22\nA90\nG0 Z60\nG0 X60 Y-30\n"))
    found = [f for f in prove(low).findings if f.code == "P109"]
    assert [(f.severity.name, f.body) for f in found] == [("STOP", "stock")]
    assert found[0].amount.best == pytest.approx(np.hypot(20, 20) - 22.0, abs=0.001)  # type: ignore[union-attr]


def test_holder_into_the_chuck_only_where_it_has_turned(tmp_path: Path) -> None:
    """A lug of the chuck, sideways at rest, stands up at A90: the holder meets it there and nowhere else."""
    lug = '[[operation.place.body]]\nname = "lug"\nkind = "clamp"\nlow = [45, 20, -5]\nhigh = [75, 75, 5]\n'
    folder = variant(
        tmp_path, ("job.toml", 'name = "chuck"\nkind = "other"\n', 'name = "chuck"\nkind = "other"\nmay_cut = 0\n')
    )
    (folder / "job.toml").write_text((folder / "job.toml").read_text() + lug)
    found = [f for f in prove(folder).findings if f.severity.name == "STOP" and f.body == "lug"]
    assert found
    assert all("at A 90" in " ".join(f.more) for f in found)
    still = variant(tmp_path / "b")
    (still / "job.toml").write_text((still / "job.toml").read_text() + lug + "turns = false\n")
    assert [f for f in prove(still).findings if f.severity.name == "STOP" and f.body == "lug"] == []


def test_refused_without_where_it_stands(tmp_path: Path) -> None:
    text = (FOLDER / "job.toml").read_text()
    folder = variant(tmp_path)
    (folder / "job.toml").write_text(re.sub(r"\[machine.rotary\][^\[]*(\[[^\[]*)*?(?=\n\[\[operation\]\])", "", text))
    assert "[machine.rotary]" not in (folder / "job.toml").read_text()
    with pytest.raises(CannotAnswer, match=r"op1.nc:10.*\[machine.rotary\]"):
        prove(folder)
    (folder / "job.toml").write_text(text.replace('system = "G54"\norigin = [-300, -200, -340]', 'system = "G54"'))
    with pytest.raises((CannotAnswer, InputError)):
        prove(folder)


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [('rotary = ["A"]', "rotary = []", "F006"), ("centre = [-200, -340]", "centre = [-200, -34000]", "F007"),
     ("range = [-360, 360]", "range = [360, -360]", "F009"), ("degree = 0.01", "degree = 10", "F007"),
     ("turn = 0.8", "turn = 0.8, turns = 1", "F003"), ('axis = "A"', 'axis = "C"', "F006")],
)  # fmt: skip
def test_wrong_machine_files(tmp_path: Path, old: str, new: str, code: str) -> None:
    folder = variant(tmp_path, ("job.toml", old, new))
    with pytest.raises(InputError) as caught:
        prove(folder)
    assert code in {c.code for c in caught.value.complaints}


def test_probing_a_part_that_has_turned(tmp_path: Path) -> None:
    """The floor of the slot on top at A0 is met from the side at A90, where it stands upright; a lug turns with it."""
    lug = '[[operation.place.body]]\nname = "lug"\nkind = "clamp"\nlow = [75, 20, -5]\nhigh = [80, 40, 5]\n'
    nc = (
        "%\nO1\nG90 G21 G17 G40 G80\nT1 M6\nG54 G0 X30 Y-30 S6000 M3\nG43 H1 Z60\nG0 Z16\nG1 Y30 F800\nG0 Z60\nM5\nT9 M6\n"
        "G0 X30 Y0 A90\nG43 H9 Z60\nG0 X30 Y-30\nG0 Z0\nG38.2 Y0 F100\n#100=#5062\nG0 Y-30\nG0 Z60\nG0 X78 Y0\n"
        "G38.2 Z0 F100\n#101=#5063\nG0 Z60\nG91 G28 Z0\nM30\n%\n"
    )
    folder = variant(tmp_path)
    (folder / "op1.nc").write_text(nc)
    (folder / "job.toml").write_text((folder / "job.toml").read_text() + lug)
    with (folder / "tools.csv").open("a") as file:
        file.write("9,probe,probe,4,10,3,60,150,40,60,\n")
    run = halfthou.open(folder).run(pitch_mm=0.5)
    values = dict(run.readings[0].parameters)
    # at A90 what lay on top at rest looks along -Y: the slot's floor z 16 is at Y -16 and the ball (radius 2) stops at -18
    assert values[100] == pytest.approx(-18.0, abs=0.001)
    assert values[101] == pytest.approx(40.0, abs=0.001)  # the lug's end at y 40 stands at Z 40


HEAD = "%\nO1\nG90 G21 G17 G40 G80\nT1 M6\nG54 G0 X30 Y-30 S6000 M3\nG43 H1 Z60\n"


def contacts(tmp_path: Path, body: str) -> list:
    folder = variant(tmp_path)
    (folder / "op1.nc").write_text(f"{HEAD}{body}G0 Z60\nM30\n%\n")
    return [f for f in prove(folder).findings if f.code.startswith("P2")]


def test_rapid_into_the_edge_that_stands_up_at_45(tmp_path: Path) -> None:
    found = contacts(tmp_path, "G0 X20 Y0\nA45\nG0 Z27\n")
    assert [(f.code, f.place.line) for f in found] == [("P211", 9)]
    assert found[0].amount.best == pytest.approx(np.hypot(20, 20) - 27.0, abs=0.03)
    assert any("A 45°" in line for line in found[0].more)
    assert contacts(tmp_path / "b", "G0 X20 Y0\nA45\nG0 Z28.4\n") == []


def test_rapid_through_a_slot_cut_before_the_part_went_round(tmp_path: Path) -> None:
    """Back at A0, and at A360, the slot is still there; beside it the stock is."""
    there = "Z16\nG1 Y30 F800\nG0 Z60\nA90\nX60 Y-30\nZ16\nG1 Y30\nG0 Z60\n{back}\nX{x} Y-30\nZ{z}\nG0 Y30\n"
    for k, back in enumerate(("A0", "A360")):
        assert contacts(tmp_path / f"in{k}", there.format(back=back, x=30, z=16)) == []
        found = contacts(tmp_path / f"side{k}", there.format(back=back, x=30.5, z=16))
        assert [(f.code, f.place.line) for f in found] == [("P211", 18)]
        found = contacts(tmp_path / f"deep{k}", there.format(back=back, x=30, z=15))
        assert [f.code for f in found] == ["P211"]
        assert found[0].amount.best == pytest.approx(1.0, abs=0.02)


def test_two_parts_on_the_axis(tmp_path: Path) -> None:
    folder = variant(tmp_path)
    text = (folder / "job.toml").read_text()
    (folder / "job.toml").write_text(
        text.replace('[[operation.place]]\nname = "chuck"', '[[operation.offset]]\nsystem = "G55"\norigin = [-200, -190, -340]\n'
                     '[[operation.place]]\nname = "chuck"')
        + '[[operation.place]]\nname = "end"\noffset = "G55"\n[operation.place.stock]\nkind = "box"\nlow = [0, -30, -20]\n'
        "high = [40, 10, 20]\n"
    )  # fmt: skip
    (folder / "op1.nc").write_text(f"{HEAD}A90\nZ17\nG1 Y30 F800\nG0 Z60\nG55 X20 Y-40\nZ18\nG1 Y30\nG0 Z60\nM30\n%\n")
    one, two = halfthou.open(folder).run(pitch_mm=0.5).removals[0]
    # the second part's zero lies 10 beyond the centre line in Y: at A90 its top is what lay at its own +Y side, y 10 ... at z 20
    assert one.inside(np.array([[30.0, 18.0, 0.0], [30.0, 16.0, 0.0]])).tolist() == [False, True]
    assert two.inside(np.array([[20.0, 9.0, 0.0], [20.0, 7.0, 0.0], [5.0, 9.0, 0.0]])).tolist() == [False, True, True]


def test_many_turns_too_low_are_one_finding(tmp_path: Path) -> None:
    """Quarter turns, and a whole turn, which starts no new stretch."""
    folder = variant(tmp_path)
    turns = "".join(f"A{angle}\n" for angle in (90, 180, 90, 450))
    (folder / "op1.nc").write_text(f"{HEAD}X30 Y0\nZ25\n{turns}G0 Z60\nM30\n%\n")
    (folder / "job.toml").write_text((folder / "job.toml").read_text().replace("[-360, 360]", "[-720, 720]"))
    found = [f for f in prove(folder).findings if f.code == "P109"]
    assert [(f.severity.name, f.count, f.body) for f in found] == [("STOP", 4, "stock")]
    assert found[0].amount.best == pytest.approx(np.hypot(20, 20) - 25.0, abs=0.001)  # type: ignore[union-attr]


def test_gouge_on_a_face_cut_at_90(tmp_path: Path) -> None:
    """The design's slot on the +Y side is 5 deep; the program cuts it 5.1 deep at A90."""
    trimesh = pytest.importorskip("trimesh")
    pytest.importorskip("manifold3d")

    def box(low: list[float], high: list[float]):
        made = trimesh.creation.box(np.subtract(high, low))
        made.apply_translation(np.add(low, high) / 2)
        return made

    slots = [box([25, -25, 16], [35, 25, 25]), box([55, 15, -25], [65, 25, 25])]
    part = trimesh.boolean.difference([box([0, -20, -20], [80, 20, 20]), *slots], engine="manifold")
    body = "Z16\nG1 Y30 F800\nG0 Z60\nA90\nX60 Y-30\nZ14.9\nG1 Y30\nG0 Z60\n"
    folder = variant(tmp_path)
    part.export(folder / "part.stl")
    (folder / "op1.nc").write_text(f"{HEAD}{body}M30\n%\n")
    text = (
        (folder / "job.toml")
        .read_text()
        .replace("[machine]\n", '[design]\nfile = "part.stl"\nunits = "mm"\n[machine]\n')
    )
    (folder / "job.toml").write_text(f"{text}\n[operation.place.design]\nshift = [0, 0, 0]\n")
    found = [f for f in prove(folder).findings if f.code.startswith("P3") and f.severity.name != "NOTE"]
    assert [(f.code, f.place.line) for f in found] == [("P301", 13)]
    assert found[0].amount.best == pytest.approx(0.1, abs=0.002)  # type: ignore[union-attr]
    assert found[0].point_mm[1] == pytest.approx(15.0, abs=0.01)
