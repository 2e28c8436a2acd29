"""Every move against every standing body: hits deeper than the limit, and the nearest approaches."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.limits import NEAR_MM
from halfthou.base.table import Rows, dtype
from halfthou.base.watch import Watch
from halfthou.geometry.near import FAR, Legs, clearance_at, clearances, position
from halfthou.geometry.near_chain import ZONES, Bodies, Chains, pack_bodies
from halfthou.nouns.cut import APPROACH
from halfthou.nouns.job import Job, Op
from halfthou.nouns.moves import Kind, MoveList
from halfthou.nouns.stock import BodyMesh, Prism
from halfthou.nouns.tool import Zone
from halfthou.prove.clash_doubt import BOUND_MM, Doubtful

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

CHUNK = 1024  # legs a step: well under 100 ms with ten bodies
DEEP_MM = 1000.0  # how far down a table is taken to reach
WIDE_MM = 5000.0  # half width of a table whose edges are not stated
LIFT_MM = 0.003  # a lift counts as clearing when no more than this is left, a third of a contact

UNDER = ("vise bed", "parallel", "sub-plate", "table", "soft jaw")  # kinds that may lie under a part

#: One (leg, zone, body) nearer than minus the limit.
HIT = dtype(("leg", "i8"), ("body", "i4"), ("zone", "u1"), ("clearance_mm", "f8"), ("at", "f8"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What stands on the table: packed bodies, and what could not be put there."""

    bodies: Bodies
    not_checked: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Searched:
    """hits: HIT rows in leg order. nearest: APPROACH rows, one a (tool, zone, body). row_mm f8 (n,): by move row.

    undecided: HIT rows of meshes that may or may not be contacts deeper than the limit.
    """

    hits: Rows
    nearest: Rows
    near_tool: I8  # tool row of each nearest approach
    row_mm: F8 = field(repr=False)
    undecided: Rows = field(default_factory=lambda: np.zeros(0, dtype=HIT))


def standing(job: Job, op: int, moves: MoveList, shifts: Sequence[F8]) -> Standing:
    """All bodies of the operation's places in the table frame, and the table where its height is known."""
    spec = job.ops[op]
    several = len(spec.places) > 1
    found: list[tuple[Prism, int, F8]] = []
    for index, place in enumerate(spec.places):
        for body in place.bodies:
            name = f"{body.name} ({place.name})" if several else body.name
            found.append((replace(body, name=name), index, np.asarray(shifts[index], dtype=float)))
    said: list[str] = []
    table = _table(job, moves)
    if isinstance(table, str):
        said.append(table)
    else:
        found.append((table, -1, np.zeros(3)))
    if not any(place.bodies for place in spec.places):
        said.append(f"vise, jaws, clamps: {spec.name} gives no bodies")
    said += _below(spec, have_table=not isinstance(table, str))
    return Standing(bodies=pack_bodies(found), not_checked=tuple(said))


def _table(job: Job, moves: MoveList) -> Prism | str:
    machine = job.machine
    if machine.table_z_mm is None:
        return "the machine table: its height is not stated"
    used = {int(frame) for frame in moves.moves["frame"] if 0 <= int(frame) < len(moves.frames)}
    if any(not int(moves.frames[frame]["known"][2]) for frame in used):
        return "the machine table: the work offset in Z is not given"
    (x0, y0), (x1, y1) = (-WIDE_MM, -WIDE_MM), (WIDE_MM, WIDE_MM)
    if machine.table_low_mm is not None and machine.table_high_mm is not None:
        (x0, y0), (x1, y1) = machine.table_low_mm, machine.table_high_mm
    foot = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    high = machine.table_z_mm
    return Prism(name="table", kind="table", footprint_mm=foot, low_z_mm=high - DEEP_MM, high_z_mm=high)


def _below(spec: Op, *, have_table: bool) -> list[str]:
    """Places whose stock has nothing given under it: through holes are then not checked against what lies there."""
    said = []
    for place in spec.places:
        stock = place.stock
        if have_table:
            continue
        if stock.kind not in ("box", "cylinder"):
            if not any(body.kind in UNDER for body in place.bodies):
                said.append(f"below the part at {place.name}: no body is given there")
            continue
        if stock.kind == "box":
            low, high = np.array(stock.low_mm[:2]), np.array(stock.high_mm[:2])
        else:
            low = np.array(stock.centre_mm) - stock.diameter_mm / 2
            high = np.array(stock.centre_mm) + stock.diameter_mm / 2
        under = False
        for body in place.bodies:
            foot = body.footprint_mm
            if body.mesh is not None:
                under = under or _mesh_under(body.mesh, low, high, stock.low_mm[2] + 0.5)
                continue
            overlap = bool(np.all(foot.min(axis=0) < high) and np.all(foot.max(axis=0) > low))
            under = under or (overlap and body.high_z_mm <= stock.low_mm[2] + 0.5)
        if not under:
            said.append(f"below the part at {place.name}: no body is given there")
    return said


def _mesh_under(mesh: BodyMesh, low: F8, high: F8, z_mm: float) -> bool:
    """Whether some triangle of a mesh lies over the rectangle and reaches below a level."""
    corners = mesh.vertices_mm[mesh.faces]
    least, most = corners.min(axis=1), corners.max(axis=1)
    over = np.all(least[:, :2] < high, axis=1) & np.all(most[:, :2] > low, axis=1)
    return bool(np.any(over & (least[:, 2] <= z_mm)))


def search(
    legs: Legs, chains: Chains, bodies: Bodies, sweeps: Rows, *, limit_mm: float, watch: Watch, name: str
) -> Searched:
    """All legs against all bodies. A touch of the probe on a probe move, or of a tool on a setter, is no hit."""
    tools, b = len(chains.first_piece) - 1, len(bodies.names)
    least = np.full((tools, ZONES, b), FAR)
    where_leg = np.full((tools, ZONES, b), -1, dtype=np.int64)
    where_at = np.zeros((tools, ZONES, b))
    row_mm = np.full(len(sweeps), FAR)
    hits: list[Rows] = [np.zeros(0, dtype=HIT)]
    maybe: list[Rows] = [np.zeros(0, dtype=HIT)]
    doubtful = Doubtful(bodies, limit_mm)
    setter = np.flatnonzero([kind == "setter" for kind in bodies.kinds])
    kinds = sweeps["kind"][legs.row]
    done = 0
    for group in (Kind.PROBE, Kind.DECLARED, -1):
        mine = np.flatnonzero(kinds == group if group >= 0 else (kinds != Kind.PROBE) & (kinds != Kind.DECLARED))
        best = np.full((tools, ZONES, b), FAR)
        for start in range(0, len(mine), CHUNK):
            watch.step(name, done, len(legs))
            which = mine[start : start + CHUNK]
            done += len(which)
            out, at = clearances(legs.some(which), chains, bodies, keep_mm=NEAR_MM, best_mm=best)
            if group == Kind.PROBE:
                out[:, :, Zone.STYLUS] = FAR
            if group >= 0:
                out[:, setter, Zone.CUTTING] = FAR
                out[:, setter, Zone.STYLUS] = FAR
            np.minimum.at(row_mm, legs.row[which], out.reshape(len(which), -1).min(axis=1, initial=FAR))
            hits.append(_hits(out, at, which, out < -limit_mm))
            if doubtful.any:
                open_ones = doubtful.pick(out, legs.some(which), chains, bodies)
                maybe.append(_hits(out, at, which, open_ones))
            _keep_least(legs.tool[which], which, out, at, least, where_leg, where_at)
    nearest, near_tool = _nearest(legs, least, where_leg, where_at, bodies.error_mm)
    found = np.concatenate(hits)
    found = found[np.argsort(found["leg"], kind="stable")]
    found = found[~_backing_off(found, legs, sweeps, chains, bodies, limit_mm)]
    return Searched(hits=found, nearest=nearest, near_tool=near_tool, row_mm=row_mm, undecided=np.concatenate(maybe))


def _hits(out: F8, at: F8, which: I8, where: NDArray[np.bool_]) -> Rows:
    """HIT rows of one step, for the places named b (n, b, zones)."""
    found = np.argwhere(where)
    rows = np.zeros(len(found), dtype=HIT)
    rows["leg"], rows["body"], rows["zone"] = which[found[:, 0]], found[:, 1], found[:, 2]
    rows["clearance_mm"] = out[tuple(found.T)]
    rows["at"] = at[tuple(found.T)]
    return rows


def _backing_off(
    hits: Rows, legs: Legs, sweeps: Rows, chains: Chains, bodies: Bodies, limit_mm: float
) -> NDArray[np.bool_]:
    """Hits of a stylus on the move right after a probe move that ends clear: it leaves the point it touched."""
    off = np.zeros(len(hits), dtype=bool)
    for i, hit in enumerate(hits):
        leg = int(hit["leg"])
        row = int(legs.row[leg])
        if hit["zone"] != Zone.STYLUS or row == 0 or sweeps["kind"][row - 1] != Kind.PROBE:
            continue
        end = clearance_at(
            sweeps["to_mm"][row], int(legs.tool[leg]), int(hit["zone"]), int(hit["body"]), chains, bodies
        )
        off[i] = end >= -limit_mm
    return off


def _keep_least(tool: I8, which: I8, out: F8, at: F8, least: F8, where_leg: I8, where_at: F8) -> None:
    """Lower the nearest approaches by one step's exact clearances (places that are NaN are only lower bounds)."""
    exact = np.where(np.isnan(at), FAR, out).transpose(0, 2, 1)
    places = at.transpose(0, 2, 1)
    for k in np.unique(tool):
        mine = np.flatnonzero(tool == k)
        first = exact[mine].argmin(axis=0)
        value = np.take_along_axis(exact[mine], first[None], axis=0)[0]
        place = np.take_along_axis(places[mine], first[None], axis=0)[0]
        better = value < least[k]
        least[k][better] = value[better]
        where_leg[k][better] = which[mine[first][better]]
        where_at[k][better] = place[better]


def _nearest(legs: Legs, least: F8, where_leg: I8, where_at: F8, error_mm: F8) -> tuple[Rows, I8]:
    """APPROACH rows sorted by clearance, with the tool row of each."""
    index = np.argwhere(where_leg >= 0)
    values = least[tuple(index.T)]
    order = np.argsort(values, kind="stable")
    rows = np.zeros(len(index), dtype=APPROACH)
    for i, j in enumerate(order):
        k, zone, body = (int(v) for v in index[j])
        leg = int(where_leg[k, zone, body])
        rows[i]["move"], rows[i]["body"], rows[i]["zone"] = legs.row[leg], body, zone
        rows[i]["clearance_mm"], rows[i]["bound_mm"] = values[j], BOUND_MM + error_mm[body]
        rows[i]["tip_mm"] = position(leg, legs, float(where_at[k, zone, body]))
    return rows, index[order, 0].astype(np.int64)


def lift_needed(legs: Legs, which: I8, zone: int, body: int, chains: Chains, bodies: Bodies) -> float | None:
    """Least lift of these legs, in mm rounded up to 0.1, after which that zone clears that body; None if none found.

    Found by halving and then checked on every leg given.
    """
    high = float(bodies.cut_high_mm[body] if zone == Zone.CUTTING else bodies.high_mm[body])
    lowest = float(min(legs.from_mm[which, 2].min(), legs.to_mm[which, 2].min()))
    low, up = 0.0, max(high - lowest, 0.0) + 0.1
    while up - low > 0.001:
        middle = 0.5 * (low + up)
        if lifted_clearance(legs, which, middle, zone, body, chains, bodies) >= 0.0:
            up = middle
        else:
            low = middle
    rounded = float(np.ceil(up * 10.0 - 0.02) / 10.0)
    cleared = lifted_clearance(legs, which, rounded, zone, body, chains, bodies) >= -LIFT_MM
    return rounded if cleared else None


def lifted_clearance(
    legs: Legs, which: I8, lift_mm: float, zone: int, body: int, chains: Chains, bodies: Bodies
) -> float:
    """Least clearance of one zone to one body when these legs run lift_mm higher."""
    out, _ = clearances(legs.some(which, lift_mm), chains, bodies, keep_mm=0.0)
    return float(out[:, body, zone].min(initial=FAR))
