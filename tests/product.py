"""Asks the product for the STOP findings of a job folder: what the oracles judge."""

from pathlib import Path
from typing import Any

import halfthou


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
