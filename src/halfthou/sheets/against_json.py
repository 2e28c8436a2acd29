"""Two revisions compared, and whether an earlier proof still holds, as JSON: documented in docs/json.md."""

import json
from typing import Any

from halfthou.base.place import Place
from halfthou.nouns.answers import Proof
from halfthou.nouns.revision import Difference, FindingChange, Revision
from halfthou.nouns.still import Still
from halfthou.sheets.against_rows import headline
from halfthou.sheets.proof_json import finding_dict, number, proof_dict, result_dict, stamp_dict

AGAINST = "halfthou.against/1"
STILL = "halfthou.still/1"


def _place(place: Place) -> dict[str, Any] | None:
    return {"file": place.file, "line": place.line or None} if place.file else None


def difference_list(many: tuple[Difference, ...]) -> list[dict[str, str]]:
    """Differences of tables as plain dictionaries; values in the shop's words and unit."""
    return [{"group": d.group, "what": d.what, "now": d.now, "before": d.before} for d in many]


def _finding(change: FindingChange) -> dict[str, Any]:
    own = finding_dict(change.finding, ()) | {"op": change.op or None}
    before = finding_dict(change.before, ()) | {"op": change.op or None} if change.before is not None else None
    return {"kind": change.kind, "finding": own, "before": before}


def revision_dict(revision: Revision) -> dict[str, Any]:
    """The comparison as plain dictionaries and lists; lengths mm, times s."""
    return {
        "same": revision.same,
        "words": headline(revision),
        "before": {"title": revision.before_title, "stamp": stamp_dict(revision.before)},
        "now": {"title": revision.now_title, "stamp": stamp_dict(revision.now)},
        "blocks": [
            {
                "op": op.op,
                "same_moves": op.same_moves,
                "moves": op.now_moves,
                "moves_before": op.before_moves,
                "written_differently": op.text_only,
                "changes": [
                    {
                        "kind": c.kind,
                        "now": _place(c.now),
                        "before": _place(c.before),
                        "now_lines": list(c.now_lines),
                        "before_lines": list(c.before_lines),
                        "moves": c.now_moves,
                        "moves_before": c.before_moves,
                        "same_moves": c.same_moves,
                    }
                    for c in op.changes
                ],
            }
            for op in revision.ops
        ],
        "unpaired_operations": list(revision.unpaired_ops),
        "surfaces": {
            "points": revision.surfaces.points,
            "can_miss": list(revision.surfaces.missed),
            "not_compared": list(revision.surfaces.not_compared),
            "moved": [
                {
                    "kind": s.kind,
                    "surface": s.surface or None,
                    "words": s.words,
                    "amount": result_dict(s.amount),
                    "least_mm": number(s.least_mm),
                    "most_mm": number(s.most_mm),
                    "points": s.points,
                    "of": s.of,
                    "point_mm": [number(v) for v in s.point_mm],
                    "place": s.place,
                    "tool": s.tool if s.tool >= 0 else None,
                    "now": _place(s.now),
                    "before": _place(s.before),
                }
                for s in revision.surfaces.moved
            ],
        },
        "times": [
            {
                "op": t.op or None,
                "tool": t.tool if t.tool >= 0 else None,
                "name": t.name,
                "now_s": number(t.now_s),
                "before_s": number(t.before_s),
                "now_band_s": [number(v) for v in t.now_band_s] if t.now_band_s else None,
                "before_band_s": [number(v) for v in t.before_band_s] if t.before_band_s else None,
            }
            for t in revision.times
        ],
        "findings": [_finding(change) for change in revision.findings],
        "findings_kept": revision.findings_kept,
        "tools": difference_list(revision.tools),
        "setup": difference_list(revision.setup),
        "machine": difference_list(revision.machine),
        "design": difference_list(revision.design),
    }


def against_json(proof: Proof, revision: Revision) -> str:
    """The proof of this job and the comparison as JSON text; equal inputs give equal bytes."""
    body = {
        "schema": AGAINST,
        "stamp": stamp_dict(proof.stamp),
        "proof": proof_dict(proof),
        "against": revision_dict(revision),
    }
    return json.dumps(body, ensure_ascii=False, indent=1)


def still_json(still: Still) -> str:
    """Whether an earlier proof holds, as JSON text."""
    body = {
        "schema": STILL,
        "holds": still.holds,
        "stamp": stamp_dict(still.stamp),
        "tool_version": still.tool_version,
        "inputs": still.inputs,
        "changes": [{"role": c.role, "now": c.now or None, "before": c.before or None} for c in still.changes],
    }
    return json.dumps(body, ensure_ascii=False, indent=1)
