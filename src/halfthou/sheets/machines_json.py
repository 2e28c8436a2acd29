"""A job on two machines as JSON: documented in docs/json.md."""

import json
from typing import Any

from halfthou.base.place import Place
from halfthou.nouns.answers import Proof
from halfthou.nouns.other_machine import OtherMachine
from halfthou.sheets.machines_rows import headline
from halfthou.sheets.proof_json import complaint_dict, finding_dict, number, proof_dict, stamp_dict

MACHINES = "halfthou.machines/1"


def _place(place: Place) -> dict[str, Any] | None:
    return {"file": place.file, "line": place.line or None} if place.file else None


def sides_dict(sides: OtherMachine) -> dict[str, Any]:
    """Both machines side by side as plain dictionaries; lengths mm, times s."""
    return {
        "here": {"machine": sides.here_name, "stamp": stamp_dict(sides.here), "words": sides.here_words},
        "there": {"machine": sides.there_name, "stamp": stamp_dict(sides.there), "words": sides.there_words},
        "words": headline(sides),
        "runs_as_it_is": sides.runs_as_it_is,
        "refused": [complaint_dict(c) for c in sides.refused],
        "must_change": list(sides.must),
        "mapped": [
            {
                "kind": m.kind, "what": m.what, "here": m.here, "there": m.there, "fits": m.fits, "note": m.note,
                "place": _place(m.place),
            }
            for m in sides.mapped
        ],
        "fits": [
            {
                "what": f.what, "asked": f.asked, "here": f.here, "there": f.there, "fits_here": f.fits_here,
                "fits_there": f.fits_there,
            }
            for f in sides.fits
        ],
        "capped": [
            {
                "what": c.what, "tool": c.tool, "asked": c.asked, "there": c.there, "share": number(c.share_ratio),
                "slower_s": number(c.slower_s), "place": _place(c.place),
            }
            for c in sides.capped
        ],
        "binding": [
            {"limit": b.limit, "here_s": number(b.here_s), "there_s": number(b.there_s)} for b in sides.binding
        ],
        "times": [
            {
                "op": t.op or None, "tool": t.tool if t.tool >= 0 else None, "name": t.name,
                "here_s": number(t.before_s), "there_s": number(t.now_s),
                "here_band_s": [number(v) for v in t.before_band_s] if t.before_band_s else None,
                "there_band_s": [number(v) for v in t.now_band_s] if t.now_band_s else None,
            }
            for t in sides.times
        ],
        "placed": [
            {
                "op": p.op, "system": p.system, "here_mm": [number(v) for v in p.here_mm],
                "there_mm": [number(v) for v in p.there_mm], "how": p.how,
            }
            for p in sides.placed
        ],
        "differences": [{"what": h.what, "here": h.before, "there": h.now} for h in sides.habits],
        "findings": [
            {
                "kind": {"gained": "only there", "lost": "only here"}.get(c.kind, c.kind),
                "finding": finding_dict(c.finding, ()) | {"op": c.op or None},
            }
            for c in sides.findings
        ],
        "findings_kept": sides.findings_kept,
        "not_checked": list(sides.not_checked),
        "assumptions": list(sides.assumptions),
        "first_piece": sides.first_piece,
    }  # fmt: skip


def machines_json(here: Proof, there: Proof | None, sides: OtherMachine) -> str:
    """Both proofs and the comparison as JSON text; equal inputs give equal bytes."""
    body = {
        "schema": MACHINES,
        "stamp": stamp_dict(here.stamp),
        "sides": sides_dict(sides),
        "proof_here": proof_dict(here),
        "proof_there": proof_dict(there) if there is not None else None,
    }
    return json.dumps(body, ensure_ascii=False, indent=1)
