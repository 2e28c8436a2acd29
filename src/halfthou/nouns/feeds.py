"""Suggested feeds and speeds: what limits each tool, how far it may go, what that saves; and the changed copy of a program."""

from dataclasses import dataclass

from halfthou.base.value import Result
from halfthou.nouns.revision import FindingChange


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedLimit:
    """One limit, told as the feed it allows over the programmed feed (at the suggested speed).

    used_ratio: at the highest load of the coefficients' band (what is used); best_ratio, most_ratio: at the best estimate and
    the lowest load. A limit without a load (chip, machine feed, step) has three equal numbers. inf: no limit.
    """

    name: str  # power, torque, bending, chip, stability, machine feed, step
    used_ratio: float
    best_ratio: float
    most_ratio: float
    move: int = -1  # job-wide row where it binds
    words: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedSuggestion:
    """One tool of one operation. leave "" = a change is suggested; else why it is left as it is (all ratios 1)."""

    op: int
    tool: int
    name: str
    leave: str
    feed_ratio: float  # suggested over programmed feed (mm/min), for every F of the tool in this operation
    speed_ratio: float  # the same for every S
    best_ratio: float  # feed that the limits allow at the best estimate, and at the lowest load
    most_ratio: float
    binding: str  # name of the limit that holds it, "" when nothing could be judged
    limits: tuple[FeedLimit, ...]  # lowest first
    not_limited: tuple[str, ...]  # limits that could not be judged, and why
    said: tuple[str, ...]
    feed_mm_per_s: float  # highest programmed
    speed_rpm: float  # highest programmed
    chip_mm: float  # thickest chip of one tooth now; 0 = not known
    life_ratio: float | None  # life of an edge after over before; None = no speed is changed
    before_s: float  # the tool's share of the time
    after_s: float
    saved: Result  # seconds, bounded by the machine's band


@dataclass(frozen=True, slots=True, kw_only=True)
class Feeds:
    """Suggestions of a whole run. saved: with all of them together."""

    suggestions: tuple[FeedSuggestion, ...]
    saved: Result
    before_s: float
    low_ratio: float  # lowest and highest load as a share of the best estimate
    high_ratio: float
    source: str  # of the coefficients
    said: tuple[str, ...]  # what no suggestion judges, and what the whole rests on


@dataclass(frozen=True, slots=True, kw_only=True)
class WordChange:
    """One F or S word that differs in the copy."""

    file: str
    line: int
    column: int
    before: str
    after: str
    op: int
    tool: int


@dataclass(frozen=True, slots=True, kw_only=True)
class NotWritten:
    """A suggestion that is not in the copy, and why."""

    op: int
    tool: int
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PeakChange:
    """Highest loads of one tool before and after, best estimates; None where they are not known."""

    op: int
    tool: int
    name: str
    power_w: tuple[float | None, float | None]
    torque_n_m: tuple[float | None, float | None]
    force_n: tuple[float | None, float | None]
    bend_mm: tuple[float | None, float | None]
    chip_mm: tuple[float | None, float | None]
    time_s: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedCopy:
    """The changed copy of the programs, and the proof of it beside the proof of the original."""

    folder: str
    files: tuple[tuple[str, int], ...]  # file of the copy, words changed in it
    words: tuple[WordChange, ...]
    not_written: tuple[NotWritten, ...]
    before_s: Result
    after_s: Result
    findings: tuple[FindingChange, ...]
    findings_kept: int
    peaks: tuple[PeakChange, ...]
    verdict_before: str
    verdict_after: str
