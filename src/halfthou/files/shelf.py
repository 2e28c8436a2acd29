"""What a shop owns and a job takes from it: machine, holders, tools at their numbers, the planned tool table."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from halfthou.base.errors import Complaint
from halfthou.base.units import LENGTH_UNITS
from halfthou.files.lines import Sheet
from halfthou.files.material import material_of
from halfthou.files.node import Node, nearest
from halfthou.files.shop import machine_of
from halfthou.files.tools import Holder, TypedTool, holder_of, planned_register, tool_of, with_number
from halfthou.nouns.machine import Machine, Spindle
from halfthou.nouns.shop import Shop
from halfthou.nouns.tool import Register

Questions = list[str]
FORMAT = 1
REFERENCE_MM = 0.5  # length registers counted from one reference tool may differ by this in what it measures


class Lost(dict[str, Holder]):
    """Holders of a shop file that could not be read: any id may be in it."""

    def __contains__(self, key: object) -> bool:
        """Nobody knows."""
        return True

    def __missing__(self, key: str) -> Holder:
        """A holder without a shape; the job is refused anyway."""
        return Holder(pieces=())


@dataclass(slots=True)
class Shelf:
    """A shop file, read as far as it could be."""

    name: str
    unit: str
    machines: list[tuple[Machine, float | None, Questions]] = field(default_factory=list)
    holders: dict[str, Holder] = field(default_factory=dict)
    tool_nodes: list[Node] = field(default_factory=list)
    noun: Shop | None = None


def head_of(sheet: Sheet) -> Node:
    """The root of a file with its `format` and `units` read; a missing unit is complained of and mm goes on."""
    root = Node(sheet, sheet.data)
    if root.has("format"):
        value = sheet.data["format"]
        if value != FORMAT or isinstance(value, bool):
            root.complain("F010", "format", f"format = {value!r} is not known", do=f"write format = {FORMAT}")
    else:
        root.complain("F010", None, "`format` is missing in the file", do=f"write format = {FORMAT} at its top")
    if not root.has("units"):
        do = 'write units = "mm" or units = "inch" at its top'
        root.complain("F008", None, "the units are not stated", "Nothing is guessed.", do)
    elif sheet.data["units"] not in LENGTH_UNITS:
        do = 'write units = "mm" or units = "inch"'
        root.complain("F008", "units", f"the unit {sheet.data['units']!r} is not known", do=do)
    else:
        root.unit = sheet.data["units"]
    return root


def shelf_of(sheet: Sheet) -> Shelf:
    """A shop file: every machine, holder and material in it is checked, used or not."""
    root = head_of(sheet)
    shelf = Shelf(name=root.text("name", ""), unit=root.unit)
    seen: set[str] = set()
    for node in root.children("machine"):
        questions: Questions = []
        machine, reference = machine_of(node, questions)
        if machine.name in seen:
            node.complain("F102", "name", f"two machines are called {machine.name!r}", do="give them different names")
        seen.add(machine.name)
        shelf.machines.append((machine, reference, questions))
    shelf.holders = holders_of(root)
    shelf.tool_nodes = root.children("tool")
    materials = tuple(material_of(node) for node in root.children("material"))
    root.done()
    machines = tuple(machine for machine, _, _ in shelf.machines)
    shelf.noun = Shop(name=shelf.name, length_unit=shelf.unit, machines=machines, materials=materials)
    return shelf


def holders_of(root: Node) -> dict[str, Holder]:
    """Every `[[holder]]` of a file by id."""
    found: dict[str, Holder] = {}
    for node in root.children("holder"):
        name, holder = holder_of(node)
        if name in found:
            node.complain("F102", "id", f"two holders are called {name!r}", do="give them different ids")
        found[name] = holder
    return found


def machine_named(root: Node, shelf: Shelf | None) -> tuple[Machine, float | None, Questions] | None:
    """The machine a job runs on; None when it names none (or after a complaint)."""
    value = root.data.get("machine")
    if isinstance(value, dict):
        questions: Questions = []
        inner = root.child("machine")
        assert inner is not None
        machine, reference = machine_of(inner, questions)
        return machine, reference, questions
    name = root.text("machine", "")
    there = shelf.machines if shelf is not None else []
    if not name:
        if len(there) == 1 and not root.has("machine"):
            return there[0]
        if len(there) > 1 and not root.has("machine"):
            known = ", ".join(repr(machine.name) for machine, _, _ in there)
            root.complain("F101", None, "the job does not say which machine of the shop file", do=f"known: {known}")
        return None
    for one in there:
        if one[0].name == name:
            return one
    names = [machine.name for machine, _, _ in there]
    near = nearest(name, names)
    do = f"did you mean {near!r}?" if near else f"known: {', '.join(names)}" if names else 'add shop = "shop.toml"'
    root.complain("F101", "machine", f"the machine {name!r} is not in the shop file", do=do)
    return None


def shop_tools(
    shelf: Shelf, holders: dict[str, Holder], spindle: Spindle | None, questions: dict[str, Questions]
) -> dict[str, TypedTool]:
    """The tools of the shop file by id; what each leaves open goes to questions[id]."""
    found: dict[str, TypedTool] = {}
    seen: set[str] = set()
    for node in shelf.tool_nodes:
        own: Questions = []
        name = node.text("id")
        tool = tool_of(node, holders, spindle, own, in_shop=True)
        if name and name in seen:
            node.complain("F102", "id", f"two tools are called {name!r}", do="give them different ids")
        seen.add(name)
        if tool is not None and name:
            found[name] = tool
            questions[name] = own
    return found


def in_magazine(root: Node, shop: dict[str, TypedTool], known: Sequence[str], asked: dict[str, Questions],
                questions: Questions) -> list[TypedTool]:  # fmt: skip
    """`magazine = { 1 = "em10", … }`: shop tools at their numbers."""
    node = root.child("magazine")
    found: list[TypedTool] = []
    for key in node.data if node is not None else ():
        assert node is not None
        node.allow(key)
        name = node.data[key]
        if not (key.isascii() and key.isdigit() and len(key) < 6):
            node.complain("F005", key, f"{key!r} is no tool number", do='write magazine = { 1 = "em10", 2 = "dr8" }')
        elif not isinstance(name, str):
            node.complain("F005", key, f"T{key} should be the id of a shop tool in quotes, not {name!r}")
        elif name in shop:
            place = node.sheet.place((*node.path, key))
            found.append(with_number(shop[name], int(key), place))
            questions.extend(asked.get(name, ()))
        elif name not in known:
            near = nearest(name, known)
            do = f"did you mean {near!r}?" if near else "give it as [[tool]] with this id in the shop file"
            node.complain("F305", key, f"there is no shop tool {name!r}", do=do)
    return found


def tools_of(nodes: Sequence[Node], holders: dict[str, Holder], spindle: Spindle | None,
             questions: Questions) -> list[TypedTool]:  # fmt: skip
    """Tool tables or CSV rows; two with one number are complained of."""
    found: list[TypedTool] = []
    seen: dict[int, str] = {}
    for node in nodes:
        tool = tool_of(node, holders, spindle, questions)
        if tool is None:
            continue
        number = tool.tool.number
        if number in seen:
            do = "two tools cannot stand in one magazine position"
            node.complain("F303", "number", f"T{number} is {seen[number]} and {tool.tool.name}", do=do)
        seen[number] = tool.tool.name
        found.append(tool)
    return found


def planned(tools: Sequence[TypedTool], machine: Machine, reference_mm: float | None,
            complaints: list[Complaint], questions: Questions) -> tuple[Register, ...]:  # fmt: skip
    """The planned tool table. Lengths counted from a reference tool must all speak of the same one."""
    control = machine.control
    if control.length_method == "reference-tool":
        reference_mm = _reference(tools, reference_mm, complaints)
        if reference_mm is None:
            questions.append(
                "length registers: counted from a reference tool whose length is not stated; taken as gauge lengths"
            )
    if control.length_method == "touched-off":
        bare = [f"T{typed.tool.number}" for typed in tools if typed.length_register_mm is None]
        if bare:
            questions.append(
                f"length registers of {', '.join(bare)} are touched off at the machine: the gauge length stands in for them"
            )
    return tuple(
        planned_register(typed, control.radius_register, control.length_method, reference_mm, questions)
        for typed in tools
    )


def _reference(tools: Sequence[TypedTool], reference_mm: float | None, complaints: list[Complaint]) -> float | None:
    """The length of the reference tool: as stated, else what the typed registers agree on."""
    stated = reference_mm
    for typed in tools:
        if typed.length_register_mm is None:
            continue
        own = typed.tool.gauge_length_mm - typed.length_register_mm
        if reference_mm is None:
            reference_mm = own
        elif abs(own - reference_mm) > REFERENCE_MM:
            whose = "the machine file says" if stated is not None else "another tool's register says"
            typed.node.complain(
                "F307", "length_register",
                f"T{typed.tool.number}: gauge length less register makes the reference tool {own:g} mm long, "
                f"{whose} {reference_mm:g} mm",
                "All registers count from one reference tool.", "check length and length_register of this tool",
            )  # fmt: skip
    return reference_mm
