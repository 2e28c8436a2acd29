"""A commented job file from programs: what they use is read off them, what they leave open is marked to be filled in."""

import os
import re
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from halfthou.base.errors import Complaint, JobError, ProgramError
from halfthou.base.place import Place
from halfthou.base.units import MM_PER_INCH
from halfthou.files.job import load_shop
from halfthou.files.program import program_of
from halfthou.files.skeleton import Facts, OpFacts, Seen, ToolUse, skeleton
from halfthou.nc.interpret import interpret
from halfthou.nc.start import Start
from halfthou.nc.survey import Survey, Use, survey
from halfthou.nouns.machine import CodeEffect, Control
from halfthou.nouns.moves import Kind, MoveList
from halfthou.nouns.program import Program
from halfthou.nouns.shop import Shop

Three = tuple[float, float, float]


def write_skeleton(
    programs: Sequence[Path], *, out: Path | None, shop: Path | None, force: bool
) -> tuple[Path, tuple[str, ...]]:
    """Write the skeleton beside the first program (or to `out`); returns where, and what was found.

    A file that holds a called subprogram becomes one; every other file is an operation of its own, in order.
    Raises JobError when the file is there already (and not force) or a file cannot be read.
    """
    target = out or programs[0].parent / "job.toml"
    complaints: list[Complaint] = []
    read = [_read(path, complaints) for path in programs]
    if target.exists() and not force:
        complaints.append(
            Complaint(
                code="F903",
                place=Place(file=str(target)),
                what="The job file is there already.",
                do="Give another name with --out, or --force to write over it.",
            )
        )
    if complaints:
        raise JobError(complaints)
    known = load_shop(shop) if shop is not None else None
    control = _control(known)
    mains, told = _sorted(read, control)
    ops = []
    said = False
    units: list[int] = []
    for main, library in mains:
        found = survey(main, library, control)
        units += found.units
        said = said or bool(found.units)
        ops.append(_op(main, library, found, control, target.parent))
        told += _told(main, found)
    unit = "inch" if units and units[0] == 20 else "mm"
    facts = Facts(
        part=Path(mains[0][0].file).stem, unit=unit, unit_said=said, ops=tuple(ops),
        shop=os.path.relpath(shop, target.parent) if shop is not None else "",
        machines=tuple(machine.name for machine in known.machines) if known else (),
    )  # fmt: skip
    target.write_text(skeleton(facts), encoding="utf-8")
    return target, tuple(told)


def _read(path: Path, complaints: list[Complaint]) -> Program:
    try:
        raw = path.read_bytes()
    except OSError as error:
        raw = b"M30"
        complaints.append(
            Complaint(
                code="F001",
                place=Place(file=str(path)),
                what=f"The program cannot be read: {error.strerror}.",
                do="Check the name.",
            )
        )
    return program_of(str(path), raw, complaints)


def _control(shop: Shop | None) -> Control:
    if shop is not None and shop.machines:
        codes = {effect.word: effect for machine in shop.machines for effect in machine.control.codes}
        return replace(shop.machines[0].control, codes=tuple(codes.values()))
    return Control()


def _sorted(read: Sequence[Program], control: Control) -> tuple[list[tuple[Program, list[Program]]], list[str]]:
    """Main programs with the subprogram files each one calls."""
    mains: list[tuple[Program, list[Program]]] = []
    subs: set[int] = set()
    for k, program in enumerate(read):
        missing = set(survey(program, (), control).missing)
        for j, other in enumerate(read):
            if j != k and missing - set(survey(program, (other,), control).missing):
                subs.add(j)
    for k, program in enumerate(read):
        if k in subs and k != 0:
            continue
        library: list[Program] = []
        for j in sorted(subs - {k}):
            before = set(survey(program, library, control).missing)
            if before - set(survey(program, [*library, read[j]], control).missing):
                library.append(read[j])
        mains.append((program, library))
    return mains, []


def _op(main: Program, library: Sequence[Program], found: Survey, control: Control, folder: Path) -> OpFacts:
    programs = (main, *library)
    moves = _moves(main, library, found, control)
    low, high, depth = _extents(moves, found)
    uses = []
    for number, use in sorted(found.tools.items()):
        lengths, radii = found.tool_registers.get(number, (set(), set()))
        uses.append(
            ToolUse(
                number=number, lengths=tuple(sorted(lengths)), radii=tuple(sorted(radii)), line=use.line,
                comment=_comment(programs[use.program], use.line, number), lowest_z_mm=depth.get(number),
            )
        )  # fmt: skip
    systems = sorted(found.systems, key=lambda s: (found.systems[s].program, found.systems[s].line)) or [1]
    unknown = [*found.unknown.items(), *found.refused.items()]
    return OpFacts(
        program=os.path.relpath(main.file, folder), tools=tuple(uses), offsets=tuple(_system(s) for s in systems),
        low_mm=low, high_mm=high, unknown=tuple(_seen(word, use, programs) for word, use in unknown),
        missing=tuple(_seen(f"O{number}", use, programs) for number, use in found.missing.items()),
        subprograms=tuple(os.path.relpath(sub.file, folder) for sub in library),
    )  # fmt: skip


def _moves(main: Program, library: Sequence[Program], found: Survey, control: Control) -> MoveList | None:
    """The moves with every unknown code taken for one without motion; None when the program is refused."""
    words = [*found.unknown, *found.refused, *(f"O{n}" for n in found.missing)]
    letters = "ABCDEHIJKLPQRUVW"
    extra = tuple(CodeEffect(word=word, arguments=letters) for word in words)
    try:
        return interpret(
            main, library, replace(control, codes=(*control.codes, *extra)), Start(end_needed=False)
        ).moves  # fmt: skip
    except ProgramError:
        return None


def _extents(moves: MoveList | None, found: Survey) -> tuple[Three | None, Three | None, dict[int, float]]:
    if moves is not None:
        rows = moves.moves
        cuts = np.isin(rows["kind"], (Kind.LINE, Kind.ARC))
        if np.any(cuts):
            low, high = rows["end_mm"][cuts].min(axis=0), rows["end_mm"][cuts].max(axis=0)
            depth = {
                int(t): float(rows["end_mm"][cuts & (rows["tool"] == t), 2].min())
                for t in np.unique(rows["tool"][cuts])
            }
            return _three(low.tolist()), _three(high.tolist()), depth
    if set(found.extents) >= set("XYZ"):
        unit = MM_PER_INCH if found.units and found.units[0] == 20 else 1.0
        low_ = [found.extents[a][0] * unit for a in "XYZ"]
        return _three(low_), _three([found.extents[a][1] * unit for a in "XYZ"]), {}
    return None, None, {}


def _three(values: Sequence[float]) -> Three:
    x, y, z = values
    return float(x), float(y), float(z)


def _comment(program: Program, line: int, number: int) -> str:
    """The comment on the line of a tool call, on the line before, or the first one that begins with its T number."""
    for k in (line, line - 1):
        text = program.lines[k - 1] if 0 < k <= len(program.lines) else ""
        if "(" in text and ")" in text:
            return text[text.index("(") + 1 : text.index(")")].strip()
    listed = re.compile(rf"\(\s*T0*{number}\b([^)]*)\)")
    found = next((match for match in map(listed.search, program.lines[:400]) if match), None)
    return found.group(1).strip(" -=:") if found else ""


def _seen(word: str, use: Use, programs: Sequence[Program]) -> Seen:
    return Seen(word=word, count=use.count, line=use.line, text=programs[use.program].lines[use.line - 1].strip())


def _system(system: int) -> str:
    if system > 100:
        return f"G54.1 P{system - 100}"
    return f"G{53 + system}" if system <= 6 else f"G59.{system - 6}"


def _told(main: Program, found: Survey) -> list[str]:
    out = [f"{main.name}: tools {', '.join(f'T{n}' for n in sorted(found.tools)) or 'none'}"]
    for word, use in [*found.unknown.items(), *found.refused.items()]:
        out.append(f"  {word} is not known: {use.count} times, first in line {use.line}")
    for number, use in found.missing.items():
        out.append(f"  O{number} is called and is in none of the files: {use.count} times, first in line {use.line}")
    for _program, line, fault in found.faults:
        out.append(f"  line {line}: {fault.what}")
    return out
