"""The section of a report about loads: tables a tool, strips, stability, life, and what readings taught."""

import math
from collections.abc import Sequence
from typing import Any

from halfthou.base.units import Display, duration
from halfthou.base.value import Result, Unknown, Value
from halfthou.nouns.chatter import Chatter
from halfthou.nouns.job import Job
from halfthou.nouns.learned import Learned
from halfthou.nouns.loads import Loads, ToolLoads
from halfthou.sheets.load_plots import learned_plot, life_plot, lives, stability_plot, strips_plot

MOST_MM = 1e3  # limits from here on are written as none
A_FIGURE = 8  # stability panels on one figure


def load_section(loads: Loads, job: Job, show: Display) -> tuple[dict[str, Any], dict[str, bytes]]:
    """(plain data for the layout, pictures by file name)."""
    pictures: dict[str, bytes] = {}
    strips = []
    for op in dict.fromkeys(t.op for t in loads.tools):
        name = f"strips{op}.svg"
        pictures[name] = strips_plot(loads, job, op, show)
        strips.append({"file": name, "caption": job.ops[op].name})
    charts = []
    for k in range(0, len(loads.chatter), A_FIGURE):
        name = f"stability{k}.svg"
        pictures[name] = stability_plot(loads.chatter[k : k + A_FIGURE], job, show)
        charts.append(name)
    life = ""
    if lives(loads):
        life, pictures["life.svg"] = "life.svg", life_plot(loads, job.quantity)
    data: dict[str, Any] = {
        "source": loads.tools[0].source if loads.tools else "",
        "heads": [
            "op",
            "tool",
            "name",
            "cutting",
            f"removal {'cm³/min' if show.length_unit == 'mm' else 'in³/min'}",
            "power W",
            "of the spindle %",
            "torque N·m",
            "force N",
            f"bend {show.length_unit}",
            f"chip {show.length_unit}",
        ],
        "tools": [_tool(t, job, show) for t in loads.tools],
        "band": _band(loads),
        "outside": _outside(loads, job),
        "strips": strips,
        "charts": charts,
        "chatter": [_chatter(c, job, show) for c in loads.chatter],
        "chatter_heads": [
            "op",
            "tool",
            "rpm",
            f"width {show.length_unit}",
            "depth",
            "limit",
            "nine of ten",
            "zero-order",
            "periodic",
            "dynamics",
        ],
        "chatter_said": _unsaid(loads.chatter, job),
        "dynamics": list(dict.fromkeys(f"T{c.tool} {c.dynamics.said}" for c in loads.chatter)),
        "life": life,
        "lives": _lives(loads),
    }
    if loads.learned is not None:
        data["learned"] = _learned(loads.learned, show)
        pictures["learned.svg"] = learned_plot(loads.learned)
    return data, pictures


def _tool(t: ToolLoads, job: Job, show: Display) -> list[str]:
    rate = t.peak_mm3_per_s * 0.06  # cm³/min
    removal = f"{rate:.1f}" if show.length_unit == "mm" else f"{rate / 16.387064:.2f}"
    chip = show.length(t.chip_high.best, unit=False) if isinstance(t.chip_high, Value) else "–"
    bend = show.length(t.bend.best, unit=False, sign=True) if isinstance(t.bend, Value) else "–"
    return [
        job.ops[t.op].name, f"T{t.tool}", t.name[:24], duration(t.cutting_s), removal, _number(t.power),
        _number(t.power_ratio, 100.0), _number(t.torque), _number(t.force), bend, chip,
    ]  # fmt: skip


def _number(value: Result, scale: float = 1.0) -> str:
    if isinstance(value, Unknown) or value.best == 0.0:
        return "–"
    size = scale * value.best
    return f"{size:.0f}" if abs(size) >= 20 else f"{size:.2g}"


def _band(loads: Loads) -> str:
    bands = sorted({(round(100 * t.low_ratio), round(100 * t.high_ratio)) for t in loads.tools})
    words = " or ".join(f"{low} … {high} %" for low, high in bands)
    return (
        f"Highest of each, best estimates; every load lies within {words} of them by the spread of the coefficients."
        if bands
        else ""
    )


def _outside(loads: Loads, job: Job) -> list[str]:
    """Tools by what is said of their chips."""
    by: dict[str, list[str]] = {}
    for t in loads.tools:
        for text in t.outside:
            by.setdefault(text, []).append(f"{job.ops[t.op].name} T{t.tool}")
    return [f"{', '.join(who)}: {text}." for text, who in by.items()]


def _chatter(c: Chatter, job: Job, show: Display) -> list[str]:
    limit = c.limit
    lower, upper = (_depth(v, show) for v in (limit.low_mm, limit.high_mm))
    periodic = _depth(limit.periodic_mm, show) if not math.isnan(limit.periodic_mm) else "–"
    return [
        job.ops[c.op].name, f"T{c.tool}", f"{c.speed_rpm:.0f}", show.length(c.width_mm, unit=False), show.length(c.depth_mm, unit=False),
        _depth(limit.best_mm, show), f"{lower} … {upper}", _depth(limit.zero_order_mm, show), periodic,
        "measured" if c.dynamics.measured else "estimated",
    ]  # fmt: skip


def _unsaid(found: Sequence[Chatter], job: Job) -> list[str]:
    """Why the periodic force was not worked out, by tools."""
    by: dict[str, list[str]] = {}
    for c in found:
        if math.isnan(c.limit.periodic_mm):
            by.setdefault(c.limit.periodic_said, []).append(f"{job.ops[c.op].name} T{c.tool}")
    return [f"Periodic force, {', '.join(who)}: {text}." for text, who in by.items()]


def _depth(value_mm: float, show: Display) -> str:
    return show.length(value_mm, unit=False) if value_mm < MOST_MM else "any"


def _lives(loads: Loads) -> list[str]:
    """Where life comes from, and for which tools it is not known."""
    known = {number for number, _, _ in lives(loads)}
    said = list(dict.fromkeys(f"T{t.tool}: {t.life_said}." for t in loads.tools if t.tool in known and t.life_said))
    blind: dict[str, list[int]] = {}
    for t in loads.tools:
        if isinstance(t.life, Unknown) and t.tool not in known and t.tool not in blind.get(t.life.reason, []):
            blind.setdefault(t.life.reason, []).append(t.tool)
    return said + [f"T{', T'.join(map(str, tools))}: not known, {reason}." for reason, tools in blind.items()]


def _learned(own: Learned, show: Display) -> dict[str, Any]:
    def share(value: Result) -> str:
        return f"not known: {value.reason}" if isinstance(value, Unknown) else f"{100 * value.best:.1f} %"

    chips = f"{show.length(own.chip_mm[0], unit=False)} … {show.length(own.chip_mm[1])}"
    idle = f"{own.idle.best:.0f} ± {own.idle.u:.0f} W (k = 1)" if isinstance(own.idle, Value) else own.idle.reason
    return {
        "picture": "learned.svg",
        "rows": [
            ["readings, blocks", f"{own.readings}, {own.blocks}"],
            ["kc1.1", f"{own.kc11_mpa.best:.0f} MPa ({own.kc11_mpa.low:.0f} … {own.kc11_mpa.high:.0f}); before {own.before_mpa.best:.0f} ({own.before_mpa.low:.0f} … {own.before_mpa.high:.0f})"],
            ["mc", f"{own.mc:.2f} ± {own.mc_std:.2f} (k = 1), {'told by the readings' if own.mc_told else 'kept'}"],
            ["chips of the blocks", chips],
            ["idle power", idle],
            ["efficiency of the drive", f"{own.efficiency.best:.2f} ({own.efficiency.low:.2f} … {own.efficiency.high:.2f})"],
            ["mean error of a reading left out", share(own.left_out)],
            ["noise of repeated readings", share(own.noise)],
            ["error of the model", share(own.model)],
        ],
        "said": list(own.said),
    }  # fmt: skip
