"""Contacts of a job by horizontal slices cut with polygon set operations: the geometry of the second contact judge.

Written without reading the product's source, the other oracles, the laws, the twins or the unit tests: from the documentation and the reference
texts alone. The method: the stock is a pile of slabs. Each slab keeps its cross-section just above its foot and just below its head (one polygon
where the walls are upright). A cutting move takes from every slab the cutter's cross-section at those heights; turning over mirrors the pile. A
moving part touches when, in some slab, its path comes nearer to the polygon than its radius there; how much smaller all round it would have to be
is the depth (negative: the gap). Upright walls and level floors are exact but for chords; between foot and head of a slanted slab
nothing is looked at, and a part that covers a slanted slab only in part is undecided. Lengths in mm.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from shapely import affinity
from shapely.geometry import LineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry
from shapely.ops import unary_union

from tests.oracle.second_program import Body, Move, Point3, Scene, Setup, Tool

SAG = 0.003  # chords of round outlines stand in by at most this
STEP = {False: 1.0, True: 0.5}  # slabs of ramps, slabs of cones
FAR = -9.0


@dataclass(frozen=True)
class Part:
    """A piece of the moving assembly from `low` to `high` above the tip: a cylinder; `slope` a cone opening upwards into it; `ball` a round end."""

    name: str
    low: float
    high: float
    radius: float
    slope: float = 0.0
    tip: float = 0.0
    ball: bool = False

    @property
    def end(self) -> float:
        """Height of the end below the cylinder."""
        return self.radius if self.ball else (self.radius - self.tip) / self.slope if self.slope else 0.0

    def at(self, height: float) -> float:
        """Radius at a height above the tip."""
        if self.ball and height < self.radius:
            return math.sqrt(max(0.0, height * (2 * self.radius - height)))
        return min(self.radius, self.tip + self.slope * height) if self.slope else self.radius

    def shrink(self, height: float, distance: float) -> float:
        """How much smaller all round the part must be for a point at this height and distance from its axis to be on its outside."""
        if self.ball and height < self.radius:
            return self.radius - math.hypot(distance, self.radius - height)
        least = min(self.radius - distance, height - self.low)
        return (
            min(least, (self.tip + self.slope * height - distance) / math.hypot(1, self.slope)) if self.slope else least
        )

    def rise(self, height: float, distance: float) -> float:
        """How far the part must be raised for that point to be on its outside; 0 beside it."""
        if distance >= self.radius - 2 * SAG:
            return 0.0
        if self.ball:
            return height - self.radius + math.sqrt(self.radius**2 - distance**2)
        return height - max(self.low, (distance - self.tip) / self.slope if self.slope else 0.0)


def parts_of(tool: Tool) -> list[Part]:
    """Cutter, neck, shank, holder and spindle nose."""
    slope = math.tan(math.radians(tool.point_angle / 2)) if tool.point_angle else 0.0
    found = [Part("cutter", 0.0, tool.cutting, tool.diameter / 2, slope, tool.tip / 2, tool.kind == "ball")]
    bare = tool.cutting + tool.neck_length
    if tool.neck_length:
        found.append(Part("neck", tool.cutting, bare, tool.neck / 2))
    if tool.stick > bare:
        found.append(Part("shank", bare, tool.stick, tool.shank / 2))
    shoulder = tool.stick + 12.0 if tool.step else tool.length
    found.append(Part("holder", tool.stick, shoulder, tool.holder / 2))
    if tool.step:
        found.append(Part("holder", shoulder, tool.length, tool.step / 2))
    found.append(Part("spindle nose", tool.length, tool.length + 120.0, 45.0))
    return found


class Run:
    """The path of a move, asked for its piece between two heights."""

    def __init__(self, path: tuple[Point3, ...]) -> None:
        zs, plane = [p[2] for p in path], [(p[0], p[1]) for p in path]
        self.path, self.low, self.high = path, min(zs), max(zs)
        self.slanted = self.high - self.low > 1e-9 and len(set(plane)) > 1
        self.whole = Point(plane[0]) if len(set(plane)) == 1 else LineString(plane)
        xs, ys = [p[0] for p in plane], [p[1] for p in plane]
        self.bounds = min(xs), min(ys), max(xs), max(ys)

    def between(self, low: float, high: float) -> BaseGeometry | None:
        """Where the tip is between these heights, seen from above."""
        if self.low > high or self.high < low:
            return None
        if not self.slanted or (self.low >= low and self.high <= high):
            return self.whole
        found: list[list[tuple[float, float]]] = []
        for a, b in pairwise(self.path):
            t0, t1, rise = 0.0, 1.0, b[2] - a[2]
            if abs(rise) > 1e-12:
                u, v = sorted(((low - a[2]) / rise, (high - a[2]) / rise))
                t0, t1 = max(0.0, u), min(1.0, v)
            elif not low <= a[2] <= high:
                continue
            if t1 > t0:
                ends = [(a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t) for t in (t0, t1)]
                if found and t0 == 0.0 and found[-1][-1] == ends[0]:
                    found[-1].append(ends[1])
                else:
                    found.append(ends)
        if not found:
            return None
        return LineString(found[0]) if len(found) == 1 else unary_union([LineString(piece) for piece in found])

    def far(self, shape: BaseGeometry, reach: float) -> bool:
        """Boxes further apart than this?"""
        x0, y0, x1, y1 = shape.bounds
        a0, b0, a1, b1 = self.bounds
        return a0 - reach > x1 or a1 + reach < x0 or b0 - reach > y1 or b1 + reach < y0


def swell(path: BaseGeometry, radius: float) -> BaseGeometry:
    """All points within a radius of a path."""
    return path.buffer(radius, quad_segs=max(4, math.ceil(math.pi / 4 / math.acos(1 - min(0.5, SAG / radius)))))


def marks(run: Run, part: Part) -> list[float]:
    """Heights at which what a cutter leaves changes, and steps between them where it leaves slants."""
    assert not (run.slanted and part.end), "pointed tools go level or upright here"
    rise = part.end if part.end else run.high - run.low if run.slanted else 0.0
    n = math.ceil(rise / STEP[part.end > 0])
    return [run.low, run.high + part.high, *(run.low + rise * k / n for k in range(1, n + 1))]


@dataclass
class Section:
    """A cross-section with what is still to be taken from it."""

    shape: BaseGeometry
    out: tuple[BaseGeometry, ...] = ()


@dataclass
class Slab:
    """Stock between two heights, with its sections at either end: the same one where the walls are upright."""

    bottom: float
    top: float
    foot: Section
    head: Section


class Stock:
    """A pile of slabs, from the bottom up."""

    def __init__(self, slabs: list[Slab]) -> None:
        self.slabs = slabs
        self.known: dict[tuple[int, int], tuple[Any, ...]] = {}
        self.same: dict[tuple[int, ...], tuple[BaseGeometry, ...]] = {}

    def settled(self, section: Section) -> BaseGeometry:
        """Its polygon with all taken away; slabs that went through the same share the work."""
        if section.out:
            key = (id(section.shape), id(section.out))
            if key not in self.known:
                self.known[key] = (section.shape.difference(unary_union(section.out)), section.shape, section.out)
            section.shape, section.out = self.known[key][0], ()
        return section.shape

    def cut(self, run: Run, part: Part) -> None:
        """Take away what the cutter sweeps."""
        if run.low >= self.slabs[-1].top:
            return
        made: dict[tuple[float, ...], BaseGeometry | None] = {}
        grown: dict[tuple[int, int], tuple[BaseGeometry, ...]] = {}  # slabs with the same history go on sharing it
        before = []  # kept alive, so that no id comes back
        for s in self.slabs:
            if s.top <= run.low + 1e-6 or s.bottom >= run.high + part.high - 1e-6:
                continue
            slant = s.foot is not s.head
            foot = self._taken(run, part, s.bottom + 1e-6, made)
            head = self._taken(run, part, s.top - 1e-6, made)
            if foot is not head and not slant:
                s.head = Section(s.foot.shape, s.foot.out)
                slant = True
            for section, shape in ((s.foot, foot), (s.head, head))[: 1 + slant]:
                if shape is not None:
                    key = (id(section.out), id(shape))
                    if key not in grown:
                        last = [o for o in section.out[-6:] if not self._over(shape, o)]
                        new = (*section.out[:-6], *last, shape)
                        grown[key] = self.same.setdefault(tuple(map(id, new)), new)
                        before.append(section.out)
                    section.out = grown[key]

    def _over(self, new: BaseGeometry, old: BaseGeometry) -> bool:
        key = (id(new), id(old))
        if key not in self.known:
            x0, y0, x1, y1 = new.bounds
            a0, b0, a1, b1 = old.bounds
            inside = x0 - SAG < a0 and y0 - SAG < b0 and x1 + SAG > a1 and y1 + SAG > b1
            self.known[key] = (inside and new.buffer(SAG).covers(old), new, old)
        return bool(self.known[key][0])

    @staticmethod
    def _taken(
        run: Run, part: Part, z: float, made: dict[tuple[float, ...], BaseGeometry | None]
    ) -> BaseGeometry | None:
        if run.slanted:
            path, radius = run.between(z - part.high, z), part.radius
            key = (min(z, run.high), max(z - part.high, run.low))
        else:
            path, radius = (
                (run.whole if run.low < z < run.high + part.high else None),
                part.at(min(z - run.low, part.high)),
            )
            key = (radius, path is None)
        if key not in made:
            made[key] = swell(path, radius) if path is not None and radius > SAG else None
        return made[key]

    def turned(self, about: str, shift: Point3) -> "Stock":
        """Turned over 180 degrees about X or Y and shifted."""
        sx, sy = (1, -1) if about == "X" else (-1, 1)
        kept: dict[int, BaseGeometry] = {}
        outs: dict[int, tuple[BaseGeometry, ...]] = {}

        def turn(shape: BaseGeometry) -> BaseGeometry:
            if id(shape) not in kept:
                kept[id(shape)] = affinity.affine_transform(shape, [sx, 0, 0, sy, shift[0], shift[1]])
            return kept[id(shape)]

        def over(section: Section) -> Section:
            if id(section.out) not in outs:
                outs[id(section.out)] = tuple(turn(o) for o in section.out)
            return Section(turn(section.shape), outs[id(section.out)])

        found = []
        for s in reversed(self.slabs):
            foot = over(s.head)
            found.append(Slab(shift[2] - s.top, shift[2] - s.bottom, foot, foot if s.foot is s.head else over(s.foot)))
        return Stock(found)

    def press(self, run: Run, part: Part) -> tuple[float, float, float]:
        """(surely, perhaps): how far the part on this run goes into the stock, negative is a gap, far gaps are FAR; how far to raise it, FAR if not known."""
        sure = perhaps = FAR
        lift = 0.0
        slim: dict[float, BaseGeometry] = {}
        slides: dict[tuple[int, float], bool] = {}
        apart_of: dict[int, float] = {}
        for s in self.slabs:
            if s.top <= run.low + part.low - 0.5 or s.bottom >= run.high + part.high:
                continue
            if run.far(s.foot.shape, part.radius + 0.5) and run.far(s.head.shape, part.radius + 0.5):
                continue
            even = s.foot is s.head
            covered = run.low + part.low <= s.bottom + 1e-6, run.high + part.high >= s.top - 1e-6
            for section, z, inside in ((s.head, s.top, covered[1]), (s.foot, s.bottom, covered[0]))[: 2 - even]:
                if section.out and not run.slanted:
                    size = part.at(min(s.top - run.low, part.high)) - 2 * SAG
                    if size not in slim:
                        slim[size] = swell(run.whole, size) if size > SAG else run.whole
                    if (id(section.out), size) not in slides:
                        slides[id(section.out), size] = any(out.covers(slim[size]) for out in section.out[:-9:-1])
                    if slides[id(section.out), size]:
                        sure, perhaps = max(sure, 0.0), max(perhaps, 0.0)  # it was just cut here: sliding along
                        continue
                shape = self.settled(section)
                if shape.is_empty:
                    continue
                if run.slanted:
                    value, lift = self._slanted(run, part, s, shape), FAR
                else:
                    if id(shape) not in apart_of:
                        apart_of[id(shape)] = run.whole.distance(shape)
                    top, apart = s.top if even else z, apart_of[id(shape)]
                    value = part.shrink(min(top - run.low, part.high), apart)
                    if top > run.low + part.low:
                        lift = max(lift, part.rise(top - run.low, apart))
                    if not (even or inside):  # where in the slab this section ends is not known
                        perhaps = max(perhaps, part.shrink(min(s.top - run.low, part.high), apart))
                perhaps = max(perhaps, value)
                if even or inside:
                    sure = max(sure, value)
        return sure, perhaps, lift

    @staticmethod
    def _slanted(run: Run, part: Part, s: Slab, shape: BaseGeometry) -> float:
        low, high = -0.1, max(part.radius, 0.5)
        while high - low > 0.001:
            less = (low + high) / 2
            path = run.between(s.bottom - part.high, s.top - part.low - less)
            if path is not None and path.distance(shape) <= part.radius - less:
                low = less
            else:
                high = less
        return low if low > -0.1 else FAR


@dataclass(frozen=True)
class Touch:
    """A contact of at least `least`, at most `most`; the part has to be raised by `lift` to clear."""

    file: str
    line: int
    part: str
    body: str
    tool: int
    rapid: bool
    least: float
    most: float
    lift: float


def outline_of(body: Body) -> Polygon:
    """Plane outline of a body."""
    if body.round_:
        x, y, r = (body.low[0] + body.high[0]) / 2, (body.low[1] + body.high[1]) / 2, (body.high[0] - body.low[0]) / 2
        return Point(x, y).buffer(r, quad_segs=max(8, math.ceil(0.79 / math.acos(1 - SAG / r))))
    return affinity.rotate(box(body.low[0], body.low[1], body.high[0], body.high[1]), body.turn)


def judge_setup(setup: Setup, stock: Stock) -> Iterator[Touch]:
    """All contacts and near approaches (under half a millimetre, as negative depths) of one operation, in order; cuts the stock."""
    things = []
    for b in setup.bodies:
        section = Section(outline_of(b))
        whole = Stock([Slab(b.low[2], b.high[2], section, section)])
        things.append((b.name, whole, Stock([Slab(b.low[2], b.high[2] - b.may_cut, section, section)])))
    for move in setup.moves:
        run, assembly = Run(move.path), parts_of(move.tool)
        asked = [
            (part, name, cut if part.name == "cutter" and not move.rapid else whole)
            for name, whole, cut in things
            for part in assembly
        ]
        if move.rapid:
            asked.append((assembly[0], "stock", stock))
        for part, name, thing in asked:
            yield from _touch(setup.file, move, part, name, thing.press(run, part))
        stock.cut(run, assembly[0])
        for part in assembly[1:]:
            yield from _touch(setup.file, move, part, "stock", stock.press(run, part))


def _touch(file: str, move: Move, part: Part, name: str, found: tuple[float, float, float]) -> Iterator[Touch]:
    if found[1] > -0.45:
        yield Touch(file, move.line, part.name, name, move.tool.number, move.rapid, *found)


def judge(scene: Scene) -> list[Touch]:
    """All contacts and near approaches of a job."""
    low, high = scene.raw_low[2], scene.raw_high[2]
    heights = {low, high}
    for k, setup in enumerate(scene.setups):
        for move in setup.moves:
            for z in marks(Run(move.path), parts_of(move.tool)[0]):
                old = scene.shift[2] - z if k else z
                if low < old < high:
                    heights.add(round(old, 7))
    ladder = sorted(heights)
    whole = box(scene.raw_low[0], scene.raw_low[1], scene.raw_high[0], scene.raw_high[1])
    slabs = []
    for a, b in pairwise(ladder):
        section = Section(whole)
        slabs.append(Slab(a, b, section, section))
    stock = Stock(slabs)
    found = list(judge_setup(scene.setups[0], stock))
    return found + list(judge_setup(scene.setups[1], stock.turned(scene.about, scene.shift)))
