"""Drills and taps that go deeper than they can carry their chips out."""

from collections.abc import Iterator

import numpy as np

from halfthou.base.finding import Finding, Severity
from halfthou.base.value import Value
from halfthou.geometry.near_stock import stock_top
from halfthou.nouns.moves import Kind
from halfthou.prove.clash_stock import Field
from halfthou.prove.clash_words import Words, tool_words

KINDS = ("drill", "tap")
RIM = 8  # points round the hole where the surface is looked at
BESIDE_MM = 0.05  # how far outside the hole


def deep_findings(words: Words, field: Field, stock: str) -> Iterator[Finding]:
    """One finding a tool: the tip goes further under the surface round the hole than the cutting length."""
    legs, job = field.legs, words.job
    down = (legs.to_mm[:, 2] < legs.from_mm[:, 2]) & (np.hypot(*(legs.to_mm - legs.from_mm)[:, :2].T) < 1e-9)
    down &= words.sweeps["kind"][legs.row] == Kind.LINE
    for tool in np.unique(legs.tool[down]):
        if tool < 0 or job.tools[tool].kind not in KINDS or job.tools[tool].cutting_mm <= 0:
            continue
        mine = np.flatnonzero(down & (legs.tool == tool))
        rim: dict[tuple[float, float], float] = {}
        worst, rows, worst_row = 0.0, [], -1
        for i in mine:
            x, y, z = (float(v) for v in legs.to_mm[i])
            key = (round(x, 4), round(y, 4))
            if key not in rim:
                rim[key] = _surface(field, x, y, job.tools[tool].diameter_mm / 2 + BESIDE_MM, int(legs.row[i]))
            over = rim[key] - z - job.tools[tool].cutting_mm
            if over > 0.01:
                rows.append(int(legs.row[i]))
                if over > worst:
                    worst, worst_row = over, int(legs.row[i])
        if not rows:
            continue
        show = words.show
        length = show.length(job.tools[tool].cutting_mm)
        yield Finding(
            code="P220", severity=Severity.CARE, place=words.moves.place(rows[0]),
            what=f"{tool_words(job, int(tool))}: the hole is {show.length(worst)} deeper than the cutting length of {length}.",
            why="Under the surface the flutes are closed and the chips pack; a tap or drill breaks there.",
            do=f"Use a tool with a cutting length of {show.length(job.tools[tool].cutting_mm + worst)} or more, or stop higher.",
            amount=Value(best=worst, u=0.0, unit="mm", bound=0.002), move=rows[0], op=words.op,
            tool=words.number(int(tool)), body=stock, part="cutter", count=len(rows),
            point_mm=words.point(legs.to_mm[legs.row == worst_row][-1], worst_row),
            more=words.lines(np.array(rows, dtype=np.int64), worst_row),
        )  # fmt: skip


def _surface(field: Field, x: float, y: float, radius: float, row: int) -> float:
    """Highest stock on a ring round a hole before a row, mm; far down where there is none."""
    turn = np.arange(RIM) * 2 * np.pi / RIM
    return max(
        stock_top(
            x + radius * float(np.cos(a)), y + radius * float(np.sin(a)), 0.0, row, field.cuts, field.pieces, field.raw
        )
        for a in turn
    )
