"""Many jobs on the command line: one line a job as it finishes, a table at the end."""

import json
import sys
import textwrap
from collections.abc import Callable, Sequence
from pathlib import Path

from halfthou.base.errors import Cancelled
from halfthou.base.units import duration
from halfthou.base.watch import Watch
from halfthou.cli.ask import Meter, _guarded
from halfthou.cli.show import CAUTION, WIDTH, table_lines
from halfthou.nouns.library import JobResult


def is_many(paths: Sequence[Path]) -> bool:
    """Whether this asks for a library: several paths, or a folder that holds jobs and is none."""
    from halfthou.flow.library import holds_jobs

    return len(paths) > 1 or holds_jobs(paths[0])


def prove_many_and_show(
    paths: Sequence[Path],
    *,
    as_json: bool,
    pitch_mm: float | None,
    what_if: bool,
    workers: int | None,
    store: Path | None,
    cluster: str | None,
    quiet: bool,
    asked_to_stop: Callable[[], bool],
) -> int:
    """Prove all jobs; returns the worst exit code of them."""
    meter = Meter(quiet)

    def work() -> int:
        from halfthou.flow.library import find_jobs, run_library, store_of
        from halfthou.flow.library_task import LibraryOptions

        jobs = find_jobs(paths)
        width = max(len(str(job)) for job in jobs)

        def tell(result: JobResult, done: int, total: int) -> None:
            meter.clear()
            if not quiet:
                print(progress_line(result, done, total, width), file=sys.stderr, flush=True)

        results = run_library(
            jobs, workers, store or store_of(paths), Watch(tell=meter.tell, asked_to_stop=asked_to_stop),
            options=LibraryOptions(pitch_mm=pitch_mm, what_if=what_if), cluster=cluster, on_result=tell,
        )  # fmt: skip
        meter.clear()
        code = max(result.exit_code for result in results)
        if as_json:
            from halfthou.sheets.library_json import library_json

            print(library_json(results, code))
        else:
            print("\n".join(summary(results)))
        return code

    def stopped() -> int:
        try:
            return work()
        except Cancelled as error:
            if as_json:
                raise
            meter.clear()
            print(error, file=sys.stderr)
            return error.exit_code

    return _guarded(stopped, as_json=as_json, meter=meter)


def progress_line(result: JobResult, done: int, total: int, width: int) -> str:
    """`[3/12] STOP  jobs/plate  2 STOP, 1 CARE, 0 NOTE  (4.1 s)`."""
    head = f"[{done:{len(str(total))}}/{total}] {result.verdict:13} {result.job:{width}}"
    took = "finished before" if result.kept else f"{result.took_s:.1f} s"
    if result.exit_code > 1:
        return f"{head}  ({took})"
    return f"{head}  {result.stops} STOP, {result.cares} CARE, {result.notes} NOTE  ({took})"


def summary(results: Sequence[JobResult]) -> list[str]:
    """The table, what keeps jobs from an answer, the count of verdicts."""
    heads = ("job", "verdict", "STOP", "CARE", "NOTE", "cycle", "proved in")
    rows = [
        (
            one.job,
            one.verdict,
            *((str(one.stops), str(one.cares), str(one.notes)) if one.exit_code < 2 else ("-", "-", "-")),
            duration(one.cycle_s) if one.cycle_s is not None else "-",
            "before" if one.kept else f"{one.took_s:.1f} s",
        )
        for one in results
    ]
    lines = table_lines(heads, rows, frozenset({2, 3, 4, 5, 6}))
    for one in results:
        if one.exit_code > 1:
            lines += ["", f"{one.job}: {one.verdict}", *(f"  {text}" for text in _why(one))]
    counts = {verdict: sum(one.verdict == verdict for one in results) for verdict in dict.fromkeys(r[1] for r in rows)}
    told = ", ".join(f"{n} {verdict}" for verdict, n in counts.items())
    lines += ["", f"{len(results)} jobs: {told}.", "The findings of one, and what was not checked: halfthou prove JOB"]
    return lines + textwrap.wrap(CAUTION, WIDTH)


def _why(result: JobResult, most: int = 3) -> list[str]:
    """The first complaints of a job without a proof."""
    body = json.loads(result.answer)
    complaints = body.get("complaints") or []
    if not complaints:
        return [str(body.get("message", ""))]
    lines = []
    for one in complaints[:most]:
        spot = ":".join(str(part) for part in (one["file"], one["line"]) if part)
        lines.append(f"{one['code']} {spot}: {one['what']}")
    if len(complaints) > most:
        lines.append(f"and {len(complaints) - most} more")
    return lines
