"""The same job on another machine of the shop: what maps to what, whether it fits, what binds, what must change."""

from dataclasses import dataclass, field

from halfthou.base.errors import Complaint
from halfthou.base.finding import Severity
from halfthou.base.place import Place
from halfthou.base.stamp import Stamp
from halfthou.nouns.revision import Difference, FindingChange, TimeChange


@dataclass(frozen=True, slots=True, kw_only=True)
class Mapped:
    """One thing the program names, on both machines. kind: tool, length register, radius register, work offset, stop, code.

    fits: it can stay as it is; None = the machine file does not say.
    """

    kind: str
    what: str  # "T3 end mill 10", "H3", "G54.1 P7", "M88"
    here: str
    there: str
    fits: bool | None
    note: str = ""
    place: Place = field(default_factory=lambda: Place(file=""))  # first block that names it


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """One limit: what the job asks for, what either machine has; None = not stated."""

    what: str  # "X travel, op 1"
    asked: str
    here: str
    there: str
    fits_here: bool | None
    fits_there: bool | None
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Capped:
    """A programmed speed or feed beyond what the other machine has. share: what is left of it there."""

    what: str  # "S", "F"
    tool: int
    asked: str
    there: str
    share_ratio: float
    slower_s: float  # at most this much longer when the feed is lowered in proportion
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Binding:
    """Share of the time in which one limit holds the motion back."""

    limit: str
    here_s: float
    there_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Placed:
    """The work offset the proof on the other machine ran with. how: where its numbers come from."""

    op: str
    system: str
    here_mm: tuple[float | None, float | None, float | None]
    there_mm: tuple[float | None, float | None, float | None]
    how: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherMachine:
    """Answer to: what if this job ran on that machine? here = the job's own machine, there = the other."""

    here: Stamp
    there: Stamp
    title: str
    here_name: str
    there_name: str
    length_unit: str
    invented: bool
    here_verdict: Severity | None
    here_words: str
    there_verdict: Severity | None  # None also when it could not be run there: see `refused`
    there_words: str
    refused: tuple[Complaint, ...]  # why the program as it is does not run there
    mapped: tuple[Mapped, ...]
    fits: tuple[Fit, ...]
    capped: tuple[Capped, ...]
    binding: tuple[Binding, ...]
    times: tuple[TimeChange, ...]  # now = there, before = here
    placed: tuple[Placed, ...]
    must: tuple[str, ...]  # what must change in the program or the set-up
    habits: tuple[Difference, ...]  # now = there, before = here
    findings: tuple[FindingChange, ...]  # gained = only there
    findings_kept: int
    not_checked: tuple[str, ...]
    assumptions: tuple[str, ...]
    first_piece: str

    @property
    def runs_as_it_is(self) -> bool:
        """Whether nothing was found that must change: no refusal, no STOP finding, nothing that does not fit."""
        stop = self.there_verdict is Severity.STOP
        return not (self.refused or stop or self.must or any(f.fits_there is False for f in self.fits))
