"""Coordinate frames and rigid poses between them.

Frames used in the project:
  program frame   what the program's X Y Z mean under one work offset: the frame of stock, jaws and findings of a place
  table frame     of one operation: tip position = machine axis position minus the length of the tool in the spindle;
                  a work offset is a shift from a program frame to the table frame
  part frame      the design's own coordinates
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from halfthou.base.table import lock

F8 = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pose:
    """x_parent = turn · x_child + shift_mm. turn f8 (3,3) a rotation, shift_mm f8 (3,)."""

    turn: F8
    shift_mm: F8

    def __post_init__(self) -> None:
        """Copy and lock the arrays."""
        object.__setattr__(self, "turn", lock(np.array(self.turn, dtype=np.float64)))
        object.__setattr__(self, "shift_mm", lock(np.array(self.shift_mm, dtype=np.float64)))


def shifted(x_mm: float = 0.0, y_mm: float = 0.0, z_mm: float = 0.0) -> Pose:
    """A pose without rotation."""
    return Pose(turn=np.eye(3), shift_mm=np.array([x_mm, y_mm, z_mm]))


@dataclass(frozen=True, slots=True, kw_only=True)
class TurnOver:
    """How a part is turned between operations: an exact quarter-turn matrix, integer entries only.

    x_new = turn · x_old + shift_mm, both in program coordinates of the two operations. The integers are kept, and
    the shift lives in the pose: neither is ever added to the arrays, so turning over and back changes no bit.
    """

    turn: tuple[tuple[int, int, int], tuple[int, int, int], tuple[int, int, int]]
    shift_mm: tuple[float, float, float]
    words: str = ""  # "180° about X", for people

    def matrix(self) -> F8:
        """The rotation as f8 (3,3)."""
        return np.array(self.turn, dtype=np.float64)
