"""What the control holds while a program runs: modal codes, offsets, position, variables."""

import math
from dataclasses import dataclass, field
from typing import Any

from halfthou.base.units import MM_PER_INCH
from halfthou.nc.expr import Number
from halfthou.nc.fault import Fault
from halfthou.nc.start import Start
from halfthou.nouns.machine import Control

Vec = list[float]
NO_MOTION = -1


@dataclass(slots=True)
class Modal:
    """The modal state; lengths mm, angles rad unless the name says otherwise. G codes as ten times their number."""

    units: int = 210
    plane: int = 170
    distance: int = 900
    feed_mode: int = 940
    comp: int = 400
    length: int = 490
    system: int = 1
    motion: int = NO_MOTION
    cycle: int = 0
    retract: int = 980
    path: int = 640
    arc_centre: int = 911
    feed: float | None = None  # mm/min, 1/min or mm/rev by feed_mode
    speed_rpm: float = 0.0
    spindle: int = 0  # +1 clockwise, -1 counter-clockwise
    coolant: int = 0
    overrides: int = 1
    tool: int = 0
    next_tool: int = -1
    h_slot: int = -1  # modal numbers of lone H and D words (mill)
    d_slot: int = -1
    length_slot: int = 0
    length_mm: float = 0.0
    radius_slot: int = 0
    radius_mm: float = 0.0
    shift52: Vec = field(default_factory=lambda: [0.0, 0.0, 0.0])
    shift92: Vec = field(default_factory=lambda: [0.0, 0.0, 0.0])
    rotated: bool = False
    rotation_rad: float = 0.0
    rotation_centre: tuple[float, float] = (0.0, 0.0)
    pos: Vec = field(default_factory=lambda: [0.0, 0.0, 0.0])  # work position, contour point while compensating
    turn: Vec = field(default_factory=lambda: [0.0, 0.0])

    @property
    def unit_mm(self) -> float:
        """Length of the unit in force, mm."""
        return MM_PER_INCH if self.units == 200 else 1.0

    @property
    def rpm(self) -> float:
        """Signed spindle speed that really turns."""
        return self.spindle * self.speed_rpm


class Store:
    """Offsets, homes and variables."""

    def __init__(self, control: Control, start: Start) -> None:
        """Fill in from the start state."""
        self.strict = control.profile == "strict"
        self.control = control
        self.origins: dict[int, Vec] = {n: [0.0, 0.0, 0.0] for n in range(1, 10)}
        self.origins.update({100 + n: [0.0, 0.0, 0.0] for n in range(1, control.extra_offsets + 1)})
        for system, origin in start.offsets.items():
            self.origins[system] = list(origin)
        self.known: dict[int, tuple[bool, bool, bool]] = {n: start.known.get(n, (False,) * 3) for n in self.origins}
        self.home28 = list(control.home28_mm)
        self.home30 = list(control.home30_mm)
        self.saved92: Vec = [0.0, 0.0, 0.0]
        self.probe: Vec = [0.0] * 6
        self.probe_unknown = False  # the last probe move met nothing we know of
        self.depends = False  # a variable of that probe move was read
        self.registers = {slot: [length, radius] for slot, (length, radius) in start.registers.items()}
        self.values: dict[int, float] = {}
        self.locals: dict[int, float] = {}
        self.system_parameter = 1
        self.unset_reads: list[int] = []
        self.unknown: set[int] = set()  # set at the machine, value not known
        self.timer_reads: list[int] = []
        for number, value in start.parameters.items():
            self.write(number, value, 1.0)

    def read(self, number: int, modal: Modal) -> Number:
        """The value of #number in program units; None = empty."""
        unit = modal.unit_mm
        if number in self.unknown:
            self.unset_reads.append(number)
            self.depends = True
        special = self._special(number)
        if special is not None:
            vec, k = special
            if vec is self.probe and self.probe_unknown:
                self.depends = True
            return vec[k] / unit if k < 3 else vec[k]
        if number == 5220:
            return float(modal.system)
        if not self.strict:
            found = self._live(number, modal)
            if found is not None:
                return found
            if 1 <= number <= 33:
                return self.locals.get(number)
            if number in self.values:
                return self.values[number]
            if number in (3001, 3002, 3011, 3012):
                self.timer_reads.append(number)
                return 0.0
            if number == 0 or 100 <= number <= 149:
                return None
            self.unset_reads.append(number)
            return 0.0
        return self.values.get(number, 0.0)

    def _special(self, number: int) -> tuple[Vec, int] | None:
        for base, vec in ((5061, self.probe), (5161, self.home28), (5181, self.home30), (5211, self.saved92)):
            if base <= number < base + min(len(vec), 6):
                return vec, number - base
        if 5221 <= number <= 5383 and (number - 5221) % 20 < 3:
            return self.origins[(number - 5221) // 20 + 1], (number - 5221) % 20
        return None

    def _live(self, number: int, modal: Modal) -> Number:
        """Modal and position variables (mill)."""
        unit = modal.unit_mm
        if 4001 <= number <= 4130:
            codes = {
                4001: modal.cycle * 10 if modal.cycle else modal.motion, 4002: modal.plane, 4003: modal.distance,
                4005: modal.feed_mode, 4006: modal.units, 4007: modal.comp, 4008: modal.length, 4010: modal.retract,
                4014: (53 + modal.system) * 10 if modal.system <= 6 else 541,
            }  # fmt: skip
            if number in codes:
                return codes[number] / 10
            other = {4107: modal.d_slot, 4111: modal.length_slot, 4119: modal.speed_rpm, 4120: modal.tool}
            if number in other:
                return float(other[number])
            if number == 4109:
                return (modal.feed or 0.0) / (unit if modal.feed_mode != 930 else 1.0)
        for base in (5001, 5021, 5041):
            if base <= number < base + 3:
                k = number - base
                value = modal.pos[k]
                if base == 5021:
                    value += self.shift(modal)[k] + (modal.length_mm if k == 2 else 0.0)
                return value / unit
        for base, part in ((2000, 0), (10000, 0), (12000, 1)):
            slot = number - base
            if 0 < slot <= 400 and slot in self.registers:
                return self.registers[slot][part] / unit
        return None

    def write(self, number: int, value: Number, unit: float) -> None:
        """Set #number, given in program units."""
        if number == 0:
            raise Fault("parameter-out-of-range", "#0 is always empty and can not be set", word="#0")
        special = self._special(number)
        if special is not None:
            vec, k = special
            vec[k] = (value or 0.0) * (unit if k < 3 else 1.0)
            return
        if number == 5220:
            system = round(value or 0.0)
            if not 1 <= system <= 9:
                raise Fault("bad-coord-system", f"#5220 must be 1 to 9, not {value:g}", word="#5220")
            self.system_parameter = system
            return
        tool_table = 2001 <= number <= 2400 or 10001 <= number <= 13400
        if not self.strict and tool_table and not self.control.g10_tools:
            raise Fault(
                "unsupported-g-code", f"#{number} writes the tool table", word=f"#{number}",
                why="tool data decide collisions, so a program may not change them unseen",
                do="allow it in the machine file, or take the line out",
            )  # fmt: skip
        target = self.locals if not self.strict and number <= 33 else self.values
        if value is None:
            target.pop(number, None)
        else:
            target[number] = value

    def shift(self, modal: Modal) -> Vec:
        """Table position of the tip minus work position."""
        origin = self.origins[modal.system]
        return [origin[k] + modal.shift92[k] + modal.shift52[k] for k in range(3)]

    def machine(self, modal: Modal) -> Vec:
        """Machine position of the gauge point."""
        shift = self.shift(modal)
        pos = modal.pos
        return [pos[0] + shift[0], pos[1] + shift[1], pos[2] + shift[2] + modal.length_mm]

    def stand(self, modal: Modal, machine: Vec) -> None:
        """Work position from a machine position, after offsets changed."""
        shift = self.shift(modal)
        modal.pos = [machine[0] - shift[0], machine[1] - shift[1], machine[2] - shift[2] - modal.length_mm]


def turned(modal: Modal, x: float, y: float, back: bool = False) -> tuple[float, float]:
    """A programmed point as rotated by G68 (or back)."""
    if not modal.rotated:
        return x, y
    angle = -modal.rotation_rad if back else modal.rotation_rad
    cx, cy = modal.rotation_centre
    c, s = math.cos(angle), math.sin(angle)
    return cx + c * (x - cx) - s * (y - cy), cy + s * (x - cx) + c * (y - cy)


def state_key(modal: Modal, comp_radius: float) -> tuple[Any, ...]:
    """The STATE row of a modal state."""
    return (
        modal.plane // 10, modal.distance // 10, modal.feed_mode // 10, modal.units // 10, modal.comp // 10,
        modal.length // 10, modal.system, modal.motion, modal.cycle, modal.retract // 10, modal.path, modal.arc_centre,
        modal.length_slot, modal.radius_slot, modal.spindle, modal.coolant, modal.overrides, modal.length_mm,
        comp_radius, modal.feed or 0.0, modal.speed_rpm, tuple(modal.shift52), tuple(modal.shift92),
        modal.rotation_rad if modal.rotated else 0.0, modal.rotation_centre,
    )  # fmt: skip
