"""A job on another machine of the shop, side by side, on the command line."""

import textwrap
from collections.abc import Callable
from pathlib import Path

from halfthou.base.units import Display
from halfthou.base.watch import Watch
from halfthou.cli.ask import EXIT_FOUND, Meter, _guarded, write_and_tell
from halfthou.cli.show import CAUTION, WIDTH, complaint_lines, finding_lines, table_lines
from halfthou.nouns.other_machine import OtherMachine
from halfthou.sheets.machines_rows import (
    binding_rows,
    both_times,
    capped_rows,
    fit_rows,
    habit_rows,
    headline,
    mapped_rows,
    placed_rows,
)


def machines_and_show(
    job: Path,
    machine: str,
    *,
    as_json: bool,
    report: Path | None,
    pitch_mm: float | None,
    found_tools: Path | None,
    found_offsets: Path | None,
    what_if: bool,
    quiet: bool,
    asked_to_stop: Callable[[], bool],
) -> int:
    """Prove on both machines, show side by side; 1 when something must change for the other machine."""
    meter = Meter(quiet)

    def work() -> int:
        from halfthou.flow.other_machine import on_other_machine
        from halfthou.flow.prove import ProveOptions

        watch = Watch(tell=meter.tell, asked_to_stop=asked_to_stop)
        options = ProveOptions(pitch_mm=pitch_mm, found_tools=found_tools, found_offsets=found_offsets, what_if=what_if)
        found = on_other_machine(job, machine, options, watch)
        meter.clear()
        if as_json:
            from halfthou.sheets.machines_json import machines_json

            print(machines_json(found.here, found.there, found.sides))
        else:
            print("\n".join(side_lines(found.sides)))
        if report is not None:
            from halfthou.sheets.machines_page import write_machines

            write_and_tell(lambda: write_machines(found.sides, report), report, meter)
        return 0 if found.sides.runs_as_it_is else EXIT_FOUND

    return _guarded(work, as_json=as_json, meter=meter)


def side_lines(sides: OtherMachine) -> list[str]:
    """The whole answer: what is refused and must change first, then the tables."""
    show = Display(length_unit=sides.length_unit)
    here, there = sides.here_name, sides.there_name
    lines = [f"{sides.title}: {here} (its own machine) and {there}"]
    if sides.invented:
        lines.append("(invented demo data)")
    lines += ["", *textwrap.wrap(headline(sides), WIDTH), ""]
    for complaint in sides.refused:
        lines += [*complaint_lines(complaint), ""]
    for change in sides.findings:
        head = {"gained": f"ONLY ON {there}", "lost": f"ONLY ON {here}", "amount": "OTHER AMOUNT"}[change.kind]
        own = finding_lines(change.finding, show)
        lines += [f"{head}  {change.op + ': ' if change.op else ''}{own[0]}", *own[1:], ""]
    if sides.must:
        lines.append("What must change")
        for text in sides.must:
            lines += textwrap.wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
        lines.append("")
    lines += _table(
        "Does it fit, as programmed?", ("", "asked", here, there, f"fits {there}"), fit_rows(sides), {1, 2, 3}
    )
    mapped = mapped_rows(sides)
    lines += _table(
        "Tools, registers, offsets, stops, codes", ("", "", here, there, "stays"), [r[:5] for r in mapped], set()
    )
    notes = dict.fromkeys(
        f"{row[1]}: {row[5]}" if row[0] != "work offset" or row[4] == "NO" else row[5] for row in mapped if row[5]
    )
    for text in notes:
        lines += textwrap.wrap(text, WIDTH, initial_indent="  ", subsequent_indent="    ")
    lines += [""] if notes else []
    lines += _table("Time", ("op", "tool", "name", here, there, "change"), both_times(sides), {3, 4, 5})
    lines += _table("What holds the motion back", ("", here, there), binding_rows(sides), {1, 2})
    heads = ("tool", "word", "asked", there, "left", "longer by at most", "block")
    lines += _table("Capped", heads, capped_rows(sides), {2, 3, 4, 5})
    lines += _table(f"Work offsets the proofs ran with ({show.length_unit}, machine coordinates)", ("op", "offset", here, there),
                    placed_rows(sides, show), set())  # fmt: skip
    lines += _table(
        "Where the machine files differ", ("", here, there), [[c[:44] for c in r] for r in habit_rows(sides)], set()
    )
    for title, texts in (("Not checked:", sides.not_checked), ("Taken for granted:", sides.assumptions)):
        lines.append(title)
        for text in texts:
            lines += textwrap.wrap(text, WIDTH, initial_indent="  - ", subsequent_indent="    ")
        lines.append("")
    lines += textwrap.wrap(f"{here}: {sides.here_words}", WIDTH, subsequent_indent="    ")
    lines += textwrap.wrap(f"{there}: {sides.there_words}", WIDTH, subsequent_indent="    ")
    lines += ["", *textwrap.wrap(f"First piece: {sides.first_piece}", WIDTH, subsequent_indent="    ")]
    return lines + textwrap.wrap(CAUTION, WIDTH)


def _table(title: str, heads: tuple[str, ...], rows: list[list[str]], right: set[int]) -> list[str]:
    if not rows:
        return []
    return [title, *table_lines(heads, [tuple(row) for row in rows], frozenset(right)), ""]
