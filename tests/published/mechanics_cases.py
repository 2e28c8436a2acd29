"""Runs a file of mechanics cases: `python -m tests.published.mechanics_cases FILE`.

Prints every case that fails or is not understood and closes with 'N passed, N failed, N not understood'. A case goes to
the code as formula reference, title, inputs and unit only; id and expected value stay in this file. Sources of the
cases are in the file, one by one; "verified_in_text": "memory" means that the published number was recalled, not seen.
"""

import json
import math
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.published.mechanics_engine import Law, Question, matches
from tests.published.mechanics_laws import LAWS
from tests.published.mechanics_units import UnknownUnit, unit


@dataclass(frozen=True)
class Outcome:
    """A judged case: "passed", "failed" or "not understood", and why."""

    verdict: str
    why: str


def answer(question: Question, laws: Sequence[Law] = LAWS) -> tuple[Any, str] | None:
    """The number in the unit asked for and the law used; None if no law fits."""
    found = matches(question, laws)
    if not found:
        return None
    base = found[0].compute()
    factor = unit(question.unit).factor
    value = [v / factor for v in base] if isinstance(base, list) else float(base) / factor
    return value, found[0].what


def close(want: Any, got: Any, tolerance: dict[str, float]) -> bool:
    """Equal within the case's tolerance, numbers and lists; NaN never."""
    if isinstance(want, list):
        return isinstance(got, list) and len(want) == len(got) and all(map(close, want, got, [tolerance] * len(want)))
    if isinstance(got, list) or isinstance(want, str | bool) or want is None or not math.isfinite(got):
        return False
    room = max(tolerance.get("rel", 0.0) * abs(want), tolerance.get("abs", 0.0))
    return bool(abs(got - want) <= room + 1e-15 * abs(want))


def judge(case: dict[str, Any], laws: Sequence[Law] = LAWS) -> Outcome:
    """Ask the code and compare."""
    try:
        question = Question.of(
            str(case.get("formula_ref", "")), str(case.get("area", "")), str(case.get("title", "")),
            case["inputs"], str(case.get("unit", "1")),
        )  # fmt: skip
        found = answer(question, laws)
    except UnknownUnit as error:
        return Outcome("not understood", f"unit {error}")
    except Exception as error:
        return Outcome("failed", f"our fault: {type(error).__name__}: {error}")
    if found is None:
        return Outcome("not understood", f"no law takes {sorted(case['inputs'])} to {case.get('unit')}")
    got, what = found
    if close(case["expected"], got, case.get("tolerance", {})):
        return Outcome("passed", what)
    return Outcome("failed", f"{got} for {case['expected']} {case.get('unit')} by {what}")


def run(cases: Sequence[dict[str, Any]]) -> list[tuple[dict[str, Any], Outcome]]:
    """All cases, judged."""
    return [(case, judge(case)) for case in cases]


def main(arguments: Sequence[str]) -> int:
    """Command line; 0 only if every case passed."""
    if len(arguments) != 1:
        print("usage: python -m tests.published.mechanics_cases FILE", file=sys.stderr)
        return 2
    data = json.loads(Path(arguments[0]).read_text(encoding="utf-8"))
    judged = run(data["cases"] if isinstance(data, dict) else data)
    count = {"passed": 0, "failed": 0, "not understood": 0}
    for case, outcome in judged:
        count[outcome.verdict] += 1
        if outcome.verdict != "passed":
            print(f"{case.get('id')} [{case.get('formula_ref')}] {outcome.verdict}: {outcome.why}")
    print(f"{count['passed']} passed, {count['failed']} failed, {count['not understood']} not understood")
    return 0 if count["passed"] == len(judged) else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
