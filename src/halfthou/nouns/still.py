"""Whether an earlier proof still holds for the files as they are now."""

from dataclasses import dataclass

from halfthou.base.stamp import Stamp


@dataclass(frozen=True, slots=True, kw_only=True)
class InputChange:
    """One input whose bytes differ. now, before: sha256, "" = there is none."""

    role: str
    now: str
    before: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Still:
    """Answer to: is this earlier proof out of date, and why? stamp: of the earlier proof."""

    stamp: Stamp
    file: str
    job: str
    changes: tuple[InputChange, ...]
    inputs: int
    tool_version: str
    schema: str = "halfthou.proof/1"  # of the earlier answer

    @property
    def holds(self) -> bool:
        """Whether every input and the version of this tool are those the proof was made with."""
        return not self.changes and self.tool_version == self.stamp.tool_version
