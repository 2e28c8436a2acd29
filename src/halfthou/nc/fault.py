"""A refusal while a program is read: raised inside, handed out as one complaint."""

from halfthou.base.errors import Complaint
from halfthou.nc.codes import REFUSAL
from halfthou.nouns.program import Program


def sentence(text: str) -> str:
    """A note as a sentence: first letter large, a full stop at the end."""
    if not text:
        return ""
    return text[0].upper() + text[1:] + ("" if text[-1] in ".?!" else ".")


class Fault(Exception):
    """What is wrong with a block. `kind` is the closed-list word; line and program are filled in where they are known."""

    def __init__(self, kind: str, what: str, *, why: str = "", do: str = "", word: str = "", column: int = 0) -> None:
        """Keep the parts."""
        super().__init__(f"{kind}: {what}")
        self.kind, self.what, self.why, self.do = kind, what, why, do
        self.word, self.column = word, column
        self.line = 0

    def complaint(self, program: Program, line: int) -> Complaint:
        """The complaint at this line of this program."""
        column = self.column
        if not column and self.word and 0 < line <= len(program.lines):
            column = program.lines[line - 1].upper().find(self.word.upper()) + 1
        place = program.place(line, column, self.word)
        return Complaint(
            code=REFUSAL[self.kind],
            place=place,
            what=sentence(self.what),
            why=sentence(self.why),
            do=sentence(self.do),
            kind=self.kind,
        )
