"""Eight fresh jobs through the second contact judge, seed drawn at run time and printed; and the judge itself against hand calculation."""

import secrets

import pytest

from tests.oracle.second_contacts import compare, run
from tests.oracle.second_program import Body, Nc, Scene, Setup, Tool
from tests.oracle.second_slices import judge

JAW = Body("moving jaw", "moving jaw", (-5.0, 40.0, -30.0), (55.0, 60.0, -9.0))


def _block(rapid_z: float, cut_z: float, stick: float) -> Scene:
    """A block of 50 x 40 x 20: a 10 mm slot along Y = 20 at `cut_z`, a rapid across at `rapid_z`, nothing in operation 2."""
    tool = Tool(1, "flat", 10, 8, 10, stick, 30)
    first, second = Setup("op1.nc", "G54", [JAW]), Setup("op2.nc", "G55", [])
    nc = Nc(first, 1, "BLOCK")
    nc.change(tool, -20, 20, 5)
    nc.go(z=cut_z)
    nc.go(60, feed=300)
    nc.go(z=rapid_z)
    nc.go(-20, 28)
    nc.end()
    return Scene(
        0, "by hand", "", (0.0, 0.0, -20.0), (50.0, 40.0, 0.0), "X", (0.0, 40.0, -20.0), [first, second], [tool]
    )


def test_rapid_across_the_block_by_hand() -> None:
    """From (60, 20) to (-20, 28) at Z-0.2: beside the slot stands stock up to 0, so the cutter is 0.2 too low all along."""
    found = [t for t in judge(_block(-0.2, -4.0, 20.0)) if t.most > 0.01]
    assert [(t.line, t.part, t.body) for t in found] == [(13, "cutter", "stock")]
    assert found[0].least == pytest.approx(0.2, abs=1e-6)
    assert not [t for t in judge(_block(0.1, -4.0, 20.0)) if t.most > 0.01]


def test_holder_by_hand() -> None:
    """Slot 6 deep, stick-out 5.75: the holder's face is at Z-0.25, beside the slot the stock is up to 0."""
    found = [t for t in judge(_block(5.0, -6.0, 5.75)) if t.most > 0.01]
    assert {(t.part, t.body) for t in found} == {("holder", "stock")}
    assert max(t.least for t in found) == pytest.approx(0.25, abs=1e-6)


def test_what_the_product_says_wrongly_is_counted() -> None:
    touching, clean = _block(-0.2, -4.0, 20.0), _block(1.0, -4.0, 20.0)
    said = {"code": "P211", "file": "op1.nc", "line": 13, "tool": 1, "part": "cutter", "body": "stock", "depth": 0.2}
    assert compare(touching, [said]).counts["right"] == 1
    assert compare(touching, []).counts["missed"] == 1
    assert compare(touching, [said | {"line": 9}]).counts["wrong block"] == 1
    assert compare(touching, [said | {"depth": 0.5}]).counts["wrong depth"] == 1
    assert compare(touching, [said | {"code": "P202", "body": "moving jaw"}]).counts["wrong body"] == 1
    assert compare(clean, [said]).counts["false STOP"] == 1


@pytest.mark.slow
def test_product_and_second_judge_agree() -> None:
    first = secrets.randbelow(10**8)
    print(f"seed {first}")
    failed = [v for v in map(run, range(first, first + 8)) if v.failed]
    assert not failed, "\n".join(line for v in failed for line in v.story)
