"""Draws the shapes that the second volume judge cuts: slots, pockets, ramps, helices, arcs, holes, countersinks; simple ones with a formula.

Written without reading the program (see second_sweeps.py). Shapes may run off the stock and over each other.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable

import numpy as np

from tests.oracle.second_jobs import TURNS, Job, Op, Stock, draw_stock, draw_tool, turn_matrix
from tests.oracle.second_sweeps import Tool

MILLS = ("flat", "ball", "bull")


def _spot(rnd: random.Random, op: Op, off: float = 0.0) -> tuple[float, float]:
    """A place over the stock, or up to `off` beside it."""
    return rnd.uniform(op.low[0] - off, op.high[0] + off), rnd.uniform(op.low[1] - off, op.high[1] + off)


def _depth(rnd: random.Random, op: Op, most: float = 0.75) -> float:
    """Height of a tip below the raw top."""
    return float(op.high[2] - rnd.uniform(0.08, most) * (op.high[2] - op.low[2]))


def slot(rnd: random.Random, op: Op, tool: Tool) -> None:
    """Level slot in one or two bites, at any angle, perhaps out of the side."""
    a, b, z = _spot(rnd, op, 3.0), _spot(rnd, op, 8.0), _depth(rnd, op)
    op.over(*a)
    if rnd.random() < 0.5:
        middle = (float(op.high[2]) + z) / 2
        op.plunge(middle)
        op.line(*b, middle)
        op.line(*b, z)
        op.line(*a, z)
    else:
        op.plunge(z)
        op.line(*b, z)


def ramp(rnd: random.Random, op: Op, tool: Tool) -> None:
    """Zigzag down from the surface, and up again at another slope."""
    op.over(*_spot(rnd, op))
    op.plunge(float(op.high[2]))
    for _ in range(rnd.randint(1, 3)):
        op.line(*_spot(rnd, op, 2.0), _depth(rnd, op, 0.6))


def pocket(rnd: random.Random, op: Op, tool: Tool) -> None:
    """Turned rectangle, cleared in rings from outside in."""
    middle, turn, z = _spot(rnd, op), rnd.uniform(0, math.pi), _depth(rnd, op)
    width, height = rnd.uniform(0.4, 1.9) * tool.diameter, rnd.uniform(0.3, 1.2) * tool.diameter
    step = 0.37 * tool.diameter
    c, s = math.cos(turn), math.sin(turn)
    op.over(middle[0] - c * width + s * height, middle[1] - s * width - c * height)
    op.plunge(z)
    while width > 0 and height > 0:
        for u, v in ((-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1)):
            op.line(middle[0] + c * u * width - s * v * height, middle[1] + s * u * width + c * v * height, z)
        width, height = width - step, height - step


def arcs(rnd: random.Random, op: Op, tool: Tool) -> None:
    """Plunge, a level arc or full circle (centre or radius form), sometimes a second one with the other hand."""
    op.over(*_spot(rnd, op))
    op.plunge(_depth(rnd, op))
    for _ in range(rnd.randint(1, 2)):
        form = rnd.random()
        radius, angle, hand = rnd.uniform(0.2, 2.2) * tool.diameter, rnd.uniform(-math.pi, math.pi), rnd.choice((-1, 1))
        if form < 0.2:
            op.arc(17, angle, hand * 2 * math.pi, radius, 0.0)
        elif form < 0.5:
            sweep = rnd.choice((rnd.uniform(0.5, 2.7), rnd.uniform(3.6, 5.6)))
            op.arc(17, angle, hand * sweep, radius, 0.0, by_r=True)
        else:
            op.arc(17, angle, hand * rnd.uniform(0.3, 5.8), radius, 0.0)


def helix(rnd: random.Random, op: Op, tool: Tool) -> None:
    """Helix or ramped arc down from the surface; a full turn at most, less for tools with a round end."""
    op.over(*_spot(rnd, op))
    op.plunge(float(op.high[2]))
    full = tool.kind == "flat" and rnd.random() < 0.5
    sweep = 2 * math.pi if full else rnd.uniform(0.4, 4.0 if tool.kind == "flat" else 1.2)
    radius = rnd.uniform(0.25, 1.4) * tool.diameter
    op.arc(
        17,
        rnd.uniform(-math.pi, math.pi),
        rnd.choice((-1, 1)) * sweep,
        radius,
        _depth(rnd, op, 0.5) - float(op.high[2]),
    )
    if full and rnd.random() < 0.5:
        op.arc(
            17,
            rnd.uniform(-math.pi, math.pi),
            rnd.choice((-1, 1)) * 2 * math.pi,
            rnd.uniform(0.25, 0.6) * tool.diameter,
            0.0,
        )


def standing(rnd: random.Random, op: Op, tool: Tool) -> None:
    """Ball along an arc in the XZ or YZ plane that dips into the stock, sometimes drifting sideways."""
    plane = rnd.choice((18, 19))
    radius, deep = rnd.uniform(8, 30), rnd.uniform(0.1, 0.4) * float(op.high[2] - op.low[2])
    bottom = math.pi if plane == 18 else -math.pi / 2
    half = math.acos(max(-0.2, 1 - (deep + 0.4) / radius))
    hand = rnd.choice((-1, 1))
    x, y = _spot(rnd, op)
    reach = math.sin(half) * radius
    # in the ZX plane the angle counts from Z to X, in the YZ plane from Y to Z: at the bottom a growing angle runs to −X and to +Y
    side = reach * hand * (1 if plane == 18 else -1)
    op.over(x + (side if plane == 18 else 0.0), y + (side if plane == 19 else 0.0))
    op.plunge(float(op.high[2]) + 0.4)
    op.arc(plane, bottom - hand * half, hand * 2 * half, radius, rnd.uniform(-3, 3) if rnd.random() < 0.15 else 0.0)


def holes(rnd: random.Random, op: Op, tool: Tool) -> None:
    """One to three holes, by cycle or by hand, blind or through."""
    for _ in range(rnd.randint(1, 3)):
        op.over(*_spot(rnd, op))
        z = rnd.choice((_depth(rnd, op, 0.95), float(op.low[2]) - rnd.uniform(0.2, 3.0)))
        code = rnd.choice(("G81", "G83", "G73", ""))
        if code:
            op.cycle(code, z, rnd.uniform(1.1, 3.3))
        else:
            op.plunge(z)


def sinks(rnd: random.Random, op: Op, tool: Tool) -> None:
    """Countersinks, and a bevelled edge or groove along a line or an arc; the full diameter stays above the stock."""
    cone = (tool.diameter - tool.tip_diameter) / 2 / math.tan(math.radians(tool.point_angle) / 2)
    most = min(0.9 * cone, 0.8 * float(op.high[2] - op.low[2]))
    for _ in range(rnd.randint(1, 2)):
        op.over(*_spot(rnd, op))
        z = float(op.high[2]) - rnd.uniform(0.2, 1.0) * most
        op.plunge(z)
        more = rnd.random()
        if more < 0.4:
            op.line(*_spot(rnd, op, 4.0), z)
        elif more < 0.6:
            op.arc(17, rnd.uniform(-3, 3), rnd.choice((-1, 1)) * rnd.uniform(0.5, 5.5), rnd.uniform(3, 12), 0.0)


SHAPES: tuple[tuple[Callable[[random.Random, Op, Tool], None], tuple[str, ...]], ...] = (
    (slot, MILLS), (ramp, MILLS), (pocket, MILLS), (arcs, MILLS), (helix, MILLS), (standing, ("ball",)), (holes, ("drill",)), (sinks, ("countersink",)),
)  # fmt: skip


def simple(rnd: random.Random, stock: Stock, inch: bool) -> Job:
    """One shape that lies wholly inside the stock, with its volume by a formula of its own (school geometry, derived beside it)."""
    op = Op(stock.low, stock.high, inch)
    height = float(stock.high[2] - stock.low[2])
    what = rnd.choice(("slot", "hole", "groove", "sink", "ramp"))
    kind = {"slot": "flat", "hole": "drill", "groove": "ball", "sink": "countersink", "ramp": "flat"}[what]
    tool = draw_tool(rnd, kind, height)
    op.take(1, tool)
    r, top = tool.diameter / 2, float(stock.high[2])
    inner = (stock.low[:2] + r + 0.3, stock.high[:2] - r - 0.3)
    a = [rnd.uniform(inner[0][i], inner[1][i]) for i in (0, 1)]
    b = [rnd.uniform(inner[0][i], inner[1][i]) for i in (0, 1)]
    op.over(*a)
    if what == "slot":  # rectangle and two half discs
        op.plunge(top - rnd.uniform(0.1, 0.8) * height)
        op.line(*b, float(op.at[2]))
        volume = (2 * r * _run(op) + math.pi * r * r) * _deep(op, top)
    elif what == "hole":  # cylinder on a cone
        cone = r / math.tan(math.radians(tool.point_angle) / 2)
        op.cycle(rnd.choice(("G81", "G83")), top - cone - rnd.uniform(0.05, 0.95) * (height - cone), 1.7)
        deep = top - float(op.moves[-1][1].end[2])  # type: ignore[union-attr]
        volume = math.pi * r * r * (deep - cone) + math.pi * r * r * cone / 3
    elif what == "groove":  # segment of a circle along the way, one spherical cap (in two halves) at the ends
        op.plunge(top - rnd.uniform(0.1, 0.8) * height)
        op.line(*b, float(op.at[2]))
        deep = _deep(op, top)
        cut = min(deep, r)
        area = (
            r * r * math.acos(1 - cut / r)
            - (r - cut) * math.sqrt(max(2 * r * cut - cut * cut, 0.0))
            + 2 * r * (deep - cut)
        )
        volume = area * _run(op) + math.pi * cut * cut * (3 * r - cut) / 3 + math.pi * r * r * (deep - cut)
    elif what == "sink":  # frustum of a cone
        slope, tip = math.tan(math.radians(tool.point_angle) / 2), tool.tip_diameter / 2
        op.plunge(top - rnd.uniform(0.2, 0.95) * min((r - tip) / slope, 0.9 * height))
        deep = _deep(op, top)
        wide = tip + deep * slope
        volume = math.pi * deep / 3 * (tip * tip + tip * wide + wide * wide)
    else:  # ramp: the floor under (u, v) is the lowest disc over it, w = min(u + √(r² − v²), L); integral = d·r·L + π·r²·d
        op.plunge(top)
        op.line(*b, top - rnd.uniform(0.1, 0.7) * height)
        volume = _deep(op, top) * (r * _run(op) + math.pi * r * r)
    return Job(f"simple {what}", stock, [op], {1: tool}, volume)


def _run(op: Op) -> float:
    """Length of the last straight move in XY."""
    last = op.moves[-1][1]
    return math.dist(last.start[:2], last.end[:2])  # type: ignore[union-attr]


def _deep(op: Op, top: float) -> float:
    """Depth of the last tip below the top."""
    return top - float(op.at[2])


def draw(seed: int) -> Job:
    """The job of a seed."""
    rnd = random.Random(seed)
    plain = rnd.random() < 0.3
    stock = draw_stock(rnd, plain)
    if plain:
        return simple(rnd, stock, rnd.random() < 0.3)
    ops, tools, names = [], {}, []
    for i in range(2 if rnd.random() < 0.4 else 1):
        op = Op(stock.low, stock.high, rnd.random() < 0.25)
        if i:
            _turn_over(rnd, op, stock)
        height = float(op.high[2] - op.low[2])
        for _ in range(rnd.randint(1, 3)):
            shape, kinds = rnd.choice(SHAPES)
            kind = rnd.choice(kinds)
            number = len(tools) + 1
            tools[number] = draw_tool(rnd, kind, height)
            op.take(number, tools[number])
            shape(rnd, op, tools[number])
            names.append(f"{shape.__name__} {kind}")
        ops.append(op)
    between = f" after {ops[1].turn_words}" if len(ops) > 1 else ""
    return Job(", ".join(names) + between, stock, ops, tools)


def _turn_over(rnd: random.Random, op: Op, stock: Stock) -> None:
    """Lay the part down another way, placed by its shift or by the low corner of the turned raw box."""
    op.turn_words = rnd.choice(TURNS)
    op.turn = turn_matrix(op.turn_words)
    corners = np.sort(np.stack([op.turn @ stock.low, op.turn @ stock.high]), axis=0)
    place = np.round([rnd.uniform(-30, 30), rnd.uniform(-30, 30), rnd.uniform(-20, 5)], 4)
    op.by_corner = stock.kind == "box" and rnd.random() < 0.4
    op.shift = place - corners[0] if op.by_corner else np.round(place - corners[0], 4)
    op.low, op.high = corners[0] + op.shift, corners[1] + op.shift
