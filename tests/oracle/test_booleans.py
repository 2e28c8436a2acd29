"""Random programs against mesh Booleans, on fresh seeds."""

import random

import pytest

from tests.oracle.booleans import one


def wrong(count: int) -> list[str]:
    seed = random.SystemRandom().randrange(10**9)
    print(f"seed {seed}")
    draw = random.Random(seed)
    return [f"{own}: {what}" for own in (draw.randrange(10**9) for _ in range(count)) if (what := one(own)[0])]


def test_volume_agrees_with_mesh_booleans() -> None:
    assert wrong(3) == []


@pytest.mark.slow
def test_volume_agrees_with_mesh_booleans_on_8_programs() -> None:
    assert wrong(8) == []
