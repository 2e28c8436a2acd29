"""What the machine will do, one row a move, and how long each takes."""

from dataclasses import dataclass
from enum import IntEnum

from halfthou.base.finding import Finding
from halfthou.base.place import Place
from halfthou.base.table import Rows, dtype
from halfthou.nouns.program import Program


class Kind(IntEnum):
    """What a row of the moves table is."""

    RAPID = 0  # straight line in space; a dog-leg control may leave it (Control.rapid_path)
    LINE = 1
    ARC = 2  # also helices and arcs whose radius changes with the angle
    DWELL = 3
    TOOL_CHANGE = 4  # start = end = where it happens; `tool` is the tool after it
    PROBE = 5  # straight at feed; end_mm is the contact point when one is known, the target when not
    STOP = 6  # program stop, optional stop, end: see `stop`
    DECLARED = 7  # a machine code declared in the shop file; its motion, if any, is start to end


#: Control point in the work frame of `frame`; arcs turn about `centre_mm` round axis `normal` (0 X, 1 Y, 2 Z) by
#: `sweep_rad`, positive counter-clockwise seen from the + end of that axis; the third axis moves in proportion and
#: the radius goes linearly with the angle. `spindle_rpm` is signed: + clockwise (M3), - counter-clockwise, 0 stopped.
MOVE = dtype(
    ("op", "i2"), ("program", "i2"), ("line", "i4"), ("kind", "u1"), ("tool", "i2"), ("frame", "i2"),
    ("length_slot", "i2"), ("radius_slot", "i2"), ("side", "i1"), ("start_mm", "f8", (3,)), ("end_mm", "f8", (3,)),
    ("centre_mm", "f8", (3,)), ("normal", "i1"), ("sweep_rad", "f8"), ("feed_mm_per_s", "f8"),
    ("spindle_rpm", "f8"), ("dwell_s", "f8"), ("coolant", "u1"), ("stop", "u1"), ("flags", "u1"), ("cycle", "i2"),
    ("call", "i4"), ("state", "i4"), ("turn_rad", "f8", (2,)), ("path_id", "i4"),
)  # fmt: skip

#: One row a work frame in use: table position of the tip = work position + shift_mm. known = 0 on an axis: the
#: work offset was not given and shift_mm is the stand-in the run used.
FRAME = dtype(("system", "i2"), ("shift_mm", "f8", (3,)), ("known", "u1", (3,)))

#: Modal state of a block, each different one kept once.
STATE = dtype(
    ("plane", "i2"), ("distance", "i2"), ("feed_mode", "i2"), ("units", "i2"), ("comp", "i2"), ("length", "i2"),
    ("system", "i2"), ("motion", "i2"), ("cycle", "i2"), ("retract", "i2"), ("path", "i2"), ("arc_centre", "i2"),
    ("length_slot", "i2"), ("radius_slot", "i2"), ("spindle", "i1"), ("coolant", "u1"), ("overrides", "u1"),
    ("length_mm", "f8"), ("radius_mm", "f8"), ("feed", "f8"), ("speed_rpm", "f8"), ("shift52_mm", "f8", (3,)),
    ("shift92_mm", "f8", (3,)), ("rotation_rad", "f8"), ("rotation_centre_mm", "f8", (2,)),
)  # fmt: skip

#: Who called: the caller's program and line, its own call row (-1 main), which repeat.
CALL = dtype(("program", "i2"), ("line", "i4"), ("parent", "i4"), ("repeat", "i4"))

#: Rows aligned with the moves table.
TIMING = dtype(
    ("start_s", "f8"), ("dur_s", "f8"), ("low_s", "f8"), ("high_s", "f8"), ("peak_mm_per_s", "f8"),
    ("mean_mm_per_s", "f8"), ("limited_by", "u1"),
)  # fmt: skip

#: Rows aligned with the moves table: what really happens on the table. Table frame, mm. from/to/centre: the tip of the
#: tool that is physically in the spindle (real gauge length, whatever the registers say); gauge_*: machine coordinates
#: of the gauge line. `tool`: row in Job.tools, -1 = no tool (the spindle nose alone; from/to are then the gauge line).
#: `kind`, `normal`, `sweep_rad` as in MOVE (dwell, stop, tool change: no travel). `rapid` 1 = at rapid; `turning`: +1
#: clockwise, -1 counter-clockwise, 0 stopped; `place`: index of the op's place whose program frame the block speaks in.
SWEEP = dtype(
    ("kind", "u1"), ("tool", "i2"), ("rapid", "u1"), ("turning", "i1"), ("place", "i2"), ("from_mm", "f8", (3,)),
    ("to_mm", "f8", (3,)), ("centre_mm", "f8", (3,)), ("normal", "i1"), ("sweep_rad", "f8"),
    ("gauge_from_mm", "f8", (3,)), ("gauge_to_mm", "f8", (3,)),
)  # fmt: skip

MIST, FLOOD, THROUGH, AIR = 1, 2, 4, 8  # bits of `coolant`
STOP_M0, STOP_M1, STOP_END, STOP_DECLARED, STOP_RETRACT = 1, 2, 3, 4, 5  # `stop`
PROBE_CONTACT, PROBE_MAY_MISS, MACHINE_POINT, AFTER_PROBE, TAPPING, DWELL_ASSUMED = (
    1,
    2,
    4,
    8,
    16,
    32,
)  # `flags`


class Limit(IntEnum):
    """What held the speed of a move back (`Timing.limited_by`)."""

    NONE = 0
    FEED = 1
    ACCEL = 2
    CORNER = 3
    RADIUS = 4
    RAPID = 5
    FIXED = 6  # dwell, tool change, declared time


@dataclass(frozen=True, slots=True, kw_only=True)
class MoveList:
    """The job-wide (or one operation's) moves with the tables their columns point into."""

    moves: Rows  # MOVE
    frames: Rows  # FRAME
    states: Rows  # STATE
    calls: Rows  # CALL
    programs: tuple[Program, ...]

    def place(self, row: int, word: str = "") -> Place:
        """Where the block of this move stands."""
        move = self.moves[row]
        program = self.programs[int(move["program"])]
        line = int(move["line"])
        text = program.lines[line - 1] if 0 < line <= len(program.lines) else ""
        column = text.upper().find(word.upper()) + 1 if word else 0
        return Place(file=program.file, line=line, column=column, word=word, text=text)


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """A program read to its end: the moves, what to know about them, and the registers afterwards."""

    moves: MoveList
    findings: tuple[Finding, ...]  # warnings of the language, codes N...
    messages: tuple[tuple[int, str], ...]  # (line, text) shown to the operator
    parameters: tuple[tuple[int, float], ...]  # after the run
    blocks_run: int
    words_read: int
    words_used: int
    words_reported: int
    end_work_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    end_machine_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
    has_block_delete: bool = False
    final: tuple[tuple[str, str], ...] = ()  # modal words after the run: units, coord, tool, spindle …
