"""The interpreter's working state: where it is, what it has found, and how a move becomes a row."""

import math
from dataclasses import dataclass, field
from typing import Any, Protocol

from halfthou.base.finding import Finding
from halfthou.base.limits import SAME_POINT_MM
from halfthou.base.place import Place
from halfthou.nc.codes import CODES, WARNING
from halfthou.nc.expr import Rules
from halfthou.nc.fault import sentence
from halfthou.nc.rows import CENTRE, END, FEED, KIND, START, SWEEP_RAD, MoveRows, Row
from halfthou.nc.start import Ask, Contact, Start
from halfthou.nc.state import Modal, Store, Vec, state_key
from halfthou.nouns.machine import Control
from halfthou.nouns.moves import AFTER_PROBE, Kind
from halfthou.nouns.program import Program

NO_CENTRE = (0.0, 0.0, 0.0)


class Compensation(Protocol):
    """What the two ways of compensating have in common."""

    side: int
    radius_mm: float

    @property
    def pending(self) -> bool:
        """Is a contour move waiting for its end?"""

    def line(self, run: "Run", row: Row, target: Vec) -> None:
        """A straight contour move to `target`."""

    def arc(self, run: "Run", row: Row, target: Vec, centre: tuple[float, float], sweep: float) -> None:
        """A contour arc to `target`."""

    def hold(self, row: Row) -> None:
        """Keep a row back until the pending move has its end."""

    def finish(self, run: "Run") -> None:
        """Emit what is pending; the tool stands beside the last contour point."""


@dataclass(slots=True)
class CycleData:
    """Sticky numbers of a canned cycle, in mm and seconds, with the distance mode they were given in."""

    code: int = 0
    depth: float | None = None
    r: float | None = None
    depth_mode: int = 900
    r_mode: int = 900
    dwell_s: float | None = None
    peck: float | None = None
    ijk: dict[str, float] = field(default_factory=dict)
    initial: float = 0.0
    motion_before: int = -1


@dataclass(slots=True)
class Warned:
    """Warnings of one sort, folded."""

    place: Place
    what: str
    why: str
    do: str
    count: int = 1


class Run:
    """Everything the parts of the interpreter share."""

    def __init__(
        self, programs: tuple[Program, ...], control: Control, start: Start, op: int, contact: Contact | None
    ) -> None:
        """Power-on state."""
        self.programs, self.control, self.start, self.op, self.contact = programs, control, start, op, contact
        self.strict = control.profile == "strict"
        self.rules = Rules(self.strict, control.atan_range == "positive")
        self.modal = Modal(tool=start.tool)
        self.store = Store(control, start)
        self.rows = MoveRows()
        self.cycle = CycleData()
        self.comp: Compensation | None = None
        self.warned: dict[tuple[str, str], Warned] = {}
        self.messages: list[tuple[int, str]] = []
        self.program = 0
        self.line = 0
        self.call = -1
        self.path_id = 0
        self.ended = False
        self.units_stated = False
        self.blind = 0
        self.h_pending: tuple[int, int, int] | None = None
        self.decimals = [False, False]  # seen without point, with point
        self.words_read = self.words_used = self.words_reported = 0
        self.blocks_run = 0
        self.slashes = False
        modal = self.modal
        if control.start_units == "inch":
            modal.units = 200
        modal.system = self.store.system_parameter
        self.stand(list(start.start_machine_mm))
        self.at: Vec = list(modal.pos)
        self.state_row = -1  # -1: has to be looked up again
        self.frame_row = -1

    # -- position ---------------------------------------------------------------------------------------------

    def machine(self) -> Vec:
        """Machine position of the gauge point at the real position of the tool."""
        shift = self.store.shift(self.modal)
        at = self.at
        return [at[0] + shift[0], at[1] + shift[1], at[2] + shift[2] + self.modal.length_mm]

    def stand(self, machine: Vec) -> None:
        """Re-express the position after offsets changed; the machine has not moved."""
        old = list(self.modal.pos)
        self.store.stand(self.modal, machine)
        if self.comp is not None:
            self.at = [self.at[k] + self.modal.pos[k] - old[k] for k in range(3)]
        else:
            self.at = list(self.modal.pos)
        self.state_row = self.frame_row = -1

    def changed(self) -> None:
        """Something modal may have changed: look the rows up again."""
        self.state_row = self.frame_row = -1

    # -- rows -------------------------------------------------------------------------------------------------

    def row(self, kind: int, feed: float = 0.0, *, dwell: float = 0.0, stop: int = 0, flags: int = 0) -> Row:
        """A row at the present place; start and end are filled in by who emits it."""
        modal = self.modal
        if self.frame_row < 0:
            shift = tuple(self.store.shift(modal))
            known = self.store.known.get(modal.system, (False, False, False))
            self.frame_row = self.rows.frame((modal.system, shift, known))
        if self.state_row < 0:
            self.state_row = self.rows.state(state_key(modal, self.comp.radius_mm if self.comp else 0.0))
        side = self.comp.side if self.comp else 0
        if self.store.depends:
            flags |= AFTER_PROBE
        at = tuple(self.at)
        return [
            self.op, self.program, self.line, kind, modal.tool, self.frame_row, modal.length_slot,
            modal.radius_slot if side else 0, side, at, at, NO_CENTRE, -1, 0.0, feed, modal.rpm, dwell, modal.coolant,
            stop, flags, modal.cycle // 10, self.call, self.state_row, tuple(modal.turn), self.path_id,
        ]  # fmt: skip

    def put(self, row: Row) -> None:
        """A row that does not move in XY, in its order: behind a pending contour move if there is one."""
        if self.comp is not None and self.comp.pending:
            self.comp.hold(row)
        else:
            self.rows.add(row)

    def straight(self, row: Row, target: Vec) -> None:
        """Emit a straight row from the real position to `target`; nothing if it does not move."""
        at = self.at
        if max(abs(target[0] - at[0]), abs(target[1] - at[1]), abs(target[2] - at[2])) > 1e-12:
            row[START] = tuple(at)
            row[END] = tuple(target)
            if row[KIND] == Kind.LINE:
                row[FEED] = self.feed(math.dist(at, target))
            self.rows.add(row)
        self.at = list(target)
        self.modal.pos = list(target)

    def curve(self, row: Row, target: Vec, centre: Vec, normal: int, sweep: float) -> None:
        """Emit an arc row from the real position to `target`."""
        at = self.at
        row[START], row[END], row[CENTRE] = tuple(at), tuple(target), tuple(centre)
        row[SWEEP_RAD] = sweep
        row[SWEEP_RAD - 1] = normal
        i, j = ((1, 2), (2, 0), (0, 1))[normal]
        r0 = math.hypot(at[i] - centre[i], at[j] - centre[j])
        r1 = math.hypot(target[i] - centre[i], target[j] - centre[j])
        flat = abs(sweep) * (r0 + r1) / 2
        rise = target[normal] - at[normal]
        row[FEED] = self.feed(math.hypot(flat, rise), flat if self.control.helix_feed == "plane" else None)
        self.rows.add(row)
        self.at = list(target)

    def feed(self, length: float, flat: float | None = None) -> float:
        """Feed along the path in mm/s for a move of this length."""
        modal = self.modal
        value = modal.feed or 0.0
        if modal.feed_mode == 930:
            return length * value / 60.0
        if modal.feed_mode == 950:
            value *= abs(modal.speed_rpm)
        if flat is not None and flat > SAME_POINT_MM:
            value *= length / flat
        return value / 60.0

    # -- findings ---------------------------------------------------------------------------------------------

    def place(self, word: str = "") -> Place:
        """The present line, with a word underlined."""
        program = self.programs[self.program]
        text = program.lines[self.line - 1] if 0 < self.line <= len(program.lines) else ""
        column = text.upper().find(word.upper()) + 1 if word else 0
        return program.place(self.line, column, word)

    def warn(self, kind: str, what: str, *, why: str = "", do: str = "", word: str = "", key: str = "") -> None:
        """A warning; more of the same sort (and key) are counted."""
        known = self.warned.get((kind, key))
        if known is not None:
            known.count += 1
            return
        self.warned[(kind, key)] = Warned(self.place(word), what, why, do)

    def findings(self) -> tuple[Finding, ...]:
        """The warnings as findings, in the order they came up."""
        found = []
        for (kind, _key), one in self.warned.items():
            code = CODES[WARNING[kind]]
            found.append(
                Finding(
                    code=code.code,
                    severity=code.severity,
                    place=one.place,
                    what=sentence(one.what),
                    why=sentence(one.why),
                    do=sentence(one.do),
                    op=self.op,
                    count=one.count,
                )
            )
        return tuple(found)

    def ask(self, target: Vec) -> Ask:
        """The question of a probe move."""
        shift = self.store.shift(self.modal)
        return Ask(
            moves=lambda: self.rows.moves(self.programs), line=self.line, program=self.program, tool=self.modal.tool,
            start_mm=(self.at[0], self.at[1], self.at[2]), target_mm=(target[0], target[1], target[2]),
            shift_mm=(shift[0], shift[1], shift[2]), length_mm=self.modal.length_mm,
        )  # fmt: skip


def parts(run: Run, **values: Any) -> None:
    """Set several modal fields at once and mark the state as changed."""
    for name, value in values.items():
        setattr(run.modal, name, value)
    run.changed()
