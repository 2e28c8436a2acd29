"""Progress and cancelling of long work."""

from collections.abc import Callable
from dataclasses import dataclass, field

from halfthou.base.errors import Cancelled


def _silent(step: str, done: int, total: int) -> None:
    """Tell nobody."""


def _never() -> bool:
    return False


@dataclass(frozen=True, slots=True)
class Watch:
    """Handed down every long call: `tell` says how far it is, `asked_to_stop` whether to give up."""

    tell: Callable[[str, int, int], None] = field(default=_silent)
    asked_to_stop: Callable[[], bool] = field(default=_never)

    def step(self, name: str, done: int, total: int) -> None:
        """Report progress; raises `Cancelled` if the user asked to stop."""
        if self.asked_to_stop():
            raise Cancelled(f"stopped by the user during: {name} ({done} of {total})")
        self.tell(name, done, total)


QUIET = Watch()
