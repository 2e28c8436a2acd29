"""How a metrology case is read: inputs looked up by many spellings and units, answers under many names.

The code under test never sees a case id or an expected value: a rule gets the topic and the inputs (`Given`) and
returns everything it can say; the runner picks out of that what the case asks for.
"""

import csv
import importlib.util
import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

DATA = Path(__file__).parent / "data"

#: Unit suffixes of names, by kind, as a factor to the first of its kind.
UNITS = {
    "mm": ("length", 1.0), "um": ("length", 1e-3), "micron": ("length", 1e-3), "nm": ("length", 1e-6),
    "cm": ("length", 10.0), "m": ("length", 1e3), "in": ("length", 25.4), "inch": ("length", 25.4),
    "rad": ("angle", 1.0), "mrad": ("angle", 1e-3), "urad": ("angle", 1e-6), "deg": ("angle", math.pi / 180),
    "degrees": ("angle", math.pi / 180), "arcmin": ("angle", math.pi / 10800), "arcsec": ("angle", math.pi / 648000),
    "ratio": ("ratio", 1.0), "fraction": ("ratio", 1.0), "frac": ("ratio", 1.0), "pct": ("ratio", 1e-2),
    "percent": ("ratio", 1e-2), "ppm": ("ratio", 1e-6), "ppb": ("ratio", 1e-9),
}  # fmt: skip


class Missing(Exception):
    """A rule needs an input the case does not give."""


class IsList(Exception):
    """A rule wants one number, the case gives a list: the runner asks again for each element."""


def plain(name: str) -> str:
    """The name in small letters and digits only."""
    return re.sub(r"[^a-z0-9]", "", name.lower())


def tokens(name: str) -> tuple[str, ...]:
    """The words of a name in alphabetical order: "flatness_mz" and "mz_flatness" are one."""
    return tuple(sorted(name.lower().split("_")))


def split_unit(name: str) -> tuple[str, str]:
    """("length", "um") for "length_um", ("length", "") for "length"."""
    stem, _, last = name.rpartition("_")
    if stem and last.lower() in UNITS:
        return stem, last.lower()
    return name, ""


def convert(value: Any, have: str, want: str) -> Any:
    """Numbers of unit `have` in unit `want`; unchanged if one is missing or of another kind."""
    if have == want or have not in UNITS or want not in UNITS or UNITS[have][0] != UNITS[want][0]:
        return value
    factor = UNITS[have][1] / UNITS[want][1]
    if isinstance(value, list | tuple):
        return [convert(v, have, want) for v in value]
    if isinstance(value, bool) or not isinstance(value, int | float | np.number | np.ndarray):
        return value
    return value * factor


@dataclass
class Given:
    """Topic and inputs of a case."""

    topic: str
    inputs: dict[str, Any]
    folders: tuple[Path, ...] = ()
    used: set[str] = field(default_factory=set)

    def find(self, names: Sequence[str], unit: str = "") -> Any:
        """The value of the first name that is given (exact spelling first, then loosely, with or without unit)."""
        exact = {split_unit(key)[0]: key for key in self.inputs}
        exact |= {key: key for key in self.inputs}
        loose = {plain(split_unit(key)[0]): key for key in self.inputs}
        loose |= {plain(key): key for key in self.inputs}
        turned = {tokens(split_unit(key)[0]): key for key in self.inputs if "_" in key}
        for name in names:
            key = exact.get(name)
            if key is None and len(plain(name)) > 1:
                key = loose.get(plain(name))
            if key is None and "_" in name:
                key = turned.get(tokens(name))
            if key is not None:
                self.used.add(key)
                value = self.inputs[key]
                have = split_unit(key)[1] if key != name else ""
                return convert(value, have, unit) if have else value
        raise Missing(" or ".join(names))

    def has(self, *names: str) -> bool:
        """True if one of the names is given."""
        try:
            self.find(names)
        except Missing:
            return False
        return True

    def num(self, *names: str, unit: str = "", default: float | None = None) -> float:
        """A number."""
        try:
            value = self.find(names, unit)
        except Missing:
            if default is None:
                raise
            return default
        if isinstance(value, list):
            raise IsList(names[0])
        if isinstance(value, str):
            try:
                return float(value)
            except ValueError as error:
                raise Missing(" or ".join(names)) from error
        if isinstance(value, dict) or value is None:
            raise Missing(" or ".join(names))
        return float(value)

    def whole(self, *names: str, default: int | None = None) -> int:
        """A whole number."""
        return round(self.num(*names, default=None if default is None else float(default)))

    def many(self, *names: str, unit: str = "") -> list[float]:
        """A flat list of numbers (a single number is a list of one)."""
        value = self.find(names, unit)
        if isinstance(value, int | float) and not isinstance(value, bool):
            return [float(value)]
        if not isinstance(value, list) or not all(isinstance(v, int | float) for v in value):
            raise Missing(" or ".join(names))
        return [float(v) for v in value]

    def matrix(self, *names: str) -> Any:
        """A list of lists of numbers as an array."""
        value = self.find(names)
        if not isinstance(value, list) or not value or not isinstance(value[0], list):
            raise Missing(" or ".join(names))
        return np.asarray(value, dtype=float)

    def word(self, *names: str, default: str | None = None) -> str:
        """A text."""
        try:
            value = self.find(names)
        except Missing:
            if default is None:
                raise
            return default
        if not isinstance(value, str):
            raise Missing(" or ".join(names))
        return value

    def flag(self, *names: str, default: bool = False) -> bool:
        """A yes or no."""
        try:
            return bool(self.find(names))
        except Missing:
            return default

    def says(self, pattern: str) -> bool:
        """True if the topic or a text input matches the pattern (any case)."""
        words = [self.topic, *(f"{k} {v}" for k, v in self.inputs.items() if isinstance(v, str))]
        return re.search(pattern, " | ".join(words), re.IGNORECASE) is not None

    def path(self) -> Path:
        """Where the data file of the case lies."""
        name = self.word("file", "data", "data_file", "csv", "dataset")
        return locate(name, self.folders)

    def rows(self) -> list[dict[str, Any]]:
        """The rows of the case's CSV file, numbers as float."""
        path = self.path()
        if path.suffix != ".csv":
            raise Missing("a csv file")
        lines = [line for line in path.read_text(encoding="utf-8").splitlines() if line and not line.startswith("#")]
        return [{k: _value(v) for k, v in row.items()} for row in csv.DictReader(lines)]

    def column(self, *patterns: str) -> list[float]:
        """The first numeric column whose name matches one of the patterns, of the file."""
        rows = self.rows()
        for pattern in patterns:
            for name in rows[0]:
                if re.search(pattern, name, re.IGNORECASE) and all(isinstance(r[name], float) for r in rows):
                    return [float(r[name]) for r in rows]
        raise Missing("a column like " + " or ".join(patterns))

    def values(self) -> list[float]:
        """The measured values: a list among the inputs, or the file's value column."""
        listed = ("values", "x", "data", "readings", "measurements", "sample", "observations", "y", "parts")
        for name in listed:
            try:
                found = self.find([name])
            except Missing:
                continue
            if isinstance(found, list) and found and all(isinstance(v, int | float) for v in found):
                return [float(v) for v in found]
        return self.column(*VALUE_COLUMNS)

    def groups(self) -> list[list[float]]:
        """Subgroups: lists among the inputs, or the file's values by its group column."""
        for name in ("groups", "subgroups", "batches", "samples", "data", "values"):
            try:
                found = self.find([name])
            except Missing:
                continue
            if isinstance(found, dict):
                found = list(found.values())
            if isinstance(found, list) and found and all(isinstance(v, list) for v in found):
                return [[float(v) for v in row] for row in found]
        values = self.values()
        rows = self.rows()
        for name in GROUP_COLUMNS:
            if name in rows[0]:
                out: dict[Any, list[float]] = {}
                for row, value in zip(rows, values, strict=True):
                    out.setdefault(row[name], []).append(value)
                return list(out.values())
        raise Missing("subgroups")


VALUE_COLUMNS = (
    r"^(value|y|x)(_|$)", r"diameter|thickness|flowrate|weight|deviation|measured|average|mean|defects", r".",
)  # fmt: skip
GROUP_COLUMNS = ("batch", "group", "subgroup", "day", "machine", "lot", "sample", "operator", "part", "level")


def _value(text: str) -> float | str:
    """A number if it is one."""
    try:
        return float(text)
    except ValueError:
        return text


def locate(name: str, folders: Sequence[Path] = ()) -> Path:
    """A data file by name: beside the cases, in our data folder, or in the SciPy wheel."""
    spec = importlib.util.find_spec("scipy")
    wheel = [Path(p).parent for p in (spec.submodule_search_locations or [])] if spec else []
    inside = [path for path in sorted(DATA.iterdir()) if path.is_dir()]
    for folder in (*folders, DATA, *inside, *wheel):
        for tail in (Path(name), Path(Path(name).name), Path(Path(name).parent.name) / Path(name).name):
            if not tail.is_absolute() and (folder / tail).is_file():
                return folder / tail
    raise Missing(f"file {name}")


Answers = dict[str, Any]
Rule = Callable[[Given], Answers]


@dataclass(frozen=True)
class Entry:
    """A rule, the area it belongs to and the topics it is for."""

    area: int
    topic: re.Pattern[str]
    rule: Rule


ENTRIES: list[Entry] = []


def rule(area: int, topic: str) -> Callable[[Rule], Rule]:
    """Register a rule for an area and for topics that match a pattern."""

    def keep(law: Rule) -> Rule:
        ENTRIES.append(Entry(area, re.compile(topic, re.IGNORECASE), law))
        return law

    return keep


def spread(answers: Answers) -> Answers:
    """Answers with each of the names of "a|b|c" on its own."""
    return {name: value for names, value in answers.items() for name in names.split("|")}


def pick(answers: Answers, name: str) -> Any:
    """The answer a case calls `name` (exact, then loosely, then with its unit converted); Missing if there is none."""
    if name in answers:
        return _asked(answers[name])
    stem, unit = split_unit(name)
    for key, value in answers.items():
        other, have = split_unit(key)
        if other == stem and have and unit and UNITS[have][0] == UNITS[unit][0]:
            return convert(_asked(value), have, unit)
    loose = plain(name)
    for wanted in (loose, plain(stem)):
        if len(wanted) > 1:
            for key, value in answers.items():
                other, have = split_unit(key)
                if plain(key) == wanted:
                    return _asked(value)
                if plain(other) == wanted:
                    return convert(_asked(value), have, unit) if unit else _asked(value)
    if stem in answers:
        return _asked(answers[stem])
    for key, value in answers.items():
        other, have = split_unit(key)
        if "_" in stem and tokens(other) == tokens(stem):
            return convert(_asked(value), have, unit) if unit else _asked(value)
    raise Missing(name)


def _asked(value: Any) -> Any:
    """The value, worked out now if the rule left it for later."""
    return value() if callable(value) else value
