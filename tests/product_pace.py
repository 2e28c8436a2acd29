"""Asks the product for a calibrated cycle time from plain data: what the pace oracle judges."""

import numpy as np

from halfthou.nc.interpret import interpret
from halfthou.nc.start import Start
from halfthou.nouns.machine import Axis, Control, Machine, Magazine, Spindle
from halfthou.nouns.moves import MoveList
from halfthou.nouns.program import Program
from halfthou.physics.pace_fit import Pace, fit
from halfthou.physics.pace_forecast import Forecast, forecast
from halfthou.prove.pace import course_for, prior_of
from halfthou.prove.pace_log import log_of, total_of


def moves_of(text: str, zero: tuple[float, float, float], control: Control) -> MoveList:
    """A program's moves with tools of no length."""
    program = Program(name="p", file="p.nc", sha256="", raw=text.encode(), lines=tuple(text.splitlines()))
    start = Start(offsets={1: zero}, known={1: (True, True, True)}, registers=dict.fromkeys(range(1, 40), (0.0, 0.0)))
    return interpret(program, (), control, start).moves


def machine_of(rapid, accel, change, run_up, top, feed_limit, path) -> Machine:
    """A machine as a shop file might state it."""
    axes = tuple(
        Axis(name=n, low_mm=-600, high_mm=10, rapid_mm_per_s=r, accel_mm_per_s2=None if accel is None else accel[k])
        for k, (n, r) in enumerate(zip("XYZ", rapid, strict=True))
    )
    return Machine(
        name="m", axes=axes, feed_limit_mm_per_s=feed_limit,
        spindle=Spindle(least_rpm=0, most_rpm=top, run_up_s=run_up), magazine=Magazine(positions=24, change_s=change),
        control=Control(rapid_path=path, profile="mill", dwell_unit="s"),
    )  # fmt: skip


def calibrate(machine: Machine, moves: MoveList, stamps, feed: float, rapid: float) -> Pace:
    """Fit from one time-stamped log of (time, line), line 0 = end."""
    time = np.array([t for t, _ in stamps])
    line = np.array([n for _, n in stamps])
    timed = log_of(moves, machine, time, line, feed_ratio=feed, rapid_ratio=rapid)
    return fit([timed], prior_of(machine))


def predict(machine: Machine, moves: MoveList, paces: Pace) -> Forecast:
    """Seconds of another program."""
    return forecast(paces, course_for(moves, machine))


def calibrate_total(machine: Machine, moves: MoveList, seconds: float, feed: float, rapid: float) -> Pace:
    """Fit from one stopwatch total, ± 0.5 s."""
    return fit([total_of(moves, machine, seconds, None, feed, rapid)], prior_of(machine))
