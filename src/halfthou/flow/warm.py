"""Compile the kernels ahead of the first proof."""

from halfthou.base.errors import CannotAnswer


def warm() -> str:
    """Compile; raises CannotAnswer: the proof that would use the kernels is not built yet."""
    raise CannotAnswer("the proof is not built yet, so there is nothing to compile ahead")
