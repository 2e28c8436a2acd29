"""A commented job file made from what a program says: what is known is filled in, what is not is marked "?"."""

import json
from collections.abc import Sequence
from dataclasses import dataclass

from halfthou.base.units import MM_PER_INCH

OPEN = '"?"'
ARROW = "# <--"
Three = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolUse:
    """A tool a program calls: the registers it is used with, where it is first called, how deep it goes."""

    number: int
    lengths: tuple[int, ...] = ()  # H words
    radii: tuple[int, ...] = ()  # D words
    line: int = 0
    comment: str = ""  # what the program says about it
    lowest_z_mm: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """A word that nothing explains (a code, or a program called that is not there): how often and where first."""

    word: str
    count: int
    line: int
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpFacts:
    """What one program says. low_mm, high_mm: extents of its cutting moves in program coordinates."""

    program: str  # path relative to the job file
    tools: tuple[ToolUse, ...] = ()
    offsets: tuple[str, ...] = ()  # "G54", …, in the order of use
    low_mm: Three | None = None
    high_mm: Three | None = None
    unknown: tuple[Seen, ...] = ()
    missing: tuple[Seen, ...] = ()  # subprograms, by their O number: "O9001"
    subprograms: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Facts:
    """What is known before anything is asked. unit: of the programs, "mm" or "inch"; shop: path or empty."""

    part: str
    unit: str
    unit_said: bool  # a program says so itself (G20, G21)
    ops: tuple[OpFacts, ...]
    shop: str = ""
    machines: tuple[str, ...] = ()
    shop_tools: tuple[str, ...] = ()


def skeleton(facts: Facts) -> str:
    """The text of a job.toml. It is valid TOML as it is; reading it as a job complains of every line still marked "?"."""
    lines = [
        '# Made from the programs named below. Fill in every "?" (lines with <--); lines that begin with # are optional.',
        "# What the keys mean: docs/job-file.md. Lengths are in the unit stated here, angles in degrees.",
        "format = 1",
        f"units = {_text(facts.unit)}" + ("" if facts.unit_said else "   # no program says G20 or G21: check this"),
        f"part = {_text(facts.part)}",
        '# revision = "A"',
        '# material = ""',
        "quantity = 1",
    ]
    if facts.shop:
        lines.append(f"shop = {_text(facts.shop)}")
    else:
        lines.append('# shop = "shop.toml"   # without it: no travels, rapids, spindle and no habits of the control')
    if len(facts.machines) == 1:
        lines.append(f"machine = {_text(facts.machines[0])}")
    elif facts.machines:
        lines.append(f"machine = {OPEN}   # one of: {_plain(', '.join(facts.machines))}")
    lines += [
        "",
        "# [design]",
        '# file = "part.step"   # STEP; or STL or 3MF (an STL needs units = "mm" or "inch" here)',
        "",
        "# [found]   # the control's own numbers, copied from its pages: then the proof runs with them",
        '# tool_table = "found-tools.csv"',
        '# offsets = "found-offsets.csv"',
    ]
    lines += _tools(facts)
    for k, op in enumerate(facts.ops):
        lines += _operation(facts, op, k)
    return "\n".join(_marked(line) for line in lines) + "\n"


def _marked(line: str) -> str:
    """A line with something to fill in gets an arrow."""
    if OPEN not in line or line.startswith("#"):
        return line
    before, mark, after = line.partition("   # ")
    return f"{before}   {ARROW} {after}" if mark else f"{before}   {ARROW}"


def _text(value: str) -> str:
    """A TOML string."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _plain(value: str) -> str:
    """Text that may stand in a comment."""
    return "".join(letter if letter.isprintable() else " " for letter in value).strip()


def _length(value_mm: float, unit: str) -> str:
    number = value_mm / MM_PER_INCH if unit == "inch" else value_mm
    return f"{number:.4f}" if unit == "inch" else f"{number:.3f}"


def _numbers(values: Sequence[int]) -> str:
    return ", ".join(str(v) for v in values)


def _tools(facts: Facts) -> list[str]:
    """One table for every tool of any operation, in order of number."""
    uses: dict[int, list[tuple[OpFacts, ToolUse]]] = {}
    for op in facts.ops:
        for use in op.tools:
            uses.setdefault(use.number, []).append((op, use))
    if not uses:
        return ["", "# No tool is called. Write the one in the spindle:", *_tool(facts, None, [])]
    lines = ["", '# Tools the programs call. A CSV list (tools = "tools.csv") may take the place of these tables.']
    if facts.shop_tools:
        lines.append("# So may tools of the shop file: magazine = { 1 = " + _plain(_text(facts.shop_tools[0])) + " }")
    for number in sorted(uses):
        lines += _tool(facts, number, uses[number])
    return lines


def _tool(facts: Facts, number: int | None, uses: Sequence[tuple[OpFacts, ToolUse]]) -> list[str]:
    lines = ["", "[[tool]]", f"number = {OPEN if number is None else number}"]
    for op, use in uses:
        said = [f"{_plain(op.program)}:{use.line}"]
        if use.lengths:
            other = "" if use.lengths == (number,) else " (not the tool's own number)"
            said.append(f"length register H{_numbers(use.lengths)}{other}")
        else:
            said.append("no length register called")
        if use.radii:
            said.append(f"radius register D{_numbers(use.radii)}")
        if use.lowest_z_mm is not None:
            said.append(f"cuts down to Z{_length(use.lowest_z_mm, facts.unit)}")
        lines.append("# " + ", ".join(said))
        if use.comment:
            lines.append(f"# the program says: {_plain(use.comment)}")
    return [
        *lines,
        f"kind = {OPEN}   # flat ball bull drill spot chamfer countersink tap reamer boring face …",
        f"diameter = {OPEN}",
        "# corner = 0.5          # bull nose",
        "# point_angle = 118     # drill, spot, chamfer, countersink; tip_diameter = 0 for a flat at the tip",
        f"cutting_length = {OPEN}",
        "# shank_diameter = 10   # else drawn as wide as the cutting diameter",
        f"stick_out = {OPEN}   # tip to holder face",
        f"length = {OPEN}   # gauge length: tip to gauge line",
        f"holder_diameter = {OPEN}   # or holder = the id of a [[holder]]",
    ]  # fmt: skip


def _operation(facts: Facts, op: OpFacts, index: int) -> list[str]:
    lines = ["", "", "[[operation]]", f"name = {_text(f'op {index + 1}')}", f"program = {_text(op.program)}"]
    if op.subprograms:
        lines.append(f"subprograms = [{', '.join(_text(name) for name in op.subprograms)}]")
    for seen in op.missing:
        lines.append(f"# {_seen(seen, op)} is called and not there: add its file to subprograms, or, if the control")
        lines.append("#   keeps it, declare what it does as [[machine.code]] in the shop file")
    for seen in op.unknown:
        lines.append(f"# {_seen(seen, op)} is not known: declare what it does in the shop file:")
        lines.append(f'#   [[machine.code]]   word = {_plain(_text(seen.word))}   what = "…"')
    systems = op.offsets or ("G54",)
    for system in systems:
        lines += [
            "",
            "[[operation.offset]]   # from the control's offset page; leave the table out and travel is not judged",
            f"system = {_text(system)}",
            f"origin = [{OPEN}, {OPEN}, {OPEN}]",
        ]
    for k, system in enumerate(systems):
        lines += _place(facts, op, index, system, several=len(systems) > 1, number=k + 1)
    return lines


def _seen(seen: Seen, op: OpFacts) -> str:
    times = "once" if seen.count == 1 else f"{seen.count} times, first"
    text = f": {_plain(seen.text)}" if seen.text else ""
    return f"{_plain(seen.word)} ({times} {_plain(op.program)}:{seen.line}{text})"


def _place(facts: Facts, op: OpFacts, index: int, system: str, *, several: bool, number: int) -> list[str]:
    """A place with its stock and two jaws to be filled in."""
    lines = ["", "[[operation.place]]"]
    if several:
        lines.append("# one place for each work offset; leave this one out if no part of its own lies here")
    lines += [f"name = {_text(f'place {number}')}", f"offset = {_text(system)}", "", "[operation.place.stock]"]
    if index == 0:
        lines += ['kind = "box"   # or cylinder, mesh', *_reach(facts, op), *_corners()]
    else:
        lines += [
            'kind = "from"   # what an earlier operation left; else box, cylinder, mesh as there',
            f"operation = {_text(f'op {index}')}",
            f'turn = {OPEN}   # "none", "180 about X", "180 about Y", "90 about Z", …',
            f"shift = [{OPEN}, {OPEN}, {OPEN}]   # x_new = turn · x_old + shift",
        ]
        if several:
            lines.append(f'# place = "place {number}"   # if the earlier operation has several')
    for name in ("fixed jaw", "moving jaw"):
        lines += ["", "[[operation.place.body]]", f"name = {_text(name)}", f"kind = {_text(name)}", *_corners()]
    return lines


def _reach(facts: Facts, op: OpFacts) -> list[str]:
    if op.low_mm is None or op.high_mm is None:
        return []
    parts = [
        f"{axis} {_length(low, facts.unit)} to {_length(high, facts.unit)}"
        for axis, low, high in zip("XYZ", op.low_mm, op.high_mm, strict=True)
    ]
    return [f"# cutting moves reach {', '.join(parts)}"]


def _corners() -> list[str]:
    return [f"low = [{OPEN}, {OPEN}, {OPEN}]", f"high = [{OPEN}, {OPEN}, {OPEN}]"]
