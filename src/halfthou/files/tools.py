"""Tool tables of TOML and CSV tool lists into tools with their turned profile."""

import csv
import math
import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from halfthou.base.errors import Complaint
from halfthou.base.place import Place
from halfthou.files.bands import BANDS
from halfthou.files.lines import Path, Sheet, Spot
from halfthou.files.node import MOST, Node, nearest
from halfthou.files.profile import Measures, cutting_problem, profile_of
from halfthou.nouns.machine import Spindle
from halfthou.nouns.tool import KINDS, Register, Tool

#: ISO 13399 symbols accepted beside our names.
SYMBOLS = {
    "dc": "diameter", "re": "corner", "sig": "point_angle", "apmx": "cutting_length", "dmm": "shank_diameter",
    "lpr": "stick_out", "lf": "length", "zefp": "teeth", "fha": "helix", "tp": "pitch", "rpmx": "max_rpm",
}  # fmt: skip
TOOL_KEYS = (
    "number", "name", "id", "kind", "diameter", "corner", "point_angle", "tip_diameter", "cutting_length",
    "neck_diameter", "neck_length", "shank_diameter", "stick_out", "length", "length_band", "teeth", "helix", "pitch",
    "hand", "max_rpm", "mass", "coolant_channel", "holder", "holder_diameter", "holder_length", "length_register",
    "length_wear", "radius_register", "radius_wear", "units", "sure",
)  # fmt: skip
POINTED = ("drill", "spot", "chamfer", "countersink", "dovetail")


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """A holder: (low radius, high radius, length) pieces from its lower face upwards."""

    pieces: tuple[tuple[float, float, float], ...]
    most_rpm: float | None = None
    mass_kg: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedTool:
    """A tool with its id and the table entries typed for it, in the meaning of the control's columns."""

    tool: Tool
    id: str
    length_register_mm: float | None
    length_wear_mm: float
    radius_column_mm: float | None
    radius_wear_column_mm: float
    node: Node


Questions = list[str]


def holder_of(node: Node) -> tuple[str, Holder]:
    """One `[[holder]]` table."""
    name = node.text("id")
    rows = node.data.get("profile") if node.has("profile") else None
    pieces = []
    if not isinstance(rows, list) or not rows:
        node.complain("F004", "profile", f"holder {name!r} needs a profile", do="profile = [[diameter, length], …]")
        rows = []
    for i, row in enumerate(rows):
        good = isinstance(row, list) and len(row) in (2, 3)
        values = (
            [v for v in row if isinstance(v, int | float) and not isinstance(v, bool) and 0 < v < MOST] if good else []
        )
        if not good or len(values) != len(row):
            what = "each piece is [diameter, length] or [diameter_low, diameter_high, length], all above zero"
            node.complain("F005", f"profile.{i}", what)
            continue
        inside = [node.inside(float(v), "length") for v in values]
        for value, raw in zip(inside[:-1], values[:-1], strict=True):
            node.judge("profile", value, BANDS["holder diameter"], f"{raw:g} {node.unit}")
        node.judge("profile", inside[-1], BANDS["holder length"], f"{values[-1]:g} {node.unit}")
        pieces.append((inside[0] / 2, inside[-2] / 2, inside[-1]))
    rpm = node.number("max_rpm", None, over=0, band="tool rpm")
    mass = node.number("mass", None, over=0, band="tool mass")
    node.done()
    return name, Holder(pieces=tuple(pieces), most_rpm=rpm, mass_kg=mass)


def _rename(node: Node) -> None:
    """ISO 13399 symbols as our names, in place of a TOML table's keys."""
    for key in list(node.data):
        ours = SYMBOLS.get(key.lower())
        if ours and ours not in node.data:
            node.data[ours] = node.data.pop(key)
            spot = node.sheet.spots.get((*node.path, key))
            if spot:
                node.sheet.spots[(*node.path, ours)] = spot


def tool_of(
    node: Node, holders: dict[str, Holder], spindle: Spindle | None, questions: Questions, *, in_shop: bool = False
) -> TypedTool | None:
    """One tool table; None after a complaint that leaves no tool."""
    _rename(node)
    before = len(node.sheet.complaints)
    node.allow(*TOOL_KEYS)
    number = -1 if in_shop else node.whole("number", least=0)
    if in_shop and node.has("number"):
        number = node.whole("number", least=0)
    kind = node.text("kind", words=KINDS)
    diameter = node.number("diameter", kind="length", over=0, band="tool diameter")
    name = _name(node, kind, diameter)
    measures, holder = _measures(node, kind, diameter, holders, spindle, name, number, questions)
    most = [rpm for rpm in (node.number("max_rpm", None, over=0, band="tool rpm"), holder and holder.most_rpm) if rpm]
    mass = node.number("mass", None, over=0, band="tool mass")
    band = node.number("length_band", None, kind="length", over=0, band="length band")  # std: GUM 4.3.7, rectangular
    fields: dict[str, Any] = {
        "number": number, "name": name, "kind": kind, "diameter_mm": diameter, "corner_mm": measures.corner_mm,
        "point_rad": measures.point_rad, "cutting_mm": measures.cutting_mm, "stick_out_mm": measures.stick_out_mm,
        "gauge_length_mm": measures.gauge_length_mm, "teeth": node.whole("teeth", 0, least=1, band="teeth"),
        "helix_rad": node.number("helix", 0.0, kind="degree", least=0, band="helix"),
        "pitch_mm": node.number("pitch", 0.0, kind="length", over=0, band="pitch"),
        "most_rpm": min(most) if most else None,
        "mass_kg": mass, "coolant_channel": node.flag("coolant_channel", None),
        "left_hand": node.text("hand", "right", words=("left", "right")) == "left",
        "holder": node.text("holder", ""), "length_std_mm": None if band is None else band / math.sqrt(3),
    }  # fmt: skip
    typed = {
        "length_register_mm": node.number("length_register", None, kind="length"),
        "length_wear_mm": node.number("length_wear", 0.0, kind="length", band="wear"),
        "radius_column_mm": node.number("radius_register", None, kind="length"),
        "radius_wear_column_mm": node.number("radius_wear", 0.0, kind="length", band="wear"),
    }
    node.done()
    if len(node.sheet.complaints) > before:
        return None
    problem = cutting_problem(measures)
    if problem:
        node.complain(
            "F304", None, f"tool {number if number >= 0 else name}: {problem}", do="check the lengths, tip upwards"
        )
        return None
    profile, zone = profile_of(measures)
    tool = Tool(**fields, profile_mm=profile, zone=zone, place=node.sheet.place(node.path))
    return TypedTool(tool=tool, id=node.text("id", ""), node=node, **typed)


def _name(node: Node, kind: str, diameter: float) -> str:
    """The typed name, or one made of size and kind."""
    name = node.text("name", "")
    if not name and math.isfinite(diameter):
        size = f"{diameter / 25.4:.4g} inch" if node.unit == "inch" else f"{diameter:g} mm"
        name = f"{size} {kind}"
    return str(name)


def _measures(
    node: Node,
    kind: str,
    diameter: float,
    holders: dict[str, Holder],
    spindle: Spindle | None,
    name: str,
    number: int,
    questions: Questions,
) -> tuple[Measures, Holder | None]:
    """Everything that decides the profile."""
    who = f"T{number} {name}" if number >= 0 else name
    angle = node.number("point_angle", None, kind="degree", over=0, band="point angle")
    if angle is None and kind in POINTED:
        node.complain(
            "F004", None, f"`point_angle` is missing for this {kind}", do="add point_angle = 118 or what it is"
        )
    stick = node.number("stick_out", kind="length", over=0, band="stick-out")
    if kind == "probe":
        cutting = node.number("cutting_length", stick, kind="length", over=0)
    else:
        cutting = node.number("cutting_length", kind="length", over=0, band="cutting length")
    plausible = all(BANDS[b].low <= v <= BANDS[b].high for b, v in (("tool diameter", diameter), ("stick-out", stick)))
    if plausible and kind not in ("probe", "face"):
        slim = f"{stick / diameter:.3g} times the diameter"
        node.judge("stick_out", stick / diameter, BANDS["slenderness"], slim, says="the stick-out,")
    shank = node.number("shank_diameter", None, kind="length", over=0, band="shank")
    if shank is None:
        shank = diameter
        if kind not in ("probe", "dovetail", "tslot") and cutting < stick - 1e-9:
            questions.append(f"{who}: shank_diameter not stated, drawn as wide as the cutting diameter")
    neck = node.number("neck_diameter", None, kind="length", over=0)
    neck_length = node.number("neck_length", None, kind="length", over=0)
    if kind in ("dovetail", "tslot") and neck is None and not node.has("shank_diameter"):
        node.complain("F004", None, f"`neck_diameter` or `shank_diameter` is missing for this {kind}")
    if neck is not None and neck_length is None:
        neck_length = stick - cutting
    holder = _holder(node, holders)
    length = node.number("length", None, kind="length", over=0, band="gauge length")
    if length is None:
        length = stick + (sum(p[2] for p in holder.pieces if math.isfinite(p[2])) if holder else 0.0)
        questions.append(f"{who}: gauge length (length) not stated, {length:g} mm used; Z travel is not judged by it")
    pieces: tuple[tuple[float, float, float], ...] = holder.pieces if holder else ()
    if pieces and math.isinf(pieces[-1][2]):
        pieces = ((pieces[0][0], pieces[0][1], max(length - stick, 0.0)),)
    if not pieces:
        questions.append(f"{who}: no holder stated, only the tool itself is checked for contact")
    elif stick + sum(p[2] for p in pieces) < length - 0.01:
        questions.append(f"{who}: holder ends below the gauge line, drawn up to it with its last diameter")
    measures = Measures(
        kind=kind, diameter_mm=diameter,
        corner_mm=diameter / 2 if kind == "ball" else node.number("corner", 0.0, kind="length", least=0),
        point_rad=angle or 0.0, tip_diameter_mm=node.number("tip_diameter", 0.0, kind="length", least=0),
        cutting_mm=cutting, neck_diameter_mm=neck, neck_mm=neck_length or 0.0, shank_diameter_mm=shank,
        stick_out_mm=stick, gauge_length_mm=length, holder=pieces,
        nose_diameter_mm=spindle.nose_diameter_mm if spindle else None,
        nose_length_mm=spindle.nose_length_mm if spindle else None,
    )  # fmt: skip
    return measures, holder


def _holder(node: Node, holders: dict[str, Holder]) -> Holder | None:
    """The holder by id, or the plain cylinder; length inf = up to the gauge line."""
    name = node.text("holder", "")
    width = node.number("holder_diameter", None, kind="length", over=0, band="holder diameter")
    length = node.number("holder_length", None, kind="length", over=0, band="holder length")
    if name:
        if name in holders:
            return holders[name]
        near = nearest(name, holders)
        known = f"did you mean {near!r}?" if near else "give it as [[holder]] with id and profile"
        node.complain("F305", "holder", f"holder {name!r} is not known", do=known)
        return None
    if width is None:
        if length is not None:
            node.complain("F004", None, "`holder_length` without `holder_diameter`", do="add holder_diameter = …")
        return None
    return Holder(pieces=((width / 2, width / 2, length if length is not None else math.inf),))


def planned_register(
    typed: TypedTool, meaning: str | None, method: str | None, reference_mm: float | None, questions: Questions
) -> Register:
    """The line of the control's table planned for a tool: number kept as the control holds it (docs/job-file.md)."""
    tool = typed.tool
    length = typed.length_register_mm
    if length is None:
        length = 0.0 if method == "none" else tool.gauge_length_mm - (reference_mm or 0.0)
    half = 0.5 if meaning in (None, "diameter") else 1.0
    radius = tool.diameter_mm / 2 if meaning != "wear" else 0.0
    if typed.radius_column_mm is not None or typed.radius_wear_column_mm:
        if meaning is None:
            typed.node.complain(
                "F306", "radius_register" if typed.radius_column_mm is not None else "radius_wear",
                "a radius register is given, but the machine does not say what the D column means",
                do='add radius = "diameter", "radius" or "wear" to [machine.control]',
            )  # fmt: skip
        if typed.radius_column_mm is not None:
            radius = typed.radius_column_mm * half
    return Register(
        slot=tool.number, length_mm=length, length_wear_mm=typed.length_wear_mm, radius_mm=radius,
        radius_wear_mm=typed.radius_wear_column_mm * half, tool_name=tool.name, place=tool.place,
    )  # fmt: skip


def with_number(typed: TypedTool, number: int, place: Place) -> TypedTool:
    """A shop tool at a magazine position."""
    return replace(typed, tool=replace(typed.tool, number=number, place=place))


def read_table(
    file: str, raw: bytes, names: dict[str, str], complaints: list[Complaint], default_unit: str | None
) -> tuple[Sheet, list[Node], str | None] | None:
    """A CSV table: (sheet, one node a row, unit of its first line or None); None after a complaint.

    Separator comma, semicolon or tab; a byte-order mark, quoted fields and any case of the column names are read.
    names: {lower-case column: our key}.
    """
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    sheet = Sheet(file=file, text=text, data={}, spots={}, complaints=complaints, table=True)
    lines = text.split("\n")
    say = _teller(sheet, "F302")
    at, unit = 0, None
    while at < len(lines) and (not lines[at].strip() or lines[at].lstrip().startswith("#") or _unit_line(lines[at])):
        if _unit_line(lines[at]):
            unit = _unit_line(lines[at])
            if unit not in ("mm", "inch"):
                sheet.spots[("unit",)] = (at + 1, 1, lines[at].strip())
                complaints.append(
                    Complaint(
                        code="F008",
                        place=sheet.place(("unit",)),
                        what=f"the unit {unit!r} is not known",
                        do="write units = mm or units = inch",
                    )
                )
                return None
        at += 1
    first = _cells(lines[at], mark_of(lines[at])) if at < len(lines) else None
    if not first:
        say(
            at + 1 if at < len(lines) else 1,
            1,
            "",
            "the table has no line with column names",
            "write the column names in the first line",
        )
        return None
    mark = mark_of(lines[at])
    heads = [cell.strip() for cell in first]
    keys, good = [], True
    for k, head in enumerate(heads):
        key = names.get(head.lower().replace(" ", "_"), "")
        column = _column(lines[at], mark, k)
        if head and not key:
            near = nearest(head, names)
            say(at + 1, column, head, f"the column {head!r} is not known", f"did you mean {near!r}?" if near else "")
            good = False
        elif key and key in keys:
            say(at + 1, column, head, f"the column {head!r} stands twice", "leave one out")
            good = False
        keys.append(key)
    if not good:
        return None
    unit = unit or default_unit
    if unit is None and "units" not in keys:
        do = "write units = mm or units = inch as the first line"
        complaints.append(
            Complaint(code="F008", place=Place(file=file, line=1), what="the units are not stated", do=do)
        )
        return None
    return sheet, _rows(sheet, lines, at + 1, mark, keys, unit, say), unit


def _rows(
    sheet: Sheet,
    lines: list[str],
    start: int,
    mark: str,
    keys: list[str],
    unit: str | None,
    say: Callable[[int, int, str, str, str], None],
) -> list[Node]:
    """One node for each row that is not empty."""
    nodes = []
    for line, shown in enumerate(lines[start:], start + 1):
        cells = _cells(shown, mark)
        if cells is None:
            say(line, 1, "", "a quote is opened and not closed in this line", "close it; a cell cannot go over lines")
            continue
        if not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
            continue
        extra = [cell for cell in cells[len(keys) :] if cell.strip()]
        if extra:
            do = "a decimal comma in a comma table splits a number: write a point, or separate with ;"
            say(line, 1, "", f"{len(cells)} cells under {len(keys)} column names", do)
            continue
        path: Path = ("row", line)
        sheet.spots[path] = (line, 1, cells[0].strip())
        data: dict[str, Any] = {}
        for k, (key, cell) in enumerate(zip(keys, cells, strict=False)):
            if key and cell.strip():
                data[key] = cell.strip()
                sheet.spots[(*path, key)] = (line, _column(shown, mark, k), cell.strip())
        own = str(data.pop("units", unit or "mm")).lower()
        if own not in ("mm", "inch"):
            place = sheet.place(path)
            what = f"the unit {own!r} is not known"
            sheet.complaints.append(Complaint(code="F008", place=place, what=what, do="mm or inch"))
        nodes.append(Node(sheet, data, path, own))
    return nodes


def mark_of(heads: str) -> str:
    """What separates the columns, by the line of their names: comma, semicolon or tab."""
    return max(";\t,", key=lambda m: (heads.count(m), m == ";"))


def _cells(line: str, mark: str) -> list[str] | None:
    """The cells of one line; None when a quote is not closed."""
    if line.count('"') % 2:
        return None
    try:
        return next(csv.reader([line], delimiter=mark), [])
    except csv.Error:  # a cell of more than 131072 letters
        return None


def _unit_line(line: str) -> str:
    match = re.match(r'^\W*units?\s*[=:]\s*"?(\w+)"?[\s,;]*$', line, re.IGNORECASE)
    return match.group(1).lower() if match else ""


def _column(line: str, mark: str, k: int) -> int:
    """Column (from 1) of the k-th cell of a CSV line."""
    column, quoted, cell = 1, False, 0
    for i, letter in enumerate(line):
        if cell == k:
            break
        quoted ^= letter == '"'
        if letter == mark and not quoted:
            cell, column = cell + 1, i + 2
    return column


def _teller(sheet: Sheet, code: str) -> Callable[[int, int, str, str, str], None]:
    def say(line: int, column: int, word: str, what: str, do: str) -> None:
        spot: Spot = (line, column, word)
        sheet.spots[("cell", line, column)] = spot
        place = sheet.place(("cell", line, column))
        sheet.complaints.append(Complaint(code=code, place=place, what=what, do=do))

    return say


def tool_columns() -> dict[str, str]:
    """Column names of a tool list, lower case, with the ISO 13399 symbols."""
    return {**{key: key for key in TOOL_KEYS}, **SYMBOLS}
