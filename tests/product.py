"""Asks the product for the STOP findings of a job folder: what the oracles judge."""

from pathlib import Path
from typing import Any

import halfthou
from halfthou.files.job import load_job
from halfthou.flow.run import run_job
from halfthou.prove.remove_volume import volume_of


def stops(folder: Path) -> list[dict[str, Any]]:
    """STOP findings as plain data."""
    proof = halfthou.open(folder).prove(what_if=False, pitch_mm=0.5, threads=1)
    return [
        {
            "code": f.code, "file": Path(f.place.file).name, "line": f.place.line, "part": f.part, "body": f.body,
            "tool": f.tool, "depth": getattr(f.amount, "best", None), "what": f.what,
        }
        for f in proof.findings
        if f.severity.name == "STOP"
    ]  # fmt: skip


def volume_left(folder: Path) -> tuple[float, float, float, float]:
    """(refined, its bound, plain count, its bound) of the stock left after the last operation, mm³."""
    loaded = load_job(folder)
    run = run_job(loaded.job, loaded.programs, pitch_mm=0.25, near=False)
    refined, plain = volume_of(run.removals[-1][0], 4)
    return refined.best, refined.bound, plain.best, plain.bound
