"""Job folders as nouns: examples, units, machine, tools and registers, places, offsets, tables as found."""

import hashlib
import math
import re
from pathlib import Path

import numpy as np
import pytest

from halfthou.base.errors import Complaint, InputError, JobError, ShopError
from halfthou.files.found import with_found
from halfthou.files.job import Loaded, load_job, load_shop
from halfthou.files.places import apart_mm, round_foot
from halfthou.files.program import program_of
from halfthou.nouns.stock import Prism
from halfthou.nouns.tool import Zone
from tests.unit.files_scene import BLOCK, MINIMAL, PROGRAM, TOOLS, files, stl, write

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
#: name, tools, programs an operation, unit, machine, body count of the operations
JOBS = (
    ("ice-core-plate", 14, [2, 1], "mm", "compact", [6, 7]),
    ("ice-core-plate/faulty", 14, [2, 1], "mm", "compact", [6, 7]),
    ("valve-body", 9, [1, 1], "inch", "compact", [5, 5]),
    ("soil-auger-coupling", 6, [1, 1], "mm", "compact", [5, 5]),
    ("soil-auger-coupling/faulty", 6, [1, 1], "mm", "compact", [5, 5]),
    ("winch-side-frame", 7, [1, 1], "mm", "compact", [7, 5]),
    ("winch-side-frame/small", 7, [1, 1], "mm", "small", [7, 5]),
)


@pytest.fixture(scope="module")
def examples() -> dict[str, Loaded]:
    return {row[0]: load_job(EXAMPLES / row[0]) for row in JOBS}


def job_with(tmp_path: Path, *changes: tuple[str, str, str], **extra: bytes) -> Loaded:
    """The small job with (file, old, new) replaced."""
    content = files()
    for file, old, new in changes:
        assert old.encode() in content[file], old
        content[file] = content[file].replace(old.encode(), new.encode())
    return load_job(write(tmp_path, {**content, **extra}))


def codes(tmp_path: Path, *changes: tuple[str, str, str], **extra: bytes) -> list[str]:
    with pytest.raises(InputError) as caught:
        job_with(tmp_path, *changes, **extra)
    return [c.code for c in caught.value.complaints]


@pytest.mark.parametrize(("name", "tools", "programs", "unit", "machine", "bodies"), JOBS)
def test_examples_load(
    examples: dict[str, Loaded], name: str, tools: int, programs: list[int], unit: str, machine: str, bodies: list[int]
) -> None:
    loaded = examples[name]
    job = loaded.job
    assert len(job.tools) == tools
    assert [len(own) for own in loaded.programs] == programs
    assert (loaded.display.length_unit, job.length_unit, job.machine.name) == (unit, unit, machine)
    assert [sum(len(place.bodies) for place in op.places) for op in job.ops] == bodies
    assert job.invented
    assert job.design is not None
    assert job.open_questions == loaded.questions
    assert all(own[0].file.endswith(Path(op.program).name) for own, op in zip(loaded.programs, job.ops, strict=True))
    assert {r.slot for r in job.registers} == {tool.number for tool in job.tools}


def test_inputs_are_hashed_and_sorted(examples: dict[str, Loaded]) -> None:
    inputs = examples["ice-core-plate"].inputs
    assert list(inputs) == sorted(inputs)
    roles = dict(inputs)
    assert set(roles) == {"job", "shop", "tools", "design", "found tools", "found offsets", "program op1.nc",
                          "program op2.nc", "program holes.nc"}  # fmt: skip
    raw = (EXAMPLES / "ice-core-plate" / "holes.nc").read_bytes()
    assert roles["program holes.nc"] == hashlib.sha256(raw).hexdigest()


def test_inch_job_in_mm_inside(examples: dict[str, Loaded]) -> None:
    job = examples["valve-body"].job
    place, offset = job.ops[0].places[0], job.ops[0].offsets[0]
    assert place.stock.low_mm == pytest.approx((-1.27, -1.27, -26.67))
    assert offset.origin_mm == pytest.approx((-266.7, -223.52, -396.24))
    assert offset.band_mm == pytest.approx((2.032, 2.032, 1.016))
    assert job.gouge_mm == pytest.approx(0.0254)
    mill = next(tool for tool in job.tools if tool.number == 2)
    assert (mill.diameter_mm, mill.gauge_length_mm) == pytest.approx((9.525, 106.68))
    assert job.machine.axes[0].low_mm == -500  # the shop file is in mm
    assert job.ops[1].places[0].design_shift_mm == pytest.approx((0.0, 48.26, -22.225))


def test_machine_of_the_shop_file(examples: dict[str, Loaded]) -> None:
    machine = examples["ice-core-plate"].job.machine
    x, _, z = machine.axes
    assert (x.low_mm, x.high_mm, x.rapid_mm_per_s, x.accel_mm_per_s2, x.jerk_mm_per_s3) == (-500, 0, 400, 3000, 50000)
    assert (z.rapid_mm_per_s, z.accel_mm_per_s2) == (300, 2500)
    assert machine.feed_limit_mm_per_s == 200
    assert machine.spindle.curve[1] == (6000, 10, 6300)
    assert (machine.spindle.nose_diameter_mm, machine.spindle.run_up_s) == (90, 1.8)
    assert machine.magazine.change_at_mm == (None, None, 0)
    control = machine.control
    assert (control.length_method, control.radius_register, control.dwell_unit) == ("gauge-line", "diameter", "ms")
    assert (control.rapid_path, control.extra_offsets, control.offset_parts) == ("straight", 48, "one")
    assert examples["ice-core-plate"].questions == ()
    small = examples["winch-side-frame/small"].job.machine
    assert [axis.jerk_mm_per_s3 for axis in small.axes] == [None] * 3


def test_turned_over_stock_and_design(examples: dict[str, Loaded]) -> None:
    """y_new = 90 - y, z_new = -14 - z: worked by hand."""
    place = examples["ice-core-plate"].job.ops[1].places[0]
    assert (place.stock.from_op, place.stock.from_place, place.offset, place.op) == (0, 0, 2, 1)
    assert place.stock.turn_over is not None
    assert place.stock.turn_over.turn == ((1, 0, 0), (0, -1, 0), (0, 0, -1))
    assert place.stock.low_mm == (-2.5, -2.5, -15)
    assert place.stock.high_mm == (142.5, 92.5, 5)
    assert np.array_equal(place.design_turn, np.diag([1, -1, -1]))


def test_found_tables(examples: dict[str, Loaded]) -> None:
    found = examples["ice-core-plate/faulty"].job.found
    assert found is not None
    first = next(r for r in found.registers if r.slot == 1)
    assert (first.length_mm, first.radius_mm, first.radius_wear_mm) == (105, 20, 0)
    assert found.offsets[0].origin_mm == (-311.64, -205.28, -400.0)
    assert "found-tools.csv" in found.source


def test_found_wear_is_halved_and_inch_is_read(tmp_path: Path) -> None:
    table = "units = inch\nslot;length;diameter;diameter_wear;radius_wear\n1;4.0;0.5;-0.002;\n7;;0.25;;-0.001\n"
    loaded = job_with(tmp_path, **{"found-tools.csv": table.encode()})
    assert loaded.job.found is not None
    one, seven = loaded.job.found.registers
    assert (one.length_mm, one.radius_mm, one.radius_wear_mm) == pytest.approx((101.6, 6.35, -0.0254))
    assert (seven.length_mm, seven.radius_mm, seven.radius_wear_mm) == (
        None,
        pytest.approx(3.175),
        pytest.approx(-0.0254),
    )


def test_tables_named_in_the_call_take_the_place_of_those_in_the_job(tmp_path: Path) -> None:
    job = job_with(tmp_path).job
    other = tmp_path / "other.csv"
    other.write_text("units = mm\nsystem,X,Y,Z\nG55,-1,-2,-3\n")
    changed = with_found(job, None, other)
    assert changed.found is not None
    assert job.found is not None
    assert [o.system for o in changed.found.offsets] == [2]
    assert changed.found.registers == job.found.registers
    with pytest.raises(JobError, match="F001"):
        with_found(job, tmp_path / "none.csv", None)
    assert with_found(job, None, None) is job


def test_minimal_job(tmp_path: Path) -> None:
    tools = TOOLS.replace(",holder\n", "\n").replace(",collet 34", "").encode()
    write(tmp_path, {"job.toml": MINIMAL.encode(), "tools.csv": tools, "op1.nc": PROGRAM.encode()})
    loaded = load_job(tmp_path / "job.toml")
    job = loaded.job
    assert math.isinf(job.machine.axes[0].low_mm)
    assert math.isnan(job.machine.axes[0].rapid_mm_per_s)
    assert (job.found, job.design, job.gouge_mm, job.ops[0].offsets) == (None, None, None, ())
    assert job.ops[0].places[0].offset == 1
    assert [body.kind for body in job.ops[0].places[0].bodies] == ["fixed jaw", "moving jaw"]
    assert [(r.slot, r.length_mm, r.radius_mm) for r in job.registers] == [(1, 107, 5), (2, 105, 4), (4, 115, 2.5)]
    assert any("none stated" in q for q in loaded.questions)
    assert sum("no holder stated" in q for q in loaded.questions) == 3
    assert job.tools[0].profile_mm[-1, 1] == 107  # reaches the gauge line although no holder is stated
    assert load_job(tmp_path).job.name == tmp_path.name


def test_what_the_machine_file_leaves_open_is_asked(tmp_path: Path) -> None:
    loaded = job_with(tmp_path, ("shop.toml", 'radius = "diameter"\n', ""), ("shop.toml", 'dwell = "ms"\n', ""),
                      ("shop.toml", "nose = { diameter = 90, length = 120 }\n", ""))  # fmt: skip
    assert any("radius, dwell" in q for q in loaded.questions)
    assert any("spindle nose" in q for q in loaded.questions)
    assert len(set(loaded.questions)) == len(loaded.questions)


def test_machine_in_the_job_file_and_tools_as_tables(tmp_path: Path) -> None:
    job = (
        MINIMAL.replace('tools = "tools.csv"\n', "")
        + """
[machine]
travel = { X = [-500, 0], Y = [-400, 0], Z = [-420, 0] }
acceleration = "not known"
[machine.control]
length = "touched off"
radius = "wear"
[[tool]]
number = 3
kind = "ball"
DC = 6
APMX = 12
LPR = 30
LF = 95
DMM = 6
ZEFP = 2
length_register = -212.5
radius_wear = -0.01
length_band = 0.3
hand = "left"
sure = ["LPR"]
"""
    )
    write(tmp_path, {"job.toml": job.encode(), "op1.nc": PROGRAM.encode()})
    loaded = load_job(tmp_path)
    tool, register = loaded.job.tools[0], loaded.job.registers[0]
    assert (tool.diameter_mm, tool.corner_mm, tool.cutting_mm, tool.stick_out_mm, tool.teeth) == (6, 3, 12, 30, 2)
    assert (tool.left_hand, tool.length_std_mm) == (True, pytest.approx(0.3 / math.sqrt(3)))
    assert (register.length_mm, register.radius_mm, register.radius_wear_mm) == (-212.5, 0.0, -0.01)
    assert loaded.job.machine.axes[0].accel_mm_per_s2 is None
    assert any("acceleration not known" in q for q in loaded.questions)


def test_shop_tools_in_the_magazine(tmp_path: Path) -> None:
    loaded = job_with(tmp_path, ("job.toml", 'tools = "tools.csv"', 'magazine = { 5 = "em10", 12 = "em10" }'))
    assert [(t.number, t.diameter_mm, t.holder) for t in loaded.job.tools] == [
        (5, 10, "collet 34"),
        (12, 10, "collet 34"),
    ]
    assert [r.slot for r in loaded.job.registers] == [5, 12]


def test_machine_codes_by_effect(tmp_path: Path) -> None:
    extra = """word = "O9001"
what = "tool breakage check"
time = 1.5
ends_at = { Z = 0 }
sweeps = { low = [-10, -10, -100], high = [10, 10, 0] }
arguments = "HDP"
sets_parameters = [5061, 5062]
sets_offset = "G54"
changes_tool = false
[[machine.code]]
word = "m0088"
"""
    codes_ = job_with(tmp_path, ("shop.toml", 'word = "M88"\n', extra)).job.machine.control.codes
    assert [c.word for c in codes_] == ["O9001", "M88"]
    first = codes_[0]
    assert (first.time_s, first.ends_at_mm, first.sweeps_low_mm) == (1.5, (None, None, 0), (-10, -10, -100))
    assert (first.sets_parameters, first.sets_offset, first.arguments) == ((5061, 5062), 1, "HDP")
    assert codes_[1].coolant == "through"


def test_bodies_and_stocks(tmp_path: Path) -> None:
    stock = 'kind = "cylinder"\ncentre = [20, 15]\ndiameter = 60\nlow_z = -35\nhigh_z = 0\nplus = [0, 0, 0, 0, 0, 0.3]'
    post = """
[[operation.place.body]]
kind = "clamp"
centre = [70, 10]
diameter = 20
low_z = -40
high_z = 5
[[operation.place.body]]
kind = "stop"
low = [100, 0, -40]
high = [110, 20, 0]
turn = 90
may_cut = 2
"""
    loaded = job_with(tmp_path, ("job.toml", 'kind = "box"\nlow = [-1, -1, -12]\nhigh = [41, 31, 1]', stock),
                      ("job.toml", "high = [60, -1, -8]\n", "high = [60, -1, -8]\n" + post))  # fmt: skip
    place = loaded.job.ops[0].places[0]
    assert (place.stock.kind, place.stock.diameter_mm, place.stock.plus_mm[5]) == ("cylinder", 60, 0.3)
    assert (place.stock.low_mm, place.stock.high_mm) == ((-10, -15, -35), (50, 45, 0))
    _, clamp, stop = place.bodies
    away = np.hypot(*(clamp.footprint_mm - (70, 10)).T)
    assert (away >= 10).all()
    assert away.max() < 10.0051
    assert np.hypot(
        *((clamp.footprint_mm + np.roll(clamp.footprint_mm, 1, axis=0)) / 2 - (70, 10)).T
    ).min() == pytest.approx(10)
    assert (clamp.name, stop.may_cut_mm) == ("clamp", 2)
    assert np.allclose(np.sort(stop.footprint_mm[:, 0]), [95, 95, 115, 115])  # 10 x 20 turned by 90° round (105, 10)
    assert np.allclose(np.sort(stop.footprint_mm[:, 1]), [5, 5, 15, 15])
    for body in place.bodies:
        x, y = body.footprint_mm.T
        assert (x * np.roll(y, -1) - y * np.roll(x, -1)).sum() > 0, "counter-clockwise"


def test_mesh_stock_is_read_in_its_unit_and_shifted(tmp_path: Path) -> None:
    stock = 'kind = "mesh"\nfile = "cast.stl"\nunits = "inch"\nat = [1, 2, 3]'
    loaded = job_with(tmp_path, ("job.toml", 'kind = "box"\nlow = [-1, -1, -12]\nhigh = [41, 31, 1]', stock),
                      **{"cast.stl": stl(BLOCK / 25.4)})  # fmt: skip
    got = loaded.job.ops[0].places[0].stock
    assert got.low_mm == pytest.approx((1, 2, -7), abs=1e-5)
    assert got.high_mm == pytest.approx((41, 32, 3), abs=1e-5)
    assert got.faces is not None
    assert "stock cast.stl" in dict(loaded.inputs)


@pytest.mark.parametrize(
    ("words", "point", "goes_to"),
    [
        ("none", (1, 2, 3), (1, 2, 3)),
        ("90 about Z", (1, 0, 0), (0, 1, 0)),
        ("-90 about X", (0, 0, 1), (0, 1, 0)),
        ("180° about Y", (1, 2, 3), (-1, 2, -3)),
        ("90 about X, then 90 about Z", (0, 1, 0), (0, 0, 1)),
        ("90 about Z, then 90 about X", (1, 0, 0), (0, 0, 1)),
        ("270 degrees about z", (1, 0, 0), (0, -1, 0)),
    ],
)
def test_turns_are_right_handed_about_fixed_axes_in_the_order_written(
    words: str, point: tuple[int, ...], goes_to: tuple[int, ...], tmp_path: Path
) -> None:
    stock = job_with(tmp_path, ("job.toml", "180 about X", words)).job.ops[1].places[0].stock
    assert stock.turn_over is not None
    assert tuple(stock.turn_over.matrix() @ point) == goes_to


def test_corner_says_where_the_low_corner_of_the_turned_stock_lies(tmp_path: Path) -> None:
    stock = job_with(tmp_path, ("job.toml", "shift = [0, 30, -10]", "corner = [0, 0, -19]")).job.ops[1].places[0].stock
    assert (stock.low_mm, stock.high_mm) == ((0, 0, -19), (42, 32, -6))
    assert stock.turn_over is not None
    assert stock.turn_over.shift_mm == (1, 31, -18)


def test_design_follows_the_turned_part_and_a_contradiction_is_asked(tmp_path: Path) -> None:
    place = job_with(tmp_path).job.ops[1].places[0]
    assert np.array_equal(place.design_turn, np.diag([1, -1, -1]))
    assert place.design_shift_mm == (0, 30, -10)
    wrong = (
        "job.toml",
        'offset = "G55"\n',
        'offset = "G55"\ndesign = { turn = "180 about X", shift = [0, 30, -10.5] }\n',
    )
    loaded = job_with(tmp_path, wrong)
    assert any("lies up to 0.500 mm from where" in q for q in loaded.questions)
    assert loaded.job.ops[1].places[0].design_shift_mm == (0, 30, -10.5)


def test_several_parts_on_the_table(tmp_path: Path) -> None:
    second = """
[[operation.place]]
name = "vise 2"
offset = "G56"
step = "op 2"
[operation.place.stock]
kind = "box"
low = [0, 0, -12]
high = [41, 31, 1]

[[operation]]
name = "op 2"
"""
    one = ("job.toml", '[[operation]]\nname = "op 2"\n', second)
    assert codes(tmp_path, one) == ["F202"]  # which of the two?
    two = ("job.toml", 'operation = "op 1"', 'operation = "op 1"\nplace = "vise 2"')
    job = job_with(tmp_path, one, two).job
    assert [(p.name, p.offset, p.op) for p in job.ops[0].places] == [("vise", 1, 0), ("vise 2", 3, 1)]
    assert job.ops[1].places[0].stock.from_place == 1


def test_limits_of_single_surfaces(tmp_path: Path) -> None:
    part = job_with(tmp_path).job.design
    assert part is not None
    assert part.surfaces[0].gouge_mm == 0.01
    top = [s for s in part.surfaces if s.left_over_mm == 0.02]
    assert [s.axis for s in top] == [(0, 0, 1)]


def test_decimal_comma_table_with_semicolons_reads_points_only(tmp_path: Path) -> None:
    table = "\ufeff" + TOOLS.replace(",", ";").replace("\n", "\r\n").replace("end mill 10", '"end mill; 10"')
    tools = job_with(tmp_path, **{"tools.csv": table.encode()}).job.tools
    assert tools[0].name == "end mill; 10"
    assert (tools[0].place.line, tools[2].place.line) == (3, 5)


def test_an_open_quote_swallows_no_tool(tmp_path: Path) -> None:
    content = files()
    table = TOOLS.replace("22,10,32,107,collet 34", '22,10,32,107,"collet 34').encode()
    with pytest.raises(InputError) as caught:
        load_job(write(tmp_path, {**content, "tools.csv": table}))
    assert [(c.code, c.place.line) for c in caught.value.complaints] == [("F302", 3)]


def test_tool_profiles(tmp_path: Path) -> None:
    """Heights never fall, the tip is at 0, rounds lie outside the true form by 0.5 µm at most."""
    job = job_with(tmp_path).job
    for tool in job.tools:
        r, z = tool.profile_mm.T
        assert (np.diff(z) >= 0).all()
        assert (r[0], z[0]) == (0, 0)
        assert len(tool.zone) == len(r) - 1
        gauge = z[np.flatnonzero(tool.zone == Zone.HOLDER)[-1] + 1]
        assert gauge == tool.gauge_length_mm
        assert z[-1] == pytest.approx(tool.gauge_length_mm + 120)
        assert r[-1] == 45
        assert r[np.flatnonzero(tool.zone == Zone.CUTTING) + 1].max() == pytest.approx(tool.diameter_mm / 2)
    bull = job.tools[1].profile_mm
    corner = bull[(bull[:, 1] > 0) & (bull[:, 1] < 1) & (bull[:, 0] > 3)]
    off = np.hypot(corner[:, 0] - 3, corner[:, 1] - 1) - 1
    assert len(corner) > 10
    assert off.min() > -1e-12
    assert off.max() < 0.00051
    drill = job.tools[2].profile_mm
    assert drill[1] == pytest.approx((2.5, 2.5 / math.tan(math.radians(59))))


def tools_from(tmp_path: Path, head: str, *rows: str) -> list[str]:
    """Complaint codes of a tool list, or names of the tools."""
    table = "\n".join(("units = mm", head, *rows))
    try:
        return [tool.name for tool in job_with(tmp_path, **{"tools.csv": table.encode()}).job.tools]
    except InputError as error:
        return [c.code for c in error.complaints]


def test_exported_zeros_mean_not_stated_and_useless_measures_are_refused(tmp_path: Path) -> None:
    head = "T,DC,RE,SIG,APMX,LPR,LF,ZEFP,TP,kind,name,neck_diameter,neck_length,tip_diameter".replace(
        "T,", "number,", 1
    )
    assert tools_from(tmp_path, head, "1,10,0,0,22,32,107,0,0.0,flat,a,0,0,0") == ["a"]
    assert tools_from(tmp_path, head, "1,10,0,0,22,32,107,0,0,drill,a,0,0,0") == ["F004"]
    assert tools_from(tmp_path, head, "1,10,1,118,32,42,107,0,0,drill,a,0,0,0") == ["F304"]
    assert tools_from(tmp_path, head, "1,10,1,0,22,32,107,0,0,ball,a,0,0,0") == ["F304"]
    assert tools_from(tmp_path, head, "1,10,0,0,22,32,107,0,0,flat,a,0,0,2") == ["F304"]
    assert tools_from(tmp_path, head, "1,10,0,0,22,32,107,0,0,flat,a,9,8,0") == ["a"]
    assert tools_from(tmp_path, head, "1,10,0,0,22,32,107,0,0,flat,a,12,8,0") == ["F304"]
    assert tools_from(tmp_path, head, "1,10,0,0,22,32,107,0,0,flat,a,0,8,0") == ["F004"]
    assert tools_from(tmp_path, head, "1,10,0,0,22,32,20,0,0,flat,a,0,0,0") == ["F304"]
    assert tools_from(tmp_path, head, "1,10,0,0,3,32,107,0,0,ball,a,0,0,0") == ["F304"]
    assert tools_from(tmp_path, head, "1,10,5.5,0,22,32,107,0,0,bull,a,0,0,0") == ["F304"]


def test_a_whole_list_in_the_wrong_unit_is_asked_back(tmp_path: Path) -> None:
    """Millimetres under an inch line, and inches under a millimetre line: each tool is asked, with the likely slip."""
    with pytest.raises(InputError) as caught:
        job_with(tmp_path, ("tools.csv", "units = mm", "units = inch"))
    assert {c.code for c in caught.value.complaints} == {"F007"}
    assert {c.place.line for c in caught.value.complaints} == {3, 4, 5}
    assert any("if the number were mm, not inch" in c.do for c in caught.value.complaints)
    row = "1,end mill 3/8,flat,0.375,1.0,0.375,1.4,4.2"
    head = "number,name,kind,diameter,cutting_length,shank_diameter,stick_out,length"
    assert set(tools_from(tmp_path, head, row)) == {"F007"}


def test_shop_file_on_its_own() -> None:
    shop = load_shop(EXAMPLES / "shop.toml")
    assert [machine.name for machine in shop.machines] == ["compact", "small"]
    with pytest.raises(ShopError, match="F001"):
        load_shop(EXAMPLES / "nothing.toml")
    with pytest.raises(ShopError, match="F003"):
        load_shop(EXAMPLES / "ice-core-plate" / "job.toml")


def test_shop_tools_of_a_shop_file(tmp_path: Path) -> None:
    shop = load_shop(write(tmp_path, files()) / "shop.toml")
    assert [(name, tool.number, tool.diameter_mm) for name, tool in shop.tools] == [("em10", -1, 10)]


def test_every_key_that_is_read_is_in_the_docs() -> None:
    root = Path(__file__).resolve().parents[2]
    text = (root / "docs" / "job-file.md").read_text(encoding="utf-8")
    calls = r'\b(?:number|text|flag|vector|whole|child|children|axes_of|system_key|has|named)\((?:\w+, )?"([a-z]\w*)"'
    keys = {
        key for path in (root / "src/halfthou/files").glob("*.py") for key in re.findall(calls, path.read_text("utf-8"))
    }
    assert len(keys) > 90
    assert [key for key in sorted(keys) if not re.search(rf"\b{key}\b", text)] == []


def test_a_jaw_in_the_stock_and_nothing_that_holds_it_are_asked(tmp_path: Path) -> None:
    assert not [q for q in job_with(tmp_path).questions if "stock" in q]
    into = job_with(tmp_path, ("job.toml", "high = [60, -1, -8]", "high = [60, 2.5, -8]")).questions
    assert [q for q in into if "stock" in q] == ["op 1, vise: fixed jaw is drawn 3.500 mm into the raw stock"]
    off = job_with(tmp_path, ("job.toml", "high = [60, -1, -8]", "high = [60, -4, -8]")).questions
    assert [q for q in off if "stock" in q] == [
        "op 1, vise: no body touches the raw stock, what holds it?; the nearest, fixed jaw, is 3.000 mm away"
    ]
    below = job_with(
        tmp_path, ("job.toml", "low = [-20, -31, -40]\nhigh = [60, -1, -8]", "low = [0, 0, -40]\nhigh = [40, 30, -12]")
    )
    assert not [q for q in below.questions if "stock" in q]


def test_how_far_prisms_are_apart() -> None:
    """Worked by hand: a square turned by 45° beside a box, a post beside a box, one above the other."""

    def prism(foot: object, low: float, high: float) -> Prism:
        return Prism(name="", kind="", footprint_mm=np.array(foot, dtype=float), low_z_mm=low, high_z_mm=high)

    box = prism([(0, 0), (10, 0), (10, 10), (0, 10)], 0, 10)
    diamond = prism([(12, 5), (15, 2), (18, 5), (15, 8)], 0, 10)
    assert apart_mm(box, diamond) == pytest.approx(2)
    assert apart_mm(box, prism([(9, 5), (15, -1), (21, 5), (15, 11)], 0, 10)) == pytest.approx(-1)
    assert apart_mm(box, prism(round_foot(15, 5, 8), 0, 10)) == pytest.approx(1, abs=0.006)
    assert apart_mm(box, prism([(0, 0), (10, 0), (10, 10), (0, 10)], 10.5, 20)) == 0.5
    assert apart_mm(box, prism([(1, 1), (2, 1), (2, 2), (1, 2)], 4, 5)) == -2


@pytest.mark.parametrize(
    ("raw", "lines", "encoding"),
    [
        (b"%\r\nG1 X1\r\n", ("%", "G1 X1"), "utf-8"),
        (b"%\rG1 X1\r%", ("%", "G1 X1", "%"), "utf-8"),
        (b"\xef\xbb\xbfG1 (\xc3\xa4)\n", ("G1 (ä)",), "utf-8"),
        (b"G1 (\xe4)\n\n", ("G1 (ä)", ""), "latin-1"),
        ("G1 X1\nM30\n".encode("utf-16"), ("G1 X1", "M30"), "utf-16"),
        (b"\xff\xfeG", ("ÿþG",), "latin-1"),
    ],
)
def test_program_text(raw: bytes, lines: tuple[str, ...], encoding: str) -> None:
    complaints: list[Complaint] = []
    program = program_of("a/b.nc", raw, complaints)
    assert (program.lines, program.encoding, program.raw, program.name) == (lines, encoding, raw, "b.nc")
    assert program.sha256 == hashlib.sha256(raw).hexdigest()
    assert not complaints


def test_what_the_docs_show_loads(tmp_path: Path) -> None:
    """The two blocks of docs/job-file.md, with the files they name."""
    text = (Path(__file__).resolve().parents[2] / "docs" / "job-file.md").read_text(encoding="utf-8")
    job, machine = re.findall(r"```toml\n(.*?)```", text, re.DOTALL)
    machine = machine.replace(" ; ", "\n").replace("     # one key a line in a real file", "")
    content = files()
    for name in ("op1.nc", "sub.nc", "tools.csv", "found-tools.csv", "found-offsets.csv"):
        (tmp_path / name).write_bytes(content["op1.nc"] if name.endswith(".nc") else content[name])
    (tmp_path / "tools.csv").write_text(TOOLS.replace(",holder\n", "\n").replace(",collet 34", ""))
    (tmp_path / "plate.step").write_bytes((EXAMPLES / "ice-core-plate" / "design.step").read_bytes())
    (tmp_path / "shop.toml").write_text('format = 1\nunits = "mm"\n' + machine)
    (tmp_path / "job.toml").write_text(job.replace("../shop.toml", "shop.toml"))
    loaded = load_job(tmp_path)
    assert loaded.job.machine.spindle.through_coolant
    assert loaded.job.machine.control.codes[0].word == "M88"
    assert loaded.job.design is not None
    assert loaded.job.design.surfaces[2].gouge_mm == 0.005
    assert [len(own) for own in loaded.programs] == [2]
    second = re.sub(r"(?m)^# (?=\[operation\.place\.stock\]|kind = \"from\"|operation =|turn =|shift =)", "", job)
    start = second.index('[operation.place.stock]\nkind = "from"')
    place = '[[operation]]\nname = "op 2"\nprogram = "op1.nc"\n[[operation.place]]\n'
    (tmp_path / "job.toml").write_text(second[:start].replace("../shop", "shop") + place + second[start:])
    assert load_job(tmp_path).job.ops[1].places[0].stock.kind == "from"
