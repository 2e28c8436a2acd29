"""Cutter compensation by the letter of the report: no look-ahead, inside corners refused (strict profile).

Source: NISTIR 6556, appendix B. The tool centre runs at the tool's radius beside the contour.
"""

import math

from halfthou.base.limits import SAME_POINT_MM
from halfthou.nc.fault import Fault
from halfthou.nc.rows import END, START, Row
from halfthou.nc.run import Run
from halfthou.nc.state import Vec
from halfthou.nouns.moves import Kind

TANGENT = 1e-6
"""Sine of the turn below which two moves count as tangent."""

Dir = tuple[float, float]


def left_of(u: Dir, side: int) -> Dir:
    """Unit normal towards the tool: left of travel for side +1 (G41), right for -1 (G42)."""
    return -u[1] * side, u[0] * side


def tangent_at(point: Vec, centre: tuple[float, float], sweep: float) -> Dir:
    """Direction of travel of an arc at one of its points."""
    dx, dy = point[0] - centre[0], point[1] - centre[1]
    size = math.hypot(dx, dy) or 1.0
    sign = 1.0 if sweep > 0 else -1.0
    return -dy / size * sign, dx / size * sign


def corner_turn(u: Dir, v: Dir) -> tuple[float, float]:
    """Sine and cosine of the turn from u to v."""
    return u[0] * v[1] - u[1] * v[0], u[0] * v[0] + u[1] * v[1]


class StrictCompensation:
    """Side +1 left, -1 right; a negative table diameter has turned the side already."""

    def __init__(self, side: int, radius_mm: float) -> None:
        """Not yet entered."""
        self.side, self.radius_mm = side, radius_mm
        self.entered = False
        self.last: Dir = (1.0, 0.0)

    @property
    def pending(self) -> bool:
        """Nothing ever waits here."""
        return False

    def hold(self, row: Row) -> None:
        """Never called: nothing is pending."""
        raise NotImplementedError

    def finish(self, run: Run) -> None:
        """Nothing to do: the tool stands beside the last contour point already."""

    def _beside(self, point: Vec, u: Dir) -> Vec:
        n = left_of(u, self.side)
        return [point[0] + self.radius_mm * n[0], point[1] + self.radius_mm * n[1], point[2]]

    def _corner(self, run: Run, u: Dir) -> None:
        """Turn from the last direction to u at the present contour point."""
        sine, cosine = corner_turn(self.last, u)
        if abs(sine) < TANGENT and cosine > 0:
            return
        if self.radius_mm == 0.0:
            return
        if sine * self.side > 0:
            raise Fault("comp-concave-corner", "an inside corner while compensation is on",
                        why="without look-ahead the tool would cut into the corner",
                        do="round the corner with an arc larger than the tool")  # fmt: skip
        point = run.modal.pos
        row = run.row(Kind.ARC)
        sweep = math.atan2(sine, cosine)
        if abs(sine) < TANGENT:
            sweep = -math.pi * self.side
        run.curve(row, self._beside([point[0], point[1], run.at[2]], u), [point[0], point[1], run.at[2]], 2, sweep)

    def line(self, run: Run, row: Row, target: Vec) -> None:
        """A straight contour move."""
        start = run.modal.pos if self.entered else run.at
        dx, dy = target[0] - start[0], target[1] - start[1]
        size = math.hypot(dx, dy)
        if size < SAME_POINT_MM:
            self._up(run, row, target)
            return
        u = dx / size, dy / size
        if not self.entered:
            if size < self.radius_mm - 1e-9:
                raise Fault("comp-entry-gouge", f"the entry move is {size:.3f} mm long, the tool radius {self.radius_mm:.3f}",
                            why="the end point would lie inside the tool", do="start farther away")  # fmt: skip
            turn = math.asin(min(1.0, self.radius_mm / size)) * self.side
            c, s = math.cos(turn), math.sin(turn)
            u = u[0] * c - u[1] * s, u[0] * s + u[1] * c
            self.entered = True
        else:
            self._corner(run, u)
        run.straight(row, self._beside(target, u))
        run.modal.pos = list(target)
        self.last = u

    def _up(self, run: Run, row: Row, target: Vec) -> None:
        run.straight(row, [run.at[0], run.at[1], target[2]])
        run.modal.pos = list(target)

    def arc(self, run: Run, row: Row, target: Vec, centre: tuple[float, float], sweep: float) -> None:
        """A contour arc; as an entry the tool centre itself runs on the programmed arc."""
        inside = sweep * self.side > 0
        start = run.modal.pos if self.entered else run.at
        at_start = math.hypot(start[0] - centre[0], start[1] - centre[1])
        at_end = math.hypot(target[0] - centre[0], target[1] - centre[1])
        if not self.entered:
            path = at_end - self.radius_mm if inside else at_end + self.radius_mm
            if math.hypot(target[0] - start[0], target[1] - start[1]) < self.radius_mm or abs(path - at_start) > 0.002:
                raise Fault("comp-entry-gouge", "the entry arc does not lead to the offset of its end point")
        elif inside and min(at_start, at_end) - self.radius_mm <= 1e-9:
            raise Fault("comp-radius-too-large",
                        f"the tool radius {self.radius_mm:.3f} is not smaller than the inside arc {min(at_start, at_end):.3f}",
                        do="use a smaller tool")  # fmt: skip
        else:
            self._corner(run, tangent_at(start, centre, sweep))
        u = tangent_at(target, centre, sweep)
        end = self._beside(target, u)
        if not self.entered:
            a = math.atan2(start[1] - centre[1], start[0] - centre[0])
            b = math.atan2(end[1] - centre[1], end[0] - centre[0])
            sweep = (b - a) % (2 * math.pi) if sweep > 0 else -((a - b) % (2 * math.pi))
            self.entered = True
        run.curve(row, end, [centre[0], centre[1], end[2]], 2, sweep)
        run.modal.pos = list(target)
        self.last = u


def move_xy(row: Row, x: float, y: float) -> None:
    """Put a held row at another XY."""
    row[START] = (x, y, row[START][2])
    row[END] = (x, y, row[END][2])
