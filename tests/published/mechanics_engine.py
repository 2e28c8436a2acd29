"""Finds the formula a mechanics case asks for, from its formula reference, its words and the names of its inputs.

A `Law` lists the quantities it needs with every spelling, and what it gives. A question fits a law if all needed
quantities are there in fitting units; of the fitting ones the one that uses most inputs and shares most words wins. A
law whose result is given and one quantity missing is solved backwards. Neither id nor expected value reach this file.
"""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from types import SimpleNamespace
from typing import Any

from tests.published.mechanics_units import Dims, UnknownUnit, is_unit, unit

PLAIN: Dims = (0, 0, 0)
TIME: Dims = (0, 0, 1)
ANY: Dims = (99, 99, 99)  # a time, or a number in the time unit of the question (or in none)


@dataclass(frozen=True)
class Given:
    """One input as read: name, raw value, its dims (None: no unit written), factor to the base."""

    name: str
    value: Any
    dims: Dims | None
    factor: float

    def inside(self, default: float, house: float) -> Any:
        """The value in the unit with factor `house`; `default` is the factor for a number without a unit."""
        factor = (default if self.dims is None else self.factor) / house
        if isinstance(self.value, list):
            return [v * factor for v in self.value]
        return self.value * factor


def number(raw: Any) -> Any:
    """A number, a list of numbers, or None: also of texts such as "1/3"."""
    if isinstance(raw, bool):
        return None
    if isinstance(raw, int | float):
        return float(raw)
    if isinstance(raw, str):
        match = re.fullmatch(r"\s*(-?[\d.]+(?:e-?\d+)?)\s*(?:/\s*([\d.]+(?:e-?\d+)?))?\s*", raw)
        return float(match[1]) / float(match[2] or 1) if match else None
    if isinstance(raw, list) and raw:
        values = [number(v) for v in raw]
        return values if all(isinstance(v, float) for v in values) else None
    return None


@dataclass(frozen=True)
class Question:
    """What a case asks, without its id and its answer."""

    ref: str
    area: str
    title: str
    inputs: dict[str, Any]
    unit: str
    givens: dict[str, Given] = field(default_factory=dict)
    text: str = ""

    @staticmethod
    def of(ref: str, area: str, title: str, inputs: dict[str, Any], asked: str) -> "Question":
        """Read the inputs."""
        givens, words = {}, [title]
        for name, raw in inputs.items():
            value, written = raw, None
            if isinstance(raw, dict) and "value" in raw:
                value, written = raw["value"], raw.get("unit")
            got = number(value)
            if got is None:
                if isinstance(value, str):
                    words.append(f"{name} {value}")
                continue
            if written is None or not is_unit(str(written)):  # "HB" and the like: a number
                givens[name] = Given(name, got, None, 1.0)
            else:
                read = unit(str(written))
                givens[name] = Given(name, got, read.dims, read.factor)
        return Question(ref, area, title, inputs, asked, givens, " ; ".join(words))

    def says(self, pattern: str) -> bool:
        """Whether title or text inputs match, letter case aside."""
        return bool(pattern) and re.search(pattern, self.text, re.IGNORECASE) is not None


@dataclass(frozen=True)
class Need:
    """A quantity: key, spellings, factors of a bare number and of the number handed over, default if it may be missing."""

    key: str
    names: tuple[str, ...]
    bare: float
    house: float
    dims: Dims
    default: float | None = None
    optional: bool = False


def _bare(name: str) -> str:
    return re.sub(r"[\s_.\-,(){}^]", "", name)


def needs(text: str) -> tuple[Need, ...]:
    """Read "key:unit=spelling|spelling; ?key:deg>rad=…(default)": a line of a law.

    The unit is that of a bare number and of the number handed over; "deg>rad" names both. "?" = may be missing.
    """
    out = []
    for piece in filter(None, (p.strip() for p in text.split(";"))):
        head, names = piece.split("=", 1)
        optional = head.startswith("?")
        key, written = head.lstrip("?").split(":")
        default = None
        if optional and (match := re.search(r"\(([^()]*)\)$", names)):
            default, names = float(match[1]), names[: match.start()]
        spelt = tuple(names.strip().split("|"))
        if written == "any":
            out.append(Need(key, spelt, 1.0, 1.0, ANY, default, optional))
            continue
        bare, house = unit(written.split(">")[0]), unit(written.split(">")[-1])
        out.append(Need(key, spelt, bare.factor, house.factor, house.dims, default, optional))
    return tuple(out)


@dataclass(frozen=True)
class Out:
    """A result: its spellings, unit, words of a title that ask for it, and how it is computed (house units)."""

    names: tuple[str, ...]
    dims: Dims
    factor: float
    words: str
    compute: Callable[[Any], Any]


def out(names: str, written: str, words: str, compute: Callable[[Any], Any]) -> Out:
    """A result of a law."""
    read = unit(written)
    return Out(tuple(names.split("|")), read.dims, read.factor, words, compute)


@dataclass(frozen=True)
class Law:
    """A formula: references, quantities, results; `when`/`unless` words of the title it needs or must not have."""

    refs: str
    needs: tuple[Need, ...]
    outs: tuple[Out, ...]
    when: str = ""
    unless: str = ""
    ready: Callable[[Question, Any], bool] | None = None


def law(
    refs: str, text: str, *outs: Out, when: str = "", unless: str = "",
    ready: Callable[[Question, Any], bool] | None = None,
) -> Law:  # fmt: skip
    """A law from its line of quantities."""
    return Law(refs, needs(text), outs, when, unless, ready)


def fits(given: Given, need_dims: Dims) -> bool:
    """Whether a given may stand for a quantity of these dims."""
    if need_dims == ANY:
        return given.dims in (None, PLAIN, TIME)
    return given.dims is None or given.dims == need_dims


def find(question: Question, names: Sequence[str], dims: Dims, used: set[str]) -> Given | None:
    """The input with one of the spellings: exact, then without marks and case, then with its unit in the name."""
    free = [g for g in question.givens.values() if g.name not in used and fits(g, dims)]
    for name in names:
        for given in free:
            if given.name == name or _bare(given.name) == _bare(name):
                return given
    for name in names:
        if len(_bare(name)) < 2:
            continue
        for given in free:
            if _bare(given.name).lower() == _bare(name).lower():
                return given
    for given in free:
        if given.dims is not None or "_" not in given.name:
            continue
        stem, tail = given.name.rsplit("_", 1)
        try:
            read = unit(tail)
        except UnknownUnit:
            continue
        if read.dims == dims and any(_bare(stem) == _bare(name) for name in names):
            return Given(given.name, given.value, read.dims, read.factor)
    return None


@dataclass(frozen=True)
class Match:
    """A law that answers the question: how well, and the way to its number (base units)."""

    score: float
    order: int
    compute: Callable[[], Any]
    what: str


def _time_factor(question: Question) -> float:
    """Seconds of a time without a unit: the unit asked for if it is a time, else 1."""
    asked = unit(question.unit)
    return asked.factor if asked.dims == TIME else 1.0


def _values(question: Question, law: Law) -> tuple[dict[str, Any], set[str], list[Need]]:
    used: set[str] = set()
    values: dict[str, Any] = {}
    missing = []
    for need in law.needs:
        got = find(question, need.names, need.dims, used)
        if got is None:
            values[need.key] = need.default
            if not need.optional:
                missing.append(need)
            continue
        used.add(got.name)
        bare = _time_factor(question) if need.dims == ANY else need.bare
        values[need.key] = got.inside(bare, need.house)
    return values, used, missing


def _asked_dims(question: Question) -> Dims | None:
    """Dims of the unit asked for; None if units are left out ("time", or plain numbers everywhere)."""
    if question.unit in ("time", "life", "unit"):
        return None
    dims = unit(re.sub(r"\bunits?\b", "mm", question.unit)).dims  # "unit/s" of a path in any unit
    bare = all(given.dims in (None, PLAIN) for given in question.givens.values())
    return None if dims == PLAIN and bare else dims


def matches(question: Question, laws: Sequence[Law]) -> list[Match]:
    """All laws that can answer, best first."""
    asked = _asked_dims(question)
    found = []
    for order, one in enumerate(laws):
        if (one.when and not question.says(one.when)) or (one.unless and question.says(one.unless)):
            continue
        values, used, missing = _values(question, one)
        level = _level(question, one)
        if level < 0:
            continue
        if not missing:
            if one.ready is not None and not one.ready(question, SimpleNamespace(**values)):
                continue
            for one_out in one.outs:
                if asked is None or asked == one_out.dims:
                    plain = -0.5 if question.unit in ("", "1") and one_out.dims != PLAIN else 0.0
                    found.append(_forward(question, one, one_out, values, used, level + plain, order))
        elif len(missing) == 1 and (asked in (None, missing[0].dims) or (missing[0].dims == ANY and asked == TIME)):
            found += _backwards(question, one, values, used, missing[0], level, order)
    return sorted(found, key=lambda match: (-match.score, match.order))


def _level(question: Question, one: Law) -> float:
    refs = one.refs.split()
    if question.ref in refs:
        score = 2.0
    elif question.ref[:1] in {ref[:1] for ref in refs}:
        score = 1.0
    else:
        return -1.0
    return score + (1.0 if one.when else 0.0)


def _rank(question: Question, used: set[str]) -> float:
    unused = len(question.givens) - len(used)
    return (2.0 if unused == 0 else 0.0) - unused


def _forward(
    question: Question, one: Law, wanted: Out, values: dict[str, Any], used: set[str], level: float, order: int
) -> Match:
    score = level + _rank(question, used) + (1.5 if question.says(wanted.words) else 0.0)
    bag = SimpleNamespace(**values, q=question)
    return Match(score, order, lambda: _times(wanted.compute(bag), wanted.factor), f"{one.refs}:{wanted.names[0]}")


def _times(value: Any, factor: float) -> Any:
    return [v * factor for v in value] if isinstance(value, list | tuple) else value * factor


def _backwards(
    question: Question, one: Law, values: dict[str, Any], used: set[str], gap: Need, level: float, order: int
) -> list[Match]:
    found = []
    for known in one.outs:
        got = find(question, known.names, known.dims, used)
        if got is None or isinstance(got.value, list):
            continue
        target = got.inside(known.factor, 1.0)
        words = "|".join(rf"\b{re.escape(name)}\b" for name in gap.names if len(name) > 2)
        score = level + _rank(question, used | {got.name}) - 0.5 + (1.5 if question.says(words) else 0.0)

        def solve(known: Out = known, target: float = target) -> float:
            def rest(x: float) -> float:
                bag = SimpleNamespace(**{**values, gap.key: x}, q=question)
                return float(known.compute(bag) * known.factor) / target - 1.0 if target else float(known.compute(bag))

            return root(rest) * gap.house

        found.append(Match(score, order, solve, f"{one.refs}:{known.names[0]} for {gap.key}"))
    return found


def root(rest: Callable[[float], float]) -> float:
    """A positive x with rest(x) = 0, found on a logarithmic grid and by halving; NaN if there is none."""

    def tried(x: float) -> float:
        try:
            return rest(x)
        except (ValueError, ZeroDivisionError, OverflowError, ArithmeticError):
            return math.nan

    low, at_low = 0.0, math.nan
    steps = [10 ** (e / 10) for e in range(-120, 121)]
    for x in steps:
        value = tried(x)
        if not math.isnan(at_low) and not math.isnan(value) and at_low * value <= 0:
            return _halve(tried, low, x, at_low)
        low, at_low = x, value
    return math.nan


def _halve(tried: Callable[[float], float], low: float, high: float, at_low: float) -> float:
    for _ in range(200):
        middle = 0.5 * (low + high)
        value = tried(middle)
        if at_low * value <= 0:
            high = middle
        else:
            low, at_low = middle, value
    return 0.5 * (low + high)
