"""Questions that set a proof beside something else: another revision, another machine, an earlier proof."""

from collections.abc import Callable
from pathlib import Path

import typer


def asked_beside(
    job: Path,
    *,
    against: Path | None,
    still: Path | None,
    machine: str | None,
    as_json: bool,
    report: Path | None,
    pitch_mm: float | None,
    found_tools: Path | None,
    found_offsets: Path | None,
    what_if: bool,
    quiet: bool,
    asked_to_stop: Callable[[], bool],
) -> int | None:
    """The exit code of the question asked with --still, --machine or --against; None when none of them was."""
    if still is not None:
        from halfthou.cli.against import still_and_show

        if against is not None or report is not None or machine is not None:
            raise typer.BadParameter("--still only compares hashes; leave --against, --machine and --report out")
        return still_and_show(job, still, as_json=as_json, found_tools=found_tools, found_offsets=found_offsets)
    if machine is not None and against is not None:
        raise typer.BadParameter("--machine and --against are two questions; ask one at a time")
    if machine is not None:
        from halfthou.cli.machines import machines_and_show

        return machines_and_show(
            job, machine, as_json=as_json, report=report, pitch_mm=pitch_mm, found_tools=found_tools,
            found_offsets=found_offsets, what_if=what_if, quiet=quiet, asked_to_stop=asked_to_stop,
        )  # fmt: skip
    if against is not None:
        from halfthou.cli.against import against_and_show

        return against_and_show(
            job, against, as_json=as_json, report=report, pitch_mm=pitch_mm, found_tools=found_tools,
            found_offsets=found_offsets, what_if=what_if, quiet=quiet, asked_to_stop=asked_to_stop,
        )  # fmt: skip
    return None
