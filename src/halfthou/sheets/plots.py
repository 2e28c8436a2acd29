"""Plots of a proof as SVG: time per tool, and the side view of the lowest Z of every tool."""

import io
from typing import Any

from halfthou.base.units import Display
from halfthou.nouns.answers import Proof

FEED, RAPID, OTHER = "#0072b2", "#e69f00", "#9a9da1"


def _figure(height_inch: float) -> tuple[Any, Any]:
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


def _svg(figure: Any) -> bytes:
    out = io.BytesIO()
    figure.savefig(out, format="svg", bbox_inches="tight", metadata={"Date": None})
    return out.getvalue()


def time_plot(proof: Proof) -> bytes:
    """Bars of time at feed, at rapid and else, one a tool and operation."""
    rows = proof.tool_times
    figure, axes = _figure(0.9 + 0.22 * len(rows))
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
    axes.legend(loc="lower right", frameon=False)
    return _svg(figure)


def depth_plot(proof: Proof, show: Display) -> bytes:
    """One side view: how deep each tool's tip goes at feed, against stock, jaws and table, per operation."""
    rows = [t for t in proof.tool_times if t.lowest_z_mm is not None]
    scale = 1.0 if show.length_unit == "mm" else 1.0 / 25.4
    figure, axes = _figure(2.6)
    for k, t in enumerate(rows):
        low = (t.lowest_z_mm or 0.0) * scale
        axes.plot([k, k], [0.0, low], color=FEED, linewidth=5, solid_capstyle="butt")
        axes.annotate(
            f"{low:.{3 if scale == 1.0 else 4}f}",
            (k, low),
            textcoords="offset points",
            xytext=(0, -9),
            ha="center",
            fontsize=6.5,
        )
    start = 0
    for op_index, op in enumerate(proof.job.ops):
        n = sum(1 for t in rows if t.op == op_index)
        if not n:
            continue
        for name, z, style in _levels(proof, op_index):
            axes.hlines(z * scale, start - 0.45, start + n - 0.55, colors="#1b1f23", linestyles=style, linewidth=0.9)
            axes.annotate(name, (start + n - 0.5, z * scale), fontsize=6.5, va="bottom", ha="right")
        if start:
            axes.axvline(start - 0.5, color="#9a9da1", linewidth=0.6)
        axes.annotate(op.name, (start + n / 2 - 0.5, 1.0), xycoords=("data", "axes fraction"), ha="center", va="bottom")
        start += n
    axes.set_xticks(range(len(rows)), [f"T{t.tool}" for t in rows])
    axes.set_ylabel(f"Z, program coordinates ({show.length_unit})")
    axes.margins(y=0.15)
    return _svg(figure)


def _levels(proof: Proof, op_index: int) -> list[tuple[str, float, str]]:
    """Levels worth drawing: stock bottom, tops of jaws and other bodies."""
    levels: dict[tuple[str, float], str] = {}
    for spot in proof.job.ops[op_index].places:
        if spot.stock.kind in ("box", "cylinder"):
            levels["stock bottom", spot.stock.low_mm[2]] = "dashed"
        for body in spot.bodies:
            if "jaw" in body.kind or body.kind in ("parallel", "table", "vise bed"):
                levels[body.kind + " top", body.high_z_mm] = "solid" if "jaw" in body.kind else "dotted"
    return [(name, z, style) for (name, z), style in levels.items()]
