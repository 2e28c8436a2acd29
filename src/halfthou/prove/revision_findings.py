"""Findings gained and lost between two proofs: matched by code, block text, tool and body, never by line number."""

from collections.abc import Sequence

from halfthou.base.finding import Finding
from halfthou.base.value import Unknown, Value
from halfthou.nouns.revision import FindingChange
from halfthou.prove.revision_text import plain

AMOUNT_MM = 1e-3
"""Amounts nearer than this (or than their bounds) are one amount."""


def _key(finding: Finding, names: Sequence[str]) -> tuple[object, ...]:
    op = names[finding.op] if 0 <= finding.op < len(names) else ""
    return finding.code, op, plain(finding.place.text), finding.tool, finding.body, finding.part


def _same_amount(a: Finding, b: Finding) -> bool:
    x, y = a.amount, b.amount
    if isinstance(x, Value) and isinstance(y, Value):
        return x.unit == y.unit and abs(x.best - y.best) <= max(AMOUNT_MM, x.bound + y.bound)
    return isinstance(x, Unknown) == isinstance(y, Unknown) and (x is None) == (y is None)


def finding_changes(
    now: Sequence[Finding], before: Sequence[Finding], now_ops: Sequence[str], before_ops: Sequence[str]
) -> tuple[tuple[FindingChange, ...], int]:
    """(gained, lost and changed in amount, how many stayed as they were).

    Several findings with one key are matched equal amounts first, then in their order.
    """
    left: dict[tuple[object, ...], list[Finding]] = {}
    for finding in before:
        left.setdefault(_key(finding, before_ops), []).append(finding)
    open_: list[Finding] = []
    kept = 0
    for finding in now:
        same = left.get(_key(finding, now_ops), [])
        twin = next((f for f in same if _same_amount(f, finding) and f.severity == finding.severity), None)
        if twin is None:
            open_.append(finding)
        else:
            same.remove(twin)
            kept += 1
    changes: list[FindingChange] = []
    for finding in open_:
        same = left.get(_key(finding, now_ops), [])
        other = same.pop(0) if same else None
        kind = "amount" if other is not None else "gained"
        changes.append(FindingChange(kind=kind, op=_op(finding, now_ops), finding=finding, before=other))
    for rest in left.values():
        changes += [FindingChange(kind="lost", op=_op(f, before_ops), finding=f) for f in rest]
    order = {"gained": 0, "amount": 1, "lost": 2}
    return tuple(sorted(changes, key=lambda c: (order[c.kind], -c.finding.severity, c.finding.code))), kept


def _op(finding: Finding, names: Sequence[str]) -> str:
    return names[finding.op] if 0 <= finding.op < len(names) else ""
