"""Moves written by hand as the language room hands them over: work frames, registers in force, tools, places."""

from dataclasses import replace

import numpy as np

from halfthou.base.table import lock
from halfthou.nouns.job import Job, Op, PartPlace
from halfthou.nouns.machine import Axis, Control
from halfthou.nouns.moves import CALL, FRAME, MOVE, STATE, Kind, MoveList
from halfthou.nouns.program import Program
from halfthou.nouns.stock import Stock
from halfthou.nouns.tool import Register
from tests.unit.clash_scene import C, machine, tool


def plain_tool(number: int, length: float, d: float = 10.0):
    return tool(number, "flat", d, [[0, 0], [d / 2, 0], [d / 2, length]], [C, C], gauge_length_mm=length)


def moves_of(rows, frames=((1, (0.0, 0.0, 0.0)),), lengths=(0.0,), known=(1, 1, 1)) -> MoveList:
    """rows: dicts of MOVE fields; frames: (system, shift); lengths: length in force of each state row.

    `known`: one triple for all frames, or one each.
    """
    moves = np.zeros(len(rows), dtype=MOVE)
    moves["kind"], moves["normal"], moves["line"] = Kind.LINE, 2, np.arange(len(rows)) + 1
    for k, row in enumerate(rows):
        for name, value in row.items():
            moves[k][name] = value
    shifts = np.zeros(len(frames), dtype=FRAME)
    for k, (system, shift) in enumerate(frames):
        shifts[k] = (system, shift, known[k] if isinstance(known[0], tuple) else known)
    states = np.zeros(len(lengths), dtype=STATE)
    states["length_mm"] = lengths
    program = Program(name="o1", file="o1.nc", sha256="", raw=b"", lines=tuple(f"N{k}" for k in range(len(rows))))
    return MoveList(
        moves=lock(moves), frames=lock(shifts), states=lock(states), calls=lock(np.zeros(0, dtype=CALL)),
        programs=(program,),
    )  # fmt: skip


def job_of(tools, *, systems=(1,), registers=(), method="gauge-line", travel=None) -> Job:
    """A job with one operation and one place a system; registers: {slot: length}; travel: ((low, high),) * 3."""
    stock = Stock(kind="box", low_mm=(0, 0, -20), high_mm=(50, 40, 0))
    places = tuple(PartPlace(name=f"vise {s}", op=0, offset=s, stock=stock, bodies=()) for s in systems)
    plain = machine()
    axes = plain.axes
    if travel is not None:
        axes = tuple(
            Axis(name=a.name, low_mm=low, high_mm=high, rapid_mm_per_s=400.0, accel_mm_per_s2=3000.0)
            for a, (low, high) in zip(axes, travel, strict=True)
        )
    return Job(
        name="hand", revision="", length_unit="mm", quantity=1, material="", tools=tuple(tools),
        machine=replace(plain, axes=axes, control=Control(length_method=method)),
        registers=tuple(Register(slot=slot, length_mm=value) for slot, value in dict(registers).items()),
        ops=(Op(name="op 1", program="o1.nc", subprograms=(), places=places, offsets=()),),
    )  # fmt: skip
