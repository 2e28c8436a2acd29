"""Plots of a proof as SVG: time per tool, and the side view of the lowest Z of every tool."""

import io
from typing import Any

from halfthou.base.units import Display
from halfthou.nouns.answers import Proof, ToolTime

FEED, RAPID, OTHER = "#0072b2", "#e69f00", "#9a9da1"


def figure_of(height_inch: float) -> tuple[Any, Any]:
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib.figure import Figure

    matplotlib.rcParams["svg.hashsalt"] = "halfthou"
    matplotlib.rcParams["svg.fonttype"] = "path"
    matplotlib.rcParams["font.size"] = 8.0
    figure = Figure(figsize=(7.2, height_inch))
    axes = figure.add_subplot(111)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    return figure, axes


def svg_of(figure: Any) -> bytes:
    out = io.BytesIO()
    figure.savefig(out, format="svg", bbox_inches="tight", metadata={"Date": None})
    return out.getvalue()


def time_plot(proof: Proof) -> bytes:
    """Bars of time at feed, at rapid and else, one a tool and operation."""
    rows = proof.tool_times
    figure, axes = figure_of(0.9 + 0.22 * len(rows))
    names = [f"{proof.job.ops[t.op].name}  T{t.tool} {t.name[:22]}" for t in rows]
    left = [0.0] * len(rows)
    for label, colour, hatch, values in (
        ("at feed", FEED, "", [t.cutting_s for t in rows]),
        ("rapid", RAPID, "//", [t.rapid_s for t in rows]),
        ("tool change, dwell, other", OTHER, "..", [t.other_s for t in rows]),
    ):
        axes.barh(names, values, left=left, color=colour, hatch=hatch, edgecolor="white", label=label, height=0.7)
        left = [a + b for a, b in zip(left, values, strict=True)]
    axes.invert_yaxis()
    axes.set_xlabel("seconds")
    axes.legend(loc="lower center", bbox_to_anchor=(0.5, 1.0), ncols=3, frameon=False)
    return svg_of(figure)


def depth_plot(proof: Proof, show: Display) -> bytes:
    """One side view an operation: how deep each tool's tip goes at feed, against stock, jaws and table."""
    rows = [t for t in proof.tool_times if t.lowest_z_mm is not None]
    ops = [k for k in range(len(proof.job.ops)) if any(t.op == k for t in rows)] or [0]
    figure, _ = figure_of(3.0)
    figure.clear()
    widths = [max(3, sum(1 for t in rows if t.op == k)) for k in ops]
    every = figure.subplots(1, len(ops), gridspec_kw={"width_ratios": widths, "wspace": 0.75}, squeeze=False)[0]
    for axes, op_index in zip(every, ops, strict=True):
        own = [t for t in rows if t.op == op_index]
        _depths(axes, own, _levels(proof, op_index), show)
        axes.set_title(proof.job.ops[op_index].name, fontsize=8)
    every[0].set_ylabel(f"Z, program coordinates ({show.length_unit})")
    return svg_of(figure)


def _depths(axes: Any, own: list[ToolTime], levels: list[tuple[str, float, str]], show: Display) -> None:
    scale = 1.0 if show.length_unit == "mm" else 1.0 / 25.4
    digits = 3 if scale == 1.0 else 4
    for k, t in enumerate(own):
        low = (t.lowest_z_mm or 0.0) * scale
        axes.plot([k, k], [0.0, low], color=FEED, linewidth=5, solid_capstyle="butt")
        axes.annotate(f"{low:.{digits}f}", (k, max(low, 0.0)), textcoords="offset points", xytext=(0, 3), rotation=90,
                      ha="center", va="bottom", fontsize=6)  # fmt: skip
    for _, z, style in levels:
        axes.axhline(z * scale, color="#6b6f75", linestyle=style, linewidth=0.8, zorder=0)
    axes.set_xticks(range(len(own)), [f"T{t.tool}" for t in own], fontsize=6)
    axes.tick_params(axis="y", labelsize=6)
    axes.margins(y=0.28)
    bottom, top = axes.get_ylim()
    step, last = (top - bottom) * 0.055, top + 1e9
    for name, z, _ in sorted(levels, key=lambda level: -level[1]):
        last = min(z * scale, last - step)  # labels keep a line apart
        axes.annotate(f" {name}", (1.0, last), xycoords=("axes fraction", "data"), fontsize=6, va="center", ha="left")


def _levels(proof: Proof, op_index: int) -> list[tuple[str, float, str]]:
    """Levels worth drawing: stock bottom, tops of jaws and other bodies."""
    levels: dict[tuple[str, float], str] = {}
    for spot in proof.job.ops[op_index].places:
        if spot.stock.kind in ("box", "cylinder"):
            levels["stock bottom", spot.stock.low_mm[2]] = "dashed"
        for body in spot.bodies:
            if "jaw" in body.kind or body.kind in ("parallel", "table", "vise bed"):
                levels[body.kind + " top", body.high_z_mm] = "solid" if "jaw" in body.kind else "dotted"
    by_height: dict[float, tuple[list[str], str]] = {}
    for (name, z), style in levels.items():
        by_height.setdefault(z, ([], style))[0].append(name)
    return [(", ".join(names), z, style) for z, (names, style) in by_height.items()]
