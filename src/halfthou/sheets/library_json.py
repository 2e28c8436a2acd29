"""The answers for many jobs as one JSON text: documented in docs/json.md, versioned by `schema`."""

import json
from collections.abc import Sequence

from halfthou.nouns.library import JobResult

SCHEMA = "halfthou.library/1"


def library_json(results: Sequence[JobResult], exit_code: int) -> str:
    """All rows in order, each with its whole answer; no time of ours in it, so equal results give equal bytes."""
    jobs = [
        {
            "job": one.job, "verdict": one.verdict, "exit_code": one.exit_code, "stop": one.stops, "care": one.cares,
            "note": one.notes, "cycle_s": one.cycle_s, "answer": json.loads(one.answer),
        }
        for one in results
    ]  # fmt: skip
    return json.dumps({"schema": SCHEMA, "exit_code": exit_code, "jobs": jobs}, ensure_ascii=False, indent=1)
