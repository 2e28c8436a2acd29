"""Loads of a run told tool by tool: the highest of each, where it occurs, with its band and its reasons."""

import math

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows
from halfthou.base.value import Result, Unknown, Value
from halfthou.nouns.job import Job
from halfthou.nouns.loads import NO_TEETH, OUTSIDE_THICK, OUTSIDE_THIN, Loads, ToolLoads
from halfthou.nouns.tool import Tool
from halfthou.physics.chip import cusp_mm, slab_peak_mm
from halfthou.prove.life import life_used
from halfthou.prove.load_tool import LoadTool
from halfthou.prove.loads import LoadRun

SOME_RATIO = 0.05  # chips outside the coefficients' range are worth a word from this share of the cutting time


def summary(run: LoadRun, job: Job) -> Loads:
    """One entry a tool and operation, in the order of use."""
    found = []
    said = []
    keys = np.stack([run.table["op"], run.table["tool"]], axis=1).astype(np.int64)
    for op, number in dict.fromkeys(map(tuple, keys.tolist())):
        mine = np.flatnonzero((keys[:, 0] == op) & (keys[:, 1] == number))
        tool = next(t for t in run.tools if t.tool.number == number)
        if tool.tool.kind == "probe":
            continue
        found.append(_tool(run, mine, tool, op))
        said += list(tool.open_questions)
    if not job.machine.spindle.curve:
        said.append("share of the spindle's power and torque: its curve is not known")
    return Loads(table=run.table, tools=tuple(found), not_checked=tuple(dict.fromkeys(said)))


def _tool(run: LoadRun, mine: NDArray[np.int64], tool: LoadTool, op: int) -> ToolLoads:
    table = run.table[mine]
    low, high = run.cutting.spread()
    if tool.tool.kind == "tap" and run.cutting.tap_kc_mpa is not None:
        tap = run.cutting.tap_kc_mpa
        low, high = tap.low / tap.best, tap.high / tap.best
    reason = _no_load(table, tool, run)
    time_s = float(table["time_s"].sum(dtype=np.float64))
    volume = float((table["mm3_per_s"] * table["time_s"]).sum(dtype=np.float64))

    def most(name: str, unit: str) -> tuple[Result, int]:
        values = table[name].astype(np.float64)
        if reason or not np.isfinite(values).any():
            return Unknown(reason=reason or _why(name)), -1
        k = int(np.nanargmax(values))
        best = float(values[k])
        return Value(best=best, u=0.0, unit=unit, bound=best * max(high - 1.0, 1.0 - low)), int(mine[k])

    power, at_power = most("power_w", "W")
    share, _ = most("power_ratio", "1")
    torque, at_torque = most("peak_nm", "N·m")
    force, at_force = most("force_n", "N")
    bend, at_bend = _bend(table, mine, tool, high, reason)
    chip = (
        Unknown(reason=reason)
        if reason or tool.tool.kind == "tap"
        else _plain(float(table["chip_high_mm"].max()), "mm")
    )
    mean = (
        Unknown(reason=reason) if reason or tool.tool.kind == "tap" else _plain(_weighted(table, "chip_mean_mm"), "mm")
    )
    life, life_said = life_used(table, tool.tool, run.cutting)
    return ToolLoads(
        op=op, tool=tool.tool.number, name=tool.tool.name, cutting_s=time_s, removed_mm3=volume,
        mean_mm3_per_s=volume / time_s if time_s > 0 else 0.0, peak_mm3_per_s=float(table["mm3_per_s"].max()),
        power=power, power_ratio=share, torque=torque, force=force, bend=bend, chip_high=chip, chip_mean=mean,
        speed_mm_per_s=float(table["edge_mm_per_s"].max()), low_ratio=low, high_ratio=high,
        rows=(at_power, at_torque, at_force, at_bend, int(mine[int(np.argmax(table["chip_high_mm"]))])),
        stiffness_n_per_mm=tool.stiffness_n_per_mm, stiffness_said=tool.said, outside=_outside(table, run),
        source=run.cutting.source, life=life, life_said=life_said, roughness_mm=_feed_marks(table, tool),
        scallop_mm=_scallop(table, tool.tool),
    )  # fmt: skip


def _no_load(table: Rows, tool: LoadTool, run: LoadRun) -> str:
    if tool.tool.kind == "tap" and run.cutting.tap_kc_mpa is None:
        return "no tap kc is known for this material"
    if tool.tool.kind != "tap" and np.all(table["inside"] & NO_TEETH):
        return "the tool list does not state its teeth"
    return ""


def _why(name: str) -> str:
    return {"power_ratio": "the spindle curve is not known", "force_n": "it cuts along its axis only"}.get(
        name, "it was not worked out"
    )


def _plain(value: float, unit: str) -> Result:
    """From feed, speed and geometry alone: exact but for the stretch it is a mean over."""
    return Value(best=value, u=0.0, unit=unit, bound=0.02 * value)


def _weighted(table: Rows, name: str) -> float:
    time = table["time_s"].astype(np.float64)
    return float((table[name] * time).sum() / max(float(time.sum()), 1e-12))


def _bend(table: Rows, mine: NDArray[np.int64], tool: LoadTool, high: float, reason: str) -> tuple[Result, int]:
    """Largest bending towards or off a wall, with the spread of force and stiffness together."""
    size = np.abs(table["bend_mm"].astype(np.float64))
    if reason or not np.any(size > 0):
        return Unknown(reason=reason or "it leaves no wall beside it"), -1
    k = int(np.argmax(size))
    best = float(table["bend_mm"][k])
    most = abs(best) * high * tool.stiffness_n_per_mm / tool.stiffness_low_n_per_mm
    return Value(best=best, u=0.0, unit="mm", bound=most - abs(best)), int(mine[k])


def _outside(table: Rows, run: LoadRun) -> tuple[str, ...]:
    """Shares of the cutting time with chips thinner or thicker than the coefficients were taken at."""
    time = table["time_s"].astype(np.float64)
    total = max(float(time.sum()), 1e-12)
    words = []
    low, high = run.cutting.chip_mm
    for bit, word, limit in ((OUTSIDE_THIN, "thinner", low), (OUTSIDE_THICK, "thicker", high)):
        share = float(time[(table["inside"] & bit) > 0].sum()) / total
        if share > SOME_RATIO:
            words.append(
                f"{100 * share:.0f} % of the cutting time with chips {word} than {limit:g} mm, where the coefficients were taken"
            )
    return tuple(words)


def _feed_marks(table: Rows, tool: LoadTool) -> Result:
    """Theoretical height of the marks of single teeth on a wall, fz²/(4D); a lower bound: no runout, no vibration."""
    side = table[(table["way"] != 2) & (table["chip_high_mm"] > 0)]
    if not len(side) or tool.teeth == 0:
        return Unknown(reason="it leaves no wall beside it")
    per_tooth = float(side["chip_high_mm"].max()) * tool.teeth  # feed a turn at one tooth's largest chip
    height = slab_peak_mm(per_tooth, tool.tool.diameter_mm, 60.0, tool.teeth)
    return Value(best=height, u=0.0, unit="mm", bound=height)


def _scallop(table: Rows, tool: Tool) -> Result:
    """Cusp height between passes of a round corner that cuts only with its corner; the step is the width met."""
    corner = tool.diameter_mm / 2 if tool.kind == "ball" else tool.corner_mm
    if corner <= 0:
        return Unknown(reason="no round corner")
    light = table[(table["way"] != 2) & (table["depth_mm"] < 0.3 * corner) & (table["width_mm"] > 0)]
    step = float(np.median(light["width_mm"])) if len(light) else 0.0
    if not len(light) or step >= 2 * corner:
        return Unknown(reason="it takes no light passes with its corner")
    height = cusp_mm(corner, step)
    return Value(best=height, u=0.0, unit="mm", bound=height) if math.isfinite(height) else Unknown(reason="wide steps")
