"""The Python face: open a job, ask the questions."""

from dataclasses import dataclass
from pathlib import Path

from halfthou.base.watch import QUIET, Watch
from halfthou.flow.prove import ProveOptions, prove, run_only
from halfthou.flow.run import Run
from halfthou.nouns.answers import Proof


@dataclass(frozen=True, slots=True)
class JobDoor:
    """An opened job. Each question is one method; each call reads the files anew."""

    path: Path

    def prove(
        self,
        *,
        pitch_mm: float | None = None,
        found_tools: Path | None = None,
        found_offsets: Path | None = None,
        what_if: bool = True,
        threads: int | None = None,
        watch: Watch = QUIET,
    ) -> Proof:
        """Question 1: will this program run, and will it make this part?

        Raises InputError (the files cannot be used; carries every complaint), CannotAnswer, Cancelled.
        """
        options = ProveOptions(
            pitch_mm=pitch_mm,
            found_tools=found_tools,
            found_offsets=found_offsets,
            what_if=what_if,
            threads=threads,
        )
        return prove(self.path, options, watch)

    def run(self, *, pitch_mm: float | None = None, threads: int | None = None, watch: Watch = QUIET) -> Run:
        """The run behind a proof: moves, and per place what was removed, with `state_at` and `surface_points`.

        Raises as `prove`.
        """
        return run_only(self.path, ProveOptions(pitch_mm=pitch_mm, threads=threads), watch)


def open(path: str | Path) -> JobDoor:
    """Open a job folder or a job.toml."""
    return JobDoor(Path(path))
