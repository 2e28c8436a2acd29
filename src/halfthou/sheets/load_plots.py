"""Charts of the loads as SVG: strips under the time axis, stability over spindle speed, life used, learned readings.

Colours stay apart for colour-blind readers and in grey: fill, line style and marks differ too.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows
from halfthou.base.units import MM_PER_INCH, Display
from halfthou.base.value import Value
from halfthou.nouns.chatter import Chatter
from halfthou.nouns.job import Job
from halfthou.nouns.learned import Learned
from halfthou.nouns.loads import Loads, ToolLoads
from halfthou.sheets.plots import figure_of, svg_of

F8 = NDArray[np.float64]

BLUE, ORANGE, RED, GREEN, GREY = "#0072b2", "#e69f00", "#d55e00", "#009e73", "#6b6f75"
BINS = 240  # of time a strip is drawn with
A_ROW = 5  # tools side by side
SMALL = 6.0


def strips_plot(loads: Loads, job: Job, op: int, show: Display) -> bytes:
    """Power, torque and bending against time for the tools of one operation, side by side in the order of use."""
    own = [t for t in loads.tools if t.op == op]
    lines = math.ceil(len(own) / A_ROW)
    strips = _strips(loads, own, show)
    height = 0.35 + lines * (0.62 * len(strips) + 0.6)
    figure, _ = figure_of(height)
    figure.clear()
    outer = figure.add_gridspec(
        lines, 1, left=0.075, right=0.995, top=1 - 0.5 / height, bottom=0.32 / height, hspace=0.34 if lines > 1 else 0.0
    )
    for line in range(lines):
        some = own[line * A_ROW : (line + 1) * A_ROW]
        spare = A_ROW - len(some) if lines > 1 else 0
        widths = [max(1.0, 1.0 + math.log10(max(t.cutting_s, 1.0))) for t in some] + [1.0] * spare
        grid = outer[line].subgridspec(len(strips), len(widths), width_ratios=widths, hspace=0.14, wspace=0.06)
        for column, tool in enumerate(some):
            _strip_column(figure, grid, column, tool, loads, strips)
    _legend(figure, height, [("best estimate", BLUE, "-"), ("limit", RED, "--")], [("band of the coefficients", BLUE)])
    return svg_of(figure)


@dataclass(frozen=True, slots=True)
class _Strip:
    """One row of strips: column of the table, label, what its values are multiplied with, limits of the axis."""

    name: str
    label: str
    scale: float
    low: float
    high: float


def _strips(loads: Loads, own: Sequence[ToolLoads], show: Display) -> list[_Strip]:
    """The rows worth drawing, each with one scale for all tools."""
    known = any(isinstance(t.power_ratio, Value) for t in own)
    bend = (1000.0, "bend\nµm") if show.length_unit == "mm" else (1000.0 / MM_PER_INCH, "bend\n0.001 inch")
    kinds = [("bend_mm", bend[1], bend[0])]
    if known:
        kinds = [("power_ratio", "power\n%", 100.0), ("torque_ratio", "torque\n%", 100.0), *kinds]
    else:
        kinds = [("power_w", "power\nW", 1.0), ("peak_nm", "torque\nN·m", 1.0), *kinds]
    found = []
    for name, label, scale in kinds:
        low = high = 0.0
        for t in own:
            values = np.nan_to_num(loads.table[name][_rows(loads, t)].astype(np.float64)) * scale * t.high_ratio
            low, high = min(low, float(values.min())), max(high, float(values.max()))
        if name.endswith("_ratio"):
            high = max(high, 10.0, 105.0 if high > 60 else 0.0)
        if high - low < 1e-9:
            continue  # nothing bends
        found.append(_Strip(name, label, scale, 1.12 * low, 1.12 * high))
    return found


def _rows(loads: Loads, tool: ToolLoads) -> NDArray[np.int64]:
    return np.flatnonzero((loads.table["op"] == tool.op) & (loads.table["tool"] == tool.tool))


def _strip_column(figure: Any, grid: Any, column: int, tool: ToolLoads, loads: Loads, strips: Sequence[_Strip]) -> None:
    mine = loads.table[_rows(loads, tool)]
    start = float(mine["start_s"].min())
    for row, strip in enumerate(strips):
        axes = figure.add_subplot(grid[row, column])
        time, low, high = _envelope(mine, strip.name, start)
        for edge in (high, low):
            if edge is None:
                continue
            axes.fill_between(
                time, 0, edge * strip.scale * tool.high_ratio, step="post", color=BLUE, alpha=0.18, linewidth=0
            )
            axes.step(time, edge * strip.scale, where="post", color=BLUE, linewidth=0.8)
        axes.set_ylim(strip.low, strip.high)
        if strip.name.endswith("_ratio") and strip.high > 100:
            axes.axhline(100, color=RED, linestyle="--", linewidth=0.8)
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
        axes.tick_params(labelsize=SMALL, length=2, pad=1)
        axes.locator_params(axis="y", nbins=3)
        axes.locator_params(axis="x", nbins=4)
        if row == 0:
            axes.set_title(f"T{tool.tool} {tool.name[:16]}", fontsize=6.5, loc="left", pad=2)
        if column == 0:
            axes.set_ylabel(strip.label, fontsize=SMALL)
        else:
            axes.set_yticklabels([])
        if row < len(strips) - 1:
            axes.set_xticklabels([])
        else:
            axes.set_xlabel("s from its first cut", fontsize=SMALL, labelpad=1)


def _envelope(rows: Rows, name: str, start: float) -> tuple[F8, F8 | None, F8]:
    """(time s, lowest or None, highest) of a column in bins of time; 0 where nothing is cut."""
    begin = rows["start_s"].astype(np.float64) - start
    end = begin + rows["time_s"]
    last = max(float(end.max()), 1e-6)
    edges = np.linspace(0.0, last, BINS + 1)
    first = np.clip(np.searchsorted(edges, begin, side="right") - 1, 0, BINS - 1)
    final = np.clip(np.searchsorted(edges, end, side="left") - 1, 0, BINS - 1)
    values = np.nan_to_num(rows[name].astype(np.float64))
    high, low = np.zeros(BINS), np.zeros(BINS)
    for a, b, v in zip(first.tolist(), final.tolist(), values.tolist(), strict=True):
        for k in range(a, b + 1):
            high[k], low[k] = max(high[k], v), min(low[k], v)
    return edges, np.append(low, 0.0) if low.min() < 0 else None, np.append(high, 0.0)


def stability_plot(found: Sequence[Chatter], job: Job, show: Display) -> bytes:
    """Limit depth over spindle speed, one panel a tool and operation, with the job's own cut."""
    columns = 2 if len(found) > 1 else 1
    lines = math.ceil(len(found) / columns)
    height = 0.55 + 1.6 * lines
    figure, _ = figure_of(height)
    figure.clear()
    grid = figure.add_gridspec(
        lines, columns, left=0.075, right=0.99, top=1 - 0.6 / height, bottom=0.36 / height, hspace=0.42, wspace=0.14
    )
    scale = 1.0 if show.length_unit == "mm" else 1.0 / MM_PER_INCH
    for k, one in enumerate(found):
        axes = figure.add_subplot(grid[k // columns, k % columns])
        _stability_panel(axes, one, job, scale, show)
        if k % columns == 0:
            axes.set_ylabel(f"depth ({show.length_unit})", fontsize=6.5)
        if k // columns == lines - 1 or k + columns >= len(found):
            axes.set_xlabel("spindle speed (rpm)", fontsize=6.5)
    _legend(
        figure,
        height,
        [("limit, middle of the band", BLUE, "-"), ("lobes of the best estimate", GREY, ":"), ("a speed that carries it", GREEN, "-.")],
        [("nine of ten", BLUE)],
        marks=[("this job: clears the band", GREEN, "o"), ("over its low end", ORANGE, "^"), ("over the middle", RED, "X")],
    )  # fmt: skip
    return svg_of(figure)


def _stability_panel(axes: Any, one: Chatter, job: Job, scale: float, show: Display) -> None:
    chart = one.chart
    top = _top(one) * scale
    axes.fill_between(
        chart.speed_rpm,
        chart.low_mm * scale,
        np.minimum(chart.high_mm * scale, 10 * top),
        color=BLUE,
        alpha=0.18,
        linewidth=0,
    )
    axes.plot(chart.speed_rpm, np.minimum(chart.best_mm * scale, 10 * top), color=BLUE, linewidth=1.2)
    axes.plot(chart.lobes_rpm, np.minimum(chart.lobes_mm * scale, 10 * top), color=GREY, linestyle=":", linewidth=0.9)
    mark, colour = ("X", RED) if one.depth_mm > one.limit.best_mm else ("o", GREEN)
    if one.limit.low_mm < one.depth_mm <= one.limit.best_mm:
        mark, colour = "^", ORANGE
    axes.plot([one.speed_rpm], [one.depth_mm * scale], marker=mark, color=colour, markersize=6.5, markeredgecolor="black",
              markeredgewidth=0.5, linestyle="none", zorder=5)  # fmt: skip
    if one.other_rpm:
        axes.axvline(one.other_rpm, color=GREEN, linestyle="-.", linewidth=0.9)
    axes.set_ylim(0, top)
    axes.set_xlim(float(chart.speed_rpm[0]), float(chart.speed_rpm[-1]))
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(labelsize=SMALL, length=2, pad=1)
    said = "measured" if one.dynamics.measured else "estimated dynamics"
    axes.set_title(f"{job.ops[one.op].name}  T{one.tool} {one.name[:18]}: {said}", fontsize=6.5, loc="left", pad=2)
    axes.annotate(
        f"{show.length(one.width_mm)} wide", (0.99, 0.97), xycoords="axes fraction", fontsize=5.5, ha="right", va="top", color=GREY
    )  # fmt: skip


def _top(one: Chatter) -> float:
    """Top of a panel: the job's depth and the middle of the band stay inside."""
    middle = float(np.median(one.chart.best_mm))
    return float(
        min(max(1.35 * one.depth_mm, 2.5 * middle), max(3.0 * one.depth_mm, 1.35 * float(one.chart.low_mm.max())))
    )


def life_plot(loads: Loads, quantity: int) -> bytes:
    """Share of one edge's life that a part takes, a bar a tool, all operations together; the batch as a mark."""
    names, best, low, high = [], [], [], []
    for number, name, parts in lives(loads):
        names.append(f"T{number} {name[:22]}")
        best.append(100 * sum(v.best for v in parts))
        low.append(100 * sum(max(v.best - v.bound, 0.0) for v in parts))
        high.append(100 * sum(v.best + v.bound for v in parts))
    figure, axes = figure_of(0.75 + 0.24 * len(names))
    error = np.abs(np.array([np.array(best) - low, np.array(high) - best]))
    axes.barh(names, best, color=BLUE, height=0.62, edgecolor="white", label="one part, mean life", zorder=2)
    axes.errorbar(
        best,
        names,
        xerr=error,
        fmt="none",
        ecolor="black",
        elinewidth=0.9,
        capsize=2.5,
        label="nine of ten … one of ten edges",
        zorder=3,
    )
    if quantity > 1:
        axes.axvline(
            100.0 / quantity,
            color=ORANGE,
            linestyle="--",
            linewidth=1.1,
            label=f"one edge lasts {quantity} parts up to here",
        )
    axes.axvline(100.0, color=RED, linewidth=1.1, label="one edge, one part")
    axes.set_xscale("log")
    positive = [v for v in (*best, *low) if v > 0]
    axes.set_xlim(max(1e-3, 0.5 * min(positive)), max(130.0, 1.3 * max(high)))
    axes.invert_yaxis()
    axes.set_xlabel("% of the life of one edge that a part takes", fontsize=7)
    axes.tick_params(labelsize=6.5)
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=2, frameon=False, fontsize=6.5)
    return svg_of(figure)


def lives(loads: Loads) -> list[tuple[int, str, list[Value]]]:
    """(number, name, life shares of its operations) of the tools whose life is known."""
    known: dict[int, tuple[str, list[Value]]] = {}
    for t in loads.tools:
        if isinstance(t.life, Value) and t.life.best > 0:
            known.setdefault(t.tool, (t.name, []))[1].append(t.life)
    return [(number, name, parts) for number, (name, parts) in known.items()]


def learned_plot(learned: Learned) -> bytes:
    """Readings against what was told for them when their block was left out."""
    figure, axes = figure_of(2.6)
    figure.set_size_inches(3.3, 2.6)
    read, told = (np.array([getattr(p, name) for p in learned.points]) for name in ("reading_w", "told_w"))
    top = 1.1 * float(max(read.max(), told.max()))
    axes.plot([0, top], [0, top], color=GREY, linewidth=0.8, label="told = read")
    axes.fill_between([0, top], [0, 0.9 * top], [0, 1.1 * top], color=GREY, alpha=0.15, linewidth=0, label="± 10 %")
    axes.plot(
        told,
        read,
        marker="o",
        linestyle="none",
        color=BLUE,
        markersize=4.5,
        markeredgecolor="white",
        label="reading, its block left out",
    )
    axes.set_xlim(0, top)
    axes.set_ylim(0, top)
    axes.set_xlabel("told (W)", fontsize=7)
    axes.set_ylabel("read (W)", fontsize=7)
    axes.tick_params(labelsize=6.5)
    axes.legend(loc="lower right", frameon=False, fontsize=6.5)
    return svg_of(figure)


def _legend(
    figure: Any, height: float, lines: Sequence[tuple[str, str, str]], fills: Sequence[tuple[str, str]],
    marks: Sequence[tuple[str, str, str]] = (),
) -> None:  # fmt: skip
    """One legend over all panels, in the margin on top."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles: list[Any] = [Line2D([], [], color=c, linestyle=s, linewidth=1.1, label=name) for name, c, s in lines]
    handles += [Patch(color=c, alpha=0.18, label=name) for name, c in fills]
    handles += [
        Line2D([], [], color=c, marker=m, linestyle="none", markersize=5, markeredgecolor="black", label=name)
        for name, c, m in marks
    ]
    figure.legend(
        handles=handles, loc="upper center", bbox_to_anchor=(0.53, 1.0), ncols=min(4, len(handles)), frameon=False,
        fontsize=6.5, borderaxespad=0.1,
    )  # fmt: skip
