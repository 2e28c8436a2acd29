"""General tolerances for dimensions without a stated one: ISO 2768-1 and -2, both in mm and rad.

Source: ISO 2768-1 tables 1 to 3 (m and the edges seen in public tables, the rest from memory), ISO 2768-2 (from memory).
"""

import math
from bisect import bisect_left

from halfthou.base.errors import CannotAnswer

_Table = dict[str, tuple[float | None, ...]]

LINEAR_ENDS_MM = (3, 6, 30, 120, 400, 1000, 2000, 4000)
LINEAR_MM: _Table = {
    "f": (0.05, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5, None),
    "m": (0.1, 0.1, 0.2, 0.3, 0.5, 0.8, 1.2, 2.0),
    "c": (0.2, 0.3, 0.5, 0.8, 1.2, 2.0, 3.0, 4.0),
    "v": (None, 0.5, 1.0, 1.5, 2.5, 4.0, 6.0, 8.0),
}
EDGE_ENDS_MM = (3, 6, math.inf)
EDGE_MM: _Table = {"f": (0.2, 0.5, 1.0), "m": (0.2, 0.5, 1.0), "c": (0.4, 1.0, 2.0), "v": (0.4, 1.0, 2.0)}
ANGLE_ENDS_MM = (10, 50, 120, 400, math.inf)
ANGLE_MINUTES: _Table = {
    "f": (60, 30, 20, 10, 5),
    "m": (60, 30, 20, 10, 5),
    "c": (90, 60, 30, 15, 10),
    "v": (180, 120, 60, 30, 20),
}
FLAT_ENDS_MM = (10, 30, 100, 300, 1000, 3000)
FLAT_MM: _Table = {
    "H": (0.02, 0.05, 0.1, 0.2, 0.3, 0.4),
    "K": (0.05, 0.1, 0.2, 0.4, 0.6, 0.8),
    "L": (0.1, 0.2, 0.4, 0.8, 1.2, 1.6),
}
SQUARE_ENDS_MM = (100, 300, 1000, 3000)
SQUARE_MM: _Table = {"H": (0.2, 0.3, 0.4, 0.5), "K": (0.4, 0.6, 0.8, 1.0), "L": (0.6, 1.0, 1.5, 2.0)}
SYMMETRY_MM: _Table = {"H": (0.5, 0.5, 0.5, 0.5), "K": (0.6, 0.6, 0.8, 1.0), "L": (0.6, 1.0, 1.5, 2.0)}
RUN_OUT_MM = {"H": 0.1, "K": 0.2, "L": 0.5}


def _look(table: _Table, ends: tuple[float, ...], grade: str, size_mm: float, least_mm: float = 0.0) -> float:
    """The entry for a class and a size (range ends inclusive)."""
    if grade not in table:
        raise CannotAnswer(f"no class {grade!r}; there are {', '.join(table)}")
    if not size_mm > 0.0 or size_mm < least_mm or size_mm > ends[-1]:
        raise CannotAnswer(f"the general tolerances say nothing for a size of {size_mm} mm")
    value = table[grade][bisect_left(ends, size_mm)]
    if value is None:
        raise CannotAnswer(f"class {grade} has no value for a size of {size_mm} mm")
    return value


def linear_mm(grade: str, size_mm: float) -> float:
    """± tolerance of a length, 0.5 to 4000 mm, class f, m, c or v (ISO 2768-1 table 1).

    >>> linear_mm("m", 50.0)
    0.3
    """
    return _look(LINEAR_MM, LINEAR_ENDS_MM, grade, size_mm, 0.5)


def edge_mm(grade: str, size_mm: float) -> float:
    """± tolerance of an outer radius or chamfer height, from 0.5 mm (ISO 2768-1 table 2)."""
    return _look(EDGE_MM, EDGE_ENDS_MM, grade, size_mm, 0.5)


def angle_rad(grade: str, shorter_leg_mm: float) -> float:
    """± tolerance of an angle by its shorter leg (ISO 2768-1 table 3)."""
    return math.radians(_look(ANGLE_MINUTES, ANGLE_ENDS_MM, grade, shorter_leg_mm) / 60.0)


def flat_mm(grade: str, length_mm: float) -> float:
    """Straightness or flatness by the (longer) length, class H, K or L (ISO 2768-2 table 1)."""
    return _look(FLAT_MM, FLAT_ENDS_MM, grade, length_mm)


def square_mm(grade: str, shorter_leg_mm: float) -> float:
    """Perpendicularity by the shorter leg (ISO 2768-2 table 2)."""
    return _look(SQUARE_MM, SQUARE_ENDS_MM, grade, shorter_leg_mm)


def symmetry_mm(grade: str, length_mm: float) -> float:
    """Symmetry (ISO 2768-2 table 3)."""
    return _look(SYMMETRY_MM, SQUARE_ENDS_MM, grade, length_mm)


def run_out_mm(grade: str) -> float:
    """Circular run-out (ISO 2768-2 table 4)."""
    if grade not in RUN_OUT_MM:
        raise CannotAnswer(f"no class {grade!r}; there are {', '.join(RUN_OUT_MM)}")
    return RUN_OUT_MM[grade]
