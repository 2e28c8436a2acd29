"""Cutter compensation with a look-ahead of one contour move (mill profile).

Entry ends on the normal of the next move, inside corners meet, outside corners get an arc (language reference 11.3 to
11.6; common practice, from memory). What would gouge is refused.
"""

import math
from dataclasses import dataclass, field

from halfthou.base.limits import SAME_POINT_MM
from halfthou.nc.comp import TANGENT, Dir, corner_turn, left_of, move_xy, tangent_at
from halfthou.nc.fault import Fault
from halfthou.nc.rows import END, FEED, KIND, START, Row
from halfthou.nc.run import Run
from halfthou.nc.state import Vec
from halfthou.nouns.moves import Kind

XY = tuple[float, float]
ON = 1e-7


@dataclass(slots=True)
class Piece:
    """One contour move and its offset. start/end: contour points; a, b: offset ends (b known when resolved)."""

    row: Row
    start: Vec
    end: Vec
    u0: Dir
    u1: Dir
    centre: XY | None = None
    sweep: float = 0.0
    radius: float = 0.0  # offset radius of an arc
    entry: bool = False
    a: XY = (0.0, 0.0)
    b: XY = (0.0, 0.0)
    held: list[Row] = field(default_factory=list)
    rate: tuple[float | None, int, float] = (None, 940, 0.0)  # feed, feed mode, speed of its own block


class MillCompensation:
    """Side +1 left, -1 right."""

    def __init__(self, side: int, radius_mm: float) -> None:
        """Not yet entered."""
        self.side, self.radius_mm = side, radius_mm
        self.last: Piece | None = None
        self.before: list[Piece] = []  # at most two resolved pieces, for the crossing check
        self.entered = False

    @property
    def pending(self) -> bool:
        """Is a contour move waiting for its end?"""
        return self.last is not None

    def hold(self, row: Row) -> None:
        """Keep a row until the pending move has its end."""
        assert self.last is not None
        self.last.held.append(row)

    def _beside(self, point: Vec, u: Dir) -> XY:
        n = left_of(u, self.side)
        return point[0] + self.radius_mm * n[0], point[1] + self.radius_mm * n[1]

    def line(self, run: Run, row: Row, target: Vec) -> None:
        """A straight contour move."""
        start = list(run.modal.pos) if self.entered else list(run.at)
        dx, dy = target[0] - start[0], target[1] - start[1]
        size = math.hypot(dx, dy)
        if size < SAME_POINT_MM:
            self._up(run, row, target)
            return
        u = dx / size, dy / size
        piece = Piece(row, start, list(target), u, u, entry=not self.entered, rate=_rate(run))
        self._follow(run, piece)
        run.modal.pos = list(target)

    def _up(self, run: Run, row: Row, target: Vec) -> None:
        """A move without XY."""
        if self.last is None:
            run.straight(row, [run.at[0], run.at[1], target[2]])
            run.modal.pos = list(target)
            return
        z = run.modal.pos[2]
        if abs(target[2] - z) > 1e-12:
            row[START], row[END] = (0.0, 0.0, z), (0.0, 0.0, target[2])
            if row[KIND] == Kind.LINE:
                row[FEED] = run.feed(abs(target[2] - z))
            self.last.held.append(row)
        run.modal.pos = list(target)
        run.at[2] = target[2]

    def arc(self, run: Run, row: Row, target: Vec, centre: XY, sweep: float) -> None:
        """A contour arc."""
        if not self.entered:
            raise Fault("comp-entry-on-arc", "compensation is entered on an arc",
                        why="controls differ in the path they make of it", do="enter on a straight move")  # fmt: skip
        start = list(run.modal.pos)
        inside = sweep * self.side > 0
        radius = math.hypot(target[0] - centre[0], target[1] - centre[1])
        offset = radius - self.radius_mm if inside else radius + self.radius_mm
        if inside and offset <= 1e-9 and self.radius_mm > 0:
            raise Fault("comp-radius-too-large",
                        f"the tool radius {self.radius_mm:.3f} is not smaller than the inside arc {radius:.3f}",
                        do="use a smaller tool")  # fmt: skip
        piece = Piece(
            row, start, list(target), tangent_at(start, centre, sweep), tangent_at(target, centre, sweep),
            centre=centre, sweep=sweep, radius=offset, rate=_rate(run),
        )  # fmt: skip
        self._follow(run, piece)
        run.modal.pos = list(target)

    # -- corners ----------------------------------------------------------------------------------------------

    def _follow(self, run: Run, piece: Piece) -> None:
        """The pending move gets its end from the new one, which becomes the pending one."""
        last = self.last
        if piece.entry:
            self.entered = True
            piece.a = (run.at[0], run.at[1])
            self.last = piece
            return
        if last is None:
            piece.a = (run.at[0], run.at[1])
            self.last = piece
            return
        if last.entry:
            meet = self._beside(last.end, piece.u0)
            self._close(run, last, meet)
            piece.a = meet
            self.last = piece
            return
        sine, cosine = corner_turn(last.u1, piece.u0)
        tangent = abs(sine) < TANGENT and cosine > 0
        if tangent or self.radius_mm == 0.0:
            meet = self._beside(last.end, last.u1)
            self._close(run, last, meet)
            piece.a = self._beside(piece.start, piece.u0)
        elif sine * self.side > 0 and abs(sine) >= TANGENT:
            meet = self._inside(last, piece)
            self._close(run, last, meet)
            piece.a = meet
        else:
            self._close(run, last, self._beside(last.end, last.u1))
            self._round(run, last, piece, sine, cosine)
        self.last = piece

    def _round(self, run: Run, last: Piece, piece: Piece, sine: float, cosine: float) -> None:
        """Outside corner: an arc of the tool's radius about the contour point."""
        end = self._beside(piece.start, piece.u0)
        piece.a = end
        sweep = math.atan2(sine, cosine) if abs(sine) >= TANGENT else -math.pi * self.side
        row = list(piece.row)
        row[KIND] = Kind.ARC
        z = piece.start[2]
        pos, at = run.modal.pos, run.at
        run.at = [run.at[0], run.at[1], z]
        run.curve(row, [end[0], end[1], z], [piece.start[0], piece.start[1], z], 2, sweep)
        run.modal.pos = pos
        run.at[2] = at[2]

    def _close(self, run: Run, piece: Piece, end: XY) -> None:
        """The piece now has both offset ends: check it, emit it and what was held behind it."""
        piece.b = end
        self._check(piece)
        z0, z1 = piece.start[2], piece.end[2]
        modal = run.modal
        pos, high, rate = modal.pos, run.at[2], _rate(run)
        modal.feed, modal.feed_mode, modal.speed_rpm = piece.rate
        run.at = [piece.a[0], piece.a[1], z0]
        target = [end[0], end[1], z1]
        if piece.centre is None:
            run.straight(piece.row, target)
        else:
            self._emit_arc(run, piece, target)
        modal.pos = pos
        modal.feed, modal.feed_mode, modal.speed_rpm = rate
        for row in piece.held:
            move_xy(row, end[0], end[1])
            run.rows.add(row)
        run.at = [end[0], end[1], high]
        self.before = [*self.before[-1:], piece]

    def _emit_arc(self, run: Run, piece: Piece, target: Vec) -> None:
        assert piece.centre is not None
        sweep = self._arc_sweep(piece)
        if abs(sweep) < 1e-12:
            return
        modal = run.modal
        before = modal.feed
        if run.control.feed_reference == "contour" and modal.feed and piece.radius > 0 and modal.feed_mode != 930:
            real = math.hypot(piece.end[0] - piece.centre[0], piece.end[1] - piece.centre[1])
            modal.feed = modal.feed * piece.radius / real
        run.curve(piece.row, target, [piece.centre[0], piece.centre[1], target[2]], 2, sweep)
        modal.feed = before

    def _arc_sweep(self, piece: Piece) -> float:
        """Signed sweep between the offset ends of an arc."""
        assert piece.centre is not None
        cx, cy = piece.centre
        turn = math.atan2(piece.b[1] - cy, piece.b[0] - cx) - math.atan2(piece.a[1] - cy, piece.a[0] - cx)
        full = 2 * math.pi
        sweep = turn % full if piece.sweep > 0 else -((-turn) % full)
        # the offset ends may only have moved towards each other: pick the turn nearest to the programmed one
        return min((sweep - full, sweep, sweep + full), key=lambda s: abs(s - piece.sweep))

    def _check(self, piece: Piece) -> None:
        """Reversed offset moves and crossings with the move two before are gouges."""
        if self.radius_mm == 0.0:
            return
        gouge = Fault("comp-gouge", f"the tool radius {self.radius_mm:.3f} does not fit this contour",
                      why="the offset path would run backwards or cross itself, and the tool cut into the contour",
                      do="use a smaller tool, or take the short move out")  # fmt: skip
        if not piece.entry:
            if piece.centre is None:
                along = (piece.b[0] - piece.a[0]) * piece.u0[0] + (piece.b[1] - piece.a[1]) * piece.u0[1]
                if along < -ON:
                    raise gouge
            else:
                sweep = self._arc_sweep(piece)
                if sweep * piece.sweep < -ON or abs(sweep) > abs(piece.sweep) + math.pi:
                    raise gouge
        if len(self.before) >= 2 and not piece.entry:
            other = self.before[-2]
            if not other.entry and _cross(other, piece):
                raise gouge

    def _inside(self, last: Piece, piece: Piece) -> XY:
        """Where the offsets of two moves meet; a gouge when they do not meet on both."""
        corner = last.end
        points = _meets(self._shape(last), self._shape(piece))
        best: XY | None = None
        for point in points:
            if best is None or math.hypot(point[0] - corner[0], point[1] - corner[1]) < math.hypot(
                best[0] - corner[0], best[1] - corner[1]
            ):
                best = point
        if best is None or not self._on(last, best, True) or not self._on(piece, best, False):
            raise Fault("comp-gouge", f"the tool radius {self.radius_mm:.3f} does not fit this inside corner",
                        why="the offsets of the two moves do not meet", do="use a smaller tool")  # fmt: skip
        return best

    def _shape(self, piece: Piece) -> tuple[XY, Dir | None, float]:
        """An offset as a line (point, direction) or a circle (centre, None, radius)."""
        if piece.centre is None:
            return self._beside(piece.start, piece.u0), piece.u0, 0.0
        return piece.centre, None, piece.radius

    def _on(self, piece: Piece, point: XY, is_last: bool) -> bool:
        """Does the meeting point lie on the programmed extent of the offset move?"""
        if piece.centre is None:
            a, b = self._beside(piece.start, piece.u0), self._beside(piece.end, piece.u0)
            along = (point[0] - a[0]) * piece.u0[0] + (point[1] - a[1]) * piece.u0[1]
            size = math.hypot(b[0] - a[0], b[1] - a[1])
            return (along >= -ON or (is_last and piece.entry)) and along <= size + ON
        cx, cy = piece.centre
        start = math.atan2(piece.start[1] - cy, piece.start[0] - cx)
        turn = math.atan2(point[1] - cy, point[0] - cx) - start
        full = 2 * math.pi
        turn = turn % full if piece.sweep > 0 else (-turn) % full
        return turn <= abs(piece.sweep) + ON or full - turn < ON

    def finish(self, run: Run) -> None:
        """Compensation ends: the last contour move ends square beside its point."""
        if self.last is not None:
            self._close(run, self.last, self._beside(self.last.end, self.last.u1))
            self.last = None


def _rate(run: Run) -> tuple[float | None, int, float]:
    return run.modal.feed, run.modal.feed_mode, run.modal.speed_rpm


def _meets(one: tuple[XY, Dir | None, float], two: tuple[XY, Dir | None, float]) -> list[XY]:
    """Common points of two lines or circles."""
    (p, u, r), (q, v, s) = one, two
    if u is not None and v is not None:
        cross = u[0] * v[1] - u[1] * v[0]
        if abs(cross) < 1e-12:
            return []
        t = ((q[0] - p[0]) * v[1] - (q[1] - p[1]) * v[0]) / cross
        return [(p[0] + t * u[0], p[1] + t * u[1])]
    if u is not None:
        return _line_circle(p, u, q, s)
    if v is not None:
        return _line_circle(q, v, p, r)
    dx, dy = q[0] - p[0], q[1] - p[1]
    d = math.hypot(dx, dy)
    if d < 1e-12 or d > r + s + ON or d < abs(r - s) - ON:
        return []
    along = (d * d + r * r - s * s) / (2 * d)
    height = math.sqrt(max(r * r - along * along, 0.0))
    x, y = p[0] + along * dx / d, p[1] + along * dy / d
    return [(x - height * dy / d, y + height * dx / d), (x + height * dy / d, y - height * dx / d)]


def _line_circle(p: XY, u: Dir, c: XY, r: float) -> list[XY]:
    along = (c[0] - p[0]) * u[0] + (c[1] - p[1]) * u[1]
    away = (c[0] - p[0]) * u[1] - (c[1] - p[1]) * u[0]
    if abs(away) > r + ON:
        return []
    half = math.sqrt(max(r * r - away * away, 0.0))
    return [(p[0] + (along + h) * u[0], p[1] + (along + h) * u[1]) for h in (-half, half)]


def _within(piece: Piece, point: XY) -> bool:
    """Is the point strictly inside the offset move (not at its ends)?"""
    near = 1e-6
    if math.hypot(point[0] - piece.a[0], point[1] - piece.a[1]) < near:
        return False
    if math.hypot(point[0] - piece.b[0], point[1] - piece.b[1]) < near:
        return False
    if piece.centre is None:
        size = math.hypot(piece.b[0] - piece.a[0], piece.b[1] - piece.a[1])
        along = (point[0] - piece.a[0]) * piece.u0[0] + (point[1] - piece.a[1]) * piece.u0[1]
        return near < along < size - near
    cx, cy = piece.centre
    full = 2 * math.pi
    start = math.atan2(piece.a[1] - cy, piece.a[0] - cx)
    sign = 1.0 if piece.sweep > 0 else -1.0
    turn = (sign * (math.atan2(point[1] - cy, point[0] - cx) - start)) % full
    size = (sign * (math.atan2(piece.b[1] - cy, piece.b[0] - cx) - start)) % full
    return near < turn < size - near


def _cross(one: Piece, two: Piece) -> bool:
    """Do two offset moves cross between their ends?"""
    if abs(one.end[2] - two.start[2]) > SAME_POINT_MM:
        return False
    shapes: list[tuple[XY, Dir | None, float]] = []
    for piece in (one, two):
        if piece.centre is None:
            shapes.append((piece.a, piece.u0, 0.0))
        else:
            shapes.append((piece.centre, None, piece.radius))
    return any(_within(one, point) and _within(two, point) for point in _meets(shapes[0], shapes[1]))
