"""Every move against what is left of the stock: rapids, shanks and holders in material, cutting without turning."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows
from halfthou.base.watch import Watch
from halfthou.geometry.near import Legs
from halfthou.geometry.near_cells import CELLS
from halfthou.geometry.near_chain import Chains
from halfthou.geometry.near_stock import NO, OPEN, YES, Cuts, Pieces, Raw, meet
from halfthou.nouns.cut import APPROACH
from halfthou.nouns.job import Job
from halfthou.nouns.moves import Kind
from halfthou.nouns.tool import Zone

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
U1 = NDArray[np.uint8]

BATCH = 64  # (leg, piece) pairs a step
FARTHEST_MM = 8.0  # approaches to the stock beyond this are not listed
NEAR_CELLS = 3000  # cells looked at for one pair when only its clearance is wanted
DEEP_CELLS = 40_000  # and when a depth is not decided by that many (against cells; else all that are allowed)
LIFT_MM = 0.01  # width to which the height that clears is halved
UPWARDS = 1.75  # a lift of up to so many times the depth all round is told as the depth: the point of a tool is down
LADDER_MM = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0)  # how near an open pair comes is told in these steps
FINE_MM = 0.002  # width to which depths and approaches are halved

RAPID, STILL, WRONG_WAY, STYLUS, SHANK, HOLDER, NOSE = range(7)  # what a pair is looked at for


@dataclass(frozen=True, slots=True, kw_only=True)
class Pairs:
    """(leg, piece) pairs to look at, all (n,): why, and the row before which the stock counts."""

    leg: I8
    piece: I8
    why: U1
    before: I8

    def some(self, which: NDArray[np.bool_] | I8) -> "Pairs":
        """The pairs named."""
        return Pairs(leg=self.leg[which], piece=self.piece[which], why=self.why[which], before=self.before[which])


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One place's stock with the moves: everything `meet` needs."""

    legs: Legs
    chains: Chains
    pieces: Pieces
    cuts: Cuts
    raw: Raw

    def answers(
        self, pairs: Pairs, shrink_mm: float, grow_mm: float, watch: Watch, name: str, most: int | None = None
    ) -> tuple[U1, F8]:
        """Answer and point of every pair."""
        answer, point = np.zeros(len(pairs.leg), dtype=np.uint8), np.full((len(pairs.leg), 3), np.nan)
        for start in range(0, len(pairs.leg), BATCH):
            watch.step(name, start, len(pairs.leg))
            part = slice(start, start + BATCH)
            n = len(pairs.leg[part])
            answer[part], point[part] = meet(
                self.legs, pairs.leg[part], pairs.piece[part], pairs.before[part], np.full(n, shrink_mm),
                np.full(n, grow_mm), self.cuts, self.pieces, self.raw, most,
                lambda start=start: watch.step(name, start, len(pairs.leg)),  # type: ignore[misc]
            )  # fmt: skip
        return answer, point


@dataclass(frozen=True, slots=True, kw_only=True)
class Met:
    """Pairs of one tool, zone and reason that meet the stock, or that are left open."""

    tool: int
    zone: int
    why: int
    leg: I8
    point_mm: F8
    depth_mm: float  # how much smaller all round the piece would have to be
    bound_mm: float
    deepest: int  # position in `leg`
    open_pairs: int
    first_open: int  # row
    lift_mm: float = 0.0  # how much higher the piece would have to be to clear, 0 = not looked for
    cells: bool = False  # whether the stock is looked at in cells that are halved
    near_mm: float = -1.0  # of open pairs against cells: surely nearer than this (-1: not known)
    most_mm: float = -1.0  # and a contact is surely no deeper than this (-1: not known)


def pairs_of(legs: Legs, sweeps: Rows, chains: Chains, pieces: Pieces, raw: Raw, job: Job) -> Pairs:
    """What has to be looked at: only pieces that come lower than FARTHEST_MM above the top of the raw stock."""
    found: list[tuple[I8, int, int, I8]] = []
    kind = sweeps["kind"][legs.row]
    after_probe = np.isin(legs.row - 1, np.flatnonzero(sweeps["kind"] == Kind.PROBE))
    fast = (sweeps["rapid"][legs.row] != 0) | np.isin(kind, (Kind.TOOL_CHANGE, Kind.DECLARED, Kind.RAPID))
    turning = sweeps["turning"][legs.row]
    lowest = np.minimum(legs.from_mm[:, 2], legs.to_mm[:, 2])
    down = legs.to_mm[:, 2] < legs.from_mm[:, 2] - 1e-9
    upright = np.hypot(*(legs.to_mm - legs.from_mm)[:, :2].T) < 1e-9
    for tool in np.unique(legs.tool):
        mine = legs.tool == tool
        wanted = -1 if tool >= 0 and job.tools[tool].left_hand else 1
        width = max((_reach(chains, pieces, g) for g in chains.pieces(tool) if chains.zone[g] == 0), default=0.0)
        for g in chains.pieces(int(tool)):
            start = pieces.chain_mm[pieces.first_point[g], 1] - pieces.grow_mm[g]
            below = np.flatnonzero(mine & (lowest + start < raw.high_mm + FARTHEST_MM))
            if not len(below):
                continue
            row = legs.row[below]
            zone = int(chains.zone[g])
            if zone == Zone.CUTTING:
                feed = ~fast[below] & np.isin(kind[below], (Kind.LINE, Kind.ARC))
                for why, chosen in (
                    (RAPID, fast[below]),
                    (STILL, feed & (turning[below] == 0)),
                    (WRONG_WAY, feed & (turning[below] == -wanted)),
                ):
                    found.append((below[chosen], g, why, row[chosen]))
            elif zone == Zone.STYLUS:
                chosen = (kind[below] != Kind.PROBE) & ~after_probe[below]
                found.append((below[chosen], g, STYLUS, row[chosen]))
            else:
                why = HOLDER if zone == Zone.HOLDER else NOSE if zone == Zone.NOSE else SHANK
                narrow = _reach(chains, pieces, g) <= width + 1e-6
                own = down[below] & (upright[below] | narrow)  # the cutter goes first and opens the way
                chosen = kind[below] != Kind.PROBE
                found.append((below[chosen], g, why, (row + own)[chosen]))
    if not found:
        none = np.zeros(0, dtype=np.int64)
        return Pairs(leg=none, piece=none, why=none.astype(np.uint8), before=none)
    leg = np.concatenate([item[0] for item in found])
    order = np.argsort(leg, kind="stable")
    return Pairs(
        leg=leg[order],
        piece=np.concatenate([np.full(len(item[0]), item[1]) for item in found])[order],
        why=np.concatenate([np.full(len(item[0]), item[2], dtype=np.uint8) for item in found])[order],
        before=np.concatenate([item[3] for item in found])[order].astype(np.int64),
    )


def _reach(chains: Chains, pieces: Pieces, g: int) -> float:
    return float(pieces.chain_mm[pieces.first_point[g] + pieces.wide[g], 0] + pieces.grow_mm[g])


def met(field: Field, pairs: Pairs, limit_mm: float, watch: Watch, name: str) -> Iterator[Met]:
    """One item a (tool, zone, reason) with a contact deeper than the limit, or with pairs left open."""
    answer, point = field.answers(pairs, limit_mm, 0.0, watch, name)
    keys = np.stack([field.legs.tool[pairs.leg], field.chains.zone[pairs.piece], pairs.why], axis=1)
    if not len(keys):
        return
    for key in np.unique(keys[answer != NO], axis=0):
        mine = np.all(keys == key, axis=1)
        hit = np.flatnonzero(mine & (answer == YES))
        left = pairs.leg[mine & (answer == OPEN)]
        depth, bound, deepest, lift = 0.0, 0.0, 0, 0.0
        near = most = -1.0
        if not len(hit) and field.raw.shape == CELLS:
            near, most = _how_near(field, pairs.some(np.flatnonzero(mine & (answer == OPEN))), watch, name)
        if len(hit):
            depth, bound, deepest = _deepest(field, pairs.some(hit), limit_mm, watch, name)
            if int(key[2]) in (RAPID, SHANK, HOLDER, NOSE):
                lift = _lift(field, pairs.some(hit), limit_mm, watch, name)
            leg = pairs.leg[hit[deepest]]
            upright = float(np.hypot(*(field.legs.to_mm - field.legs.from_mm)[leg, :2])) < 1e-9
            if int(key[2]) == RAPID and upright and lift > depth:
                depth, bound = lift - limit_mm, limit_mm + LIFT_MM  # straight down: as deep as it goes
            elif (
                _pointed(field.pieces, int(pairs.piece[hit[deepest]])) and depth < lift - 2 * limit_mm < UPWARDS * depth
            ):
                depth, bound = lift - 2 * limit_mm, 2 * limit_mm + LIFT_MM
        yield Met(
            tool=int(key[0]), zone=int(key[1]), why=int(key[2]), leg=pairs.leg[hit], point_mm=point[hit],
            depth_mm=depth, bound_mm=bound, deepest=deepest, open_pairs=len(left), first_open=int(field.legs.row[left[0]]) if len(left) else -1,
            lift_mm=lift, cells=field.raw.shape == CELLS, near_mm=near, most_mm=most,
        )  # fmt: skip


def _how_near(field: Field, pairs: Pairs, watch: Watch, name: str) -> tuple[float, float]:
    """(how near some of these surely come, how deep a contact of any is at the most); -1 where LADDER_MM does not tell."""
    near = most = -1.0
    for by in (0.0, *LADDER_MM):
        answer, _ = field.answers(pairs, 0.0, by, watch, name)
        if np.any(answer == YES):
            near = by
            break
    for by in LADDER_MM:
        answer, _ = field.answers(pairs, by, 0.0, watch, name)
        if not np.any(answer != NO):
            most = by
            break
    return near, most


def _pointed(pieces: Pieces, g: int) -> bool:
    """Whether a piece ends in a point or a cone, whose way out of the stock is up."""
    low, next_ = pieces.chain_mm[pieces.first_point[g]], pieces.chain_mm[pieces.first_point[g] + 1]
    return bool(pieces.grow_mm[g] == 0.0 and next_[1] - low[1] > 1e-9 and next_[0] - low[0] > 1e-9)


def _deepest(field: Field, pairs: Pairs, limit_mm: float, watch: Watch, name: str) -> tuple[float, float, int]:
    """Largest shrink under which some pair is found in the stock, its bound, and which pair."""
    left = np.arange(len(pairs.leg))
    lowest = float(min(field.legs.from_mm[pairs.leg, 2].min(), field.legs.to_mm[pairs.leg, 2].min()))
    low, high, sure = limit_mm, 2 * limit_mm, max(field.raw.high_mm - lowest, limit_mm)
    while True:
        answer = _shrunk(field, pairs.some(left), high, watch, name)
        if not np.any(answer == YES):
            break
        left, low, high = left[answer == YES], high, 2 * high
    sure = high if not np.any(answer == OPEN) else max(sure, low)
    while high - low > max(FINE_MM, 0.01 * low):
        middle = 0.5 * (low + high)
        answer = _shrunk(field, pairs.some(left), middle, watch, name)
        if np.any(answer == YES):
            left, low = left[answer == YES], middle
        else:
            high = middle
            sure = middle if not np.any(answer == OPEN) else sure
    return low, float(max(sure - low, 0.0)) + FINE_MM, int(left[0])


def _shrunk(field: Field, pairs: Pairs, by: float, watch: Watch, name: str) -> U1:
    """Answers for the pieces made smaller by `by`: a few cells each, more where none is found so."""
    answer, _ = field.answers(pairs, by, 0.0, watch, name, NEAR_CELLS)
    still, most = np.flatnonzero(answer == OPEN), DEEP_CELLS if field.raw.shape == CELLS else None
    if len(still) and not np.any(answer == YES):
        answer[still], _ = field.answers(pairs.some(still), by, 0.0, watch, name, most)
    return answer


def _lift(field: Field, pairs: Pairs, limit_mm: float, watch: Watch, name: str) -> float:
    """How much higher all of these pairs would have to run to clear the stock, to LIFT_MM upwards."""
    left = np.arange(len(pairs.leg))

    def meets(by: float, which: I8) -> I8:
        up = np.array([0.0, 0.0, by])
        legs = replace(field.legs, from_mm=field.legs.from_mm + up, to_mm=field.legs.to_mm + up)
        answer, _ = replace(field, legs=legs).answers(pairs.some(which), limit_mm, 0.0, watch, name, NEAR_CELLS)
        return np.asarray(which[answer == YES], dtype=np.int64)

    low, high = 0.0, 2 * limit_mm
    most = field.raw.high_mm - float(min(field.legs.from_mm[pairs.leg, 2].min(), field.legs.to_mm[pairs.leg, 2].min()))
    while high < most and len(still := meets(high, left)):
        left, low, high = still, high, 2 * high
    high = min(high, max(most, 2 * limit_mm))
    while high - low > LIFT_MM:
        middle = 0.5 * (low + high)
        still = meets(middle, left)
        if len(still):
            left, low = still, middle
        else:
            high = middle
    return high + 2 * limit_mm  # the search leaves out contacts of limit_mm, on a point's slope a little more


def stock_approaches(field: Field, pairs: Pairs, place: int, watch: Watch, name: str) -> Rows:
    """Nearest approaches of holders, noses and sideways rapids to the stock: APPROACH rows.

    Only pairs that do not touch are passed in. Clearance is the growth all round at which the piece would touch.
    """
    legs, rows = field.legs, []
    sideways = np.hypot(*(legs.to_mm - legs.from_mm)[pairs.leg][:, :2].T) > 1e-6
    listed = (pairs.why >= HOLDER) | ((pairs.why == RAPID) & sideways)
    mine = pairs.some(np.flatnonzero(listed))
    keys = np.stack([legs.tool[mine.leg], field.chains.zone[mine.piece]], axis=1)
    for key in np.unique(keys, axis=0):
        group = mine.some(np.flatnonzero(np.all(keys == key, axis=1)))
        found = _nearest(field, group, watch, name)
        if found is None:
            continue
        clearance, bound, at = found
        row = np.zeros(1, dtype=APPROACH)
        row["move"], row["body"], row["zone"] = legs.row[group.leg[at]], -1 - place, key[1]
        row["clearance_mm"], row["bound_mm"] = clearance, bound
        row["tip_mm"] = legs.to_mm[group.leg[at]]
        rows.append(row)
    empty = np.zeros(0, dtype=APPROACH)
    return np.concatenate(rows) if rows else empty


def _nearest(field: Field, pairs: Pairs, watch: Watch, name: str) -> tuple[float, float, int] | None:
    """Least clearance of some pairs, its bound, and which one; the gap over the raw top bounds each, least first.

    What is left open at NEAR_CELLS counts as touching, so the clearance is never too large.
    """
    legs, pieces = field.legs, field.pieces
    low = np.minimum(legs.from_mm[:, 2], legs.to_mm[:, 2])[pairs.leg]
    gap = low + pieces.chain_mm[pieces.first_point[pairs.piece], 1] - pieces.grow_mm[pairs.piece] - field.raw.high_mm
    order = np.argsort(gap, kind="stable")
    best, sure, where = FARTHEST_MM, FARTHEST_MM, -1
    for start in range(0, len(order), BATCH):
        left = order[start : start + BATCH]
        left = left[gap[left] < best - FINE_MM]
        if not len(left) or best <= FINE_MM:
            break
        answer, _ = field.answers(pairs.some(left), 0.0, best - FINE_MM, watch, name, NEAR_CELLS)
        left = left[answer != NO]
        if not len(left):
            continue
        under, over = 0.0, best - FINE_MM
        sure = min(sure, over) if np.any(answer == YES) else sure
        while over - under > FINE_MM:
            middle = 0.5 * (under + over)
            answer, _ = field.answers(pairs.some(left), 0.0, middle, watch, name, NEAR_CELLS)
            still = np.flatnonzero(answer == OPEN)
            if field.raw.shape == CELLS and len(still) and not np.any(answer == YES):
                answer[still], _ = field.answers(pairs.some(left[still]), 0.0, middle, watch, name, 4 * NEAR_CELLS)
            if np.any(answer != NO):
                sure = min(sure, middle) if np.any(answer == YES) else sure
                left, over = left[answer != NO], middle
            else:
                under = middle
        best, where = over, int(left[0])
    return None if where < 0 else (best, max(sure - best, 0.0) + FINE_MM, where)
