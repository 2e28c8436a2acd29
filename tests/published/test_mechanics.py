"""The mechanics of cutting against published and closed-form cases (mechanics-cases.json; every case names its source)."""

import copy
import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from tests.published import mechanics_cases
from tests.published.mechanics_cases import answer, close, judge
from tests.published.mechanics_engine import Question

FILE = Path(__file__).parent / "mechanics-cases.json"
CASES = json.loads(FILE.read_text(encoding="utf-8"))["cases"]
IDS = [case["id"] for case in CASES]


@cache
def computed(index: int) -> Any:
    """The answer to a case, worked out once."""
    case = CASES[index]
    question = Question.of(case["formula_ref"], case["area"], case["title"], case["inputs"], case["unit"])
    found = answer(question)
    assert found is not None, "no law takes the inputs"
    return found[0]


@pytest.mark.parametrize("index", range(len(CASES)), ids=IDS)
def test_case(index: int) -> None:
    case = CASES[index]
    assert close(case["expected"], computed(index), case["tolerance"]), computed(index)


@pytest.mark.parametrize("index", range(len(CASES)), ids=IDS)
def test_another_expected_value_does_not_pass(index: int) -> None:
    """Every case fails when its expected value is moved by three tolerances, either way: nothing is matched to it."""
    case = CASES[index]
    room = max(case["tolerance"].get("rel", 0.0) * abs(case["expected"]), case["tolerance"].get("abs", 0.0))
    for sign in (-1, 1):
        assert not close(case["expected"] + sign * 3 * room, computed(index), case["tolerance"])


def test_judge_fails_a_perturbed_case() -> None:
    for case in CASES[:12]:
        assert judge(case).verdict == "passed"
        wrong = copy.deepcopy(case)
        wrong["expected"] *= 1 + 3 * case["tolerance"]["rel"]
        assert judge(wrong).verdict == "failed"


def test_id_and_expected_value_are_not_needed() -> None:
    """The answer is the same for a case without id, source and notes."""
    for case in CASES[:10]:
        bare = {key: case[key] for key in ("formula_ref", "title", "inputs", "unit", "expected", "tolerance")}
        assert judge(bare) == judge(case)


def test_counts_and_last_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    wrong = {**CASES[0], "id": "X1", "expected": 2 * CASES[0]["expected"]}
    strange = {"id": "X2", "formula_ref": "Z9", "title": "?", "inputs": {"q": 1}, "unit": "N", "expected": 1}
    odd_unit = {**CASES[0], "id": "X3", "unit": "furlong"}
    path = tmp_path / "cases.json"
    path.write_text(json.dumps({"cases": [CASES[0], wrong, strange, odd_unit]}), encoding="utf-8")
    assert mechanics_cases.main([str(path)]) == 1
    printed = capsys.readouterr().out.splitlines()
    assert printed[-1] == "1 passed, 1 failed, 2 not understood"
    assert len(printed) == 4
    path.write_text(json.dumps({"cases": [CASES[0]]}), encoding="utf-8")
    assert mechanics_cases.main([str(path)]) == 0
