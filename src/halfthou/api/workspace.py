"""The Python face: open a job, ask the questions; prove many jobs at once."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from halfthou.base.watch import QUIET, Watch
from halfthou.flow.against import Against, against, still
from halfthou.flow.feeds import FeedAnswer, feeds
from halfthou.flow.library import find_jobs, run_library
from halfthou.flow.library_task import LibraryOptions
from halfthou.flow.other_machine import BothMachines, on_other_machine
from halfthou.flow.pace import pace_of
from halfthou.flow.prove import ProveOptions, prove, run_only
from halfthou.flow.run import Run
from halfthou.flow.surface import SurfaceAnswer, SurfaceAsk, mesh_of
from halfthou.nouns.answers import Proof
from halfthou.nouns.library import JobResult
from halfthou.nouns.still import Still
from halfthou.nouns.times import PaceAnswer


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

    def pace(self, times: str | Path, watch: Watch = QUIET) -> PaceAnswer:
        """The cycle time calibrated from readings (docs/job-file.md), without proving anything.

        Raises ReadingError, InputError, Cancelled.
        """
        return pace_of(self.path, Path(times), watch)

    def run(self, *, pitch_mm: float | None = None, threads: int | None = None, watch: Watch = QUIET) -> Run:
        """The run behind a proof: moves, and per place what was removed, with `state_at` and `surface_points`.

        Raises as `prove`.
        """
        return run_only(self.path, ProveOptions(pitch_mm=pitch_mm, threads=threads), watch)

    def against(
        self, other: str | Path, *, pitch_mm: float | None = None, what_if: bool = True, watch: Watch = QUIET
    ) -> Against:
        """What this job does differently from another revision of it, with its own proof. Raises as `prove`, for either job."""
        return against(self.path, Path(other), ProveOptions(pitch_mm=pitch_mm, what_if=what_if), watch)

    def on_machine(
        self, name: str, *, pitch_mm: float | None = None, what_if: bool = True, watch: Watch = QUIET
    ) -> BothMachines:
        """This job on another machine of its shop file, side by side with its own. Raises as `prove`; InputError for no such machine."""
        return on_other_machine(self.path, name, ProveOptions(pitch_mm=pitch_mm, what_if=what_if), watch)

    def feeds(
        self, *, into: str | Path | None = None, bend_limit_mm: float | None = None, pitch_mm: float | None = None,
        what_if: bool = True, watch: Watch = QUIET,
    ) -> FeedAnswer:  # fmt: skip
        """The proof with suggested feeds; into: folder for a changed copy of the programs, which is proved too (docs/prove.md).

        Raises as `prove`; CannotAnswer also when how the material cuts is not known or a file of the copy is there already.
        """
        options = ProveOptions(pitch_mm=pitch_mm, what_if=what_if)
        folder = None if into is None else Path(into)
        return feeds(self.path, options, watch, into=folder, bend_limit_mm=bend_limit_mm)

    def still(self, earlier: str | Path) -> Still:
        """Whether an earlier proof (JSON) was made from the files as they are now; nothing is run. Raises InputError."""
        return still(self.path, Path(earlier))

    def mesh(
        self, *, after_move: int | None = None, after_op: str | None = None, place: str | None = None,
        pitch_mm: float | None = None, threads: int | None = None, watch: Watch = QUIET,
    ) -> SurfaceAnswer:  # fmt: skip
        """What is left of the stock after a move (row of the job-wide table) or an operation, as a closed labelled mesh.

        None of both: at the end. Write it with `halfthou.flow.surface.write_mesh`; of a run at hand: `mesh_of`.
        Raises as `prove`, and InputError (F593) for a state the job does not have.
        """
        run = self.run(pitch_mm=pitch_mm, threads=threads, watch=watch)
        ask = SurfaceAsk(after_move=after_move, after_op=after_op, place=place)
        return mesh_of(run, ask, threads=threads, watch=watch)


def open(path: str | Path) -> JobDoor:
    """Open a job folder or a job.toml."""
    return JobDoor(Path(path))


def prove_many(
    paths: Sequence[str | Path],
    *,
    workers: int | None = None,
    store: Path | None = None,
    cluster: str | None = None,
    pitch_mm: float | None = None,
    what_if: bool = True,
    watch: Watch = QUIET,
    on_result: Callable[[JobResult, int, int], None] | None = None,
) -> tuple[JobResult, ...]:
    """Question 1 for every job named, or below the folders named, side by side (docs/prove.md).

    store: a folder where finished proofs are kept and found again; None keeps none. A job whose files cannot be used is a
    row of the answer, not an exception. Raises as `flow.library.run_library`, and InputError (F812) for no job there.
    """
    jobs = find_jobs([Path(path) for path in paths])
    options = LibraryOptions(pitch_mm=pitch_mm, what_if=what_if)
    return run_library(jobs, workers, store, watch, options=options, cluster=cluster, on_result=on_result)
