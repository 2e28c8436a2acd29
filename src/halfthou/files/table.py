"""CSV tables into rows that know their line and column: separator, unit line, column names, odd cells."""

import csv
import re
from collections.abc import Callable
from typing import Any

from halfthou.base.errors import Complaint
from halfthou.base.place import Place
from halfthou.files.lines import Path, Sheet, Spot
from halfthou.files.node import Node, nearest


def read_table(
    file: str,
    raw: bytes,
    names: dict[str, str],
    complaints: list[Complaint],
    default_unit: str | None,
    *,
    whole: bool = False,
) -> tuple[Sheet, list[Node], str | None] | None:
    """A CSV table: (sheet, one node a row, unit of its first line or None); None after a complaint.

    Separator comma, semicolon or tab; a byte-order mark, quoted fields and any case of the column names are read.
    names: {lower-case column: our key}. whole: a row must have a cell, maybe an empty one, for every column, and there
    must be a row: for tables that a control wrote, where a short row means that it was cut off.
    """
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    sheet = Sheet(file=file, text=text, data={}, spots={}, complaints=complaints, table=True)
    lines = text.split("\n")
    say = _teller(sheet, "F302")
    before = len(complaints)
    at, unit = 0, None
    while at < len(lines) and (not lines[at].strip() or lines[at].lstrip().startswith("#") or _unit_line(lines[at])):
        if _unit_line(lines[at]):
            unit = _unit_line(lines[at])
            if unit not in ("mm", "inch"):
                sheet.spots[("unit",)] = (at + 1, 1, lines[at].strip())
                complaints.append(
                    Complaint(
                        code="F008",
                        place=sheet.place(("unit",)),
                        what=f"the unit {unit!r} is not known",
                        do="write units = mm or units = inch",
                    )
                )
                return None
        at += 1
    first = _cells(lines[at], mark_of(lines[at])) if at < len(lines) else None
    if not first:
        say(
            at + 1 if at < len(lines) else 1,
            1,
            "",
            "the table has no line with column names",
            "write the column names in the first line",
        )
        return None
    mark = mark_of(lines[at])
    heads = [cell.strip() for cell in first]
    keys, good = [], True
    for k, head in enumerate(heads):
        key = names.get(head.lower().replace(" ", "_"), "")
        column = _column(lines[at], mark, k)
        if head and not key:
            near = nearest(head, names)
            say(at + 1, column, head, f"the column {head!r} is not known", f"did you mean {near!r}?" if near else "")
            good = False
        elif key and key in keys:
            say(at + 1, column, head, f"the column {head!r} stands twice", "leave one out")
            good = False
        keys.append(key)
    if not good:
        return None
    unit = unit or default_unit
    if unit is None and "units" not in keys:
        do = "write units = mm or units = inch as the first line"
        complaints.append(
            Complaint(code="F008", place=Place(file=file, line=1), what="the units are not stated", do=do)
        )
        return None
    nodes = _rows(sheet, lines, at + 1, mark, keys, unit, say, whole)
    if whole and not nodes and len(sheet.complaints) == before:
        say(at + 1, 1, "", "the table has no line below its column names", "was it cut off? copy it again")
    return sheet, nodes, unit


def _rows(
    sheet: Sheet,
    lines: list[str],
    start: int,
    mark: str,
    keys: list[str],
    unit: str | None,
    say: Callable[[int, int, str, str, str], None],
    whole: bool,
) -> list[Node]:
    """One node for each row that is not empty."""
    nodes = []
    for line, shown in enumerate(lines[start:], start + 1):
        cells = _cells(shown, mark)
        if cells is None:
            say(line, 1, "", "a quote is opened and not closed in this line", "close it; a cell cannot go over lines")
            continue
        if not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
            continue
        extra = [cell for cell in cells[len(keys) :] if cell.strip()]
        if extra:
            do = "a decimal comma in a comma table splits a number: write a point, or separate with ;"
            say(line, 1, "", f"{len(cells)} cells under {len(keys)} column names", do)
            continue
        if whole and len(cells) < len(keys):
            do = "leave a cell empty for what is not known, with its separator"
            say(line, 1, "", f"{len(cells)} cells under {len(keys)} column names", do)
            continue
        path: Path = ("row", line)
        sheet.spots[path] = (line, 1, cells[0].strip())
        data: dict[str, Any] = {}
        for k, (key, cell) in enumerate(zip(keys, cells, strict=False)):
            if key and cell.strip():
                data[key] = cell.strip()
                sheet.spots[(*path, key)] = (line, _column(shown, mark, k), cell.strip())
        own = str(data.pop("units", unit or "mm")).lower()
        if own not in ("mm", "inch"):
            place = sheet.place(path)
            what = f"the unit {own!r} is not known"
            sheet.complaints.append(Complaint(code="F008", place=place, what=what, do="mm or inch"))
        nodes.append(Node(sheet, data, path, own))
    return nodes


def mark_of(heads: str) -> str:
    """What separates the columns, by the line of their names: comma, semicolon or tab."""
    return max(";\t,", key=lambda m: (heads.count(m), m == ";"))


def _cells(line: str, mark: str) -> list[str] | None:
    """The cells of one line; None when a quote is not closed."""
    if line.count('"') % 2:
        return None
    try:
        return next(csv.reader([line], delimiter=mark), [])
    except csv.Error:  # a cell of more than 131072 letters
        return None


def _unit_line(line: str) -> str:
    match = re.match(r'^\W*units?\s*[=:]\s*"?(\w+)"?[\s,;]*$', line, re.IGNORECASE)
    return match.group(1).lower() if match else ""


def _column(line: str, mark: str, k: int) -> int:
    """Column (from 1) of the k-th cell of a CSV line."""
    column, quoted, cell = 1, False, 0
    for i, letter in enumerate(line):
        if cell == k:
            break
        quoted ^= letter == '"'
        if letter == mark and not quoted:
            cell, column = cell + 1, i + 2
    return column


def _teller(sheet: Sheet, code: str) -> Callable[[int, int, str, str, str], None]:
    def say(line: int, column: int, word: str, what: str, do: str) -> None:
        spot: Spot = (line, column, word)
        sheet.spots[("cell", line, column)] = spot
        place = sheet.place(("cell", line, column))
        sheet.complaints.append(Complaint(code=code, place=place, what=what, do=do))

    return say
