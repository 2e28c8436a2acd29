"""Numbers of single words changed in the text of a program, all other bytes exactly as they were.

Promise: `edited` with no edits gives the bytes of the file; with edits only the characters of the named numbers differ.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

from halfthou.nc.fault import Fault
from halfthou.nc.words import lex, strip_comments
from halfthou.nouns.program import Program

ENDS = re.compile("(\r\n|\r|\n)")
BOM8, BOM16 = b"\xef\xbb\xbf", {b"\xff\xfe": "utf-16-le", b"\xfe\xff": "utf-16-be"}
MACRO = 65
NUMBER = re.compile(r"([+-]?)(\d*)(?:(\.)(\d*))?")
COARSE_RATIO = 0.01
"""A number with a point gets further decimals when the ones it has would miss its new value by more than this."""
MOST_DECIMALS = 4


@dataclass(frozen=True, slots=True)
class Spot:
    """The number of a word: 1-based line and column of its letter, 0-based characters [start, end) of the number in its line."""

    line: int
    column: int
    letter: str
    start: int
    end: int
    text: str  # the number as written
    value: float
    whole: bool  # its characters stand together; False: a space or comment lies inside
    argument: bool  # of a macro call, not a word of its own


@dataclass(frozen=True, slots=True)
class Edit:
    """Characters [start, end) of a line (1-based) become `text`."""

    line: int
    start: int
    end: int
    text: str


def spots(program: Program, letters: str, *, strict: bool) -> tuple[Spot, ...]:
    """Every word of these letters whose value is a plain number. Lines that cannot be read are left out."""
    found: list[Spot] = []
    for k, line in enumerate(program.lines):
        upper = line.upper()
        if not any(letter in upper for letter in letters):
            continue
        try:
            block = lex(line, k + 1, strict=strict)
            text, columns, _ = strip_comments(line, strict=strict)
        except Fault:
            continue
        macro = any(word.letter == "G" and word.literal == MACRO for word in block.words)
        for word in block.words:
            if word.letter not in letters or word.literal is None:
                continue
            at = columns.index(word.column - 1)
            start, end = columns[at + 1], columns[at + len(word.text) - 1] + 1
            number = text[at + 1 : at + len(word.text)]
            found.append(
                Spot(
                    k + 1, word.column, word.letter, start, end, number, float(word.literal),
                    end - start == len(number), macro,
                )
            )  # fmt: skip
    return tuple(found)


def edited(program: Program, edits: Sequence[Edit]) -> bytes:
    """The bytes of the file with some characters replaced; coding, marks and line ends stay."""
    raw, head, coding = program.raw, b"", program.encoding
    if coding == "utf-8" and raw.startswith(BOM8):
        head = BOM8
    elif coding == "utf-16":
        head, coding = raw[:2], BOM16[raw[:2]]
    pieces = ENDS.split(raw[len(head) :].decode(coding))
    for edit in sorted(edits, key=lambda one: (one.line, -one.start)):
        line = pieces[2 * (edit.line - 1)]
        pieces[2 * (edit.line - 1)] = line[: edit.start] + edit.text + line[edit.end :]
    return head + "".join(pieces).encode(coding)


def edited_lines(program: Program, edits: Sequence[Edit]) -> tuple[str, ...]:
    """The same for the lines alone, as the interpreter reads them."""
    lines = list(program.lines)
    for edit in sorted(edits, key=lambda one: (one.line, -one.start)):
        line = lines[edit.line - 1]
        lines[edit.line - 1] = line[: edit.start] + edit.text + line[edit.end :]
    return tuple(lines)


def like(old: str, value: float) -> str:
    """A number ≥ 0 in the style of `old`: its sign, point, decimals, leading zeros; never above `value`.

    A number with a point whose decimals would miss the value by more than 1 % gets further ones, up to four.
    """
    match = NUMBER.fullmatch(old)
    if match is None:
        raise ValueError(f"{old!r} is not a plain number")
    sign, front, point, back = match.group(1), match.group(2), match.group(3) or "", match.group(4) or ""
    digits = len(back)
    number = _down(value, digits)
    while point and digits < MOST_DECIMALS and value > 0 and number < value * (1 - COARSE_RATIO):
        digits += 1
        number = _down(value, digits)
    text = f"{number:.{digits}f}"
    whole, _, decimals = text.partition(".")
    if not front and whole == "0" and decimals:
        whole = ""
    elif len(front) > 1 and front.startswith("0"):
        whole = whole.zfill(len(front))
    return f"{sign}{whole}{point}{decimals}"


def _down(value: float, digits: int) -> float:
    scale = 10.0**digits
    return math.floor(value * scale * (1 + 1e-12) + 1e-9) / scale
