"""Numbers, variables, expressions: parsed once, evaluated as often as the block runs.

Source: NISTIR 6556, 3.3.2 (strict); differences of the mill profile are common practice, from memory.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from halfthou.nc.fault import Fault

Number = float | None  # None = an empty variable
Read = Callable[[int], Number]

FUNCTIONS = ("ABS", "ACOS", "ASIN", "ATAN", "COS", "EXP", "FIX", "FUP", "LN", "ROUND", "SIN", "SQRT", "TAN")
COMPARE = ("EQ", "NE", "GT", "GE", "LT", "LE")
NEAR_INTEGER = 1e-4 + 1e-9


@dataclass(frozen=True, slots=True)
class Node:
    """One node of an expression. op: 'num', '#', 'neg', a function name, or an operator."""

    op: str
    value: float = 0.0
    args: tuple["Node", ...] = ()


class Parser:
    """Reads values from a block's text without spaces (upper case); `at` is where the next one starts."""

    def __init__(self, text: str, columns: Sequence[int], *, strict: bool) -> None:
        """Start at the beginning."""
        self.text, self.columns, self.strict = text, columns, strict
        self.at = 0
        self.spaced = False  # a number with a space inside was read

    def peek(self) -> str:
        """The next character, "" at the end."""
        return self.text[self.at] if self.at < len(self.text) else ""

    def column(self, at: int | None = None) -> int:
        """Column in the line, from 1."""
        k = self.at if at is None else at
        return self.columns[k] + 1 if k < len(self.columns) else (self.columns[-1] + 2 if self.columns else 1)

    def fault(self, kind: str, what: str, do: str = "", at: int | None = None) -> Fault:
        """A fault at the present character."""
        k = self.at if at is None else at
        return Fault(kind, what, do=do, column=self.column(k), word=self.text[k : k + 1])

    def number(self) -> tuple[float, bool]:
        """A literal with optional sign; returns the value and whether it has a decimal point."""
        text, start = self.text, self.at
        k = start
        if k < len(text) and text[k] in "+-":
            k += 1
        digits = points = 0
        while k < len(text) and text[k] in "0123456789.":
            points += text[k] == "."
            digits += text[k] != "."
            k += 1
        if points > 1 or not digits:
            raise self.fault("bad-number", f"{text[start:k] or text[start : start + 1]!r} is not a number")
        if self.columns[k - 1] - self.columns[start] != k - 1 - start:
            self.spaced = True
        self.at = k
        return float(text[start:k]), points == 1

    def value(self) -> Node:
        """A real value: number, variable, bracketed expression or function."""
        c = self.peek()
        if c == "#":
            return self.variable()
        if c == "[":
            return self.bracket()
        if c and c in "0123456789.":
            return Node("num", self.number()[0])
        if c in ("+", "-") and c:
            after = self.text[self.at + 1 : self.at + 2]
            if after and after in "0123456789.":
                return Node("num", self.number()[0])
            if self.strict or (after not in ("#", "[") and not after.isalpha()):
                raise self.fault("bad-number", "a sign must stand before a number", at=self.at)
            self.at += 1
            inner = self.value()
            return Node("neg", args=(inner,)) if c == "-" else inner
        if c.isalpha():
            return self.function()
        raise self.fault("missing-value" if not c else "bad-number", "a value is missing here")

    def function(self) -> Node:
        """A function with its argument in brackets."""
        start = self.at
        end = start
        while end < len(self.text) and self.text[end].isalpha():
            end += 1
        name = self.text[start:end]
        if not self.strict and name in ("POW", "BIN", "BCD"):
            raise Fault("unknown-function", f"{name} is not read", do="write the value out", word=name)
        if name not in FUNCTIONS or self.text[end : end + 1] != "[":
            raise Fault(
                "unknown-function", f"{name} is not a function", do=f"known: {' '.join(FUNCTIONS)}",
                word=name, column=self.column(start),
            )  # fmt: skip
        self.at = end
        first = self.bracket()
        if name == "ATAN" and self.peek() == "/":
            self.at += 1
            if self.peek() != "[":
                raise self.fault("unbalanced-bracket", "ATAN[a]/[b] needs two brackets")
            return Node("ATAN2", args=(first, self.bracket()))
        return Node(name, args=(first,))

    def variable(self) -> Node:
        """`#` and the value it is named by."""
        self.at += 1
        if self.peek() == "<":
            raise self.fault("unsupported-flow-word", "named variables are not read", "use numbered variables")
        c = self.peek()
        if c == "#":
            return Node("#", args=(self.variable(),))
        if c == "[":
            return Node("#", args=(self.bracket(),))
        if (c and c in "0123456789.") or (c in "+-" and c):
            return Node("#", args=(Node("num", self.number()[0]),))
        if c.isalpha() and self.text[self.at : self.at + 2].isalpha():
            return Node("#", args=(self.function(),))
        raise self.fault("missing-value", "a variable needs a number after #")

    def bracket(self) -> Node:
        """`[ … ]`."""
        opening = self.at
        self.at += 1
        inner = self.expression()
        if self.peek() != "]":
            raise self.fault("unbalanced-bracket", "a [ is not closed", at=opening)
        self.at += 1
        return inner

    def operator(self, names: Sequence[str]) -> str:
        """The operator that stands here, if it is one of `names`; longest first."""
        for name in names:
            if self.text.startswith(name, self.at):
                if name == "*" and self.text.startswith("**", self.at):
                    continue
                self.at += len(name)
                return name
        return ""

    def expression(self) -> Node:
        """Values and operators by group, left to right inside a group; comparisons last (mill)."""
        left = self.sum()
        while not self.strict:
            name = self.operator(COMPARE)
            if not name:
                break
            left = Node(name, args=(left, self.sum()))
        return left

    def sum(self) -> Node:
        """+ - OR XOR AND: one group, left to right."""
        left = self.product()
        while name := self.operator(("+", "-", "OR", "XOR", "AND")):
            left = Node(name, args=(left, self.product()))
        return left

    def product(self) -> Node:
        """* / MOD."""
        left = self.power()
        while name := self.operator(("*", "/", "MOD")):
            left = Node(name, args=(left, self.power()))
        return left

    def power(self) -> Node:
        """** binds tightest, leftmost first."""
        left = self.value()
        while self.operator(("**",)):
            left = Node("**", args=(left, self.value()))
        return left


@dataclass(frozen=True, slots=True)
class Rules:
    """What differs between the profiles when a value is worked out."""

    strict: bool
    positive_atan: bool = False


def whole(value: float, what: str) -> int:
    """The integer within 0.0001 of `value` (NISTIR 6556, 3.3.2.1)."""
    near = round(value)
    if abs(value - near) > NEAR_INTEGER:
        raise Fault("not-an-integer", f"{what} must be a whole number, not {value:g}")
    return near


def evaluate(node: Node, read: Read, rules: Rules, *, condition: bool = False) -> Number:
    """The value of a node; None only for a bare empty variable."""
    op = node.op
    if op == "num":
        return node.value
    if op == "#":
        return read(index_of(node, read, rules))
    args = [evaluate(arg, read, rules, condition=condition) for arg in node.args]
    if op in COMPARE:
        return _compare(op, args[0], args[1])
    numbers = [0.0 if arg is None else arg for arg in args]
    if op == "neg":
        return -numbers[0]
    if len(numbers) == 2:
        return _pair(op, numbers[0], numbers[1], rules, condition)
    return _function(op, numbers[0], rules)


def index_of(node: Node, read: Read, rules: Rules) -> int:
    """The number of the variable a '#' node names."""
    value = evaluate(node.args[0], read, rules)
    number = whole(0.0 if value is None else value, "the number of a variable")
    if not (1 if rules.strict else 0) <= number <= (5399 if rules.strict else 19999):
        raise Fault("parameter-out-of-range", f"there is no variable #{number}", word="#")
    return number


def _compare(op: str, a: Number, b: Number) -> float:
    if op in ("EQ", "NE") and (a is None or b is None):
        same = a is None and b is None
        return float(same if op == "EQ" else not same)
    x, y = a or 0.0, b or 0.0
    return float({"EQ": x == y, "NE": x != y, "GT": x > y, "GE": x >= y, "LT": x < y, "LE": x <= y}[op])


def _pair(op: str, a: float, b: float, rules: Rules, condition: bool) -> float:
    if op == "+":
        return a + b
    if op == "-":
        return a - b
    if op == "*":
        return a * b
    if op == "/":
        if b == 0.0:
            raise Fault("math-domain", "division by zero", word="/")
        return a / b
    if op == "MOD":
        if b == 0.0:
            raise Fault("math-domain", "MOD by zero", word="MOD")
        return a - b * math.floor(a / b)
    if op == "**":
        try:
            power = a**b
        except (ZeroDivisionError, OverflowError):
            raise Fault("math-domain", f"{a:g} ** {b:g} has no value", word="**") from None
        if isinstance(power, complex):
            raise Fault("math-domain", f"{a:g} ** {b:g} has no value", word="**")
        return float(power)
    if op == "ATAN2":
        turn = math.degrees(math.atan2(a, b))
        if turn == -180.0:
            turn = 180.0
        return turn + 360.0 if rules.positive_atan and turn < 0 else turn
    if rules.strict or condition:
        x, y = a != 0.0, b != 0.0
        return float({"AND": x and y, "OR": x or y, "XOR": x != y}[op])
    i, j = whole(a, op), whole(b, op)
    return float({"AND": i & j, "OR": i | j, "XOR": i ^ j}[op])


def _function(op: str, a: float, rules: Rules) -> float:
    if op in ("ASIN", "ACOS"):
        if abs(a) > 1.0 + 1e-9:
            raise Fault("math-domain", f"{op} of {a:g} has no value", word=op)
        a = max(-1.0, min(1.0, a))
        return math.degrees(math.asin(a) if op == "ASIN" else math.acos(a))
    if (op == "SQRT" and a < 0) or (op == "LN" and a <= 0):
        raise Fault("math-domain", f"{op} of {a:g} has no value", word=op)
    if op == "FIX":
        return float(math.floor(a) if rules.strict else math.trunc(a))
    if op == "FUP":
        return float(math.ceil(a) if rules.strict or a >= 0 else math.floor(a))
    if op == "ROUND":
        return math.copysign(math.floor(abs(a) + 0.5), a) if a else 0.0
    try:
        return float(_PLAIN[op](a))
    except OverflowError:
        raise Fault("math-domain", f"{op} of {a:g} is too large", word=op) from None


_PLAIN: dict[str, Callable[[float], float]] = {
    "ABS": abs,
    "COS": lambda v: math.cos(math.radians(v)),
    "SIN": lambda v: math.sin(math.radians(v)),
    "TAN": lambda v: math.tan(math.radians(v)),
    "ATAN": lambda v: math.degrees(math.atan(v)),
    "EXP": math.exp,
    "LN": math.log,
    "SQRT": math.sqrt,
}
