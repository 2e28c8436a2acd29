"""Laws of placing: an inch job is the mm job, a turned job gives the turned answer, turning over twice changes no bit."""

import itertools
import random
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import halfthou
from halfthou.base.table import lock
from halfthou.nouns.frame import TurnOver
from halfthou.nouns.moves import MOVE, Kind
from halfthou.nouns.stock import Stock
from halfthou.prove.place import place_shift_mm, sweeps_of
from halfthou.prove.remove import remove
from halfthou.prove.remove_raw import turned_over
from tests.unit.clash_scene import scene
from tests.unit.place_scene import job_of, moves_of, plain_tool
from tests.unit.remove_scene import HALF_TURN_X, ball, bull, cut, flat, random_path


@pytest.fixture
def draw() -> random.Random:
    seed = random.SystemRandom().randrange(10**9)
    print(f"seed {seed}")
    return random.Random(seed)


# -- mm and inch ----------------------------------------------------------------------------------------------------


def number(tenths: int, unit: str) -> str:
    """A length given in 0.0001 inch, written out exactly in one unit or the other."""
    places, whole = (4, tenths) if unit == "inch" else (5, tenths * 254)
    text = f"{abs(whole):0{places + 1}d}"
    return f"{'-' if whole < 0 else ''}{text[:-places]}.{text[-places:]}"


def written(folder: Path, text: str, table: str, program: str, unit: str) -> Path:
    """The job with every <n> (0.0001 inch) written out in the unit; feeds are lengths a minute."""
    folder.mkdir()
    for name, body in (("job.toml", text), ("tools.csv", table), ("op1.nc", program)):
        pieces = body.replace("UNIT", unit).replace("G_UNIT", "").split("<")
        out = pieces[0] + "".join(
            number(int(a), unit) + b for a, _, b in (piece.partition(">") for piece in pieces[1:])
        )
        (folder / name).write_text(out.replace("GU", "G20" if unit == "inch" else "G21"))
    return folder


def place_text(k: int) -> str:
    return f"""[[operation.offset]]
system = "G5{4 + k}"
origin = [<{-150000 + 60000 * k}>, <-90000>, <{-140000 + 301 * k}>]
[[operation.place]]
name = "vise {k}"
offset = "G5{4 + k}"
[operation.place.stock]
kind = "box"
low = [<0>, <0>, <-7013>]
high = [<21013>, <17007>, <0>]
[[operation.place.body]]
name = "jaw {k}"
kind = "fixed jaw"
low = [<-3000>, <-9000>, <-12000>]
high = [<24000>, <0>, <-5000>]
"""


JOB = """format = 1
units = "UNIT"
part = "block"
tools = "tools.csv"
invented = true
[machine]
name = "m"
travel = { X = [<-200000>, <0>], Y = [<-160000>, <0>], Z = [<-165000>, <0>] }
rapid = { X = <9448800>, Y = <9448800>, Z = <7086600> }
acceleration = { X = 3.0, Y = 3.0, Z = 2.5 }
feed_limit = <3000000>
corner_tolerance = <8>
[machine.spindle]
rpm = [50, 12000]
run_up = 1.5
[machine.magazine]
positions = 20
change = 4.0
[machine.control]
length = "gauge line"
radius = "diameter"
rapid_path = "straight"
[[operation]]
name = "op 1"
program = "op1.nc"
""" + "".join(place_text(k) for k in range(2))
TABLE = """number,name,kind,diameter,corner,cutting_length,shank_diameter,stick_out,length,holder_diameter,holder_length,mass,max_rpm
1,a,flat,<3937>,,<8661>,<3937>,<13780>,<43307>,<15748>,<15748>,1,12000
2,b,bull,<4724>,<787>,<8661>,<4724>,<13780>,<39370>,<15748>,<15748>,1,12000
"""


def words(draw: random.Random) -> str:
    """A program over both places with two tools: lines, ramps, half circles and helices in tenths."""
    lines = ["%", "GU G90 G17"]
    for tool in (1, 2):
        lines += [f"T{tool} M6", "S5000 M3"]
        for system in (54, 55):
            x, y = draw.randrange(1000, 20000), draw.randrange(1000, 16000)
            lines += [
                f"G{system} G0 X<{x}> Y<{y}>",
                f"G43 H{tool} Z<6000>",
                f"G1 Z<{-draw.randrange(1, 4000)}> F<200003>",
            ]
            for _ in range(4):
                x, y = draw.randrange(-1500, 22000), draw.randrange(-1500, 18000)
                lines.append(f"X<{x}> Y<{y}> Z<{-draw.randrange(1, 4000)}> F<{draw.randrange(100000, 900000)}>")
                r = draw.choice((-1, 1)) * draw.randrange(500, 4000)
                z = f" Z<{-draw.randrange(1, 4000)}>" if draw.random() < 0.5 else ""
                lines.append(f"{draw.choice(('G2', 'G3'))} X<{x + 2 * r}>{z} I<{r}> J<0>")
                lines.append("G1")
            lines.append("G0 Z<6000>")
    lines += [
        "S13000",
        "G0 X<7000> Y<8000>",
        "Z<-6100>",
        "Z<6000>",
        "X<300000>",
    ]  # too fast, into the stock, out of travel
    return "\n".join([*lines, "M5", "M30", "%"]) + "\n"


def test_the_inch_job_is_the_mm_job(draw: random.Random, tmp_path: Path) -> None:
    program = words(draw)
    mm, inch = (halfthou.open(written(tmp_path / u, JOB, TABLE, program, u)).run(pitch_mm=1.0) for u in ("mm", "inch"))
    assert len(mm.sweeps[0]) > 45
    for name in ("kind", "tool", "rapid", "turning", "place", "normal"):
        assert np.array_equal(mm.sweeps[0][name], inch.sweeps[0][name]), name
    for name in ("from_mm", "to_mm", "centre_mm", "gauge_from_mm", "gauge_to_mm", "sweep_rad"):
        assert np.abs(mm.sweeps[0][name] - inch.sweeps[0][name]).max() < 1e-9, name
    assert set(mm.sweeps[0]["place"].tolist()) == {0, 1}
    assert np.allclose(mm.moves.moves["feed_mm_per_s"], inch.moves.moves["feed_mm_per_s"], rtol=1e-12)
    for a, b in zip(mm.shifts[0], inch.shifts[0], strict=True):
        assert np.abs(a - b).max() < 1e-9
    for a, b in zip(mm.removals[0], inch.removals[0], strict=True):
        assert np.array_equal(a.record.first, b.record.first)
        for name in ("low_mm", "high_mm"):
            assert np.abs(a.record.spans[name] - b.record.spans[name]).max() < 2.1e-5, name  # label width, twice
        assert (a.record.spans["high_move"] == b.record.spans["high_move"]).mean() > 0.999
        assert (a.record.spans["high_move"] >= 0).any()
    found = [[(f.code, f.move, f.body, f.count) for f in run.findings] for run in (mm, inch)]
    assert found[0] == found[1]
    assert {"P101", "P103"} < {f[0] for f in found[0]} and any(f[0].startswith("P2") for f in found[0])
    for a, b in zip(mm.findings, inch.findings, strict=True):
        if a.amount is not None:
            assert a.amount.best == pytest.approx(b.amount.best, abs=1e-6)
    assert len(mm.windows) == 2
    for a, b in zip(mm.windows, inch.windows, strict=True):
        assert np.allclose(np.array([a.low_mm, a.high_mm]), np.array([b.low_mm, b.high_mm]), atol=1e-9)


# -- turned frames --------------------------------------------------------------------------------------------------


def quarter(v: np.ndarray) -> np.ndarray:
    """Points turned by 90° about Z, exactly."""
    return np.stack([-v[..., 1], v[..., 0], v[..., 2]], axis=-1)


def random_rows(draw: random.Random, n: int) -> list[dict]:
    def point() -> tuple[float, float, float]:
        return (draw.uniform(-99, 99), draw.uniform(-99, 99), draw.uniform(-30, 50))

    return [
        {"kind": draw.choice((Kind.RAPID, Kind.LINE, Kind.ARC)), "start_mm": point(), "end_mm": point(),
         "centre_mm": point(), "normal": draw.randrange(3), "sweep_rad": draw.uniform(-6, 6), "tool": draw.randrange(4),
         "frame": draw.randrange(2), "state": draw.randrange(3), "spindle_rpm": draw.uniform(-99, 99)}
        for _ in range(n)
    ]  # fmt: skip


def test_turned_moves_are_placed_turned(draw: random.Random) -> None:
    job = job_of([plain_tool(n, draw.uniform(60, 150)) for n in (1, 2, 3)], systems=(1, 2))
    frames = [(s, tuple(draw.uniform(-500, 0) for _ in range(3))) for s in (1, 2)]
    lengths = [0.0, draw.uniform(60, 150), draw.uniform(60, 150)]
    plain = moves_of(random_rows(draw, 80), frames=frames, lengths=lengths)
    rows = np.array(plain.moves, dtype=MOVE)
    for name in ("start_mm", "end_mm", "centre_mm"):
        rows[name] = quarter(rows[name])
    rows["normal"] = np.array([1, 0, 2])[plain.moves["normal"]]
    rows["sweep_rad"] *= np.where(plain.moves["normal"] == 1, -1.0, 1.0)  # Y turns into -X
    shifts = np.array(plain.frames)
    shifts["shift_mm"] = quarter(shifts["shift_mm"])
    turned = replace(plain, moves=lock(rows), frames=lock(shifts))
    one, two = sweeps_of(plain, job, 0), sweeps_of(turned, job, 0)
    for name in ("from_mm", "to_mm", "centre_mm", "gauge_from_mm", "gauge_to_mm"):
        assert np.array_equal(quarter(one[name]), two[name]), name
        assert len(np.unique(two[name], axis=0)) == 80
    for name in ("kind", "tool", "rapid", "turning", "place"):
        assert np.array_equal(one[name], two[name]), name
    origins = dict(frames)
    there = {s: tuple(quarter(np.array(v)).tolist()) for s, v in frames}
    for k in range(2):
        assert np.array_equal(quarter(place_shift_mm(job, 0, k, origins)), place_shift_mm(job, 0, k, there))


def cut_by_sweeps(tool, path, low, high, at):
    """As `cut`, but through prove.place: the register is right, so the tip goes where the path says."""
    made = scene([tool], path, low=low, high=high, at=at)
    states = np.array(made.moves.states)
    states["length_mm"] = tool.gauge_length_mm
    moves = replace(made.moves, states=lock(states))
    sweeps = sweeps_of(moves, made.job, 0)
    shift = place_shift_mm(made.job, 0, 0, {1: at})
    return remove(moves, sweeps, made.job, 0, 0, shift_mm=shift, pitch_mm=0.5)


@pytest.mark.parametrize("times", [1, 2, 3])
def test_a_turned_job_leaves_the_turned_part(draw: random.Random, times: int) -> None:
    tool, path = draw.choice([flat(8), ball(6), bull(10, 1.5)]), random_path(draw, 25)
    at = (draw.uniform(-400, 0), draw.uniform(-400, 0), draw.uniform(-400, 0))
    plain = cut_by_sweeps(tool, path, (0, 0, -20), (100, 60, 0), at)
    steps, corners = path, np.array([[0.0, 0.0, -20.0], [100.0, 60.0, 0.0]])
    record, where = plain.record, np.array(at)
    for _ in range(times):
        steps = [s if s[0] == "T" else (s[0], -s[2], s[1], s[3], *((-s[5], s[4]) if len(s) > 4 else ())) for s in steps]
        corners, where = quarter(corners), quarter(where)
        record = turned_over(record, TurnOver(turn=((0, -1, 0), (1, 0, 0), (0, 0, 1)), shift_mm=(0, 0, 0)), 0, 0)
    turned = cut_by_sweeps(tool, steps, tuple(corners.min(0)), tuple(corners.max(0)), tuple(where))
    assert turned.record.grid.low_mm == record.grid.low_mm
    assert (turned.record.grid.nx, turned.record.grid.ny) == (record.grid.nx, record.grid.ny)
    assert np.array_equal(turned.record.first, record.first)
    for name in ("low_mm", "high_mm"):
        assert np.abs(turned.record.spans[name] - record.spans[name]).max() < 1.1e-5, name  # at most the label width
    assert (np.abs(turned.record.spans["high_mm"] - record.spans["high_mm"]) < 1e-9).mean() > 0.999
    assert (turned.record.spans["high_move"] == record.spans["high_move"]).mean() > 0.999
    assert len(np.unique(record.spans["high_move"])) > 5


# -- turned over and back -------------------------------------------------------------------------------------------

AIR = [("T", 0), ("G0", 50, 30, 40.0), ("G0", 20, 10, 60.0)]


def inverse(turn: TurnOver) -> TurnOver:
    back = np.array(turn.turn).T
    shift = -back @ np.array(turn.shift_mm)
    return TurnOver(turn=tuple(map(tuple, back.tolist())), shift_mm=tuple(shift.tolist()))


def rays_equal_columns(removal, draw: random.Random) -> bool:
    """The same numbers; a zero turned over may carry a sign."""
    grid, record = removal.record.grid, removal.record
    rays = np.array(draw.sample(range(grid.nx * grid.ny), 200))
    i, j = np.divmod(rays, grid.ny)
    first, spans = removal.columns(
        grid.low_mm[0] + (i + 0.5) * grid.pitch_mm, grid.low_mm[1] + (j + 0.5) * grid.pitch_mm
    )
    mine = [record.spans[record.first[r] : record.first[r + 1]].tolist() for r in rays.tolist()]
    return mine == [spans[a:b].tolist() for a, b in itertools.pairwise(first.tolist())]


@pytest.mark.parametrize(
    "turn",
    [
        HALF_TURN_X,
        TurnOver(turn=((-1, 0, 0), (0, 1, 0), (0, 0, -1)), shift_mm=(100.0, 0.0, -20.0)),
        TurnOver(turn=((0, 1, 0), (1, 0, 0), (0, 0, -1)), shift_mm=(0.1, 0.7, -20.3)),
        TurnOver(turn=((0, -1, 0), (1, 0, 0), (0, 0, 1)), shift_mm=(60.0, 1 / 3, 0.0)),
    ],
)
def test_turned_over_twice_is_the_same_part_bit_for_bit(draw: random.Random, turn: TurnOver) -> None:
    first = cut([draw.choice([flat(8), ball(6), bull(10, 1.5)])], random_path(draw, 25), pitch=0.5)
    now = first
    for over in (turn, inverse(turn)):
        stock = Stock(kind="from", from_op=0, from_place=0, turn_over=over)
        now = cut([flat(8)], AIR, pitch=0.5, before=now, stock=stock)
        if over is turn:
            assert now.record.spans.tobytes() != first.record.spans.tobytes()
            below = "low_move" if turn.turn[2][2] < 0 else "high_move"  # what was on top, labels too
            assert np.array_equal(np.sort(now.record.spans[below]), np.sort(first.record.spans["high_move"]))
            assert rays_equal_columns(now, draw)
    assert now.shift_mm.tolist() == [0.0, 0.0, 0.0]
    assert now.record.grid.low_mm == first.record.grid.low_mm
    assert np.array_equal(now.record.first, first.record.first)
    assert now.record.spans.tobytes() == first.record.spans.tobytes()
    x, y = (np.array([draw.uniform(0, top) for _ in range(200)]) for top in (100, 60))
    (a, spans_a), (b, spans_b) = first.columns(x, y), now.columns(x, y)
    assert np.array_equal(a, b) and spans_a.tobytes() == spans_b.tobytes()
    spots = np.stack([x, y, np.array([draw.uniform(-20, 0) for _ in range(200)])], axis=1)
    assert np.array_equal(first.inside(spots), now.inside(spots))
    assert np.array_equal(first.makers(spots), now.makers(spots))


OVER = """[[operation]]
name = "op {k}"
program = "air.nc"
[[operation.offset]]
system = "G54"
origin = [-{k}11.1, -205.3, -371.7]
[[operation.place]]
name = "vise"
offset = "G54"
[operation.place.stock]
kind = "from"
operation = "op {before}"
turn = "180 about X"
shift = [0.3, {y}, {z}]
"""


def test_three_operations_over_and_back_in_a_job_folder(draw: random.Random, tmp_path: Path) -> None:
    folder = written(tmp_path / "job", JOB, TABLE, words(draw), "mm")
    text = (folder / "job.toml").read_text()
    text += OVER.format(k=2, before=1, y=43.3, z=-17.9).replace(
        'operation = "op 1"', 'operation = "op 1"\nplace = "vise 0"'
    )
    text += OVER.format(k=3, before=2, y=43.3, z=-17.9).replace("0.3, 43", "-0.3, 43")
    (folder / "job.toml").write_text(text)
    (folder / "air.nc").write_text("%\nG21 G90 G54\nT1 M6\nG0 X10. Y10.\nG43 H1 Z60.\nX30.\nM30\n%\n")
    run = halfthou.open(folder).run(pitch_mm=1.0)
    first, over, back = (own[0] for own in run.removals)
    assert over.before is first and back.before is over
    assert back.record.spans.tobytes() == first.record.spans.tobytes()
    assert np.array_equal(back.record.first, first.record.first)
    assert (back.record.spans["high_move"] >= 0).any()
    assert back.shift_mm.tolist() == [0.0, 0.0, 0.0]
    assert over.record.spans.tobytes() != first.record.spans.tobytes()
