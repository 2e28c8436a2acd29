"""The published metrology cases pass, and the runner notices when an expected value is wrong."""

import copy
import json
from pathlib import Path
from typing import Any

import pytest

from tests.published.metrology_cases import judge, run

FILE = Path(__file__).parent / "metrology-cases.json"
CASES: list[dict[str, Any]] = json.loads(FILE.read_text(encoding="utf-8"))["cases"]
SHORT_OF_INPUT = {"A2-014"}  # names a lognormal law without its sigma: only its own answers would tell


@pytest.mark.parametrize("case", CASES, ids=lambda case: str(case["id"]))
def test_case(case: dict[str, Any]) -> None:
    word, why = judge(case, FILE.parent)
    if case["id"] in SHORT_OF_INPUT:
        assert word == "not understood" and "sigma" in why
    else:
        assert word == "passed", why


def _moved(value: Any, tolerance: float) -> Any:
    """The expected value, wrong by more than its tolerance."""
    if isinstance(value, bool):
        return not value
    if isinstance(value, list):
        return [*value[:-1], _moved(value[-1], tolerance)] if value else [1.0]
    if isinstance(value, dict):
        last = list(value)[-1]
        return value | {last: _moved(value[last], tolerance)}
    if isinstance(value, str):
        return value + "?"
    return value + 1.5 * tolerance + 1e-6 * abs(value) + 1e-12


def test_every_perturbed_expected_value_fails() -> None:
    unmoved = []
    for case in (c for c in CASES if c["id"] not in SHORT_OF_INPUT):
        for name in case["expected"]:
            wrong = copy.deepcopy(case)
            tolerance = wrong["tolerance"]
            if isinstance(tolerance, dict):
                tolerance = tolerance.get(name, tolerance.get("*", 0.0))
            # far enough that it fails on whichever side of the printed value the exact one lies
            wrong["expected"][name] = _moved(wrong["expected"][name], 2.0 * float(tolerance))
            if judge(wrong, FILE.parent)[0] != "failed":
                unmoved.append((case["id"], name))
    assert unmoved == []


def test_id_and_expected_values_do_not_steer_the_runner() -> None:
    case = copy.deepcopy(next(c for c in CASES if c["id"] == "A1-042"))
    case["id"] = "another"
    assert judge(case, FILE.parent)[0] == "passed"
    case["inputs"]["n"] = 6
    assert judge(case, FILE.parent)[0] == "failed"


def test_what_is_not_known_is_not_understood(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    strange = {
        "id": "X",
        "area": 1,
        "topic": "phase of the moon",
        "inputs": {"when": "now"},
        "expected": {"phase": 0.5},
    }
    file = tmp_path / "cases.json"
    file.write_text(json.dumps({"cases": [strange]}), encoding="utf-8")
    assert run(file) == (0, 0, 1)
    assert "not understood" in capsys.readouterr().out


def test_the_whole_file_from_the_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    from tests.published.metrology_cases import main

    main([str(FILE)])
    last = capsys.readouterr().out.strip().splitlines()[-1]
    assert last == f"{len(CASES) - len(SHORT_OF_INPUT)} passed, 0 failed, {len(SHORT_OF_INPUT)} not understood"
