"""Question 1 from files to answer: will this program run on this machine, and will it make this part?"""

from dataclasses import dataclass
from pathlib import Path

from halfthou.base.errors import CannotAnswer
from halfthou.base.watch import QUIET, Watch
from halfthou.nouns.answers import Proof


@dataclass(frozen=True, slots=True, kw_only=True)
class ProveOptions:
    """Options of the call; None = the tool's own default, which is said in the answer's stamp."""

    pitch_mm: float | None = None
    found_tools: Path | None = None
    found_offsets: Path | None = None
    what_if: bool = True
    threads: int | None = None


def prove(path: Path, options: ProveOptions | None = None, watch: Watch = QUIET) -> Proof:
    """Prove the job at `path`.

    Raises CannotAnswer: the reader of NC programs and the removal of material are not built yet.
    """
    raise CannotAnswer(f"{path}: the reader of NC programs is not built yet, so there is no proof")
