"""What differs between two revisions of a job: blocks, surfaces, times, findings, tables, set-up, machine."""

from dataclasses import dataclass

from halfthou.base.finding import Finding
from halfthou.base.place import Place
from halfthou.base.stamp import Stamp
from halfthou.base.value import Result


@dataclass(frozen=True, slots=True, kw_only=True)
class BlockChange:
    """One stretch of a program that differs. kind: changed, added, removed, or effect (same text, other moves)."""

    op: str
    kind: str
    now: Place  # first block of the stretch in this job; line 0 = nothing stands there
    before: Place
    now_lines: tuple[str, ...]
    before_lines: tuple[str, ...]
    now_moves: int  # moves these blocks make
    before_moves: int
    same_moves: bool  # both make the same moves, one by one


@dataclass(frozen=True, slots=True, kw_only=True)
class OpBlocks:
    """The programs of one operation, compared. text_only: blocks that differ in spaces, comments or block numbers only."""

    op: str
    changes: tuple[BlockChange, ...]
    text_only: int
    same_moves: bool
    now_moves: int
    before_moves: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MovedSurface:
    """A surface of the finished part that lies elsewhere. Amounts: + material added, - material taken away, mm along the normal.

    kind: moved; new or gone: surface without a counterpart in the other revision within the reach stated in `Surfaces`.
    """

    kind: str
    op: str
    place: str
    surface: str  # face of the design, "" where it belongs to none
    words: str  # what it is, for people
    amount: Result  # the largest, signed; Unknown for new and gone
    least_mm: float
    most_mm: float
    points: int  # sampled points on it that moved
    of: int  # sampled points on it
    point_mm: tuple[float, float, float]  # of the largest, program coordinates of this job
    tool: int
    now: Place  # block that made it
    before: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Surfaces:
    """Every surface found to have moved, what was sampled and what the sampling can miss."""

    moved: tuple[MovedSurface, ...]
    points: int
    missed: tuple[str, ...]
    not_compared: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeChange:
    """Time of one tool in one operation (tool -1: the operation, op "": the job), seconds; None = not there."""

    op: str
    tool: int
    name: str
    now_s: float | None
    before_s: float | None
    now_band_s: tuple[float, float] | None = None
    before_band_s: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingChange:
    """A finding that only one revision has, or that both have with another amount. kind: gained, lost, amount."""

    kind: str
    op: str
    finding: Finding  # of this job; of the other one when lost
    before: Finding | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """One value that differs, in the shop's words and unit."""

    group: str  # "T3 end mill 10", "H3", "machine", "op 1, vise"
    what: str
    now: str
    before: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Revision:
    """Answer to: what does this job do differently from that one?"""

    now: Stamp
    before: Stamp
    now_title: str
    before_title: str
    length_unit: str
    ops: tuple[OpBlocks, ...]
    unpaired_ops: tuple[str, ...]
    surfaces: Surfaces
    times: tuple[TimeChange, ...]
    findings: tuple[FindingChange, ...]
    findings_kept: int
    tools: tuple[Difference, ...]
    setup: tuple[Difference, ...]
    machine: tuple[Difference, ...]
    design: tuple[Difference, ...]

    @property
    def same(self) -> bool:
        """Whether no difference at all was found."""
        quiet = all(not op.changes and op.same_moves for op in self.ops) and not self.unpaired_ops
        tables = not (self.tools or self.setup or self.machine or self.design or self.findings)
        return quiet and tables and not self.surfaces.moved and not self.surfaces.not_compared
