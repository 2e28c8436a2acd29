"""The answers for many jobs: one short row a job, with the full answer as text."""

from dataclasses import dataclass

#: Verdicts of a row, from the worst to the best.
VERDICTS = ("OUR FAULT", "CANNOT SAY", "INPUT", "STOP", "CARE", "NOTE", "NOTHING FOUND")


@dataclass(frozen=True, slots=True, kw_only=True)
class JobResult:
    """One job's answer. Equal files, options and program give equal `answer`, wherever and however often it is proved."""

    job: str  # the path as asked for
    exit_code: int  # as of a single proof: 0 no STOP, 1 STOP, 2 input, 3 cannot answer, 4 our fault
    verdict: str  # one of VERDICTS
    stops: int = 0
    cares: int = 0
    notes: int = 0
    cycle_s: float | None = None  # cycle time of the part, None where there is none
    took_s: float = 0.0  # how long the proof took, or the look into the store
    kept: bool = False  # it was finished before
    answer: str = ""  # the JSON of a single proof, or of its error; paths relative to the job folder
