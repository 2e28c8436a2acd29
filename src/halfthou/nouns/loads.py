"""What the cut asks of tool and spindle: one row a stretch that met stock, and a summary a tool."""

from dataclasses import dataclass

from halfthou.base.table import Rows, dtype
from halfthou.base.value import Result
from halfthou.nouns.chatter import Chatter
from halfthou.nouns.learned import Learned

#: Aligned with the ENGAGED rows of the run (all operations, in order of travel). Best estimates; `ToolLoads.low_share`
#: and `high_share` bound them all alike. chip_*: thickness of one tooth's chip (0: the tool's teeth are not stated);
#: way: 0 slot or both sides, +1 climb (down) milling, −1 conventional (up), 2 along the axis; speed: at the edge.
#: side_n: force towards the wall the tool leaves when a tooth passes it; bend_mm: what it bends the tip there.
LOAD = dtype(
    ("move", "i4"), ("op", "i2"), ("tool", "i2"), ("way", "i1"), ("inside", "u1"), ("start_s", "f4"), ("time_s", "f4"),
    ("edge_mm_per_s", "f4"), ("chip_high_mm", "f4"), ("chip_mean_mm", "f4"), ("mm3_per_s", "f4"), ("power_w", "f4"),
    ("torque_nm", "f4"), ("peak_nm", "f4"), ("force_n", "f4"), ("side_n", "f4"), ("axial_n", "f4"), ("bend_mm", "f4"),
    ("power_ratio", "f4"), ("torque_ratio", "f4"), ("depth_mm", "f4"), ("width_mm", "f4"),
)  # fmt: skip

OUTSIDE_THIN, OUTSIDE_THICK, NO_TEETH, NO_CURVE = 1, 2, 4, 8  # bits of `inside`, 0 = within the coefficients' range


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolLoads:
    """Highest loads of one tool in one operation, with the row (into the loads table) where each occurs."""

    op: int
    tool: int  # as programmed
    name: str
    cutting_s: float
    removed_mm3: float
    mean_mm3_per_s: float
    peak_mm3_per_s: float
    power: Result
    power_ratio: Result  # of what the spindle has at that speed, continuous
    torque: Result
    force: Result
    bend: Result
    chip_high: Result
    chip_mean: Result
    speed_mm_per_s: float
    low_ratio: float  # lowest and highest load as a share of the best estimate
    high_ratio: float
    rows: tuple[int, ...]  # of power, torque, force, bend, chip
    stiffness_n_per_mm: float
    stiffness_said: str  # measured, or how it was estimated
    outside: tuple[str, ...]  # where the coefficients do not reach
    source: str
    life: Result  # share of the edge's life one part uses
    life_said: str
    roughness_mm: Result  # theoretical height of feed marks, at best
    scallop_mm: Result


@dataclass(frozen=True, slots=True, kw_only=True)
class Loads:
    """Loads of a whole run."""

    table: Rows  # LOAD
    tools: tuple[ToolLoads, ...]
    not_checked: tuple[str, ...] = ()
    chatter: tuple[Chatter, ...] = ()  # one a milling tool and operation
    learned: Learned | None = None  # from the shop's own readings; None = none were given
