"""All that a firm owns: machines, tools, materials."""

from dataclasses import dataclass

from halfthou.nouns.machine import Machine
from halfthou.nouns.material import Material
from halfthou.nouns.tool import Tool


@dataclass(frozen=True, slots=True, kw_only=True)
class Shop:
    """The shop file, read. Tools in the shop carry number -1 until a job gives them a magazine position."""

    name: str
    length_unit: str
    machines: tuple[Machine, ...]
    tools: tuple[tuple[str, Tool], ...] = ()  # (id, tool)
    materials: tuple[Material, ...] = ()
