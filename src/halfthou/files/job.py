"""A job folder into a Job with its programs: job file, shop file, tool list, design, tables as found, all complaints at once."""

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from halfthou.base.errors import Complaint, InputError, JobError, PartError, ShopError
from halfthou.base.place import Place
from halfthou.base.stamp import digest
from halfthou.base.units import LENGTH_UNITS, Display
from halfthou.files.found import found_offsets, found_registers
from halfthou.files.lines import read_toml
from halfthou.files.mesh import nearest_surfaces, part_of
from halfthou.files.mesh_body import body_mesh_of
from halfthou.files.node import Node, nearest
from halfthou.files.places import Places, offset_of
from halfthou.files.program import program_of
from halfthou.files.shelf import (
    Lost,
    Shelf,
    head_of,
    holders_of,
    in_magazine,
    machine_named,
    planned,
    shelf_of,
    shop_tools,
    tools_of,
)
from halfthou.files.shop import nothing_stated
from halfthou.files.table import read_table
from halfthou.files.tools import TypedTool, tool_columns
from halfthou.nouns.job import Found, Job, Offset, Op, PartPlace
from halfthou.nouns.machine import Machine
from halfthou.nouns.material import Material
from halfthou.nouns.part import Part
from halfthou.nouns.program import Program
from halfthou.nouns.shop import Shop
from halfthou.nouns.stock import BodyMesh

THREADS = {"core": "core", "nominal": "nominal", "full form": "full", "full": "full"}
NEAR_MM = 1.0  # a surface named by a point must lie this near to it
TIE_MM = 0.01  # and no other one as near as this
_PART_CODES = ("F502", "F503", "F504", "F505")
MESH_SAID = (
    "design {0}: a mesh has no exact surfaces; it stands off the true ones by about {1:.2g} mm (from its facets)"
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """A job as read from its files.

    programs: per operation, main first. inputs: (role, sha256 of the bytes), sorted. questions: what the files leave
    open, one each. display: how the shop wants its numbers.
    """

    job: Job
    programs: tuple[tuple[Program, ...], ...]
    inputs: tuple[tuple[str, str], ...]
    questions: tuple[str, ...]
    display: Display
    machines: tuple[Machine, ...] = ()  # every machine of the shop file


def load_job(path: Path, machine: str = "") -> Loaded:
    """Read the job at `path`, a folder with job.toml or a TOML file (docs/job-file.md).

    machine: name of another machine of the shop file to take in place of the job's own.
    Raises InputError with every complaint found: ShopError when all are about the shop file, PartError when all are
    about the design or another mesh, JobError otherwise.
    """
    file = path / "job.toml" if path.is_dir() else path
    reader = _Reader(file, machine)
    loaded = reader.read()
    if reader.complaints or loaded is None:
        raise _error(reader.complaints, reader.shop_file)
    return loaded


def load_shop(path: Path) -> Shop:
    """A shop file on its own, every machine and tool of it; raises ShopError with every complaint."""
    complaints: list[Complaint] = []
    try:
        sheet = read_toml(str(path), path.read_bytes(), complaints)
    except (OSError, ValueError) as error:
        why = (getattr(error, "strerror", None) or "it is no file name").lower()
        what = f"the file {path} cannot be read: {why}"
        raise ShopError(
            [Complaint(code="F001", place=Place(file=str(path)), what=what, do="check the name")]
        ) from error
    if sheet is None:
        raise ShopError(complaints)
    shelf = shelf_of(sheet)
    tools = shop_tools(shelf, shelf.holders, None, {})
    if complaints:
        raise ShopError(complaints)
    assert shelf.noun is not None
    return replace(shelf.noun, tools=tuple((name, typed.tool) for name, typed in tools.items()))


def _error(complaints: Sequence[Complaint], shop_file: str) -> InputError:
    unique = tuple(dict.fromkeys(complaints))
    if shop_file and all(complaint.place.file == shop_file for complaint in unique):
        return ShopError(unique)
    if all(complaint.code in _PART_CODES for complaint in unique):
        return PartError(unique)
    return JobError(unique)


def machine_unknown(name: str, known: Sequence[str]) -> Complaint:
    """The machine asked for in the call is not one of the shop file."""
    near = nearest(name, list(known))
    if near:
        do = f"did you mean {near!r}?"
    else:
        do = f"known: {', '.join(known)}" if known else 'the job names no shop = "shop.toml"'
    what = f"the machine {name!r} is not in the shop file"
    return Complaint(code="F101", place=Place(file="command line", word=name), what=what, do=do)


class _Reader:
    """One reading of one job."""

    def __init__(self, file: Path, machine: str = "") -> None:
        self.file, self.folder, self.wanted = file, file.parent, machine
        self.shop_file = ""
        self.complaints: list[Complaint] = []
        self.questions: list[str] = []
        self.inputs: dict[str, str] = {}
        self.unit = "mm"
        self.numbers: set[int] = set()

    def bytes_of(self, path: Path, role: str, place: Place | None) -> bytes | None:
        """The bytes of an input, with its hash noted."""
        try:
            raw = path.read_bytes()
        except (OSError, ValueError) as error:
            why = (getattr(error, "strerror", None) or "it is no file name").lower()
            self.complaints.append(
                Complaint(
                    code="F001", place=place or Place(file=str(path)), what=f"the file {path} cannot be read: {why}",
                    do="check the name; paths are relative to the file that names them",
                )
            )  # fmt: skip
            return None
        self.inputs[role] = digest(raw)
        return raw

    def named(self, node: Node, key: str, role: str, name: str | None = None) -> tuple[str, bytes] | None:
        """A file named by a key: (path as shown, bytes); None when not named or after a complaint."""
        name = node.text(key, "") if name is None else name
        if not name:
            if node.has(key) and isinstance(node.data[key], str):
                node.complain("F001", key, f"`{key}` names no file", do=f"write {key} = a file name, or leave it out")
            return None
        path = Path(os.path.normpath(self.folder / name))
        raw = self.bytes_of(path, role, node.sheet.place((*node.path, key)))
        return None if raw is None else (str(path), raw)

    def read(self) -> Loaded | None:
        """The whole job; None when the file cannot be read at all."""
        raw = self.bytes_of(self.file, "job", None)
        sheet = read_toml(str(self.file), raw, self.complaints) if raw is not None else None
        if sheet is None:
            return None
        root = head_of(sheet)
        self.unit = root.unit
        shelf = self._shelf(root)
        machine, reference = self._machine(root, shelf)
        tools = self._tools(root, shelf, machine)
        registers = planned(tools, machine, reference, self.complaints, self.questions)
        design = self._design(root)
        found = self._found(root)
        self.numbers = {typed.tool.number for typed in tools}
        ops, programs = self._operations(root, machine, design)
        part, limits = design if design is not None else (None, (None, None))
        job = Job(
            name=root.text("part", self.folder.resolve().name), revision=root.text("revision", ""),
            length_unit=self.unit, machine=machine, material=root.text("material", ""),
            quantity=root.whole("quantity", 1, least=1), tools=tuple(typed.tool for typed in tools),
            registers=registers, ops=ops, design=part, found=found, gouge_mm=limits[0], left_over_mm=limits[1],
            work=self._work(root, shelf), folder=str(self.folder), file=str(self.file), invented=root.flag("invented", False),
        )  # fmt: skip
        root.done()
        questions = tuple(dict.fromkeys(self.questions))
        return Loaded(
            job=replace(job, open_questions=questions), programs=programs, inputs=tuple(sorted(self.inputs.items())),
            questions=questions, display=Display(length_unit=self.unit),
            machines=shelf.noun.machines if shelf is not None and shelf.noun is not None else (),
        )  # fmt: skip

    def _shelf(self, root: Node) -> Shelf | None:
        named = self.named(root, "shop", "shop")
        if named is None:
            return None
        sheet = read_toml(named[0], named[1], self.complaints)
        self.shop_file = named[0]
        return shelf_of(sheet) if sheet is not None else None

    def _work(self, root: Node, shelf: Shelf | None) -> Material | None:
        """The material of the shop file with the job's name."""
        name = root.text("material", "")
        known = {} if shelf is None or shelf.noun is None else {m.name: m for m in shelf.noun.materials}
        if name and known and name not in known and (close := nearest(name, known)):
            self.questions.append(f"material {name!r} is not in the shop file; is it {close!r}?")
        return known.get(name)

    def _machine(self, root: Node, shelf: Shelf | None) -> tuple[Machine, float | None]:
        if self.wanted:
            root.allow("machine")
            for machine, reference, questions in shelf.machines if shelf is not None else ():
                if machine.name == self.wanted:
                    self.questions.extend(questions)
                    return machine, reference
            names = [machine.name for machine, _, _ in shelf.machines] if shelf is not None else []
            self.complaints.append(machine_unknown(self.wanted, names))
            return nothing_stated([]), None
        wrong_shop = shelf is None and root.has("shop")
        named = None
        if wrong_shop and not isinstance(root.data.get("machine"), dict):
            root.allow("machine")  # the shop file is not readable: one complaint is enough
        else:
            named = machine_named(root, shelf)
        if named is None:
            return nothing_stated(self.questions), None
        machine, reference, questions = named
        self.questions.extend(questions)
        return machine, reference

    def _tools(self, root: Node, shelf: Shelf | None, machine: Machine) -> list[TypedTool]:
        """From exactly one of: a CSV list, [[tool]] tables, shop tools in the magazine."""
        own = holders_of(root)
        holders = {**shelf.holders, **own} if shelf else Lost(own) if root.has("shop") else own
        asked: dict[str, list[str]] = {}
        shop = shop_tools(shelf, holders, machine.spindle, asked) if shelf else {}
        ways = [key for key in ("tools", "tool", "magazine") if root.has(key)]
        if len(ways) != 1:
            what = f"tools are given {len(ways)} times: {', '.join(ways)}" if ways else "no tools are given"
            do = 'exactly one of tools = "tools.csv", [[tool]] tables, magazine = { 1 = "em10" }'
            root.complain("F205", ways[1] if ways else None, what, do=do)
        found: list[TypedTool] = []
        if "tools" in ways and (named := self.named(root, "tools", "tools")) is not None:
            read = read_table(named[0], named[1], tool_columns(), self.complaints, self.unit)
            rows = read[1] if read else []
            if read and not rows:
                place = Place(file=named[0])
                what = "the tool list has no tool in it"
                self.complaints.append(Complaint(code="F302", place=place, what=what, do="one line a tool"))
            found += tools_of(rows, holders, machine.spindle, self.questions)
        if "tool" in ways:
            found += tools_of(root.children("tool"), holders, machine.spindle, self.questions)
        if "magazine" in ways and (shelf is not None or not root.has("shop")):
            known = [str(node.data.get("id")) for node in shelf.tool_nodes] if shelf else []
            found += in_magazine(root, shop, known, asked, self.questions)
        return found

    def _design(self, root: Node) -> tuple[Part | None, tuple[float | None, float | None]] | None:
        """(design, limits); None when the job has none."""
        node = root.child("design", None)
        if node is None:
            return None
        unit = node.text("units", None, words=LENGTH_UNITS) or None
        gouge = node.number("gouge", None, kind="length", over=0, band="limit")
        left = node.number("left_over", None, kind="length", over=0, band="limit")
        threads = THREADS.get(node.text("threads_as", "", words=THREADS), "")
        node.text("file")
        part = None
        if (named := self.named(node, "file", "design")) is not None:
            place = node.sheet.place((*node.path, "file"))
            part = part_of(named[0], named[1], unit, place, self.complaints, threads_as=threads)
            if part is not None:
                part = self._surfaces(node, replace(part, name=Path(named[0]).name))
                if not named[0].lower().endswith((".step", ".stp")):
                    self.questions.append(MESH_SAID.format(part.name, max(part.chord_mm, 1e-6)))
        for inner in node.children("surface") if part is None else ():
            inner.allow(*inner.data)
        node.done()
        return part, (gouge, left)

    def _surfaces(self, node: Node, part: Part) -> Part:
        """The limits of single surfaces, named by number (from 1) or by a point near them."""
        surfaces = list(part.surfaces)
        for inner in node.children("surface"):
            gouge = inner.number("gouge", None, kind="length", over=0, band="limit")
            left = inner.number("left_over", None, kind="length", over=0, band="limit")
            thread = inner.flag("thread", False)
            index = self._surface(inner, part)
            inner.done()
            if index is not None:
                surfaces[index] = replace(
                    surfaces[index], gouge_mm=gouge, left_over_mm=left, thread=thread or surfaces[index].thread
                )
        return replace(part, surfaces=tuple(surfaces))

    def _surface(self, node: Node, part: Part) -> int | None:
        number, near = node.whole("number", None, least=1), node.vector("near", 3, None, band="position")
        if (number is None) == (near is None):
            if "number" not in node.data or "near" in node.data:
                node.complain("F004", None, "exactly one of `number` and `near` is needed for a surface")
            return None
        if number is not None:
            if number <= len(part.surfaces):
                return int(number) - 1
            what = f"the design has {len(part.surfaces)} surfaces, there is no number {number}"
            node.complain("F505", "number", what, do="numbers count from 1, as in the findings: face 1, face 2 …")
            return None
        if not all(np.isfinite(near)):
            return None
        ranked = nearest_surfaces(part, near)
        if not ranked or ranked[0][0] > NEAR_MM:
            away = f"; the nearest, {part.surfaces[ranked[0][1]].name}, is {ranked[0][0]:.3g} mm away" if ranked else ""
            node.complain("F505", "near", f"no surface lies within {NEAR_MM:g} mm of this point{away}",
                          do="take a point on the surface, in design coordinates")  # fmt: skip
            return None
        if len(ranked) > 1 and ranked[1][0] - ranked[0][0] < TIE_MM:
            both = " and ".join(part.surfaces[k].name for _, k in ranked[:2])
            node.complain("F505", "near", f"{both} are equally near to this point", do="take a point off the edges")
            return None
        return ranked[0][1]

    def _found(self, root: Node) -> Found | None:
        node = root.child("found", None)
        if node is None:
            return None
        tools = self.named(node, "tool_table", "found tools")
        offsets = self.named(node, "offsets", "found offsets")
        node.done()
        registers = found_registers(tools[0], tools[1], self.complaints) if tools else ()
        systems = found_offsets(offsets[0], offsets[1], self.complaints) if offsets else ()
        source = ", ".join(Path(named[0]).name for named in (tools, offsets) if named)
        return Found(registers=registers, offsets=systems, source=source) if source else None

    def _mesh(self, node: Node, key: str, unit_key: str) -> tuple[Any, Any] | None:
        """(vertices, faces) of a stock mesh in mm."""
        node.text(key)
        unit = node.text(unit_key, None, words=LENGTH_UNITS) or None
        named = self.named(node, key, f"stock {node.data.get(key, '')}")
        if named is None:
            return None
        part = part_of(named[0], named[1], unit, node.sheet.place((*node.path, key)), self.complaints)
        return None if part is None else (part.vertices_mm, part.faces)

    def _body_mesh(self, node: Node) -> BodyMesh | None:
        """The mesh of a standing body in mm, in its own coordinates."""
        node.text("mesh")
        unit = node.text("units", None, words=LENGTH_UNITS) or None
        named = self.named(node, "mesh", f"body {node.data.get('mesh', '')}")
        if named is None:
            return None
        return body_mesh_of(named[0], named[1], unit, node.sheet.place((*node.path, "mesh")), self.complaints)

    def _operations(
        self, root: Node, machine: Machine, design: Any
    ) -> tuple[tuple[Op, ...], tuple[tuple[Program, ...], ...]]:
        nodes = root.children("operation")
        if not nodes and not (root.has("operation") and root.data["operation"]):
            root.complain("F201", None, "the job has no operation", do="add [[operation]] with program and place")
        names: list[str] = []
        for k, node in enumerate(nodes):
            name = node.text("name", f"op {k + 1}") or f"op {k + 1}"
            if name in names:
                node.complain("F102", "name", f"two operations are called {name!r}", do="give them different names")
            names.append(name)
        places = Places(names, self._mesh, self.questions, self._body_mesh)
        ops, programs = [], []
        for k, node in enumerate(nodes):
            op, own = self._operation(node, k, names[k], places, machine)
            ops.append(op)
            programs.append(own)
        self._ask_for_design(ops, design)
        return tuple(ops), tuple(programs)

    def _operation(
        self, node: Node, index: int, name: str, places: Places, machine: Machine
    ) -> tuple[Op, tuple[Program, ...]]:
        main = node.text("program")
        others = self._names(node, "subprograms")
        programs = []
        for key, file in [("program", main), *((f"subprograms.{k}", other) for k, other in enumerate(others))]:
            if not file:
                continue
            if (named := self.named(node, key, f"program {file}", file)) is not None:
                programs.append(program_of(named[0], named[1], self.complaints))
        offsets = self._offsets(node, machine)
        first = next(iter(offsets), 1)
        own: list[PartPlace] = []
        places.here = own
        nodes = node.children("place")
        if not nodes and not node.has("place"):
            node.complain("F004", None, f"`place` is missing in {name}: where does the stock lie?",
                          do="add [[operation.place]] with its stock and jaws")  # fmt: skip
        for k, inner in enumerate(nodes):
            place = places.read(inner, index, first, k)
            if place is not None:
                if place.name in [one.name for one in own]:
                    inner.complain("F102", "name", f"two places are called {place.name!r}", do="give each its own name")
                own.append(place)
        places.done.append(own)
        start = node.whole("start_tool", 0)
        if start and self.numbers and start not in self.numbers:
            node.complain("F305", "start_tool", f"start_tool T{start} is not in the tool list", do="0 = spindle empty")
        op = Op(
            name=name, program=main, subprograms=tuple(others), places=tuple(own), offsets=tuple(offsets.values()),
            start_tool=start, block_delete=node.flag("block_delete", False),
            optional_stop=node.flag("optional_stop", True),
        )  # fmt: skip
        node.done()
        return op, tuple(programs)

    def _names(self, node: Node, key: str) -> list[str]:
        value = node.data.get(key, []) if node.has(key) else []
        if not isinstance(value, list) or not all(isinstance(one, str) and one for one in value):
            node.complain("F005", key, f"`{key}` should be a list of file names", do=f'write {key} = ["sub.nc"]')
            return []
        return value

    def _offsets(self, node: Node, machine: Machine) -> dict[int, Offset]:
        found: dict[int, Offset] = {}
        extra = machine.control.extra_offsets
        for inner in node.children("offset"):
            offset = offset_of(inner)
            if offset is None:
                continue
            word = inner.data["system"]
            if offset.system in found:
                inner.complain("F102", "system", f"{word} is given twice in this operation", do="leave one out")
            if offset.system > 100 and "no machine stated" not in machine.notes and offset.system - 100 > extra:
                do = "write extra_offsets = … in [machine.control] if it has more"
                inner.complain("F203", "system", f"{word}: the machine has {extra} further offsets", do=do)
            found[offset.system] = offset
        return found

    def _ask_for_design(self, ops: Sequence[Op], design: Any) -> None:
        """What the job leaves open about where the design lies."""
        lies = any(place.design_turn is not None for op in ops for place in op.places)
        if design is None and lies:
            self.questions.append("design: a place says where it lies, but there is no [design] table with its file")
        if design is not None and design[0] is not None and not lies:
            self.questions.append("design: no place says where it lies (design = { turn, shift }): it is not compared")
