"""Tool and holder: turned profile, edges, length, known life."""

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from halfthou.base.place import Place
from halfthou.base.table import lock

KINDS = (
    "flat", "ball", "bull", "drill", "spot", "chamfer", "countersink", "counterbore", "tap", "reamer", "boring",
    "face", "dovetail", "tslot", "thread", "probe", "other",
)  # fmt: skip


class Zone(IntEnum):
    """What a piece of the turned profile is."""

    CUTTING = 0
    NECK = 1
    SHANK = 2
    HOLDER = 3
    NOSE = 4  # spindle nose, above the gauge line
    STYLUS = 5  # the ball and stem of a touch probe


@dataclass(frozen=True, slots=True, kw_only=True)
class Tool:
    """A tool in its holder, as one turned body.

    profile_mm f8 (n,2): (radius, height above the tip), heights never fall, tip at height 0, first radius usually 0.
    zone u1 (n-1,): the `Zone` of each profile piece between two points. A level piece (equal heights) is a flat face.
    The profile reaches up to the gauge line (and above it over the spindle nose when the machine states one).
    """

    number: int  # as programmed (T word)
    name: str
    kind: str
    diameter_mm: float  # cutting diameter, ISO 13399 DC
    corner_mm: float = 0.0  # RE
    point_rad: float = 0.0  # included point angle, SIG
    cutting_mm: float = 0.0  # usable cutting length, APMX (or LU for drills)
    stick_out_mm: float = 0.0  # tip to holder face
    gauge_length_mm: float = 0.0  # tip to gauge line, ISO 13399 LF of the assembly
    teeth: int = 0  # ZEFP
    helix_rad: float = 0.0
    pitch_mm: float = 0.0  # taps and thread mills
    most_rpm: float | None = None  # marked maximum speed of tool or holder, the lower one
    mass_kg: float | None = None
    coolant_channel: bool | None = None
    left_hand: bool = False
    holder: str = ""
    length_std_mm: float | None = None  # plausible band of the measured length, k = 1
    life_s: float | None = None  # cutting time of one edge in this work, as the shop knows it
    life_shape: float | None = None  # Weibull shape of that life
    edge: str = ""  # "carbide", "hss" or not stated
    chip_low_mm: float | None = None  # least and largest chip of one tooth its maker gives
    chip_high_mm: float | None = None
    stiffness_n_per_mm: float | None = None  # sideways at the tip, measured in this holder and spindle
    modes: tuple[tuple[float, float, float], ...] = ()  # (Hz, N/mm, damping ratio) measured at the tip
    floating: bool = False  # tap in a holder that gives way along the axis
    profile_mm: NDArray[np.float64]
    zone: NDArray[np.uint8]
    place: Place

    def __post_init__(self) -> None:
        """Copy and lock the arrays."""
        object.__setattr__(self, "profile_mm", lock(np.array(self.profile_mm, dtype=np.float64)))
        object.__setattr__(self, "zone", lock(np.array(self.zone, dtype=np.uint8)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Register:
    """One line of the control's tool table. `None` = empty or not stated."""

    slot: int
    length_mm: float | None = None
    length_wear_mm: float = 0.0
    radius_mm: float | None = None  # always a radius inside, whatever the control's column means
    radius_wear_mm: float = 0.0
    tool_name: str = ""
    place: Place | None = None
