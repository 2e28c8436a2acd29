"""One line of text into a block: words, settings, flow, comments, each with its column. Nothing is evaluated here.

Source: NISTIR 6556, 3.3; the mill profile adds common practice, from memory.
"""

import re
from dataclasses import dataclass, field

from halfthou.nc.expr import FUNCTIONS, Node, Parser
from halfthou.nc.fault import Fault

STRICT_LETTERS = frozenset("ABCDFGHIJKLMNPQRSTXYZ")
MILL_LETTERS = STRICT_LETTERS | frozenset("EUVW")
FLOW_WORDS = ("SUB", "ENDSUB", "CALL", "WHILE", "ENDWHILE", "DO", "IF", "ELSE", "ELSEIF", "ENDIF", "REPEAT",
              "ENDREPEAT", "RETURN", "BREAK", "CONTINUE")  # fmt: skip
MOST_CHARACTERS = 256
DIGITS = "0123456789"
#: A block of only N, G0 or G1, X, Y, Z, F in this order, lengths with a point (or zero).
_NUM = r"([+-]?(?:\d+\.\d*|\.\d+|0+))"
PLAIN = re.compile(
    rf"(?:N\d{{1,9}})? ?(?:G0?([01])(?!\d))? ?(?:X{_NUM})? ?(?:Y{_NUM})? ?(?:Z{_NUM})? ?(?:F(\d+\.?\d*))?"
)
MESSAGE = re.compile(r"^\s*M\s*S\s*G\s*,(.*)$", re.IGNORECASE | re.DOTALL)


@dataclass(frozen=True, slots=True)
class Word:
    """A letter and its value; `literal` is the number as written (None for an expression)."""

    letter: str
    node: Node
    column: int
    text: str
    literal: float | None = None
    point: bool = True


@dataclass(frozen=True, slots=True)
class Setting:
    """`#index = value`."""

    index: Node
    value: Node
    column: int


@dataclass(slots=True)
class Block:
    """One line. delete: None, or the number of the block-delete switch (0 = plain slash)."""

    line: int
    delete: int | None = None
    label: int | None = None
    o_number: int | None = None
    words: list[Word] = field(default_factory=list)
    settings: list[Setting] = field(default_factory=list)
    messages: list[str] = field(default_factory=list)
    comment: str = ""
    flow: str = ""  # "", goto, if-goto, if-then, while, end
    condition: Node | None = None
    target: Node | None = None
    loop: int = 0
    spaced: bool = False

    @property
    def empty(self) -> bool:
        """Nothing to do on this line."""
        return not (self.words or self.settings or self.messages or self.flow)


def strip_comments(line: str, *, strict: bool) -> tuple[str, list[int], list[str]]:
    """Upper-case text without spaces and comments, the column of each character, and the comments."""
    text: list[str] = []
    columns: list[int] = []
    comments: list[str] = []
    k = 0
    while k < len(line):
        c = line[k]
        if c == "(":
            end = line.find(")", k)
            inner = line.find("(", k + 1)
            if inner >= 0 and (end < 0 or inner < end):
                raise Fault("nested-comment", "a comment may not hold another (", column=inner + 1, word="(")
            if end < 0:
                raise Fault("unclosed-comment", "the comment is not closed on its line", column=k + 1, word="(")
            comments.append(line[k + 1 : end])
            k = end + 1
            continue
        if c == ";" and not strict:
            comments.append(line[k + 1 :])
            break
        if c not in " \t\0\r\n":
            text.append(c.upper() if c.isascii() else c)
            columns.append(k)
        k += 1
    return "".join(text), columns, comments


def lex(line: str, number: int, *, strict: bool) -> Block:
    """The block on this line; raises Fault."""
    if strict and len(line) > MOST_CHARACTERS:
        raise Fault("bad-character", f"the line is longer than {MOST_CHARACTERS} characters")
    text, columns, comments = strip_comments(line, strict=strict)
    block = Block(line=number)
    if comments:
        block.comment = comments[-1]
        for comment in comments[-1:] if strict else comments:
            message = MESSAGE.match(comment)
            if message:
                block.messages.append(message.group(1).strip())
    reader = Parser(text, columns, strict=strict)
    _lead(reader, block)
    while reader.at < len(text):
        _item(reader, block)
    block.spaced = reader.spaced
    return block


def _lead(reader: Parser, block: Block) -> None:
    """Slash, line number, O number."""
    _slash(reader, block)
    if reader.peek() == "N":
        start = reader.at
        reader.at += 1
        digits = _digits(reader)
        after = reader.peek()
        if not digits or (after and after in ".+-#["):
            if not digits and not after:
                raise reader.fault("missing-value", "N without a number", at=start)
            if reader.strict or not digits:
                raise reader.fault("bad-line-number", "a line number is a plain whole number", at=start)
            raise reader.fault("bad-line-number", "a line number has no sign, point or formula", at=start)
        if reader.strict and len(digits) > 5:
            raise reader.fault("bad-line-number", "a line number has at most five digits", at=start)
        block.label = int(digits)
        if not reader.strict:
            _slash(reader, block)
    if not reader.strict and reader.peek() in ("O", ":") and reader.peek():
        start = reader.at
        reader.at += 1
        digits = _digits(reader)
        if not digits:
            raise reader.fault("unsupported-flow-word", "program names in words are not read", at=start)
        rest = reader.text[reader.at :]
        for name in FLOW_WORDS:
            if rest.startswith(name):
                raise Fault(
                    "unsupported-flow-word", f"flow control in words (O{digits} {name}) is not read", word=name,
                    do="write it with IF, GOTO, WHILE or M98",
                )  # fmt: skip
        block.o_number = int(digits)


def _slash(reader: Parser, block: Block) -> None:
    if reader.peek() != "/":
        return
    reader.at += 1
    block.delete = 0
    c = reader.peek()
    if not reader.strict and c and c in "123456789":
        block.delete = int(c)
        reader.at += 1


def _digits(reader: Parser) -> str:
    start = reader.at
    while reader.peek() and reader.peek() in DIGITS:
        reader.at += 1
    return reader.text[start : reader.at]


def _item(reader: Parser, block: Block) -> None:
    c = reader.peek()
    if c == "#":
        block.settings.append(_setting(reader))
        return
    if c == "]":
        raise reader.fault("unbalanced-bracket", "a ] without its [")
    if not c.isascii() or not c.isalpha():
        kind = "bad-character" if c not in "+-.0123456789" else "bad-number"
        do = "write the corner out as its own move" if c == "," else ""
        raise reader.fault(kind, f"{c!r} means nothing here", do)
    if not reader.strict and _flow(reader, block):
        return
    block.words.append(_word(reader))


def _setting(reader: Parser) -> Setting:
    column = reader.column()
    index = reader.variable()
    if reader.peek() != "=":
        raise reader.fault("bad-character", "a variable at this place must be set with =")
    reader.at += 1
    if not reader.peek():
        raise reader.fault("missing-value", "nothing is set after =")
    value = reader.value()
    if (reader.peek() and reader.peek() in "+-*/") or _operator_name(reader):
        if reader.strict:
            raise reader.fault("bad-number", "a formula must stand in brackets", "put [ ] round it")
        value = _open_sum(reader, value)
    return Setting(index, value, column)


def _operator_name(reader: Parser) -> bool:
    return any(reader.text.startswith(name, reader.at) for name in ("MOD", "XOR", "OR", "AND"))


def _open_sum(reader: Parser, first: Node) -> Node:
    """The rest of a formula without outer brackets (mill)."""
    left = _open_product(reader, first)
    while name := reader.operator(("+", "-", "OR", "XOR", "AND")):
        left = Node(name, args=(left, _open_product(reader, reader.value())))
    return left


def _open_product(reader: Parser, first: Node) -> Node:
    def powers(base: Node) -> Node:
        while reader.operator(("**",)):
            base = Node("**", args=(base, reader.value()))
        return base

    left = powers(first)
    while name := reader.operator(("*", "/", "MOD")):
        left = Node(name, args=(left, powers(reader.value())))
    return left


def _word(reader: Parser) -> Word:
    letter, start = reader.peek(), reader.at
    column = reader.column()
    known = STRICT_LETTERS if reader.strict else MILL_LETTERS
    if letter not in known:
        raise reader.fault("unknown-letter", f"{letter} is not a word here")
    if letter == "N":
        raise reader.fault("line-number-position", "a line number must be the first word of its block")
    reader.at += 1
    c = reader.peek()
    if not c:
        raise reader.fault("missing-value", f"{letter} has no value", at=start)
    if c.isalpha():
        end = reader.at
        while end < len(reader.text) and reader.text[end].isalpha():
            end += 1
        name = reader.text[reader.at : end]
        bracket = reader.text[end : end + 1] == "["
        if not (name in FUNCTIONS or (bracket and len(name) > 1)):
            raise reader.fault("missing-value", f"{letter} has no value", at=start)
    literal, point = None, True
    if c in "0123456789." or (c in "+-" and (reader.text[reader.at + 1 : reader.at + 2] or "x") in "0123456789."):
        literal, point = reader.number()
        node = Node("num", literal)
    else:
        node = reader.value()
    after = reader.peek()
    if after and after in "+-*/.[0123456789":
        raise reader.fault("bad-number", "a formula in a word must stand in brackets", "put [ ] round the formula")
    return Word(letter, node, column, reader.text[start : reader.at], literal, point)


def _flow(reader: Parser, block: Block) -> bool:
    """IF, GOTO, WHILE, DO, END (mill); True if one was read."""
    rest = reader.text[reader.at :]
    if rest.startswith(("IF[", "WHILE[")):
        word = "IF" if rest.startswith("IF") else "WHILE"
        reader.at += len(word)
        block.condition = reader.bracket()
        tail = reader.text[reader.at :]
        if word == "WHILE":
            if not tail.startswith("DO"):
                raise reader.fault("unmatched-loop", "WHILE needs DO and a number")
            reader.at += 2
            block.flow, block.loop = "while", _loop(reader)
        elif tail.startswith("GOTO"):
            reader.at += 4
            block.flow, block.target = "if-goto", reader.value()
        elif tail.startswith("THEN"):
            reader.at += 4
            if reader.peek() != "#":
                raise reader.fault("unsupported-flow-word", "after THEN only a variable may be set")
            block.flow = "if-then"
            block.settings.append(_setting(reader))
        else:
            raise reader.fault("unsupported-flow-word", "IF needs GOTO or THEN after its condition")
        return True
    if rest.startswith("GOTO"):
        reader.at += 4
        if not reader.peek():
            raise reader.fault("missing-value", "GOTO has no target")
        block.flow, block.target = "goto", reader.value()
        return True
    if re.match(r"DO\d", rest):
        reader.at += 2
        block.flow, block.loop = "while", _loop(reader)
        return True
    if re.match(r"END\d", rest):
        reader.at += 3
        block.flow, block.loop = "end", _loop(reader)
        return True
    if re.match(r"(IF|WHILE|ENDIF|ELSE|ELSEIF|ENDWHILE|REPEAT)(?![A-Z]*\[)", rest) or rest.startswith(("ELSEIF[",)):
        name = re.match(r"[A-Z]+", rest)
        raise reader.fault("unsupported-flow-word", f"{name.group(0) if name else rest} is not read here")
    return False


def _loop(reader: Parser) -> int:
    digits = _digits(reader)
    if digits not in ("1", "2", "3"):
        raise reader.fault("unmatched-loop", "loops are numbered 1 to 3")
    return int(digits)
