"""What the tool has to say about the user's work: code, severity, place, amount."""

from dataclasses import dataclass
from enum import IntEnum

from halfthou.base.place import Place
from halfthou.base.value import Unknown, Value


class Severity(IntEnum):
    """How much a finding matters."""

    NOTE = 0  # worth knowing
    CARE = 1  # look at this before you run it
    STOP = 2  # do not run this


@dataclass(frozen=True, slots=True, kw_only=True)
class Code:
    """A kind of finding or complaint: its number is never reused, it has a page in docs/codes and a test."""

    code: str
    title: str
    severity: Severity = Severity.STOP  # the usual one; a finding may carry another
    kind: str = ""  # closed-list word of the language reference, for N codes


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing found: part of the answer, not an exception."""

    code: str
    severity: Severity
    place: Place
    what: str  # what was found, one sentence
    why: str = ""  # the cause, in the reader's words
    do: str = ""  # the smallest change that clears it, where it can be computed
    amount: Value | Unknown | None = None  # depth, clearance, over-travel ...
    limit_mm: float | None = None
    move: int = -1  # row of the job-wide moves table, -1 none
    op: int = -1
    tool: int = -1  # tool number as programmed, -1 none
    body: str = ""  # the standing body: "stock", "fixed jaw" ...
    part: str = ""  # the moving body: "cutter", "shank", "holder", "spindle nose", "probe"
    point_mm: tuple[float, float, float] | None = None  # in the program frame of the operation
    count: int = 1  # how many like it are folded into this one
    more: tuple[str, ...] = ()  # extra lines


def worst(findings: tuple[Finding, ...]) -> Severity | None:
    """The highest severity among the findings, None if there are none."""
    return max((finding.severity for finding in findings), default=None)
