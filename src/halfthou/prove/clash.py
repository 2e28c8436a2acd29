"""Tool, shank, holder, spindle, jaws, table and stock against each other: contacts and nearest approaches."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.finding import Finding
from halfthou.base.limits import CONTACT_MM
from halfthou.base.table import Rows, lock
from halfthou.base.units import Display
from halfthou.base.watch import QUIET, Watch
from halfthou.geometry.near import Legs
from halfthou.geometry.near_chain import Bodies, Chains, pack_tools
from halfthou.geometry.near_stock import FIELD, Raw, chords, cuts_of, pieces_of
from halfthou.nouns.answers import Approach
from halfthou.nouns.cut import APPROACH, CutRecord
from halfthou.nouns.job import Job
from halfthou.nouns.moves import Kind, MoveList
from halfthou.nouns.tool import Zone
from halfthou.prove.clash_body import Searched, search, standing
from halfthou.prove.clash_cells import cells_of
from halfthou.prove.clash_deep import deep_findings
from halfthou.prove.clash_legs import legs_of
from halfthou.prove.clash_raw import EarlierOp, raw_of, turned_raw
from halfthou.prove.clash_spindle import spindle_findings
from halfthou.prove.clash_stock import Field, met, pairs_of, stock_approaches
from halfthou.prove.clash_words import PARTS, Words, body_findings, stock_findings, undecided_findings

F8 = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """Everything one operation's search works on."""

    moves: MoveList
    sweeps: Rows
    job: Job
    op: int
    shifts: tuple[F8, ...]
    legs: Legs
    chains: Chains
    bodies: Bodies


def contacts(
    moves: MoveList,
    sweeps: Rows,
    job: Job,
    op: int,
    removals: Sequence[object] = (),
    *,
    shifts: Sequence[F8],
    rapid_path: str | None,
    watch: Watch = QUIET,
    starts: Sequence[CutRecord | None] = (),
    earlier: Sequence[EarlierOp | None] = (),
) -> tuple[tuple[Finding, ...], Rows, tuple[str, ...]]:
    """Findings of contact, nearest approaches (APPROACH, nearest first) and what could not be checked.

    moves: the operation's MOVE rows; sweeps: SWEEP rows aligned with them. removals: one a place of the operation,
    what the moves took out of its stock. shifts: f8 (3,) a place, program frame to table frame. rapid_path as in
    `Control`, None = both paths are looked at. Contacts deeper than CONTACT_MM are found; `body` of an approach
    counts the bodies as `body_names` does. starts: the stock of each place before the operation, needed where it is
    no box or cylinder (else `removals[i].start` is looked for); box and cylinder are taken exactly. earlier: the
    operation that made a place's stock, if that one started from a box or cylinder: then the stock is exact too.
    """
    scene, searched, not_checked = _bodies(moves, sweeps, job, op, shifts, rapid_path, watch)
    words = Words(moves=moves, sweeps=sweeps, job=job, op=op, shifts=tuple(shifts))
    found = list(body_findings(words, scene.legs, searched.hits, scene.chains, scene.bodies))
    found += undecided_findings(words, scene.legs, searched.hits, searched.undecided, scene.chains, scene.bodies)
    stock, near, said = _stocks(scene, words, removals, starts, earlier, watch)
    found += stock
    found += spindle_findings(moves, sweeps, job, op)
    found.sort(key=lambda finding: finding.move)
    nearest = np.concatenate([searched.nearest, near])
    nearest = nearest[np.argsort(nearest["clearance_mm"], kind="stable")]
    return tuple(found), lock(nearest), (*not_checked, *said)


def _stocks(
    scene: Scene,
    words: Words,
    removals: Sequence[object],
    starts: Sequence[CutRecord | None],
    earlier: Sequence[EarlierOp | None],
    watch: Watch,
) -> tuple[list[Finding], Rows, list[str]]:
    """The same against the stock of every place."""
    found: list[Finding] = []
    near: list[Rows] = [np.zeros(0, dtype=APPROACH)]
    said: list[str] = []
    job, op = scene.job, scene.op
    for index, place in enumerate(job.ops[op].places):
        start = starts[index] if index < len(starts) else None
        if start is None and index < len(removals):
            start = getattr(removals[index], "start", None)
        made_by = earlier[index] if index < len(earlier) else None
        raw: Raw | str | None = None
        if made_by is not None:
            raw = _turned(scene, made_by, scene.shifts[index])
        if raw is None and index < len(removals):
            raw = cells_of(removals[index], place.stock, scene.shifts[index])
        if raw is None:
            raw = raw_of(place.stock, scene.shifts[index], start)
        if isinstance(raw, str):
            said.append(f"tool and holder against the stock at {place.name}: {raw}")
            continue
        pieces = pieces_of(scene.chains)
        legs = chords(scene.legs)
        cuts = cuts_of(legs, scene.sweeps["kind"], scene.chains, pieces, raw)
        field = Field(legs=legs, chains=scene.chains, pieces=pieces, cuts=cuts, raw=raw)
        pairs = pairs_of(legs, scene.sweeps, scene.chains, pieces, raw, job)
        name = f"stock contacts of {job.ops[op].name}"
        all_met = list(met(field, pairs, CONTACT_MM, watch, name))
        stock_name = "stock" if len(scene.shifts) == 1 else f"stock ({place.name})"
        found += list(stock_findings(words, legs, all_met, stock_name))
        found += list(deep_findings(words, field, stock_name))
        touching = {(item.tool, item.zone) for item in all_met if len(item.leg)}
        keep = [
            (int(k), int(z)) not in touching
            for k, z in zip(legs.tool[pairs.leg], scene.chains.zone[pairs.piece], strict=True)
        ]
        rows = stock_approaches(field, pairs.some(np.array(keep, dtype=bool)), index, watch, name)
        near.append(rows)
        if raw.shape == FIELD:
            said.append(
                f"stock at {place.name}: its edges before the operation are known to {Display(length_unit=job.length_unit).length(raw.pitch_mm)}"
            )
    return found, np.concatenate(near), said


def _turned(scene: Scene, made_by: EarlierOp, shift_mm: F8) -> Raw | None:
    """The stock an operation before left, from its own cuts."""
    before = raw_of(made_by.stock, made_by.shift_mm, None)
    if isinstance(before, str):
        return None
    legs, _ = legs_of(made_by.sweeps, scene.job, scene.job.machine.control.rapid_path)
    legs = chords(legs)
    cuts = cuts_of(legs, made_by.sweeps["kind"], scene.chains, pieces_of(scene.chains), before)
    return turned_raw(before, cuts, made_by.turn, made_by.shift_mm, shift_mm)


def _bodies(
    moves: MoveList, sweeps: Rows, job: Job, op: int, shifts: Sequence[F8], rapid_path: str | None, watch: Watch
) -> tuple[Scene, Searched, tuple[str, ...]]:
    legs, unknown = legs_of(sweeps, job, rapid_path)
    chains = pack_tools(job.tools, job.machine)
    stand = standing(job, op, moves, shifts)
    name = f"contacts of {job.ops[op].name}"
    searched = search(legs, chains, stand.bodies, sweeps, limit_mm=CONTACT_MM, watch=watch, name=name)
    said = (*stand.not_checked, *_not_given(sweeps, job))
    if stand.bodies.as_is:
        names = ", ".join(stand.bodies.names[k] for k in stand.bodies.as_is)
        said = (*said, f"may_cut of {names}: the mesh cannot be cut level, so none of it may be cut")
    if unknown:
        said = (*said, f"{unknown} blocks of {job.ops[op].name} whose position is not known")
    scene = Scene(
        moves=moves, sweeps=sweeps, job=job, op=op, shifts=tuple(shifts), legs=legs, chains=chains, bodies=stand.bodies
    )
    return scene, searched, said


def move_clearances(
    moves: MoveList, sweeps: Rows, job: Job, op: int, *, shifts: Sequence[F8], rapid_path: str | None
) -> F8:
    """Least clearance f8 (n,) of every row to any standing body, any part of the tool; a lower bound above NEAR_MM."""
    _, searched, _ = _bodies(moves, sweeps, job, op, shifts, rapid_path, QUIET)
    return searched.row_mm


def body_names(job: Job, op: int, moves: MoveList, shifts: Sequence[F8]) -> tuple[str, ...]:
    """Names of the standing bodies in the order of APPROACH's `body`; -1 - place is the stock of that place."""
    return standing(job, op, moves, shifts).bodies.names


def approaches(
    nearest: Rows, moves: MoveList, sweeps: Rows, job: Job, op: int, *, shifts: Sequence[F8], first_row: int = 0
) -> tuple[Approach, ...]:
    """The nearest approaches with names and lines; first_row is the operation's first row in the job-wide table."""
    names = body_names(job, op, moves, shifts)
    places = job.ops[op].places
    found = []
    for row in nearest:
        move, body = int(row["move"]), int(row["body"])
        spot = moves.place(move)
        stock = "stock" if len(places) == 1 else f"stock ({places[-1 - body].name})" if body < 0 else ""
        tool = int(sweeps["tool"][move])
        found.append(
            Approach(
                op=op,
                tool=job.tools[tool].number if tool >= 0 else -1,
                part=PARTS[int(row["zone"])],
                body=stock if body < 0 else names[body],
                clearance_mm=float(row["clearance_mm"]),
                bound_mm=float(row["bound_mm"]),
                move=move + first_row,
                line=spot.line,
                file=spot.file,
            )
        )
    return tuple(found)


def _not_given(sweeps: Rows, job: Job) -> tuple[str, ...]:
    """Parts of tool and machine whose shape nobody stated."""
    said = []
    used = [int(k) for k in np.unique(sweeps["tool"]) if k >= 0]
    bare = [job.tools[k] for k in used if not np.any(job.tools[k].zone == Zone.HOLDER)]
    if bare:
        said.append("holder of " + ", ".join(f"T{tool.number}" for tool in bare) + ": no shape is given")
    nose = job.machine.spindle.nose_diameter_mm
    if nose is None and not any(np.any(job.tools[k].zone == Zone.NOSE) for k in used):
        said.append("spindle nose: its size is not stated")
    if np.any(sweeps["kind"] == Kind.DECLARED):
        said.append("doors and covers that move during declared codes")
    return tuple(said)
