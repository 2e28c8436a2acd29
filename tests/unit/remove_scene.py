"""Small cutting jobs for the removal tests: sweeps by hand in the table frame, one place, one stock."""

from dataclasses import replace

import numpy as np

from halfthou.nouns.frame import TurnOver
from halfthou.nouns.stock import Stock
from halfthou.nouns.tool import Tool, Zone
from halfthou.prove.remove import Removal, remove
from tests.unit.clash_scene import scene, tool

C, S = Zone.CUTTING, Zone.SHANK
HALF_TURN_X = TurnOver(turn=((1, 0, 0), (0, -1, 0), (0, 0, -1)), shift_mm=(0.0, 60.0, -20.0), words="180 about X")


def flat(d: float, edge: float = 60.0, number: int = 1) -> Tool:
    r = d / 2
    return tool(number, "flat", d, [[0, 0], [r, 0], [r, edge], [r, 100]], [C, C, S], cutting_mm=edge)


def ball(d: float, number: int = 1) -> Tool:
    r = d / 2
    turn = np.linspace(0, np.pi / 2, 25)
    points = [[r * np.sin(t), r - r * np.cos(t)] for t in turn] + [[r, 60], [r, 100]]
    return tool(number, "ball", d, points, [C] * 25 + [S], cutting_mm=60)


def bull(d: float, corner: float, number: int = 1) -> Tool:
    r = d / 2
    turn = np.linspace(0, np.pi / 2, 17)
    arc = [[r - corner + corner * np.sin(t), corner - corner * np.cos(t)] for t in turn]
    return tool(number, "bull", d, [[0, 0], *arc, [r, 60], [r, 100]], [C] * 18 + [S], corner_mm=corner)


def cone(d: float, degrees: float, tip: float = 0.0, kind: str = "countersink", number: int = 1) -> Tool:
    r, f = d / 2, tip / 2
    high = (r - f) / np.tan(np.radians(degrees / 2))
    return tool(
        number, kind, d, [[0, 0], [f, 0], [r, high], [r, 60], [r, 100]], [C, C, C, S], point_rad=np.radians(degrees)
    )


def tslot(d: float, neck: float, thick: float, number: int = 1) -> Tool:
    return tool(
        number, "tslot", d, [[0, 0], [d / 2, 0], [d / 2, thick], [neck / 2, thick], [neck / 2, 60]],
        [C, C, C, Zone.NECK],
    )  # fmt: skip


def cut(
    tools,
    path,
    *,
    low=(0, 0, -20),
    high=(100, 60, 0),
    stock=None,
    pitch=0.25,
    threads=None,
    before=None,
    at=None,
    **more,
) -> Removal:
    """Removal of a path as in `scene`; the stock is a box unless one is given."""
    made = scene(tools, path, low=low, high=high, at=at, **more)
    job = made.job
    if stock is not None or before is not None:
        place = replace(
            job.ops[0].places[0], stock=stock or Stock(kind="from", from_op=0, from_place=0, turn_over=HALF_TURN_X)
        )
        job = replace(job, ops=(replace(job.ops[0], places=(place,)),))
    first = len(before.moves.moves) if before else 0
    return remove(
        made.moves, made.sweeps, job, 0, 0, shift_mm=made.shifts[0], pitch_mm=pitch, threads=threads, before=before,
        first_row=first,
    )  # fmt: skip


def heights(removal: Removal, points) -> list[list[tuple[float, float]]]:
    """Material over program points (x, y): lists of (low, high) in program heights."""
    xy = np.asarray(points, dtype=float)
    shift = removal.shift_mm
    first, spans = removal.columns(np.ascontiguousarray(xy[:, 0] - shift[0]), np.ascontiguousarray(xy[:, 1] - shift[1]))
    return [
        [(float(s["low_mm"] + shift[2]), float(s["high_mm"] + shift[2])) for s in spans[first[k] : first[k + 1]]]
        for k in range(len(xy))
    ]


def random_path(draw, n: int) -> list[tuple]:
    """Lines, ramps, plunges and level arcs over the plate; rapids at height between some of them."""
    path: list[tuple] = [("T", 0)]
    x, y = draw.uniform(0, 100), draw.uniform(0, 60)
    path += [("G0", x, y, 30.0)]
    for _ in range(n):
        z = draw.uniform(-12, 1)
        what = draw.random()
        if what < 0.2:
            x, y = draw.uniform(-5, 105), draw.uniform(-5, 65)
            path += [("G0", path[-1][1], path[-1][2], 30.0), ("G0", x, y, 30.0)]
        elif what < 0.3:
            path.append(("G1", x, y, z))
        elif what < 0.5:
            cx, cy = x + draw.uniform(-12, 12), y + draw.uniform(-12, 12)
            turn = draw.uniform(0.3, 6.0)
            dx, dy = x - cx, y - cy
            c, s = np.cos(turn), np.sin(turn)
            last = path[-1][3]
            x, y = cx + c * dx - s * dy, cy + s * dx + c * dy
            path.append(("G3", x, y, last if draw.random() < 0.7 else z, cx, cy))
        else:
            x, y = draw.uniform(-5, 105), draw.uniform(-5, 65)
            path.append(("G1", x, y, z))
    return path
