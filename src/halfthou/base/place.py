"""Where a word stands: file, line, column, the text itself."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A spot in a text file. Lines and columns count from 1; 0 means "not known"."""

    file: str
    line: int = 0
    column: int = 0
    word: str = ""
    text: str = ""  # the whole line, for showing it with the word underlined

    def __str__(self) -> str:
        """`file:line:column`, as compilers write it."""
        parts = [self.file]
        if self.line:
            parts.append(str(self.line))
            if self.column:
                parts.append(str(self.column))
        return ":".join(parts)
