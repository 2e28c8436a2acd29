"""Calls for a mesh that cannot be met: an ending that is no format, a state the job does not have."""

from pathlib import Path

import pytest

from halfthou.base.errors import InputError
from halfthou.flow.surface import SurfaceAsk, check_ending, which


class _Run:
    """As much of a run as is looked at before any work: one operation with one place, three moves."""

    class job:
        ops = (type("Op", (), {"name": "op 1", "places": (type("Place", (), {"name": "vise"})(),)})(),)

    class moves:
        moves = range(3)

    rows = (slice(0, 3),)


@pytest.mark.parametrize("name", ["plate.obj", "plate", "plate.stl.gz"])
def test_ending_of_no_format_earns_f592(name: str) -> None:
    with pytest.raises(InputError) as caught:
        check_ending(Path(name))
    assert [complaint.code for complaint in caught.value.complaints] == ["F592"]
    check_ending(Path("plate.STL"))


@pytest.mark.parametrize(
    "ask",
    [
        SurfaceAsk(after_op="op 2"),
        SurfaceAsk(after_move=3),
        SurfaceAsk(place="table"),
        SurfaceAsk(after_move=1, after_op="op 1"),
    ],
)
def test_state_that_is_not_there_earns_f593(ask: SurfaceAsk) -> None:
    with pytest.raises(InputError) as caught:
        which(_Run(), ask)  # type: ignore[arg-type]
    assert [complaint.code for complaint in caught.value.complaints] == ["F593"]
    assert which(_Run(), SurfaceAsk(after_move=2, place="vise")) == (0, 0, 2)  # type: ignore[arg-type]
