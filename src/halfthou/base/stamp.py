"""What a result was made from: input hashes, versions, options, seed."""

import hashlib
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """Equal stamps mean equal bytes."""

    tool_version: str
    inputs: tuple[tuple[str, str], ...]  # (role, sha256 of the bytes), sorted by role
    options: tuple[tuple[str, str], ...] = ()
    seed: int | None = None

    @property
    def short(self) -> str:
        """Twelve hex digits that stand for the whole stamp."""
        text = repr((self.tool_version, self.inputs, self.options, self.seed))
        return hashlib.sha256(text.encode()).hexdigest()[:12]


def digest(data: bytes) -> str:
    """The sha256 of some bytes, as hex."""
    return hashlib.sha256(data).hexdigest()
