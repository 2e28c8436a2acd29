"""Program text as lines and words that know their place."""

from dataclasses import dataclass, field

from halfthou.base.place import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Program:
    """One NC program file: its bytes, kept as they were."""

    name: str  # short name shown to people
    file: str
    sha256: str
    raw: bytes
    encoding: str = "utf-8"
    lines: tuple[str, ...] = field(repr=False)  # without line ends; kept so that any place can show its line

    def place(self, line: int, column: int = 0, word: str = "") -> Place:
        """The place of a word in this program, with the text of its line."""
        text = self.lines[line - 1] if 0 < line <= len(self.lines) else ""
        return Place(file=self.file, line=line, column=column, word=word, text=text)
