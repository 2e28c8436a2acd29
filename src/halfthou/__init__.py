"""halfthou: from "the program ran once" to "released for unattended batches, in tolerance, with a record"."""

from typing import Any

__all__ = ["open", "prove_many"]


def __getattr__(name: str) -> Any:
    """Load the Python face only when it is asked for, so that importing the package costs nothing."""
    if name == "open":
        from halfthou.api.workspace import open as open_job

        return open_job
    if name == "prove_many":
        from halfthou.api.workspace import prove_many

        return prove_many
    raise AttributeError(f"module 'halfthou' has no attribute {name!r}")
