"""Whether a job fits another machine as programmed: travels, magazine, spindle, feeds; which limits bind, what is capped."""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.place import Place
from halfthou.base.table import Rows
from halfthou.base.units import Display
from halfthou.nouns.job import Job
from halfthou.nouns.machine import Machine
from halfthou.nouns.moves import THROUGH, Kind, Limit, MoveList
from halfthou.nouns.other_machine import Binding, Capped, Fit
from halfthou.nouns.tool import Tool
from halfthou.prove.reach import widest, windows_of
from halfthou.prove.revision_tables import system_name

F8 = NDArray[np.float64]
WIDE_MM = 1e6  # a travel without end, to measure how far a program goes
LIMITS = {
    Limit.NONE: "nothing", Limit.FEED: "the programmed feed", Limit.ACCEL: "acceleration", Limit.CORNER: "corners",
    Limit.RADIUS: "arcs", Limit.RAPID: "rapid", Limit.FIXED: "changes, dwells, stops",
}  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Ran:
    """One operation as it ran on its own machine: its moves and where they go."""

    moves: MoveList
    sweeps: Rows
    timing: Rows


def used_tools(job: Job, ran: Sequence[Ran]) -> list[Tool]:
    """Tools that any operation calls, by number."""
    numbers = {int(n) for op in ran for n in np.unique(op.moves.moves["tool"])}
    return sorted((tool for tool in job.tools if tool.number in numbers), key=lambda tool: tool.number)


def _not_stated(value: float | None) -> bool:
    return value is None or not math.isfinite(value)


def _rpm(value: float) -> str:
    return f"{value:.0f} 1/min"


def _within(asked: float, most: float | None) -> bool | None:
    return None if most is None or not math.isfinite(most) else asked <= most + 1e-9


def fits_of(job: Job, ran: Sequence[Ran], there: Machine, show: Display) -> tuple[Fit, ...]:
    """Every limit the job meets, on its own machine and on the other."""
    here = job.machine
    out = [fit for k, op in enumerate(ran) for fit in _travels(job, op, k, there, show)]
    tools = used_tools(job, ran)
    rows = [op.moves.moves for op in ran]
    speeds = np.concatenate([np.abs(r["spindle_rpm"][np.isin(r["kind"], (Kind.LINE, Kind.ARC))]) for r in rows])
    speeds = speeds[speeds > 0]
    if len(speeds):
        top, low = float(speeds.max()), float(speeds.min())
        out.append(_fit("highest S", _rpm(top), top, here.spindle.most_rpm, there.spindle.most_rpm, _rpm))
        least = (here.spindle.least_rpm, there.spindle.least_rpm)
        out.append(Fit(what="lowest S", asked=_rpm(low), here=_rpm(least[0]), there=_rpm(least[1]),
                       fits_here=low >= least[0] - 1e-9, fits_there=low >= least[1] - 1e-9))  # fmt: skip
    feeds = np.concatenate([r["feed_mm_per_s"][np.isin(r["kind"], (Kind.LINE, Kind.ARC))] for r in rows])
    if len(feeds):
        most = float(feeds.max())
        out.append(_fit("highest feed", show.feed(most), most, here.feed_limit_mm_per_s, there.feed_limit_mm_per_s,
                        show.feed))  # fmt: skip
    if any(bool((r["coolant"] & THROUGH).any()) for r in rows):
        has = (here.spindle.through_coolant, there.spindle.through_coolant)
        out.append(Fit(what="coolant through the spindle", asked="used", here="yes" if has[0] else "no",
                       there="yes" if has[1] else "no", fits_here=has[0], fits_there=has[1]))  # fmt: skip
    return (*out, *_magazine(tools, here, there, show))


def _fit(
    what: str, words: str, asked: float, a: float | None, b: float | None, say: Callable[[float], str]
) -> Fit:  # fmt: skip
    texts = ["not stated" if v is None or _not_stated(v) else say(v) for v in (a, b)]
    return Fit(
        what=what, asked=words, here=texts[0], there=texts[1], fits_here=_within(asked, a), fits_there=_within(asked, b)
    )


def _travels(job: Job, op: Ran, index: int, there: Machine, show: Display) -> list[Fit]:
    """How far each work offset's program goes, against the travels."""
    endless = tuple(replace(axis, low_mm=-WIDE_MM, high_mm=WIDE_MM) for axis in job.machine.axes)
    wide = replace(job, machine=replace(job.machine, axes=(endless[0], endless[1], endless[2])))
    out = []
    windows = windows_of(op.moves, op.sweeps, wide, index, {})
    for window in windows:
        for k, (a, b) in enumerate(zip(job.machine.axes, there.axes, strict=True)):
            low, high = window.low_mm[k], window.high_mm[k]
            if low is None or high is None:
                continue
            span = 2 * WIDE_MM - (high - low)
            name = f", {system_name(window.system)}" if len(windows) > 1 else ""
            out.append(_fit(f"{a.name} travel, {job.ops[index].name}{name}", show.length(span), span,
                            a.high_mm - a.low_mm, b.high_mm - b.low_mm, show.length))  # fmt: skip
    return out


def _magazine(tools: Sequence[Tool], here: Machine, there: Machine, show: Display) -> list[Fit]:
    if not tools:
        return []
    a, b = here.magazine, there.magazine
    out = []
    highest = max(tool.number for tool in tools)
    for what, asked in (("magazine positions for", len(tools)), ("highest T number", highest)):
        words = f"{asked} tools" if what.startswith("magazine") else f"T{asked}"
        out.append(_fit(what.removesuffix(" for"), words, asked, a.positions or None, b.positions or None,
                        lambda v: f"{v:.0f} position{'' if v == 1 else 's'}"))  # fmt: skip
    longest = max(tools, key=lambda tool: tool.gauge_length_mm)
    out.append(_fit("longest tool", f"T{longest.number}, {show.length(longest.gauge_length_mm)}", longest.gauge_length_mm,
                    a.most_length_mm, b.most_length_mm, show.length))  # fmt: skip
    broad = max(tools, key=widest)
    alone = [m.most_diameter_alone_mm if m.most_diameter_alone_mm is not None else m.most_diameter_mm for m in (a, b)]
    out.append(_fit("widest tool, empty neighbours", f"T{broad.number}, {show.length(widest(broad))}", widest(broad), alone[0],
                    alone[1], show.length))  # fmt: skip
    weighed = [tool for tool in tools if tool.mass_kg is not None]
    if weighed:
        heavy = max(weighed, key=lambda tool: tool.mass_kg or 0.0)
        out.append(_fit("heaviest tool", f"T{heavy.number}, {heavy.mass_kg:.1f} kg", heavy.mass_kg or 0.0, a.most_mass_kg,
                        b.most_mass_kg, lambda v: f"{v:.1f} kg"))  # fmt: skip
    unweighed = len(tools) - len(weighed)
    if unweighed and b.most_mass_kg is not None:
        out.append(Fit(what="mass of tools without one", asked=f"{unweighed} tools, not stated", here="not judged",
                       there=f"{b.most_mass_kg:.1f} kg", fits_here=None, fits_there=None))  # fmt: skip
    return out


def capped_of(job: Job, ran: Sequence[Ran], there: Machine, show: Display) -> tuple[Capped, ...]:
    """Speeds and feeds beyond the other machine's. slower_s: the longest the time could grow with the feed in proportion."""
    out: list[Capped] = []
    most, limit = there.spindle.most_rpm, there.feed_limit_mm_per_s
    for op in ran:
        rows, seconds = op.moves.moves, op.timing["dur_s"]
        cuts = np.isin(rows["kind"], (Kind.LINE, Kind.ARC))
        for number in np.unique(rows["tool"][cuts]).tolist():
            own = cuts & (rows["tool"] == number)
            speed = np.abs(rows["spindle_rpm"])
            sides: tuple[tuple[str, F8, float | None, Callable[[float], str]], ...] = (
                ("S", speed, most, _rpm), ("F", rows["feed_mm_per_s"], limit, show.feed),
            )  # fmt: skip
            for what, asked, top, say in sides:
                if top is None or not math.isfinite(top):
                    continue
                over = np.flatnonzero(own & (asked > top * (1 + 1e-9)))
                if not len(over):
                    continue
                worst = int(over[np.argmax(asked[over])])
                slower = float((seconds[over] * (asked[over] / top - 1)).sum())
                out.append(
                    Capped(
                        what=what, tool=int(number), asked=say(float(asked[worst])), there=say(top),
                        share_ratio=top / float(asked[worst]), slower_s=slower, place=_said(op.moves, worst, what),
                    )
                )  # fmt: skip
    return tuple(out)


def _said(moves: MoveList, row: int, letter: str) -> Place:
    """The block that says the word in force at a move: its own, or the nearest one above it in the text."""
    own = moves.place(row, letter)
    program = moves.programs[int(moves.moves["program"][row])]
    for line in range(own.line, 0, -1):
        found = re.search(
            rf"{letter}\s*[\d#\[.]", re.sub(r"\(.*?\)", lambda m: " " * len(m[0]), program.lines[line - 1].upper())
        )
        if found:
            return program.place(line, found.start() + 1, letter)
    return own


def binding_of(here: Rows, there: Rows) -> tuple[Binding, ...]:
    """Seconds held back by each limit on either machine; TIMING rows each."""
    out = []
    for limit in Limit:
        a = float(here["dur_s"][here["limited_by"] == limit].sum())
        b = float(there["dur_s"][there["limited_by"] == limit].sum())
        if a > 0 or b > 0:
            out.append(Binding(limit=LIMITS[limit], here_s=a, there_s=b))
    return tuple(out)
