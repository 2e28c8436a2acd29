"""What is said about gouge and left-over: one finding a surface and tool, like ones folded, corners and breaks in one line."""

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from halfthou.base.finding import Finding
from halfthou.base.place import Place
from halfthou.base.units import Display
from halfthou.base.value import Unknown, Value
from halfthou.nouns.moves import MoveList
from halfthou.nouns.part import Part, Surface
from halfthou.prove.codes import CODES

F8 = NDArray[np.float64]
GOUGE, LEFT, RAW, CORNER, SMALL, BREAK = 1, 2, 3, 4, 5, 6
CODE_OF = {GOUGE: "P301", LEFT: "P302", RAW: "P303", CORNER: "P304", SMALL: "P305", BREAK: "P306"}
WHY = {
    GOUGE: "the tool that made this surface went deeper than the design allows here",
    LEFT: "no move takes this material away within the limit",
    RAW: "no move of any operation reaches this surface: it is still raw stock",
    CORNER: "a round tool leaves its radius in a sharp inner corner",
    SMALL: "the raw stock does not reach the design surface here",
    BREAK: "edges are broken more, less or not at all compared with the design",
}
DO = {
    GOUGE: "look at this block, its tool's length and radius register, and the finish allowance",
    LEFT: "look for a missing finish pass, a wrong depth or a radius register that is too large",
    RAW: "machine it, or give the surface a wider limit if it stays raw",
    CORNER: "take a smaller tool, or draw the radius",
    SMALL: "use a larger blank, or shift the datum",
    BREAK: "compare with the drawing's note on edges",
}


class Sorted(Protocol):
    """Per point: signed deviation, what it is, whose it is, which move and tool made it, what its bound grows by."""

    @property
    def mm(self) -> F8: ...
    @property
    def kind(self) -> NDArray[np.int8]: ...
    @property
    def surface(self) -> NDArray[np.int64]: ...
    @property
    def loose_mm(self) -> F8: ...
    @property
    def move(self) -> NDArray[np.int64]: ...
    @property
    def tool(self) -> NDArray[np.int64]: ...


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What the words need: the part, the moves, the points in program coordinates, the error bound."""

    part: Part
    moves: MoveList
    op: int
    spot: F8
    bound_mm: float
    final: bool
    show: Display = field(default_factory=Display)


def findings_of(told: Told, judged: Sorted, limit_g: F8, limit_l: F8) -> tuple[Finding, ...]:
    """All findings, worst first within a code."""
    groups: dict[tuple[object, ...], list[tuple[Surface, int, int]]] = {}
    for surface in told.part.surfaces:
        own = np.flatnonzero(judged.surface == surface.index)
        for kind in CODE_OF:
            hit = own[judged.kind[own] == kind]
            if kind in (CORNER, BREAK):
                if len(hit):
                    groups.setdefault((kind,), []).append((surface, _worst(judged, hit), len(hit)))
                continue
            for tool in np.unique(judged.tool[hit]):
                rows = hit[judged.tool[hit] == tool]
                row = _worst(judged, rows)
                key: tuple[object, ...] = (
                    kind,
                    int(tool),
                    surface.form,
                    round(surface.radius_mm, 3),
                    round(float(judged.mm[row]), 2),
                )
                groups.setdefault(key, []).append((surface, row, len(rows)))
    found = []
    for key, members in groups.items():
        members.sort(key=lambda m: -abs(float(judged.mm[m[1]])))
        found.append(_finding(told, judged, int(str(key[0])), members, limit_g, limit_l))
    found.sort(key=lambda f: (f.code, -(f.amount.best if isinstance(f.amount, Value) else 0.0)))
    return tuple(found)


def _worst(judged: Sorted, rows: NDArray[np.int64]) -> int:
    """The worst row; of equal ones, one that was measured straight along its normal."""
    return int(rows[np.argmax(np.abs(judged.mm[rows]) - 2 * judged.loose_mm[rows])])


def _where(told: Told, row: int) -> str:
    x, y, z = (told.show.length(float(v), unit=False) for v in told.spot[row])
    return f"X{x} Y{y} Z{z}"


def _finding(
    told: Told, judged: Sorted, kind: int, members: list[tuple[Surface, int, int]], limit_g: F8, limit_l: F8
) -> Finding:
    surface, row, _count = members[0]
    mm = abs(float(judged.mm[row]))
    code = CODES[CODE_OF[kind]]
    move, tool = int(judged.move[row]), int(judged.tool[row])
    known = 0 <= move < len(told.moves.moves)
    place = told.moves.place(move) if known else Place(file="")
    by = f", made by tool {tool}" if tool >= 0 else ""
    like = f" (and {len(members) - 1} more surfaces)" if len(members) > 1 else ""
    head = {GOUGE: "Gouge of", LEFT: "Left-over of", SMALL: "Material missing from the start:"}
    if kind in head:
        what = f"{head[kind]} {told.show.length(mm)} on {surface.name} at {_where(told, row)}{by}{like}."
    elif kind == RAW:
        what = f"{surface.name} is not machined: {told.show.length(mm)} of raw stock on it{like}."
    else:
        name = "inner corners" if kind == CORNER else "edge breaks"
        what = (
            f"Deviation of up to {told.show.length(mm)} at {name} of {len(members)} surfaces, worst on {surface.name}."
        )
    capped = mm >= 60.0 - 1e-6
    amount = (
        Unknown(reason="no machined surface within 60 mm along the normal")
        if capped
        else Value(
            best=mm, u=0.0, unit="mm", bound=told.bound_mm + _mesh(told.part, surface) + float(judged.loose_mm[row])
        )
    )
    limit = float(limit_g[row] if judged.mm[row] < 0 else limit_l[row])
    x, y, z = (float(v) for v in told.spot[row])
    return Finding(
        code=code.code,
        severity=code.severity,
        place=place,
        what=what,
        why=WHY[kind],
        do=DO[kind],
        amount=amount,
        limit_mm=limit,
        move=move,
        op=told.op,
        tool=tool,
        point_mm=(x, y, z),
        count=sum(m[2] for m in members) if kind in (CORNER, BREAK) else len(members),
        more=tuple(
            f"{s.name}: {told.show.length(abs(float(judged.mm[r])))} at {_where(told, r)}" for s, r, _ in members[1:9]
        ),
    )


def _mesh(part: Part, surface: Surface) -> float:
    return 0.0 if surface.form in ("plane", "cylinder", "cone", "sphere") else part.chord_mm
