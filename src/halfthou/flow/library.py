"""Many jobs: prove them side by side, keep what is finished, go on from there the next time."""

import json
import os
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Protocol

from halfthou.base.errors import Cancelled, Complaint, HalfthouError, JobError
from halfthou.base.jit import cores
from halfthou.base.place import Place
from halfthou.base.watch import QUIET, Watch
from halfthou.files.snapshot import Snapshot, take
from halfthou.flow.library_cluster import ClusterCrew
from halfthou.flow.library_local import LocalCrew
from halfthou.flow.library_task import LibraryOptions, Outcome, fault
from halfthou.nouns.library import JobResult
from halfthou.sheets.proof_json import error_json
from halfthou.store.program import program
from halfthou.store.results import Results

JOB_FILE = "job.toml"
STORE = ".halfthou"
POLL_S = 0.2
_BY_EXIT = {2: "INPUT", 3: "CANNOT SAY", 4: "OUR FAULT"}


class Crew(Protocol):
    """Whoever proves: processes of this machine or workers of a cluster."""

    def room(self) -> bool:
        """Whether it takes one more task."""

    def give(self, number: int, snapshot: Snapshot) -> None:
        """Take a task."""

    def poll(self, wait_s: float) -> list[tuple[int, Outcome]]:
        """Finished tasks, after waiting for at most wait_s."""

    def close(self) -> None:
        """Stop what still runs."""


def holds_jobs(path: Path) -> bool:
    """Whether this is a folder that is no job itself but has jobs below it."""
    return path.is_dir() and not (path / JOB_FILE).exists() and next(_below(path), None) is not None


def find_jobs(paths: Sequence[Path]) -> tuple[Path, ...]:
    """Every job named: a job file, a job folder, or all jobs below a folder that is none (hidden folders left out).

    Each once, in the order named, below a folder by name. Raises JobError (F812) for what names no job.
    """
    found: dict[str, Path] = {}
    complaints = []
    for path in paths:
        own = [path] if path.is_file() or (path / JOB_FILE).exists() else list(_below(path))
        for job in own:
            file = job / JOB_FILE if job.is_dir() else job
            found.setdefault(os.path.realpath(file), job)
        if not own:
            what = (
                f"there is no {JOB_FILE} in {path} nor in a folder below it"
                if path.is_dir()
                else f"{path} is not there"
            )
            do = "name job folders, or a folder that holds them"
            complaints.append(Complaint(code="F812", place=Place(file=str(path)), what=what, do=do))
    if complaints:
        raise JobError(complaints)
    return tuple(found.values())


def _below(path: Path) -> Iterator[Path]:
    for folder, inner, files in os.walk(path):
        inner[:] = sorted(name for name in inner if not name.startswith("."))
        if JOB_FILE in files:
            yield Path(folder)


def store_of(paths: Sequence[Path]) -> Path:
    """Where results are kept if nobody says: `.halfthou` in the folder named, or beside the jobs named."""
    tops = []
    for path in paths:
        own = Path(os.path.abspath(path))
        if not holds_jobs(path):
            own = own.parent if own.is_dir() else own.parent.parent
        tops.append(own)
    return Path(os.path.commonpath(tops)) / STORE


def run_library(
    jobs: Sequence[Path],
    workers: int | None = None,
    store_folder: Path | None = None,
    watch: Watch = QUIET,
    *,
    options: LibraryOptions | None = None,
    cluster: str | None = None,
    on_result: Callable[[JobResult, int, int], None] | None = None,
) -> tuple[JobResult, ...]:
    """Prove these jobs, several at a time; the results in the order of the jobs.

    workers: processes (None: one a core; threads share the rest). store_folder: where proofs are kept and looked up, None
    keeps none. cluster: address of a dask scheduler instead of processes. on_result(result, done, total) after each.
    A proof is kept under the hash of all its files, the options and the program; errors are not kept. Results do not
    depend on `workers`. Raises Cancelled (what was finished is kept), InputError (F811, F813), CannotAnswer, ValueError.
    """
    if workers is not None and workers < 1:
        raise ValueError(f"workers = {workers}; at least one is needed")
    desk = _Desk(jobs, store_folder, options or LibraryOptions(), on_result)
    if cluster is None:
        count = max(1, min(workers or cores(), len(jobs)))
        crew: Crew = LocalCrew(count, max(1, cores() // count), desk.options)
    else:
        crew = ClusterCrew(cluster, desk.options)
    busy = 0
    try:
        tasks = desk.tasks(watch)
        task = next(tasks, None)
        while task is not None or busy:
            if task is not None and crew.room():
                crew.give(*task)
                busy, task = busy + 1, next(tasks, None)
                continue
            for number, outcome in crew.poll(POLL_S):
                busy -= 1
                desk.settle(number, outcome)
            desk.step(watch)
    finally:
        crew.close()
    return desk.in_order()


class _Desk:
    """What is asked, what is finished, and under which key it is kept."""

    def __init__(
        self,
        jobs: Sequence[Path],
        folder: Path | None,
        options: LibraryOptions,
        on_result: Callable[[JobResult, int, int], None] | None,
    ) -> None:
        self.jobs, self.options, self.on_result = tuple(jobs), options, on_result
        self.results = Results(folder) if folder is not None else None
        if self.results is not None:
            self.results.ready()
        self.keys: dict[int, str] = {}
        self.found: dict[int, JobResult] = {}

    def tasks(self, watch: Watch) -> Iterator[tuple[int, Snapshot]]:
        """The jobs that are not finished; those that are go straight to the results."""
        for number, job in enumerate(self.jobs):
            self.step(watch)
            began = time.monotonic()
            try:
                snapshot = take(job)
            except HalfthouError as error:
                self._add(number, error.exit_code, error_json(error), time.monotonic() - began)
                continue
            key = snapshot.key((*program(), *self.options.pairs()))
            kept = self.results.get(key) if self.results is not None else None
            if kept is not None:
                answer = kept.decode("utf-8")
                self._add(
                    number,
                    1 if json.loads(answer)["verdict"] == "STOP" else 0,
                    answer,
                    time.monotonic() - began,
                    kept=True,
                )
                continue
            self.keys[number] = key
            yield number, snapshot

    def settle(self, number: int, outcome: Outcome) -> None:
        """A proof has come in: keep it, show it."""
        key = self.keys.pop(number)
        if outcome.program != program():
            other = [f"{a} {b}" for (a, b) in outcome.program if (a, b) not in program()]
            outcome = fault(
                f"the worker runs another program than this one: {', '.join(other)}; install the same there"
            )
        if self.results is not None and outcome.exit_code in (0, 1):
            self.results.put(key, outcome.answer.encode("utf-8"))
        self._add(number, outcome.exit_code, outcome.answer, outcome.took_s)

    def step(self, watch: Watch) -> None:
        """Say how far it is; raises Cancelled."""
        done, total = len(self.found), len(self.jobs)
        try:
            watch.step("jobs", done, total)
        except Cancelled as error:
            kept = "; what is finished is kept, the same call goes on from there" if self.results is not None else ""
            raise Cancelled(f"stopped by the user, {done} of {total} jobs are finished{kept}") from error

    def in_order(self) -> tuple[JobResult, ...]:
        """All results, as the jobs were named."""
        return tuple(self.found[number] for number in range(len(self.jobs)))

    def _add(self, number: int, exit_code: int, answer: str, took_s: float, *, kept: bool = False) -> None:
        body = json.loads(answer)
        severities = [finding["severity"] for finding in body.get("findings", ())]
        result = JobResult(
            job=str(self.jobs[number]), exit_code=exit_code, verdict=_BY_EXIT.get(exit_code) or body["verdict"],
            stops=severities.count("STOP"), cares=severities.count("CARE"), notes=severities.count("NOTE"),
            cycle_s=body.get("cycle_s"), took_s=took_s, kept=kept, answer=answer,
        )  # fmt: skip
        self.found[number] = result
        if self.on_result is not None:
            self.on_result(result, len(self.found), len(self.jobs))
