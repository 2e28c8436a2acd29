"""Spindle load read at a few blocks, and what was learned from it about how the material cuts."""

from dataclasses import dataclass

from halfthou.base.place import Place
from halfthou.base.value import Result
from halfthou.nouns.material import Band


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadRow:
    """One reading at a block while it cut: watts at the drive, or the share of the rated power."""

    line: int
    program: str = ""  # file the line is in; "" = the main program
    operation: str = ""  # "" = the only one
    tool: int = -1  # -1 not stated
    power_w: float | None = None
    load_ratio: float | None = None
    feed_ratio: float = 1.0  # override in force
    note: str = ""
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadReadings:
    """A file of readings. None = not stated."""

    rows: tuple[LoadRow, ...]
    rated_w: float | None = None  # power that 100 % stands for
    idle_w: float | None = None  # spindle turning in air
    idle_ratio: float | None = None
    efficiency_ratio: float | None = None  # cutting power over the power read
    file: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LearnedPoint:
    """A reading with what is told for it when it is left out."""

    place: Place
    note: str
    tool: int
    reading_w: float
    told_w: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """How a material cuts, from readings; the loads of the proof use it.

    kc11_mpa: as used, at the mc used; its band holds nine of ten single blocks with chips near pivot_mm, where the
    readings were taken. left_out: mean size of the error of a reading that was left out; noise: of repeated readings; model: the rest.
    """

    file: str
    readings: int
    blocks: int
    kc11_mpa: Band
    before_mpa: Band
    mc: float
    mc_std: float
    mc_told: bool
    pivot_mm: float
    chip_mm: tuple[float, float]
    idle: Result  # W
    efficiency: Band
    left_out: Result  # share of the reading
    noise: Result
    model: Result
    points: tuple[LearnedPoint, ...]
    said: tuple[str, ...]
