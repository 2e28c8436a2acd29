"""One table of a typed file: reads keys by kind and unit, complains of everything that is wrong with them."""

import difflib
import math
import re
from collections.abc import Iterable
from typing import Any

from halfthou.base.errors import Complaint
from halfthou.base.units import MM_PER_INCH
from halfthou.files.bands import BANDS, Band, slip_hints
from halfthou.files.lines import Path, Sheet

NEED: Any = object()
UNKNOWN = "not known"
OPEN = "?"  # what a skeleton writes where the shop has to fill in
MOST = 1e15  # no shop types a larger number
_COMMA = re.compile(r"^\s*[-+]?\d+,\d+\s*$")
_NUMBER = re.compile(r"^\s*[-+]?(\d+\.?\d*|\.\d+)([eE][-+]?\d+)?\s*$")


def nearest(word: str, words: Iterable[str]) -> str:
    """The known word nearest to a mistyped one, or an empty text."""
    close = difflib.get_close_matches(word.lower(), sorted(words), n=1, cutoff=0.5)
    return close[0] if close else ""


class Node:
    """A table (or a CSV row). Every key asked for counts as known; `done` complains of the others."""

    def __init__(
        self, sheet: Sheet, data: dict[str, Any], path: Path = (), unit: str = "mm", sure: Iterable[str] = ()
    ) -> None:
        """`sure`: names, relative to this table, whose band the user has confirmed."""
        self.sheet, self.data, self.path, self.unit = sheet, data, path, unit
        self.known: set[str] = {"sure"}
        own = data.get("sure", [])
        if isinstance(own, str):
            own = re.split(r"[\s;,]+", own)
        self.sure = {*sure, *(str(name) for name in own)} if isinstance(own, list) else set(sure)

    def complain(self, code: str, key: str | None, what: str, why: str = "", do: str = "") -> None:
        """Note one thing wrong with a key (None: with the whole table)."""
        path = self.path if key is None else (*self.path, key)
        if key is not None and path not in self.sheet.spots:
            path = (*self.path, *_parts(key))
        self.sheet.complaints.append(Complaint(code=code, place=self.sheet.place(path), what=what, why=why, do=do))

    def has(self, key: str) -> bool:
        """Whether a key is there; it then counts as known."""
        self.known.add(key)
        return key in self.data

    def allow(self, *keys: str) -> None:
        """Keys that are known here although nothing asks for them this time."""
        self.known.update(keys)

    def _missing(self, key: str, default: Any, nothing: Any) -> Any:
        if default is NEED:
            name = f"[{'.'.join(str(p) for p in self.path if isinstance(p, str))}]" if self.path else "the file"
            self.complain("F004", None, f"`{key}` is missing in {name}", do=f"add {key} = …")
            return nothing
        return default

    def number(
        self,
        key: str,
        default: Any = NEED,
        *,
        kind: str = "plain",
        band: str = "",
        least: float | None = None,
        over: float | None = None,
    ) -> Any:
        """A number in the unit inside. kind: plain, length, per minute, m/s (accelerations, jerks), degree."""
        if not self.has(key):
            return self._missing(key, default, math.nan)
        raw = self._plain_number(self.data[key], key)
        return raw if math.isnan(raw) else self._checked(raw, key, kind, band, least, over)

    def _open(self, value: Any, key: str) -> bool:
        """Whether the value is still the question mark of a skeleton; complained of once a key."""
        if value != OPEN and not (isinstance(value, list) and OPEN in value):
            return False
        self.complain("F004", key, f"`{key}` is not filled in yet", do="put the value in place of the question mark")
        return True

    def _plain_number(self, value: Any, key: str) -> float:
        if self._open(value, key):
            return math.nan
        if self.sheet.table and isinstance(value, str):
            if _COMMA.match(value):
                fixed = value.strip().replace(",", ".")
                self.complain(
                    "F301", key, f"`{value.strip()}` has a decimal comma", "a comma may also separate columns",
                    f"write {fixed}",
                )  # fmt: skip
                return math.nan
            if _NUMBER.match(value) and abs(float(value)) < MOST:
                return float(value)
        elif isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < MOST:
            return float(value)
        self.complain("F005", key, f"`{key}` should be a number, not {value!r}", do="write a plain number with a point")
        return math.nan

    def _checked(self, raw: float, key: str, kind: str, band: str, least: float | None, over: float | None) -> float:
        value = self.inside(raw, kind)
        if (least is not None and value < least) or (over is not None and value <= over):
            bound = f"at least {least:g}" if least is not None else f"more than {over:g}"
            self.complain("F009", key, f"{key} = {raw:g} cannot be: it must be {bound}")
            return math.nan
        if band:
            self.judge(key, value, BANDS[band], f"{raw:g}{self._unit_word(kind)}")
        return value

    def inside(self, raw: float, kind: str) -> float:
        """A typed number in mm, mm/s, mm/s², rad."""
        if kind == "length":
            return raw * (MM_PER_INCH if self.unit == "inch" else 1.0)
        if kind == "per minute":
            return raw * (MM_PER_INCH if self.unit == "inch" else 1.0) / 60.0
        if kind == "m/s":
            return raw * 1000.0
        return math.radians(raw) if kind == "degree" else raw

    def _unit_word(self, kind: str) -> str:
        words = {"length": f" {self.unit}", "per minute": f" {self.unit}/min", "degree": " degrees"}
        return words.get(kind, "")

    def judge(self, key: str, value: float, band: Band, typed: str, *, at: str = "", says: str = "") -> None:
        """Ask back a value outside its plausible band, unless the file says `sure`.

        at: where it stands when that is not the key itself; says: what it is instead of "key =".
        """
        refused = band.refuse is not None and value > band.refuse
        if band.low - 1e-9 <= value <= band.high + 1e-9 or (key in self.sure and not refused):
            return
        slips = slip_hints(value, band, self.unit)
        shown = f"{typed} (= {value / band.per:g} {band.shown})" if band.shown not in typed else typed
        do = "; ".join((*slips, f'if it is really so, add sure = ["{key}"] to this table'))
        if refused:
            do = "; ".join((*slips, f"more than {(band.refuse or 0) / band.per:g} {band.shown} is refused"))
        self.complain(
            "F007", at or key, f"{says or key + ' ='} {shown} is outside the plausible {band.range_text()} ({band.name})",
            f"{band.why} ({band.source}).", do,
        )  # fmt: skip

    def whole(self, key: str, default: Any = NEED, *, least: int = 0, band: str = "") -> Any:
        """A whole number."""
        value = self.number(key, default, least=least, band=band)
        if value is default or value is None:
            return default
        if math.isnan(value):
            return default if default is not NEED else -1
        if value != int(value):
            self.complain("F005", key, f"{key} = {value:g} should be a whole number")
        return int(value)

    def text(self, key: str, default: Any = NEED, *, words: Iterable[str] = ()) -> Any:
        """A text; with `words` one of them, in any case."""
        if not self.has(key):
            return self._missing(key, default, "")
        value = self.data[key]
        if self._open(value, key):
            return "" if default is NEED else default
        if not isinstance(value, str):
            self.complain("F005", key, f"`{key}` should be text in quotes, not {value!r}")
            return "" if default is NEED else default
        allowed = tuple(words)
        if allowed and value.strip().lower() not in {word.lower() for word in allowed}:
            near = nearest(value, allowed)
            hint = f"did you mean {near!r}? " if near else ""
            self.complain("F006", key, f"{key} = {value!r} is not known", do=f"{hint}known: {', '.join(allowed)}")
            return "" if default is NEED else default
        return value.strip().lower() if allowed else value.strip() if self.sheet.table else value

    def flag(self, key: str, default: Any = NEED) -> Any:
        """true or false (yes and no too in a CSV)."""
        if not self.has(key):
            return self._missing(key, default, False)
        value = self.data[key]
        if self.sheet.table and isinstance(value, str):
            low = value.strip().lower()
            if low in ("true", "yes", "1", "false", "no", "0"):
                return low in ("true", "yes", "1")
        if not isinstance(value, bool):
            self.complain("F005", key, f"`{key}` should be true or false, not {value!r}")
            return default if default is not NEED else False
        return value

    def vector(
        self, key: str, n: int, default: Any = NEED, *, kind: str = "length", band: str = "", least: float | None = None
    ) -> Any:
        """A list of n numbers."""
        if not self.has(key):
            return self._missing(key, default, (math.nan,) * n)
        value = self.data[key]
        if self._open(value, key):
            return (math.nan,) * n
        if not isinstance(value, list) or len(value) != n:
            self.complain(
                "F005", key, f"`{key}` should be a list of {n} numbers", do=f"write {key} = [{', '.join('…' * n)}]"
            )
            return default if default is not NEED else (math.nan,) * n
        found = []
        for i, item in enumerate(value):
            raw = self._plain_number(item, f"{key}.{i}")
            checked = raw if math.isnan(raw) else self.inside(raw, kind)
            if least is not None and checked < least:
                self.complain("F009", f"{key}.{i}", f"{key} holds {raw:g}: it must be at least {least:g}")
            if band and not math.isnan(raw) and key not in self.sure:
                self.judge(key, checked, BANDS[band], f"{raw:g}{self._unit_word(kind)}", at=f"{key}.{i}")
            found.append(checked)
        return tuple(found)

    def child(self, key: str, default: Any = NEED) -> "Node | None":
        """A table inside this one; None when it is not there or is no table."""
        if not self.has(key):
            self._missing(key, default, None)
            return None
        value = self.data[key]
        if not isinstance(value, dict):
            self.complain("F005", key, f"`{key}` should be a table", do=f"write [{key}] or {key} = {{ … }}")
            return None
        return self._inner(value, (*self.path, key), key)

    def children(self, key: str) -> "list[Node]":
        """An array of tables; a single table counts as one."""
        if not self.has(key):
            return []
        value = self.data[key]
        if isinstance(value, dict):
            return [self._inner(value, (*self.path, key), key)]
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            self.complain("F005", key, f"`{key}` should be tables", do=f"write [[{key}]] above each")
            return []
        return [self._inner(item, (*self.path, key, i), key) for i, item in enumerate(value)]

    def _inner(self, value: dict[str, Any], path: Path, key: str) -> "Node":
        sure = {name[len(key) + 1 :] for name in self.sure if name.startswith(key + ".")}
        return Node(self.sheet, value, path, self.unit, sure)

    def done(self) -> None:
        """Complain of every key nobody asked for."""
        for key in self.data:
            if key in self.known:
                continue
            near = nearest(key, self.known)
            do = f"did you mean `{near}`?" if near else f"known here: {', '.join(sorted(self.known - {'sure'}))}"
            self.complain("F003", key, f"`{key}` is not a known key", do=do)


def _parts(key: str) -> Path:
    return tuple(int(part) if part.isdigit() else part for part in key.split("."))
