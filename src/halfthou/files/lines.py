"""TOML text with the line and column of every key: a position scanner beside the standard reader."""

import bisect
import re
import tomllib
from dataclasses import dataclass, field
from typing import Any

from halfthou.base.errors import Complaint
from halfthou.base.place import Place

Path = tuple[str | int, ...]
Spot = tuple[int, int, str]  # line, column, word
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_AT = re.compile(r"\(at line (\d+), column (\d+)\)")


class _Scan:
    """Walks text that the standard reader has accepted and notes where each key and array item stands."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0
        self.spots: dict[Path, Spot] = {}
        self.arrays: dict[Path, int] = {}
        self.starts = [0] + [m.end() for m in re.finditer("\n", text)]

    def run(self) -> dict[Path, Spot]:
        base: Path = ()
        while self._blank():
            if self.text[self.at] == "[":
                base = self._header()
            else:
                self._pair(base)
        return self.spots

    def _blank(self) -> bool:
        """Skip blanks, line ends, comments; False at the end."""
        text = self.text
        while self.at < len(text):
            if text[self.at] in " \t\r\n":
                self.at += 1
            elif text[self.at] == "#":
                end = text.find("\n", self.at)
                self.at = len(text) if end < 0 else end
            else:
                return True
        return False

    def _note(self, path: Path, start: int, word: str) -> None:
        line = bisect.bisect_right(self.starts, start)
        self.spots.setdefault(path, (line, start - self.starts[line - 1] + 1, word))

    def _keys(self) -> list[tuple[str, int, str]]:
        """A dotted key: (name, start, text as written) of each part."""
        keys = []
        while True:
            self._blank()
            start = self.at
            if self.text[start] in "\"'":
                self._string()
                raw = self.text[start : self.at]
                name = str(tomllib.loads(f"x = {raw}")["x"])
            else:
                match = _BARE.match(self.text, start)
                raw = name = match.group() if match else ""
                self.at = start + max(len(raw), 1)
            keys.append((name, start, raw))
            self._blank()
            if self.at >= len(self.text) or self.text[self.at] != ".":
                return keys
            self.at += 1

    def _header(self) -> Path:
        many = self.text.startswith("[[", self.at)
        self.at += 2 if many else 1
        keys = self._keys()
        self.at += 2 if many else 1
        path: Path = ()
        for k, (name, start, raw) in enumerate(keys):
            path = (*path, name)
            self._note(path, start, raw)
            if many and k == len(keys) - 1:
                self.arrays[path] = self.arrays.get(path, 0) + 1
            if path in self.arrays:
                path = (*path, self.arrays[path] - 1)
                self._note(path, start, raw)
        return path

    def _pair(self, base: Path) -> None:
        path = base
        for name, start, raw in self._keys():
            path = (*path, name)
            self._note(path, start, raw)
        self.at += 1  # "="
        self._value(path)

    def _value(self, path: Path) -> None:
        self._blank()
        first = self.text[self.at]
        if first in "\"'":
            self._string()
        elif first == "[":
            self.at += 1
            item = 0
            while self._blank() and self.text[self.at] != "]":
                start = self.at
                self._value((*path, item))
                self._note((*path, item), start, self.text[start : self.at].split("\n")[0])
                item += 1
                self._comma()
            self.at += 1
        elif first == "{":
            self.at += 1
            while self._blank() and self.text[self.at] != "}":
                self._pair(path)
                self._comma()
            self.at += 1
        else:
            while self.at < len(self.text) and self.text[self.at] not in ",]}#\n":
                self.at += 1
            self.at -= len(self.text[: self.at]) - len(self.text[: self.at].rstrip(" \t\r"))

    def _comma(self) -> None:
        if self._blank() and self.text[self.at] == ",":
            self.at += 1

    def _string(self) -> None:
        quote = self.text[self.at]
        long = self.text.startswith(quote * 3, self.at)
        mark = quote * 3 if long else quote
        self.at += len(mark)
        while not self.text.startswith(mark, self.at):
            self.at += 2 if quote == '"' and self.text[self.at] == "\\" else 1
        self.at += len(mark)
        while long and self.at < len(self.text) and self.text[self.at] == quote:
            self.at += 1  # up to two quotes may stand before the closing mark


def positions(text: str) -> dict[Path, Spot]:
    """Line, column (from 1) and text of every key and array item of valid TOML, by key path.

    Items of arrays and of arrays of tables have their number in the path: ("tool", 0, "diameter").
    """
    return _Scan(text).run()


@dataclass(slots=True)
class Sheet:
    """One typed file: its data, where everything in it stands, and the shared list of complaints."""

    file: str
    text: str
    data: dict[str, Any]
    spots: dict[Path, Spot]
    complaints: list[Complaint] = field(default_factory=list)
    table: bool = False  # a CSV: values are text

    def place(self, path: Path) -> Place:
        """Where a key stands; for a key that is not there, the nearest table around it."""
        wanted = path
        while wanted and wanted not in self.spots:
            wanted = wanted[:-1]
        line, column, word = self.spots.get(wanted, (1, 1, ""))
        lines = self.text.split("\n")
        text = lines[line - 1] if line <= len(lines) else ""
        return Place(file=self.file, line=line, column=column, word=word, text=text)


def read_toml(file: str, raw: bytes, complaints: list[Complaint]) -> Sheet | None:
    """A TOML file with positions; None after a complaint when it is not TOML."""
    try:
        text = raw.decode("utf-8-sig").replace("\r\n", "\n")
        data = tomllib.loads(text)
    except UnicodeDecodeError as error:
        line = raw[: error.start].count(b"\n") + 1
        place = Place(file=file, line=line)
        what = "this byte is not UTF-8 text"
        complaints.append(Complaint(code="F002", place=place, what=what, do="save the file as UTF-8"))
        return None
    except tomllib.TOMLDecodeError as error:
        complaints.append(_not_toml(file, text, str(error)))
        return None
    except (ValueError, RecursionError) as error:  # numbers of thousands of digits, brackets a thousand deep
        what = f"this is no file that a person typed ({type(error).__name__})"
        complaints.append(Complaint(code="F002", place=Place(file=file, line=1), what=what, do="start from a skeleton"))
        return None
    return Sheet(file=file, text=text, data=data, spots=positions(text), complaints=complaints)


def _not_toml(file: str, text: str, said: str) -> Complaint:
    match = _AT.search(said)
    lines = text.rstrip("\n").split("\n")
    line = int(match.group(1)) if match else len(lines)
    column = int(match.group(2)) if match else 0
    shown = lines[line - 1] if 0 < line <= len(lines) else ""
    if not shown and lines:  # the reader points behind the last line
        line, column = len(lines), len(lines[-1])
        shown = lines[-1]
    do = "text needs quotes, numbers a point, lists [ ] with commas"
    if re.search(r"=\s*[-+]?\d+,\d", shown):
        do = "a decimal comma is not read: write 12.5, not 12,5"
    place = Place(file=file, line=line, column=column, text=shown)
    return Complaint(code="F002", place=place, what=f"this cannot be read: {_AT.sub('', said).strip()}", do=do)
