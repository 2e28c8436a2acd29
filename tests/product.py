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


def answer(folder: Path) -> dict[str, Any]:
    """The whole answer of a job folder as plain data: findings, nearest approaches, worst gouge and left-over of each surface (mm)."""
    proof = halfthou.open(folder).prove(what_if=False)
    return {
        "findings": [
            {
                "code": f.code, "severity": f.severity.name, "op": f.op, "tool": f.tool, "part": f.part, "body": f.body,
                "amount": getattr(f.amount, "best", None), "what": f.what,
            }
            for f in proof.findings
        ],
        "approaches": [
            {"op": a.op, "tool": a.tool, "part": a.part, "body": a.body, "clearance": a.clearance_mm, "bound": a.bound_mm}
            for a in proof.approaches
        ],
        "surfaces": [{"surface": name, "gouge": gouge, "left_over": left} for name, gouge, left in proof.design_worst],
    }  # fmt: skip
