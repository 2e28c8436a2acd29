"""Which stretches leave a wall that is still there when the operation is over: only there does bending matter."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import Rows
from halfthou.nouns.moves import Kind
from halfthou.prove.remove import Removal

F8 = NDArray[np.float64]

BESIDE_MM = 0.02  # how far outside the tool the wall is looked for
HEIGHTS = (0.15, 0.5, 0.85)  # shares of the axial depth at which it is looked for


def walls_left(
    table: Rows, engaged: Rows, sweeps: Rows, op: int, removals: Sequence[Removal], shifts: Sequence[F8], first_row: int
) -> NDArray[np.bool_]:
    """u1 (n,): LOAD rows (same rows as ENGAGED) of operation `op` that leave a wall standing at its end."""
    out = np.zeros(len(table), dtype=bool)
    mine = np.flatnonzero((table["op"] == op) & (table["side_n"] != 0.0))
    if not len(mine):
        return out
    middle = 0.5 * (engaged["from_share"][mine] + engaged["to_share"][mine]).astype(np.float64)
    tip, travel = _tips(sweeps[engaged["move"][mine] - first_row], middle)
    reach = engaged["reach_mm"][mine].astype(np.float64) + BESIDE_MM
    right = engaged["right"][mine] <= -engaged["left"][mine]  # the side it is deeper in
    aside = travel + np.where(right, -0.5 * math.pi, 0.5 * math.pi)
    for share in HEIGHTS:
        points = tip + np.stack(
            [reach * np.cos(aside), reach * np.sin(aside), share * engaged["axial_mm"][mine].astype(np.float64)], axis=1
        )
        for removal, shift in zip(removals, shifts, strict=True):
            out[mine] |= removal.inside(removal.at_rest(points - shift, engaged["move"][mine]))
    return out


def _tips(rows: Rows, share: F8) -> tuple[F8, F8]:
    """Tip f8 (n,3) in the table frame and direction of travel in XY when `share` of each SWEEP row is done."""
    a, b = rows["from_mm"], rows["to_mm"]
    tip = a + share[:, None] * (b - a)
    travel = np.arctan2(b[:, 1] - a[:, 1], b[:, 0] - a[:, 0])
    arc = np.flatnonzero((rows["kind"] == Kind.ARC) & (rows["normal"] == 2))
    if len(arc):
        out = a[arc, :2] - rows["centre_mm"][arc, :2]
        turn = rows["sweep_rad"][arc] * share[arc]
        c, s = np.cos(turn), np.sin(turn)
        at = np.stack([c * out[:, 0] - s * out[:, 1], s * out[:, 0] + c * out[:, 1]], axis=1)
        tip[arc, :2] = rows["centre_mm"][arc, :2] + at
        travel[arc] = np.arctan2(at[:, 1], at[:, 0]) + np.where(turn >= 0, 0.5 * math.pi, -0.5 * math.pi)
    return tip, travel
