"""The section of the proof report on what differs from another revision: plain data for the layout."""

from typing import Any

from halfthou.base.stamp import Stamp
from halfthou.base.units import Display
from halfthou.nouns.revision import BlockChange, Revision
from halfthou.sheets.against_rows import (
    KINDS,
    block_words,
    difference_rows,
    headline,
    op_words,
    spot,
    surface_at,
    surface_words,
    time_rows,
)

MOST_LINES, MOST_CHANGES, MOST_SURFACES, MOST_FINDINGS = 8, 40, 40, 40
_FINDINGS = {"gained": "gained", "lost": "lost", "amount": "other amount"}


def against_data(revision: Revision) -> dict[str, Any]:
    """What the layout needs of a comparison; what is cut short is said."""
    show = Display(length_unit=revision.length_unit)
    moved = revision.surfaces.moved
    tables = (
        ("Tools and tables", revision.tools), ("Set-up", revision.setup), ("Machine", revision.machine),
        ("Design", revision.design),
    )  # fmt: skip
    missed = [*revision.surfaces.missed, *(f"not compared: {text}" for text in revision.surfaces.not_compared)]
    for n, most, what in (
        (len(moved), MOST_SURFACES, "surfaces"), (len(revision.findings), MOST_FINDINGS, "findings"),
        (max((len(op.changes) for op in revision.ops), default=0), MOST_CHANGES, "stretches of blocks of an operation"),
    ):  # fmt: skip
        if n > most:
            missed.append(f"this page shows {most} of {n} {what}; the JSON answer has them all")
    return {
        "now": f"{revision.now_title} (proof {revision.now.short})",
        "before": f"{revision.before_title} (proof {revision.before.short})",
        "words": headline(revision),
        "ops": [{"words": op_words(op), "changes": [_block(c) for c in op.changes[:MOST_CHANGES]]} for op in revision.ops],
        "surfaces": [
            {"kind": KINDS[s.kind], "name": s.words, "words": surface_words(s, show), "at": surface_at(s, show)}
            for s in moved[:MOST_SURFACES]
        ],
        "findings": [
            [_FINDINGS[c.kind], c.finding.code, c.op, c.finding.what, spot(c.finding.place)]
            for c in revision.findings[:MOST_FINDINGS]
        ],
        "tables": [{"title": title, "rows": difference_rows(many)} for title, many in tables if many],
        "times": time_rows(revision.times),
        "points": f"{revision.surfaces.points} points of both surfaces were measured, along the normal.",
        "missed": missed,
        "now_inputs": _inputs(revision.now),
        "before_inputs": _inputs(revision.before),
    }  # fmt: skip


def _inputs(stamp: Stamp) -> list[str]:
    return [f"{role} {sha[:10]}" for role, sha in stamp.inputs]


def _block(change: BlockChange) -> dict[str, Any]:
    before = () if change.kind == "effect" and change.now_lines else change.before_lines
    return {
        "kind": KINDS[change.kind],
        "at": spot(change.now if change.now.line else change.before),
        "words": block_words(change),
        "before": _short(before),
        "now": _short(change.now_lines),
    }


def _short(lines: tuple[str, ...]) -> list[str]:
    more = [f"… {len(lines) - MOST_LINES} more"] if len(lines) > MOST_LINES else []
    return [line.strip()[:100] for line in lines[:MOST_LINES]] + more
