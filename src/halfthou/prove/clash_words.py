"""Contacts in the reader's words: one finding a tool, moving part and standing body, with the change that clears it."""

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from halfthou.base.finding import Finding, Severity
from halfthou.base.table import Rows
from halfthou.base.units import Display
from halfthou.base.value import Value
from halfthou.geometry.near import Legs, position
from halfthou.geometry.near_chain import Bodies, Chains
from halfthou.nouns.job import Job
from halfthou.nouns.moves import Kind, MoveList
from halfthou.nouns.tool import Zone
from halfthou.prove.clash_body import BOUND_MM, lift_needed
from halfthou.prove.clash_legs import DOG_LEG_ONLY, STRAIGHT_ONLY

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

PARTS = ("cutter", "neck", "shank", "holder", "spindle nose", "probe")
LIFTED = 400  # legs looked at when the least lift is worked out

ONE_PATH = {
    STRAIGHT_ONLY: "This happens only if the control runs rapids in a straight line; the machine file does not say.",
    DOG_LEG_ONLY: (
        "This happens only if each axis runs at its own rapid speed (dog-leg); the machine file does not say. "
        "In a straight line the move clears."
    ),
}


def tool_words(job: Job, tool: int) -> str:
    """`T4 10 mm end mill`, or the empty spindle."""
    if tool < 0:
        return "empty spindle"
    return f"T{job.tools[tool].number} {job.tools[tool].name}".rstrip()


def only_path(legs: Legs, which: I8) -> int:
    """0 if some leg of these is certain or both rapid paths are hit on one row, else the one path that is hit."""
    paths = legs.path[which]
    if np.any(paths == 0):
        return 0
    straight = set(legs.row[which][paths == STRAIGHT_ONLY].tolist())
    bent = set(legs.row[which][paths == DOG_LEG_ONLY].tolist())
    if straight & bent:
        return 0
    return STRAIGHT_ONLY if straight and not bent else DOG_LEG_ONLY if bent and not straight else 0


def program_point(point_mm: F8, row: int, sweeps: Rows, shifts: Sequence[F8]) -> tuple[float, float, float]:
    """A table-frame point in the program frame the row speaks in (the first place's if that is not known)."""
    place = int(sweeps["place"][row])
    shift = np.asarray(shifts[place if 0 <= place < len(shifts) else 0]) if len(shifts) else np.zeros(3)
    x, y, z = (float(v) for v in np.asarray(point_mm) - shift)
    return x, y, z


def body_findings(
    moves: MoveList, job: Job, op: int, legs: Legs, hits: Rows, chains: Chains, bodies: Bodies, shifts: Sequence[F8],
    sweeps: Rows,
) -> Iterator[Finding]:  # fmt: skip
    """One finding a (tool, moving part, body), in the order of their first block."""
    groups: dict[tuple[int, int, int], list[int]] = {}
    for i, hit in enumerate(hits):
        key = (int(legs.tool[hit["leg"]]), int(hit["zone"]), int(hit["body"]))
        groups.setdefault(key, []).append(i)
    for (tool, zone, body), members in sorted(groups.items(), key=lambda item: int(hits[item[1][0]]["leg"])):
        mine = hits[members]
        yield _finding(moves, job, op, legs, mine, chains, bodies, shifts, sweeps, tool, zone, body)


def _finding(
    moves: MoveList, job: Job, op: int, legs: Legs, hits: Rows, chains: Chains, bodies: Bodies, shifts: Sequence[F8],
    sweeps: Rows, tool: int, zone: int, body: int,
) -> Finding:  # fmt: skip
    show = Display(length_unit=job.length_unit)
    which = hits["leg"].astype(np.int64)
    rows = legs.row[which]
    first = int(rows[0])
    rapid = bool(sweeps["rapid"][first])
    worst = hits[int(np.argmin(hits["clearance_mm"]))]
    depth = -float(worst["clearance_mm"])
    name, part = bodies.names[body], PARTS[zone]
    lines = np.unique(moves.moves["line"][rows])
    lift = lift_needed(legs, which[np.argsort(hits["clearance_mm"])[:LIFTED]], zone, body, chains, bodies)
    path = only_path(legs, which)
    spot = moves.place(first)
    worst_row = int(legs.row[int(worst["leg"])])
    worst_line = int(moves.moves["line"][worst_row])
    what = f"{tool_words(job, tool)}: the {part} runs {show.length(depth)} into the {name}"
    what += " at rapid." if rapid else "."
    more = []
    if worst_row != first:
        more.append(f"Deepest in line {worst_line}.")
    if len(lines) > 1:
        more.append(f"{len(lines)} blocks from line {lines[0]} to line {lines[-1]}.")
    tip = position(int(worst["leg"]), legs, float(worst["at"]))
    return Finding(
        code=_code(zone, rapid), severity=Severity.STOP, place=spot, what=what,
        why=ONE_PATH.get(path, _why(sweeps, first, part, name)),
        do=_do(zone, int(sweeps["kind"][first]), rapid, lift, name, bodies, body, show),
        amount=Value(best=depth, u=0.0, unit="mm", bound=BOUND_MM), move=first, op=op,
        tool=job.tools[tool].number if tool >= 0 else -1, body=name, part=part,
        point_mm=program_point(tip, worst_row, sweeps, shifts), count=len(np.unique(rows)), more=tuple(more),
    )  # fmt: skip


def _code(zone: int, rapid: bool) -> str:
    if zone == Zone.CUTTING:
        return "P202" if rapid else "P201"
    return {Zone.NECK: "P203", Zone.SHANK: "P203", Zone.HOLDER: "P204", Zone.NOSE: "P205"}.get(Zone(zone), "P206")


def _why(sweeps: Rows, row: int, part: str, name: str) -> str:
    kind = int(sweeps["kind"][row])
    if kind == Kind.TOOL_CHANGE:
        return f"The way to the tool change leads through the {name}."
    if kind == Kind.DECLARED:
        return f"The motion that the shop file declares for this code leads through the {name}."
    going = np.asarray(sweeps["to_mm"][row]) - np.asarray(sweeps["from_mm"][row])
    if going[2] < -1e-6 and float(np.hypot(going[0], going[1])) < 1e-6:
        return f"The {part} comes straight down on the {name}."
    if abs(going[2]) < 1e-6:
        return f"At this height the way of the {part} leads through the {name}."
    return f"The way of the {part} leads through the {name}."


def _do(
    zone: int, kind: int, rapid: bool, lift: float | None, name: str, bodies: Bodies, body: int, show: Display
) -> str:
    """The smallest change that clears it: `lift` was worked out and checked on the moves concerned."""
    if lift is None:
        return f"Move the {name}, or keep the moves away from it."
    by = show.length(lift)
    lower = "" if bodies.kinds[body] == "table" else f", or stand the {name} {by} lower"
    if zone == Zone.CUTTING and rapid:
        return f"Raise these moves by {by}{lower}."
    if zone == Zone.CUTTING:
        return f"Raise these moves by {by}{lower}; if it is meant to be cut, say so with may_cut."
    if zone in (Zone.NECK, Zone.SHANK):
        return f"Use a cutting part or neck that is {by} longer{lower}."
    if zone == Zone.HOLDER:
        return f"Let the tool stick out {by} more{lower}."
    if zone == Zone.NOSE:
        return f"Use a tool and holder {by} longer{lower}."
    return f"Raise these moves by {by}{lower}."
