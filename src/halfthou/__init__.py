"""halfthou: from "the program ran once" to "released for unattended batches, in tolerance, with a record"."""

from typing import Any

__all__ = ["open"]


def __getattr__(name: str) -> Any:
    """Load the Python face only when it is asked for, so that importing the package costs nothing."""
    if name == "open":
        from halfthou.api.workspace import open as open_job

        return open_job
    raise AttributeError(f"module 'halfthou' has no attribute {name!r}")
