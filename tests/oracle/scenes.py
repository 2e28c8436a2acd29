"""Invented two-operation jobs from a seed, clean by construction, half of them with one planted contact.

The truth of a planted contact is a closed form (a cylinder against a plane), so it needs no search: the tool's axis
ends `radius - depth` away from a face, or its tip `depth` below one. Nothing here knows how the prover works.
"""

import random
from dataclasses import dataclass, field
from pathlib import Path

INCH = 25.4
KINDS = ("rapid down", "rapid across", "holder clamp", "shank stock", "holder stock", "cutter jaw")


@dataclass
class Tool:
    number: int
    kind: str
    diameter: float
    cutting: float
    shank: float
    stick: float
    holder: float
    length: float

    @property
    def r(self) -> float:
        return self.diameter / 2


@dataclass
class Truth:
    touches: bool
    kind: str = ""
    op: int = 0
    line: int = 0
    part: str = ""
    body: str = ""
    depth: float = 0.0  # negative = clear by so much


@dataclass
class Scene:
    seed: int
    inch: bool
    size: tuple[float, float, float]
    tools: list[Tool]
    lines: list[list[str]] = field(default_factory=lambda: [[], []])
    truth: Truth = field(default_factory=lambda: Truth(False))
    moves: int = 0


class Writer:
    """One program: absolute positions in mm, written in the scene's unit."""

    def __init__(self, scene: Scene, op: int, draw: random.Random) -> None:
        self.scene, self.op, self.draw = scene, op, draw
        self.out = scene.lines[op]
        self.clear = 45.0
        self.say(
            "%", f"O{op + 1}", "G20 G90 G17 G40 G49 G80" if scene.inch else "G21 G90 G17 G40 G49 G80", f"G{54 + op}"
        )
        self.tool: Tool | None = None

    def say(self, *lines: str) -> None:
        self.out += lines

    def word(self, letter: str, value: float) -> str:
        return f"{letter}{value / INCH:.5f}" if self.scene.inch else f"{letter}{value:.4f}"

    def go(self, fast: bool, feed: float | None = None, **at: float) -> int:
        """A straight move; returns its line number."""
        words = ["G0" if fast else "G1"] + [self.word(a.upper(), at[a]) for a in "xyz" if a in at]
        if not fast:
            words.append(self.word("F", feed or 400.0))
        self.say(" ".join(words))
        self.scene.moves += 1
        return len(self.out)

    def arc(self, left: bool, x: float, y: float, i: float, j: float) -> None:
        words = [self.word("X", x), self.word("Y", y), self.word("I", i), self.word("J", j), self.word("F", 300.0)]
        self.say(" ".join(["G3" if left else "G2", *words]))
        self.scene.moves += 1

    def take(self, tool: Tool, x: float, y: float) -> None:
        self.tool = tool
        self.say(f"T{tool.number} M6", f"S{self.draw.randint(2000, 8000)} M3")
        self.go(True, x=x, y=y)
        self.say(f"G0 G43 H{tool.number} {self.word('Z', self.clear)}")
        self.scene.moves += 1

    def up(self) -> None:
        self.go(True, z=self.clear)

    def end(self) -> None:
        self.up()
        self.say("M5", "M30", "%")


def tools_of(draw: random.Random) -> list[Tool]:
    """Four tools: two end mills, a ball mill, a drill; shanks and holders wider than the cutter."""
    found = []
    for number, kind in enumerate(("flat", "flat", "ball", "drill"), 1):
        d = round(draw.uniform(4, 12), 1)
        cutting = round(draw.uniform(14, 18), 1)
        shank = round(d + draw.uniform(3, 8), 1)
        stick = round(cutting + draw.uniform(3, 6), 1)
        holder = round(shank + draw.uniform(8, 14), 1)
        found.append(Tool(number, kind, d, cutting, shank, stick, holder, stick + round(draw.uniform(40, 70), 1)))
    return found


def scene_of(seed: int) -> Scene:
    """The scene of a seed."""
    draw = random.Random(seed)
    size = (round(draw.uniform(110, 150), 2), round(draw.uniform(56, 80), 2), round(draw.uniform(26, 36), 2))
    scene = Scene(seed, draw.random() < 0.2, size, tools_of(draw))
    touching, near = draw.random() < 0.56, draw.random() < 0.24
    planted_op = draw.randint(0, 1)
    kind = draw.choice(KINDS)
    for op in (0, 1):
        writer = Writer(scene, op, draw)
        jobs = [pocket, holes, ring, ramps]
        draw.shuffle(jobs)
        where = draw.randint(0, len(jobs))
        for k in range(len(jobs) + 1):
            if k == where and op == planted_op and (touching or near):
                plant(writer, kind, touching)
            if k < len(jobs):
                jobs[k](writer)
        writer.end()
    return scene


# -- harmless work: inside x 20 … L-50, at least 8 mm from the sides in y, no deeper than 9 mm -------------------------


def region(w: Writer) -> tuple[float, float, float, float]:
    length, width, _ = w.scene.size
    return 22.0, length - 52.0, 12.0, width - 12.0


def pocket(w: Writer) -> None:
    """A zigzag with a flat or ball mill, down in steps."""
    tool = w.draw.choice(w.scene.tools[:3])
    x0, x1, y0, y1 = region(w)
    a, b = sorted((w.draw.uniform(x0, x1), w.draw.uniform(x0, x1)))
    c, d = sorted((w.draw.uniform(y0, y1), w.draw.uniform(y0, y1)))
    depth = w.draw.uniform(0.5, 8.0)
    w.take(tool, a, c)
    w.go(True, z=2.0)
    z = 0.0
    while z > -depth + 1e-9:
        z = max(-depth, z - w.draw.uniform(1.5, 3.0))
        w.go(False, z=z, feed=200)
        y, way = c, True
        while True:
            w.go(False, x=b if way else a, y=y)
            if y >= d:
                break
            y = min(d, y + max(1.0, tool.r))
            w.go(False, y=y)
            way = not way
        w.go(False, x=a, y=c)
    w.up()


def holes(w: Writer) -> None:
    """Drilled holes by G0 and G1."""
    tool = w.scene.tools[3]
    x0, x1, y0, y1 = region(w)
    w.take(tool, x0, y0)
    for _ in range(w.draw.randint(6, 12)):
        w.go(True, x=w.draw.uniform(x0, x1), y=w.draw.uniform(y0, y1))
        w.go(True, z=2.0)
        w.go(False, z=-w.draw.uniform(2, 9), feed=150)
        w.go(True, z=w.clear)


def ring(w: Writer) -> None:
    """A full circle and two half circles."""
    tool = w.draw.choice(w.scene.tools[:2])
    x0, x1, y0, y1 = region(w)
    r = w.draw.uniform(4, min(x1 - x0, y1 - y0) / 2 - 1)
    x, y = w.draw.uniform(x0 + r, x1 - r), w.draw.uniform(y0 + r, y1 - r)
    w.take(tool, x + r, y)
    w.go(True, z=2.0)
    w.go(False, z=-w.draw.uniform(0.5, 6), feed=150)
    w.arc(True, x + r, y, -r, 0.0)
    w.arc(False, x - r, y, -r, 0.0)
    w.arc(False, x + r, y, r, 0.0)
    w.up()


def ramps(w: Writer) -> None:
    """Straight moves that go down and up while they travel."""
    tool = w.draw.choice(w.scene.tools[:3])
    x0, x1, y0, y1 = region(w)
    w.take(tool, x0, y0)
    w.go(True, z=2.0)
    for _ in range(w.draw.randint(60, 90)):
        w.go(False, x=w.draw.uniform(x0, x1), y=w.draw.uniform(y0, y1), z=-w.draw.uniform(0.2, 7))
    w.up()


# -- the planted contact ----------------------------------------------------------------------------------------------


def plant(w: Writer, kind: str, touching: bool) -> None:
    """One contact of a drawn depth, or a near miss of 0.05 to 0.3 mm, ending in one block."""
    draw, scene = w.draw, w.scene
    length, width, _height = scene.size
    shallow = draw.random() < 0.24
    depth = draw.uniform(0.06, 0.3) if shallow or not touching else draw.uniform(0.3, 1.4)
    if not touching:
        depth = -depth
    tool = draw.choice(scene.tools[:2])
    part, body = "cutter", "stock"
    if kind == "rapid down":
        # over raw stock between the work and the clamp
        w.take(tool, length - 36.0, width / 2)
        w.go(True, z=5.0)
        line = w.go(True, z=-depth)
    elif kind == "rapid across":
        w.take(tool, -40.0, width / 2)
        w.go(True, z=-depth)
        line = w.go(True, x=12.0 - tool.r)
    elif kind == "holder clamp":
        w.take(tool, length / 2, 20.0)
        w.go(True, z=4.0)
        line = w.go(False, x=length - 14.0 - (tool.holder / 2 - depth))
        part, body = "holder", "clamp"
    elif kind == "shank stock":
        w.take(tool, -60.0, width / 2)
        w.go(True, z=-(tool.cutting + 1.0))
        line = w.go(False, x=-(tool.shank / 2 - depth))
        part = "shank"
    elif kind == "holder stock":
        w.take(tool, -60.0, width / 2)
        w.go(True, z=-(tool.stick + 1.0))
        line = w.go(False, x=-(tool.holder / 2 - depth))
        part = "holder"
    else:
        w.take(tool, -60.0, -16.0)
        w.go(True, z=-13.0)
        line = w.go(False, x=10.0 - (tool.r - depth))
        body = "fixed jaw"
    back = {"holder clamp": {"x": length / 2}, "rapid down": {}, "rapid across": {"x": -40.0}}.get(kind, {"x": -60.0})
    if back:
        w.go(False, **back)
    w.up()
    scene.truth = Truth(touching, kind, w.op, line, part, body, depth)


# -- files ------------------------------------------------------------------------------------------------------------

JOB = """format = 1
units = "{unit}"
part = "seed {seed}"
tools = "tools.csv"
invented = true
[machine]
name = "m"
travel = {{ X = [{a}, 0], Y = [{a}, 0], Z = [{a}, 0] }}
rapid = {{ X = {v}, Y = {v}, Z = {v} }}
acceleration = {{ X = 3, Y = 3, Z = 3 }}
feed_limit = {f}
[machine.spindle]
rpm = [50, 12000]
[machine.magazine]
positions = 20
change = 4.0
[machine.control]
length = "gauge line"
radius = "diameter"
rapid_path = "straight"
start_units = "{unit}"
"""
OPERATION = """[[operation]]
name = "op {n}"
program = "op{n}.nc"
[[operation.offset]]
system = "G{g}"
origin = {origin}
[[operation.place]]
name = "vise {n}"
offset = "G{g}"
[operation.place.stock]
{stock}
"""
BODY = """[[operation.place.body]]
name = "{name}"
kind = "{kind}"
low = {low}
high = {high}
"""


def write(scene: Scene, folder: Path) -> None:
    """Job folder of a scene."""
    folder.mkdir(parents=True, exist_ok=True)
    unit = INCH if scene.inch else 1.0
    length, width, height = scene.size

    def numbers(*values: float) -> str:
        return "[" + ", ".join(f"{v / unit:.7f}" for v in values) + "]"

    text = JOB.format(
        unit="inch" if scene.inch else "mm", seed=scene.seed, a=f"{-900 / unit:.4f}", v=f"{24000 / unit:.4f}", f=f"{8000 / unit:.4f}"
    )  # fmt: skip
    for op in (0, 1):
        if op == 0:
            stock = f'kind = "box"\nlow = {numbers(0, 0, -height)}\nhigh = {numbers(length, width, 0)}'
        else:
            stock = f'kind = "from"\noperation = "op 1"\nturn = "180 about X"\nshift = {numbers(0, width, -height)}'
        text += OPERATION.format(
            n=op + 1, g=54 + op, origin=numbers(-450 + 7 * op, -430 - 3 * op, -420 + 5 * op), stock=stock
        )
        for name, kind, low, high in (
            ("fixed jaw", "fixed jaw", (10, -40, -height - 20), (length - 10, 0, -10)),
            ("moving jaw", "moving jaw", (10, width, -height - 20), (length - 10, width + 40, -10)),
            ("clamp", "clamp", (length - 14, 8, 0), (length + 30, width - 8, 40)),
        ):
            text += BODY.format(name=name, kind=kind, low=numbers(*low), high=numbers(*high))
        (folder / f"op{op + 1}.nc").write_text("\n".join(scene.lines[op]) + "\n")
    (folder / "job.toml").write_text(text)
    rows = [f"units = {'inch' if scene.inch else 'mm'}",
            "number,name,kind,diameter,point_angle,cutting_length,shank_diameter,stick_out,length,holder_diameter,holder_length"]  # fmt: skip
    for t in scene.tools:
        sizes = [t.cutting, t.shank, t.stick, t.length, t.holder, t.length - t.stick]
        angle = "118" if t.kind == "drill" else ""
        rows.append(
            f"{t.number},{t.kind} {t.number},{t.kind},{t.diameter / unit:.7f},{angle},"
            + ",".join(f"{s / unit:.7f}" for s in sizes)
        )
    (folder / "tools.csv").write_text("\n".join(rows) + "\n")
