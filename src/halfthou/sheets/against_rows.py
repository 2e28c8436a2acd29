"""Differences of two revisions as rows of text, for the terminal and the page alike."""

import math
from collections.abc import Sequence
from pathlib import Path

from halfthou.base.place import Place
from halfthou.base.units import MM_PER_INCH, Display, duration
from halfthou.base.value import Unknown, Value
from halfthou.nouns.revision import BlockChange, Difference, MovedSurface, OpBlocks, Revision, TimeChange

KINDS = {
    "changed": "CHANGED",
    "added": "ADDED",
    "removed": "REMOVED",
    "effect": "EFFECT",
    "moved": "MOVED",
    "new": "NEW",
    "gone": "GONE",
}


def within(bound_mm: float, show: Display) -> str:
    """A bound, rounded up to the last digit shown."""
    step = 1e-3 if show.length_unit == "mm" else 1e-4 * MM_PER_INCH
    return show.length(math.ceil(bound_mm / step - 1e-9) * step)


def spot(place: Place) -> str:
    """`op1.nc:12`, or nothing."""
    if not place.file:
        return ""
    return f"{Path(place.file).name}:{place.line}" if place.line else Path(place.file).name


def count(n: int, what: str) -> str:
    """`1 move`, `3 moves`."""
    return f"{n} {what}{'' if n == 1 else 's'}"


def block_words(change: BlockChange) -> str:
    """What a stretch of blocks does to the moves, one sentence."""
    if change.kind == "effect":
        return (
            f"same blocks, other moves: {count(change.now_moves, 'move')} now and {change.before_moves} before differ because "
            "of a change above, of a table or of an offset; the first is shown"
        )
    if change.same_moves:
        return "the moves are the same"
    return f"{count(change.now_moves, 'move')} now, {change.before_moves} before"


def op_words(op: OpBlocks) -> str:
    """One operation in one sentence."""
    if op.same_moves and not op.changes:
        tail = f"; {count(op.text_only, 'block')} written differently" if op.text_only else ""
        return f"{op.op}: the same {count(op.now_moves, 'move')}{tail}"
    moves = "the same moves" if op.same_moves else f"{op.now_moves} moves now, {op.before_moves} before"
    return f"{op.op}: {count(len(op.changes), 'difference')}, {moves}"


def surface_words(one: MovedSurface, show: Display) -> str:
    """How far a surface moved and on how many points, one sentence."""
    share = f"{one.points} of {one.of} sampled points"
    if isinstance(one.amount, Value):
        mm = one.amount.best
        what = "material taken away" if mm < 0 else "material added"
        text = f"{show.length(mm, sign=True)} along the normal (within {within(one.amount.bound, show)}), {what}, on {share}"
        if one.most_mm - one.least_mm > 1e-3:
            text += f"; from {show.length(one.least_mm, sign=True)} to {show.length(one.most_mm, sign=True)}"
        return text
    head = "surface that was not there before" if one.kind == "new" else "surface that is not there any more"
    reason = one.amount.reason if isinstance(one.amount, Unknown) else ""
    return f"{head}, {share} ({reason})"


def surface_at(one: MovedSurface, show: Display) -> str:
    """Where: program coordinates, tool and the blocks that made it in both revisions."""
    x, y, z = (show.length(v, unit=False) for v in one.point_mm)
    parts = [f"at X{x} Y{y} Z{z} ({one.place})"]
    if one.tool >= 0:
        parts.append(f"T{one.tool}")
    if one.now.file:
        parts.append(f"now by {spot(one.now)}")
    if one.before.file:
        parts.append(f"before by {spot(one.before)}")
    return ", ".join(parts)


def seconds(value: float | None) -> str:
    """A time, or that there is none."""
    return duration(value) if value is not None else "-"


def change_s(time: TimeChange) -> str:
    """The difference, signed."""
    if time.now_s is None or time.before_s is None:
        return "-"
    by = time.now_s - time.before_s
    if abs(by) < 0.05:
        return "0.0 s"
    return f"{'+' if by > 0 else '-'}{duration(abs(by))}"


def time_rows(times: Sequence[TimeChange]) -> list[list[str]]:
    """op, tool, name, before, now, change; the operation and the job at the end."""
    out = []
    for t in times:
        tool = f"T{t.tool}" if t.tool >= 0 else "all"
        out.append([t.op or "job", tool, t.name[:28], seconds(t.before_s), seconds(t.now_s), change_s(t)])
    return out


def difference_rows(many: Sequence[Difference]) -> list[list[str]]:
    """group, what, before, now."""
    return [[d.group, d.what, d.before, d.now] for d in many]


def headline(revision: Revision) -> str:
    """What differs, in one sentence."""
    if revision.same:
        return "No difference found in blocks, moves, sampled surfaces, findings, tables, set-up, machine or design."
    parts = []
    changes = sum(len(op.changes) for op in revision.ops)
    if changes:
        parts.append(f"{changes} changed stretch{'' if changes == 1 else 'es'} of blocks")
    parts += list(revision.unpaired_ops)
    if revision.surfaces.moved:
        parts.append(f"{count(len(revision.surfaces.moved), 'surface')} moved, new or gone")
    for kind, word in (("gained", "gained"), ("lost", "lost"), ("amount", "with another amount")):
        n = sum(c.kind == kind for c in revision.findings)
        if n:
            parts.append(f"{count(n, 'finding')} {word}")
    for many, word in (
        (revision.tools, "tool table"), (revision.setup, "set-up"), (revision.machine, "machine"), (revision.design, "design")
    ):  # fmt: skip
        if many:
            parts.append(f"{count(len(many), 'difference')} of the {word}")
    parts += [f"not compared: {text}" for text in revision.surfaces.not_compared]
    return "; ".join(parts) + "."
