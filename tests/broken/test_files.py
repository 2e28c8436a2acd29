"""One wrong file for each code of the file doors: it earns that code, at the right file and word, and no other."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from halfthou.base.errors import InputError, JobError, PartError, ShopError
from halfthou.files.codes import CODES
from halfthou.files.job import load_job
from tests.unit.files_scene import BLOCK, TOOLS, files, stl, write


@dataclass(frozen=True)
class Wrong:
    """Replace `old` by `new` in a file (old "": the whole file); the complaint shows `word` and says `says`."""

    code: str
    file: str
    old: str
    new: str | bytes
    word: str = ""
    says: str = ""
    where: str = ""  # file of the complaint when it is another one


CASES = (
    Wrong("F001", "job.toml", 'program = "op1.nc"', 'program = "op9.nc"', "program", "op9.nc"),
    Wrong("F001", "job.toml", 'shop = "shop.toml"', 'shop = "shopp.toml"', "shop", "cannot be read"),
    Wrong("F001", "job.toml", 'file = "block.stl"', 'file = "bloc.stl"', "file", "bloc.stl"),
    Wrong("F001", "job.toml", 'tools = "tools.csv"', 'tools = ""', "tools", "names no file"),
    Wrong("F002", "job.toml", "start_tool = 0", "start_tool = 1,5", "", "decimal comma"),
    Wrong("F002", "shop.toml", 'name = "compact"', 'name = "compact', "", "cannot be read"),
    Wrong("F002", "job.toml", 'part = "block"', b'part = "bl\xf6ck"', "", "UTF-8"),
    Wrong("F003", "shop.toml", "run_up = 1.8", "runup = 1.8", "runup", "did you mean `run_up`?"),
    Wrong("F003", "job.toml", "start_tool = 0", "starttool = 0", "starttool", "did you mean `start_tool`?"),
    Wrong("F004", "job.toml", 'program = "op1.nc"\n', "", "operation", "`program` is missing"),
    Wrong("F004", "job.toml", "shift = [0, 30, -10]\n", "", "stock", "exactly one of `shift` and `corner`"),
    Wrong("F004", "tools.csv", "4,drill 5,drill,5,,118,", "4,drill 5,drill,5,,,", "4", "point_angle"),
    Wrong("F005", "job.toml", "high = [41, 31, 1]", "high = [41, 31]", "high", "list of 3 numbers"),
    Wrong("F005", "job.toml", "start_tool = 0", 'start_tool = "none"', "start_tool", "should be a number"),
    Wrong("F005", "tools.csv", "107,collet 34", "long,collet 34", "long", "should be a number"),
    Wrong("F006", "tools.csv", "end mill 10,flat", "end mill 10,flatt", "flatt", "did you mean 'flat'?"),
    Wrong("F006", "shop.toml", 'length = "gauge line"', 'length = "gage line"', "length", "'gauge line'"),
    Wrong("F007", "shop.toml", "X = 24000", "X = 240000", "X", "1 to 100 m/min"),
    Wrong("F007", "shop.toml", "X = 3.0", "X = 12", "X", "0.2 to 9.80665 m/s²"),
    Wrong("F007", "shop.toml", "X = 3.0", "X = 30", "X", "is refused"),
    Wrong("F007", "tools.csv", "flat,10,,,22,10,32,107", "flat,10,,,22,10,32,1070", "1070", "factor of 10"),
    Wrong("F007", "tools.csv", "drill,5,,118", "drill,0.02,,118", "0.02", "were inch, not mm"),
    Wrong("F007", "job.toml", "high = [41, 31, 1]", "high = [4100, 31, 1]", "4100", "-3000 to 3000 mm"),
    Wrong("F007", "job.toml", "shift = [0, 30, -10]", "shift = [0, 30, -10000]", "-10000", "factor of 10"),
    Wrong("F008", "job.toml", 'units = "mm"\npart', "part", "", "not stated"),
    Wrong("F008", "shop.toml", 'units = "mm"', 'units = "cm"', "units", "'cm' is not known"),
    Wrong("F008", "found-tools.csv", "units = mm\n", "", "", "not stated"),
    Wrong("F008", "found-offsets.csv", "units = mm", "units = m", "units = m", "'m' is not known"),
    Wrong("F009", "job.toml", "low = [-1, -1, -12]", "low = [-1, -1, 12]", "12", "is not below"),
    Wrong("F009", "shop.toml", "Y = [-400, 0]", "Y = [0, -400]", "Y", "low value first"),
    Wrong("F010", "job.toml", "format = 1", "format = 2", "format", "write format = 1"),
    Wrong("F010", "shop.toml", "format = 1\n", "", "", "is missing"),
    Wrong("F101", "job.toml", 'machine = "compact"', 'machine = "compakt"', "machine", "did you mean 'compact'?"),
    Wrong("F102", "job.toml", 'name = "op 2"', 'name = "op 1"', "name", "two operations"),
    Wrong("F102", "shop.toml", 'id = "em10"', 'id = "em10"\nkind = "flat"\ndiameter = 3\ncutting_length = 9\n'
          'stick_out = 20\nlength = 95\n[[tool]]\nid = "em10"', "id", "two tools"),
    Wrong("F103", "shop.toml", "[6000, 10, 6300]", "[6000, 10, 63]", "[6000, 10, 63]", "6283 W"),
    Wrong("F103", "shop.toml", "[6000, 10, 6300]", "[1000, 10, 6300]", "[1000, 10, 6300]", "sort the rows"),
    Wrong("F104", "shop.toml", 'word = "M88"', 'word = "coolant"', "word", "is no code"),
    Wrong("F202", "job.toml", 'operation = "op 1"', 'operation = "op1"', "operation", "did you mean 'op 1'?"),
    Wrong("F202", "job.toml", 'operation = "op 1"', 'operation = "op 2"', "operation", "an earlier operation"),
    Wrong("F203", "job.toml", 'system = "G54"', 'system = "G60"', "system", "is no work offset"),
    Wrong("F203", "job.toml", 'system = "G54"', 'system = "G54.1 P99"', "system", "48 further offsets"),
    Wrong("F204", "job.toml", "180 about X", "30 about X", "turn", "only quarter turns"),
    Wrong("F205", "job.toml", 'tools = "tools.csv"\n', "", "", "no tools are given"),
    Wrong("F205", "job.toml", 'tools = "tools.csv"', 'tools = "tools.csv"\nmagazine = { 7 = "em10" }', "magazine",
          "2 times"),
    Wrong("F301", "tools.csv", "", TOOLS.replace(",", ";").replace(";32;107;", ";32,5;107;"), "32,5", "write 32.5"),
    Wrong("F302", "tools.csv", "cutting_length", "cuting_length", "cuting_length", "did you mean 'cutting_length'?"),
    Wrong("F302", "tools.csv", "22,10,32,107,collet 34", "22,10,32,5,107,collet 34", "", "12 cells under 11"),
    Wrong("F302", "found-tools.csv", "2,105,-0.02,8,-0.05", "2,105", "", "2 cells under 5"),
    Wrong("F302", "found-offsets.csv", "G54,-311.64,-205.28,-400\n", "", "", "no line below"),
    Wrong("F302", "found-tools.csv", "diameter,diameter_wear\n1,107,0,10,0", "diameter,radius\n1,107,0,10,", "-0.05", "both diameter and radius"),
    Wrong("F303", "tools.csv", "4,drill 5", "2,drill 5", "2", "T2 is bull nose 8 and drill 5"),
    Wrong("F304", "tools.csv", "22,10,32,107", "22,10,20,107", "1", "stick-out 20 mm is shorter"),
    Wrong("F305", "tools.csv", "32,107,collet 34", "32,107,colet 34", "colet 34", "did you mean 'collet 34'?"),
    Wrong("F305", "job.toml", "start_tool = 0", "start_tool = 9", "start_tool", "T9 is not in the tool list"),
    Wrong("F305", "job.toml", 'tools = "tools.csv"', 'magazine = { 1 = "em12" }', "1", "did you mean 'em10'?"),
    Wrong("F401", "found-tools.csv", "2,105", "1,105", "1", "stands twice"),
    Wrong("F401", "found-offsets.csv", "G54,", "G54,0,0,0\nG54,", "G54", "stands twice"),
    Wrong("F501", "op1.nc", "", "%\n\n%\n", "", "no block"),
    Wrong("F502", "block.stl", "", b"solid box\nfacet normal 0 0 0\nvertex 1 2", "file", "each facet needs three",
          "job.toml"),
    Wrong("F502", "block.stl", "", stl(BLOCK)[:-7], "file", "has 677 bytes", "job.toml"),
    Wrong("F503", "block.stl", "", stl(BLOCK[:-2]), "file", "not closed", "job.toml"),
    Wrong("F504", "job.toml", 'file = "block.stl"\nunits = "mm"', 'file = "block.stl"', "file", "carries no unit"),
    Wrong("F504", "block.stl", "", stl(BLOCK * 100), "file", "4000 x 3000", "job.toml"),
    Wrong("F505", "job.toml", "number = 1", "number = 9", "number", "has 6 surfaces"),
    Wrong("F505", "job.toml", "near = [20, 15, 0]", "near = [20, 15, 5]", "near", "is 5 mm away"),
    Wrong("F505", "job.toml", "near = [20, 15, 0]", "near = [40, 30, 0]", "near", "equally near"),
)  # fmt: skip


def break_it(case: Wrong) -> dict[str, bytes]:
    content = files()
    new = case.new.encode() if isinstance(case.new, str) else case.new
    if case.old:
        assert content[case.file].count(case.old.encode()) >= 1, case
        content[case.file] = content[case.file].replace(case.old.encode(), new, 1)
    else:
        content[case.file] = new
    return content


def complaints_of(folder: Path) -> InputError:
    with pytest.raises(InputError) as caught:
        load_job(folder)
    return caught.value


def test_the_unbroken_job_loads(tmp_path: Path) -> None:
    loaded = load_job(write(tmp_path, files()))
    assert len(loaded.job.ops) == 2
    assert loaded.questions


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case.code}-{case.says[:20]}")
def test_wrong_file_earns_exactly_its_code(case: Wrong, tmp_path: Path) -> None:
    error = complaints_of(write(tmp_path, break_it(case)))
    assert [c.code for c in error.complaints] == [case.code], str(error)
    complaint = error.complaints[0]
    assert Path(complaint.place.file).name == (case.where or case.file)
    assert case.says in str(complaint)
    if case.word:
        assert complaint.place.word == case.word
        line = complaint.place.text
        assert line[complaint.place.column - 1 :].startswith(case.word)
        assert (tmp_path / (case.where or case.file)).read_text().split("\n")[complaint.place.line - 1] == line


def test_no_operation_earns_f201(tmp_path: Path) -> None:
    content = files()
    content["job.toml"] = content["job.toml"].split(b"[[operation]]")[0]
    assert [c.code for c in complaints_of(write(tmp_path, content)).complaints] == ["F201"]


def test_radius_register_without_a_meaning_earns_f306(tmp_path: Path) -> None:
    content = files()
    content["shop.toml"] = content["shop.toml"].replace(b'radius = "diameter"\n', b"")
    assert load_job(write(tmp_path, content)).job.registers[0].radius_mm == 5.0
    content["tools.csv"] = content["tools.csv"].replace(b",length,", b",length,radius_register,")
    for length in (b"107", b"105", b"115"):
        content["tools.csv"] = content["tools.csv"].replace(b"," + length + b",", b"," + length + b",10,")
    error = complaints_of(write(tmp_path, content))
    assert [c.code for c in error.complaints] == ["F306"] * 3, str(error)


def test_registers_of_two_reference_tools_earn_f307(tmp_path: Path) -> None:
    content = files()
    content["shop.toml"] = content["shop.toml"].replace(b'"gauge line"', b'"reference tool"')
    content["tools.csv"] = content["tools.csv"].replace(b",length,", b",length,length_register,")
    for length, register in ((b"107", b"7"), (b"105", b"5"), (b"115", b"15")):
        content["tools.csv"] = content["tools.csv"].replace(
            b"," + length + b",", b"," + length + b"," + register + b","
        )
    loaded = load_job(write(tmp_path, content))
    assert [r.length_mm for r in loaded.job.registers] == [7.0, 5.0, 15.0]
    content["tools.csv"] = content["tools.csv"].replace(b",115,15,", b",115,12,")
    error = complaints_of(write(tmp_path, content))
    assert [c.code for c in error.complaints] == ["F307"], str(error)
    assert "T4" in error.complaints[0].what


def test_every_code_has_its_case() -> None:
    told = {case.code for case in CASES} | {"F201", "F206", "F306", "F307"}
    elsewhere = {
        "F591",
        "F601",
        "F701",
        "F702",
        "F711",
        "F712",
    }  # mesh files, revisions, times, readings: tests of their own
    assert told == set(CODES) - elsewhere


def test_all_complaints_come_at_once(tmp_path: Path) -> None:
    content = files()
    content["job.toml"] = content["job.toml"].replace(b"start_tool", b"strt_tool").replace(b"op1.nc", b"op9.nc")
    content["tools.csv"] = content["tools.csv"].replace(b"bull,8,1", b"bull,8,5").replace(b"118", b"x")
    error = complaints_of(write(tmp_path, content))
    assert sorted(c.code for c in error.complaints) == ["F001", "F003", "F005", "F304"]
    assert isinstance(error, JobError)
    assert all(c.do for c in error.complaints if c.code in ("F001", "F003", "F304"))


def test_the_error_says_whose_file_it_is(tmp_path: Path) -> None:
    shop = files()
    shop["shop.toml"] = shop["shop.toml"].replace(b"X = 24000", b"X = 240000")
    assert isinstance(complaints_of(write(tmp_path, shop)), ShopError)
    mesh = {**files(), "block.stl": b"nothing"}
    assert isinstance(complaints_of(write(tmp_path, mesh)), PartError)


def test_sure_lets_a_band_through_but_not_a_refusal(tmp_path: Path) -> None:
    content = files()
    content["shop.toml"] = content["shop.toml"].replace(b"X = 24000,", b'X = 240000, sure = ["X"],')
    assert load_job(write(tmp_path, content)).job.machine.axes[0].rapid_mm_per_s == 4000.0
    content["shop.toml"] = content["shop.toml"].replace(b"X = 3.0,", b'X = 30, sure = ["X"],')
    assert [c.code for c in complaints_of(write(tmp_path, content)).complaints] == ["F007"]


def test_a_missing_job_is_a_complaint(tmp_path: Path) -> None:
    assert [c.code for c in complaints_of(tmp_path).complaints] == ["F001"]
    assert [c.code for c in complaints_of(tmp_path / "nowhere" / "job.toml").complaints] == ["F001"]
