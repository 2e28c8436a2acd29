"""What the control holds when a program starts, and who answers when it probes."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from halfthou.nouns.moves import MoveList

Point = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """A probe move that wants to know what it meets.

    start_mm, target_mm: controlled point (tool tip as the control sees it) in work coordinates;
    table position = work + shift_mm. `moves` gives the moves read so far (built when called).
    """

    moves: Callable[[], MoveList]
    line: int
    program: int
    tool: int
    start_mm: Point
    target_mm: Point
    shift_mm: Point
    length_mm: float


#: Returns the contact point in work coordinates, or None when nothing is met.
Contact = Callable[[Ask], Point | None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """The state of the control at cycle start. Lengths mm.

    offsets: {system: machine coordinates of the program zero}; system 1..9 = G54..G59.3, 101.. = G54.1 P1..
    known: {system: per axis, was the value given}; a missing system counts as not known.
    registers: {slot: (length, radius)}, both with wear. tools: {number: diameter or None}; empty = every number is accepted.
    block_delete: the switch, True = all, or the numbered switches that are on (0 stands for the plain slash).
    parameters: {number: value}; lengths of the control's own parameters (5061.., 5161.., 5211.., 5221..) in mm.
    """

    start_machine_mm: Point = (0.0, 0.0, 0.0)
    offsets: Mapping[int, Point] = field(default_factory=dict)
    known: Mapping[int, tuple[bool, bool, bool]] = field(default_factory=dict)
    registers: Mapping[int, tuple[float, float]] = field(default_factory=dict)
    tools: Mapping[int, float | None] = field(default_factory=dict)
    tool: int = 0
    parameters: Mapping[int, float] = field(default_factory=dict)
    block_delete: bool | frozenset[int] = False
    end_needed: bool = True  # strict: a program must end with M2, M30 or a second %; False for pieces of a program
    change_at_mm: tuple[float | None, float | None, float | None] = (None, None, None)  # machine, where M6 goes
    stop_at_m0: bool = False  # read only as far as the first M0
