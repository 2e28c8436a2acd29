"""Random milling programs for the simulated controllers: the text, and what it means event by event.

Mill dialect, mm, one work offset whose zero lies at machine (-300, -200, -300), tool lengths zero, start at machine
zero. Facing, contours with arcs, zigzag clearing, helical entries, drilling cycles, dense short-segment surfaces.
"""

import math
import random
from dataclasses import dataclass

ZERO = (-300.0, -200.0, -300.0)
HIGH, R = 100.0, 3.0
PECK_CLEARANCE = 0.254


@dataclass
class Event:
    """One thing the machine does; kind rapid, line, arc, dwell, change, spindle, aux. mm, mm/s, rad."""

    line: int
    kind: str
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    feed: float = 0.0
    centre: tuple[float, float] = (0.0, 0.0)
    sweep: float = 0.0
    value: float = 0.0
    tool: int = 0


class Writer:
    """Writes a program and its events side by side."""

    def __init__(self) -> None:
        """Modal state of the text."""
        self.lines: list[str] = ["%", "O1000", "G21 G90 G17 G40 G49 G80 G94 G54"]
        self.events: list[Event] = []
        self.at = tuple(-v for v in ZERO)
        self.feed = 0.0
        self.tool = 0
        self.coolant = False
        self.rpm = 0.0

    def say(self, text: str) -> None:
        self.lines.append(text)

    def add(self, kind: str, end: tuple[float, float, float] | None = None, **more: float) -> None:
        end = end or self.at
        self.events.append(Event(len(self.lines), kind, self.at, end, tool=self.tool, **more))
        self.at = end

    def change(self, tool: int, rpm: float) -> None:
        if self.tool:
            self.rapid(z=HIGH)
            self.say("M9")
            self.add("aux")
            self.say("M5")
            self.add("spindle", value=0.0)
        self.say(f"T{tool} M6")
        self.tool = tool
        self.add("change", value=float(tool))
        self.say(f"S{rpm:.0f} M3")
        self.add("spindle", value=float(round(rpm)))
        self.say("M8")
        self.add("aux")

    def _words(self, x: float | None, y: float | None, z: float | None) -> tuple[str, tuple[float, float, float]]:
        end = list(self.at)
        text = ""
        for k, (letter, value) in enumerate(zip("XYZ", (x, y, z), strict=True)):
            if value is not None:
                end[k] = round(value, 4)
                text += f" {letter}{end[k]:.4f}"
        return text, (end[0], end[1], end[2])

    def rapid(self, x: float | None = None, y: float | None = None, z: float | None = None) -> None:
        text, end = self._words(x, y, z)
        self.say("G0" + text)
        if end != self.at:
            self.add("rapid", end)

    def line(
        self, x: float | None = None, y: float | None = None, z: float | None = None, feed: float | None = None
    ) -> None:
        text, end = self._words(x, y, z)
        if feed is not None and feed != self.feed:
            self.feed = round(feed)
            text += f" F{self.feed:.0f}"
        self.say("G1" + text)
        if end != self.at:
            self.add("line", end, feed=self.feed / 60)

    def arc(
        self, x: float, y: float, cx: float, cy: float, ccw: bool, z: float | None = None, turn: bool = False
    ) -> None:
        """Arc to x, y round cx, cy; turn: a full turn."""
        text, end = self._words(x, y, z)
        i, j = round(cx - self.at[0], 4), round(cy - self.at[1], 4)
        centre = (self.at[0] + i, self.at[1] + j)
        a = math.atan2(self.at[1] - centre[1], self.at[0] - centre[0])
        b = math.atan2(end[1] - centre[1], end[0] - centre[0])
        sweep = (b - a) % (2 * math.pi) if ccw else -((a - b) % (2 * math.pi))
        if turn or abs(sweep) < 1e-7:
            sweep = 2 * math.pi if ccw else -2 * math.pi
        self.say(("G3" if ccw else "G2") + text + f" I{i:.4f} J{j:.4f}")
        self.add("arc", end, feed=self.feed / 60, centre=centre, sweep=sweep)

    def end(self) -> None:
        self.rapid(z=HIGH)
        self.say("M30")
        self.add("end")
        self.say("%")


def _approach(w: Writer, x: float, y: float) -> None:
    w.rapid(x, y)
    w.rapid(z=R)


def _facing(w: Writer, d: random.Random) -> None:
    long, wide, step = d.uniform(60, 180), d.uniform(40, 100), d.uniform(8, 30)
    _approach(w, -20, 0)
    w.line(z=-0.5, feed=d.uniform(300, 1500))
    y, right = 0.0, True
    feed = d.uniform(600, 4000)
    while y < wide:
        w.line(x=long + 20 if right else -20, feed=feed)
        y += step
        w.line(y=y)
        right = not right
    w.rapid(z=R)


def _contour(w: Writer, d: random.Random) -> None:
    """A rectangle with rounded corners, several depths."""
    a, b, r = d.uniform(20, 120), d.uniform(15, 80), d.uniform(1, 7)
    x0, y0 = d.uniform(0, 60), d.uniform(0, 40)
    feed, depths = d.uniform(250, 2500), d.randint(1, 6)
    _approach(w, x0 + a / 2, y0 - 10)
    for k in range(depths):
        w.line(z=-1.5 * (k + 1), feed=feed / 3)
        w.line(y=y0, feed=feed)
        w.line(x=x0 + r)
        w.arc(x0, y0 + r, x0 + r, y0 + r, False)
        w.line(y=y0 + b - r)
        w.arc(x0 + r, y0 + b, x0 + r, y0 + b - r, False)
        w.line(x=x0 + a - r)
        w.arc(x0 + a, y0 + b - r, x0 + a - r, y0 + b - r, False)
        w.line(y=y0 + r)
        w.arc(x0 + a - r, y0, x0 + a - r, y0 + r, False)
        w.line(x=x0 + a / 2)
        w.line(y=y0 - 10)
    w.rapid(z=R)


def _clearing(w: Writer, d: random.Random) -> None:
    """Helical entry, growing rectangles with sharp or mitred corners."""
    r, x0, y0 = d.uniform(1.5, 5), d.uniform(20, 100), d.uniform(20, 70)
    step, rings, depth = d.uniform(1.5, 5), d.randint(3, 9), d.uniform(3, 12)
    feed = d.uniform(400, 3000)
    for k in range(d.randint(1, 3)):
        _approach(w, x0 + r, y0)
        w.line(z=0.5 - k * depth, feed=feed / 2)
        z = 0.5 - k * depth
        while z > -(k + 1) * depth:
            z = max(z - d.uniform(0.4, 1.2), -(k + 1) * depth)
            w.arc(x0 + r, y0, x0, y0, True, z=z, turn=True)
        w.line(x=x0, y=y0, feed=feed)
        skew = d.uniform(0, 0.4)
        for n in range(1, rings + 1):
            s = n * step
            w.line(x=x0 + s, y=y0 + s * (1 - skew))
            w.line(x=x0 - s * (1 - skew), y=y0 + s)
            w.line(x=x0 - s, y=y0 - s * (1 - skew))
            w.line(x=x0 + s * (1 - skew), y=y0 - s)
            w.line(x=x0 + s, y=y0 + s * (1 - skew))
        w.rapid(z=R)


def _surface(w: Writer, d: random.Random) -> None:
    """Dense short lines over a wavy surface."""
    long, passes, over = d.uniform(20, 70), d.randint(4, 14), d.uniform(0.2, 1.0)
    chord, wave, high = math.exp(d.uniform(math.log(0.08), math.log(1.2))), d.uniform(8, 40), d.uniform(0.5, 4)
    feed = d.uniform(500, 5000)
    _approach(w, 0, 0)
    w.line(z=0, feed=feed / 3)
    right = True
    n = max(4, min(260, int(long / chord)))
    for k in range(passes):
        for i in range(n + 1):
            x = long * (i / n if right else 1 - i / n)
            z = high * math.sin(2 * math.pi * x / wave + 0.3 * k) - high
            w.line(x=x, y=k * over, z=z, feed=feed)
        right = not right
    w.rapid(z=R)


def _drilling(w: Writer, d: random.Random) -> None:
    """G81 or G83 over a pattern."""
    feed, deep, peck = round(d.uniform(80, 600)), -d.uniform(4, 30), d.uniform(1.5, 6)
    pecks = d.random() < 0.5
    deep, peck = round(deep, 3), round(peck, 3)
    nx, ny, pitch = d.randint(2, 6), d.randint(1, 5), d.uniform(6, 25)
    first = True
    w.rapid(10, 10)
    w.rapid(z=10)
    for i in range(nx):
        for j in range(ny):
            x, y = round(10 + i * pitch, 4), round(10 + (j if i % 2 == 0 else ny - 1 - j) * pitch, 4)
            if first:
                w.say(
                    f"G99 {'G83' if pecks else 'G81'} X{x:.4f} Y{y:.4f} Z{deep:.3f} R{R:.1f}"
                    + (f" Q{peck:.3f}" if pecks else "")
                    + f" F{feed}"
                )
                w.feed = feed
            else:
                w.say(f"X{x:.4f} Y{y:.4f}")
            first = False
            if (x, y) != w.at[:2]:
                w.add("rapid", (x, y, w.at[2]))
            if w.at[2] != R:
                w.add("rapid", (x, y, R))
            z = R
            while z > deep:
                bite = max(z - peck, deep) if pecks else deep
                if z < R:
                    w.add("rapid", (x, y, z + PECK_CLEARANCE))
                w.add("line", (x, y, bite), feed=feed / 60)
                w.add("rapid", (x, y, R))
                z = bite
    w.say("G80")


def _slots(w: Writer, d: random.Random) -> None:
    """Short straight cuts at odd angles with dwells now and then."""
    feed = d.uniform(200, 1500)
    for _ in range(d.randint(3, 14)):
        x, y, angle, long = d.uniform(0, 120), d.uniform(0, 80), d.uniform(0, 6.28), d.uniform(2, 25)
        _approach(w, x, y)
        w.line(z=-d.uniform(0.3, 4), feed=feed / 4)
        if d.random() < 0.3:
            w.say("G4 P0.3")
            w.add("dwell", value=0.3)
        w.line(x=x + long * math.cos(angle), y=y + long * math.sin(angle), feed=feed)
        w.rapid(z=R)


def draw_program(d: random.Random) -> tuple[str, list[Event]]:
    """A program of two to eight tools: its text and its events."""
    w = Writer()
    kinds = [_facing, _contour, _clearing, _surface, _drilling, _slots]
    weights = [d.uniform(0.2, 2) for _ in kinds]
    tools = d.sample(range(1, 25), d.randint(2, 8))
    for tool in tools:
        w.change(tool, d.uniform(1500, 8000))
        for kind in d.choices(kinds, weights, k=d.randint(1, 4)):
            kind(w, d)
    w.end()
    return "\n".join(w.lines) + "\n", w.events
