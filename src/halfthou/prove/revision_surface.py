"""How far the finished surface of a part moved between two revisions: exact along the normal at every sampled point."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from halfthou.base.watch import QUIET, Watch
from halfthou.nouns.part import Part
from halfthou.prove.compare_measure import FINE_MM, deviations
from halfthou.prove.compare_points import Samples, sample
from halfthou.prove.revision_probe import OWN_MM, Seen, Spots

F8 = NDArray[np.float64]
I8 = NDArray[np.int64]

MOVED_MM = 1e-3
"""A surface that moved by less than this did not move (ten times what a point is measured to)."""
REACH_MM = 5.0
"""A surface without a counterpart within this along its normal is new or gone, not moved."""
EDGE_MM = 0.05
"""A point counts when the surface beside it, this far off, moved as well: strips narrower than 0.7 of it are edges that a
neighbouring surface took along."""
STEEP = 6.0  # slope beyond which the surface beside a point is another one
ON_DESIGN_MM = 0.5  # a point this near to a face of the design belongs to it


@dataclass(frozen=True, slots=True, kw_only=True)
class Moved:
    """Points that moved, program coordinates of this job. amount_mm f8 (n,): + material added, NaN = no counterpart.

    first: the point lies on this job's surface (else on the other's); surface i4: face of the design, -1 none; rows: the
    job-wide move that made it in either revision, -1 = raw or not there.
    """

    point_mm: F8
    way: F8
    amount_mm: F8
    first: NDArray[np.bool_]
    surface: NDArray[np.int32]
    now_row: I8
    before_row: I8


@dataclass(frozen=True, slots=True, kw_only=True)
class Sampled:
    """Moved points, and how many points were looked at: in all, and per (on this job's surface, face of the design)."""

    moved: Moved
    points: int
    of: dict[tuple[bool, int], int]


@dataclass(frozen=True, slots=True, kw_only=True)
class Laid:
    """The design as it lies in the place: points on it in program coordinates."""

    samples: Samples
    tree: "cKDTree"


def laid(part: Part, turn: F8, shift_mm: F8) -> Laid:
    """Points on every face of the design, x_program = turn · x_design + shift."""
    own = sample(part)
    samples = Samples(point_mm=own.point_mm @ turn.T + shift_mm, normal=own.normal @ turn.T, surface=own.surface)
    return Laid(samples=samples, tree=cKDTree(samples.point_mm))


def compare_surfaces(
    now: Seen, before: Seen, spots_now: Spots, spots_before: Spots, design: Laid | None, watch: Watch = QUIET
) -> Sampled:
    """Measure every point of either surface against the other material, and keep those that moved by more than MOVED_MM."""
    if design is not None:
        spots_now = Spots.joined([spots_now, _on_own(now, design.samples, watch)])
    found: list[Moved] = []
    of: dict[tuple[bool, int], int] = {}
    points = 0
    for first, own, other, spots in ((True, now, before, spots_now), (False, before, now, spots_before)):
        points += len(spots.point_mm)
        face = _faces(spots, design)
        for k in np.unique(face).tolist():
            of[(first, k)] = int((face == k).sum())
        name = "what moved" if first else "what was there before"
        found.append(_moved(own, other, spots, face, first, watch, name))
    return Sampled(moved=_joined(found), points=points, of=of)


def _on_own(now: Seen, samples: Samples, watch: Watch) -> Spots:
    """Points of this job's surface over the points of the design, left out where the two lie more than 1 mm apart."""
    if not len(samples.point_mm):
        return Spots(point_mm=np.zeros((0, 3)), way=np.zeros((0, 3)))
    limit = np.full(len(samples.point_mm), 0.02)
    away = deviations(now, samples.point_mm, samples.normal, limit, limit, watch, "points of the design")
    keep = ~away.far & (np.abs(away.mm) < 1.0)
    way = samples.normal[keep]
    spot = samples.point_mm[keep] + away.mm[keep, None] * way
    return Spots(point_mm=spot, way=way)


def _faces(spots: Spots, design: Laid | None) -> NDArray[np.int32]:
    """The face of the design each point belongs to, -1 none: near it, and facing the same way."""
    out = np.full(len(spots.point_mm), -1, dtype=np.int32)
    if design is None or not len(out) or not len(design.samples.point_mm):
        return out
    samples = design.samples
    k = min(12, len(samples.point_mm))
    _, index = design.tree.query(spots.point_mm, k=k)
    index = np.asarray(index).reshape(len(out), k)
    off = spots.point_mm[:, None, :] - samples.point_mm[index]
    high = np.abs((off * samples.normal[index]).sum(axis=2))
    facing = (samples.normal[index] * spots.way[:, None, :]).sum(axis=2)
    cost = np.where(facing > 0.3, high + 0.05 * (1 - facing), np.inf)
    best = cost.argmin(axis=1)
    rows = np.arange(len(out))
    near = np.isfinite(cost[rows, best]) & (high[rows, best] <= ON_DESIGN_MM)
    out[near] = samples.surface[index[rows, best]][near]
    return out


def _moved(
    own: Seen, other: Seen, spots: Spots, face: NDArray[np.int32], first: bool, watch: Watch, name: str
) -> Moved:  # fmt: skip
    """The points of one surface that the other material does not share."""
    p, n = spots.point_mm, spots.way
    gap = MOVED_MM - OWN_MM
    there = np.zeros(len(p), dtype=np.bool_)
    for a in range(0, len(p), 4000):
        watch.step(name, a, len(p))
        part = slice(a, a + 4000)
        there[part] = other.inside(p[part] - gap * n[part]) & ~other.inside(p[part] + gap * n[part])
    rows = np.flatnonzero(~there)
    p, n = p[rows], n[rows]
    mm, far = _measured(other, p, n, watch, name)
    keep = far | (np.abs(mm) > MOVED_MM)
    rows, p, n, mm, far = rows[keep], p[keep], n[keep], mm[keep], far[keep]
    sure, lean = _confirmed(own, other, p, n, mm, watch)
    rows, p, n, mm, far, lean = rows[sure], p[sure], n[sure], mm[sure], far[sure], lean[sure]
    there_too = p + mm[:, None] * n
    here, across = _makers(own, p, watch), _makers(other, there_too, watch)
    mm = mm * lean
    none = far | (np.abs(mm) > REACH_MM)
    across[none] = -1
    amount = np.where(none, np.nan, -mm if first else mm)
    keep = none | (np.abs(mm) > MOVED_MM)
    return Moved(
        point_mm=p[keep], way=n[keep], amount_mm=amount[keep], first=np.full(int(keep.sum()), first),
        surface=face[rows][keep], now_row=(here if first else across)[keep], before_row=(across if first else here)[keep],
    )  # fmt: skip


def _makers(seen: Seen, points: F8, watch: Watch) -> I8:
    """The job-wide rows of the moves that made the surface at each point."""
    out = np.zeros(len(points), dtype=np.int64)
    for a in range(0, len(points), 500):
        watch.step("which blocks made it", a, len(points))
        out[a : a + 500] = seen.makers(points[a : a + 500])
    return out


def _measured(other: Seen, p: F8, n: F8, watch: Watch, name: str) -> tuple[F8, NDArray[np.bool_]]:
    """Where the other surface lies along n, and where there is none."""
    limit = np.full(len(p), MOVED_MM)
    found = deviations(other, p, n, limit, limit, watch, name)
    return found.mm, found.far


def _confirmed(own: Seen, other: Seen, p: F8, n: F8, mm: F8, watch: Watch) -> tuple[NDArray[np.bool_], F8]:
    """Points whose neighbours on the same surface moved as well, and the cosine between their way and the true normal."""
    sure = np.ones(len(p), dtype=np.bool_)
    slopes = np.zeros((len(p), 2))
    if not len(p):
        return sure, np.ones(0)
    helper = np.where(np.abs(n[:, [2]]) > 0.9, [[1.0, 0.0, 0.0]], [[0.0, 0.0, 1.0]])
    first = np.cross(n, helper)
    first /= np.linalg.norm(first, axis=1)[:, None]
    for k, along in enumerate((first, np.cross(n, first))):
        slope = np.full((len(p), 2), np.nan)
        moved = np.zeros((len(p), 2), dtype=np.bool_)
        for s, sign in enumerate((1.0, -1.0)):
            q = p + sign * EDGE_MM * along
            own_mm, own_far = _measured(own, q, n, watch, "edges")
            beside = ~own_far & (np.abs(own_mm) < STEEP * EDGE_MM)
            slope[beside, s] = own_mm[beside] / EDGE_MM
            rows = np.flatnonzero(beside)
            mm_q, far_q = _measured(other, q[rows] + own_mm[rows, None] * n[rows], n[rows], watch, "edges")
            moved[rows, s] = far_q | ((np.abs(mm_q) > MOVED_MM) & (np.sign(mm_q) == np.sign(mm[rows])))
        sure &= moved.any(axis=1)
        flat = np.nanmin(np.abs(np.where(np.isnan(slope), np.inf, slope)), axis=1)
        slopes[:, k] = np.where(np.isfinite(flat), flat, 0.0)
    lean: F8 = 1.0 / np.sqrt(1.0 + (slopes**2).sum(axis=1))
    level = slopes.max(axis=1) < 2 * FINE_MM / EDGE_MM  # below what the points are measured to
    return sure, np.where(level, 1.0, lean)


def _joined(parts: list[Moved]) -> Moved:
    return Moved(
        **{
            name: np.concatenate([getattr(part, name) for part in parts])
            for name in ("point_mm", "way", "amount_mm", "first", "surface", "now_row", "before_row")
        }
    )
