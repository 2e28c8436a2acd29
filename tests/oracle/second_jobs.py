"""Random one- and two-operation jobs for the second volume judge: folder, and the moves that are really in it.

Written from docs/job-file.md and the program language reference alone, without reading the program (see second_sweeps.py). Sizes, places and
angles are drawn from a continuum, so nothing is a multiple of a grid. Every word is rounded first and the judge moves by the rounded numbers.
Material is only met at feed; the cutting length always reaches above the raw stock, so the upper side of the cutter never decides.
"""

from __future__ import annotations

import math
import random
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from tests.oracle.second_sweeps import Arc, Line, Points, Tool

# The program answers "cannot" to a part laid on its side (said in its own words), so only these are drawn.
TURNS = (
    "none", "180 about X", "180 about Y", "90 about Z", "180 about Z", "180 about X, then 90 about Z", "90 about Z, then 180 about Y",
    "90 about X, then 90 about X",
)  # fmt: skip
INCH_MM = 25.4


@dataclass
class Stock:
    """Raw stock in the coordinates of the first operation, mm; a cylinder stands upright in its box."""

    kind: str
    low: Points
    high: Points

    def volume(self) -> float:
        """Exact volume, mm³."""
        size = self.high - self.low
        return float(size.prod()) if self.kind == "box" else float(math.pi / 4 * size[0] ** 2 * size[2])


@dataclass
class Op:
    """One operation: program lines and, beside them, the cutting moves; x_op = turn · x_first + shift."""

    low: Points
    high: Points
    inch: bool = False
    turn_words: str = "none"
    turn: Points = field(default_factory=lambda: np.eye(3))
    shift: Points = field(default_factory=lambda: np.zeros(3))
    by_corner: bool = False
    lines: list[str] = field(default_factory=list)
    moves: list[tuple[Tool, Line | Arc]] = field(default_factory=list)
    tool: Tool | None = None
    at: Points = field(default_factory=lambda: np.zeros(3))

    def number(self, mm: float) -> tuple[str, float]:
        """A word's number as written and the mm it stands for."""
        text = f"{mm / INCH_MM:.7f}" if self.inch else f"{mm:.6f}"
        return text, float(text) * (INCH_MM if self.inch else 1.0)

    def words(self, letters: str, values: list[float]) -> tuple[str, list[float]]:
        """Words of one block and their mm."""
        pairs = [self.number(v) for v in values]
        return " ".join(letter + text for letter, (text, _) in zip(letters, pairs, strict=True)), [
            mm for _, mm in pairs
        ]

    def take(self, number: int, tool: Tool) -> None:
        """Tool change; the tip ends high above the stock."""
        self.tool = tool
        self.lines += [f"T{number} M6", "S3000 M3"]
        text, (x, y) = self.words("XY", [float(self.low[0]), float(self.low[1])])
        high, (z,) = self.words("Z", [float(self.high[2]) + 30.0])
        self.lines += [f"G0 {text}", f"G43 H{number} {high}"]
        self.at = np.array([x, y, z])

    def over(self, x: float, y: float) -> None:
        """Rapid up, over and down to 1 mm above the raw stock."""
        up, _ = self.words("Z", [float(self.high[2]) + 5.0])
        text, (x, y) = self.words("XY", [x, y])
        down, (low,) = self.words("Z", [float(self.high[2]) + 1.0])
        self.lines += [f"G0 {up}", f"G0 {text}", f"G0 {down}"]
        self.at = np.array([x, y, low])

    def line(self, x: float, y: float, z: float) -> None:
        """Straight feed move."""
        assert self.tool is not None
        text, values = self.words("XYZ", [x, y, z])
        self.lines.append(f"G1 {text} F{self.number(400.0)[0]}")
        self._add(Line(self.at, np.array(values)))

    def plunge(self, z: float) -> None:
        """Straight down at feed."""
        text, (z,) = self.words("Z", [z])
        self.lines.append(f"G1 {text} F{self.number(200.0)[0]}")
        self._add(Line(self.at, np.array([self.at[0], self.at[1], z])))

    def cycle(self, code: str, z: float, peck: float) -> None:
        """Drilling cycle at the present place, retract level 1 mm above the raw stock."""
        text, (z, r) = self.words("ZR", [z, float(self.high[2]) + 1.0])
        extra = f" Q{self.number(peck)[0]}" if code in ("G83", "G73") else ""
        self.lines += [f"G98 {code} {text}{extra} F{self.number(150.0)[0]}", "G80"]
        self._add(Line(np.array([self.at[0], self.at[1], r]), np.array([self.at[0], self.at[1], z])))
        self.at = np.array([self.at[0], self.at[1], r])

    def arc(self, plane: int, angle: float, sweep: float, radius: float, rise: float, by_r: bool = False) -> None:
        """Arc or helix from the present place: start angle and signed sweep (rad) in plane 17, 18 or 19; radius form on demand (level only)."""
        order = {17: (0, 1, 2), 18: (2, 0, 1), 19: (1, 2, 0)}[plane]
        unit = np.eye(3)
        first, second, third = unit[order[0]], unit[order[1]], unit[order[2]]
        centre = self.at - radius * (math.cos(angle) * first + math.sin(angle) * second)
        full = abs(abs(sweep) - 2 * math.pi) < 1e-9
        end = centre + radius * (math.cos(angle + sweep) * first + math.sin(angle + sweep) * second) + rise * third
        if full:
            end = self.at + rise * third
        text, values = self.words("XYZ", [float(v) for v in end])
        stop = np.array(values)
        if full:
            stop[[order[0], order[1]]] = self.at[[order[0], order[1]]]
        if by_r:
            words, (size,) = self.words("R", [radius if abs(sweep) < math.pi else -radius])
            centre = self._centre(stop, order, size, sweep > 0)
        else:
            letters = "".join("IJK"[i] for i in order[:2])
            words, offsets = self.words(letters, [float((centre - self.at)[i]) for i in order[:2]])
            centre = self.at.copy()
            centre[order[0]] += offsets[0]
            centre[order[1]] += offsets[1]
        self.lines.append(f"G{plane} G{3 if sweep > 0 else 2} {text} {words} F{self.number(300.0)[0]}")
        if plane != 17:
            self.lines.append("G17")
        begin = math.atan2(self.at[order[1]] - centre[order[1]], self.at[order[0]] - centre[order[0]])
        last = math.atan2(stop[order[1]] - centre[order[1]], stop[order[0]] - centre[order[0]])
        turned = (last - begin) % (2 * math.pi) if sweep > 0 else -((begin - last) % (2 * math.pi))
        if full:
            turned = math.copysign(2 * math.pi, sweep)
        assert abs(turned - sweep) < 1e-3, (turned, sweep)
        reach = math.dist(self.at[list(order[:2])], centre[list(order[:2])])
        path = Arc(centre, first, second, reach, begin, turned, float(stop[order[2]] - self.at[order[2]]))
        assert self.tool is not None
        self.moves.append((self.tool, path))
        self.at = stop

    def _centre(self, stop: Points, order: tuple[int, int, int], size: float, ccw: bool) -> Points:
        """Centre of a radius-form arc: right of the chord for G2 and a positive R, or G3 and a negative one; else left."""
        a, b = self.at[list(order[:2])], stop[list(order[:2])]
        chord = b - a
        d = math.hypot(*chord)
        h = math.sqrt(size * size - d * d / 4)
        left = np.array([-chord[1], chord[0]]) / d
        right_side = (size > 0) != ccw
        middle = (a + b) / 2 + left * (-h if right_side else h)
        centre = self.at.copy()
        centre[order[0]], centre[order[1]] = middle
        return centre

    def _add(self, move: Line) -> None:
        assert self.tool is not None
        self.moves.append((self.tool, move))
        self.at = move.end


@dataclass
class Job:
    """One drawn job; `formula` is the removed volume (mm³) by hand where the shape is simple."""

    name: str
    stock: Stock
    ops: list[Op]
    tools: dict[int, Tool]
    formula: float | None = None


def turn_matrix(words: str) -> Points:
    """Rotation of the words of a turn: right-handed, about fixed axes, in the order written."""
    out = np.eye(3)
    for step in [] if words == "none" else words.split(", then "):
        degrees, axis = step.split(" about ")
        a = "XYZ".index(axis)
        c, s = round(math.cos(math.radians(float(degrees)))), round(math.sin(math.radians(float(degrees))))
        one = np.zeros((3, 3))
        one[a, a] = 1
        one[(a + 1) % 3, (a + 1) % 3] = one[(a + 2) % 3, (a + 2) % 3] = c
        one[(a + 2) % 3, (a + 1) % 3], one[(a + 1) % 3, (a + 2) % 3] = s, -s
        out = one @ out
    return out


def draw_tool(rnd: random.Random, kind: str, height: float) -> Tool:
    """A tool of odd size whose cutting part is longer than the raw stock is high."""
    long = height + rnd.uniform(8, 15)
    d = round(rnd.uniform(3.0, 11.0), 4)
    if kind == "bull":
        return Tool(kind, d, long, corner=round(rnd.uniform(0.1, 0.42) * d, 4))
    if kind == "drill":
        return Tool(kind, d, long, point_angle=round(rnd.choice([118.0, 130.0, 140.0, 90.0, rnd.uniform(100, 160)]), 3))
    if kind == "countersink":
        d = round(rnd.uniform(6.0, 14.0), 4)
        return Tool(
            kind,
            d,
            long,
            point_angle=round(rnd.choice([90.0, 82.0, 60.0, 120.0]), 3),
            tip_diameter=round(rnd.uniform(0, 0.3) * d, 4),
        )
    return Tool(kind, d, long)


def draw_stock(rnd: random.Random, simple: bool) -> Stock:
    """Box, or now and then an upright cylinder, anywhere."""
    size = np.array([rnd.uniform(28, 52), rnd.uniform(26, 44), rnd.uniform(9, 19)])
    kind = "box" if simple or rnd.random() < 0.8 else "cylinder"
    if kind == "cylinder":
        size[1] = size[0]
    low = np.array([rnd.uniform(-40, 40), rnd.uniform(-40, 40), rnd.uniform(-25, 5)])
    low, size = np.round(low, 4), np.round(size, 4)
    return Stock(kind, low, low + size)


def write(job: Job, folder: Path) -> None:
    """The job as a folder of typed files."""
    folder.mkdir(parents=True, exist_ok=True)
    text = ["format = 1", 'units = "mm"', f'part = "{job.name}"', 'material = "EN AW-6082-T6"', "invented = true", ""]
    for number, tool in job.tools.items():
        text += [
            "[[tool]]", f"number = {number}", f'name = "{tool.kind} {number}"', f'kind = "{tool.kind}"', f"diameter = {tool.diameter!r}",
            f"cutting_length = {tool.cutting_length!r}", f"shank_diameter = {round(0.9 * tool.diameter, 3)!r}",
            f"stick_out = {tool.cutting_length + 15!r}", f"length = {tool.cutting_length + 70!r}", "holder_diameter = 30", "holder_length = 40",
        ]  # fmt: skip
        if tool.kind == "bull":
            text.append(f"corner = {tool.corner!r}")
        if tool.kind in ("drill", "countersink"):
            text.append(f"point_angle = {tool.point_angle!r}")
        if tool.kind == "countersink":
            text.append(f"tip_diameter = {tool.tip_diameter!r}")
        text.append("")
    for i, op in enumerate(job.ops, 1):
        text += [
            "[[operation]]",
            f'name = "op {i}"',
            f'program = "op{i}.nc"',
            "",
            "[[operation.place]]",
            'name = "vise"',
            'offset = "G54"',
            "",
        ]
        text += ["[operation.place.stock]", *_stock_lines(job, op, i), ""]
        below = float(op.low[2]) - 30
        text += [
            "[[operation.place.body]]",
            'name = "bed"',
            'kind = "vise bed"',
            f"low = [-90, -90, {below - 10!r}]",
            f"high = [90, 90, {below!r}]",
            "",
        ]
        head = ["%", f"O{i}", f"{'G20' if op.inch else 'G21'} G17 G40 G49 G80 G90 G94 G54"]
        tail = [f"G0 Z{op.number(float(op.high[2]) + 40)[0]}", "M5", "M30", "%"]
        (folder / f"op{i}.nc").write_text("\n".join(head + op.lines + tail) + "\n", encoding="ascii")
    (folder / "job.toml").write_text("\n".join(text) + "\n", encoding="utf-8")


def _stock_lines(job: Job, op: Op, i: int) -> list[str]:
    stock = job.stock
    if i > 1:
        place = f"corner = {op.low.tolist()!r}" if op.by_corner else f"shift = {op.shift.tolist()!r}"
        return ['kind = "from"', f'operation = "op {i - 1}"', f'turn = "{op.turn_words}"', place]
    if stock.kind == "box":
        return ['kind = "box"', f"low = {stock.low.tolist()!r}", f"high = {stock.high.tolist()!r}"]
    middle = (stock.low + stock.high) / 2
    return [
        'kind = "cylinder"', f"centre = {middle[:2].tolist()!r}", f"diameter = {float((stock.high - stock.low)[0])!r}",
        f"low_z = {float(stock.low[2])!r}", f"high_z = {float(stock.high[2])!r}",
    ]  # fmt: skip
