"""How near each milling tool comes to vibrating by itself: the deciding cut, its limit by two methods, its band."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F8 = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Dynamics:
    """How the tip of a tool moves, alike in both directions; bands are factors (low, high) on the best estimate."""

    modes: tuple[tuple[float, float, float], ...]  # (Hz, N/mm, damping ratio)
    measured: bool
    said: str
    hertz_band_ratio: tuple[float, float]  # beside that of the stiffness, whose root it follows where it is estimated
    stiffness_bands_ratio: tuple[tuple[float, float], ...]  # one a mode
    damping_band_ratio: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """Depth at which a cut starts to vibrate by itself, mm; low … high holds nine of ten combinations of the bands.

    best: middle of those, times periodic/zero-order where that is smaller than 1. zero_order_mm and periodic_mm hold for
    the best estimates of everything; periodic_mm NaN where it was not worked out (`periodic_said`).
    """

    best_mm: float
    low_mm: float
    high_mm: float
    zero_order_mm: float
    periodic_mm: float
    periodic_said: str
    vibration_hz: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """Limit depth over spindle speed: middle and band of the uncertain dynamics, and the lobes of the best estimate."""

    speed_rpm: F8
    low_mm: F8
    best_mm: F8
    high_mm: F8
    lobes_rpm: F8
    lobes_mm: F8


@dataclass(frozen=True, slots=True, kw_only=True)
class Chatter:
    """One milling tool in one operation, at the cut that is deepest against its limit."""

    op: int
    tool: int
    name: str
    row: int  # of the loads table
    move: int
    speed_rpm: float
    depth_mm: float
    width_mm: float
    arc_rad: tuple[float, float]  # tooth angle from the left of the travel, entry to exit (clockwise tool)
    limit: Limit
    dynamics: Dynamics
    blocks: int  # with a depth over the best estimate of their own limit
    other_rpm: (
        float | None
    )  # nearest speed at which the low end lies over the depth; None = none, or dynamics estimated
    chart: Chart
