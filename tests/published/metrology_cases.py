"""Runs a file of metrology cases: `python -m tests.published.metrology_cases FILE`.

Prints each failure and closes with 'N passed, N failed, N not understood'. A case names its area, topic and inputs;
from these alone the rules of metrology_area*.py find the function under test. Sources stand in the cases, one by one.
"""

import json
import math
import re
import sys
from pathlib import Path
from typing import Any

import numpy as np

from tests.published import (
    metrology_area1,
    metrology_area1_studies,
    metrology_area2,
    metrology_area3,
    metrology_area4,
    metrology_area5,
    metrology_area6,
    metrology_area7,
    metrology_area8,
)
from tests.published.metrology_names import ENTRIES, Answers, Given, IsList, Missing, pick, spread

AREAS = (
    metrology_area1,
    metrology_area1_studies,
    metrology_area2,
    metrology_area3,
    metrology_area4,
    metrology_area5,
    metrology_area6,
    metrology_area7,
    metrology_area8,
)  # importing them registers their rules


def flat(value: Any) -> Any:
    """Arrays and tuples as lists, numpy numbers as plain ones."""
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, tuple | list):
        return [flat(v) for v in value]
    return value.item() if isinstance(value, np.generic) else value


def difference(want: Any, got: Any, tol: float, where: str = "") -> str:
    """ "" if got agrees with want within tol, else what does not.

    Numbers in the file carry 10 significant digits: half a unit of the tenth is granted on top of tol.
    """
    got = flat(got)
    if isinstance(want, bool) or isinstance(got, bool):
        return "" if bool(want) == got else f"{where}: {got} for {want}"
    if isinstance(want, list):
        if not isinstance(got, list) or len(got) != len(want):
            return f"{where}: {got} for {want}"
        found = [difference(a, b, tol, f"{where}[{i}]") for i, (a, b) in enumerate(zip(want, got, strict=True))]
        return next((text for text in found if text), "")
    if isinstance(want, int | float):
        if not isinstance(got, int | float) or math.isnan(got):
            return f"{where}: {got} for {want}"
        printed = 0.5 * 10.0 ** (math.floor(math.log10(abs(want))) - 9) if want and tol else 0.0
        near = abs(want - got) <= tol + printed + 1e-15
        return "" if near else f"{where}: {got:.12g} for {want:.12g} ± {tol:.2g}"
    return "" if want == got else f"{where}: {got!r} for {want!r}"


def tolerance_of(tolerance: Any, name: str) -> float:
    """The agreement the case asks for under this name."""
    if isinstance(tolerance, dict):
        tolerance = tolerance.get(name, tolerance.get("*", 0.0))
    return float(tolerance)


def _elementwise(law: Any, given: Given) -> Answers:
    """The rule for each element of the listed inputs, the answers gathered as lists."""
    lists = {k: v for k, v in given.inputs.items() if isinstance(v, list) and v and not isinstance(v[0], list)}
    length = {len(v) for v in lists.values()}
    if len(length) != 1:
        raise Missing("inputs of one length")
    each = []
    for i in range(length.pop()):
        inputs = given.inputs | {k: v[i] for k, v in lists.items()}
        each.append(spread(law(Given(given.topic, inputs, given.folders))))
    return {k: [a[k]() if callable(a[k]) else a[k] for a in each] for k in each[0]}


def answers_of(given: Given, area: int, fitting: bool) -> tuple[list[Answers], list[str]]:
    """What the rules for this topic (or, not fitting, the area's others) say, and why some could not.

    The names and values a case expects are not known here.
    """
    found, reasons = [], []
    for entry in ENTRIES:
        if entry.area != area or bool(entry.topic.search(given.topic)) != fitting:
            continue
        try:
            try:
                found.append(spread(entry.rule(given)))
            except IsList:
                found.append(_elementwise(entry.rule, given))
        except Missing as missing:
            reasons.append(f"{entry.rule.__name__} needs {missing}")
        except Exception as error:  # one rule that stumbles must not stop the others; it is reported
            reasons.append(f"{entry.rule.__name__}: {type(error).__name__} {error}")
    return found, reasons


def _lookup(found: list[Answers], names: list[str]) -> dict[str, Any] | None:
    """The asked values from the first rule that has them all, else gathered from several; None if one is unknown."""
    for answers in found:
        try:
            return {name: pick(answers, name) for name in names}
        except Missing:
            continue
    out = {}
    for name in names:
        for answers in found:
            try:
                out[name] = pick(answers, name)
                break
            except Missing:
                continue
        else:
            return None
    return out


def judge(case: dict[str, Any], folder: Path) -> tuple[str, str]:
    """("passed" | "failed" | "not understood", why) of one case."""
    given = Given(str(case["topic"]), dict(case["inputs"]), (folder, folder / "data"))
    asked: list[tuple[str, Any, float]] = []
    for name, want in case["expected"].items():
        tol = tolerance_of(case.get("tolerance", 0.0), name)
        if isinstance(want, dict):
            asked += [(sub, value, tol) for sub, value in want.items()]
        else:
            asked.append((name, want, tol))
    names = [name for name, _, _ in asked]
    found, reasons = answers_of(given, int(case["area"]), True)
    try:
        got = _lookup(found, names)
        if got is None:
            more, also = answers_of(given, int(case["area"]), False)
            found, reasons = [*found, *more], [*reasons, *also]
            got = _lookup(found, names)
    except Exception as error:  # one case that stumbles must not stop the others; it is reported
        return "failed", f"{type(error).__name__}: {error}"
    if got is None:
        known = sorted({key for answers in found for key in answers})
        lacking = [name for name, _, _ in asked if _lookup(found, [name]) is None]
        return "not understood", f"no rule gives {lacking}; known {known[:12]}; {'; '.join(reasons[:4])}"
    wrong = [text for name, want, tol in asked if (text := difference(want, got[name], tol, name))]
    return ("failed", "; ".join(wrong)) if wrong else ("passed", "")


def run(path: Path, only: str = "") -> tuple[int, int, int]:
    """Judge every case of a file (whose id matches `only`), print what is not right, return the three counts."""
    loaded = json.loads(path.read_text(encoding="utf-8"))
    counts = {"passed": 0, "failed": 0, "not understood": 0}
    for case in loaded["cases"] if isinstance(loaded, dict) else loaded:
        if only and not re.search(only, str(case["id"])):
            continue
        word, why = judge(case, path.parent)
        counts[word] += 1
        if word != "passed":
            print(f"{case['id']} {word}: {case['topic']}: {why}")
    return counts["passed"], counts["failed"], counts["not understood"]


def main(words: list[str]) -> int:
    """Command line: FILE [pattern of ids]; exit code 0 if all pass."""
    if not words:
        print("usage: python -m tests.published.metrology_cases FILE [PATTERN]", file=sys.stderr)
        return 2
    passed, failed, unknown = run(Path(words[0]), words[1] if len(words) > 1 else "")
    print(f"{passed} passed, {failed} failed, {unknown} not understood")
    return 0 if failed == unknown == 0 else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
