"""The error family: what is wrong, why, and what to do about it.

HalfthouError
├── InputError            a file cannot be read as what it should be   exit code 2
│   ├── ShopError         the shop file
│   ├── JobError          the job file, tool lists, tables as found
│   ├── ProgramError      the NC program
│   ├── PartError         the design or a mesh
│   └── ReadingError      measured values
├── CannotAnswer          the question was understood but has no answer  exit code 3
├── Cancelled             the user stopped it                            exit code 130
└── OurFault              a promise of ours was broken                   exit code 4

A crash found in the program is not an exception: it is a `Finding`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from halfthou.base.place import Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Complaint:
    """One thing wrong with an input: where, what is wrong, why, what to do."""

    code: str
    place: Place
    what: str
    why: str = ""
    do: str = ""
    kind: str = ""  # the closed-list word of the language reference, for program errors

    def __str__(self) -> str:
        """One line, as a compiler prints it."""
        word = f" [{self.place.word}]" if self.place.word else ""
        tail = " ".join(part for part in (self.what, self.why, self.do) if part)
        return f"{self.place}: {self.code}{word} {tail}"


class HalfthouError(Exception):
    """Anything this tool raises on purpose."""

    exit_code = 4


class InputError(HalfthouError):
    """A file cannot be used as it is; carries every complaint at once."""

    exit_code = 2

    def __init__(self, complaints: Sequence[Complaint]) -> None:
        """Keep the complaints; the text is one line for each."""
        self.complaints: tuple[Complaint, ...] = tuple(complaints)
        super().__init__("\n".join(str(complaint) for complaint in self.complaints))


class ShopError(InputError):
    """The shop file."""


class JobError(InputError):
    """The job file, a tool list, or a table as found."""


class ProgramError(InputError):
    """The NC program."""


class PartError(InputError):
    """The design or another mesh."""


class ReadingError(InputError):
    """Measured values."""


class CannotAnswer(HalfthouError):
    """The question was understood, but there is no honest answer to it."""

    exit_code = 3


class Cancelled(HalfthouError):
    """The user stopped the work; nothing was lost."""

    exit_code = 130


class OurFault(HalfthouError):
    """A promise of ours was broken: please report it."""

    exit_code = 4
