"""Meshes as standing bodies: what their facets leave open, and what a depth in them means."""

import numpy as np
from numpy.typing import NDArray

from halfthou.geometry.near import SAG_MM, STEP_MM, Legs, clearances
from halfthou.geometry.near_chain import Bodies, Chains

F8 = NDArray[np.float64]

BOUND_MM = SAG_MM + STEP_MM  # error bound of a clearance
WAYS = np.array([[0, 0, 1], *([np.cos(a), np.sin(a), 0] for a in np.arange(8) * np.pi / 4)], dtype=np.float64)


class Doubtful:
    """Clearances to meshes that neither are contacts deeper than the limit for sure nor rule one out.

    Two reasons. The true face may lie `error_mm` in front of the facets. And in a mesh that is not convex the depth
    found is how much smaller all round the piece would have to be, which is no more than the shortest parting shift:
    there a touch counts as no contact only if a shift by the limit, up or level in one of eight ways, is seen to part
    them on the whole leg.
    """

    def __init__(self, bodies: Bodies, limit_mm: float) -> None:
        """bodies: all that stand on the table."""
        self.limit_mm, n = limit_mm, len(bodies.names)
        self.error_mm = np.where(bodies.error_mm > BOUND_MM, bodies.error_mm, 0.0) if n else np.zeros(0)
        self.bent = bent(bodies)
        self.any = bool(np.any(self.error_mm > 0.0) or np.any(self.bent))

    def pick(self, out: F8, legs: Legs, chains: Chains, bodies: Bodies) -> NDArray[np.bool_]:
        """Which of the clearances b (n, b, zones) of these legs are doubtful."""
        shallow = out >= -self.limit_mm
        found = shallow & (out < (self.error_mm - self.limit_mm)[None, :, None])
        for leg, body, zone in np.argwhere(shallow & ~found & (out < -BOUND_MM) & self.bent[None, :, None]):
            found[leg, body, zone] = not self._parts(legs, int(leg), int(body), int(zone), chains, bodies)
        return found

    def _parts(self, legs: Legs, leg: int, body: int, zone: int, chains: Chains, bodies: Bodies) -> bool:
        for way in WAYS:
            moved = legs.some(np.array([leg])).by(way * self.limit_mm)
            if clearances(moved, chains, bodies, keep_mm=0.0)[0][0, body, zone] >= -BOUND_MM:
                return True
        return False


def bent(bodies: Bodies) -> NDArray[np.bool_]:
    """Which bodies are meshes with a skin that is not convex, b (b,)."""
    found = np.zeros(len(bodies.names), dtype=np.bool_)
    found[bodies.solids.body[bodies.solids.convex == 0]] = True
    return found
