"""Operations: work offsets, places on the table, raw stock, jaws and other bodies, turning over."""

import math
import re
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from halfthou.base.limits import CHORD_MM
from halfthou.files.bands import BANDS
from halfthou.files.node import NEED, Node, nearest
from halfthou.files.shop import system_of
from halfthou.geometry.near_gap import least_gap
from halfthou.geometry.near_solid import below, in_mesh
from halfthou.nouns.frame import TurnOver
from halfthou.nouns.job import Offset, PartPlace
from halfthou.nouns.stock import BODY_KINDS, BodyMesh, Prism, Stock, box_prism, mesh_prism

Turn = tuple[tuple[int, int, int], tuple[int, int, int], tuple[int, int, int]]
Box = tuple[tuple[float, float, float], tuple[float, float, float]]
Meshes = Callable[[Node, str, str], "tuple[Any, Any] | None"]
BodyMeshes = Callable[[Node], BodyMesh | None]
_STEP = re.compile(r"^([+-]?[0-9]{1,4})\s*°?\s*(?:degrees?\s+)?about\s+([XYZ])$", re.IGNORECASE)
SAME_MM = 0.001  # design and turned part further apart than this are asked back
TOUCH_MM = 0.1  # bodies are drawn touching the raw stock to about this
IDENTITY: Turn = ((1, 0, 0), (0, 1, 0), (0, 0, 1))


def turn_of(node: Node, key: str = "turn", default: Any = "none") -> tuple[Turn, str]:
    """`"180 about X, then 90 about Z"` as an exact matrix of integers, right-handed about the fixed axes."""
    words = node.text(key, default)
    turn = np.array(IDENTITY)
    if not isinstance(words, str) or words.strip().lower() in ("none", ""):
        return IDENTITY, "none"
    for step in re.split(r"\s*,?\s*then\s+", words.strip()):
        match = _STEP.match(step.strip())
        if match is None or int(match.group(1)) % 90:
            do = 'write "180 about X", "90 about Z" or several joined by ", then "; only quarter turns are possible'
            node.complain("F204", key, f"the turn {step!r} is not understood", do=do)
            return IDENTITY, "none"
        quarters, axis = int(match.group(1)) // 90 % 4, "XYZ".index(match.group(2).upper())
        one = np.zeros((3, 3), dtype=int)
        a, b = (axis + 1) % 3, (axis + 2) % 3
        one[axis, axis], one[b, a], one[a, b] = 1, 1, -1
        turn = np.linalg.matrix_power(one, quarters) @ turn
    rows = [(int(row[0]), int(row[1]), int(row[2])) for row in turn]
    return (rows[0], rows[1], rows[2]), words.strip()


def offset_of(node: Node) -> Offset | None:
    """One `[[operation.offset]]`."""
    system = system_key(node, "system")
    origin = node.vector("origin", 3, (None, None, None), band="machine position")
    band = node.vector("band", 3, (None, None, None), least=0)
    place = node.sheet.place((*node.path, "origin"))
    node.done()
    return None if system is None else Offset(system=system, origin_mm=origin, band_mm=band, place=place)


def system_key(node: Node, key: str, default: Any = NEED) -> int | None:
    """A work offset by its word."""
    word = node.text(key, default)
    if not word:
        return None
    number = system_of(word)
    if number is None:
        node.complain("F203", key, f"{word!r} is no work offset", do="G54 … G59, G59.1 … G59.3 or G54.1 P1 …")
    return number


def _corners(node: Node, band: str) -> Box | None:
    low, high = node.vector("low", 3, band="position"), node.vector("high", 3, band="position")
    if not all(math.isfinite(v) for v in (*low, *high)):
        return None
    for k, axis in enumerate("XYZ"):
        size = high[k] - low[k]
        if size <= 0:
            node.complain("F009", f"low.{k}", f"low {axis} {low[k]:g} mm is not below high {axis} {high[k]:g} mm")
            return None
        key = "low" if "low" in node.sure else "high"
        inside = all(BANDS["position"].low <= v <= BANDS["position"].high for v in (low[k], high[k]))
        if inside:
            node.judge(key, size, BANDS[band], f"{size:.6g} mm", at=f"{key}.{k}", says=f"its size in {axis},")
    return low, high


def _cylinder(node: Node, band: str) -> tuple[tuple[float, float], float, float, float] | None:
    x, y = node.vector("centre", 2, band="position")
    diameter = node.number("diameter", kind="length", over=0, band=band)
    low = node.number("low_z", kind="length", band="position")
    high = node.number("high_z", kind="length", band="position")
    if not all(math.isfinite(v) for v in (x, y, diameter, low, high)):
        return None
    if high <= low:
        node.complain("F009", "low_z", f"low_z {low:g} mm is not below high_z {high:g} mm")
        return None
    return (x, y), diameter, low, high


def body_of(node: Node, load: BodyMeshes | None = None) -> Prism | None:
    """One `[[operation.place.body]]`: box, turned box, round post, or a mesh that `load` reads."""
    name = node.text("name", "")
    kind = node.text("kind", words=BODY_KINDS)
    may_cut = node.number("may_cut", 0.0, kind="length", least=0)
    turns = node.flag("turns", None)
    place = node.sheet.place(node.path)
    name = name or kind
    if load is not None and "mesh" in node.data:
        mesh = mesh_body(node, load, may_cut)
        node.done()
        return None if mesh is None else replace(mesh_prism(name, kind, mesh, place, may_cut), turns=turns)
    node.allow("low", "high", "turn", "centre", "diameter", "low_z", "high_z")
    foot = None
    if "diameter" in node.data or "centre" in node.data:
        post = _cylinder(node, "body size")
        if post is not None:
            (x, y), diameter, low, high = post
            foot, z0, z1 = round_foot(x, y, diameter), low, high
    else:
        box = _corners(node, "body size")
        if box is not None:
            plain = box_prism(name, kind, *box, place)
            angle = node.number("turn", 0.0, kind="degree")
            foot, z0, z1 = _turned(plain.footprint_mm, angle), plain.low_z_mm, plain.high_z_mm
    node.done()
    if foot is None:
        return None
    return Prism(
        name=name, kind=kind, footprint_mm=foot, low_z_mm=z0, high_z_mm=z1, may_cut_mm=may_cut, place=place, turns=turns
    )  # fmt: skip


def mesh_body(node: Node, load: BodyMeshes, may_cut_mm: float) -> BodyMesh | None:
    """`mesh`, `units`, `turn` (quarter turns in words, or degrees about Z, round the mesh's own zero), then `at`."""
    at = np.array(node.vector("at", 3, (0.0, 0.0, 0.0), band="position"))
    if isinstance(node.data.get("turn"), str):
        turn = np.array(turn_of(node)[0], dtype=float)
    else:
        angle = node.number("turn", 0.0, kind="degree")
        c, s = math.cos(angle), math.sin(angle)
        turn = np.array([[c, -s, 0.0], [s, c, 0.0], [0.0, 0.0, 1.0]])
    loaded = load(node)
    if loaded is None or not np.isfinite(at).all() or not np.isfinite(turn).all():
        return None
    mesh = BodyMesh(
        vertices_mm=loaded.vertices_mm @ turn.T + at, faces=loaded.faces, error_mm=loaded.error_mm, exact=loaded.exact,
        file=loaded.file,
    )  # fmt: skip
    if may_cut_mm > 0:
        top = float(mesh.vertices_mm[:, 2].max())
        if below(mesh.vertices_mm, np.array(mesh.faces), top - may_cut_mm) is None:
            node.complain(
                "F206", "mesh", f"{loaded.file}: cannot be cut level, so may_cut cannot be granted",
                do="mend the mesh (its skin must not touch or cross itself), or leave may_cut out",
            )  # fmt: skip
            return None
    return mesh


def round_foot(x: float, y: float, diameter: float, chord_mm: float = CHORD_MM * 10) -> Any:
    """A polygon round the circle, its corners outside by at most chord_mm, its sides touching."""
    n = max(12, math.ceil(math.pi / math.acos(diameter / (diameter + 2 * chord_mm))))
    far = diameter / 2 / math.cos(math.pi / n)
    angles = 2 * math.pi * np.arange(n) / n
    return np.column_stack([x + far * np.cos(angles), y + far * np.sin(angles)])


def _turned(foot: Any, angle_rad: float) -> Any:
    if angle_rad == 0:
        return foot
    middle = foot.mean(0)
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return middle + (foot - middle) @ np.array([[c, s], [-s, c]])


def apart_mm(a: Prism, b: Prism) -> float:
    """How far two upright solids are apart, at least; negative: the shortest shift that parts them.

    Separating axes of convex shapes: the normals of both outlines, and Z (exact when they overlap).
    """
    gaps = [a.low_z_mm - b.high_z_mm, b.low_z_mm - a.high_z_mm]
    for one, two in ((a, b), (b, a)):
        side = np.roll(one.footprint_mm, -1, axis=0) - one.footprint_mm
        normal = np.column_stack([side[:, 1], -side[:, 0]]) / np.linalg.norm(side, axis=1)[:, None]
        start = (one.footprint_mm * normal).sum(axis=1)
        gaps.append(float(((two.footprint_mm @ normal.T).min(axis=0) - start).max()))
    return float(max(gaps))


def raw_prism(stock: Stock, less_mm: float) -> Prism:
    """A box or cylinder of raw stock as a body, smaller all round by less_mm."""
    if stock.kind == "cylinder":
        foot = round_foot(*stock.centre_mm, stock.diameter_mm - 2 * less_mm)
    else:
        (x0, y0, z0), (x1, y1, z1) = stock.low_mm, stock.high_mm
        low, high = (x0 + less_mm, y0 + less_mm, z0), (x1 - less_mm, y1 - less_mm, z1)
        foot = box_prism("", "", low, high, stock.place).footprint_mm
    z0, z1 = stock.low_mm[2] + less_mm, stock.high_mm[2] - less_mm
    return Prism(name="", kind="", footprint_mm=foot, low_z_mm=z0, high_z_mm=z1)


def mesh_apart_mm(stock: Stock, mesh: BodyMesh) -> float:
    """How far raw stock (box, cylinder) and a mesh are apart; negative: how much smaller all round it would have to be."""
    corners = np.ascontiguousarray(mesh.vertices_mm[mesh.faces])
    sizes = [*(np.array(stock.high_mm) - np.array(stock.low_mm))]
    low, high = 0.0, float(min(sizes)) / 2

    def gap(less_mm: float) -> float:
        raw = raw_prism(stock, less_mm)
        feet = [
            np.column_stack([raw.footprint_mm, np.full(len(raw.footprint_mm), z)])
            for z in (raw.low_z_mm, raw.high_z_mm)
        ]
        return float(least_gap(corners, np.ascontiguousarray(np.concatenate(feet))))

    middle = (np.array(stock.low_mm) + np.array(stock.high_mm)) / 2
    if in_mesh(mesh, middle[None])[0]:
        return -high
    apart = gap(0.0)
    if apart > 0.0:
        return apart
    while high - low > 0.0005:
        half = (low + high) / 2
        low, high = (low, half) if gap(half) > 0.0 else (half, high)
    return -low


class Places:
    """Reads the places of all operations; later ones may lie on what earlier ones left."""

    def __init__(
        self, names: list[str], meshes: Meshes, questions: list[str], bodies: BodyMeshes | None = None
    ) -> None:
        """names: of the operations, in order. meshes, bodies: load a mesh file named in a table, of stock or body."""
        self.names, self.meshes, self.questions, self.body_meshes = names, meshes, questions, bodies
        self.done: list[list[PartPlace]] = []
        self.here: list[PartPlace] = []  # the places of the operation being read, so far

    def read(self, node: Node, op: int, first_offset: int, index: int) -> PartPlace | None:
        """One `[[operation.place]]`."""
        name = node.text("name", f"place {index + 1}")
        offset = system_key(node, "offset", "")
        step = self._operation(node, "step", op)
        inner = node.child("stock")
        stock = self._stock(inner, op) if inner is not None else None
        bodies = [body_of(body, self.body_meshes) for body in node.children("body")]
        design = node.child("design", None)
        turn, shift = None, None
        if design is not None:
            matrix, _ = turn_of(design)
            turn, shift = np.array(matrix, dtype=float), design.vector("shift", 3, (0.0, 0.0, 0.0), band="position")
            design.done()
        node.done()
        if stock is None:
            return None
        solid = [body for body in bodies if body is not None]
        self._ask_about_holding(f"{self.names[op]}, {name}", stock, solid)
        turn, shift = self._follow(f"{self.names[op]}, {name}", stock, turn, shift)
        return PartPlace(
            name=name, op=step, offset=offset or first_offset, stock=stock,
            bodies=tuple(solid), design_turn=turn, design_shift_mm=shift,
        )  # fmt: skip

    def _there(self, op: int) -> list[PartPlace]:
        """The places of an operation read so far."""
        return self.done[op] if op < len(self.done) else self.here

    def _ask_about_holding(self, who: str, stock: Stock, bodies: list[Prism]) -> None:
        """A body drawn into the raw stock, or nothing that touches it, is asked back."""
        if stock.kind not in ("box", "cylinder"):
            return
        raw = raw_prism(stock, 0.0)
        apart = [
            (apart_mm(raw, body) if body.mesh is None else mesh_apart_mm(stock, body.mesh), body.name)
            for body in bodies
        ]
        for gap, name in apart:
            if gap < -TOUCH_MM:
                self.questions.append(f"{who}: {name} is drawn {-gap:.3f} mm into the raw stock")
        if not apart or min(apart)[0] > TOUCH_MM:
            away = f"; the nearest, {min(apart)[1]}, is {min(apart)[0]:.3f} mm away" if apart else ""
            self.questions.append(f"{who}: no body touches the raw stock, what holds it?{away}")

    def _follow(self, who: str, stock: Stock, turn: Any, shift: Any) -> tuple[Any, Any]:
        """The design goes where the turned-over stock takes it; a stated place that differs is asked back."""
        if stock.kind != "from" or stock.turn_over is None:
            return turn, shift
        before = self._there(stock.from_op)[stock.from_place]
        if before.design_turn is None or before.design_shift_mm is None:
            return turn, shift
        over = stock.turn_over.matrix()
        turned = over @ before.design_turn
        moved = over @ np.array(before.design_shift_mm) + np.array(stock.turn_over.shift_mm)
        if turn is None:
            return turned, (float(moved[0]), float(moved[1]), float(moved[2]))
        away = float(np.abs(np.array(shift) - moved).max())
        if not np.array_equal(turn, turned):
            self.questions.append(f"{who}: the design is turned otherwise than the part that comes from {before.name}")
        elif away > SAME_MM:
            self.questions.append(f"{who}: the design lies up to {away:.3f} mm from where the turned part would put it")
        return turn, shift

    def _operation(self, node: Node, key: str, default: int) -> int:
        name = node.text(key, "")
        if not name:
            return default
        if name in self.names:
            return self.names.index(name)
        near = nearest(name, self.names)
        do = f"did you mean {near!r}?" if near else f"known: {', '.join(self.names)}"
        node.complain("F202", key, f"there is no operation {name!r}", do=do)
        return default

    def _stock(self, node: Node, op: int) -> Stock | None:
        kind = node.text("kind", words=("box", "cylinder", "mesh", "from"))
        place = node.sheet.place(node.path)
        sizes = {f"{key}_mm": node.vector(key, 6, (0.0,) * 6, least=0) for key in ("plus", "minus")}
        stock = None
        if kind == "box":
            box = _corners(node, "stock size")
            if box is not None:
                stock = Stock(kind=kind, low_mm=box[0], high_mm=box[1], place=place, **sizes)
        elif kind == "cylinder":
            bar = _cylinder(node, "stock size")
            if bar is not None:
                (x, y), d, low, high = bar
                stock = Stock(
                    kind=kind, centre_mm=(x, y), diameter_mm=d, low_mm=(x - d / 2, y - d / 2, low),
                    high_mm=(x + d / 2, y + d / 2, high), place=place, **sizes,
                )  # fmt: skip
        elif kind == "mesh":
            stock = self._mesh(node, place, sizes)
        elif kind == "from":
            stock = self._from(node, op, place, sizes)
        else:
            node.allow(*node.data)
        node.done()
        return stock

    def _mesh(self, node: Node, place: Any, sizes: dict[str, Any]) -> Stock | None:
        at = node.vector("at", 3, (0.0, 0.0, 0.0), band="position")
        loaded = self.meshes(node, "file", "units")
        if loaded is None:
            return None
        vertices, faces = loaded
        vertices = vertices + np.array(at)
        low, high = vertices.min(0), vertices.max(0)
        return Stock(
            kind="mesh", vertices_mm=vertices, faces=faces, low_mm=(float(low[0]), float(low[1]), float(low[2])),
            high_mm=(float(high[0]), float(high[1]), float(high[2])), place=place, **sizes,
        )  # fmt: skip

    def _from(self, node: Node, op: int, place: Any, sizes: dict[str, Any]) -> Stock | None:
        before = self._operation(node, "operation", op - 1)
        wanted = node.text("place", "")
        turn, words = turn_of(node)
        shift, corner = (node.vector(key, 3, None, band="position") for key in ("shift", "corner"))
        if before > op or before < 0 or (before == op and not self.here):
            node.complain("F202", "operation", "the stock must come from an earlier operation or an earlier place")
            return None
        there = self._there(before)
        names = [one.name for one in there]
        if wanted and wanted not in names:
            node.complain(
                "F202", "place", f"{self.names[before]} has no place {wanted!r}", do=f"known: {', '.join(names)}"
            )
            return None
        if not wanted and len(there) > 1:
            node.complain(
                "F202", None, f"{self.names[before]} has several places", do=f"add place = one of {', '.join(names)}"
            )
            return None
        if not there:
            return None
        index = names.index(wanted) if wanted else 0
        if (shift is None) == (corner is None):
            do = "shift: x_new = turn · x_old + shift; corner: where the low corner of the turned raw stock lies"
            node.complain("F004", None, "exactly one of `shift` and `corner` is needed", do=do)
            return None
        source = there[index].stock
        low, high = _turned_box(turn, source.low_mm, source.high_mm)
        if shift is None:
            shift = tuple(c - v for c, v in zip(corner, low, strict=True))
        if not all(math.isfinite(v) for v in shift):
            return None
        return Stock(
            kind="from", from_op=before, from_place=index, place=place,
            turn_over=TurnOver(turn=turn, shift_mm=shift, words=words),
            low_mm=_plus(low, shift), high_mm=_plus(high, shift), **sizes,
        )  # fmt: skip


def _turned_box(turn: Turn, low: Any, high: Any) -> Box:
    ends = np.array(turn) @ np.array([low, high]).T
    a, b = ends.min(1), ends.max(1)
    return (float(a[0]), float(a[1]), float(a[2])), (float(b[0]), float(b[1]), float(b[2]))


def _plus(a: Any, b: Any) -> tuple[float, float, float]:
    return (a[0] + b[0], a[1] + b[1], a[2] + b[2])
