"""Suggested feeds as JSON: the proof with a key `feeds`, and `feed_copy` when a copy was written (docs/json.md)."""

import json
from collections.abc import Sequence
from typing import Any

from halfthou.nouns.answers import Proof
from halfthou.nouns.feeds import FeedCopy, FeedLimit, Feeds, FeedSuggestion
from halfthou.sheets.proof_json import finding_dict, number, proof_dict, result_dict


def feeds_json(proof: Proof, feeds: Feeds, copy: FeedCopy | None) -> str:
    """The answer as JSON text; equal answers give equal bytes."""
    ops = [op.name for op in proof.job.ops]
    body = {**proof_dict(proof), "feeds": feeds_dict(feeds, ops)}
    if copy is not None:
        body["feed_copy"] = copy_dict(copy, ops)
    return json.dumps(body, ensure_ascii=False, indent=1)


def feeds_dict(feeds: Feeds, ops: Sequence[str]) -> dict[str, Any]:
    """Suggestions; every feed mm/s, every time s."""
    return {
        "saved_s": result_dict(feeds.saved), "before_s": number(feeds.before_s), "low_load": number(feeds.low_ratio),
        "high_load": number(feeds.high_ratio), "source": feeds.source, "not_judged": list(feeds.said),
        "tools": [_suggestion(one, ops) for one in feeds.suggestions],
    }  # fmt: skip


def _suggestion(one: FeedSuggestion, ops: Sequence[str]) -> dict[str, Any]:
    return {
        "op": ops[one.op], "tool": one.tool, "name": one.name, "leave": one.leave or None,
        "feed_factor": number(one.feed_ratio), "speed_factor": number(one.speed_ratio),
        "factor_best": number(one.best_ratio), "factor_low_load": number(one.most_ratio), "binding": one.binding or None,
        "limits": [_limit(limit) for limit in one.limits], "not_limited": list(one.not_limited), "said": list(one.said),
        "feed_mm_per_s": number(one.feed_mm_per_s), "speed_rpm": number(one.speed_rpm),
        "chip_mm": number(one.chip_mm) if one.chip_mm > 0 else None, "life_factor": number(one.life_ratio),
        "before_s": number(one.before_s), "after_s": number(one.after_s), "saved_s": result_dict(one.saved),
    }  # fmt: skip


def _limit(limit: FeedLimit) -> dict[str, Any]:
    return {
        "name": limit.name, "factor": number(limit.used_ratio), "factor_best": number(limit.best_ratio),
        "factor_low_load": number(limit.most_ratio), "move": limit.move if limit.move >= 0 else None, "words": limit.words,
    }  # fmt: skip


def copy_dict(copy: FeedCopy, ops: Sequence[str]) -> dict[str, Any]:
    """The changed copy and what its proof says beside that of the original."""
    return {
        "folder": copy.folder,
        "files": [{"file": file, "words_changed": count} for file, count in copy.files],
        "words": [
            {
                "file": w.file, "line": w.line, "column": w.column, "before": w.before, "after": w.after,
                "op": ops[w.op], "tool": w.tool,
            }
            for w in copy.words
        ],
        "not_written": [{"op": ops[one.op], "tool": one.tool, "why": one.why} for one in copy.not_written],
        "before_s": result_dict(copy.before_s), "after_s": result_dict(copy.after_s),
        "findings": [
            {
                "kind": c.kind, "finding": finding_dict(c.finding, ops),
                "before": finding_dict(c.before, ops) if c.before is not None else None,
            }
            for c in copy.findings
        ],
        "findings_kept": copy.findings_kept,
        "peaks": [
            {
                "op": ops[p.op], "tool": p.tool, "name": p.name,
                **{
                    name: [number(v) for v in getattr(p, name)]
                    for name in ("power_w", "torque_n_m", "force_n", "bend_mm", "chip_mm", "time_s")
                },
            }
            for p in copy.peaks
        ],
        "words_before": copy.verdict_before, "words_after": copy.verdict_after,
    }  # fmt: skip
