"""The mechanics of cutting against published and closed-form cases (mechanics-cases.json; every case names its source)."""

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from tests.published import mechanics_cases
from tests.published.mechanics_cases import judge

FILE = Path(__file__).parent / "mechanics-cases.json"
CASES = json.loads(FILE.read_text(encoding="utf-8"))["cases"]
DONE = [case for case in CASES if case["formula_ref"][0] in "AB"]


@pytest.mark.parametrize("case", DONE, ids=[case["id"] for case in DONE])
def test_case(case: dict[str, Any]) -> None:
    outcome = judge(case)
    assert outcome.verdict == "passed", outcome.why


@pytest.mark.parametrize("case", DONE, ids=[case["id"] for case in DONE])
def test_another_expected_value_fails(case: dict[str, Any]) -> None:
    """Every case fails when its expected value is moved by three tolerances, either way: nothing is matched to it."""
    room = max(case["tolerance"].get("rel", 0.0) * abs(case["expected"]), case["tolerance"].get("abs", 0.0))
    for sign in (-1, 1):
        wrong = copy.deepcopy(case)
        wrong["expected"] += sign * 3 * room
        assert judge(wrong).verdict == "failed"


def test_id_and_expected_value_are_not_needed() -> None:
    """The answer is the same for a case without id, source and notes."""
    for case in DONE[:10]:
        bare = {key: case[key] for key in ("formula_ref", "title", "inputs", "unit", "expected", "tolerance")}
        assert judge(bare) == judge(case)


def test_counts_and_last_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wrong = {**DONE[0], "id": "X1", "expected": 2 * DONE[0]["expected"]}
    strange = {"id": "X2", "formula_ref": "Z9", "title": "?", "inputs": {"q": 1}, "unit": "N", "expected": 1}
    odd_unit = {**DONE[0], "id": "X3", "unit": "furlong"}
    path = tmp_path / "cases.json"
    path.write_text(json.dumps({"cases": [DONE[0], wrong, strange, odd_unit]}), encoding="utf-8")
    assert mechanics_cases.main([str(path)]) == 1
    printed = capsys.readouterr().out.splitlines()
    assert printed[-1] == "1 passed, 1 failed, 2 not understood"
    assert len(printed) == 4
    path.write_text(json.dumps({"cases": [DONE[0]]}), encoding="utf-8")
    assert mechanics_cases.main([str(path)]) == 0
