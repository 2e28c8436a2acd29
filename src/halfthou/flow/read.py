"""Programs into moves: offsets and registers put in force, stand-ins where none are given, probing answered."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from halfthou.base.watch import Watch
from halfthou.nc.interpret import interpret
from halfthou.nc.start import Contact, Start
from halfthou.nouns.job import Job, Offset, Op
from halfthou.nouns.machine import Machine
from halfthou.nouns.moves import MACHINE_POINT, Kind, MoveList, Reading
from halfthou.nouns.program import Program
from halfthou.nouns.tool import Register

Point = tuple[float, float, float]
ABOVE_MM = 100.0
"""How far below the top of travel the highest programmed point is put when no work offset is given."""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpSetup:
    """What the control would hold when this operation starts."""

    origins: dict[int, Point]
    known: dict[int, tuple[bool, bool, bool]]
    registers: tuple[Register, ...]
    block_delete: bool


def setup_of(job: Job, op: Op, *, use_found: bool, block_delete: bool | None = None) -> OpSetup:
    """Planned offsets and registers, replaced by those found at the control where `use_found` and they are given."""
    offsets: dict[int, Offset] = {offset.system: offset for offset in op.offsets}
    registers = {register.slot: register for register in job.registers}
    if use_found and job.found is not None:
        for offset in job.found.offsets:
            if any(v is not None for v in offset.origin_mm):
                offsets[offset.system] = offset
        registers.update({register.slot: register for register in job.found.registers})
    origins, known = {}, {}
    blind = _lengths_stand_in(job)
    for system, offset in offsets.items():
        x, y, z = (v if v is not None else 0.0 for v in offset.origin_mm)
        a, b, c = (v is not None for v in offset.origin_mm)
        c = c and not blind
        origins[system] = (x, y, z)
        known[system] = (a, b, c)
    delete = op.block_delete if block_delete is None else block_delete
    return OpSetup(origins=origins, known=known, registers=tuple(registers.values()), block_delete=delete)


def change_position(machine: Machine) -> tuple[float | None, float | None, float | None]:
    """Where a tool change happens, machine coordinates; not stated: the spindle goes to Z home first."""
    stated = machine.magazine.change_at_mm
    if any(value is not None for value in stated):
        return stated
    home = machine.control.home28_mm[2]
    return (None, None, home if np.isfinite(home) else 0.0)


def _lengths_stand_in(job: Job) -> bool:
    """Touched-off lengths that nobody gave: gauge lengths stand in for them, so the height of the zero is not known."""
    if job.machine.control.length_method != "touched-off":
        return False
    real = {tool.number: tool.gauge_length_mm for tool in job.tools}
    given = [r for r in job.registers if r.length_mm is not None and r.slot in real]
    return not any(abs((r.length_mm or 0.0) - real[r.slot]) > 1e-6 for r in given)


def start_of(job: Job, op: Op, setup: OpSetup) -> Start:
    """The state of the control at cycle start."""
    axes = job.machine.axes
    top = axes[2].high_mm if np.isfinite(axes[2].high_mm) else 0.0
    home = job.machine.control.home28_mm
    return Start(
        start_machine_mm=(home[0], home[1], home[2] if np.isfinite(home[2]) else top),
        offsets=setup.origins,
        known=setup.known,
        registers={
            r.slot: (
                (r.length_mm or 0.0) + r.length_wear_mm,
                (r.radius_mm or 0.0) + r.radius_wear_mm,
            )
            for r in setup.registers
        },
        tools={tool.number: tool.diameter_mm for tool in job.tools},
        tool=op.start_tool,
        block_delete=setup.block_delete,
        change_at_mm=change_position(job.machine),
    )


def read_op(
    job: Job,
    index: int,
    programs: Sequence[Program],
    setup: OpSetup,
    contact_of: Callable[[OpSetup], Contact | None],
    watch: Watch,
) -> tuple[Reading, OpSetup]:
    """Read one operation's program. Where a work offset is not given, a stand-in is found by reading twice."""
    op = job.ops[index]
    main, library = programs[0], programs[1:]
    control = job.machine.control

    def once(with_setup: OpSetup, probe: Contact | None) -> Reading:
        start = start_of(job, op, with_setup)
        return interpret(main, library, control, start, op=index, contact=probe, watch=watch)

    if _all_known(setup, op):
        return once(setup, contact_of(setup)), setup
    first = once(setup, contact_of(setup))
    shifted = _stand_in(setup, op, first.moves, job.machine)
    return once(shifted, contact_of(shifted)), shifted


def _all_known(setup: OpSetup, op: Op) -> bool:
    systems = {place.offset for place in op.places} or {1}
    return all(all(setup.known.get(system, (False,) * 3)) for system in systems)


def _stand_in(setup: OpSetup, op: Op, moves: MoveList, machine: Machine) -> OpSetup:
    """Offsets for axes that have none: middle of the travel in X and Y, clear below the top of travel in Z.

    One shift for all systems of the operation, so that places keep their distances.
    """
    rows = moves.moves
    plain = rows[(rows["kind"] <= Kind.ARC) & (rows["flags"] & MACHINE_POINT == 0)]
    if not len(plain):
        return setup
    shift = moves.frames["shift_mm"][plain["frame"]]
    length = np.zeros_like(shift)
    length[:, 2] = moves.states["length_mm"][plain["state"]]
    points = plain["end_mm"] + shift + length
    low, high = points.min(0), points.max(0)
    by: list[float] = []
    for k, axis in enumerate(machine.axes):
        least = axis.low_mm if np.isfinite(axis.low_mm) else 0.0
        most = axis.high_mm if np.isfinite(axis.high_mm) else 0.0
        by.append((least + most) / 2 - (low[k] + high[k]) / 2 if k < 2 else most - ABOVE_MM - high[k])
    systems = {int(s) for s in moves.frames["system"]} | {place.offset for place in op.places} | set(setup.origins)
    origins = dict(setup.origins)
    for system in systems:
        known = setup.known.get(system, (False, False, False))
        old = setup.origins.get(system, (0.0, 0.0, 0.0))
        x, y, z = (old[k] if known[k] else old[k] + by[k] for k in range(3))
        origins[system] = (float(x), float(y), float(z))
    return replace(setup, origins=origins)
