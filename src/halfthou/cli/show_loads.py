"""Loads of the cut in a terminal: one line a tool, with the band of the material's coefficients and what it rests on."""

import textwrap

from halfthou.base.units import MM_PER_INCH, Display
from halfthou.base.value import Result, Value
from halfthou.cli.show import WIDTH, table_lines
from halfthou.nouns.answers import Proof
from halfthou.nouns.loads import ToolLoads

NONE = "–"


def _band(result: Result, digits: int, factor: float = 1.0) -> str:
    """`best (low … high)`; a dash where there is no number."""
    if not isinstance(result, Value):
        return NONE
    best, off = factor * result.best, factor * result.bound
    return f"{best:.{digits}f} ({max(best - off, 0.0):.{digits}f} … {best + off:.{digits}f})"


def removal_rate(mm3_per_s: float, show: Display) -> str:
    """cm³/min or inch³/min."""
    if show.length_unit == "inch":
        return f"{mm3_per_s * 60 / MM_PER_INCH**3:.2f}"
    return f"{mm3_per_s * 0.06:.2f}"


def _row(own: ToolLoads, proof: Proof, show: Display) -> tuple[str, ...]:
    bend = own.bend
    return (
        proof.job.ops[own.op].name, f"T{own.tool}", own.name,
        show.length(own.chip_high.best, unit=False) if isinstance(own.chip_high, Value) else NONE,
        removal_rate(own.mean_mm3_per_s, show), removal_rate(own.peak_mm3_per_s, show),
        _band(own.power, 0), f"{100 * own.power_ratio.best:.0f} %" if isinstance(own.power_ratio, Value) else NONE,
        _band(own.torque, 2),
        f"{show.length(bend.best, unit=False, sign=True)} (± {show.length(bend.bound, unit=False)})" if isinstance(bend, Value) else NONE,
        f"{100 * own.life.best:.2g} %" if isinstance(own.life, Value) else NONE,
    )  # fmt: skip


def load_lines(proof: Proof) -> list[str]:
    """The table and its footnotes; nothing when there are no loads (the reason is under 'not checked')."""
    loads = proof.loads
    if loads is None or not loads.tools:
        return []
    show = Display(length_unit=proof.job.length_unit)
    cubic = "inch³/min" if show.length_unit == "inch" else "cm³/min"
    heads = (
        "op",
        "tool",
        "name",
        "chip",
        "mean",
        "peak",
        "power W",
        "share",
        "torque N·m",
        "bend at wall",
        "life a part",
    )
    lines = [
        "", f"Cutting loads, highest of each (chip and bend {show.length_unit}; removal mean and peak {cubic}; share of the spindle's power)",
        *table_lines(heads, [_row(own, proof, show) for own in loads.tools], frozenset({3, 4, 5, 6, 7, 8, 9, 10})),
    ]  # fmt: skip
    notes = [
        f"sharp tools, no runout; coefficients: {source}" for source in dict.fromkeys(t.source for t in loads.tools)
    ]
    notes += [f"T{own.tool}: {text}" for own in loads.tools for text in own.outside]
    notes.append("bend at wall: + into the wall, − off it, when a tooth passes; stiffness estimated unless measured")
    for text in dict.fromkeys(notes):
        lines += textwrap.wrap(text, WIDTH, initial_indent="  · ", subsequent_indent="    ")
    return lines
