"""A slow, plain removal: per column a list of solid depth intervals, cut by every move of one tool in turn.

Imports nothing from the package. Nothing is listed, boxed, tiled or solved in closed form: the underside and the upper
side of the tool over a column are plain functions of its distance from the axis, and the least and greatest height on
the way are searched for by golden section (a convex tool on a straight way makes them convex) or, on level arcs, by
trying many angles and searching round the best. Contract shared with the package: a cut must go LABEL mm deeper to
move a surface, and a helix is as many equal chords as keep the sagitta bound |x″|·Δt²/8 below CHORD mm.
"""

import itertools
import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

LABEL = 1e-5
CHORD = 0.0005
GOLDEN = (math.sqrt(5) - 1) / 2
TURNS = 75  # golden sections: 0.618^75 is 2e-16
ANGLES = 3000

Side = Callable[[np.ndarray], np.ndarray]
Solid = list[list]  # [low, high, row that made low, row that made high], bottom to top


@dataclass(frozen=True)
class Shape:
    """The cutting part of a tool: widest radius, lower and upper height over a distance from the axis."""

    reach: float
    under: Side
    over: Side


@dataclass(frozen=True)
class Move:
    """One straight move (sweep 0) or an arc or helix about an upright axis."""

    row: int
    start: tuple[float, float, float]
    end: tuple[float, float, float]
    centre: tuple[float, float] = (0.0, 0.0)
    sweep: float = 0.0


def shape(kind: str, d: float, edge: float, *, corner: float = 0.0, degrees: float = 0.0, tip: float = 0.0) -> Shape:
    """Cutting part of a tool of diameter d; `tip` is the flat of a cone or the upper diameter of a dovetail."""
    r = d / 2
    unders: dict[str, Side] = {
        "flat": lambda rho: 0.0 * rho,
        "ball": lambda rho: r - np.sqrt(np.maximum(r * r - rho * rho, 0.0)),
        "bull": lambda rho: corner - np.sqrt(np.maximum(corner**2 - np.maximum(rho - (r - corner), 0.0) ** 2, 0.0)),
        "drill": lambda rho: rho / math.tan(math.radians(degrees / 2)),
        "countersink": lambda rho: np.maximum(rho - tip / 2, 0.0) / math.tan(math.radians(degrees / 2)),
        "tslot": lambda rho: 0.0 * rho,
        "dovetail": lambda rho: 0.0 * rho,
    }
    over: Side = lambda rho: edge + 0.0 * rho  # noqa: E731
    if kind == "dovetail":
        over = lambda rho: edge * np.minimum(1.0, (r - rho) / (r - tip / 2))  # noqa: E731
    return Shape(r, unders[kind], over)


def least(f: Side, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Least value of a convex f on [a, b], element by element."""
    ends = np.minimum(f(a), f(b))
    for _ in range(TURNS):
        c, d = b - GOLDEN * (b - a), a + GOLDEN * (b - a)
        left = f(c) < f(d)
        a, b = np.where(left, a, c), np.where(left, d, b)
    return np.minimum(ends, f((a + b) / 2))


def straight(tool: Shape, start: np.ndarray, end: np.ndarray, x: np.ndarray, y: np.ndarray):
    """(low, high) f8 (k,n) swept over columns (n,) by straight legs (k,3); nan where a leg is never over a column."""
    way = end - start
    wx, wy = start[:, :1] - x, start[:, 1:2] - y
    dx, dy, dz = way[:, :1], way[:, 1:2], way[:, 2:3]
    a, b, c = dx * dx + dy * dy + 0 * wx, wx * dx + wy * dy, wx * wx + wy * wy - tool.reach**2
    root = np.sqrt(np.maximum(b * b - a * c, 0.0))
    moves = a > 0
    safe = np.where(moves, a, 1.0)
    t0 = np.where(moves, np.clip((-b - root) / safe, 0.0, 1.0), 0.0)
    t1 = np.where(moves, np.clip((-b + root) / safe, 0.0, 1.0), 1.0)
    never = (b * b - a * c < 0) | np.where(moves, (-b - root > a) | (-b + root < 0), c > 0)
    k, n = np.nonzero(~never)
    low, high = np.full(never.shape, np.nan), np.full(never.shape, np.nan)
    if not len(k):
        return low, high
    wx, wy, dx, dy, dz, z = wx[k, n], wy[k, n], dx[k, 0], dy[k, 0], dz[k, 0], start[k, 2]

    def rho(t: np.ndarray) -> np.ndarray:
        return np.minimum(np.hypot(wx + t * dx, wy + t * dy), tool.reach)

    low[k, n] = least(lambda t: z + t * dz + tool.under(rho(t)), t0[k, n], t1[k, n])
    high[k, n] = -least(lambda t: -(z + t * dz + tool.over(rho(t))), t0[k, n], t1[k, n])
    return low, high


def level_arc(tool: Shape, move: Move, x: np.ndarray, y: np.ndarray):
    """The same, f8 (1,n), for a level arc: the tool is lowest and highest where it comes nearest."""
    (cx, cy), z = move.centre, move.start[2]
    radius, angle = (
        math.hypot(move.start[0] - cx, move.start[1] - cy),
        math.atan2(move.start[1] - cy, move.start[0] - cx),
    )

    def rho(t: np.ndarray) -> np.ndarray:
        turn = angle + t * move.sweep
        return np.hypot(cx + radius * np.cos(turn) - x, cy + radius * np.sin(turn) - y)

    tries = np.linspace(0.0, 1.0, ANGLES)
    best = tries[np.argmin(rho(tries[:, None]), axis=0)]
    near = least(rho, np.maximum(best - 1 / ANGLES, 0.0), np.minimum(best + 1 / ANGLES, 1.0))
    near[near > tool.reach] = np.nan
    return (z + tool.under(near))[None], (z + tool.over(near))[None]


def helix_points(move: Move, n: int) -> np.ndarray:
    """n + 1 points (n+1,3) at equal angles on a helix."""
    cx, cy = move.centre
    radius, angle = (
        math.hypot(move.start[0] - cx, move.start[1] - cy),
        math.atan2(move.start[1] - cy, move.start[0] - cx),
    )
    t = np.linspace(0.0, 1.0, n + 1)
    z = move.start[2] + t * (move.end[2] - move.start[2])
    return np.column_stack(
        [cx + radius * np.cos(angle + t * move.sweep), cy + radius * np.sin(angle + t * move.sweep), z]
    )


def chords(move: Move) -> int:
    """Fewest equal chords that keep the sagitta bound of a helix below CHORD."""
    radius = math.hypot(move.start[0] - move.centre[0], move.start[1] - move.centre[1])
    n = 1
    while radius * (move.sweep / n) ** 2 / 8 > CHORD:
        n += 1
    return n


def swept(tool: Shape, move: Move, x: np.ndarray, y: np.ndarray, pieces: int = 0):
    """(low, high) f8 (k,n): what one move takes off each column, in k cuts one after the other."""
    if move.sweep == 0.0:
        return straight(tool, np.array([move.start]), np.array([move.end]), x, y)
    if move.start[2] == move.end[2]:
        return level_arc(tool, move, x, y)
    points = helix_points(move, pieces or chords(move))
    return straight(tool, points[:-1], points[1:], x, y)


def take(solid: Solid, low: float, high: float, row: int, label: float) -> Solid:
    """A column without [low, high]; slivers up to `label` go with the cut, cuts no deeper than `label` do nothing."""
    left: Solid = []
    for a, b, made_a, made_b in solid:
        if high <= a or low >= b:
            left.append([a, b, made_a, made_b])
            continue
        under, over = low - a > label, b - high > label  # does anything stay below, above?
        if (under and not over and b - low <= label) or (over and not under and high - a <= label):
            left.append([a, b, made_a, made_b])
            continue
        if under:
            left.append([a, low, made_a, row])
        if over:
            left.append([high, b, row, made_b])
    return left


def columns(tool: Shape, moves: list[Move], bottom: float, top: float, x, y, label: float = LABEL) -> list[Solid]:
    """What is left over each column (x, y) of a slab bottom..top after all moves; columns are inside the stock."""
    left: list[Solid] = [[[bottom, top, -1, -1]] for _ in x]
    for move in moves:
        low, high = swept(tool, move, x, y)
        for k in range(len(low)):
            for n in np.flatnonzero(low[k] < high[k]).tolist():
                left[n] = take(left[n], float(low[k, n]), float(high[k, n]), move.row, label)
    return left


def unlike_mm(one: Solid, two: Solid) -> float:
    """Length of what is solid in one column and not in the other."""
    edges = sorted({end for solid in (one, two) for span in solid for end in span[:2]})
    total = 0.0
    for a, b in itertools.pairwise(edges):
        middle = (a + b) / 2
        if any(s[0] < middle < s[1] for s in one) != any(s[0] < middle < s[1] for s in two):
            total += b - a
    return total
