"""A job on two machines as a page: fits, maps, times and what must change, side by side."""

from pathlib import Path
from typing import Any

from halfthou.base.units import Display
from halfthou.nouns.other_machine import OtherMachine
from halfthou.sheets.machines_rows import (
    binding_rows,
    both_times,
    capped_rows,
    finding_rows,
    fit_rows,
    habit_rows,
    headline,
    mapped_rows,
    placed_rows,
)
from halfthou.sheets.report import CAUTIONS, write_pages
from halfthou.sheets.typeset import set_pages


def write_machines(sides: OtherMachine, path: Path) -> None:
    """Write the page as PDF; raises JobError if the file cannot be written."""
    write_pages(set_pages("machines.typ", machines_data(sides), {})[0], path)


def machines_data(sides: OtherMachine) -> dict[str, Any]:
    """What the layout needs, as plain data."""
    show = Display(length_unit=sides.length_unit)
    return {
        "title": sides.title,
        "paper": "a4" if sides.length_unit == "mm" else "us-letter",
        "here": sides.here_name,
        "there": sides.there_name,
        "invented": sides.invented,
        "words": headline(sides),
        "here_words": sides.here_words,
        "there_words": sides.there_words,
        "must": list(sides.must),
        "fits": fit_rows(sides),
        "mapped": mapped_rows(sides),
        "capped": capped_rows(sides),
        "binding": binding_rows(sides),
        "times": both_times(sides),
        "placed": placed_rows(sides, show),
        "habits": habit_rows(sides),
        "findings": finding_rows(sides),
        "not_checked": list(sides.not_checked),
        "assumptions": list(sides.assumptions),
        "first_piece": sides.first_piece,
        "cautions": list(CAUTIONS),
        "stamps": [sides.here.short, sides.there.short],
        "version": sides.here.tool_version,
        "inputs": [f"{role} {sha[:10]}" for role, sha in sides.here.inputs],
    }
