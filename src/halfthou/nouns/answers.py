"""The answers the tool gives, one class a question."""

from dataclasses import dataclass, field

from halfthou.base.finding import Finding, Severity
from halfthou.base.stamp import Stamp
from halfthou.base.table import Rows
from halfthou.base.value import Result
from halfthou.nouns.cut import CutRecord
from halfthou.nouns.job import Job
from halfthou.nouns.loads import Loads
from halfthou.nouns.moves import MoveList
from halfthou.nouns.times import PaceAnswer


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolTime:
    """Cycle-time share of one tool in one operation."""

    op: int
    tool: int
    name: str
    cutting_s: float
    rapid_s: float
    other_s: float
    moves: int
    lowest_z_mm: float | None  # lowest Z of the tip in program coordinates, while cutting
    removed_mm3: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Approach:
    """A nearest approach: how close a moving body came to a standing one without touching."""

    op: int
    tool: int
    part: str
    body: str
    clearance_mm: float
    bound_mm: float
    move: int
    line: int
    file: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Window:
    """Work-offset values for which every move of the operation stays inside the travels, per axis."""

    op: int
    system: int
    low_mm: tuple[float | None, float | None, float | None]
    high_mm: tuple[float | None, float | None, float | None]
    given_mm: tuple[float | None, float | None, float | None] = (None, None, None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mesh:
    """Triangles for a picture: f4 vertices (n,3), i4 faces (m,3), i4 group per face (tool or label)."""

    name: str
    vertices_mm: Rows
    faces: Rows
    group: Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """Answer to question 1."""

    stamp: Stamp
    job: Job
    verdict: Severity | None  # the worst finding, None = nothing found
    words: str  # the verdict in words; never "safe"
    not_checked: tuple[str, ...]
    findings: tuple[Finding, ...]
    moves: MoveList
    timing: Rows  # TIMING
    cuts: tuple[CutRecord, ...]  # one per place, in the order of the operations
    removed: Rows  # REMOVED, aligned with the moves
    cycle: Result  # seconds, whole job
    cycle_ops: tuple[Result, ...]
    tool_times: tuple[ToolTime, ...]
    approaches: tuple[Approach, ...]
    windows: tuple[Window, ...]
    assumptions: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    loads: Loads | None = None  # None: not asked for, or how the material cuts is not known
    design_points: int = 0
    design_worst: tuple[tuple[str, float, float], ...] = field(default_factory=tuple)  # (surface, gouge, left-over)
    pace: PaceAnswer | None = None  # times calibrated from readings

    def band_s(self, op: int | None = None) -> tuple[float, float]:
        """Shortest and longest plausible time of one operation, or of the whole job, in seconds."""
        rows = self.timing if op is None else self.timing[self.moves.moves["op"] == op]
        return float(rows["low_s"].sum()), float(rows["high_s"].sum())
