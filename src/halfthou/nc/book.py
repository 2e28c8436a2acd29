"""The text of all files as routines: where each program begins and ends, its labels and its loops."""

import re
from dataclasses import dataclass, field

from halfthou.nc.fault import Fault
from halfthou.nc.words import Block, lex
from halfthou.nouns.program import Program

O_LINE = re.compile(r"^\s*(?:/\d?\s*)?(?:N\d+\s*)?[O:]\s*(\d+)(?![.\d])", re.IGNORECASE | re.ASCII)
N_LINE = re.compile(r"^\s*(?:/\d?\s*)?N\s*(\d+)", re.IGNORECASE | re.ASCII)
LOOP = re.compile(r"(DO|END)\s*([123])(?!\d)", re.IGNORECASE | re.ASCII)
COMMENT = re.compile(r"\([^)]*\)|;.*")
PERCENT = re.compile(r"^\s*%")


@dataclass(frozen=True, slots=True)
class Routine:
    """Lines first..last (0-based, last not included) of one program in one file."""

    program: int
    first: int
    last: int
    number: int = -1


@dataclass(slots=True)
class Book:
    """All files, indexed."""

    programs: tuple[Program, ...]
    strict: bool
    main: Routine = field(init=False)
    routines: dict[int, Routine] = field(default_factory=dict)
    open_percent: bool = False  # a % opens the main file and none closes it
    closed: bool = False  # a pair of % holds the main program
    blocks: dict[tuple[int, int], Block] = field(default_factory=dict)
    labels: dict[Routine, list[tuple[int, int]]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Find the programs in the files."""
        for index, program in enumerate(self.programs):
            first, last, opens, closes = self._range(program)
            if index == 0:
                self.open_percent, self.closed = opens and not closes, opens and closes
            self._split(index, first, last)

    def _range(self, program: Program) -> tuple[int, int, bool, bool]:
        lines = program.lines
        marks = [k for k, line in enumerate(lines) if PERCENT.match(line)]
        begin = next((k for k, line in enumerate(lines) if line.strip("\0 \t")), 0)
        if not marks:
            return 0, len(lines), False, False
        first = marks[0]
        if self.strict and first != begin:
            return 0, first, False, True  # a % later ends the text
        if len(marks) == 1 and not any(line.strip("\0 \t") for line in lines[first + 1 :]):
            return (0, first, False, True) if first != begin else (first + 1, len(lines), True, False)
        if len(marks) == 1:
            return first + 1, len(lines), True, False
        return first + 1, marks[1], True, True

    def _split(self, index: int, first: int, last: int) -> None:
        lines = self.programs[index].lines
        heads: list[tuple[int, int]] = []
        if not self.strict:
            for k in range(first, last):
                line = lines[k]
                if "O" in line or "o" in line or ":" in line:
                    match = O_LINE.match(line)
                    if match:
                        heads.append((k, int(match.group(1))))
        whole_first = first
        if index == 0:
            end = heads[1][0] if len(heads) > 1 else last
            if heads and self._something(index, first, heads[0][0]):
                end = heads[0][0]  # the main program has no number, the first O starts a subprogram
            self.main = Routine(0, first, end, heads[0][1] if heads and end != heads[0][0] else -1)
        for at, (k, number) in enumerate(heads):
            end = heads[at + 1][0] if at + 1 < len(heads) else last
            start = whole_first if at == 0 and index == 0 and self.main.number == number else k
            self.routines.setdefault(number, Routine(index, start, end, number))
        if index and not heads:
            digits = re.search(r"(\d+)", self.programs[index].name)
            if digits:
                self.routines.setdefault(int(digits.group(1)), Routine(index, first, last, int(digits.group(1))))

    def _something(self, index: int, first: int, last: int) -> bool:
        """Do real blocks stand before the first O number?"""
        for line in self.programs[index].lines[first:last]:
            bare = COMMENT.sub("", line).strip("\0 \t")
            if bare:
                return True
        return False

    def block(self, program: int, k: int, keep: bool) -> Block:
        """The lexed block of a line (0-based); kept when it may run again."""
        known = self.blocks.get((program, k))
        if known is not None:
            return known
        block = lex(self.programs[program].lines[k], k + 1, strict=self.strict)
        if keep:
            self.blocks[(program, k)] = block
        return block

    def find_label(self, routine: Routine, number: int, after: int) -> int:
        """Line of N number: forward from `after`, then from the top; raises Fault."""
        if routine not in self.labels:
            found = []
            lines = self.programs[routine.program].lines
            for k in range(routine.first, routine.last):
                match = N_LINE.match(lines[k])
                if match:
                    found.append((k, int(match.group(1))))
            self.labels[routine] = found
        hits = [k for k, n in self.labels[routine] if n == number]
        if not hits:
            raise Fault("label-not-found", f"there is no N{number} in this program", word=f"{number}")
        return next((k for k in hits if k > after), hits[0])

    def loop_end(self, routine: Routine, start: int, number: int) -> int:
        """Line of the END that closes the DO at `start`; raises Fault when loops do not nest."""
        lines = self.programs[routine.program].lines
        stack: list[int] = []
        for k in range(start, routine.last):
            for match in LOOP.finditer(COMMENT.sub("", lines[k])):
                n = int(match.group(2))
                if match.group(1).upper() == "DO":
                    if n in stack:
                        raise Fault("unmatched-loop", f"DO{n} inside DO{n}", word=f"DO{n}")
                    stack.append(n)
                elif not stack or stack[-1] != n:
                    raise Fault(
                        "unmatched-loop", f"END{n} closes no loop that is open (or loops cross)", word=f"DO{number}"
                    )
                else:
                    stack.pop()
                    if not stack:
                        return k
        raise Fault("unmatched-loop", f"DO{number} has no END{number}", word=f"DO{number}")
