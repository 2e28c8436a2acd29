"""The control's own tool table and work offsets as found, from CSV."""

from dataclasses import replace
from pathlib import Path

from halfthou.base.errors import Complaint, JobError
from halfthou.base.place import Place
from halfthou.files.node import Node
from halfthou.files.shop import system_of
from halfthou.files.table import read_table
from halfthou.nouns.job import Found, Job, Offset
from halfthou.nouns.tool import Register

_TOOL_COLUMNS = (
    "slot",
    "length",
    "length_wear",
    "diameter",
    "diameter_wear",
    "radius",
    "radius_wear",
    "name",
    "units",
    "sure",
)
_OFFSET_COLUMNS = ("system", "x", "y", "z", "units", "sure")


def found_registers(file: str, raw: bytes, complaints: list[Complaint]) -> tuple[Register, ...]:
    """Lines of `slot,length,length_wear,diameter,diameter_wear` (or radius…). An empty cell is "not stated"."""
    names = {key: key for key in _TOOL_COLUMNS} | {"t": "slot", "tool": "slot", "number": "slot"}
    read = read_table(file, raw, names, complaints, None, whole=True)
    found: dict[int, Register] = {}
    for node in read[1] if read else []:
        slot = node.whole("slot", least=0)
        if slot in found:
            node.complain("F401", "slot", f"register {slot} stands twice in the table", do="leave one line out")
        radius = _halved(node, "diameter", "radius", None, "")
        wear = _halved(node, "diameter_wear", "radius_wear", 0.0, "wear")
        found[slot] = Register(
            slot=slot, length_mm=node.number("length", None, kind="length"),
            length_wear_mm=node.number("length_wear", 0.0, kind="length", band="wear"),
            radius_mm=radius, radius_wear_mm=wear or 0.0, tool_name=node.text("name", ""), place=node.sheet.place(node.path),
        )  # fmt: skip
        node.done()
    return tuple(found.values())


def _halved(node: Node, wide: str, half: str, default: float | None, band: str) -> float | None:
    """A radius given as one, or as a diameter; both at once is complained of."""
    full: float | None = node.number(wide, None, kind="length", band=band)
    radius: float | None = node.number(half, None, kind="length", band=band)
    if full is not None and radius is not None:
        node.complain("F302", half, f"both {wide} and {half} are given", do="leave one out")
    if full is not None:
        return full / 2
    return radius if radius is not None else default


def found_offsets(file: str, raw: bytes, complaints: list[Complaint]) -> tuple[Offset, ...]:
    """Lines of `system,X,Y,Z`. An empty cell is "not stated"."""
    names = {key: key for key in _OFFSET_COLUMNS} | {"offset": "system"}
    read = read_table(file, raw, names, complaints, None, whole=True)
    found: dict[int, Offset] = {}
    for node in read[1] if read else []:
        word = node.text("system")
        system = system_of(word)
        if word and system is None:
            node.complain("F203", "system", f"{word!r} is no work offset", do="G54 … G59.3 or G54.1 P1 …")
        if system in found:
            node.complain("F401", "system", f"{word} stands twice in the table", do="leave one line out")
        x, y, z = (node.number(axis, None, kind="length", band="machine position") for axis in "xyz")
        if system is not None:
            place = node.sheet.place(node.path)
            found[system] = Offset(system=system, origin_mm=(x, y, z), place=place)
        node.done()
    return tuple(found.values())


def found_of(tools: Path | None, offsets: Path | None, complaints: list[Complaint]) -> Found | None:
    """Both tables; None when neither is named."""
    if tools is None and offsets is None:
        return None
    registers: tuple[Register, ...] = ()
    systems: tuple[Offset, ...] = ()
    if tools is not None and (raw := read_bytes(tools, complaints)) is not None:
        registers = found_registers(str(tools), raw, complaints)
    if offsets is not None and (raw := read_bytes(offsets, complaints)) is not None:
        systems = found_offsets(str(offsets), raw, complaints)
    source = ", ".join(path.name for path in (tools, offsets) if path is not None)
    return Found(registers=registers, offsets=systems, source=source)


def read_bytes(path: Path, complaints: list[Complaint], place: Place | None = None) -> bytes | None:
    """The bytes of a file; None after a complaint."""
    try:
        return path.read_bytes()
    except OSError as error:
        why = (error.strerror or "it cannot be read").lower()
        complaints.append(
            Complaint(
                code="F001", place=place or Place(file=str(path)), what=f"the file {path} cannot be read: {why}",
                do="check the name; paths are relative to the file that names them",
            )
        )  # fmt: skip
        return None


def with_found(job: Job, tools: Path | None, offsets: Path | None) -> Job:
    """The job with tables as found that were named in the call; they take the place of those in the job file."""
    complaints: list[Complaint] = []
    found = found_of(tools, offsets, complaints)
    if complaints:
        raise JobError(complaints)
    if found is None:
        return job
    if job.found is not None:
        registers = found.registers if tools is not None else job.found.registers
        systems = found.offsets if offsets is not None else job.found.offsets
        sources = {found.source} if tools is not None and offsets is not None else {job.found.source, found.source}
        found = Found(registers=registers, offsets=systems, source=", ".join(sorted(sources)))
    return replace(job, found=found)
