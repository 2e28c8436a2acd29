"""Times read at the machine, from a CSV file: block log, seconds a tool, or stopwatch totals (docs/job-file.md)."""

import itertools
import re
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from halfthou.base.errors import Complaint, ReadingError
from halfthou.base.place import Place
from halfthou.files.found import read_bytes
from halfthou.files.node import Node
from halfthou.files.table import read_table
from halfthou.nouns.times import TimeRow, Times

COLUMNS = (
    "time", "line", "block", "program", "tool", "seconds", "operation", "feed_override", "rapid_override",
    "plus_minus", "units", "sure",
)  # fmt: skip
HEAD = ("job", "operation", "feed_override", "rapid_override", "plus_minus")
DAY_S = 86400.0
JITTER_S = 0.25
"""A control may write two stamps a little out of order (common practice, no source)."""
_HEAD = re.compile(r"^\s*(\w+)\s*=\s*(.*?)\s*$")
_CLOCK = re.compile(r"^(?:(\d+):)?(\d{1,2}):(\d{1,2}(?:\.\d*)?)$")


def load_times(path: Path) -> Times:
    """The times in a file.

    Raises ReadingError with every complaint.
    """
    complaints: list[Complaint] = []
    raw = read_bytes(path, complaints)
    found = times_of(str(path), raw, complaints) if raw is not None else None
    if complaints or found is None:
        raise ReadingError(complaints)
    return found


def times_of(file: str, raw: bytes, complaints: list[Complaint]) -> Times | None:
    """The times in some bytes; complaints are added to the list."""
    text, head = _head(file, raw.decode("utf-8-sig", errors="replace"), complaints)
    read = read_table(file, text.encode(), {key: key for key in COLUMNS}, complaints, "mm")
    if read is None:
        return None
    nodes = read[1]
    if not nodes:
        complaints.append(_complaint(file, "F302", 1, "there are no readings in the file", "copy them again"))
        return None
    names = {key for node in nodes for key in node.data}
    kind = "block" if "time" in names else "tool" if "tool" in names else "total"
    rows = _over_midnight([_row(node, kind, head) for node in nodes])
    if kind == "block":
        for before, after in itertools.pairwise(rows):
            if after.time_s < before.time_s - JITTER_S:
                what = f"the clock runs backwards: {after.time_s:g} s after {before.time_s:g} s"
                do = "give the log of one run, in the order of time"
                complaints.append(Complaint(code="F701", place=after.place, what=what, do=do))
                break
    stated = {"feed_override", "rapid_override"} <= (names | set(head))
    return Times(kind=kind, rows=tuple(rows), job=head.get("job", ""), overrides_stated=stated, file=file)


def _head(file: str, text: str, complaints: list[Complaint]) -> tuple[str, dict[str, str]]:
    """`key = value` lines before the column names, and the text with them made comments, so that lines keep number."""
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    head: dict[str, str] = {}
    for k, line in enumerate(lines):
        match = _HEAD.match(line)
        if match is None:
            if line.strip() and not line.lstrip().startswith("#"):
                break
            continue
        key, value = match.group(1).lower(), match.group(2).strip().strip('"')
        if key not in HEAD:
            complaints.append(
                _complaint(file, "F003", k + 1, f"`{key}` is not a known key", f"known: {', '.join(HEAD)}")
            )
        head[key] = value
        lines[k] = "#"
    for key in ("feed_override", "rapid_override", "plus_minus"):
        if key in head and not re.fullmatch(r"\d+(\.\d*)?", head[key]):
            what = f"{key} = {head[key]!r} is not a number"
            complaints.append(_complaint(file, "F005", 1, what, "write a plain number, overrides in percent"))
            del head[key]
    return "\n".join(lines), head


def _row(node: Node, kind: str, head: dict[str, str]) -> TimeRow:
    for key in ("feed_override", "rapid_override", "plus_minus", "operation"):
        if key in head and key not in node.data:
            node.data[key] = head[key]
    feed = node.number("feed_override", 100.0, over=0.0)
    rapid = node.number("rapid_override", 100.0, over=0.0)
    for key, value in (("feed_override", feed), ("rapid_override", rapid)):
        if value > 300 or value < 2:
            node.complain(
                "F009", key, f"{key} = {value:g} cannot be: overrides are in percent", do="100 is as programmed"
            )
    line, block, seconds = -1, -1, 0.0
    if kind == "block":
        seconds = _clock(node)
        if node.has("block") and not node.has("line"):
            block = node.whole("block", least=0)
        else:
            line = 0 if str(node.data.get("line", "")).strip().lower() in ("end", "") else node.whole("line", least=0)
            node.allow("line")
    else:
        seconds = node.number("seconds", over=0.0)
    return TimeRow(
        time_s=seconds, line=line, block=block, program=node.text("program", ""),
        tool=node.whole("tool", least=0) if kind == "tool" else -1, operation=node.text("operation", ""),
        feed_ratio=feed / 100, rapid_ratio=rapid / 100, plus_minus_s=node.number("plus_minus", None, over=0.0),
        place=node.sheet.place(node.path),
    )  # fmt: skip


def _over_midnight(rows: list[TimeRow]) -> list[TimeRow]:
    """A clock that goes back by about a day went over midnight."""
    out, days, last = [], 0.0, None
    for row in rows:
        if last is not None and row.time_s < last - 0.5 * DAY_S and row.time_s < DAY_S:
            days += DAY_S
        last = row.time_s
        out.append(replace(row, time_s=row.time_s + days) if days else row)
    return out


def _clock(node: Node) -> float:
    """Seconds, h:mm:ss.s, mm:ss.s or a date with a time."""
    if not node.has("time"):
        return float(node.number("time"))
    said = str(node.data["time"]).strip()
    match = _CLOCK.match(said)
    if match:
        hours, minutes, seconds = match.groups()
        return 3600.0 * int(hours or 0) + 60.0 * int(minutes) + float(seconds)
    if re.fullmatch(r"\d+(\.\d*)?", said):
        return float(said)
    try:
        stamp = datetime.fromisoformat(said).replace(tzinfo=None)
        return (stamp - datetime(2000, 1, 1)).total_seconds()
    except ValueError:
        do = "write seconds (12.345), h:mm:ss.s or 2026-03-04T10:11:12.345"
        node.complain("F701", "time", f"{said!r} is not a time", do=do)
        return float("nan")


def _complaint(file: str, code: str, line: int, what: str, do: str) -> Complaint:
    return Complaint(code=code, place=Place(file=file, line=line), what=what, do=do)
