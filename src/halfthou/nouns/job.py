"""One part to make: operations, programs, offsets, tools, places on the table."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from halfthou.base.place import Place
from halfthou.nouns.machine import Machine
from halfthou.nouns.material import Material
from halfthou.nouns.part import Part
from halfthou.nouns.stock import Prism, Stock
from halfthou.nouns.tool import Register, Tool


@dataclass(frozen=True, slots=True, kw_only=True)
class Offset:
    """One work offset. origin_mm: machine coordinates of the program's zero, per axis; None = not given."""

    system: int  # 1..9 = G54..G59.3, 101.. = G54.1 P1..
    origin_mm: tuple[float | None, float | None, float | None] = (None, None, None)
    band_mm: tuple[float | None, float | None, float | None] = (None, None, None)  # plausible half-width
    place: Place = field(default_factory=lambda: Place(file=""))


@dataclass(frozen=True, slots=True, kw_only=True)
class PartPlace:
    """Where one part sits on the table: its own stock, bodies and work offset. All in its program coordinates."""

    name: str
    op: int  # which step of the part is done here (index of the operation in the job)
    offset: int  # system number whose program coordinates these are
    stock: Stock
    bodies: tuple[Prism, ...]
    design_turn: NDArray[np.float64] | None = None  # f8 (3,3): x_program = turn · x_design + shift
    design_shift_mm: tuple[float, float, float] | None = None  # None: the design is not placed here


@dataclass(frozen=True, slots=True, kw_only=True)
class Op:
    """One run of one program (with its subprogram files) on one set-up of the table."""

    name: str
    program: str  # file name of the main program
    subprograms: tuple[str, ...]
    places: tuple[PartPlace, ...]
    offsets: tuple[Offset, ...]
    start_tool: int = 0  # tool in the spindle at the start
    block_delete: bool = False
    optional_stop: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """The control's own numbers, as found: what the run will really use."""

    registers: tuple[Register, ...] = ()
    offsets: tuple[Offset, ...] = ()
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Job:
    """One part to make."""

    name: str
    revision: str
    length_unit: str  # how the shop wants its numbers
    machine: Machine
    material: str
    quantity: int
    tools: tuple[Tool, ...]
    registers: tuple[Register, ...]  # planned tool table
    ops: tuple[Op, ...]
    design: Part | None = None
    found: Found | None = None
    gouge_mm: float | None = None  # default limits against the design; None = the tool's own default, said
    left_over_mm: float | None = None
    folder: str = ""
    file: str = ""
    invented: bool = False  # demo data
    work: Material | None = None  # the material as the shop file describes it
    open_questions: tuple[str, ...] = ()  # what the files leave open, one question each
