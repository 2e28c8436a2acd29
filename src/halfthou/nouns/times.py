"""Times read at the machine: a log with time stamps, seconds of each tool, or stopwatch totals, with overrides."""

from dataclasses import dataclass

from halfthou.base.place import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeRow:
    """One line of the file. `time_s` is a clock reading in a block log and a length of time otherwise."""

    time_s: float
    line: int = -1  # line of the program that becomes active; 0 = the end
    block: int = -1  # the same by its N number
    program: str = ""  # file the line is in; "" = the main program
    tool: int = -1
    operation: str = ""  # "" = the only one
    feed_ratio: float = 1.0  # override in force
    rapid_ratio: float = 1.0
    plus_minus_s: float | None = None  # None: from the step of the clock, or a hand on a stopwatch
    place: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Times:
    """A file of times. kind: "block", "tool" or "total"."""

    kind: str
    rows: tuple[TimeRow, ...]
    job: str = ""  # folder of the job that was timed, relative to the file; "" = the job that is proved
    overrides_stated: bool = False
    file: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class PaceNumber:
    """One habit of the machine: best value and 95 % interval, as people say it; told: the readings narrowed it."""

    name: str
    best: float
    low_ratio: float  # low end over best
    high_ratio: float
    unit: str
    told: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class PaceTime:
    """Time of one operation (-1: of the whole job) in one run, with its 95 % interval."""

    op: int
    best_s: float
    low_s: float
    high_s: float
    std_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PaceAnswer:
    """Cycle times calibrated from readings."""

    file: str
    kind: str  # "block", "tool", "total"
    sections: int  # readings that went into the fit
    whole: PaceTime
    ops: tuple[PaceTime, ...]
    numbers: tuple[PaceNumber, ...]
    said: tuple[str, ...]  # what was taken for granted, what the readings cannot tell
