"""Three jobs of a fresh seed before the second judge of volume, and whether that judge can say no.

Written without reading the program (see second_volume.py); the seed is drawn at run time and printed, so that a failure can be run again with
`python -m tests.oracle.second_volume --jobs 3 --seed S`.
"""

import random
import secrets
from pathlib import Path

import pytest

from tests.oracle.second_jobs import draw_stock
from tests.oracle.second_shapes import simple
from tests.oracle.second_volume import FACET_SHARE, compare, judge, line_of, truth_of


@pytest.mark.slow
def test_three_fresh_jobs(tmp_path: Path) -> None:
    seed = secrets.randbelow(10**9)
    print(f"seed {seed}")
    for i in range(3):
        verdict = judge(seed + i, tmp_path / str(i))
        print(line_of(verdict))
        assert not verdict.faults, line_of(verdict)


def test_brackets_hold_the_formulas() -> None:
    seed = secrets.randbelow(10**9)
    print(f"seed {seed}")
    rnd = random.Random(seed)
    for _ in range(8):
        job = simple(rnd, draw_stock(rnd, True), False)
        truth = truth_of(job)
        assert job.formula is not None
        assert truth.half <= FACET_SHARE * truth.removed
        assert abs(truth.removed - job.formula) <= truth.half + 1e-6 * job.formula, job.name


def test_the_judge_can_say_no() -> None:
    rnd = random.Random(11)
    job = simple(rnd, draw_stock(rnd, True), False)
    assert job.formula is not None
    left = job.stock.volume() - job.formula
    assert not compare(0, job, ((left, 0.1), (left, 0.1))).faults
    off = left + 0.002 * job.formula
    assert len(compare(0, job, ((off, 0.1), (off, 0.1))).faults) == 3
    assert compare(0, job, ((left, 0.1), (float("nan"), 0.1))).faults == ("plain outside its own bound",)
