"""What the program names, on both machines: tools, registers, work offsets, stops, codes; and the offsets to prove with."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from halfthou.base.place import Place
from halfthou.base.units import Display
from halfthou.nc.survey import Use, survey
from halfthou.nouns.answers import Window
from halfthou.nouns.job import Job, Offset
from halfthou.nouns.machine import CodeEffect, Machine
from halfthou.nouns.moves import STOP_M0, STOP_M1, Kind
from halfthou.nouns.other_machine import Mapped, Placed
from halfthou.nouns.program import Program
from halfthou.nouns.tool import Register, Tool
from halfthou.prove.other_machine_fit import Ran, used_tools
from halfthou.prove.place import zero_offset_mm
from halfthou.prove.reach import widest, windows_of
from halfthou.prove.revision_tables import fields, system_name

BY_HAND = "by hand"


def tools_mapped(job: Job, ran: Sequence[Ran], there: Machine, show: Display) -> tuple[Mapped, ...]:
    """Every tool the program calls: its position on either machine, a free one where its own does not exist there."""
    magazine = there.magazine
    wide = {
        tool.number: magazine.most_diameter_mm is not None and widest(tool) > magazine.most_diameter_mm
        for tool in job.tools
    }
    taken = {tool.number for tool in job.tools if not magazine.positions or tool.number <= magazine.positions}
    out: list[Mapped] = []
    for tool in used_tools(job, ran):
        why = _too_much(tool, there, show)
        name = f"T{tool.number} {tool.name}".strip()
        fits: bool | None = True
        now, note = f"position {tool.number}", ""
        if why:
            fits, now, note = False, BY_HAND, f"{why}; change it by hand at a stop, or use another tool or holder"
        elif not magazine.positions:
            fits, now, note = None, "magazine not stated", ""
        elif tool.number > magazine.positions:
            free = next((n for n in range(1, magazine.positions + 1) if _free(n, wide[tool.number], taken, wide)), 0)
            fits = False
            if free:
                taken.add(free)
                wide[free] = wide[tool.number]
                now, note = (
                    f"position {free}",
                    f"write T{free} M6 for T{tool.number} M6, and H{free}, D{free} to go with it",
                )
            else:
                now, note = BY_HAND, f"no position is free ({magazine.positions} there): change it by hand at a stop"
        elif wide[tool.number] and {tool.number - 1, tool.number + 1} & taken:
            beside = sorted({tool.number - 1, tool.number + 1} & taken)
            fits, note = False, f"wide: positions {', '.join(map(str, beside))} beside it must be empty there"
        out.append(
            Mapped(kind="tool", what=name, here=f"position {tool.number}", there=now, fits=fits, note=note,
                   place=_first(ran, "tool", tool.number))
        )  # fmt: skip
    return tuple(out)


def _too_much(tool: Tool, there: Machine, show: Display) -> str:
    """Why a tool does not go into the magazine at all, "" if it does or nothing is stated."""
    magazine = there.magazine
    alone = (
        magazine.most_diameter_alone_mm if magazine.most_diameter_alone_mm is not None else magazine.most_diameter_mm
    )
    said = []
    if alone is not None and widest(tool) > alone:
        said.append(f"{show.length(widest(tool))} wide, the magazine takes {show.length(alone)}")
    if magazine.most_length_mm is not None and tool.gauge_length_mm > magazine.most_length_mm:
        said.append(
            f"{show.length(tool.gauge_length_mm)} long, the magazine takes {show.length(magazine.most_length_mm)}"
        )
    if magazine.most_mass_kg is not None and tool.mass_kg is not None and tool.mass_kg > magazine.most_mass_kg:
        said.append(f"{tool.mass_kg:.1f} kg, the magazine takes {magazine.most_mass_kg:.1f} kg")
    return "; ".join(said)


def _free(position: int, wide: bool, taken: set[int], wides: dict[int, bool]) -> bool:
    beside = {position - 1, position + 1}
    if position in taken or any(wides.get(n, False) and n in taken for n in beside):
        return False
    return not (wide and beside & taken)


def _first(ran: Sequence[Ran], column: str, value: int) -> Place:
    """The first block whose moves carry this value."""
    for op in ran:
        rows = np.flatnonzero(op.moves.moves[column] == value)
        if len(rows):
            return op.moves.place(int(rows[0]))
    return Place(file="")


def registers_mapped(
    job: Job, ran: Sequence[Ran], there: Machine, planned_there: Sequence[Register], show: Display
) -> tuple[Mapped, ...]:  # fmt: skip
    """Length and radius registers the program uses: the number typed on either machine, in the meaning each control has."""
    here = job.machine
    ours, theirs = {r.slot: r for r in job.registers}, {r.slot: r for r in planned_there}
    out: list[Mapped] = []
    for column, kind, letter in (("length_slot", "length register", "H"), ("radius_slot", "radius register", "D")):
        slots = sorted({int(s) for op in ran for s in np.unique(op.moves.moves[column])} - {0, -1})
        for slot in slots:
            a, b = ours.get(slot), theirs.get(slot)
            known = slot <= there.control.register_slots
            if letter == "H":
                words = (_length(a, show), _length(b, show))
                other = here.control.length_method != there.control.length_method
                note = f"lengths count from {_method(here)} here, from {_method(there)} there" if other else ""
            else:
                words = (_radius(a, here, show), _radius(b, there, show))
                other = here.control.radius_register != there.control.radius_register
                note = f"D holds the {_meaning(here)} here, the {_meaning(there)} there" if other else ""
            if not known:
                note = f"there are {there.control.register_slots} registers there: use another number in the program"
            out.append(
                Mapped(kind=kind, what=f"{letter}{slot}", here=words[0], there=words[1] if known else "not there",
                       fits=known, note=note, place=_first(ran, column, slot))
            )  # fmt: skip
    return tuple(out)


def _length(register: Register | None, show: Display) -> str:
    if register is None or register.length_mm is None:
        return "to be measured"
    return show.length(register.length_mm + register.length_wear_mm)


def _radius(register: Register | None, machine: Machine, show: Display) -> str:
    if register is None or register.radius_mm is None:
        return "to be entered"
    meaning = machine.control.radius_register
    if meaning == "wear":
        return f"{show.length(register.radius_wear_mm)} (wear)"
    if meaning == "radius":
        return f"{show.length(register.radius_mm + register.radius_wear_mm)} (radius)"
    return f"{show.length(2 * (register.radius_mm + register.radius_wear_mm))} (diameter)"


def _method(machine: Machine) -> str:
    return (machine.control.length_method or "not stated").replace("-", " ")


def _meaning(machine: Machine) -> str:
    return machine.control.radius_register or "not stated"


def offsets_mapped(job: Job, ran: Sequence[Ran], there: Machine, show: Display) -> tuple[Mapped, ...]:
    """Work offsets the program uses, and whether the other control has them."""
    out: list[Mapped] = []
    extra = there.control.extra_offsets
    used = sorted({int(s) for op in ran for s in op.moves.frames["system"]})
    free = [n for n in range(1, 10) if n not in used]
    for system in used:
        fits = system <= 9 or system - 100 <= extra
        note = ""
        if not fits:
            instead = f"use {system_name(free.pop(0))} instead" if free else "no other is free: split the program"
            note = f"the control there has {extra} further offsets; {instead}"
        out.append(
            Mapped(kind="work offset", what=system_name(system), here="used", there="there" if fits else "not there", fits=fits,
                   note=note or "its numbers are those of one machine: find them anew at set-up")
        )  # fmt: skip
    return tuple(out)


def stops_mapped(ran: Sequence[Ran], tools: Sequence[Mapped]) -> tuple[Mapped, ...]:
    """Program stops, and tool changes that a person must make on the other machine."""
    stops = {"M0": STOP_M0, "M1": STOP_M1}
    out: list[Mapped] = []
    for word, number in stops.items():
        n = sum(int((op.moves.moves["stop"] == number).sum()) for op in ran)
        if n:
            out.append(Mapped(kind="stop", what=word, here=_times(n), there=_times(n), fits=True,
                              place=_first(ran, "stop", number)))  # fmt: skip
    for tool in tools:
        if tool.there != BY_HAND:
            continue
        number = int(tool.what.split(" ")[0][1:])
        changes = sum(
            int(((op.moves.moves["kind"] == Kind.TOOL_CHANGE) & (op.moves.moves["tool"] == number)).sum()) for op in ran
        )
        out.append(
            Mapped(kind="stop", what=f"change of T{number}", here="by the changer", there=f"by hand, {_times(changes)} a part",
                   fits=False, note="write M0 before it, with the spindle stopped and Z home; nobody may be away then",
                   place=tool.place)
        )  # fmt: skip
    return tuple(out)


def _times(n: int) -> str:
    return "once" if n == 1 else f"{n} times"


def codes_mapped(
    programs: Sequence[Sequence[Program]], here: Machine, there: Machine, show: Display
) -> tuple[Mapped, ...]:
    """Codes that only a machine file gives a meaning: their effect on either machine, none, or another one."""
    out: dict[str, Mapped] = {}
    ours, theirs = ({code.word: code for code in m.control.codes} for m in (here, there))
    for own in programs:
        if not own:
            continue
        bare: dict[str, Use] = {}
        for machine in (here, there):
            found = survey(own[0], own[1:], replace(machine.control, codes=()))
            bare |= {**found.unknown, **found.refused, **{f"O{n}": use for n, use in found.missing.items()}}
        for word, use in bare.items():
            if word in out:
                continue
            a, b = ours.get(word), theirs.get(word)
            other = _other_effect(a, b, show)
            if b is not None and (a is None or not other):
                fits, note = True, ""
            elif b is not None:
                fits, note = False, f"means something else there: {other}"
            else:
                fits, note = False, "has no meaning there: leave it out, or declare its effect ([[machine.code]])"
            out[word] = Mapped(kind="code", what=word, here=_effect(a), there=_effect(b), fits=fits, note=note,
                               place=own[use.program].place(use.line, 0, word))  # fmt: skip
    return tuple(out.values())


def _effect(code: CodeEffect | None) -> str:
    return "no meaning" if code is None else code.what or "declared"


def _other_effect(a: CodeEffect | None, b: CodeEffect | None, show: Display) -> str:
    if a is None or b is None:
        return ""
    differ = [d for d in fields(a.word, b, a, show) if d.what != "what"]
    return "; ".join(f"{d.what} {d.before} here, {d.now} there" for d in differ)


def placed_on(there_job: Job, here_job: Job, ran: Sequence[Ran]) -> tuple[Job, tuple[Placed, ...]]:
    """The job with work offsets of its own for the other machine: one shift for all offsets of an operation.

    Z: the same vise on the other table, where both machine files state table_z and the job gives Z; X, Y (and Z otherwise):
    the same number where it keeps every move inside the travels, else the middle of what does. Axes without one stay without.
    """
    here, there = here_job.machine, there_job.machine
    ops = []
    told: list[Placed] = []
    for index, op in enumerate(there_job.ops):
        given = {o.system: o.origin_mm for o in op.offsets}
        probe = replace(here_job, machine=there)
        windows = windows_of(ran[index].moves, ran[index].sweeps, probe, index, dict(given))
        shift: list[float] = []
        words: list[str] = []
        for k in range(3):
            low, high = _room(windows, given, k)
            least, most = max(low, default=0.0), min(high, default=0.0)
            middle = (least + most) / 2
            if k == 2 and here.table_z_mm is not None and there.table_z_mm is not None:
                by = (
                    there.table_z_mm
                    - here.table_z_mm
                    + zero_offset_mm(here_job, index)
                    - zero_offset_mm(there_job, index)
                )
                words.append("Z: the same height above the table")
            else:
                fits = not low or least <= 0.0 <= most
                by = 0.0 if fits else float(round(middle)) if least <= round(middle) <= most else middle
                words.append(f"{'XYZ'[k]}: {'the same number' if fits else 'middle of the window'}")
            shift.append(by)
        offsets = tuple(replace(o, origin_mm=_moved(o, shift)) for o in op.offsets)
        told += [
            Placed(
                op=op.name,
                system=system_name(o.system),
                here_mm=o.origin_mm,
                there_mm=n.origin_mm,
                how="; ".join(words),
            )
            for o, n in zip(op.offsets, offsets, strict=True)
        ]
        ops.append(replace(op, offsets=offsets))
    return replace(there_job, ops=tuple(ops), found=None), tuple(told)


def _room(
    windows: Sequence[Window], given: Mapping[int, tuple[float | None, ...]], axis: int
) -> tuple[list[float], list[float]]:  # fmt: skip
    """How far each planned offset may be shifted down and up on an axis."""
    low: list[float] = []
    high: list[float] = []
    for window in windows:
        own = given[window.system][axis] if window.system in given else None
        least, most = window.low_mm[axis], window.high_mm[axis]
        if own is not None and least is not None and most is not None:
            low.append(least - own)
            high.append(most - own)
    return low, high


def _moved(offset: Offset, shift: Sequence[float]) -> tuple[float | None, float | None, float | None]:
    x, y, z = (None if v is None else v + by for v, by in zip(offset.origin_mm, shift, strict=True))
    return x, y, z
