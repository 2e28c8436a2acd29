"""A tool in its holder as exact convex turned pieces: lower and upper sides made of lines and true arcs.

The turned profile (radius against height above the tip) is cut into convex pieces of one zone each. A piece has a
lower side h(ρ), convex and never falling with the radius ρ, and an upper side, its mirror image. Both are chains of
segments that touch each other from ρ = 0 to the reach of the piece. Rounds of balls, bull noses and other corners are
true arcs; everything else is taken from `Tool.profile_mm` as it stands.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from halfthou.base.table import Rows, dtype, lock
from halfthou.nouns.tool import Tool, Zone

#: One segment of a side over ra ≤ ρ ≤ rb. form LINE: height ha + slope·(ρ − ra); ARC: ch − √(rad² − (ρ − cr)²).
SEGMENT = dtype(
    ("form", "i4"), ("ra", "f8"), ("rb", "f8"), ("ha", "f8"), ("slope", "f8"), ("cr", "f8"), ("ch", "f8"),
    ("rad", "f8"),
)  # fmt: skip

#: One convex piece: its zone and tool row, its segments (lower side, upper side mirrored: heights negated), its
#: widest radius, lowest and highest height, and `opens`: the height up to which it is free over its whole width.
PIECE = dtype(
    ("tool", "i4"), ("zone", "i4"), ("low_first", "i4"), ("low_last", "i4"), ("up_first", "i4"), ("up_last", "i4"),
    ("topmost", "i4"), ("reach", "f8"), ("bottom", "f8"), ("top", "f8"), ("opens", "f8"),
)  # fmt: skip

LINE, ARC = 0, 1
FIT_MM = 0.01  # profile points this near the true corner arc are taken to mean that arc
SAG_RATIO = 0.05  # and the middles of its chords must stay this near, in radii: a cone is no ball
SAME_MM = 1e-9  # two heights or radii nearer than this are one (rounding of typed numbers)


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A bit of profile from (r0, h0) up to (r1, h1); a true arc about (cr, ch) if rad > 0."""

    zone: int
    r0: float
    h0: float
    r1: float
    h1: float
    cr: float = 0.0
    ch: float = 0.0
    rad: float = 0.0

    def lean(self, at_end: bool) -> float:
        """dr/dh at one end; infinite where an arc leaves level."""
        if self.rad <= 0.0:
            return (self.r1 - self.r0) / (self.h1 - self.h0)
        r, h = (self.r1, self.h1) if at_end else (self.r0, self.h0)
        return math.inf if abs(r - self.cr) < SAME_MM else (self.ch - h) / (r - self.cr)


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """All tools packed: pieces (PIECE) of tool row k are first[k]:first[k+1]; segments (SEGMENT)."""

    pieces: Rows
    segments: Rows
    first: tuple[int, ...]


def corner_of(tool: Tool) -> float:
    """Corner radius when the profile means a true corner arc at its foot (a ball's is half its diameter), else 0."""
    radius = tool.diameter_mm / 2
    corner = radius if tool.kind == "ball" else tool.corner_mm
    if corner <= 0 or corner > radius + SAME_MM or tool.kind in ("dovetail", "probe"):
        return 0.0
    low = 0
    while low < len(tool.zone) and tool.zone[low] == Zone.CUTTING:
        low += 1
    if low == 0 or tool.profile_mm[low, 1] < corner - SAME_MM:
        return 0.0
    on = tool.profile_mm[: low + 1]
    on = on[on[:, 1] <= corner + SAME_MM]
    middle = (on[1:] + on[:-1]) / 2
    for points, fit in ((on, FIT_MM), (middle, SAG_RATIO * corner)):
        off = np.hypot(np.maximum(points[:, 0] - (radius - corner), 0.0), points[:, 1] - corner) - corner
        flat = (points[:, 1] <= SAME_MM) & (points[:, 0] <= radius - corner + FIT_MM)
        if not bool(np.all(np.abs(np.where(flat, 0.0, off)) <= fit)):
            return 0.0
    if float(np.hypot(*(on[-1] - (radius, corner)))) > SAG_RATIO * corner + FIT_MM:
        return 0.0
    return float(corner)


def curves_of(tool: Tool) -> list[Curve]:
    """The rising bits of the profile from the tip up; level bits are the discs between them."""
    points = [(float(r), float(h)) for r, h in tool.profile_mm]
    zones = [int(z) for z in tool.zone]
    found: list[Curve] = []
    corner = corner_of(tool)
    if corner > 0.0:
        radius = tool.diameter_mm / 2
        flat = max(radius - corner, 0.0)
        found.append(Curve(zone=zones[0], r0=flat, h0=0.0, r1=radius, h1=corner, cr=flat, ch=corner, rad=corner))
        keep = next((k for k in range(len(points)) if points[k][1] > corner + SAME_MM), len(points))
        points, zones = [(radius, corner), *points[keep:]], zones[max(keep - 1, 0) :]
    for k, zone in enumerate(zones[: len(points) - 1]):
        (r0, h0), (r1, h1) = points[k], points[k + 1]
        if h1 - h0 > SAME_MM:
            found.append(Curve(zone=zone, r0=r0, h0=h0, r1=r1, h1=h1))
    return found


def _convex(curves: Sequence[Curve]) -> list[list[Curve]]:
    """Runs of curves of one zone that join and never lean further out."""
    runs: list[list[Curve]] = []
    for curve in curves:
        last = runs[-1][-1] if runs else None
        if (
            last is not None
            and last.zone == curve.zone
            and abs(last.r1 - curve.r0) <= SAME_MM
            and abs(last.h1 - curve.h0) <= SAME_MM
            and curve.lean(False) <= last.lean(True) + 1e-12
        ):
            runs[-1].append(curve)
        else:
            runs.append([curve])
    return runs


def _side(curves: Sequence[tuple[float, float, float, float, float, float, float]], foot: float) -> Rows:
    """SEGMENT rows of one side; curves (ra, ha, rb, hb, cr, ch, rad) outward, foot: height of the disc they start on."""
    rows = np.zeros(len(curves) + 1, dtype=SEGMENT)
    n = 0
    start = curves[0][0] if curves else 0.0
    if start > 0.0 or not curves:
        rows[n]["rb"], rows[n]["ha"] = start, foot
        n += 1
    for ra, ha, rb, hb, cr, ch, rad in curves:
        if rb - ra <= 1e-12:
            continue
        rows[n]["ra"], rows[n]["rb"], rows[n]["ha"] = ra, rb, ha
        rows[n]["slope"] = (hb - ha) / (rb - ra)
        if rad > 0.0:
            rows[n]["form"], rows[n]["cr"], rows[n]["ch"], rows[n]["rad"] = ARC, cr, ch, rad
        n += 1
    if n == 0:  # a piece of no width on this side: a disc of radius start
        rows[0]["rb"], rows[0]["ha"] = start, foot
        n = 1
    return rows[:n]


def _piece(run: Sequence[Curve]) -> tuple[Rows, Rows, dict[str, float]]:
    """Lower side, mirrored upper side and measures of a convex run."""
    reach = max(max(c.r0, c.r1) for c in run)
    lower = [(c.r0, c.h0, c.r1, c.h1, c.cr, c.ch, c.rad) for c in run if c.r1 > c.r0]
    upper = [(c.r1, -c.h1, c.r0, -c.h0, c.cr, -c.ch, c.rad) for c in reversed(run) if c.r1 < c.r0]
    low = _side(lower, run[0].h0)
    up = _side(upper, -run[-1].h1)
    for side in (low, up):  # a side without slant is a disc out to the reach
        if side[-1]["rb"] < reach:
            side[-1]["rb"] = reach
    opens = max(c.h1 if c.r1 >= reach - SAME_MM else c.h0 for c in run if max(c.r0, c.r1) >= reach - SAME_MM)
    return low, up, {"reach": reach, "bottom": run[0].h0, "top": run[-1].h1, "opens": opens}


def body(tool: Tool) -> list[tuple[int, Rows, Rows, dict[str, float]]]:
    """(zone, lower side, mirrored upper side, measures) of each convex piece of one tool, from the tip up."""
    return [(run[0].zone, *_piece(run)) for run in _convex(curves_of(tool))]


def pack(tools: Sequence[Tool]) -> Body:
    """All tools of a job as one table of pieces; tool row k is `tools[k]`."""
    pieces: list[Rows] = []
    segments: list[Rows] = []
    first, at = [0], 0
    for k, tool in enumerate(tools):
        own = body(tool)
        for number, (zone, low, up, measures) in enumerate(own):
            row = np.zeros(1, dtype=PIECE)
            row["tool"], row["zone"], row["topmost"] = k, zone, number == len(own) - 1
            row["low_first"], row["low_last"] = at, at + len(low)
            row["up_first"], row["up_last"] = at + len(low), at + len(low) + len(up)
            for name, value in measures.items():
                row[name] = value
            at += len(low) + len(up)
            pieces.append(row)
            segments += [low, up]
        first.append(first[-1] + len(own))
    return Body(
        pieces=lock(np.concatenate(pieces) if pieces else np.zeros(0, dtype=PIECE)),
        segments=lock(np.concatenate(segments) if segments else np.zeros(0, dtype=SEGMENT)),
        first=tuple(first),
    )
