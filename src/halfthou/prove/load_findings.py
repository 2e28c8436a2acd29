"""What the loads say: overload, stall, bending, rubbing, thick chips, overhang, life, coolant; each with its band."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.finding import Finding, Severity
from halfthou.base.limits import DESIGN_MM
from halfthou.base.table import Rows
from halfthou.base.units import Display
from halfthou.base.value import Value
from halfthou.nouns.job import Job
from halfthou.nouns.loads import Loads, ToolLoads
from halfthou.nouns.moves import THROUGH, MoveList
from halfthou.nouns.tool import Tool
from halfthou.physics.spindle import curve_at
from halfthou.prove.life import SHAPE, ends_in_part
from halfthou.prove.load_tap import tap_findings

RUB_MM = 0.003
"""Chips thinner than this rub with a usual edge: a fifth to a third of an edge radius of about 10 µm (from memory)."""
RUB_RATIO = 0.2  # worth a word from this share of a tool's cutting time
OVERHANG_RATIO = 5.0
"""Stick-out of a milling tool over its diameter from which it is called long (common practice, no source)."""
DEEP_RATIO = 5.0
"""Depth of a drilled hole over its diameter from which coolant from outside no longer gets there (common practice)."""
TAP_RATIO = 0.7  # share of the spindle's torque at which a tap has no margin left
PECKS = (83, 73, 830, 730)


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadWords:
    """What these findings are written from."""

    loads: Loads
    moves: MoveList
    job: Job

    def tool(self, number: int) -> Tool:
        """The tool of a number."""
        return next(t for t in self.job.tools if t.number == number)

    def finding(
        self, code: str, severity: Severity, row: int, own: ToolLoads, *, what: str, why: str, do: str,
        amount: Value | None = None, count: int = 1, limit_mm: float | None = None,
    ) -> Finding:  # fmt: skip
        """A finding at the block of a row of the loads table."""
        move = int(self.loads.table["move"][row])
        return Finding(
            code=code, severity=severity, place=self.moves.place(move), what=f"T{own.tool} {own.name}: {what}", why=why,
            do=do, amount=amount, move=move, op=own.op, tool=own.tool, part="cutter", count=count, limit_mm=limit_mm,
        )  # fmt: skip


def load_findings(loads: Loads, moves: MoveList, job: Job, walls: NDArray[np.bool_]) -> Iterator[Finding]:
    """All findings of the loads. walls u1 (n,): rows of the table whose wall is still there at the end."""
    words = LoadWords(loads=loads, moves=moves, job=job)
    for own in loads.tools:
        mine = np.flatnonzero((loads.table["op"] == own.op) & (loads.table["tool"] == own.tool))
        yield from _spindle(words, own, mine)
        yield from _bending(words, own, mine, walls)
        yield from _chips(words, own, mine)
        yield from _overhang(words, own, mine)
        yield from _deep(words, own, mine)
        yield from tap_findings(loads, own, mine, moves, job)
    yield from _heat(words)
    yield from _life(words)
    yield from _coolant(words)


def _level(best: float, low: float, high: float) -> Severity | None:
    """STOP when even the lowest load is too much, CARE when the best estimate is, NOTE when the highest is."""
    if best * low > 1.0:
        return Severity.STOP
    if best > 1.0:
        return Severity.CARE
    return Severity.NOTE if best * high > 1.0 else None


def _spindle(words: LoadWords, own: ToolLoads, mine: NDArray[np.int64]) -> Iterator[Finding]:
    table = words.loads.table[mine]
    kinds = (
        ("P701", "power_ratio", "power", "of the power the spindle gives for any time at this speed"),
        ("P702", "torque_ratio", "torque", "of the torque the spindle has at this speed"),
    )
    tap = words.tool(own.tool).kind == "tap"
    for code, name, noun, of in kinds:
        share = np.nan_to_num(table[name].astype(np.float64))
        if code == "P701" and words.job.machine.spindle.short_curve:
            share, of = _short_power(words, table), "of the power the spindle gives for a short time at this speed"
        k = int(np.argmax(share))
        best = float(share[k])
        level = _level(best, own.low_ratio, own.high_ratio)
        if level is None and tap and code == "P702" and best > TAP_RATIO:
            level = Severity.CARE
        if level is None:
            continue
        slower = (1.0 / (best * own.high_ratio)) ** (1.0 / 0.75)
        yield words.finding(
            code, level, int(mine[k]), own,
            what=f"{noun} {100 * best:.0f} % ({100 * best * own.low_ratio:.0f} … {100 * best * own.high_ratio:.0f} %) {of}.",
            why="A spindle asked for more than it has slows down, bogs or trips; the band is that of the material's coefficients.",
            do="Take less depth or width, or another speed." if tap else f"Feed at {100 * slower:.0f} % of what is programmed clears the upper end of the band, or take less depth.",
            amount=Value(best=best, u=0.0, unit="1", bound=best * max(own.high_ratio - 1, 1 - own.low_ratio)),
            count=int((share * own.high_ratio > 1.0).sum()),
        )  # fmt: skip


def _short_power(words: LoadWords, table: Rows) -> NDArray[np.float64]:
    """Power of LOAD rows over what the spindle gives for a short time at their speed."""
    curve = words.job.machine.spindle.short_curve
    rpm = np.abs(words.moves.moves["spindle_rpm"][table["move"]])
    out = np.zeros(len(table))
    for speed in np.unique(rpm).tolist():
        at = rpm == speed
        out[at] = table["power_w"][at] / curve_at(curve, min(max(speed, curve[0][0]), curve[-1][0]))[1]
    return np.nan_to_num(out)


def _heat(words: LoadWords) -> Iterator[Finding]:
    """P713: over an operation the power that counts for heating (root of the mean square) is more than it gives for ever.

    The operation's time is taken from its first to its last cut, which is not more than it takes: an upper bound.
    """
    table = words.loads.table
    for op in np.unique(table["op"]).tolist():
        mine = np.flatnonzero(table["op"] == op)
        share, time = (
            np.nan_to_num(table["power_ratio"][mine].astype(np.float64)),
            table["time_s"][mine].astype(np.float64),
        )
        begin = table["start_s"][mine].astype(np.float64)
        span = max(float((begin + time).max() - begin.min()), float(time.sum()), 1e-9)
        mean = float(np.sqrt((share**2 * time).sum() / span))
        own = next(t for t in words.loads.tools if t.op == op)
        level = _level(mean, own.low_ratio, own.high_ratio)
        if level is None:
            continue
        worst = int(mine[int(np.argmax(share * share * time))])
        yield words.finding(
            "P713", min(level, Severity.CARE), worst, next(t for t in words.loads.tools if t.op == op and t.tool == table["tool"][worst]),
            what=f"over {words.job.ops[op].name} the spindle carries {100 * mean:.0f} % of its continuous power (root of the mean square).",
            why="What it gives for a short time it cannot give part after part: the motor heats up and the drive cuts back.",
            do="Spread the heavy cuts, or take less; look at the drive's load after some parts.",
            amount=Value(best=mean, u=0.0, unit="1", bound=mean * max(own.high_ratio - 1, 1 - own.low_ratio)),
        )  # fmt: skip


def _bending(words: LoadWords, own: ToolLoads, mine: NDArray[np.int64], walls: NDArray[np.bool_]) -> Iterator[Finding]:
    """P704: the tool bends more than the limit where the wall it leaves is there at the end."""
    job = words.job
    limit = min(v for v in (job.gouge_mm or DESIGN_MM, job.left_over_mm or DESIGN_MM))
    stays = mine[walls[mine]]
    if not len(stays) or not isinstance(own.bend, Value) or own.bend.best == 0.0:
        return
    table = words.loads.table[stays]
    size = np.abs(table["bend_mm"].astype(np.float64))
    k = int(np.argmax(size))
    factor = (abs(own.bend.best) + own.bend.bound) / abs(own.bend.best)
    if size[k] * factor <= limit:
        return
    show = Display(length_unit=job.length_unit)
    into = float(table["bend_mm"][k]) > 0
    tool = words.tool(own.tool)
    shorter = tool.stick_out_mm * (limit / (size[k] * factor)) ** (1 / 3)
    yield words.finding(
        "P704", Severity.CARE if size[k] > limit else Severity.NOTE, int(stays[k]), own,
        what=f"bends {show.length(float(size[k]))} {'into' if into else 'off'} the wall it leaves (up to {show.length(float(size[k] * factor))}); the limit is {show.length(limit)}.",
        why=f"Tip stiffness {own.stiffness_n_per_mm / 1000:.2f} N/µm ({own.stiffness_said}); the force when a tooth passes the wall.",
        do=f"Leave less for the last pass, take a spring pass, or clamp the tool shorter (to about {show.length(shorter)} for the upper end).",
        amount=Value(best=float(size[k]), u=0.0, unit="mm", bound=float(size[k] * (factor - 1))), limit_mm=limit,
        count=int((size * factor > limit).sum()),
    )  # fmt: skip


def _chips(words: LoadWords, own: ToolLoads, mine: NDArray[np.int64]) -> Iterator[Finding]:
    tool = words.tool(own.tool)
    table = words.loads.table[mine]
    chip, time = table["chip_high_mm"].astype(np.float64), table["time_s"].astype(np.float64)
    if tool.kind == "tap" or not np.any(chip > 0):
        return
    least = tool.chip_low_mm or RUB_MM
    thin = (chip < least) & (chip > 0)
    share = float(time[thin].sum()) / max(float(time.sum()), 1e-12)
    show = Display(length_unit=words.job.length_unit)
    if share > RUB_RATIO:
        k = int(np.flatnonzero(thin)[np.argmax(time[thin])])
        stated = (
            "the least its maker gives"
            if tool.chip_low_mm
            else "where a usual edge rubs instead of cutting (from memory)"
        )
        yield words.finding(
            "P705", Severity.NOTE, int(mine[k]), own,
            what=f"{100 * share:.0f} % of its cutting time with chips thinner than {show.length(least)}, {stated}.",
            why="An edge that rubs hardens the surface, wears fast and leaves a wandering size.",
            do="Raise the feed per tooth there or take a wider cut.", count=int(thin.sum()),
            amount=Value(best=float(chip[k]), u=0.0, unit="mm", bound=0.02 * float(chip[k])),
        )  # fmt: skip
    if tool.chip_high_mm and chip.max() > tool.chip_high_mm * 1.001:
        k = int(np.argmax(chip))
        yield words.finding(
            "P706", Severity.CARE, int(mine[k]), own,
            what=f"chips of {show.length(float(chip[k]))}, more than the {show.length(tool.chip_high_mm)} its maker gives.",
            why="Thick chips chip the edge.", do=f"Feed at {100 * tool.chip_high_mm / chip[k]:.0f} % of what is programmed.",
            amount=Value(best=float(chip[k]), u=0.0, unit="mm", bound=0.02 * float(chip[k])),
            count=int((chip > tool.chip_high_mm * 1.001).sum()),
        )  # fmt: skip


def _overhang(words: LoadWords, own: ToolLoads, mine: NDArray[np.int64]) -> Iterator[Finding]:
    tool = words.tool(own.tool)
    ratio = tool.stick_out_mm / tool.diameter_mm if tool.diameter_mm > 0 else 0.0
    side = words.loads.table["way"][mine] != 2
    if ratio <= OVERHANG_RATIO or not side.any() or tool.kind not in ("flat", "ball", "bull", "face"):
        return
    show = Display(length_unit=words.job.length_unit)
    deepest = float(words.loads.table["depth_mm"][mine].max())
    yield words.finding(
        "P703", Severity.NOTE, int(mine[int(np.argmax(np.abs(words.loads.table["side_n"][mine])))]), own,
        what=f"sticks out {ratio:.1f} times its diameter ({show.length(tool.stick_out_mm)}).",
        why=f"Bending grows with the cube of the length; it cuts {show.length(deepest)} deep at most. {own.stiffness_said}.",
        do="Clamp it as short as the holder's clearances allow.",
    )  # fmt: skip


def _deep(words: LoadWords, own: ToolLoads, mine: NDArray[np.int64]) -> Iterator[Finding]:
    """P710: a deep hole without pecks and without coolant through the tool."""
    tool = words.tool(own.tool)
    if tool.kind != "drill":
        return
    table = words.loads.table[mine]
    rows = words.moves.moves[table["move"]]
    dry = ((rows["coolant"] & THROUGH) == 0) & ~np.isin(rows["cycle"], PECKS)
    depth = np.where(dry, table["depth_mm"], 0.0)
    k = int(np.argmax(depth))
    if depth[k] <= DEEP_RATIO * tool.diameter_mm:
        return
    show = Display(length_unit=words.job.length_unit)
    yield words.finding(
        "P710", Severity.CARE, int(mine[k]), own,
        what=f"drills {show.length(float(depth[k]))} deep ({depth[k] / tool.diameter_mm:.1f} times its diameter) in one go without coolant through the tool.",
        why="Chips pack and the tip runs dry below about five diameters (common practice, no source).",
        do="Peck (G83), or use a drill with a channel and coolant through the spindle.",
        count=int((depth > DEEP_RATIO * tool.diameter_mm).sum()),
    )  # fmt: skip


def _life(words: LoadWords) -> Iterator[Finding]:
    """P708: one edge does not last the batch; all operations of a tool together."""
    by_tool: dict[int, list[ToolLoads]] = {}
    for own in words.loads.tools:
        by_tool.setdefault(own.tool, []).append(own)
    for number, each in by_tool.items():
        shares = [own.life.best for own in each if isinstance(own.life, Value)]
        used = sum(shares)
        if not shares or used <= 0:
            continue
        tool = words.tool(number)
        low, mean, high = ends_in_part(used, tool.life_shape or SHAPE)
        batch = words.job.quantity
        if low > batch:
            continue
        row = next(r for r in each[0].rows if r >= 0)
        yield words.finding(
            "P708", Severity.CARE if mean <= batch else Severity.NOTE, row, each[0],
            what=f"its edge ends in part {mean} (nine of ten edges last to part {low - 1}, one of ten to {high - 1}), the batch is {batch}; one part uses {100 * used:.2g} %.",
            why=each[0].life_said, do=f"Change it after part {max(low - 1, 1)}, put in a sister tool, or check it from there on.",
            amount=Value(best=used, u=0.0, unit="1", bound=sum(o.life.bound for o in each if isinstance(o.life, Value))),
        )  # fmt: skip


def _coolant(words: LoadWords) -> Iterator[Finding]:
    """P709: coolant through the spindle on a machine that has none."""
    if words.job.machine.spindle.through_coolant:
        return
    wet = np.flatnonzero(words.moves.moves["coolant"] & THROUGH)
    if len(wet):
        move = int(wet[0])
        number = int(words.moves.moves["tool"][move])
        yield Finding(
            code="P709", severity=Severity.CARE, place=words.moves.place(move), move=move,
            op=int(words.moves.moves["op"][move]), tool=number,
            what=f"T{number}: coolant through the spindle is on, but the machine file says there is none.",
            why="The tool runs dry.", do="Use flood, or state through_coolant = true in the machine file.", count=len(wet),
        )  # fmt: skip
