"""The hand-computed jobs of second_hand.py before the program: gouge, left-over and nearest approach within 0.02 mm.

Written without reading the program. A case marked as a known disagreement is one where the program is held to be wrong (the reason is given);
the mark is strict, so it must go when the program is put right.
"""

from pathlib import Path

import pytest

from tests.oracle.second_hand import Case, cases, check
from tests.product import answer

RIM = "a rim lost with the face beside it is called 'Material missing from the start: 60 mm' (P305) though the stock was there and a cut took it"
SHADOW = "a surface beside a worse one is listed with an amount just under its limit instead of its own"
DISAGREE = {
    "slope too low": RIM,
    "radius register small": RIM,
    "corner radius too small": SHADOW,
    "corner radius too big": SHADOW,
    "sharp corners": "P304 is measured along a wall at the sample nearest the corner, not across the corner as its page says",
    "floor too high between sharp corners": "what stands in the sharp corners (4 mm) is given as the left-over of a floor that is 0.15 high",
}


def _marked(case: Case) -> object:
    reason = DISAGREE.get(case.name)
    marks = [pytest.mark.xfail(strict=True, raises=AssertionError, reason=reason)] if reason else []
    return pytest.param(case, id=case.name.replace(" ", "-"), marks=marks)


@pytest.mark.parametrize("case", [_marked(case) for case in cases()])
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
