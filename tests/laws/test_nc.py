"""Laws of the NC reader: units, modes, word order, the plain path, compensation against offset curves, garbage in."""

import random
from pathlib import Path

import numpy as np
import pytest
from shapely.geometry import LineString, Point, Polygon

from halfthou.base.errors import ProgramError
from halfthou.nc.interpret import interpret
from halfthou.nc.start import Start
from halfthou.nouns.machine import CodeEffect, Control
from halfthou.nouns.moves import Kind, Reading
from halfthou.nouns.program import Program

ROOT = Path(__file__).resolve().parents[2]
START = Start(registers={n: (50.0 + n, 3.0) for n in range(1, 30)})


@pytest.fixture
def draw() -> random.Random:
    seed = random.SystemRandom().randrange(10**9)
    print(f"seed {seed}")
    return random.Random(seed)


def read(text: str, *, plain: bool = True, start: Start = START, profile: str = "mill") -> Reading:
    program = Program(name="o.nc", file="o.nc", sha256="", raw=b"", lines=tuple(text.split("\n")))
    control = Control(profile=profile, codes=(CodeEffect(word="M88"), CodeEffect(word="M89")))
    return interpret(program, (), control, start, plain=plain)


def moves_of(draw: random.Random, n: int) -> list[tuple[str, float, float, float]]:
    out = [("G0", 0.0, 0.0, 10.0)]
    for _ in range(n):
        word = draw.choice(["G0", "G1", "G1", "G1"])
        out.append((word, *(round(draw.uniform(-40, 40) * 20) / 20 for _ in range(3))))
    return out


def text_of(path: list[tuple[str, float, float, float]], *, inch: bool = False, increments: bool = False) -> str:
    unit, x0 = (25.4 if inch else 1.0), (0.0, 0.0, 0.0)
    lines = ["G20" if inch else "G21", "G91" if increments else "G90", "T1 M6", "S1000 M3"]
    for word, *point in path:
        values = [p - q for p, q in zip(point, x0, strict=True)] if increments else point
        x0 = tuple(point)  # type: ignore[assignment]
        words = [f"{letter}{v / unit:.9f}" for letter, v in zip("XYZ", values, strict=True)]
        lines.append(" ".join([word, *words, f"F{300 / unit:.9f}"]))
    return "\n".join([*lines, "M30"])


def ends(reading: Reading) -> np.ndarray:
    rows = reading.moves.moves
    return rows["end_mm"][rows["kind"] <= Kind.ARC]


def test_inch_is_mm_and_increments_are_positions(draw: random.Random) -> None:
    path = moves_of(draw, 60)
    plain = read(text_of(path))
    for other in (read(text_of(path, inch=True)), read(text_of(path, increments=True))):
        assert np.allclose(ends(plain), ends(other), atol=1e-6)
        cuts = plain.moves.moves["kind"] == Kind.LINE
        feeds = [r.moves.moves["feed_mm_per_s"][cuts] for r in (plain, other)]
        assert np.allclose(feeds[0], feeds[1], rtol=1e-7)


def test_word_order_does_not_matter(draw: random.Random) -> None:
    blocks = ["G21 G90 G17", "T2 M6", "S900 M3 G0 G43 H2 Z20.", "G1 X3. Y4. F200.", "G2 X9. Y4. I3. J0. F100.", "G98 G81 X5. Y5. Z-3. R2. F50.",
              "G80", "G0 X1. Y2. Z5. M8", "M30"]  # fmt: skip
    shuffled = []
    for block in blocks:
        words = block.split()
        draw.shuffle(words)
        shuffled.append(" ".join(words))
    assert np.array_equal(read("\n".join(blocks)).moves.moves, read("\n".join(shuffled)).moves.moves)


def test_plain_blocks_give_the_same_rows_the_long_way(draw: random.Random) -> None:
    lines = ["G21 G90 G54", "T1 M6", "S1000 M3", "G0 G43 H1 Z50."]
    for k in range(3000):
        words = [f"{a}{draw.uniform(-99, 99):.3f}" for a in "XYZ" if draw.random() < 0.6]
        head = draw.choice(["", "", "G0", "G1", "G01", "G00"])
        feed = f"F{draw.choice(['100', '250.5', '80.'])}" if draw.random() < 0.2 or k == 0 else ""
        number = f"N{k}" if draw.random() < 0.3 else ""
        lines.append(draw.choice([" ", ""]).join(part for part in (number, head, *words, feed) if part))
        if draw.random() < 0.01:
            lines.append(draw.choice(["G91", "G90", "G17", "M8", "G20", "G21", "(note)", "G4 P100", "G55", "G54"]))
            lines.append("G1 F120.")
    text = "\n".join([*lines, "M30"])
    quick, slow = read(text), read(text, plain=False)
    assert np.array_equal(quick.moves.moves, slow.moves.moves)
    assert np.array_equal(quick.moves.states, slow.moves.states)
    assert [f.code for f in quick.findings] == [f.code for f in slow.findings]
    assert quick.words_read == slow.words_read
    assert slow.words_read == slow.words_used + slow.words_reported


def star(draw: random.Random, n: int) -> list[tuple[float, float]]:
    """Corners of a counter-clockwise polygon with inside and outside corners, wide enough for the tool."""
    angles = np.linspace(0, 2 * np.pi, n, endpoint=False) + draw.uniform(0, 1)
    radii = [draw.uniform(34, 50) for _ in range(n)]
    return [(r * np.cos(a), r * np.sin(a)) for r, a in zip(radii, angles, strict=True)]


@pytest.mark.parametrize("side", ["G42", "G41"])
def test_compensated_path_keeps_its_distance(side: str, draw: random.Random) -> None:
    """Outside (G42) and inside (G41) of a counter-clockwise polygon: the path is the offset curve of radius 3."""
    corners = star(draw, draw.randint(5, 9))
    (ax, ay), (bx, by) = corners[0], corners[1]
    middle = ((ax + bx) / 2, (ay + by) / 2)
    nx, ny = (by - ay), -(bx - ax)
    size = np.hypot(nx, ny)
    way = 12.0 if side == "G42" else -12.0
    outside = (middle[0] + way * nx / size, middle[1] + way * ny / size)
    lines = [
        "G21 G90 G17",
        "T1 M6",
        "S1000 M3",
        f"G0 X{outside[0]:.6f} Y{outside[1]:.6f}",
        f"{side} D1 G1 X{middle[0]:.6f} Y{middle[1]:.6f} F300.",
    ]
    lines += [f"X{x:.6f} Y{y:.6f}" for x, y in [*corners[1:], corners[0]]]
    lines += [f"X{middle[0]:.6f} Y{middle[1]:.6f}", f"G40 X{outside[0]:.6f} Y{outside[1]:.6f}", "M30"]
    rows = read("\n".join(lines)).moves.moves
    rows = rows[np.isin(rows["kind"], (Kind.LINE, Kind.ARC))][1:-1]
    polygon = Polygon(np.round(corners, 6))
    outline = LineString([*polygon.exterior.coords])
    for row in rows:
        ways = np.linspace(0, 1, 9)
        if row["kind"] == Kind.ARC:
            a, c = row["start_mm"] - row["centre_mm"], row["centre_mm"]
            turn = np.arctan2(a[1], a[0]) + ways * row["sweep_rad"]
            points = c[:2] + np.hypot(a[0], a[1]) * np.stack([np.cos(turn), np.sin(turn)], axis=1)
        else:
            points = row["start_mm"][:2] + ways[:, None] * (row["end_mm"] - row["start_mm"])[:2]
        for point in points:
            spot = Point(point)
            assert outline.distance(spot) == pytest.approx(3.0, abs=2e-6)
            assert polygon.contains(spot) == (side == "G41")


def mutant(text: str, draw: random.Random) -> str:
    for _ in range(draw.randint(1, 4)):
        k = draw.randrange(len(text))
        what = draw.random()
        if what < 0.3:
            text = text[:k] + text[k + draw.randint(1, 6) :]
        elif what < 0.7:
            text = text[:k] + draw.choice("GMXYZFIJKRPQLDHTSO#[]()/%;.-+=0123456789 \n*,E\x00é") + text[k:]
        else:
            lines = text.split("\n")
            a, b = draw.randrange(len(lines)), draw.randrange(len(lines))
            lines[a], lines[b] = lines[b], lines[a]
            text = "\n".join(lines)
    return text


@pytest.mark.parametrize("profile", ["mill", "strict"])
def test_any_text_ends_in_moves_or_a_complaint(profile: str, draw: random.Random) -> None:
    sources = [p.read_text(encoding="utf-8") for p in sorted((ROOT / "examples").glob("*/*.nc"))]
    sources += [p.read_text(encoding="utf-8") for p in sorted((ROOT / "tests/jobs/known_good").glob("*/*.nc"))]
    kept = 0
    for _ in range(250):
        source = draw.choice(sources).split("\n")
        first = draw.randrange(max(1, len(source) - 120))
        text = mutant("\n".join(source[:12] + source[first : first + 120]), draw)
        try:
            reading = read(text, profile=profile, start=Start(registers=START.registers, end_needed=False))
        except ProgramError as error:
            assert len(error.complaints) == 1
            assert error.complaints[0].kind
            assert error.complaints[0].place.line >= 1
        else:
            kept += 1
            assert reading.words_read == reading.words_used + reading.words_reported
    for _ in range(250):
        text = "".join(
            chr(draw.choice([draw.randrange(32, 127), 10, draw.randrange(1, 0x250)]))
            for _ in range(draw.randint(1, 200))
        )
        try:
            read(text, profile=profile)
        except ProgramError as error:
            assert error.complaints[0].code.startswith("N")
