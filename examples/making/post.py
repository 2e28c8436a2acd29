"""A small writer of NC programs for the invented examples, so that geometry and programs stay consistent.

Not part of the package and not run by the tests: the programs it wrote are committed beside the jobs.
"""

import math
from pathlib import Path

Point = tuple[float, float]


def num(value: float, places: int = 3) -> str:
    """A number as a post writes it: always with a point, no trailing zeros."""
    text = f"{value:.{places}f}".rstrip("0")
    return "0." if text in ("-0.", "0.") else text


class Prog:
    """Collects blocks."""

    def __init__(self, number: int, title: str, *, units: str = "mm", places: int = 3) -> None:
        self.places = places
        self.units = units
        self.clear = 50.0 if units == "mm" else 2.0
        self.lines = ["%", f"O{number:04d} ({title})"]

    def raw(self, *lines: str) -> None:
        self.lines.extend(lines)

    def n(self, value: float) -> str:
        return num(value, self.places)

    def words(self, **words: float) -> str:
        return " ".join(f"{key}{self.n(value)}" for key, value in words.items())

    def start(self, system: str = "G54") -> None:
        self.raw("(invented demo data)", f"G{'21' if self.units == 'mm' else '20'} G17 G40 G49 G80 G90 G94 {system}")

    def tool(self, number: int, name: str, rpm: float, x: float, y: float, *, coolant: bool = True) -> None:
        """Retract, change, speed, first position above the part, length offset."""
        self.raw(f"N{number:03d} ({name})", "G53 G0 Z0.", f"T{number} M6", "M1", f"G0 G90 X{self.n(x)} Y{self.n(y)}")
        if rpm:
            self.raw(f"S{rpm:.0f} M3")
        self.raw(f"G43 H{number} Z{self.n(self.clear)}")
        if coolant:
            self.raw("M8")

    def stop(self) -> None:
        self.raw("M9", "M5")

    def rapid(self, **words: float) -> None:
        self.raw(f"G0 {self.words(**words)}")

    def line(self, feed: float | None = None, **words: float) -> None:
        self.raw(f"G1 {self.words(**words)}" + (f" F{self.n(feed)}" if feed else ""))

    def arc(self, ccw: bool, x: float, y: float, i: float, j: float, **more: float) -> None:
        self.raw(f"G{3 if ccw else 2} {self.words(X=x, Y=y, I=i, J=j, **more)}")

    def quarters(
        self, cx: float, cy: float, r: float, *, ccw: bool = True, z: tuple[float, float] | None = None
    ) -> None:
        """One full turn from (cx + r, cy) in four arcs; with z it is one turn of a helix."""
        s = 1 if ccw else -1
        spots = [(1, 0), (0, s), (-1, 0), (0, -s), (1, 0)]
        for k in range(4):
            (ax, ay), (bx, by) = spots[k], spots[k + 1]
            more = {} if z is None else {"Z": z[0] + (z[1] - z[0]) * (k + 1) / 4}
            self.arc(ccw, cx + r * bx, cy + r * by, -r * ax, -r * ay, **more)

    def spiral(self, cx: float, cy: float, r0: float, r1: float, step: float, chord: float) -> None:
        """Outward spiral in chords from (cx + r0, cy), ending with a full turn at r1."""
        angle, r = 0.0, r0
        while r < r1:
            angle += chord / max(r, chord)
            r = min(r1, r0 + step * angle / (2 * math.pi))
            self.line(X=cx + r * math.cos(angle), Y=cy + r * math.sin(angle))
        steps = max(8, round(2 * math.pi * r1 / chord))
        for k in range(1, steps + 1):
            a = angle + 2 * math.pi * k / steps
            self.line(X=cx + r1 * math.cos(a), Y=cy + r1 * math.sin(a))

    def round_box(self, low: Point, high: Point, r: float, x_start: float | None = None) -> None:
        """Clockwise round a box with rounded corners, from and to the middle of its left side."""
        (x0, y0), (x1, y1) = low, high
        middle = (y0 + y1) / 2
        self.line(X=x0, Y=y1 - r)
        self.arc(False, x0 + r, y1, r, 0)
        self.line(X=x1 - r, Y=y1)
        self.arc(False, x1, y1 - r, 0, -r)
        self.line(X=x1, Y=y0 + r)
        self.arc(False, x1 - r, y0, -r, 0)
        self.line(X=x0 + r, Y=y0)
        self.arc(False, x0, y0 + r, 0, r)
        self.line(X=x0, Y=middle)

    def bore_finish(self, cx: float, cy: float, r: float, z: float, lead: float, d: int, feed: float) -> None:
        """Finish a bore wall with G41: in from the centre, tangent arc, a full turn, tangent arc, out."""
        self.rapid(X=cx, Y=cy)
        self.line(feed, Z=z)
        self.raw(f"G41 D{d}")
        self.line(feed, X=cx + r - lead, Y=cy - lead)
        self.arc(True, cx + r, cy, 0, lead)
        self.quarters(cx, cy, r)
        self.arc(True, cx + r - lead, cy + lead, -lead, 0)
        self.raw("G40")
        self.line(X=cx, Y=cy)

    def end(self, *, y_home: bool = True) -> None:
        self.raw("G53 G0 Z0.", "G91 G28 Y0." if y_home else "G4 P1", "G90", "M30", "%")

    def write(self, path: Path) -> int:
        path.write_text("\n".join(self.lines) + "\n", encoding="utf-8")
        return len(self.lines)


def face(p: Prog, tool: int, name: str, rpm: float, feed: float, zs: list[float], rows: list[float], x: Point) -> None:
    """Zigzag along X in rows, one layer a z, from x[0] (outside the stock) to x[1]; ends with the spindle stopped."""
    up = 2.0 if p.units == "mm" else 0.08
    p.tool(tool, name, rpm, x[0], rows[0])
    for z in zs:
        p.rapid(X=x[0], Y=rows[0])
        p.rapid(Z=z + up)
        p.line(feed / 2, Z=z)
        p.raw(f"F{p.n(feed)}")
        for k, y in enumerate(rows):
            p.line(Y=y)
            p.line(X=x[1] if k % 2 == 0 else x[0])
        p.rapid(Z=8 * up)
    p.stop()


def cycle(p: Prog, tool: int, name: str, rpm: float, words: str, spots: list[Point]) -> None:
    """Tool change and a canned cycle at spots."""
    p.tool(tool, name, rpm, *spots[0])
    first = f"X{p.n(spots[0][0])} Y{p.n(spots[0][1])}"
    p.raw(words.format(xy=first), *(f"X{p.n(x)} Y{p.n(y)}" for x, y in spots[1:]), "G80")
    p.stop()


def profile(p: Prog, low: Point, high: Point, r: float, tool_r: float, zs: list[float], stay: float, out: float,
            feed: float, d: int) -> None:  # fmt: skip
    """Rough round a box along the centre path, `stay` left, then finish at the last z with G41; from the left side."""
    off = tool_r + stay
    middle = (low[1] + high[1]) / 2
    lead = 2.4 * tool_r
    for z in zs:
        p.rapid(X=low[0] - out, Y=middle - lead)
        p.rapid(Z=z + off)
        p.line(feed, Z=z)
        p.line(X=low[0] - off, Y=middle)
        p.round_box((low[0] - off, low[1] - off), (high[0] + off, high[1] + off), r + off)
        p.line(X=low[0] - out, Y=middle + lead)
        p.rapid(Z=p.clear / 10)
    p.raw("(finish, compensated)")
    p.rapid(X=low[0] - out, Y=middle - lead)
    p.rapid(Z=zs[-1] + off)
    p.line(feed, Z=zs[-1])
    p.raw(f"G41 D{d}")
    p.line(feed * 0.7, X=low[0] - lead, Y=middle - lead)
    p.arc(True, low[0], middle, 0, lead)
    p.round_box(low, high, r)
    p.arc(True, low[0] - lead, middle + lead, -lead, 0)
    p.raw("G40")
    p.line(X=low[0] - out, Y=middle + lead)
    p.rapid(Z=p.clear)
