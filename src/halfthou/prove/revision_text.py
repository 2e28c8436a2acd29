"""Which blocks of two programs differ: lines compared without spaces, comments and block numbers, and the moves they make."""

import re
from bisect import bisect_left
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

import numpy as np
from numpy.typing import NDArray

from halfthou.base.place import Place
from halfthou.base.watch import QUIET, Watch
from halfthou.nouns.moves import MACHINE_POINT, MoveList
from halfthou.nouns.program import Program
from halfthou.nouns.revision import BlockChange, OpBlocks
from halfthou.prove.reach import programmed

I8 = NDArray[np.int64]
Span = tuple[int, int, int, int]  # rows a0 ≤ i < a1 of the one, b0 ≤ j < b1 of the other

LONG_GAP = 400
"""Stretches longer than this without a line that stands once in both are called one change."""
NUMBER = re.compile(r"^(/\d?)?N\d+(?:\.\d+)?")
LENGTH_STEP_MM = 1e-6
EVERY = 5000  # lines between two looks at the watch


def plain(line: str) -> str:
    """The block without spaces, comments and its number: what the control acts on, upper case.

    A jump target keeps its meaning through the moves, which are compared on their own.
    """
    out: list[str] = []
    k = 0
    while k < len(line):
        c = line[k]
        if c == "(":
            end = line.find(")", k)
            if end < 0:
                out.append(line[k:])
                break
            k = end + 1
            continue
        if c == ";":
            break
        if not c.isspace() and c != "\0":
            out.append(c)
        k += 1
    return NUMBER.sub(lambda found: found.group(1) or "", "".join(out).upper())


def aligned(a: Sequence[int], b: Sequence[int], watch: Watch = QUIET) -> list[Span]:
    """Where two sequences of keys differ, in order. Anchored on keys that stand once in both (longest rising run of them)."""
    out: list[Span] = []
    work = [(0, len(a), 0, len(b))]
    done = 0
    while work:
        watch.step("comparing blocks", done, done + len(work))
        done += 1
        a0, a1, b0, b1 = work.pop()
        while a0 < a1 and b0 < b1 and a[a0] == b[b0]:
            a0, b0 = a0 + 1, b0 + 1
        while a0 < a1 and b0 < b1 and a[a1 - 1] == b[b1 - 1]:
            a1, b1 = a1 - 1, b1 - 1
        if a0 == a1 or b0 == b1:
            if a0 < a1 or b0 < b1:
                out.append((a0, a1, b0, b1))
            continue
        anchors = _anchors(a, b, a0, a1, b0, b1)
        if anchors:
            last_a, last_b = a0, b0
            for i, j in [*anchors, (a1, b1)]:
                work.append((last_a, i, last_b, j))
                last_a, last_b = i, j
        elif max(a1 - a0, b1 - b0) > LONG_GAP:
            out.append((a0, a1, b0, b1))
        else:
            matcher = SequenceMatcher(None, a[a0:a1], b[b0:b1], autojunk=False)
            for tag, i0, i1, j0, j1 in matcher.get_opcodes():
                if tag != "equal":
                    out.append((a0 + i0, a0 + i1, b0 + j0, b0 + j1))
    return sorted(out)


def _anchors(a: Sequence[int], b: Sequence[int], a0: int, a1: int, b0: int, b1: int) -> list[tuple[int, int]]:
    """(i, j) of keys that stand once in both stretches, rising in both, as many as can be."""
    once_a = {key for key, n in Counter(a[a0:a1]).items() if n == 1}
    once_b = {key for key, n in Counter(b[b0:b1]).items() if n == 1}
    both = once_a & once_b
    where = {b[j]: j for j in range(b0, b1) if b[j] in both}
    pairs = [(i, where[a[i]]) for i in range(a0, a1) if a[i] in both]
    tails: list[int] = []
    ends: list[int] = []
    back: list[int] = []
    for k, (_, j) in enumerate(pairs):
        at = bisect_left(tails, j)
        back.append(ends[at - 1] if at else -1)
        if at == len(tails):
            tails.append(j)
            ends.append(k)
        else:
            tails[at], ends[at] = j, k
    run: list[tuple[int, int]] = []
    k = ends[-1] if ends else -1
    while k >= 0:
        run.append(pairs[k])
        k = back[k]
    return run[::-1]


def keys_of_moves(now: MoveList, before: MoveList) -> tuple[I8, I8]:
    """One number a move, equal for equal moves: kind, tool, programmed end, arc, feed, speed, registers in force.

    Where an axis was not programmed (left over from home, machine coordinates), its position is not part of it: that
    is a matter of the work offset.
    """
    table = np.concatenate([_rows(now), _rows(before)])
    _, which = np.unique(table, axis=0, return_inverse=True)
    which = which.reshape(-1).astype(np.int64)
    return which[: len(now.moves)], which[len(now.moves) :]


def _rows(moves: MoveList) -> I8:
    rows = moves.moves
    if not len(rows):
        return np.zeros((0, 24), dtype=np.int64)
    own = programmed(moves) & ((rows["flags"] & MACHINE_POINT) == 0)[:, None]
    end = np.where(own, rows["end_mm"], 0.0)
    turned = (rows["sweep_rad"] != 0)[:, None]
    centre = np.where(turned, rows["centre_mm"], 0.0)
    system = moves.frames["system"][rows["frame"]] if len(moves.frames) else np.zeros(len(rows))
    reals = np.column_stack(
        [end / LENGTH_STEP_MM, centre / LENGTH_STEP_MM, rows["sweep_rad"] * 1e9, rows["feed_mm_per_s"] * 1e6,
         rows["spindle_rpm"] * 1e3, rows["dwell_s"] * 1e6]
    )  # fmt: skip
    reals = np.clip(np.nan_to_num(reals, nan=0.0, posinf=9e15, neginf=-9e15), -9e15, 9e15)
    whole = np.column_stack(
        [rows[name] for name in ("kind", "tool", "length_slot", "radius_slot", "side", "normal", "coolant", "stop",
                                 "flags")]
    )  # fmt: skip
    out: I8 = np.column_stack([np.rint(reals).astype(np.int64), whole.astype(np.int64), own, system]).astype(np.int64)
    return out


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One operation of one revision: its programs (main first) and the moves they make (own rows)."""

    programs: tuple[Program, ...]
    moves: MoveList

    def rows_in(self, program: int, first: int, last: int) -> I8:
        """Moves whose block stands on the lines first … last - 1 (from 0) of a program."""
        rows = self.moves.moves
        hit = (rows["program"] == program) & (rows["line"] > first) & (rows["line"] <= last)
        found: I8 = np.flatnonzero(hit)
        return found


def blocks(op: str, now: Side, before: Side, watch: Watch = QUIET) -> tuple[OpBlocks, I8, I8]:
    """The programs of one operation compared: what changed, and the rows (now, before) of the moves that differ."""
    keys_now, keys_before = keys_of_moves(now.moves, before.moves)
    differ_now, differ_before = _differing(keys_now, keys_before, watch)
    changes: list[BlockChange] = []
    text_only = 0
    told_now: set[int] = set()
    told_before: set[int] = set()
    for i, j in _paired(now.programs, before.programs):
        lines_now = now.programs[i].lines if i >= 0 else ()
        lines_before = before.programs[j].lines if j >= 0 else ()
        kept_now, kept_before = _kept(lines_now, watch), _kept(lines_before, watch)
        numbers: dict[str, int] = {}
        a = [numbers.setdefault(plain(lines_now[k]), len(numbers)) for k in kept_now]
        b = [numbers.setdefault(plain(lines_before[k]), len(numbers)) for k in kept_before]
        spans = aligned(a, b, watch)
        text_only += _text_only(lines_now, lines_before, kept_now, kept_before, spans)
        for a0, a1, b0, b1 in spans:
            at_now, at_before = _lines(kept_now, a0, a1), _lines(kept_before, b0, b1)
            rows_now = now.rows_in(i, *at_now) if a1 > a0 else np.zeros(0, dtype=np.int64)
            rows_before = before.rows_in(j, *at_before) if b1 > b0 else np.zeros(0, dtype=np.int64)
            told_now.update(rows_now.tolist())
            told_before.update(rows_before.tolist())
            changes.append(
                BlockChange(
                    op=op, kind="changed" if a1 > a0 and b1 > b0 else "added" if a1 > a0 else "removed",
                    now=_place(now.programs, i, kept_now, a0, a1), before=_place(before.programs, j, kept_before, b0, b1),
                    now_lines=tuple(lines_now[k] for k in kept_now[a0:a1]),
                    before_lines=tuple(lines_before[k] for k in kept_before[b0:b1]),
                    now_moves=len(rows_now), before_moves=len(rows_before),
                    same_moves=keys_now[rows_now].tolist() == keys_before[rows_before].tolist(),
                )
            )  # fmt: skip
    changes += _effects(op, now, before, differ_now, differ_before, told_now, told_before)
    found = OpBlocks(
        op=op, changes=tuple(changes), text_only=text_only, same_moves=not (len(differ_now) or len(differ_before)),
        now_moves=len(keys_now), before_moves=len(keys_before),
    )  # fmt: skip
    return found, differ_now, differ_before


def _differing(now: I8, before: I8, watch: Watch) -> tuple[I8, I8]:
    """Rows of the moves that have no counterpart."""
    spans = aligned(now.tolist(), before.tolist(), watch)
    a = [np.arange(a0, a1) for a0, a1, _, _ in spans]
    b = [np.arange(b0, b1) for _, _, b0, b1 in spans]
    none = [np.zeros(0, dtype=np.int64)]
    return np.concatenate(a or none).astype(np.int64), np.concatenate(b or none).astype(np.int64)


def _paired(now: Sequence[Program], before: Sequence[Program]) -> list[tuple[int, int]]:
    """(this, other) programs that belong together: main with main, files by name, the rest on their own (-1)."""
    pairs = [(0, 0)] if now and before else []
    left = {before[j].name: j for j in range(1, len(before))}
    for i in range(1 if pairs else 0, len(now)):
        pairs.append((i, left.pop(now[i].name, -1)))
    start = 1 if pairs and pairs[0] == (0, 0) else 0
    used = {j for _, j in pairs}
    return pairs + [(-1, j) for j in range(start, len(before)) if j not in used]


def _kept(lines: Sequence[str], watch: Watch) -> list[int]:
    """Lines with anything in them after comments are gone."""
    out: list[int] = []
    for k, line in enumerate(lines):
        if k % EVERY == 0:
            watch.step("comparing blocks", k, len(lines))
        if plain(line):
            out.append(k)
    return out


def _lines(kept: Sequence[int], first: int, last: int) -> tuple[int, int]:
    """The lines (from 0, end excluded) that a stretch of kept lines covers."""
    return (kept[first], kept[last - 1] + 1) if last > first else (0, 0)


def _place(programs: Sequence[Program], index: int, kept: Sequence[int], first: int, last: int) -> Place:
    if index < 0:
        return Place(file="")
    if last == first:
        return Place(file=programs[index].file)
    return programs[index].place(kept[first] + 1)


def _text_only(
    now: Sequence[str], before: Sequence[str], kept_now: Sequence[int], kept_before: Sequence[int], spans: Sequence[Span]
) -> int:  # fmt: skip
    """How many blocks act the same but are written differently."""
    count = 0
    a = b = 0
    for a0, a1, b0, b1 in [*spans, (len(kept_now), len(kept_now), len(kept_before), len(kept_before))]:
        count += sum(now[kept_now[a + k]] != before[kept_before[b + k]] for k in range(min(a0 - a, b0 - b)))
        a, b = a1, b1
    return count


def _effects(
    op: str, now: Side, before: Side, differ_now: I8, differ_before: I8, told_now: set[int], told_before: set[int]
) -> list[BlockChange]:  # fmt: skip
    """Blocks with the same text whose moves differ all the same, because of a changed block, table or offset before them."""
    rows_now = [r for r in differ_now.tolist() if r not in told_now]
    rows_before = [r for r in differ_before.tolist() if r not in told_before]
    if not rows_now and not rows_before:
        return []
    at_now = now.moves.place(rows_now[0]) if rows_now else Place(file="")
    at_before = before.moves.place(rows_before[0]) if rows_before else Place(file="")
    return [
        BlockChange(
            op=op, kind="effect", now=at_now, before=at_before, now_lines=(at_now.text,) if rows_now else (),
            before_lines=(at_before.text,) if rows_before else (), now_moves=len(rows_now),
            before_moves=len(rows_before), same_moves=False,
        )
    ]  # fmt: skip
