"""A proof as JSON for other programs: documented in docs/json.md, versioned by `schema`."""

import json
import math
from collections.abc import Sequence
from typing import Any

from halfthou.base.errors import Complaint, HalfthouError, InputError
from halfthou.base.finding import Finding
from halfthou.base.stamp import Stamp
from halfthou.base.units import MM_PER_INCH
from halfthou.base.value import Unknown, Value
from halfthou.nouns.answers import Proof
from halfthou.nouns.times import PaceTime
from halfthou.sheets.loads_json import learned_dict, loads_dict

SCHEMA = "halfthou.proof/1"


def number(x: float | None) -> float | None:
    """A number rounded to 1e-6, None where it is not finite."""
    return None if x is None or not math.isfinite(x) else round(float(x), 6)


def result_dict(value: Value | Unknown | None) -> dict[str, Any] | None:
    """A result: best, u, bound, unit; or unknown with its reason."""
    if value is None:
        return None
    if isinstance(value, Unknown):
        return {"unknown": value.reason}
    return {"best": number(value.best), "u": number(value.u), "bound": number(value.bound), "unit": value.unit}


def _finding(finding: Finding, proof: Proof) -> dict[str, Any]:
    return finding_dict(finding, [op.name for op in proof.job.ops])


def stamp_dict(stamp: Stamp) -> dict[str, Any]:
    """The stamp of an answer: what it was made from."""
    return {
        "tool_version": stamp.tool_version,
        "short": stamp.short,
        "inputs": [{"role": role, "sha256": sha} for role, sha in stamp.inputs],
        "options": dict(stamp.options),
    }


def finding_dict(finding: Finding, ops: Sequence[str]) -> dict[str, Any]:
    """A finding; ops: names of the operations its `op` counts in."""
    amount = finding.amount
    in_mm = isinstance(amount, Value) and amount.unit == "mm"
    return {
        "code": finding.code,
        "severity": finding.severity.name,
        "file": finding.place.file,
        "line": finding.place.line,
        "column": finding.place.column,
        "word": finding.place.word,
        "text": finding.place.text,
        "op": ops[finding.op] if 0 <= finding.op < len(ops) else None,
        "tool": finding.tool if finding.tool >= 0 else None,
        "part": finding.part or None,
        "body": finding.body or None,
        "amount_mm": number(amount.best) if isinstance(amount, Value) and in_mm else None,
        "amount": result_dict(amount),
        "limit_mm": number(finding.limit_mm),
        "point_mm": [number(v) for v in finding.point_mm] if finding.point_mm is not None else None,
        "move": finding.move if finding.move >= 0 else None,
        "count": finding.count,
        "what": finding.what,
        "why": finding.why,
        "do": finding.do,
        "more": list(finding.more),
    }


def _pace(proof: Proof) -> dict[str, Any]:
    """Times calibrated from readings; nothing when there were none."""
    pace = proof.pace
    if pace is None:
        return {}

    def one(t: PaceTime) -> dict[str, Any]:
        return {
            "op": proof.job.ops[t.op].name if t.op >= 0 else None, "best_s": number(t.best_s),
            "low_s": number(t.low_s), "high_s": number(t.high_s), "u_s": number(t.std_s),
        }  # fmt: skip

    numbers = [
        {
            "name": n.name, "best": number(n.best), "low": number(n.best * n.low_ratio),
            "high": number(n.best * n.high_ratio), "unit": n.unit, "told": n.told,
        }
        for n in pace.numbers
    ]  # fmt: skip
    return {
        "pace": {
            "file": pace.file, "kind": pace.kind, "sections": pace.sections, "coverage": 0.95,
            "whole": one(pace.whole), "ops": [one(t) for t in pace.ops], "numbers": numbers, "said": list(pace.said),
        }
    }  # fmt: skip


def proof_dict(proof: Proof) -> dict[str, Any]:
    """The answer as plain dictionaries and lists; every length in mm, every time in seconds."""
    ops = [op.name for op in proof.job.ops]
    return {
        "schema": SCHEMA,
        "stamp": stamp_dict(proof.stamp),
        "job": {"name": proof.job.name, "revision": proof.job.revision, "machine": proof.job.machine.name},
        "shown_unit": proof.job.length_unit,
        "verdict": proof.verdict.name if proof.verdict is not None else "NOTHING FOUND",
        "words": proof.words,
        "not_checked": list(proof.not_checked),
        "assumptions": list(proof.assumptions),
        "questions": list(proof.questions),
        "findings": [_finding(finding, proof) for finding in proof.findings],
        "moves": len(proof.moves.moves),
        "cycle_s": number(proof.cycle.best) if isinstance(proof.cycle, Value) else None,
        "cycle": result_dict(proof.cycle),
        **_pace(proof),
        "cycle_ops": [{"op": name, **(result_dict(r) or {})} for name, r in zip(ops, proof.cycle_ops, strict=True)],
        "removed_mm3": number(float(proof.removed["mm3"].sum())) if len(proof.removed) else 0.0,
        "tools": [
            {
                "op": ops[t.op],
                "tool": t.tool,
                "name": t.name,
                "cutting_s": number(t.cutting_s),
                "rapid_s": number(t.rapid_s),
                "other_s": number(t.other_s),
                "moves": t.moves,
                "lowest_z_mm": number(t.lowest_z_mm),
                "removed_mm3": number(t.removed_mm3),
            }
            for t in proof.tool_times
        ],
        "loads": loads_dict(proof.loads, ops, result_dict, number),
        "learned": learned_dict(None if proof.loads is None else proof.loads.learned, result_dict, number),
        "approaches": [
            {
                "op": ops[a.op],
                "tool": a.tool,
                "part": a.part,
                "body": a.body,
                "clearance_mm": number(a.clearance_mm),
                "bound_mm": number(a.bound_mm),
                "file": a.file,
                "line": a.line,
            }
            for a in proof.approaches
        ],
        "windows": [
            {
                "op": ops[w.op],
                "system": w.system,
                "low_mm": [number(v) for v in w.low_mm],
                "high_mm": [number(v) for v in w.high_mm],
                "given_mm": [number(v) for v in w.given_mm],
            }
            for w in proof.windows
        ],
        "design": {
            "points": proof.design_points,
            "surfaces": [
                {"surface": name, "gouge_mm": number(gouge), "left_over_mm": number(left)}
                for name, gouge, left in proof.design_worst
            ],
        },
        "unit_note": f"lengths are mm; 1 inch = {MM_PER_INCH} mm",
    }


def proof_json(proof: Proof) -> str:
    """The answer as JSON text; equal proofs give equal bytes."""
    return json.dumps(proof_dict(proof), ensure_ascii=False, indent=1)


def complaint_dict(c: Complaint) -> dict[str, Any]:
    """One thing wrong with an input."""
    return {
        "code": c.code,
        "kind": c.kind or None,
        "file": c.place.file,
        "line": c.place.line,
        "column": c.place.column,
        "word": c.place.word,
        "what": c.what,
        "why": c.why,
        "do": c.do,
    }


def error_json(error: HalfthouError) -> str:
    """An error as JSON text, so that a program that asked for JSON always gets JSON."""
    complaints = [complaint_dict(c) for c in (error.complaints if isinstance(error, InputError) else ())]
    body = {"schema": SCHEMA, "error": type(error).__name__, "exit_code": error.exit_code, "complaints": complaints}
    if not complaints:
        body["message"] = str(error)
    return json.dumps(body, ensure_ascii=False, indent=1)
