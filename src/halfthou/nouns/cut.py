"""What is left of the stock and which move made each bit of surface."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows, dtype
from halfthou.nouns.frame import Pose

#: One interval of material on one ray; -1 = raw stock surface. Moves are rows of the job-wide moves table.
SPAN = dtype(("low_mm", "f8"), ("high_mm", "f8"), ("low_move", "i4"), ("high_move", "i4"))

#: One row a move (aligned with the moves table): what it took away.
REMOVED = dtype(("mm3", "f8"), ("deepest_mm", "f8"), ("rays", "i4"), ("first_point_mm", "f8", (3,)), ("low_z_mm", "f8"))

#: What a stretch of a move met, one row a stretch (about STATION_MM long), in the order of travel. from_share, to_share:
#: where on the move (0 start, 1 end); strips mm³ removed by strip across the front of the tool, right edge to left,
#: equal in sin θ (θ from the direction of travel); axial_mm: highest stock met over the tip; right, left: outermost
#: front positions met, as share of the cutting radius, each known to a ray (pitch/√2). plunge 1: no level travel, the
#: strips of the upper half are rings. reach_mm: the radius the shares are of.
ENGAGED = dtype(
    ("move", "i4"), ("plunge", "u1"), ("from_share", "f4"), ("to_share", "f4"), ("mm3", "f4"), ("axial_mm", "f4"),
    ("right", "f4"), ("left", "f4"), ("reach_mm", "f4"), ("strips", "f4", (16,)),
)  # fmt: skip

#: Surface points handed to other rooms, exact to bound_mm.
SURFACE_POINT = dtype(
    ("point_mm", "f8", (3,)), ("normal", "f8", (3,)), ("op", "i2"), ("move", "i4"), ("tool", "i2"), ("zone", "u1"),
    ("frame", "i2"), ("length_slot", "i2"), ("radius_slot", "i2"), ("bound_mm", "f8"), ("makers", "i4"),
)  # fmt: skip

#: Other makers of surface points, `makers` consecutive rows a point.
MAKER = dtype(("point", "i4"), ("move", "i4"), ("gap_mm", "f8"))

FLANK, CORNER, BOTTOM, UPPER, RAW = 0, 1, 2, 3, 4  # zone of a surface point


@dataclass(frozen=True, slots=True, kw_only=True)
class Grid:
    """Rays along Z over a rectangle. Ray (i, j) stands at low_mm + (i + 0.5, j + 0.5) · pitch_mm, in grid axes.

    pose: program frame of the place → x_program = pose.turn · x_grid + pose.shift_mm. Turn-overs change the pose and
    permute the arrays; they never add to a coordinate in the arrays.
    """

    low_mm: tuple[float, float]
    pitch_mm: float
    nx: int
    ny: int
    pose: Pose


@dataclass(frozen=True, slots=True, kw_only=True)
class CutRecord:
    """The stock after some moves, as labelled depth elements.

    first i8 (nx·ny+1): ray r owns spans[first[r]:first[r+1]], bottom to top, never touching. error_mm: bound on the
    surface error of a span end on its ray; features narrower than the pitch may be missed between rays.
    """

    op: int
    place: int
    grid: Grid
    first: NDArray[np.int64]
    spans: Rows  # SPAN
    after_move: int  # row of the last move taken out, -1 none
    error_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SurfacePoints:
    """A table of exact surface points and of everything else that nearly made them."""

    points: Rows  # SURFACE_POINT
    makers: Rows  # MAKER


#: Nearest approaches: one row a (move, standing body), clearance positive when apart. bound_mm: error bound.
APPROACH = dtype(
    ("move", "i4"), ("body", "i2"), ("zone", "u1"), ("clearance_mm", "f8"), ("bound_mm", "f8"),
    ("tip_mm", "f8", (3,)),
)  # fmt: skip
