"""Where a number came from: citation, page, range it holds in."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """A citation. `memory` says that the number was recalled, not seen in the source."""

    key: str
    cite: str
    where: str = ""
    holds: str = ""
    memory: bool = False
