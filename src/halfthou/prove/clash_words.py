"""Contacts in the reader's words: one finding a tool, moving part and standing body, with the change that clears it."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.finding import Finding, Severity
from halfthou.base.limits import CONTACT_MM
from halfthou.base.table import Rows
from halfthou.base.units import Display
from halfthou.base.value import Value
from halfthou.geometry.near import Legs, position
from halfthou.geometry.near_chain import Bodies, Chains
from halfthou.nouns.job import Job
from halfthou.nouns.moves import Kind, MoveList
from halfthou.nouns.tool import Zone
from halfthou.prove.clash_body import lift_needed
from halfthou.prove.clash_doubt import BOUND_MM, bent
from halfthou.prove.clash_legs import DOG_LEG_ONLY, STRAIGHT_ONLY
from halfthou.prove.clash_stock import HOLDER, NOSE, RAPID, SHANK, STILL, STYLUS, WRONG_WAY, Met

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


def _severity(path: int) -> Severity:
    """What depends on a habit of the control that nobody stated is a question, not a verdict."""
    return Severity.CARE if path else Severity.STOP


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """What findings of one operation are written from."""

    moves: MoveList
    sweeps: Rows
    job: Job
    op: int
    shifts: tuple[F8, ...]

    @property
    def show(self) -> Display:
        """How the shop writes lengths."""
        return Display(length_unit=self.job.length_unit)

    def number(self, tool: int) -> int:
        """T number of a tool row, -1 for the empty spindle."""
        return self.job.tools[tool].number if tool >= 0 else -1

    def point(self, point_mm: F8, row: int) -> tuple[float, float, float]:
        """A table-frame point in the program frame the row speaks in (the first place's if that is not known)."""
        place = int(self.sweeps["place"][row])
        at = place if 0 <= place < len(self.shifts) else 0
        shift = np.asarray(self.shifts[at]) if self.shifts else np.zeros(3)
        x, y, z = (float(v) for v in np.asarray(point_mm) - shift)
        return x, y, z

    def lines(self, rows: I8, worst: int) -> tuple[str, ...]:
        """Further lines: which blocks, and where it is deepest."""
        numbers = np.unique(self.moves.moves["line"][rows])
        said = []
        if worst != int(rows[0]):
            said.append(f"Deepest in line {int(self.moves.moves['line'][worst])}.")
        if len(numbers) > 1:
            said.append(f"{len(numbers)} blocks from line {numbers[0]} to line {numbers[-1]}.")
        return tuple(said)


def body_findings(words: Words, legs: Legs, hits: Rows, chains: Chains, bodies: Bodies) -> Iterator[Finding]:
    """One finding a (tool, moving part, body), in the order of their first block."""
    groups: dict[tuple[int, int, int], list[int]] = {}
    for i, hit in enumerate(hits):
        key = (int(legs.tool[hit["leg"]]), int(hit["zone"]), int(hit["body"]))
        groups.setdefault(key, []).append(i)
    for (_, zone, body), members in groups.items():
        yield _body_finding(words, legs, hits[members], chains, bodies, zone, body)


def _body_finding(
    words: Words, legs: Legs, hits: Rows, chains: Chains, bodies: Bodies, zone: int, body: int
) -> Finding:
    which = hits["leg"].astype(np.int64)
    rows = legs.row[which]
    first = int(rows[0])
    tool = int(legs.tool[which[0]])
    rapid = bool(words.sweeps["rapid"][first])
    worst = hits[int(np.argmin(hits["clearance_mm"]))]
    depth = -float(worst["clearance_mm"])
    name, part = bodies.names[body], PARTS[zone]
    lift = lift_needed(legs, which[np.argsort(hits["clearance_mm"])[:LIFTED]], zone, body, chains, bodies)
    worst_row = int(legs.row[int(worst["leg"])])
    tip = position(int(worst["leg"]), legs, float(worst["at"]))
    at_rapid = " at rapid." if rapid else "."
    return Finding(
        code=_code(zone, rapid), severity=_severity(only_path(legs, which)), place=words.moves.place(first),
        what=f"{tool_words(words.job, tool)}: the {part} runs {words.show.length(depth)} into the {name}{at_rapid}",
        why=ONE_PATH.get(only_path(legs, which), _why(words.sweeps, first, part, name)),
        do=_do(zone, rapid, lift, name, bodies.kinds[body], words.show),
        amount=Value(best=depth, u=0.0, unit="mm", bound=BOUND_MM + float(bodies.error_mm[body])), move=first,
        op=words.op, tool=words.number(tool), body=name, part=part, point_mm=words.point(tip, worst_row),
        count=len(np.unique(rows)), more=(*words.lines(rows, worst_row), *_meaning(words, body, part, bodies)),
    )  # fmt: skip


def _meaning(words: Words, body: int, part: str, bodies: Bodies) -> tuple[str, ...]:
    """What the depth in a mesh means, and how exact its faces are."""
    said = []
    if bent(bodies)[body]:
        said.append(f"Depth: how much smaller all round the {part} would have to be.")
    if bodies.error_mm[body] > BOUND_MM:
        said.append(
            f"The facets of the {bodies.names[body]} lie up to {words.show.length(float(bodies.error_mm[body]))} off its true faces."
        )
    return tuple(said)


def undecided_findings(
    words: Words, legs: Legs, hits: Rows, undecided: Rows, chains: Chains, bodies: Bodies
) -> Iterator[Finding]:
    """One question a (tool, moving part, body) where a mesh leaves it open whether they touch, unless they do anyway."""
    sure = {(int(legs.tool[hit["leg"]]), int(hit["zone"]), int(hit["body"])) for hit in hits}
    groups: dict[tuple[int, int, int], list[int]] = {}
    for i, hit in enumerate(undecided):
        key = (int(legs.tool[hit["leg"]]), int(hit["zone"]), int(hit["body"]))
        if key not in sure:
            groups.setdefault(key, []).append(i)
    for (tool, zone, body), members in groups.items():
        own = undecided[members]
        own = own[np.argsort(own["leg"], kind="stable")]
        rows = legs.row[own["leg"]]
        worst = own[int(np.argmin(own["clearance_mm"]))]
        worst_row, first = int(legs.row[int(worst["leg"])]), int(rows[0])
        error, gap = float(bodies.error_mm[body]), float(worst["clearance_mm"])
        near = max(gap + (error if error > BOUND_MM else 0.0), CONTACT_MM)
        why = f"The facets of the mesh lie up to {words.show.length(error)} off the true faces."
        if error <= BOUND_MM:
            why = "The mesh is not convex there; no shift by a hundredth of a millimetre was found to part them."
        yield Finding(
            code="P221", severity=Severity.CARE, place=words.moves.place(first),
            what=f"{tool_words(words.job, tool)}: the {PARTS[zone]} comes nearer than {words.show.length(near)} to the "
            f"{bodies.names[body]}; a contact could not be ruled out.",
            why=why, do="Look at these moves, leave more room, or give the body with finer facets.",
            amount=Value(best=gap, u=0.0, unit="mm", bound=BOUND_MM + error), move=first, op=words.op,
            tool=words.number(tool), body=bodies.names[body], part=PARTS[zone], count=len(np.unique(rows)),
            point_mm=words.point(position(int(worst["leg"]), legs, float(worst["at"])), worst_row),
            more=words.lines(rows, worst_row),
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


def _do(zone: int, rapid: bool, lift: float | None, name: str, kind: str, show: Display) -> str:
    """The smallest change that clears it: `lift` was worked out and checked on the moves concerned."""
    if lift is None:
        return f"Move the {name}, or keep the moves away from it."
    by = show.length(lift)
    lower = "" if kind == "table" else f", or stand the {name} {by} lower"
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


STOCK_CODE = {
    RAPID: "P211", SHANK: "P212", HOLDER: "P213", NOSE: "P214", STILL: "P215", WRONG_WAY: "P216", STYLUS: "P217",
}  # fmt: skip
STOCK_WHAT = {
    RAPID: "the cutter runs {depth} deep through {stock} at rapid",
    SHANK: "the {part} runs {depth} into {stock}",
    HOLDER: "the {part} runs {depth} into {stock}",
    NOSE: "the {part} runs {depth} into {stock}",
    STILL: "the tool cuts {stock} with the spindle stopped, {depth} deep",
    WRONG_WAY: "the tool cuts {stock} turning {way}, {depth} deep",
    STYLUS: "the {part} runs {depth} into {stock} outside a probe move",
}
STOCK_WHY = {
    RAPID: "There is still material in the way of this rapid when it runs.",
    SHANK: "Material stands beside the tool higher than its cutting part reaches.",
    HOLDER: "The stock stands higher here than the tool sticks out.",
    NOSE: "The stock stands higher here than tool and holder are long.",
    STILL: "No M3 or M4 is in force here.",
    WRONG_WAY: "Its edges point the other way.",
    STYLUS: "Only a probe move stops when the stylus touches.",
}


def stock_findings(words: Words, legs: Legs, all_met: list[Met], stock: str) -> Iterator[Finding]:
    """One finding a (tool, moving part, reason) for what meets the stock, and one for what could not be decided."""
    for item in all_met:
        if len(item.leg):
            yield _stock_finding(words, legs, item, stock)
        elif item.open_pairs:
            yield _open_finding(words, legs, item, stock)


def _stock_finding(words: Words, legs: Legs, item: Met, stock: str) -> Finding:
    rows = legs.row[item.leg]
    first, worst = int(rows[0]), int(rows[item.deepest])
    depth = words.show.length(item.depth_mm)
    way = "counter-clockwise (M4)" if int(words.sweeps["turning"][first]) < 0 else "clockwise (M3)"
    said = STOCK_WHAT[item.why].format(depth=depth, stock=f"the {stock}", part=PARTS[item.zone], way=way)
    return Finding(
        code=STOCK_CODE[item.why], severity=_severity(only_path(legs, item.leg)), place=words.moves.place(first),
        what=f"{tool_words(words.job, item.tool)}: {said}.",
        why=ONE_PATH.get(only_path(legs, item.leg), STOCK_WHY[item.why]),
        do=_stock_do(item, words.job, depth),
        amount=Value(best=item.depth_mm, u=0.0, unit="mm", bound=item.bound_mm), move=first, op=words.op,
        tool=words.number(item.tool), body=stock, part=PARTS[item.zone], point_mm=words.point(item.point_mm[0], first),
        count=len(np.unique(rows)), more=words.lines(rows, worst),
    )  # fmt: skip


def _stock_do(item: Met, job: Job, depth: str) -> str:
    """The smallest change that clears it: so much higher, longer, or `depth` thinner all round."""
    lift = Display(length_unit=job.length_unit).length(item.lift_mm) if item.lift_mm > 0 else depth
    if item.why == RAPID:
        return f"Raise this rapid by {lift}, or make it a feed move."
    if item.why == SHANK:
        return (
            f"Cut what stands beside it first, or use a cutting part or neck {lift} longer or a shank {depth} thinner "
            "all round."
        )
    if item.why == HOLDER:
        return f"Let the tool stick out {lift} more."
    if item.why == NOSE:
        return f"Use a tool and holder {lift} longer."
    if item.why == STILL:
        return "Start the spindle before this block."
    if item.why == WRONG_WAY:
        hand = "left" if item.tool >= 0 and job.tools[item.tool].left_hand else "right"
        return f"This is a {hand}-hand tool: use {'M4' if hand == 'left' else 'M3'}."
    return f"Raise this move by {depth}, or make it a probe move."


def _open_finding(words: Words, legs: Legs, item: Met, stock: str) -> Finding:
    if item.cells:
        return _nearer_finding(words, item, stock)
    return Finding(
        code="P221", severity=Severity.CARE, place=words.moves.place(int(item.first_open)),
        what=f"{tool_words(words.job, item.tool)}: the {PARTS[item.zone]} comes so near to the {stock} that a contact "
        f"could not be ruled out ({item.open_pairs} moves).",
        why="The search ended before every spot was decided.",
        do="Look at these moves, or leave more room.", move=int(item.first_open), op=words.op,
        tool=words.number(item.tool), body=stock, part=PARTS[item.zone], count=item.open_pairs,
    )  # fmt: skip


def _nearer_finding(words: Words, item: Met, stock: str) -> Finding:
    """Stock whose shape is halved until it decides: how near, and how deep at the most."""
    show, part = words.show, PARTS[item.zone]
    near = max(item.near_mm, CONTACT_MM)
    said = f"comes nearer than {show.length(near)} to the {stock}" if item.near_mm >= 0 else f"comes near the {stock}"
    limit = max(item.near_mm, item.most_mm)
    more = [f"{item.open_pairs} moves."]
    if item.most_mm >= 0:
        more.append(f"A contact would be no deeper than {show.length(item.most_mm)}.")
    known = item.near_mm >= 0 and item.most_mm >= 0
    return Finding(
        code="P222", severity=Severity.CARE, place=words.moves.place(int(item.first_open)),
        what=f"{tool_words(words.job, item.tool)}: the {part} {said}; whether they touch was not decided.",
        why="The stock was looked at as finely as the search may, and the two lie too close together.",
        do="Look at these moves, or leave more room.", move=int(item.first_open), op=words.op,
        amount=Value(best=0.0, u=0.0, unit="mm", bound=limit) if known else None,
        tool=words.number(item.tool), body=stock, part=part, count=item.open_pairs, more=tuple(more),
    )  # fmt: skip
