"""Moved points into surfaces for people: by face of the design, else by what they are and which blocks made them."""

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.place import Place
from halfthou.base.units import Display
from halfthou.base.value import Unknown, Value
from halfthou.nouns.moves import MoveList
from halfthou.nouns.revision import MovedSurface
from halfthou.prove.compare_measure import FINE_MM
from halfthou.prove.revision_probe import OWN_MM
from halfthou.prove.revision_surface import REACH_MM, Sampled

F8 = NDArray[np.float64]
LEVEL = 0.999  # a way steeper than this is called up or down
LEAN_SHARE = 0.01
"""Error of the cosine by which an amount on a leaning surface is turned onto its normal (from the neighbouring points)."""
SAME_Z_MM = 2e-3


def surfaces_of(
    sampled: Sampled, names: Sequence[str], now: MoveList, before: MoveList, ops: Sequence[str], *, where: str,
    error_mm: float, show: Display,
) -> tuple[MovedSurface, ...]:  # fmt: skip
    """One entry a surface, largest amount first. names: faces of the design by index; ops: names of this job's operations.

    where: operation and place whose program coordinates the points are in; error_mm: bounds of both materials, added.
    """
    moved = sampled.moved
    groups: dict[tuple[object, ...], list[int]] = {}
    for k in range(len(moved.point_mm)):
        groups.setdefault(_key(sampled, k, now, before), []).append(k)
    out: list[tuple[bool, MovedSurface]] = []
    for key, members in groups.items():
        rows = np.array(members)
        kind, face = str(key[0]), int(moved.surface[rows[0]])
        one = _one(kind, face, rows, sampled, names, now, before, ops, where, error_mm, show)
        out.append((bool(moved.first[rows].any()), one))
    return tuple(
        sorted(_folded(out), key=lambda s: (s.kind != "moved", -max(abs(s.least_mm), abs(s.most_mm)), s.words))
    )


def _kind(sampled: Sampled, k: int) -> str:
    if np.isfinite(sampled.moved.amount_mm[k]):
        return "moved"
    return "new" if sampled.moved.first[k] else "gone"


def _way_words(way: F8) -> str:
    if way[2] > LEVEL:
        return "floor"
    if way[2] < -LEVEL:
        return "ceiling"
    return "wall" if abs(float(way[2])) < 1 - LEVEL else "slope"


def _key(sampled: Sampled, k: int, now: MoveList, before: MoveList) -> tuple[object, ...]:
    """Points of one surface: the face of the design; else the same sort, made by the same tool in the same block."""
    moved, kind = sampled.moved, _kind(sampled, k)
    if moved.surface[k] >= 0:
        return kind, int(moved.surface[k])
    own, moves = (moved.now_row, now) if moved.first[k] else (moved.before_row, before)
    row = int(own[k])
    words = _way_words(moved.way[k])
    if row < 0:
        return kind, words, "raw", tuple(np.round(moved.way[k]).tolist()), bool(moved.first[k])
    move = moves.moves[row]
    height = moved.point_mm[k, 2]
    spot = round(float(height) / SAME_Z_MM) if words in ("floor", "ceiling") else int(move["line"])
    return kind, words, int(move["op"]), int(move["tool"]), spot, bool(moved.first[k])


def _one(
    kind: str, face: int, rows: NDArray[np.int64], sampled: Sampled, names: Sequence[str], now: MoveList,
    before: MoveList, ops: Sequence[str], where: str, error_mm: float, show: Display,
) -> MovedSurface:  # fmt: skip
    moved = sampled.moved
    amounts = moved.amount_mm[rows]
    best = int(rows[np.nanargmax(np.abs(amounts))]) if kind == "moved" else int(rows[len(rows) // 2])
    way, point = moved.way[best], moved.point_mm[best]
    level = _way_words(way)
    if kind == "moved":
        mm = float(moved.amount_mm[best])
        leaning = level == "slope" or float(np.abs(way).max()) < LEVEL
        bound = FINE_MM + OWN_MM + error_mm + (LEAN_SHARE * abs(mm) if leaning else 0.0)
        amount: Value | Unknown = Value(best=mm, u=0.0, unit="mm", bound=bound)
    else:
        whose = "the other" if kind == "new" else "this"
        amount = Unknown(reason=f"no surface of {whose} revision within {show.length(REACH_MM)} along its normal")
    sides = [bool(moved.first[k]) for k in rows]
    on_now = any(sides)
    count = sum(side == on_now for side in sides)
    of = sampled.of.get((on_now, face), count) if face >= 0 else count
    first, other_row = int(moved.now_row[best]), int(moved.before_row[best])
    tool_of: Callable[[MoveList, int], int] = lambda moves, row: int(moves.moves["tool"][row])  # noqa: E731
    tool = tool_of(now, first) if first >= 0 else tool_of(before, other_row) if other_row >= 0 else -1
    op = ops[int(now.moves["op"][first])] if first >= 0 else ""
    name = names[face] if 0 <= face < len(names) else ""
    return MovedSurface(
        kind=kind, op=op, place=where, surface=name, words=_words(name, level, point, tool, show),
        amount=amount, least_mm=float(np.nanmin(amounts)) if kind == "moved" else 0.0,
        most_mm=float(np.nanmax(amounts)) if kind == "moved" else 0.0, points=count, of=max(of, count),
        point_mm=(float(point[0]), float(point[1]), float(point[2])), tool=tool,
        now=now.place(first) if first >= 0 else Place(file=""),
        before=before.place(other_row) if other_row >= 0 else Place(file=""),
    )  # fmt: skip


def _words(name: str, level: str, point: F8, tool: int, show: Display) -> str:
    if name:
        return name
    by = f" made by T{tool}" if tool >= 0 else " of the raw stock"
    if level in ("floor", "ceiling"):
        return f"{level} at Z{show.length(float(point[2]), unit=False)}{by}"
    x, y = (show.length(float(v), unit=False) for v in point[:2])
    return f"{level} near X{x} Y{y}{by}"


def _folded(found: Sequence[tuple[bool, MovedSurface]]) -> list[MovedSurface]:
    """Unnamed surfaces made by several blocks with one amount are one entry, and so are both revisions' views of them.

    found: (seen on this job's surface, entry). Points are counted on this job's surface where there are any.
    """
    out: dict[tuple[object, ...], tuple[bool, MovedSurface]] = {}
    for first, one in sorted(found, key=lambda pair: not pair[0]):
        best = one.amount.best if isinstance(one.amount, Value) else 0.0
        head = one.words.split(" ")[0]
        key: tuple[object, ...] = (one.kind, one.surface) if one.surface else (one.kind, head, one.tool, round(best, 3))
        if key not in out:
            out[key] = (first, one)
            continue
        side, old = out[key]
        big = one if max(abs(one.least_mm), abs(one.most_mm)) > max(abs(old.least_mm), abs(old.most_mm)) else old
        more = side == first
        out[key] = side, replace(
            big if more else old, points=old.points + one.points * more, of=old.of + one.of * more,
            least_mm=min(old.least_mm, one.least_mm), most_mm=max(old.most_mm, one.most_mm),
        )  # fmt: skip
    return [one for _, one in out.values()]
