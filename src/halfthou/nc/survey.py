"""What a program uses, without running it: tools, registers, offsets, units, codes, calls; all unknown codes at once."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from halfthou.base.errors import Complaint
from halfthou.nc.block import unknown_g, unknown_m
from halfthou.nc.book import Book
from halfthou.nc.fault import Fault
from halfthou.nc.tables import M_MILL, M_STRICT, MILL_GROUPS, REFUSED, STRICT_GROUPS, SYSTEMS, WITHOUT_EFFECT, g_name
from halfthou.nc.words import PLAIN, Block, lex
from halfthou.nouns.machine import Control
from halfthou.nouns.program import Program

AXES = "XYZ"
K = TypeVar("K", int, str)


@dataclass(frozen=True, slots=True, kw_only=True)
class Use:
    """How often something is used and where first (program index, line)."""

    count: int
    program: int
    line: int


@dataclass(slots=True, kw_only=True)
class Survey:
    """Everything found by reading the words only. extents: programmed numbers per axis letter, program units."""

    units: list[int] = field(default_factory=list)  # 20, 21 in order of appearance
    tools: dict[int, Use] = field(default_factory=dict)
    lengths: dict[int, Use] = field(default_factory=dict)
    radii: dict[int, Use] = field(default_factory=dict)
    tool_registers: dict[int, tuple[set[int], set[int]]] = field(default_factory=dict)
    systems: dict[int, Use] = field(default_factory=dict)
    unknown: dict[str, Use] = field(default_factory=dict)
    refused: dict[str, Use] = field(default_factory=dict)
    missing: dict[int, Use] = field(default_factory=dict)
    extents: dict[str, tuple[float, float]] = field(default_factory=dict)
    probes: bool = False
    faults: list[tuple[int, int, Fault]] = field(default_factory=list)


def survey(program: Program, library: Sequence[Program], control: Control) -> Survey:
    """Read every line that can run (all files, up to the end of each text)."""
    programs = (program, *library)
    strict = control.profile == "strict"
    out = Survey()
    try:
        book = Book(programs, strict)
    except Fault as fault:
        out.faults.append((0, 1, fault))
        return out
    routines = {book.main, *book.routines.values()}
    seen: set[tuple[int, int]] = set()
    for routine in sorted(routines, key=lambda r: (r.program, r.first)):
        tool = 0
        called = 0
        for k in range(routine.first, routine.last):
            if (routine.program, k) in seen:
                continue
            seen.add((routine.program, k))
            text = programs[routine.program].lines[k]
            if not text.strip(" \t\0"):
                continue
            plain = PLAIN.fullmatch(text)
            if plain is not None:
                for axis, number in zip(AXES, plain.groups()[1:4], strict=True):
                    if number is not None:
                        low, high = out.extents.get(axis, (float(number), float(number)))
                        out.extents[axis] = (min(low, float(number)), max(high, float(number)))
                continue
            try:
                block = lex(text, k + 1, strict=strict)
            except Fault as fault:
                out.faults.append((routine.program, k + 1, fault))
                continue
            called, tool = _block(out, block, routine.program, control, book, called, tool)
            if any(w.letter == "M" and w.literal in (2, 30) for w in block.words):
                break
    return out


def _add(table: dict[K, Use], key: K, program: int, line: int) -> None:
    old = table.get(key)
    first = (old.program, old.line) if old else (program, line)
    table[key] = Use(count=old.count + 1 if old else 1, program=first[0], line=first[1])


def _block(
    out: Survey, block: Block, program: int, control: Control, book: Book, called: int, tool: int
) -> tuple[int, int]:
    strict = control.profile == "strict"
    groups = STRICT_GROUPS if strict else MILL_GROUPS
    known_m = M_STRICT if strict else M_MILL
    declared = {effect.word for effect in control.codes}
    line = block.line
    letters = {w.letter: w for w in block.words}
    codes = [round(w.literal * 10) for w in block.words if w.letter == "G" and w.literal is not None and w.literal >= 0]
    ms = [round(w.literal) for w in block.words if w.letter == "M" and w.literal is not None and w.literal >= 0]
    for code in codes:
        if code in (200, 210) and code // 10 not in out.units:
            out.units.append(code // 10)
        if code in SYSTEMS:
            _add(out.systems, SYSTEMS[code], program, line)
        if code == 541 and "P" in letters and letters["P"].literal is not None:
            _add(out.systems, 100 + round(letters["P"].literal), program, line)
        out.probes = out.probes or code in (310, 382, 383, 384, 385)
        if g_name(code) not in declared and code not in groups and not (code in WITHOUT_EFFECT and not strict):
            unread = out.refused if code in REFUSED and not strict else out.unknown
            _add(unread, g_name(code), program, line)
    for code in ms:
        if f"M{code}" not in declared and code not in known_m:
            _add(out.unknown, f"M{code}", program, line)
    macro = 650 in codes
    if (98 in ms or macro) and not strict and "P" in letters and letters["P"].literal is not None:
        _call(out, round(letters["P"].literal), program, line, book, declared, macro, "L" in letters)
    if macro:
        return called, tool
    if "T" in letters and letters["T"].literal is not None:
        called = round(letters["T"].literal)
        if called:
            _add(out.tools, called, program, line)
    if 6 in ms:
        tool = called
    for letter, table in (("H", out.lengths), ("D", out.radii)):
        if letter in letters and letters[letter].literal is not None:
            slot = round(letters[letter].literal or 0)
            if slot > 0:
                _add(table, slot, program, line)
                pair = out.tool_registers.setdefault(tool, (set(), set()))
                pair[0 if letter == "H" else 1].add(slot)
    if not {530, 280, 300, 100, 920, 40} & set(codes):
        for axis in AXES:
            word = letters.get(axis)
            if word is not None and word.literal is not None:
                low, high = out.extents.get(axis, (word.literal, word.literal))
                out.extents[axis] = (min(low, word.literal), max(high, word.literal))
    return called, tool


def _call(
    out: Survey, number: int, program: int, line: int, book: Book, declared: set[str], macro: bool, counted: bool
) -> None:
    if f"O{number}" in declared or number in book.routines:
        return
    if not macro and not counted and number >= 10000 and number % 10000 in book.routines:
        return
    _add(out.missing, number, program, line)


def unknowns(found: Survey, programs: Sequence[Program]) -> list[Complaint]:
    """One complaint an unknown code or missing subprogram: how often, and the first block."""
    out: list[Complaint] = []
    for name, use in [*found.unknown.items(), *found.refused.items()]:
        number = re.sub(r"[^0-9.]", "", name)
        fault = (
            unknown_m(int(number)) if name[0] == "M" else unknown_g(round(float(number) * 10), name in found.unknown)
        )
        if name[0] == "G" and name in found.refused:
            fault = unknown_g(round(float(number) * 10), False)
        out.append(_times(fault, use, programs))
    for call, use in found.missing.items():
        fault = Fault("subprogram-not-found", f"O{call} is in none of the files", word=f"P{call}",
                      why="its moves are unknown, so it is never skipped",
                      do="add its file under subprograms, or declare its effect ([[machine.code]])")  # fmt: skip
        out.append(_times(fault, use, programs))
    return sorted(out, key=lambda c: (c.place.file, c.place.line))


def _times(fault: Fault, use: Use, programs: Sequence[Program]) -> Complaint:
    if use.count > 1:
        fault.what += f" (used {use.count} times, here first)"
    return fault.complaint(programs[use.program], use.line)
