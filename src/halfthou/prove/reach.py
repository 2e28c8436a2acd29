"""Travels, spindle, magazine, tools and registers: can this machine do what the program asks?"""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from halfthou.base.finding import Finding, Severity
from halfthou.base.place import Place
from halfthou.base.table import Rows
from halfthou.base.units import Display
from halfthou.base.value import Value
from halfthou.nouns.answers import Window
from halfthou.nouns.job import Job
from halfthou.nouns.moves import THROUGH, Kind, MoveList
from halfthou.nouns.tool import Tool, Zone

F8 = NDArray[np.float64]
TOUCH_MM = 1e-6
AXES = "XYZ"
TRAVELS = (Kind.RAPID, Kind.LINE, Kind.ARC, Kind.TOOL_CHANGE, Kind.PROBE, Kind.DECLARED)


def extents(sweeps: Rows) -> tuple[F8, F8]:
    """Lowest and highest gauge-line position of every row, f8 (n,3) each; arcs by their true extremes."""
    low = np.minimum(sweeps["gauge_from_mm"], sweeps["gauge_to_mm"])
    high = np.maximum(sweeps["gauge_from_mm"], sweeps["gauge_to_mm"])
    lift = sweeps["gauge_to_mm"] - sweeps["to_mm"]
    for k in np.flatnonzero((sweeps["kind"] == Kind.ARC) & (sweeps["sweep_rad"] != 0)).tolist():
        normal, sweep = int(sweeps["normal"][k]), float(sweeps["sweep_rad"][k])
        i, j = (normal + 1) % 3, (normal + 2) % 3
        a, c = sweeps["from_mm"][k], sweeps["centre_mm"][k]
        b = sweeps["to_mm"][k]
        r0, r1 = math.hypot(a[i] - c[i], a[j] - c[j]), math.hypot(b[i] - c[i], b[j] - c[j])
        angle = math.atan2(a[j] - c[j], a[i] - c[i])
        for quarter in range(4):
            turn = quarter * math.pi / 2 - angle
            turn = turn % (2 * math.pi) if sweep > 0 else (-turn) % (2 * math.pi)
            if turn > abs(sweep):
                continue
            last = turn + (abs(sweep) - turn) // (2 * math.pi) * 2 * math.pi  # the radius may grow from turn to turn
            radius = max(r0 + (r1 - r0) * t / abs(sweep) for t in (turn, last))
            axis, sign = ((i, 1), (j, 1), (i, -1), (j, -1))[quarter]
            value = c[axis] + lift[k][axis] + sign * radius
            low[k][axis], high[k][axis] = min(low[k][axis], value), max(high[k][axis], value)
    return low, high


def travel_findings(moves: MoveList, sweeps: Rows, job: Job, op: int) -> tuple[list[Finding], list[str]]:
    """Over-travel by axis and side (P101), and what could not be judged."""
    low, high = extents(sweeps)
    goes = np.isin(sweeps["kind"], TRAVELS)
    known = (
        moves.frames["known"][moves.moves["frame"]].astype(bool) if len(moves.moves) else np.zeros((0, 3), dtype=bool)
    )
    absolute = (moves.moves["flags"] & 4) != 0
    show, found, said = Display(length_unit=job.length_unit), [], []
    blind = []
    for k, axis in enumerate(job.machine.axes):
        judged = goes & (known[:, k] | absolute)
        if np.any(goes & ~judged):
            blind.append(axis.name)
        if not (math.isfinite(axis.low_mm) or math.isfinite(axis.high_mm)):
            continue
        for over, limit, side in (
            (axis.low_mm - low[:, k], axis.low_mm, "low"),
            (high[:, k] - axis.high_mm, axis.high_mm, "high"),
        ):
            rows = np.flatnonzero(judged & (over > TOUCH_MM))
            if not len(rows):
                continue
            worst, first = int(rows[np.argmax(over[rows])]), int(rows[0])
            amount = float(over[worst])
            way = "+" if side == "low" else "-"
            found.append(
                Finding(
                    code="P101", severity=Severity.STOP, place=moves.place(first, axis.name),
                    what=f"{axis.name} leaves its travel by {show.length(amount)} (limit {show.length(limit)}).",
                    why=f"Machine {axis.name} {show.length(limit - amount if side == 'low' else limit + amount)} is asked for; "
                        f"farthest in line {moves.place(worst).line}.",
                    do=f"Move the part {show.length(amount)} towards {axis.name}{way}, or use a machine with more travel.",
                    amount=Value(best=amount, u=0.0, unit="mm", bound=1e-6), limit_mm=limit, move=first, op=op,
                    tool=int(moves.moves["tool"][first]), count=len(rows),
                )
            )  # fmt: skip
    if blind:
        said.append(
            f"over-travel of {job.ops[op].name} in {', '.join(blind)}: no work offset is given (see the window)"
        )
    if not any(math.isfinite(axis.low_mm) for axis in job.machine.axes):
        said.append("over-travel: the machine's travels are not stated")
    return found, said


def programmed(moves: MoveList) -> NDArray[np.bool_]:
    """bool (n,3): is the end of each row on an axis a programmed work position (and not left over from home)?"""
    rows = moves.moves
    moved = np.abs(rows["end_mm"] - rows["start_mm"]) > 1e-9
    own = np.isin(rows["kind"], (Kind.RAPID, Kind.LINE, Kind.ARC, Kind.PROBE)) & ((rows["flags"] & 4) == 0)
    at = np.where(moved, np.arange(len(rows))[:, None], -1)
    last = np.maximum.accumulate(at, axis=0) if len(rows) else at
    out: NDArray[np.bool_] = (last >= 0) & own[np.maximum(last, 0)]
    return out


def windows_of(
    moves: MoveList, sweeps: Rows, job: Job, op: int, given: dict[int, tuple[float | None, ...]]
) -> tuple[Window, ...]:
    """Work-offset values that keep every move of the operation inside the travels, one a system used."""
    low, high = extents(sweeps)
    goes = np.isin(sweeps["kind"], (Kind.RAPID, Kind.LINE, Kind.ARC, Kind.PROBE)) & ((moves.moves["flags"] & 4) == 0)
    arcs = sweeps["kind"] == Kind.ARC
    low = np.where(arcs[:, None], low, sweeps["gauge_to_mm"])
    high = np.where(arcs[:, None], high, sweeps["gauge_to_mm"])
    worded = programmed(moves)
    found = []
    for system in sorted({int(s) for s in moves.frames["system"]}):
        frames = np.flatnonzero(moves.frames["system"] == system)
        rows = np.flatnonzero(goes & np.isin(moves.moves["frame"], frames))
        if not len(rows):
            continue
        shift = moves.frames["shift_mm"][frames[0]]
        least: list[float | None] = []
        most: list[float | None] = []
        for k, axis in enumerate(job.machine.axes):
            own_rows = rows[worded[rows, k]]
            if not len(own_rows):
                least.append(None)
                most.append(None)
                continue
            a, b = float(low[own_rows, k].min() - shift[k]), float(high[own_rows, k].max() - shift[k])
            finite = math.isfinite(axis.low_mm) and math.isfinite(axis.high_mm)
            least.append(axis.low_mm - a if finite else None)
            most.append(axis.high_mm - b if finite else None)
        own = given.get(system, (None, None, None))
        found.append(
            Window(op=op, system=system, low_mm=(least[0], least[1], least[2]), high_mm=(most[0], most[1], most[2]),
                   given_mm=(own[0], own[1], own[2]))
        )  # fmt: skip
    return tuple(found)


def window_findings(moves: MoveList, job: Job, op: int, windows: Sequence[Window]) -> list[Finding]:
    """P102: a window that is empty: no work offset keeps the program inside the travels."""
    show, found = Display(length_unit=job.length_unit), []
    for window in windows:
        for k, axis in enumerate(AXES):
            least, most = window.low_mm[k], window.high_mm[k]
            if least is not None and most is not None and least > most + TOUCH_MM:
                found.append(
                    Finding(
                        code="P102", severity=Severity.STOP, place=moves.place(0) if len(moves.moves) else Place(file=""),
                        what=f"The program moves {show.length(least - most)} farther in {axis} than the machine travels.",
                        why="No work offset brings all of it inside.", do="Use a machine with more travel, or turn the part.",
                        amount=Value(best=least - most, u=0.0, unit="mm", bound=1e-6), op=op,
                    )
                )  # fmt: skip
    return found


def spindle_findings(moves: MoveList, job: Job, op: int) -> list[Finding]:
    """P103 beyond the spindle's range, P104 above the marked speed of a tool, P105 through-coolant without channel."""
    rows, found = moves.moves, []
    cutting = np.isin(rows["kind"], (Kind.LINE, Kind.ARC, Kind.RAPID))
    speed = np.abs(rows["spindle_rpm"])
    spindle = job.machine.spindle
    tools = {tool.number: tool for tool in job.tools}
    for number in np.unique(rows["tool"][cutting]).tolist():
        own = cutting & (rows["tool"] == number) & (speed > 0)
        for bad, limit, word in (
            (own & (speed > spindle.most_rpm + 1e-9), spindle.most_rpm, "above"),
            (own & (speed < spindle.least_rpm - 1e-9), spindle.least_rpm, "below"),
        ):
            if np.any(bad):
                k = int(np.flatnonzero(bad)[0])
                found.append(_plain("P103", Severity.STOP, moves, k, op, f"T{number} asks for {speed[k]:.0f} 1/min, {word} the "
                             f"spindle's {limit:.0f}.", "The control stops or clips the speed.",
                             f"Write S{limit:.0f}, and the feed in proportion.", int(bad.sum()), "S"))  # fmt: skip
        tool = tools.get(int(number))
        if tool is None:
            continue
        if tool.most_rpm is not None and np.any(own & (speed > tool.most_rpm + 1e-9)):
            k = int(np.flatnonzero(own & (speed > tool.most_rpm + 1e-9))[0])
            found.append(_plain("P104", Severity.STOP, moves, k, op, f"T{number} turns at {speed[k]:.0f} 1/min; tool or holder is "
                         f"marked {tool.most_rpm:.0f}.", "A tool that bursts throws its pieces through the guard.",
                         f"Write S{tool.most_rpm:.0f} or less.", 1, "S"))  # fmt: skip
        wet = own & ((rows["coolant"] & THROUGH) != 0)
        if tool.coolant_channel is False and np.any(wet):
            found.append(_plain("P105", Severity.CARE, moves, int(np.flatnonzero(wet)[0]), op,
                         f"Coolant through the spindle with T{number}, which has no channel.",
                         "The pressure has nowhere to go.", "Switch to flood for this tool.", 1))  # fmt: skip
    return found


def _plain(
    code: str,
    severity: Severity,
    moves: MoveList,
    row: int,
    op: int,
    what: str,
    why: str,
    do: str,
    count: int,
    word: str = "",
) -> Finding:
    return Finding(code=code, severity=severity, place=moves.place(row, word), what=what, why=why, do=do, move=row, op=op,
                   tool=int(moves.moves["tool"][row]), count=count)  # fmt: skip


def register_findings(moves: MoveList, job: Job, op: int) -> list[Finding]:
    """P106: going down or cutting with no length in force."""
    rows, found = moves.moves, []
    down = np.isin(rows["kind"], (Kind.LINE, Kind.ARC)) | (
        (rows["kind"] == Kind.RAPID) & (rows["end_mm"][:, 2] < rows["start_mm"][:, 2])
    )
    plain = down & ((rows["flags"] & 4) == 0) & (rows["tool"] > 0)
    method = job.machine.control.length_method
    if method != "none":
        bare = np.flatnonzero(plain & (rows["length_slot"] == 0))
        for number in np.unique(rows["tool"][bare]).tolist():
            k = int(bare[rows["tool"][bare] == number][0])
            found.append(_plain("P106", Severity.STOP, moves, k, op, f"T{number} goes down with no length offset in force.",
                         "The gauge line would go where the tip should go.", f"Write G43 H{number} before the first move down.",
                         int((rows["tool"][bare] == number).sum())))  # fmt: skip
    return found


def magazine_findings(moves: MoveList, job: Job, op: int) -> list[Finding]:
    """P110 position, P111 diameter, P112 length, P113 mass: tools of this operation against the magazine's limits."""
    magazine, found = job.machine.magazine, []
    show = Display(length_unit=job.length_unit)
    used = [tool for tool in job.tools if tool.number in set(moves.moves["tool"].tolist())]
    wide = {tool.number: widest(tool) for tool in job.tools}
    taken = {tool.number for tool in job.tools}
    for tool in used:
        rows = np.flatnonzero(moves.moves["tool"] == tool.number)
        row = int(rows[0])

        def say(code: str, what: str, why: str, do: str, row: int = row) -> None:
            found.append(_plain(code, Severity.STOP, moves, row, op, what, why, do, 1))

        if magazine.positions and tool.number > magazine.positions:
            say(
                "P110",
                f"T{tool.number}: the magazine has {magazine.positions} positions.",
                "",
                "Give it a free position.",
            )
        width = wide[tool.number]
        alone, most = magazine.most_diameter_alone_mm, magazine.most_diameter_mm
        if alone is not None and width > alone:
            say("P111", f"T{tool.number} is {show.length(width)} wide, the magazine takes {show.length(alone)}.", "It jams in the magazine.",
                "Change it by hand with an empty position, or use a smaller tool.")  # fmt: skip
        elif most is not None and width > most:
            beside = [n for n in (tool.number - 1, tool.number + 1) if n in taken]
            if beside:
                say("P111", f"T{tool.number} is {show.length(width)} wide (limit {show.length(most)}) and has a neighbour in position "
                    f"{', '.join(map(str, beside))}.", "Wide tools need empty neighbours.", "Leave the positions beside it empty.")  # fmt: skip
        if magazine.most_length_mm is not None and tool.gauge_length_mm > magazine.most_length_mm:
            say("P112", f"T{tool.number} is {show.length(tool.gauge_length_mm)} long, the magazine takes {show.length(magazine.most_length_mm)}.",
                "It hits something on its way through the change.", "Shorten the stick-out.")  # fmt: skip
        if magazine.most_mass_kg is not None and tool.mass_kg is not None and tool.mass_kg > magazine.most_mass_kg:
            say("P113", f"T{tool.number} weighs {tool.mass_kg:.1f} kg, the magazine takes {magazine.most_mass_kg:.1f}.",
                "The changer may drop it.", "Use a lighter holder.")  # fmt: skip
    return found


def widest(tool: Tool) -> float:
    """Widest diameter of what goes into the magazine: the spindle nose stays."""
    own = np.flatnonzero(tool.zone != Zone.NOSE)
    if not len(own):
        return tool.diameter_mm
    return float(2 * tool.profile_mm[np.unique([own, own + 1]), 0].max())
