"""Where round the tool it is in the stock at one moment of a move, exactly: entry and exit angles at a height.

Promise: every arc's ends are right to ANGLE_RAD (plus the moves' own error over the radius); arcs narrower than
SAMPLE_RAD may be missed, and the flank touching a wall it leaves is not an arc. No ray is used: the points round the tool
are asked of every move that can reach them, up to the very moment.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.errors import CannotAnswer
from halfthou.geometry.engage import radius_at
from halfthou.geometry.sweep import swept
from halfthou.nouns.tool import Zone
from halfthou.prove.remove import Removal

F8 = NDArray[np.float64]

OUT_MM = 1e-7  # how far outside the tool its surroundings are asked
ANGLE_RAD = math.radians(0.01)
SAMPLE_RAD = 2 * math.pi / 1440


@dataclass(frozen=True, slots=True, kw_only=True)
class Engagement:
    """Arcs of the tool in the stock: angles from the direction of travel, positive to the left, (from, to) rising.

    radius_mm: of the tool at this height over its tip. A clockwise tool's teeth run from `to` to `from`.
    """

    move: int
    share: float
    height_mm: float
    radius_mm: float
    arcs_rad: tuple[tuple[float, float], ...]
    bound_rad: float


def engagement(removal: Removal, move: int, *, share: float, height_mm: float) -> Engagement:
    """Entry and exit angles of a cutting move (job-wide row) when `share` of it is done, `height_mm` over the tip.

    Raises CannotAnswer when the move does not cut level or the tool has no cutting edge at that height.
    """
    removal = removal.stretch_of(move)
    own = np.flatnonzero(removal.events["row"] == move)
    if not len(own):
        raise CannotAnswer(f"move {move} does not reach this stock")
    events = removal.events[own]
    now = min(len(events) - 1, int(np.searchsorted(events["from_share"], share, side="right")) - 1)
    event = events[now]
    piece = _piece(removal, int(event["piece"]), height_mm)
    part = (share - event["from_share"]) / (event["to_share"] - event["from_share"])
    tip, travel = _tip(event, min(1.0, max(0.0, float(part))))
    if event["form"] == 0 and event["length"] == 0.0:
        raise CannotAnswer("the move plunges: it has no direction of travel to measure an angle from")
    segments = removal.body.segments
    radius = float(
        radius_at(
            segments, int(piece["low_first"]), int(piece["low_last"]), float(piece["reach"]),
            height_mm,
        )
    )  # fmt: skip
    done = _until(events, now, float(part))

    def met(angle: F8) -> NDArray[np.bool_]:
        """Whether the stock stands at each angle round the tool."""
        points = np.empty((len(angle), 3))
        points[:, 0] = tip[0] + (radius + OUT_MM) * np.cos(travel + angle)
        points[:, 1] = tip[1] + (radius + OUT_MM) * np.sin(travel + angle)
        points[:, 2] = tip[2] + height_mm
        solid = removal.inside_before(points + removal.shift_mm, move)
        for k in np.flatnonzero(solid).tolist():
            solid[k] = not _swept_by(done, removal, points[k])
        return solid

    arcs = _arcs(met)
    bound = ANGLE_RAD + (float(events["bound_mm"].max()) + removal.record.error_mm) / max(radius, 1e-9)
    return Engagement(
        move=move, share=share, height_mm=height_mm, radius_mm=radius, arcs_rad=arcs, bound_rad=bound
    )  # fmt: skip


def _piece(removal: Removal, near: int, height: float) -> np.void:
    pieces = removal.body.pieces
    tool = pieces["tool"][near]
    for k in np.flatnonzero((pieces["tool"] == tool) & (pieces["zone"] == Zone.CUTTING)).tolist():
        if pieces["bottom"][k] <= height <= pieces["top"][k]:
            return pieces[k]  # type: ignore[no-any-return]
    raise CannotAnswer(f"the tool has no cutting edge {height:.3f} mm over its tip")


def _tip(event: np.void, part: float) -> tuple[F8, float]:
    """Tip point in grid axes and direction of travel when `part` of an event is done."""
    a = np.array([event["x0"], event["y0"], event["z0"]], dtype=np.float64)
    b = np.array([event["x1"], event["y1"], event["z1"]], dtype=np.float64)
    if event["form"] == 0:
        return a + part * (b - a), math.atan2(event["uy"], event["ux"])
    angle = event["angle0"] + part * event["sweep"]
    r = event["arc_r"] + part * event["grow_r"]
    tip = np.array([event["cx"] + r * math.cos(angle), event["cy"] + r * math.sin(angle), a[2]])
    return tip, float(angle + math.copysign(math.pi / 2, event["sweep"]))


def _until(events: NDArray[np.void], now: int, part: float) -> NDArray[np.void]:
    """The move's own swept pieces up to the moment; one that has not begun is left out."""
    done = events[: now + 1].copy()
    last = done[now]
    tip, _travel = _tip(last, part)
    last["x1"], last["y1"], last["z1"] = tip
    last["length"] *= part
    last["sweep"] *= part
    last["grow_r"] *= part
    return done[:now] if part <= 0.0 else done


def _swept_by(done: NDArray[np.void], removal: Removal, point: F8) -> bool:
    for event in done[::-1]:
        piece = removal.body.pieces[event["piece"]]
        low, high = swept(event, piece, removal.body.segments, float(point[0]), float(point[1]))
        if low < point[2] < high:
            return True
    return False


def _arcs(met: Callable[[F8], NDArray[np.bool_]]) -> tuple[tuple[float, float], ...]:
    """Arcs where `met` holds, ends halved down to ANGLE_RAD / 4."""
    n = round(2 * math.pi / SAMPLE_RAD)
    angle: F8 = -math.pi + (np.arange(n, dtype=np.float64) + 0.5) * SAMPLE_RAD
    hit = met(angle)
    if hit.all():
        return ((-math.pi, math.pi),)
    if not hit.any():
        return ()
    rise = np.flatnonzero(hit & ~np.roll(hit, 1))
    fall = np.flatnonzero(hit & ~np.roll(hit, -1))
    low_out, low_in = angle[rise] - SAMPLE_RAD, angle[rise].copy()
    high_in, high_out = angle[fall].copy(), angle[fall] + SAMPLE_RAD
    for _ in range(8):
        middle_low, middle_high = (low_out + low_in) / 2, (high_in + high_out) / 2
        in_low, in_high = met(middle_low), met(middle_high)
        low_in, low_out = np.where(in_low, middle_low, low_in), np.where(in_low, low_out, middle_low)
        high_in, high_out = np.where(in_high, middle_high, high_in), np.where(in_high, high_out, middle_high)
    start, end = (low_in + low_out) / 2, (high_in + high_out) / 2
    if len(end) and end[0] < start[0]:  # an arc over the back of the tool
        end = np.roll(end, -1)
        end[-1] += 2 * math.pi
    return tuple((float(a), float(b)) for a, b in zip(start, end, strict=True) if b - a > SAMPLE_RAD / 2)
