"""Normals and further makers at a point of a part that was cut at several angles.

Everything is asked of the swept volumes at points beside the one wanted, so a wall may stand at any angle.
"""

from collections.abc import Callable, Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from halfthou.base.limits import MAKERS_MM
from halfthou.base.table import Rows
from halfthou.geometry.profile import Body
from halfthou.geometry.sweep import swept
from halfthou.nouns.cut import BOTTOM, CORNER, FLANK, RAW, UPPER
from halfthou.nouns.frame import Pose

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]
NEAR_MM = 1e-4  # how far round the point is looked
FINE_MM = 1e-9
DIRECTIONS = 200


class Cut(Protocol):
    """What is asked of a removal here."""

    @property
    def events(self) -> Rows:
        """EVENT rows."""

    @property
    def body(self) -> Body:
        """The tools' pieces."""

    def _events_at(self, x: float, y: float) -> I8:
        """Events over a point."""


Stretches = Sequence[tuple[int, Cut, Pose]]


def turned_normal(stretches: Stretches, row: int, spot: F8, up: float) -> tuple[int, F8]:
    """(zone, normal f8 (3,) out of the material) at a point f8 (3,) of the surface made by a row; grid axes at rest."""
    at = [k for k, (first, _, _) in enumerate(stretches) if first <= row]
    if row < 0 or not at:
        return RAW, np.array([0.0, 0.0, up])
    _, own, back = stretches[at[-1]]
    here = back.turn @ spot + back.shift_mm
    inside = _swept_by(own, here, row)
    k = np.arange(DIRECTIONS) + 0.5
    z = 1 - 2 * k / DIRECTIONS
    turn = np.pi * (1 + 5**0.5) * k
    ways = np.stack([np.sqrt(1 - z**2) * np.cos(turn), np.sqrt(1 - z**2) * np.sin(turn), z], axis=1)
    met = np.array([inside(here + NEAR_MM * way) for way in ways])
    if not met.any() or met.all():
        return CORNER, back.turn.T @ np.array([0.0, 0.0, 1.0])
    normal = _sharpened(inside, here, ways[met].sum(axis=0))
    lean = abs(float(normal[2]))
    if lean > 1 - 1e-9:
        zone = BOTTOM if normal[2] > 0 else UPPER
    else:
        zone = FLANK if lean < 1e-3 else CORNER if normal[2] > 0 else UPPER
    return zone, back.turn.T @ normal


def _sharpened(inside: Callable[[F8], bool], here: F8, rough: F8) -> F8:
    """The normal from three points of the surface found along the rough one."""
    n = rough / np.linalg.norm(rough)
    one = np.cross(n, np.eye(3)[int(np.argmin(np.abs(n)))])
    one /= np.linalg.norm(one)
    two = np.cross(n, one)
    points = []
    for a, b in ((1.0, 0.0), (-0.5, 0.75**0.5), (-0.5, -(0.75**0.5))):
        foot = here + NEAR_MM * (a * one + b * two)
        t = _crossing(inside, foot, n, 2 * NEAR_MM)
        if t is None:
            return n
        points.append(foot + t * n)
    sharp = np.cross(points[1] - points[0], points[2] - points[0])
    sharp /= np.linalg.norm(sharp)
    return sharp if sharp @ n > 0 else -sharp


def _crossing(inside: Callable[[F8], bool], foot: F8, way: F8, reach_mm: float) -> float | None:
    """Where a line foot + t·way passes from outside a swept volume to inside or back, |t| up to reach_mm."""
    low, high = -reach_mm, reach_mm
    first = inside(foot + low * way)
    if inside(foot + high * way) == first:
        return None
    while high - low > FINE_MM:
        middle = (low + high) / 2
        if inside(foot + middle * way) == first:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def turned_others(stretches: Stretches, spot: F8) -> list[tuple[int, float]]:
    """(move, gap) of every row whose cut ends within MAKERS_MM of a point on its vertical line at rest, by row."""
    gaps: dict[int, float] = {}
    for _, own, back in stretches:
        here, way = back.turn @ spot + back.shift_mm, back.turn @ np.array([0.0, 0.0, 1.0])
        for row in np.unique(own.events["row"][own._events_at(float(here[0]), float(here[1]))]).tolist():
            t = _crossing(_swept_by(own, here, row), here, way, MAKERS_MM)
            if t is not None:
                gaps[row] = min(abs(t), gaps.get(row, np.inf))
    return sorted(gaps.items())


def _swept_by(own: Cut, here: F8, row: int) -> Callable[[F8], bool]:
    """Whether points near one lie in what a row swept."""
    near = own._events_at(float(here[0]), float(here[1]))
    events = [own.events[e] for e in near.tolist() if int(own.events["row"][e]) == row]

    def inside(point: F8) -> bool:
        for event in events:
            piece = own.body.pieces[event["piece"]]
            low, high = swept(event, piece, own.body.segments, float(point[0]), float(point[1]))
            if low < point[2] < high:
                return True
        return False

    return inside
