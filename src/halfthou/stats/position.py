"""Position tolerances: deviation, bonus at maximum material, virtual condition, fastener formulas.

Source: ISO 1101, ISO 2692, ASME Y14.5 (from memory).  Check: published area 4.
"""

import math

from halfthou.base.errors import CannotAnswer


def position(dx: float, dy: float, dz: float = 0.0) -> float:
    """Diameter of the zone the deviation uses: 2 sqrt(dx^2 + dy^2).

    >>> round(position(0.05, -0.12), 9)
    0.26
    """
    return 2.0 * math.hypot(dx, dy, dz)


def bonus(actual: float, mmc: float, *, hole: bool) -> float:
    """Added position tolerance: departure from the maximum material size, never negative.

    Hole: actual - mmc; pin: mmc - actual. A size beyond the maximum material limit is refused by the size
    tolerance itself, so it earns 0.
    """
    return max(0.0, actual - mmc if hole else mmc - actual)


def is_hole(lower: float, upper: float, mmc: float) -> bool:
    """True if the maximum material size is the lower limit."""
    if mmc not in (lower, upper):
        raise CannotAnswer("the maximum material size must be one of the limits")
    return mmc == lower


def virtual_condition(mmc: float, tolerance: float, *, hole: bool) -> float:
    """Boundary the feature never crosses: hole mmc - t, pin mmc + t."""
    return mmc - tolerance if hole else mmc + tolerance


def resultant_condition(lmc: float, size_tolerance: float, tolerance: float, *, hole: bool) -> float:
    """Far boundary: hole lmc + (t + size tolerance), pin lmc - (t + size tolerance)."""
    total = tolerance + size_tolerance
    return lmc + total if hole else lmc - total


def floating_fastener(hole: float, fastener: float) -> float:
    """Position tolerance of each part when a bolt passes clearance holes in both: T = H - F (sizes at mmc)."""
    return hole - fastener


def fixed_fastener(hole: float, fastener: float, share: float = 0.5) -> float:
    """Position tolerance of one part when the fastener is fixed in the other: (H - F) / 2 each.

    share    part of H - F given to this part
    """
    return (hole - fastener) * share
