"""The hand-computed jobs of second_hand.py before the program: gouge, left-over and nearest approach within 0.02 mm.

Written without reading the program. No case is marked as a known disagreement.
"""

from pathlib import Path

import pytest

from tests.oracle.second_hand import Case, cases, check
from tests.product import answer


@pytest.mark.parametrize("case", cases(), ids=[case.name.replace(" ", "-") for case in cases()])
def test_hand_case(case: Case, tmp_path: Path) -> None:
    assert check(case, tmp_path, answer) == []


def test_the_hand_check_can_say_no(tmp_path: Path) -> None:
    """Answers that are off by 0.03, or silent, are refused."""
    by_name = {case.name: case for case in cases()}
    surface = {"surface": "face 1", "gouge": 0.16, "left_over": 0.0}
    gouge = {"code": "P301", "severity": "STOP", "amount": 0.16, "what": "", "part": "", "body": ""}
    off = {"findings": [gouge], "approaches": [], "surfaces": [surface]}
    assert len(check(by_name["floor too deep"], tmp_path / "a", lambda _: off)) == 2
    silent = {"findings": [], "approaches": [], "surfaces": [{**surface, "gouge": 0.0}]}
    assert len(check(by_name["floor too deep"], tmp_path / "b", lambda _: silent)) == 3
    assert check(by_name["beside the jaw"], tmp_path / "c", lambda _: silent)
    near = {"part": "cutter", "body": "jaw", "clearance": 1.234 + 0.03}
    assert check(by_name["beside the jaw"], tmp_path / "d", lambda _: {**silent, "approaches": [near]})
    assert not check(
        by_name["beside the jaw"], tmp_path / "e", lambda _: {**silent, "approaches": [{**near, "clearance": 1.24}]}
    )
