"""Spindle load read at the machine, from a CSV file: watts or percent at a few blocks (docs/job-file.md)."""

import math
import re
from pathlib import Path

from halfthou.base.errors import Complaint, ReadingError
from halfthou.base.place import Place
from halfthou.files.found import read_bytes
from halfthou.files.node import Node, nearest
from halfthou.files.table import read_table
from halfthou.nouns.learned import LoadReadings, LoadRow

COLUMNS = {
    "file": "program", "program": "program", "operation": "operation", "line": "line", "tool": "tool",
    "power_w": "power_w", "load_percent": "load_percent", "feed_override": "feed_override", "note": "note",
}  # fmt: skip
HEAD = ("rated_power_w", "idle_power_w", "idle_load_percent", "efficiency")
MOST_PERCENT = 300.0
_HEAD = re.compile(r"^\s*(\w+)\s*=\s*(.*?)\s*$")


def load_readings(path: Path) -> LoadReadings:
    """The readings in a file.

    Raises ReadingError with every complaint.
    """
    complaints: list[Complaint] = []
    raw = read_bytes(path, complaints)
    found = readings_of(str(path), raw, complaints) if raw is not None else None
    if complaints or found is None:
        raise ReadingError(complaints)
    return found


def readings_of(file: str, raw: bytes, complaints: list[Complaint]) -> LoadReadings | None:
    """The readings in some bytes; complaints are added to the list."""
    text, head = _head(file, raw.decode("utf-8-sig", errors="replace"), complaints)
    read = read_table(file, text.encode(), COLUMNS, complaints, "mm")
    if read is None:
        return None
    nodes = read[1]
    if not nodes:
        do = "write one line a reading: line, power_w or load_percent"
        complaints.append(
            Complaint(code="F302", place=Place(file=file, line=1), what="there are no readings in the file", do=do)
        )
        return None
    if "idle_power_w" in head and "idle_load_percent" in head:
        what = "the idle power stands twice, in watts and in percent"
        complaints.append(Complaint(code="F711", place=Place(file=file, line=1), what=what, do="leave one out"))
    percent = head.get("idle_load_percent")
    return LoadReadings(
        rows=tuple(_row(node) for node in nodes), rated_w=head.get("rated_power_w"), idle_w=head.get("idle_power_w"),
        idle_ratio=None if percent is None else percent / 100, efficiency_ratio=head.get("efficiency"), file=file,
    )  # fmt: skip


def _head(file: str, text: str, complaints: list[Complaint]) -> tuple[str, dict[str, float]]:
    """`key = value` lines before the column names, and the text with them made comments, so that lines keep number."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    head: dict[str, float] = {}
    for k, line in enumerate(lines):
        match = _HEAD.match(line)
        if match is None:
            if line.strip() and not line.lstrip().startswith("#"):
                break
            continue
        key, value = match.group(1).lower(), match.group(2).split("#")[0].strip().strip('"')
        lines[k] = "#"
        place = Place(file=file, line=k + 1, column=1, word=key, text=line)
        if key not in HEAD:
            near = nearest(key, HEAD)
            do = f"did you mean {near!r}? " if near else ""
            complaints.append(
                Complaint(
                    code="F003", place=place, what=f"`{key}` is not a known key", do=f"{do}known: {', '.join(HEAD)}"
                )
            )
        elif not re.fullmatch(r"\d+(\.\d*)?", value):
            what = f"{key} = {value!r} is not a number"
            complaints.append(Complaint(code="F005", place=place, what=what, do="write a plain number"))
        else:
            head[key] = float(value)
            _judge(key, head[key], place, complaints)
    return "\n".join(lines), head


def _judge(key: str, value: float, place: Place, complaints: list[Complaint]) -> None:
    if key == "efficiency" and not 0.3 <= value <= 1.0:
        what = f"efficiency = {value:g} cannot be: it is the cutting power over the power read, a share"
        do = (
            "0.80 to 0.90 is usual for a spindle with a belt or gears (from memory); leave it out if nobody measured it"
        )
        complaints.append(Complaint(code="F009", place=place, what=what, do=do))
    elif key == "rated_power_w" and not 50 <= value <= 200_000:
        what = f"rated_power_w = {value:g} cannot be a spindle's power in watts"
        complaints.append(Complaint(code="F009", place=place, what=what, do="write watts: 5.5 kW is 5500"))
    elif key == "idle_load_percent" and value >= 100:
        what = f"idle_load_percent = {value:g}: a spindle in air does not take all its power"
        complaints.append(Complaint(code="F009", place=place, what=what, do="read it with the spindle in air"))


def _row(node: Node) -> LoadRow:
    power, percent = node.number("power_w", None, over=0.0), node.number("load_percent", None, over=0.0)
    if (power is None) == (percent is None):
        what = (
            "no reading stands in this line" if power is None else "the reading stands twice, in watts and in percent"
        )
        node.complain("F711", None, what, do="give power_w or load_percent, one of them")
    if percent is not None and percent > MOST_PERCENT:
        node.complain(
            "F009", "load_percent", f"load_percent = {percent:g} cannot be", do="write percent of the rated power"
        )
    feed = node.number("feed_override", 100.0, over=0.0)
    if not math.isnan(feed) and (feed > 300 or feed < 2):
        node.complain(
            "F009", "feed_override", f"feed_override = {feed:g} cannot be: overrides are in percent",
            do="100 is as programmed",
        )  # fmt: skip
    return LoadRow(
        line=node.whole("line", least=1), program=node.text("program", ""), operation=node.text("operation", ""),
        tool=node.whole("tool", -1, least=0), power_w=power, load_ratio=None if percent is None else percent / 100,
        feed_ratio=feed / 100, note=node.text("note", ""), place=node.sheet.place(node.path),
    )  # fmt: skip
