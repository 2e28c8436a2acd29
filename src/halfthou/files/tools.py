"""Tool tables of TOML and CSV tool lists into tools with their turned profile."""

import math
import re
from dataclasses import dataclass, replace
from typing import Any

from halfthou.base.place import Place
from halfthou.base.units import LENGTH_UNITS
from halfthou.files.bands import BANDS
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
    "length_wear", "radius_register", "radius_wear", "units", "sure", "material", "life", "life_shape", "chip_low",
    "chip_high", "stiffness", "modes", "floating",
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
        if ours and key in node.sure:
            node.sure.add(ours)
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
    if not node.sheet.table and node.has("units"):
        if node.data["units"] in LENGTH_UNITS:
            node.unit = node.data["units"]
        else:
            node.complain("F008", "units", f"the unit {node.data['units']!r} is not known", do='"mm" or "inch"')
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
    if mass is None and holder is not None and holder.mass_kg is not None:
        mass = holder.mass_kg
        questions.append(f"T{number} {name}: mass not stated, {mass:g} kg of its holder alone used")
    band = node.number("length_band", None, kind="length", over=0, band="length band")  # std: GUM 4.3.7, rectangular
    fields: dict[str, Any] = {
        "number": number, "name": name, "kind": kind, "diameter_mm": diameter, "corner_mm": measures.corner_mm,
        "point_rad": measures.point_rad, "cutting_mm": measures.cutting_mm, "stick_out_mm": measures.stick_out_mm,
        "gauge_length_mm": measures.gauge_length_mm, "teeth": 0 if _zero(node, "teeth") else node.whole("teeth", 0, least=1, band="teeth"),
        "helix_rad": node.number("helix", 0.0, kind="degree", least=0, band="helix"),
        "pitch_mm": 0.0 if _zero(node, "pitch") else node.number("pitch", 0.0, kind="length", over=0, band="pitch"),
        "most_rpm": min(most) if most else None,
        "mass_kg": mass, "coolant_channel": node.flag("coolant_channel", None),
        "left_hand": node.text("hand", "right", words=("left", "right")) == "left",
        "holder": node.text("holder", ""), "length_std_mm": None if band is None else band / math.sqrt(3),
        **cutting_keys(node),
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


def cutting_keys(node: Node) -> dict[str, Any]:
    """What is known of the tool's cutting: edge material, life (minutes of cutting), chip range, stiffness, modes."""
    life = node.number("life", None, over=0, band="life")
    stiff = node.number("stiffness", None, over=0, band="stiffness")  # N/µm
    low, high = (node.number(key, None, kind="length", over=0, band="chip") for key in ("chip_low", "chip_high"))
    if low is not None and high is not None and low > high:
        node.complain("F009", "chip_low", f"chip_low = {low:g} mm is more than chip_high = {high:g} mm")
    return {
        "edge": node.text("material", "", words=("carbide", "hss")) if node.data.get("material") else "",
        "life_s": None if life is None else life * 60.0, "life_shape": node.number("life_shape", None, band="life spread"),
        "chip_low_mm": low, "chip_high_mm": high, "stiffness_n_per_mm": None if stiff is None else stiff * 1000.0,
        "modes": _modes(node), "floating": node.flag("floating", False),
    }  # fmt: skip


def _modes(node: Node) -> tuple[tuple[float, float, float], ...]:
    """modes = [[Hz, N/µm, damping ratio], …]: a tap test at the tip."""
    if not node.has("modes"):
        return ()
    rows = node.data["modes"]
    good = isinstance(rows, list) and all(
        isinstance(row, list)
        and len(row) == 3
        and all(isinstance(v, int | float) and v > 0 for v in row)
        and row[2] < 1
        for row in rows
    )
    if not good:
        node.complain(
            "F005", "modes", "modes should be a list of [Hz, N/µm, damping ratio], all above zero, damping below 1"
        )
        return ()
    return tuple((float(hz), float(k) * 1000.0, float(z)) for hz, k, z in rows)


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
    angle = (
        None
        if _zero(node, "point_angle")
        else node.number("point_angle", None, kind="degree", over=0, band="point angle")
    )
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
    neck = None if _zero(node, "neck_diameter") else node.number("neck_diameter", None, kind="length", over=0)
    neck_length = None if _zero(node, "neck_length") else node.number("neck_length", None, kind="length", over=0)
    if neck is None and neck_length is not None:
        node.complain("F004", None, "`neck_length` without `neck_diameter`", do="add neck_diameter = …")
    if kind in ("dovetail", "tslot") and neck is None and not node.has("shank_diameter"):
        node.complain("F004", None, f"`neck_diameter` or `shank_diameter` is missing for this {kind}")
    if neck is not None and neck_length is None:
        neck_length = stick - cutting
    holder = _holder(node, holders)
    length = node.number("length", None, kind="length", over=0, band="gauge length")
    if length is None:
        length = stick + (sum(p[2] for p in holder.pieces if math.isfinite(p[2])) if holder else 0.0)
        questions.append(f"{who}: gauge length (length) not stated, {length:g} mm (to the top of what is stated) used")
    pieces: tuple[tuple[float, float, float], ...] = holder.pieces if holder else ()
    if pieces and math.isinf(pieces[-1][2]):
        pieces = ((pieces[0][0], pieces[0][1], max(length - stick, 0.0)),)
    if not pieces:
        questions.append(f"{who}: no holder stated, only the tool itself is checked for contact")
    elif stick + sum(p[2] for p in pieces) < length - 0.01:
        questions.append(f"{who}: holder ends below the gauge line, drawn up to it with its last diameter")
    corner = node.number("corner", 0.0, kind="length", least=0)
    tip = node.number("tip_diameter", 0.0, kind="length", least=0)
    _no_use(node, kind, diameter, corner, tip)
    measures = Measures(
        kind=kind, diameter_mm=diameter, corner_mm=diameter / 2 if kind == "ball" else corner,
        point_rad=angle or 0.0, tip_diameter_mm=tip,
        cutting_mm=cutting, neck_diameter_mm=neck, neck_mm=neck_length or 0.0, shank_diameter_mm=shank,
        stick_out_mm=stick, gauge_length_mm=length, holder=pieces,
        nose_diameter_mm=spindle.nose_diameter_mm if spindle else None,
        nose_length_mm=spindle.nose_length_mm if spindle else None,
    )  # fmt: skip
    return measures, holder


def _zero(node: Node, key: str) -> bool:
    """Whether a measure that a tool may lack is given as 0, as exported lists do: the same as not stated."""
    value = node.data.get(key)
    if isinstance(value, str) and node.sheet.table:
        return node.has(key) and bool(re.match(r"^[-+]?0*\.?0+\.?$", value.strip()))
    return node.has(key) and value == 0 and not isinstance(value, bool)


def _no_use(node: Node, kind: str, diameter: float, corner: float, tip: float) -> None:
    """Complain of measures that this kind of tool does not have, rather than pass over them."""
    if kind == "ball" and corner > 0 and abs(corner - diameter / 2) > 1e-3:
        what = f"a ball-nose tool of {diameter:g} mm has a corner radius of {diameter / 2:g} mm, not {corner:g} mm"
        node.complain("F304", "corner", what, do='leave corner out, or write kind = "bull"')
    if kind in (*POINTED, "probe") and corner > 0:
        node.complain("F304", "corner", f"a {kind} has no corner radius here", do="leave corner out")
    if kind and kind not in ("drill", "spot", "chamfer", "countersink") and tip > 0:
        node.complain("F304", "tip_diameter", f"a {kind} tool has no flat tip of its own", do="leave tip_diameter out")


def _holder(node: Node, holders: dict[str, Holder]) -> Holder | None:
    """The holder by id, or the plain cylinder; length inf = up to the gauge line."""
    name = node.text("holder", "")
    width = node.number("holder_diameter", None, kind="length", over=0, band="holder diameter")
    length = node.number("holder_length", None, kind="length", over=0, band="holder length")
    if name and width is not None:
        node.complain("F304", "holder_diameter", "both holder and holder_diameter are given", do="leave one out")
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


def tool_columns() -> dict[str, str]:
    """Column names of a tool list, lower case, with the ISO 13399 symbols."""
    return {**{key: key for key in TOOL_KEYS}, **SYMBOLS}
