"""Moves as swept pieces: every cutting piece of the tool along every straight leg or level arc, in order.

Promise: a leg is within `bound_mm` of the true path; straight moves and level arcs are exact (bound 0), everything else
is cut into chords no farther than CHORD_MM from the curve.
"""

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from halfthou.base.limits import CHORD_MM
from halfthou.base.table import Rows, lock
from halfthou.geometry.profile import Body
from halfthou.geometry.sweep import EVENT
from halfthou.nouns.moves import Kind
from halfthou.nouns.tool import Zone

F8 = NDArray[np.float64]
CUTS = (Kind.RAPID, Kind.LINE, Kind.ARC)
STATION_MM = 2.0  # stretches of a move over which what it meets is summed: the load's resolution along the path
NAMES = (
    "row", "form", "x0", "y0", "z0", "x1", "y1", "z1", "cx", "cy", "arc_r", "grow_r", "sweep", "angle0", "bound_mm",
    "from_share", "to_share", "piece",
)  # fmt: skip
LEVEL_MM = 1e-12
SPIRAL_MM = 1e-3  # an arc whose radius changes more than this is cut into chords


def events_of(sweeps: Rows, body: Body, offset_mm: F8) -> Rows:
    """EVENT rows of all cutting moves, in row order; coordinates are table frame minus offset_mm (grid axes).

    sweeps: SWEEP rows; `row` of an event is the index into them.
    """
    cutting = [
        [p for p in range(body.first[k], body.first[k + 1]) if body.pieces["zone"][p] == Zone.CUTTING]
        for k in range(len(body.first) - 1)
    ]
    kinds, tools = sweeps["kind"], sweeps["tool"]
    rows = np.flatnonzero(np.isin(kinds, CUTS) & (tools >= 0))
    start, end, centre = sweeps["from_mm"] - offset_mm, sweeps["to_mm"] - offset_mm, sweeps["centre_mm"] - offset_mm
    bent = (kinds[rows] == Kind.ARC) & (sweeps["sweep_rad"][rows] != 0.0)
    straight = [np.zeros((0, len(NAMES)))]
    for tool in np.unique(tools[rows]).tolist():
        own = rows[~bent & (tools[rows] == tool)]
        for piece in cutting[tool]:
            table = np.zeros((len(own), len(NAMES)))
            table[:, 0], table[:, 2:5], table[:, 5:8] = own, start[own], end[own]
            table[:, 16], table[:, 17] = 1.0, piece
            straight.append(table)
    legs: list[tuple[Any, ...]] = []
    for row in rows[bent].tolist():
        normal, sweep = int(sweeps["normal"][row]), float(sweeps["sweep_rad"][row])
        own_legs = _arc(row, start[row], end[row], centre[row], normal, sweep)
        legs += [(*leg, piece) for leg in own_legs for piece in cutting[int(tools[row])]]
    arcs = np.array(legs, dtype=np.float64).reshape(len(legs), len(NAMES))
    columns = np.concatenate([*straight, arcs])
    return _table(columns[np.argsort(columns[:, 0], kind="stable")], body)


def _line(row: int, a: F8, b: F8, bound: float, from_share: float = 0.0, to_share: float = 1.0) -> tuple[Any, ...]:
    return (
        row, 0, a[0], a[1], a[2], b[0], b[1], b[2], 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, bound, from_share, to_share
    )  # fmt: skip


def _arc(row: int, a: F8, b: F8, c: F8, normal: int, sweep: float) -> list[tuple[Any, ...]]:
    i, j = (normal + 1) % 3, (normal + 2) % 3
    r0, r1 = math.hypot(a[i] - c[i], a[j] - c[j]), math.hypot(b[i] - c[i], b[j] - c[j])
    if normal == 2 and abs(b[2] - a[2]) < LEVEL_MM and abs(r1 - r0) < SPIRAL_MM:
        angle = math.atan2(a[1] - c[1], a[0] - c[0])
        bound = (r1 - r0) ** 2 / max(r0 * sweep * sweep, 1e-9)
        return [(row, 1, a[0], a[1], a[2], b[0], b[1], b[2], c[0], c[1], r0, r1 - r0, sweep, angle, bound, 0.0, 1.0)]
    bend = sweep * sweep * max(r0, r1) + 2 * abs(sweep) * abs(r1 - r0)
    n = max(1, math.ceil(math.sqrt(bend / (8 * CHORD_MM))))
    points = arc_points(a, b, c, normal, sweep, n)
    return [_line(row, points[k], points[k + 1], CHORD_MM, k / n, (k + 1) / n) for k in range(n)]


def arc_points(a: F8, b: F8, c: F8, normal: int, sweep: float, n: int) -> F8:
    """n + 1 points f8 (n+1,3) on an arc whose radius and third coordinate go linearly with the angle; ends exact."""
    i, j = (normal + 1) % 3, (normal + 2) % 3
    r0, r1 = math.hypot(a[i] - c[i], a[j] - c[j]), math.hypot(b[i] - c[i], b[j] - c[j])
    angle = math.atan2(a[j] - c[j], a[i] - c[i])
    t = np.linspace(0.0, 1.0, n + 1)
    radius, turn = r0 + (r1 - r0) * t, angle + sweep * t
    points = np.empty((n + 1, 3))
    points[:, i] = c[i] + radius * np.cos(turn)
    points[:, j] = c[j] + radius * np.sin(turn)
    points[:, normal] = a[normal] + (b[normal] - a[normal]) * t
    points[0], points[-1] = a, b
    return points


def _table(columns: F8, body: Body) -> Rows:
    out = np.zeros(len(columns), dtype=EVENT)
    if not len(columns):
        return lock(out)
    for k, name in enumerate(NAMES):
        out[name] = columns[:, k]
    dx, dy = out["x1"] - out["x0"], out["y1"] - out["y0"]
    length = np.hypot(dx, dy)
    plunge = (length < 1e-9) & (out["form"] == 0)
    length[plunge] = 0.0
    some = length > 0
    out["length"] = length
    out["ux"][some], out["uy"][some] = dx[some] / length[some], dy[some] / length[some]
    out["slope"][some] = (out["z1"][some] - out["z0"][some]) / length[some]
    travel = np.where(out["form"] == 1, np.abs(out["sweep"]) * out["arc_r"], length)
    out["stations"] = np.maximum(1, np.ceil(travel / STATION_MM))
    reach = body.pieces["reach"][out["piece"]]
    x0, x1 = np.minimum(out["x0"], out["x1"]), np.maximum(out["x0"], out["x1"])
    y0, y1 = np.minimum(out["y0"], out["y1"]), np.maximum(out["y0"], out["y1"])
    for k in np.flatnonzero(out["form"] == 1).tolist():
        x0[k], y0[k], x1[k], y1[k] = _arc_box(out[k])
    out["bx0"], out["by0"], out["bx1"], out["by1"] = x0 - reach, y0 - reach, x1 + reach, y1 + reach
    out["low_z"] = np.minimum(out["z0"], out["z1"]) + body.pieces["bottom"][out["piece"]]
    return lock(out)


def _arc_box(event: Any) -> tuple[float, float, float, float]:
    cx, cy, r = float(event["cx"]), float(event["cy"]), float(event["arc_r"]) + max(0.0, float(event["grow_r"]))
    angle, sweep = float(event["angle0"]), float(event["sweep"])
    xs, ys = [float(event["x0"]), float(event["x1"])], [float(event["y0"]), float(event["y1"])]
    for quarter in range(4):
        turn = quarter * math.pi / 2 - angle
        turn = turn % (2 * math.pi) if sweep > 0 else (-turn) % (2 * math.pi)
        if turn <= abs(sweep) + 1e-9:
            xs.append(cx + r * math.cos(quarter * math.pi / 2))
            ys.append(cy + r * math.sin(quarter * math.pi / 2))
    return min(xs), min(ys), max(xs), max(ys)
