"""What a block says once its values are known: codes by group, letters with values, and the checks that need no state.

Source: NISTIR 6556, 3.3.5, 3.4; mill differences are common practice, from memory.
"""

from dataclasses import dataclass, field

from halfthou.nc.expr import NEAR_INTEGER, Read, Rules, evaluate, whole
from halfthou.nc.fault import Fault
from halfthou.nc.tables import (
    CYCLES,
    LENGTHS,
    M_GROUPS,
    M_MILL,
    M_STRICT,
    MILL_GROUPS,
    PROBES,
    REFUSED,
    ROTARY,
    STRICT_GROUPS,
    WITHOUT_EFFECT,
    g_name,
)  # fmt: skip
from halfthou.nc.words import Block, Word
from halfthou.nouns.machine import CodeEffect, Control

MOST_M_WORDS = 4


@dataclass(slots=True)
class Said:
    """A block with values. values: program units; letters taken by something in the block are in `used`."""

    line: int
    g: dict[str, int] = field(default_factory=dict)  # group -> code
    m: list[int] = field(default_factory=list)
    values: dict[str, float] = field(default_factory=dict)
    words: dict[str, Word] = field(default_factory=dict)
    used: set[str] = field(default_factory=set)
    declared: list[CodeEffect] = field(default_factory=list)
    ignored: list[str] = field(default_factory=list)  # codes without effect
    empty: list[str] = field(default_factory=list)  # words whose variable is empty
    unit_mm: float = 1.0
    also_g53: bool = False
    words_read: int = 0

    def has(self, letter: str) -> bool:
        """Is the letter on the block, and not taken yet?"""
        return letter in self.values and letter not in self.used

    def take(self, letter: str) -> float | None:
        """The value of a letter, marked as used."""
        if letter not in self.values:
            return None
        self.used.add(letter)
        return self.values[letter]

    def need(self, letter: str, who: str) -> float:
        """As `take`, but the word must be there."""
        value = self.take(letter)
        if value is None:
            raise Fault("missing-word", f"{who} needs {letter}", word=who, do=f"add {letter}")
        return value

    def length(self, letter: str) -> float | None:
        """A length in mm, marked as used."""
        value = self.take(letter)
        return None if value is None else value * self.unit_mm

    def integer(self, letter: str) -> int | None:
        """A whole number, marked as used."""
        value = self.take(letter)
        return None if value is None else whole(value, letter)

    def axes(self, letters: str = "XYZ") -> list[str]:
        """Axis letters on the block that nothing has taken yet."""
        return [letter for letter in letters if self.has(letter)]

    def text(self, letter: str) -> str:
        """The word as written."""
        return self.words[letter].text if letter in self.words else letter


def say(block: Block, control: Control, read: Read, rules: Rules, unit_was_mm: float) -> Said:
    """Work out the values and check repeats, groups and the M count. Raises Fault."""
    said = Said(line=block.line, words_read=len(block.words))
    g_words: list[tuple[int, Word]] = []
    for word in block.words:
        value = word.literal if word.literal is not None else evaluate(word.node, read, rules)
        if value is None:
            said.empty.append(word.letter)
            continue
        if word.letter == "G":
            g_words.append((_g_code(value, word), word))
        elif word.letter == "M":
            if value < 0:
                raise Fault("negative-value", "M codes are not negative", word=word.text, column=word.column)
            said.m.append(whole(value, "an M code"))
        elif word.letter in said.values:
            raise Fault(
                "repeated-word", f"{word.letter} stands twice in this block", word=word.text, column=word.column
            )
        else:
            said.values[word.letter] = value
            said.words[word.letter] = word
    _groups(said, g_words, control)
    _m_groups(said, control)
    said.unit_mm = {200: 25.4, 210: 1.0}.get(said.g.get("units", 0), unit_was_mm)
    if control.decimal_mode == "least_increment":
        _increments(said, control)
    return said


def _g_code(value: float, word: Word) -> int:
    if value < 0:
        raise Fault("negative-value", "G codes are not negative", word=word.text, column=word.column)
    tenfold = value * 10
    if abs(tenfold - round(tenfold)) > NEAR_INTEGER:
        raise Fault("not-an-integer", f"G{value:g} has too many decimals", word=word.text, column=word.column)
    return round(tenfold)


def _declared(name: str, control: Control) -> CodeEffect | None:
    return next((effect for effect in control.codes if effect.word == name), None)


def _groups(said: Said, g_words: list[tuple[int, Word]], control: Control) -> None:
    strict = control.profile == "strict"
    groups = STRICT_GROUPS if strict else MILL_GROUPS
    for code, word in g_words:
        effect = _declared(g_name(code), control)
        if effect is not None:
            said.declared.append(effect)
            continue
        if code not in groups:
            if not strict and code in WITHOUT_EFFECT:
                said.ignored.append(g_name(code))
                continue
            raise unknown_g(code, strict, word)
        group = groups[code]
        if code == 530 and not strict:
            other = said.g.get("one-block", 0)
            if said.also_g53 or other in (100, 280, 300, 920, 921, 922, 923):
                raise _conflict(code, other or 530, word)
            said.also_g53 = True
            continue
        if said.also_g53 and group == "one-block" and code in (100, 280, 300, 920, 921, 922, 923):
            raise _conflict(code, 530, word)
        if group in said.g:
            raise _conflict(code, said.g[group], word)
        said.g[group] = code
        if code == 530:
            said.also_g53 = True
    cycle, motion = said.g.get("cycle", 0), said.g.get("motion", -1)
    if cycle in CYCLES and motion >= 0:
        raise Fault("modal-group-conflict", f"{g_name(motion)} and {g_name(cycle)} in one block", word=g_name(cycle))


def unknown_g(code: int, strict: bool, word: Word | None = None) -> Fault:
    """The refusal of a G code that is not read."""
    name, column = g_name(code), word.column if word else 0
    shown = word.text if word else name
    declare = "declare its effect in the machine file ([[machine.code]])"
    if not strict and code in REFUSED:
        return Fault(
            "unsupported-g-code", f"{name} usually means: {REFUSED[code]}; it is not read here",
            do=f"write the moves out, or {declare}", word=shown, column=column,
        )  # fmt: skip
    return Fault("unknown-g-code", f"{name} is not known", do=declare, word=shown, column=column)


def _conflict(code: int, other: int, word: Word) -> Fault:
    if code == other:
        what = f"{g_name(code)} stands twice in this block"
    else:
        what = f"{g_name(other)} and {g_name(code)} are of one group"
    return Fault("modal-group-conflict", what, do="keep one of them", word=word.text, column=word.column)


def _m_groups(said: Said, control: Control) -> None:
    strict = control.profile == "strict"
    known = M_STRICT if strict else M_MILL
    seen: dict[str, int] = {}
    kept: list[int] = []
    for code in said.m:
        effect = _declared(f"M{code}", control)
        if effect is not None:
            said.declared.append(effect)
            continue
        if code not in known:
            raise unknown_m(code)
        group = M_GROUPS.get(code, "coolant" if strict and code in (7, 8, 9) else f"M{code}")
        if group in seen:
            other = seen[group]
            raise Fault("modal-group-conflict", f"M{other} and M{code} are of one group", word=f"M{code}")
        seen[group] = code
        kept.append(code)
    if 9 in kept and (7 in kept or 8 in kept):
        raise Fault("modal-group-conflict", "coolant on and off in one block", word="M9")
    if strict and len(said.m) > MOST_M_WORDS:
        raise Fault("too-many-m-words", f"{len(said.m)} M words in one block, at most {MOST_M_WORDS}", word="M")
    said.m = kept


def unknown_m(code: int) -> Fault:
    """The refusal of an M code that nobody declared."""
    return Fault(
        "unknown-m-code", f"M{code} is not known", word=f"M{code}",
        why="what it moves or switches would be left out of the proof",
        do="declare its effect in the machine file ([[machine.code]])",
    )  # fmt: skip


def _increments(said: Said, control: Control) -> None:
    """A length without point counts least increments (language reference 2.5)."""
    mm = said.unit_mm == 1.0
    step = control.least_increment_mm if mm else control.least_increment_inch
    for letter, word in said.words.items():
        if word.literal is not None and not word.point and (letter in LENGTHS or letter in ROTARY):
            said.values[letter] = word.literal * (0.001 if letter in ROTARY else step)


def needs_axes(code: int) -> bool:
    """Does a one-block code use the axis words?"""
    return code in (100, 280, 300, 920, 520)


def is_probe(code: int) -> bool:
    """One of the probe moves."""
    return code in PROBES
