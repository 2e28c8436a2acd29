"""Clearance between a moving tool and standing bodies, with a sign and a bound.

A tool is a solid of revolution about a vertical axis, a standing body an upright convex prism. At one position of the
tool only two numbers matter: s, the signed distance of the axis to the footprint (negative inside), and z, the height
of the tip. A convex turned piece (radius r over height h) meets the prism [z0, z1] where some height h of the piece
has z + h in [z0, z1] and r(h) ≥ s. With y = -z that is the plane set

    Q = {(s, y): s ≤ r(h), h - z1 ≤ y ≤ h - z0},

convex when r is concave. The signed distance of (s, y) to Q is the clearance in space: outside it is the distance of
the two solids, inside it is minus the length of the shortest shift (any direction) that parts them. s is a convex
function of the position, Q holds with (s, y) every smaller s, so along a straight move the clearance is a convex
function of the path: its least value is found by golden section to a stated width. (Bodies that are meshes: near_mesh.) Arcs and helices are halved until
they leave their chord by less than `sag_mm`, and pieces that cannot hold the least value are dropped (the clearance
never changes faster than the position). Source: own derivation, checked against tests/twins/near_twin.py.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from halfthou.base.jit import kernel
from halfthou.geometry.near_chain import ZONES, Bodies, Chains
from halfthou.geometry.near_mesh import clear_meshes
from halfthou.geometry.near_path import bend_of, on_path

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
U1 = NDArray[np.uint8]

SAG_MM = 0.0005  # curved moves are halved until their chord is this near
STEP_MM = 1e-4  # golden section stops at this width of path
FAR = 1e30  # "no such piece"


@dataclass(frozen=True, slots=True, kw_only=True)
class Legs:
    """Pieces of moves, all f8/i8 with n rows: straight when sweep_rad is 0, else an arc about an axis.

    tool i8: row of the packed tools (-1 bare nose); arcs: centre, normal (0 X, 1 Y, 2 Z), sweep_rad as in MOVE.
    """

    row: I8  # row of the sweeps table
    path: U1  # 0 certain, 1 only if rapids run straight, 2 only if each axis runs at its own rapid
    tool: I8
    from_mm: F8  # (n,3)
    to_mm: F8  # (n,3)
    centre_mm: F8  # (n,3)
    normal: I8
    sweep_rad: F8

    def __len__(self) -> int:
        """How many."""
        return len(self.row)

    def some(self, which: I8, lift_mm: float = 0.0) -> "Legs":
        """The legs named, lifted by lift_mm."""
        mine = Legs(
            row=self.row[which], path=self.path[which], tool=self.tool[which], from_mm=self.from_mm[which],
            to_mm=self.to_mm[which], centre_mm=self.centre_mm[which], normal=self.normal[which],
            sweep_rad=self.sweep_rad[which],
        )  # fmt: skip
        return mine.by(np.array([0.0, 0.0, lift_mm]))

    def by(self, shift_mm: F8) -> "Legs":
        """The same legs, moved by shift_mm f8 (3,)."""
        return replace(
            self,
            from_mm=self.from_mm + shift_mm,
            to_mm=self.to_mm + shift_mm,
            centre_mm=self.centre_mm + shift_mm,
        )


def clearances(
    legs: Legs,
    chains: Chains,
    bodies: Bodies,
    *,
    keep_mm: float,
    best_mm: F8 | None = None,
    start: int = 0,
    stop: int = -1,
) -> tuple[F8, F8]:
    """Least clearance of legs start:stop to every body, by zone: f8 (n, b, 6) in mm, and where on the leg (0 … 1).

    Positive apart, negative inside (shortest parting shift). Error at most SAG_MM + STEP_MM, except where the least
    possible clearance is above keep_mm and above best_mm[tool, zone, body] (f8 (tools+1, 6, b), lowered in place):
    there a lower bound stands and the place is NaN. Zones that the tool does not have hold FAR.
    """
    stop = len(legs) if stop < 0 else stop
    n, b = stop - start, len(bodies.names)
    out, at = np.full((n, b, ZONES), FAR), np.full((n, b, ZONES), np.nan)
    if best_mm is None:
        best_mm = np.full((len(chains.first_piece) - 1, ZONES, b), FAR)
    if n and b:
        _clear_legs(
            legs.tool[start:stop], legs.from_mm[start:stop], legs.to_mm[start:stop], legs.centre_mm[start:stop],
            legs.normal[start:stop], legs.sweep_rad[start:stop], chains.first_piece, chains.first_point,
            chains.chain_mm, chains.zone, chains.round_mm, bodies.first_point, bodies.foot_mm, bodies.low_mm,
            bodies.high_mm, bodies.cut_high_mm, keep_mm, SAG_MM, STEP_MM, best_mm, out, at,
        )  # fmt: skip
    if n and len(bodies.solids.body):
        clear_meshes(
            legs.tool[start:stop], legs.from_mm[start:stop], legs.to_mm[start:stop], legs.centre_mm[start:stop],
            legs.normal[start:stop], legs.sweep_rad[start:stop], chains.first_piece, chains.first_point,
            chains.chain_mm, chains.zone, chains.round_mm, bodies.solids, keep_mm, SAG_MM, STEP_MM, best_mm, out, at,
        )  # fmt: skip
    return out, at


def position(leg: int, legs: Legs, t: float) -> F8:
    """Tip position f8 (3,) on a leg at t in 0 … 1."""
    x, y, z = on_path(
        legs.from_mm[leg], legs.to_mm[leg], legs.centre_mm[leg], int(legs.normal[leg]), float(legs.sweep_rad[leg]), t
    )
    return np.array([x, y, z])


def clearance_at(tip_mm: F8, tool: int, zone: int, body: int, chains: Chains, bodies: Bodies) -> float:
    """Clearance of one zone of a tool standing at tip_mm to one body, mm; FAR if the tool has no such zone."""
    if bodies.first_point[body] == bodies.first_point[body + 1]:
        tip, none = np.array([tip_mm], dtype=np.float64), np.zeros(1, dtype=np.int64)
        still = Legs(
            row=none, path=none.astype(np.uint8), tool=none + tool, from_mm=tip, to_mm=tip, centre_mm=tip * 0.0,
            normal=none + 2, sweep_rad=np.zeros(1),
        )  # fmt: skip
        return float(clearances(still, chains, bodies, keep_mm=FAR)[0][0, body, zone])
    best = FAR
    foot = bodies.foot_mm[bodies.first_point[body] : bodies.first_point[body + 1]]
    high = bodies.cut_high_mm[body] if zone == 0 else bodies.high_mm[body]
    for g in chains.pieces(tool):
        if int(chains.zone[g]) != zone:
            continue
        chain = chains.chain_mm[chains.first_point[g] : chains.first_point[g + 1]]
        s = foot_distance(float(tip_mm[0]), float(tip_mm[1]), foot)
        value = piece_distance(s, -float(tip_mm[2]), chain, bodies.low_mm[body], high) - chains.round_mm[g]
        best = min(best, value)
    return best


@kernel
def foot_distance(x: float, y: float, foot: F8) -> float:
    """Signed distance of a point to a convex counter-clockwise polygon f8 (k,2): negative inside."""
    n = foot.shape[0]
    inside = -1e300
    outside = 1e300
    for i in range(n):
        j = i + 1 if i + 1 < n else 0
        ax = foot[i, 0]
        ay = foot[i, 1]
        ex = foot[j, 0] - ax
        ey = foot[j, 1] - ay
        length2 = ex * ex + ey * ey
        if length2 <= 0.0:
            continue
        px = x - ax
        py = y - ay
        plane = (px * ey - py * ex) / math.sqrt(length2)
        inside = max(inside, plane)
        t = (px * ex + py * ey) / length2
        t = min(1.0, max(0.0, t))
        qx = px - t * ex
        qy = py - t * ey
        outside = min(outside, qx * qx + qy * qy)
    if inside <= 0.0:
        return inside
    return math.sqrt(outside)


@kernel
def _edge(s: float, y: float, a: float, b: float, c: float, d: float, best: float, deep: float) -> tuple[float, float]:
    """Fold the edge (a,b)→(c,d) of a counter-clockwise outline into (squared distance, largest plane distance)."""
    es = c - a
    ey = d - b
    length2 = es * es + ey * ey
    if length2 <= 0.0:
        return best, deep
    ps = s - a
    py = y - b
    deep = max(deep, (ps * ey - py * es) / math.sqrt(length2))
    t = min(1.0, max(0.0, (ps * es + py * ey) / length2))
    qs = ps - t * es
    qy = py - t * ey
    return min(best, qs * qs + qy * qy), deep


@kernel
def piece_distance(s: float, y: float, chain: F8, z0: float, z1: float) -> float:
    """Signed distance of (s, y = -tip height) to the set Q of one convex piece and a prism from z0 to z1.

    chain f8 (m,2): radius, height above the tip, bottom to top. Q's outline, counter-clockwise: level from far left
    to the lowest point (shifted by -z1), up the widening part, straight up, up the narrowing part (shifted by -z0),
    level back to the left.
    """
    m = chain.shape[0]
    wide = 0
    for i in range(1, m):
        if chain[i, 0] >= chain[wide, 0]:
            wide = i
    left = min(s, min(chain[0, 0], chain[m - 1, 0])) - 1.0
    best = 1e300
    deep = -1e300
    best, deep = _edge(s, y, left, chain[0, 1] - z1, chain[0, 0], chain[0, 1] - z1, best, deep)
    for i in range(wide):
        best, deep = _edge(s, y, chain[i, 0], chain[i, 1] - z1, chain[i + 1, 0], chain[i + 1, 1] - z1, best, deep)
    best, deep = _edge(s, y, chain[wide, 0], chain[wide, 1] - z1, chain[wide, 0], chain[wide, 1] - z0, best, deep)
    for i in range(wide, m - 1):
        best, deep = _edge(s, y, chain[i, 0], chain[i, 1] - z0, chain[i + 1, 0], chain[i + 1, 1] - z0, best, deep)
    best, deep = _edge(s, y, chain[m - 1, 0], chain[m - 1, 1] - z0, left, chain[m - 1, 1] - z0, best, deep)
    if deep <= 0.0:
        return deep
    return math.sqrt(best)


@kernel
def _value(x: float, y: float, z: float, foot: F8, chain: F8, z0: float, z1: float) -> float:
    return piece_distance(foot_distance(x, y, foot), -z, chain, z0, z1)


@kernel
def _straight(
    ax: float, ay: float, az: float, bx: float, by: float, bz: float, fa: float, fb: float,
    foot: F8, chain: F8, z0: float, z1: float, step_mm: float,
) -> tuple[float, float]:  # fmt: skip
    """Least value on a straight piece by golden section (the function is convex), and where (0 … 1)."""
    best = fa
    where = 0.0
    if fb < best:
        best = fb
        where = 1.0
    length = math.sqrt((bx - ax) ** 2 + (by - ay) ** 2 + (bz - az) ** 2)
    if length <= step_mm:
        return best, where
    ratio = 0.6180339887498949
    low = 0.0
    high = 1.0
    u = high - ratio
    v = low + ratio
    fu = _value(ax + u * (bx - ax), ay + u * (by - ay), az + u * (bz - az), foot, chain, z0, z1)
    fv = _value(ax + v * (bx - ax), ay + v * (by - ay), az + v * (bz - az), foot, chain, z0, z1)
    while True:
        if fu < best:
            best = fu
            where = u
        if fv < best:
            best = fv
            where = v
        if (high - low) * length <= step_mm:
            return best, where
        if fu <= fv:
            high = v
            v = u
            fv = fu
            u = high - ratio * (high - low)
            fu = _value(ax + u * (bx - ax), ay + u * (by - ay), az + u * (bz - az), foot, chain, z0, z1)
        else:
            low = u
            u = v
            fu = fv
            v = low + ratio * (high - low)
            fv = _value(ax + v * (bx - ax), ay + v * (by - ay), az + v * (bz - az), foot, chain, z0, z1)


@kernel
def _curved(
    p: F8, q: F8, c: F8, normal: int, sweep: float, foot: F8, chain: F8, z0: float, z1: float,
    sag_mm: float, step_mm: float, give_up_mm: float,
) -> tuple[float, float, bool]:  # fmt: skip
    """Least value on a curved move; stops early (False) when it cannot be below give_up_mm."""
    bend, speed = bend_of(p, q, c, normal, sweep)
    stack = np.empty((128, 4))
    x, y, z = on_path(p, q, c, normal, sweep, 0.0)
    fa = _value(x, y, z, foot, chain, z0, z1)
    x, y, z = on_path(p, q, c, normal, sweep, 0.5)
    fm = _value(x, y, z, foot, chain, z0, z1)
    if fm - 0.5 * speed >= give_up_mm:
        return fm - 0.5 * speed, math.nan, False
    x, y, z = on_path(p, q, c, normal, sweep, 1.0)
    fb = _value(x, y, z, foot, chain, z0, z1)
    best = fa
    where = 0.0
    if fb < best:
        best = fb
        where = 1.0
    stack[0, 0] = 0.0
    stack[0, 1] = 1.0
    stack[0, 2] = fa
    stack[0, 3] = fb
    top = 1
    while top > 0:
        top -= 1
        ta = stack[top, 0]
        tb = stack[top, 1]
        fa = stack[top, 2]
        fb = stack[top, 3]
        dt = tb - ta
        if 0.5 * (fa + fb - dt * speed) >= best - 0.5 * step_mm:
            continue
        if bend * dt * dt * 0.125 <= sag_mm:
            ax, ay, az = on_path(p, q, c, normal, sweep, ta)
            bx, by, bz = on_path(p, q, c, normal, sweep, tb)
            low, u = _straight(ax, ay, az, bx, by, bz, fa, fb, foot, chain, z0, z1, step_mm)
            if low < best:
                best = low
                where = ta + u * dt
            continue
        tm = 0.5 * (ta + tb)
        x, y, z = on_path(p, q, c, normal, sweep, tm)
        fm = _value(x, y, z, foot, chain, z0, z1)
        if fm < best:
            best = fm
            where = tm
        # the half with the lower ends is looked at first
        first = ta if fa <= fb else tm
        second = tm if fa <= fb else ta
        for t in (second, first):
            stack[top, 0] = t
            stack[top, 1] = t + 0.5 * dt
            stack[top, 2] = fa if t == ta else fm
            stack[top, 3] = fm if t == ta else fb
            top += 1
    return best, where, True


@kernel
def _clear_legs(
    tool: I8, start: F8, end: F8, centre: F8, normal: I8, sweep: F8, first_piece: I8, first_point: I8, chain: F8,
    zone: U1, grow: F8, foot_first: I8, foot: F8, low: F8, high: F8, cut_high: F8, keep_mm: float, sag_mm: float,
    step_mm: float, best: F8, out: F8, at: F8,
) -> None:  # fmt: skip
    """Fill out and at (n, b, zones) and lower best (tools, zones, b)."""
    for i in range(tool.shape[0]):
        k = tool[i] if tool[i] >= 0 else first_piece.shape[0] - 2
        p = start[i]
        q = end[i]
        length = math.sqrt((q[0] - p[0]) ** 2 + (q[1] - p[1]) ** 2 + (q[2] - p[2]) ** 2)
        for b in range(low.shape[0]):
            if foot_first[b + 1] == foot_first[b]:
                continue  # a mesh
            ground = foot[foot_first[b] : foot_first[b + 1]]
            sa = foot_distance(p[0], p[1], ground)
            sb = foot_distance(q[0], q[1], ground)
            for g in range(first_piece[k], first_piece[k + 1]):
                w = zone[g]
                line = chain[first_point[g] : first_point[g + 1]]
                top = cut_high[b] if w == 0 else high[b]
                give_up = min(max(keep_mm, best[k, w, b]), out[i, b, w]) + grow[g]
                sure = True
                if sweep[i] == 0.0:
                    fa = piece_distance(sa, -p[2], line, low[b], top)
                    fb = piece_distance(sb, -q[2], line, low[b], top)
                    value = 0.5 * (fa + fb - length)
                    where = math.nan
                    if value < give_up:
                        value, where = _straight(
                            p[0], p[1], p[2], q[0], q[1], q[2], fa, fb, ground, line, low[b], top, step_mm
                        )
                    else:
                        sure = False
                else:
                    value, where, sure = _curved(
                        p, q, centre[i], normal[i], sweep[i], ground, line, low[b], top, sag_mm, step_mm, give_up
                    )
                value -= grow[g]
                if value < out[i, b, w]:
                    out[i, b, w] = value
                    at[i, b, w] = where
                if sure and value < best[k, w, b]:
                    best[k, w, b] = value
